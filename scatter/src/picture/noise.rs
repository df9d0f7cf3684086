//! World-anchored noise in the plane: fractal gradient noise, and grains.

use glam::{DVec2, Vec2, Vec4};

use super::sample::{mix, mix2, unit};

/// Value and slope of a function of the plane.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct NoiseSample {
    /// Value.
    pub(super) value: f32,
    /// Derivatives along x and z.
    pub(super) slope: Vec2,
}

/// Splits a coordinate in cells into the cell and the place inside it, so that nothing is lost far
/// from the origin.
#[inline]
fn split(p: DVec2) -> ([i64; 2], Vec2) {
    // A cast and a step down for negative numbers: several times faster than a library's floor
    let floor = |c: f64| c as i64 - i64::from(c < (c as i64) as f64);
    let cell = [floor(p.x), floor(p.y)];
    let inside = p - DVec2::new(cell[0] as f64, cell[1] as f64);
    (cell, inside.as_vec2())
}

// Odd factors of a lattice point's coordinates spread neighbours before the mixing
const X: u32 = 0x9e37_79b1;
const Z: u32 = 0x85eb_ca77;

/// The stream of a salt.
#[inline]
fn stream(salt: u32) -> u32 {
    salt.wrapping_mul(0xc2b2_ae3d)
}

/// Sum that stands for a lattice point before the mixing; the lattice repeats after 2^32 cells.
#[inline]
fn spread(x: i64, z: i64) -> u32 {
    (x as u32)
        .wrapping_mul(X)
        .wrapping_add((z as u32).wrapping_mul(Z))
}

/// Hash of a lattice point.
#[inline]
fn at(x: i64, z: i64, salt: u32) -> u32 {
    mix(spread(x, z) ^ stream(salt))
}

/// The four corners of the cell at a place in the lanes of a vector, x, z = 00, 10, 01, 11: the
/// gradients along x and z, what each corner makes of the place, how the place blends them, and how
/// that changes along x and z.
struct SquareCorners {
    gradients: [Vec4; 2],
    values: Vec4,
    weights: Vec4,
    changes: [Vec4; 2],
}

#[inline]
fn corners(p: DVec2, salt: u32) -> SquareCorners {
    let ([ix, iz], f) = split(p);
    let fade = f * f * f * (f * (f * 6.0 - Vec2::splat(15.0)) + Vec2::splat(10.0));
    let fade_slope = 30.0 * f * f * (f * (f - Vec2::splat(2.0)) + Vec2::ONE);
    let sum = spread(ix, iz);
    let sums = [
        sum,
        sum.wrapping_add(X),
        sum.wrapping_add(Z),
        sum.wrapping_add(X).wrapping_add(Z),
    ];
    let hashes = sums.map(|s| mix(s ^ stream(salt)));
    // Any direction and a varying length, from the halves of the hash
    let half = |shift: u32| {
        let halves = hashes.map(|h| ((h >> shift) & 0xffff) as i32 as f32);
        Vec4::from_array(halves) * (1.0 / 32_768.0) - Vec4::ONE
    };
    let gradients = [half(0), half(16)];
    let values = gradients[0] * (Vec4::splat(f.x) - Vec4::new(0.0, 1.0, 0.0, 1.0))
        + gradients[1] * (Vec4::splat(f.y) - Vec4::new(0.0, 0.0, 1.0, 1.0));
    let along_x = Vec4::new(1.0 - fade.x, fade.x, 1.0 - fade.x, fade.x);
    let along_z = Vec4::new(1.0 - fade.y, 1.0 - fade.y, fade.y, fade.y);
    SquareCorners {
        gradients,
        values,
        weights: along_x * along_z,
        changes: [
            Vec4::new(-1.0, 1.0, -1.0, 1.0) * along_z * fade_slope.x,
            Vec4::new(-1.0, -1.0, 1.0, 1.0) * along_x * fade_slope.y,
        ],
    }
}

/// Gradient noise of unit feature size, about -1..1. Based on: Perlin, "Improving noise", 2002,
/// with gradients of any direction.
#[inline]
fn gradient_noise(p: DVec2, salt: u32) -> NoiseSample {
    let c = corners(p, salt);
    let slope =
        |axis: usize| (c.weights * c.gradients[axis] + c.changes[axis] * c.values).element_sum();
    NoiseSample {
        value: (c.weights * c.values).element_sum(),
        slope: Vec2::new(slope(0), slope(1)),
    }
}

/// An octave: its number, its size in metres, the place in it, and how it is turned.
struct PlaneOctave {
    number: u32,
    size: f64,
    place: DVec2,
    turn: DVec2,
}

/// Octaves from `feature` metres down to `finest` metres, at most twelve. They are turned against
/// each other, which hides the lattice.
fn octaves(p: DVec2, feature: f64, finest: f64) -> impl Iterator<Item = PlaneOctave> {
    // A turn by 37 degrees (cosine, sine) and a step of 2.03: neither lines octaves up again
    const TURN: DVec2 = DVec2::new(0.798_635_510_047_293, 0.601_815_023_152_048);
    let (mut next, mut next_turn) = (feature, DVec2::new(1.0, 0.0));
    (0..12_u32).map_while(move |number| {
        let (size, turn) = (next, next_turn);
        next /= 2.03;
        next_turn = TURN.rotate(turn);
        (size >= finest).then(|| PlaneOctave {
            number,
            size,
            place: turn.rotate(p) / size,
            turn,
        })
    })
}

/// Sum of octaves from `feature` metres down to `finest` metres, each of amplitude `gain` of the
/// one before; value about -1..1 over metres, so that the slope is per metre.
pub(super) fn fractal(p: DVec2, feature: f64, finest: f64, gain: f32, salt: u32) -> NoiseSample {
    let mut sum = NoiseSample::default();
    let mut amplitude = 1.0;
    for octave in octaves(p, feature, finest) {
        let n = gradient_noise(octave.place, mix2(salt, octave.number));
        sum.value += amplitude * n.value;
        let back = Vec2::new(octave.turn.x as f32, -octave.turn.y as f32);
        sum.slope += back.rotate(n.slope) * (amplitude / octave.size as f32);
        amplitude *= gain;
    }
    sum
}

/// The value of [`fractal`] alone, for half of the work.
pub(super) fn fractal_value(p: DVec2, feature: f64, finest: f64, gain: f32, salt: u32) -> f32 {
    let mut sum = Vec4::ZERO;
    let mut amplitude = 1.0;
    for octave in octaves(p, feature, finest) {
        let c = corners(octave.place, mix2(salt, octave.number));
        sum += c.weights * c.values * amplitude;
        amplitude *= gain;
    }
    sum.element_sum()
}

/// A grain lying at a place.
#[derive(Debug, Clone, Copy)]
pub(super) struct GrainSample {
    /// Height of its upper side in metres.
    pub(super) height: f32,
    /// Slope of its upper side.
    pub(super) slope: Vec2,
    /// Which grain.
    pub(super) id: u32,
}

/// Shape of grains.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum GrainShape {
    /// Upper halves of ellipsoids.
    Round,
    /// Flat chips with straight edges, each tilted its own way.
    Chip,
}

/// One size of grains.
#[derive(Debug, Clone, Copy)]
pub(super) struct GrainGrade {
    /// Spacing in metres; grains are 0.6 to 1.2 of it across.
    pub(super) size: f64,
    /// Share of places that hold a grain.
    pub(super) fill: f32,
    /// Height over width.
    pub(super) dome: f32,
    /// What they look like.
    pub(super) shape: GrainShape,
    /// Stream.
    pub(super) salt: u32,
}

/// Largest radius of a grain, in cells.
const WIDEST: f32 = 0.58;

/// Steepest tilt of a chip.
const STEEPEST: f32 = 0.5;

impl GrainGrade {
    /// No grain rises higher than this, metres.
    pub(super) fn tallest(&self) -> f32 {
        let tilted = match self.shape {
            GrainShape::Round => 0.0,
            GrainShape::Chip => STEEPEST,
        };
        WIDEST * (self.dome + tilted) * self.size as f32
    }

    /// The uppermost grain over `p`, if there is one.
    pub(super) fn top(&self, p: DVec2) -> Option<GrainSample> {
        let ([ix, iz], f) = split(p / self.size);
        let size = self.size as f32;
        let mut best: Option<GrainSample> = None;
        // A neighbour's grain comes over only if it is near that edge
        let range = |f: f32| -i64::from(f < WIDEST)..=i64::from(f > 1.0 - WIDEST);
        for dz in range(f.y) {
            for dx in range(f.x) {
                let h = at(ix + dx, iz + dz, self.salt);
                if unit(h) >= self.fill {
                    continue;
                }
                let h1 = mix(h ^ 0x3c6e_f372);
                let h2 = mix(h ^ 0xa54f_f53a);
                let centre = Vec2::new(
                    dx as f32 + (h1 & 0xffff) as f32 / 65_536.0,
                    dz as f32 + (h1 >> 16) as f32 / 65_536.0,
                );
                let r = WIDEST * (0.5 + 0.5 * (h2 & 0xff) as f32 / 256.0);
                let v = f - centre;
                if v.length_squared() > r * r {
                    continue;
                }
                // Narrower across a hashed direction
                let axis = Vec2::new(
                    ((h2 >> 8) & 0xff) as f32 - 127.5,
                    ((h2 >> 16) & 0xff) as f32 - 127.5,
                )
                .normalize();
                let narrow = 1.0 + 0.8 * (h2 >> 24) as f32 / 256.0;
                let along = v.dot(axis);
                let across = v.dot(axis.perp()) * narrow;
                let tall = r * self.dome * size;
                let sunk = 0.25 * unit(mix(h2));
                let (height, slope) = match self.shape {
                    GrainShape::Round => {
                        let q2 = (along * along + across * across) / (r * r);
                        if q2 >= 1.0 {
                            continue;
                        }
                        let up = (1.0 - q2).sqrt();
                        let steep = self.dome / up.max(0.35);
                        let slope = -(axis * along + axis.perp() * (across * narrow)) / r * steep;
                        ((up - sunk) * tall, slope)
                    }
                    GrainShape::Chip => {
                        // A box with its corners broken off, each its own way
                        let (a, c) = (along.abs() / r, across.abs() / r);
                        let corner = 0.62 + 0.3 * unit(h1);
                        if a.max(c).max((a + c) * corner) >= 0.86 {
                            continue;
                        }
                        let tilt = Vec2::new(unit(mix(h1)), unit(mix(h1 ^ 0x9e37))) - 0.5;
                        // SquareCorners of the square of tilts are STEEPEST, times the root of two
                        let slope = tilt * (STEEPEST * std::f32::consts::SQRT_2);
                        ((0.9 - 2.0 * sunk) * tall + slope.dot(v) * size, slope)
                    }
                };
                if best.is_none_or(|b| height > b.height) {
                    best = Some(GrainSample {
                        height,
                        slope,
                        id: h,
                    });
                }
            }
        }
        best.filter(|b| b.height > 0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slopes_are_derivatives() {
        // Central difference of the value; step 1e-3 of the finest octave, f32 values: a few per
        // mille
        for i in 0..40 {
            let p = DVec2::new(0.37 * f64::from(i) - 7.0, 0.21 * f64::from(i) + 3.0);
            let d = 2e-3;
            let at =
                |x: f64, z: f64| f64::from(fractal(p + DVec2::new(x, z), 1.0, 0.2, 0.5, 9).value);
            let slope = fractal(p, 1.0, 0.2, 0.5, 9).slope.as_dvec2();
            let measured = DVec2::new(
                (at(d, 0.0) - at(-d, 0.0)) / (2.0 * d),
                (at(0.0, d) - at(0.0, -d)) / (2.0 * d),
            );
            assert!(
                (slope - measured).length() < 0.02,
                "{slope} against {measured}"
            );
        }
    }

    #[test]
    fn far_from_the_origin_is_as_fine_as_near() {
        let grains = GrainGrade {
            size: 0.002,
            fill: 0.9,
            dome: 0.5,
            shape: GrainShape::Round,
            salt: 1,
        };
        // 100 km away f32 steps are 8 mm, five in this stretch; between grains the bare ground is
        // level
        let p = DVec2::new(1e5, -1e5);
        let heights: Vec<f32> = (0..200)
            .map(|i| grains.top(p + DVec2::new(0.0002 * f64::from(i), 0.0)))
            .map(|g| g.map_or(0.0, |g| g.height))
            .collect();
        let changed = heights.windows(2).filter(|w| w[0] != w[1]).count();
        assert!(changed > 60, "{changed} of 199 steps");
        assert!(heights.iter().all(|&h| (0.0..=0.001).contains(&h)));
    }
}
