//! What water does to a colour: Lekner and Dorf, "Why some things are darker when wet", Applied
//! Optics 27, 1278, 1988.
//!
//! A film of water over a rough surface sends part of the light that the surface reflects back to
//! it, again and again; and light enters the grains more easily out of water than out of air.

/// Reflectance of water at normal incidence, from air: refractive index 4/3.
pub const WATER_F0: f32 = 0.0204;

/// Share of diffuse light that the film's upper side sends back into it: refractive index 4/3,
/// Lekner and Dorf's exact figure.
const KEPT: f32 = 0.475;

/// How much more of the light enters grains of refractive index 1.5 out of water than out of air,
/// where little is absorbed: (1 - .0303) / (1 - .0918).
const CONTRAST: f32 = 1.068;

/// Diffuse albedo of what is wet, from the dry one; a band at a time, so that dark bands fall more
/// and colours are stronger. The film's own reflection ([`WATER_F0`]) is apart.
#[must_use]
#[inline]
pub fn wet(dry: f32) -> f32 {
    let absorbed = 1.0 - dry;
    // Where all is absorbed there is no more to enter
    let absorbed = absorbed * (1.0 + (CONTRAST - 1.0) * dry);
    let all = (1.0 - WATER_F0) * absorbed / (1.0 - KEPT * (1.0 - absorbed));
    (1.0 - WATER_F0 - all).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::lab_of_linear;

    /// Lekner and Dorf 1988, both effects, the film's own reflection taken off (computed from
    /// their formulas, not read off their figure).
    #[test]
    fn the_ratio_of_wet_to_dry_is_lekners_and_dorfs() {
        let table = [
            (0.05, 0.49),
            (0.1, 0.51),
            (0.15, 0.52),
            (0.2, 0.53),
            (0.25, 0.55),
            (0.3, 0.57),
            (0.4, 0.60),
            (0.5, 0.64),
            (0.6, 0.69),
            (0.7, 0.75),
            (0.8, 0.81),
        ];
        for (dry, ratio) in table {
            let got = wet(dry) / dry;
            assert!((got - ratio).abs() < 0.012, "{dry}: {got}, not {ratio}");
        }
    }

    /// Wetting limestones lowers L* and raises C* (Moh'd 2017, 12 limestones: the direction).
    #[test]
    fn wet_stone_is_darker_and_its_colour_stronger() {
        let chroma = |lab: [f32; 3]| (lab[1] * lab[1] + lab[2] * lab[2]).sqrt();
        // Pale limestone: also by the figure itself
        let [before, after] =
            [[0.55, 0.50, 0.40_f32], [0.55, 0.50, 0.40].map(wet)].map(lab_of_linear);
        assert!(chroma(after) > chroma(before), "{before:?} {after:?}");
        for dry in [[0.55, 0.50, 0.40], [0.30, 0.22, 0.14], [0.10, 0.11, 0.13]] {
            let [before, after] = [dry, dry.map(wet)].map(lab_of_linear);
            assert!(after[0] < before[0] - 5.0, "{before:?} {after:?}");
            // Strength against lightness: of dark stone the figure itself may fall
            let strength = |lab: [f32; 3]| chroma(lab) / lab[0];
            assert!(
                strength(after) > 1.1 * strength(before),
                "{before:?} {after:?}"
            );
        }
    }

    #[test]
    fn no_light_is_made() {
        for k in 0..=100 {
            let dry = k as f32 / 100.0;
            let sum = wet(dry) + WATER_F0;
            assert!(
                sum <= 1.0 + 1e-6 && wet(dry) <= dry.max(1e-6),
                "{dry}: {sum}"
            );
        }
    }
}
