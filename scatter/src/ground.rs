//! The ground: height and normal at a place. World-anchored and the same in every take.

use glam::DVec3;

use crate::noise::Fractal;
use crate::random::text_key;
use crate::shot;

/// A ground of one height over each plan place. Metres.
#[derive(Debug, Clone)]
pub struct Ground {
    /// Height gained per metre along x and z.
    slope: [f64; 2],
    relief: Option<Relief>,
    /// Half the extent along x and z, where the ground ends.
    half_extent: Option<[f64; 2]>,
}

#[derive(Debug, Clone)]
struct Relief {
    noise: Fractal,
    /// Metres of height per unit of noise.
    scale: f64,
}

/// The share of the ground left over at each end of a relief's asked height: one place in a thousand is lower, one higher.
const TAIL: f64 = 0.001;

impl Ground {
    /// The ground that a checked shot describes.
    #[must_use]
    pub fn new(ground: &shot::Ground) -> Self {
        let (tilt, toward) = match (&ground.plane, &ground.relief) {
            (_, Some(r)) => (r.tilt.radians(), r.toward.radians()),
            (Some(p), None) => (p.tilt.radians(), p.toward.radians()),
            (None, None) => (0.0, 0.0),
        };
        // Falls toward the azimuth: clockwise from -z seen from above
        let fall = libm::tan(tilt);
        let slope = [-fall * libm::sin(toward), fall * libm::cos(toward)];
        let relief = ground.relief.as_ref().map(|r| {
            let noise = Fractal::new(text_key("ground"), r.feature.metres(), r.roughness);
            let span = noise.quantile(1.0 - TAIL) - noise.quantile(TAIL);
            Relief {
                scale: r.height.metres() / span,
                noise,
            }
        });
        let half_extent = ground.extent.map(|e| e.map(|l| 0.5 * l.metres()));
        Self {
            slope,
            relief,
            half_extent,
        }
    }

    /// Height of the sloping plane that the relief is added to, metres.
    #[must_use]
    pub fn base(&self, x: f64, z: f64) -> f64 {
        self.slope[0] * x + self.slope[1] * z
    }

    /// Height at a plan place, metres.
    #[must_use]
    pub fn height(&self, x: f64, z: f64) -> f64 {
        self.base(x, z)
            + self
                .relief
                .as_ref()
                .map_or(0.0, |r| r.scale * r.noise.at(x, z)[0])
    }

    /// Unit normal at a plan place, upwards.
    #[must_use]
    pub fn normal(&self, x: f64, z: f64) -> DVec3 {
        self.at(x, z).1
    }

    /// Height and unit normal at a plan place, in one look.
    #[must_use]
    pub fn at(&self, x: f64, z: f64) -> (f64, DVec3) {
        let [mut gx, mut gz] = self.slope;
        let mut height = self.base(x, z);
        if let Some(r) = &self.relief {
            let [value, dx, dz] = r.noise.at(x, z);
            height += r.scale * value;
            gx += r.scale * dx;
            gz += r.scale * dz;
        }
        (height, DVec3::new(-gx, 1.0, -gz).normalize())
    }

    /// Height over the mean of the ground within `radius`, over the relief's own height scale: about -0.5 in hollows to 0.5 on crests;
    /// 0 on a plane.
    #[must_use]
    pub fn above_mean(&self, x: f64, z: f64, radius: f64) -> f64 {
        self.relief.as_ref().map_or(0.0, |r| {
            let span = r.noise.quantile(1.0 - TAIL) - r.noise.quantile(TAIL);
            r.noise.above_mean(x, z, radius) / span
        })
    }

    /// Whether there is any relief: a plane has neither hollows nor crests.
    #[must_use]
    pub fn has_relief(&self) -> bool {
        self.relief.as_ref().is_some_and(|r| r.scale > 0.0)
    }

    /// How far the ground can rise above or fall below [`Ground::base`], metres.
    #[must_use]
    pub fn relief_bound(&self) -> f64 {
        self.relief
            .as_ref()
            .map_or(0.0, |r| r.scale * r.noise.bound())
    }

    /// Height gained per metre along x and z by [`Ground::base`].
    #[must_use]
    pub fn slope(&self) -> [f64; 2] {
        self.slope
    }

    /// Whether there is ground at a plan place.
    #[must_use]
    pub fn holds(&self, x: f64, z: f64) -> bool {
        self.half_extent
            .is_none_or(|[hx, hz]| x.abs() <= hx && z.abs() <= hz)
    }

    /// Half the extent along x and z, where the ground ends.
    #[must_use]
    pub fn half_extent(&self) -> Option<[f64; 2]> {
        self.half_extent
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ground(json: &str) -> Ground {
        Ground::new(&serde_json::from_str(json).unwrap())
    }

    #[test]
    fn a_tilted_plane_falls_toward_its_azimuth() {
        // 10 degrees toward 90 degrees (east, +x): one metre east is tan(10 deg) = 0.17633 lower
        let g = ground(r#"{"plane":{"tilt":"10 deg","toward":"90 deg"}}"#);
        assert!((g.height(1.0, 5.0) - g.height(0.0, 5.0) + 0.176_327).abs() < 1e-6);
        assert!(g.height(0.0, 1.0).abs() < 1e-12);
        assert!((g.normal(0.0, 0.0).y - 10f64.to_radians().cos()).abs() < 1e-12);
    }

    #[test]
    fn relief_has_the_height_asked() {
        let g = ground(r#"{"relief":{"height":"25 mm","feature":"0.7 m","roughness":0.55}}"#);
        let mut heights: Vec<f64> = (0..40_000)
            .map(|i| g.height(f64::from(i % 200) * 1.7, f64::from(i / 200) * 1.3))
            .collect();
        heights.sort_by(f64::total_cmp);
        let span = heights[39_960] - heights[40];
        assert!((span / 0.025 - 1.0).abs() < 0.15, "{span}");
        assert!(heights[39_999] <= g.relief_bound());
    }
}
