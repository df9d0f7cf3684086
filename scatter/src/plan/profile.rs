//! The extent of a stone to each side, at each height: its outline seen from above and its
//! sections, as convex figures with sides in fixed directions.
//!
//! A convex figure is given by its support function: its extent from its middle in each direction
//! (Schneider, "Convex Bodies: The Brunn-Minkowski Theory", 1993, section 1.7). Where the
//! directions are the same for all, two figures meet exactly when their middles are apart by less
//! than the sum of both supports in every direction: the figure of those sums is the no-fit
//! polygon. Only +, -, * and / are needed, so it is the same on every machine.

use std::sync::LazyLock;

use glam::DVec3;

/// Headings that a figure can be turned by, evenly spaced: 5.6 degrees apart, finer than a stone's
/// heading is ever seen.
pub const TURNS: usize = 64;
/// Sides of a figure. A disc's sixteen-sided figure exceeds the disc by 2 % of its radius at the
/// corners.
pub const SIDES: usize = 16;
/// Sections of a stone, evenly spaced over its height.
pub const SECTIONS: usize = 8;

/// Unit directions in plan (x, z) by sixty-fourth turns from +x toward +z.
pub static DIRECTIONS: LazyLock<[[f64; 2]; TURNS]> = LazyLock::new(|| {
    std::array::from_fn(|i| {
        let (sin, cos) = libm::sincos(std::f64::consts::TAU * i as f64 / TURNS as f64);
        [cos, sin]
    })
});

/// The direction of a figure's side.
#[must_use]
#[inline]
pub fn side(k: usize) -> [f64; 2] {
    DIRECTIONS[k * (TURNS / SIDES)]
}

/// Supports of a figure, one a side.
pub type SideSupports = [f32; SIDES];

/// A stone in one of its stances, at scale 1: supports in metres from its middle, by sixty-fourth
/// turns from its long axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// Height of the stone in this stance, metres.
    pub stands: f64,
    outline: [f32; TURNS],
    sections: [[f32; TURNS]; SECTIONS],
}

impl Profile {
    /// The profile of triangles in the stance's frame: +y up from the plane that the piece stands
    /// on, the long axis along x, the middle of the plan at the origin. `stands`: the height of the
    /// highest corner, above 0.
    #[must_use]
    pub fn of(triangles: impl Iterator<Item = [DVec3; 3]>, stands: f64) -> Self {
        let mut profile = Self {
            stands,
            outline: [0.0; TURNS],
            sections: [[0.0; TURNS]; SECTIONS],
        };
        for triangle in triangles {
            for (i, a) in triangle.iter().enumerate() {
                let b = triangle[(i + 1) % 3];
                reach(&mut profile.outline, [a.x, a.z]);
                // An edge stands in two triangles: once is enough, rising
                if a.y >= b.y {
                    continue;
                }
                for (j, section) in profile.sections.iter_mut().enumerate() {
                    let y = (j as f64 + 0.5) / SECTIONS as f64 * stands;
                    if a.y <= y && y < b.y {
                        let t = (y - a.y) / (b.y - a.y);
                        reach(section, [a.x + t * (b.x - a.x), a.z + t * (b.z - a.z)]);
                    }
                }
            }
        }
        // What lies beside it is met at any height up to its own
        for j in 1..SECTIONS {
            for k in 0..TURNS {
                profile.sections[j][k] = profile.sections[j][k].max(profile.sections[j - 1][k]);
            }
        }
        profile
    }

    /// The profile of an upright cylinder of diameter 1 m and height 1 m.
    #[must_use]
    pub fn disc() -> Self {
        Self {
            stands: 1.0,
            outline: [0.5; TURNS],
            sections: [[0.5; TURNS]; SECTIONS],
        }
    }

    /// The outline turned by `turn` sixty-fourths, times `scale`.
    #[must_use]
    #[inline]
    pub fn outline(&self, turn: usize, scale: f64) -> SideSupports {
        turned(&self.outline, turn, scale)
    }

    /// The widest section from its foot up to a share of its height, 0..=1, turned by `turn`
    /// sixty-fourths, times `scale`.
    #[must_use]
    #[inline]
    pub fn section(&self, height: f64, turn: usize, scale: f64) -> SideSupports {
        let last = ((height * SECTIONS as f64) as usize).min(SECTIONS - 1);
        turned(&self.sections[last], turn, scale)
    }

    /// Largest support, metres.
    #[must_use]
    pub fn outer(&self) -> f64 {
        f64::from(self.outline.iter().copied().fold(0.0, f32::max))
    }

    /// Smallest support of the outline, metres.
    #[must_use]
    pub fn inner(&self) -> f64 {
        f64::from(self.outline.iter().copied().fold(f32::INFINITY, f32::min))
    }

    /// Perimeter of the convex outline, metres: the mean support times a full turn (Cauchy;
    /// Schneider 1993).
    #[must_use]
    pub fn perimeter(&self) -> f64 {
        let sum: f64 = self.outline.iter().map(|h| f64::from(*h)).sum();
        std::f64::consts::TAU * sum / TURNS as f64
    }
}

/// Widens the figure so that it holds a place.
fn reach(supports: &mut [f32; TURNS], [x, z]: [f64; 2]) {
    for (support, [u, v]) in supports.iter_mut().zip(DIRECTIONS.iter()) {
        *support = support.max((x * u + z * v) as f32);
    }
}

#[inline]
fn turned(supports: &[f32; TURNS], turn: usize, scale: f64) -> SideSupports {
    std::array::from_fn(|k| {
        let at = (k * (TURNS / SIDES) + TURNS - turn) % TURNS;
        (f64::from(supports[at]) * scale) as f32
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A block of 4 by 2 in plan and 1 high, narrowing to half of that at its top: supports in
    /// closed form.
    #[test]
    fn a_tapering_block_has_its_supports() {
        let ring = |y: f64, s: f64| {
            [[-2.0, -1.0], [2.0, -1.0], [2.0, 1.0], [-2.0, 1.0]]
                .map(|[x, z]| DVec3::new(x * s, y, z * s))
        };
        let (low, high) = (ring(0.0, 1.0), ring(1.0, 0.5));
        let sides = (0..4).flat_map(|i| {
            let k = (i + 1) % 4;
            [[low[i], low[k], high[k]], [low[i], high[k], high[i]]]
        });
        let profile = Profile::of(sides, 1.0);
        let near = |a: f32, b: f64| assert!((f64::from(a) - b).abs() < 1e-6, "{a} {b}");
        let outline = profile.outline(0, 1.0);
        near(outline[0], 2.0);
        near(outline[4], 1.0);
        near(outline[2], 3.0 * std::f64::consts::FRAC_1_SQRT_2);
        // A quarter turn, doubled: the long axis is along z
        let turned = profile.outline(TURNS / 4, 2.0);
        near(turned[4], 4.0);
        near(turned[8], 2.0);
        // The lowest section is cut at 1/16: narrower by 1/32; those above it are narrower, and it
        // is the widest
        near(profile.section(0.0, 0, 1.0)[0], 2.0 * (1.0 - 1.0 / 32.0));
        near(profile.section(1.0, 0, 1.0)[4], 1.0 - 1.0 / 32.0);
        assert!((profile.perimeter() - 12.0).abs() < 0.02);
        assert!((profile.outer() - 5.0_f64.sqrt()).abs() < 0.01);
        assert!((profile.inner() - 1.0).abs() < 1e-6);
    }
}
