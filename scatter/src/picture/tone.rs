//! From light to the screen.

use glam::{FloatExt, Vec3A};

use super::Picture;

/// Curve from linear light (1 = a white card) to the screen's range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Tone {
    /// Straight, cut at white.
    Plain,
    /// Soft shoulder and a short toe, as film has.
    #[default]
    Film,
}

/// Curve of Uchimura, "HDR theory and practice", 2017, from memory: a short toe, a straight part, a
/// soft shoulder.
fn film(x: f32) -> f32 {
    /// Where the toe gives way to the straight part.
    const TOE: f32 = 0.22;
    /// Power of the toe: 1.33 in the talk; lower keeps what lies in shade.
    const DARK: f32 = 1.12;
    /// Where the shoulder begins: 0.4 of the way from the toe to white.
    const SHOULDER: f32 = TOE + 0.4 * (1.0 - TOE);
    if x <= 0.0 {
        return 0.0;
    }
    let straight = x.smoothstep(0.0, TOE);
    let toe = TOE * libm::powf(x / TOE, DARK);
    if x < SHOULDER {
        return toe + (x - toe) * straight;
    }
    1.0 - (1.0 - SHOULDER) * libm::expf(-(x - SHOULDER) / (1.0 - SHOULDER))
}

/// sRGB transfer curve (IEC 61966-2-1).
fn encode(x: f32) -> f32 {
    if x <= 0.003_130_8 {
        12.92 * x
    } else {
        1.055 * libm::powf(x, 1.0 / 2.4) - 0.055
    }
}

/// Light into the film curve: a grey card of 18 % comes out as 22 %, a third of a stop open as
/// negative film is rated.
const FILM_GAIN: f32 = 1.25;

impl Tone {
    fn apply(self, c: Vec3A) -> Vec3A {
        match self {
            Self::Plain => c,
            Self::Film => {
                // Very bright colours bleach: a part of the excess goes to all channels
                let peak = c.max_element();
                let bleach = (0.15 * (peak - 1.0)).clamp(0.0, 0.5);
                let c = c.lerp(Vec3A::splat(super::light::luminance(c)), bleach) * FILM_GAIN;
                Vec3A::new(film(c.x), film(c.y), film(c.z))
            }
        }
    }
}

/// Reflectance of a photographer's grey card.
const GREY_CARD: f32 = 0.18;
/// Shares of the pixels that an automatic exposure leaves out, the darkest and the brightest: gaps,
/// and glints and sky (common practice, no source).
const DARKEST: f32 = 0.10;
const BRIGHTEST: f32 = 0.03;
/// Share of the pixels that it may bring over white (common practice, no source).
const BURNT: f32 = 0.01;
/// Most stops that an exposure is shifted by: a thousandfold.
pub const MOST_STOPS: f32 = 10.0;

impl Picture {
    /// 8-bit sRGB, three bytes a pixel, rows from the top.
    #[must_use]
    pub fn to_srgb8(&self, tone: Tone) -> Vec<u8> {
        self.to_srgb8_exposed(tone, 0.0)
    }

    /// The same, exposed by some stops more than the light asks for: each doubles the light.
    #[must_use]
    pub fn to_srgb8_exposed(&self, tone: Tone, stops: f32) -> Vec<u8> {
        let gain = libm::exp2f(stops);
        let mut out = Vec::with_capacity(self.rgb.len());
        for rgb in self.rgb.chunks_exact(3) {
            let c = tone.apply((Vec3A::from_slice(rgb) * gain).max(Vec3A::ZERO));
            for v in c.to_array() {
                out.push((encode(v.clamp(0.0, 1.0)) * 255.0 + 0.5) as u8);
            }
        }
        out
    }

    /// The stops that bring the picture's mean, taken in stops, to a grey card; at most
    /// [`MOST_STOPS`] either way. The darkest tenth and the brightest 3 % don't count, and no more
    /// than 1 % of the pixels come out over white; black ones count for nothing. Source: Reinhard, Stark, Shirley and Ferwerda,
    /// "Photographic tone reproduction for digital images", 2002, whose key for a scene that is
    /// neither dark nor pale is 0.18; meters aim at 0.128 to 0.18 (ISO 2720, from memory).
    #[must_use]
    pub fn automatic_stops(&self) -> f32 {
        let lights = self.rgb.chunks_exact(3).map(Vec3A::from_slice);
        let lights = lights.map(super::light::luminance);
        let mut lights: Vec<f32> = lights.filter(|l| *l > 0.0 && l.is_finite()).collect();
        if lights.is_empty() {
            return 0.0;
        }
        lights.sort_unstable_by(f32::total_cmp);
        let count = lights.len();
        let at = |share: f32| ((share * count as f32) as usize).min(count - 1);
        let counted = &lights[at(DARKEST)..=at(1.0 - BRIGHTEST)];
        let sum: f64 = counted.iter().map(|l| f64::from(libm::log2f(*l))).sum();
        let mean = (sum / counted.len() as f64) as f32;
        let to_white = -libm::log2f(lights[at(1.0 - BURNT)]);
        let stops = (libm::log2f(GREY_CARD) - mean).min(to_white);
        stops.clamp(-MOST_STOPS, MOST_STOPS)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stops(lights: impl Iterator<Item = f32>) -> f32 {
        let rgb: Vec<f32> = lights.flat_map(|l| [l; 3]).collect();
        let picture = Picture {
            width: rgb.len() as u32 / 3,
            height: 1,
            rgb,
            raw: None,
            figures: super::super::Figures::default(),
            warnings: Vec::new(),
        };
        picture.automatic_stops()
    }

    #[test]
    fn an_automatic_exposure_goes_by_what_is_neither_gap_nor_glint() {
        // Grey of 0.045 is two stops under a card of 0.18, whatever a tenth of gaps and a few glints
        // would make of the mean
        let scene = |i: u32| match i % 100 {
            0..9 => 1e-5,
            98 => 0.2,
            _ => 0.045,
        };
        assert!((stops((0..1000).map(scene)) - 2.0).abs() < 1e-3);
        // A twentieth of sky is kept from burning: 0.5 may be doubled, not more
        let under_sky = |i: u32| if i.is_multiple_of(20) { 0.5 } else { 0.045 };
        assert!((stops((0..1000).map(under_sky)) - 1.0).abs() < 1e-3);
        assert_eq!(stops([0.0, 0.0].into_iter()), 0.0);
        assert_eq!(stops([1e9].into_iter()), -MOST_STOPS);
    }
}
