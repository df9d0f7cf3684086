//! Noise in space: what runs through a solid shows wherever its surface cuts it.

use glam::Vec3A;

use super::sample::{mix, mix2, unit};

/// Value and gradient of a function of space.
#[derive(Debug, Clone, Copy)]
pub(super) struct Solid {
    /// Value.
    pub(super) value: f32,
    /// Derivatives along x, y and z.
    pub(super) slope: Vec3A,
}

const NOTHING: Solid = Solid {
    value: 0.0,
    slope: Vec3A::ZERO,
};

/// Hash of a lattice point. Odd factors spread neighbours before the mixing.
#[inline]
fn at(cell: [i32; 3], salt: u32) -> u32 {
    let [x, y, z] = cell.map(|c| c as u32);
    mix(x
        .wrapping_mul(0x9e37_79b1)
        .wrapping_add(y.wrapping_mul(0x85eb_ca77))
        .wrapping_add(z.wrapping_mul(0xc2b2_ae3d))
        ^ salt)
}

/// A vector within the cube of side 2, from the thirds of a hash.
#[inline]
fn vector(h: u32) -> Vec3A {
    let part = |shift: u32| ((h >> shift) & 0x3ff) as f32;
    Vec3A::new(part(0), part(10), part(20)) * (1.0 / 512.0) - Vec3A::ONE
}

#[inline]
fn split(p: Vec3A) -> ([i32; 3], Vec3A) {
    let whole = p.floor();
    (whole.to_array().map(|c| c as i32), p - whole)
}

/// Gradient noise of unit feature size, about -1..1. Based on: Perlin, "Improving noise", 2002,
/// with gradients of any direction.
fn noise(p: Vec3A, salt: u32) -> Solid {
    let ([ix, iy, iz], f) = split(p);
    let fade = f * f * f * (f * (f * 6.0 - Vec3A::splat(15.0)) + Vec3A::splat(10.0));
    let fade_slope = 30.0 * f * f * (f * (f - Vec3A::splat(2.0)) + Vec3A::ONE);
    let corner = |dx: i32, dy: i32, dz: i32| {
        let g = vector(at([ix + dx, iy + dy, iz + dz], salt));
        Solid {
            value: g.dot(f - Vec3A::new(dx as f32, dy as f32, dz as f32)),
            slope: g,
        }
    };
    // Blends along x, then y, then z; each blend's own change with its coordinate comes on top
    let blend = |a: Solid, b: Solid, axis: usize| {
        let d = b.value - a.value;
        let mut slope = a.slope + (b.slope - a.slope) * fade[axis];
        slope[axis] += fade_slope[axis] * d;
        Solid {
            value: a.value + d * fade[axis],
            slope,
        }
    };
    let row = |dy: i32, dz: i32| blend(corner(0, dy, dz), corner(1, dy, dz), 0);
    let sheet = |dz: i32| blend(row(0, dz), row(1, dz), 1);
    blend(sheet(0), sheet(1), 2)
}

/// Sum of octaves from `feature` metres down to `finest` metres, each of amplitude `gain` of the
/// one before; value about -1..1 over metres, so that the slope is per metre.
pub(super) fn fractal(p: Vec3A, feature: f32, finest: f32, gain: f32, salt: u32) -> Solid {
    let mut sum = NOTHING;
    let (mut amplitude, mut size) = (1.0, feature);
    let mut octave = 0;
    while size >= finest && octave < 10 {
        // An offset between octaves keeps their zero lattices apart
        let q = p / size + Vec3A::new(17.31, 9.17, 5.77) * octave as f32;
        let n = noise(q, mix2(salt, octave));
        sum.value += amplitude * n.value;
        sum.slope += n.slope * (amplitude / size);
        amplitude *= gain;
        size /= 2.03;
        octave += 1;
    }
    sum
}

/// One of the cells that fill space around scattered points.
#[derive(Debug, Clone, Copy)]
pub(super) struct WorleyCell {
    /// Which cell.
    pub(super) id: u32,
    /// How much farther the next point is than its own, in mean spacings: zero on the wall between
    /// two cells.
    pub(super) wall: f32,
    /// From its own point, in mean spacings.
    pub(super) arm: Vec3A,
}

/// The cell at `p`, given in mean spacings. Based on: Worley, "A cellular texture basis function",
/// 1996.
pub(super) fn cell(p: Vec3A, salt: u32) -> WorleyCell {
    let (base, f) = split(p);
    let (mut first, mut second, mut id) = (f32::INFINITY, f32::INFINITY, 0);
    let mut arm = Vec3A::ZERO;
    for dz in -1..=1 {
        for dy in -1..=1 {
            for dx in -1..=1 {
                let h = at([base[0] + dx, base[1] + dy, base[2] + dz], salt);
                let point =
                    Vec3A::new(dx as f32, dy as f32, dz as f32) + (vector(h) + Vec3A::ONE) * 0.5;
                let d = (point - f).length_squared();
                if d < first {
                    (second, first, id) = (first, d, h);
                    arm = f - point;
                } else if d < second {
                    second = d;
                }
            }
        }
    }
    WorleyCell {
        id,
        wall: second.sqrt() - first.sqrt(),
        arm,
    }
}

/// A direction from a hash.
pub(super) fn direction(h: u32) -> Vec3A {
    vector(mix(h)).normalize_or(Vec3A::Y)
}

/// A number in [0, 1) from a hash and a use.
pub(super) fn share(h: u32, what: u32) -> f32 {
    unit(mix2(h, what))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slopes_are_derivatives() {
        // Central difference in f32, step 4e-3 of the finest octave: good to a few per cent of a
        // slope of about 3
        for i in 0..60 {
            let p = Vec3A::new(0.37, 0.21, 0.53) * i as f32 - Vec3A::splat(7.0);
            let value = |q: Vec3A| fractal(q, 1.0, 0.4, 0.5, 9).value;
            let d = 2e-3;
            let measured = Vec3A::new(
                value(p + Vec3A::X * d) - value(p - Vec3A::X * d),
                value(p + Vec3A::Y * d) - value(p - Vec3A::Y * d),
                value(p + Vec3A::Z * d) - value(p - Vec3A::Z * d),
            ) / (2.0 * d);
            let slope = fractal(p, 1.0, 0.4, 0.5, 9).slope;
            assert!(
                (slope - measured).length() < 0.05,
                "{slope} against {measured}"
            );
        }
    }

    #[test]
    fn a_cell_is_that_of_the_nearest_point() {
        // Half way to a cell's wall is still the same cell, and its wall is nearer there
        for i in 0..200 {
            let p = Vec3A::new(0.73, 0.29, 0.41) * i as f32;
            let here = cell(p, 4);
            assert!(here.wall >= 0.0, "{here:?}");
            let step = 0.24 * here.wall;
            for axis in [Vec3A::X, Vec3A::Y, Vec3A::Z] {
                assert_eq!(cell(p + axis * step, 4).id, here.id);
            }
        }
    }
}
