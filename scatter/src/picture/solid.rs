//! Noise in space: what runs through a solid shows wherever its surface cuts it.

use glam::{Vec3A, Vec4};

use super::sample::{mix, mix2, unit};

/// Value and gradient of a function of space.
#[derive(Debug, Clone, Copy)]
pub(super) struct Solid {
    /// Value.
    pub(super) value: f32,
    /// Derivatives along x, y and z.
    pub(super) slope: Vec3A,
}

// Odd factors of a lattice point's coordinates spread neighbours before the mixing
const X: u32 = 0x9e37_79b1;
const Y: u32 = 0x85eb_ca77;
const Z: u32 = 0xc2b2_ae3d;

/// Sum that stands for a lattice point before the mixing.
#[inline]
fn spread([x, y, z]: [i32; 3]) -> u32 {
    (x as u32)
        .wrapping_mul(X)
        .wrapping_add((y as u32).wrapping_mul(Y))
        .wrapping_add((z as u32).wrapping_mul(Z))
}

/// A vector within the cube of side 2, from the thirds of a hash.
#[inline]
fn vector(h: u32) -> Vec3A {
    let part = |shift: u32| ((h >> shift) & 0x3ff) as f32;
    Vec3A::new(part(0), part(10), part(20)) * (1.0 / 512.0) - Vec3A::ONE
}

#[inline]
fn split(p: Vec3A) -> ([i32; 3], Vec3A) {
    let cell = p.to_array().map(floor);
    let whole = Vec3A::from_array(cell.map(|c| c as f32));
    (cell, p - whole)
}

/// The next whole number below. A cast and a step down for negative numbers: several times faster
/// than a library's floor.
#[inline]
fn floor(c: f32) -> i32 {
    let whole = c as i32;
    whole - i32::from(c < whole as f32)
}

/// The four corners of a cell's lower or upper side: x, y = 00, 10, 01, 11. Gradients coordinate by
/// coordinate, and what each makes of the place.
struct CubeSide {
    gradients: [Vec4; 3],
    values: Vec4,
}

/// Four corners at once, in the lanes of a vector. `sum` stands for the first, `way` leads from it
/// to the place.
#[inline]
fn corners(sum: u32, salt: u32, way: Vec3A) -> CubeSide {
    let sums = [
        sum,
        sum.wrapping_add(X),
        sum.wrapping_add(Y),
        sum.wrapping_add(X).wrapping_add(Y),
    ];
    let hashes = sums.map(|s| mix(s ^ salt));
    let part = |shift: u32| {
        let thirds = hashes.map(|h| ((h >> shift) & 0x3ff) as i32 as f32);
        Vec4::from_array(thirds) * (1.0 / 512.0) - Vec4::ONE
    };
    let gradients = [part(0), part(10), part(20)];
    let values = gradients[0] * (Vec4::splat(way.x) - Vec4::new(0.0, 1.0, 0.0, 1.0))
        + gradients[1] * (Vec4::splat(way.y) - Vec4::new(0.0, 0.0, 1.0, 1.0))
        + gradients[2] * way.z;
    CubeSide { gradients, values }
}

/// How a place blends the four corners of a side, and how that changes along x and y.
#[inline]
fn weights(fade: Vec3A, fade_slope: Vec3A) -> [Vec4; 3] {
    let along_x = Vec4::new(1.0 - fade.x, fade.x, 1.0 - fade.x, fade.x);
    let along_y = Vec4::new(1.0 - fade.y, 1.0 - fade.y, fade.y, fade.y);
    [
        along_x * along_y,
        Vec4::new(-1.0, 1.0, -1.0, 1.0) * along_y * fade_slope.x,
        Vec4::new(-1.0, -1.0, 1.0, 1.0) * along_x * fade_slope.y,
    ]
}

#[inline]
fn fade(f: Vec3A) -> Vec3A {
    f * f * f * (f * (f * 6.0 - Vec3A::splat(15.0)) + Vec3A::splat(10.0))
}

/// The lower and the upper side of the cell at `p`, and the place in it.
#[inline]
fn sides(p: Vec3A, salt: u32) -> ([CubeSide; 2], Vec3A) {
    let (cell, f) = split(p);
    let sum = spread(cell);
    let low = corners(sum, salt, f);
    let high = corners(sum.wrapping_add(Z), salt, f - Vec3A::Z);
    ([low, high], f)
}

/// Gradient noise of unit feature size, about -1..1, in parts whose lanes are yet to be summed:
/// derivatives along x, y and z, and the value. Based on: Perlin, "Improving noise", 2002, with
/// gradients of any direction.
#[inline]
fn noise(p: Vec3A, salt: u32) -> [Vec4; 4] {
    let ([low, high], f) = sides(p, salt);
    let fade = fade(f);
    let fade_slope = 30.0 * f * f * (f * (f - Vec3A::splat(2.0)) + Vec3A::ONE);
    let [here, change_x, change_y] = weights(fade, fade_slope);
    let rise = high.values - low.values;
    let values = low.values + rise * fade.z;
    let gradient =
        |axis: usize| low.gradients[axis] + (high.gradients[axis] - low.gradients[axis]) * fade.z;
    [
        here * gradient(0) + change_x * values,
        here * gradient(1) + change_y * values,
        here * (gradient(2) + rise * fade_slope.z),
        here * values,
    ]
}

/// The value of [`noise`] alone.
#[inline]
fn noise_value(p: Vec3A, salt: u32) -> Vec4 {
    let ([low, high], f) = sides(p, salt);
    let fade = fade(f);
    let [here, ..] = weights(fade, Vec3A::ZERO);
    here * (low.values + (high.values - low.values) * fade.z)
}

/// Octaves from `feature` down to `finest`, at most ten: their number, their size, and the place in
/// each.
fn octaves(p: Vec3A, feature: f32, finest: f32) -> impl Iterator<Item = (u32, f32, Vec3A)> {
    let mut size = feature;
    (0..10_u32).map_while(move |octave| {
        let own = size;
        size /= 2.03;
        // An offset between octaves keeps their zero lattices apart
        let place = || p / own + Vec3A::new(17.31, 9.17, 5.77) * octave as f32;
        (own >= finest).then(|| (octave, own, place()))
    })
}

/// Sum of octaves from `feature` metres down to `finest` metres, each of amplitude `gain` of the
/// one before; value about -1..1 over metres, so that the slope is per metre.
pub(super) fn fractal(p: Vec3A, feature: f32, finest: f32, gain: f32, salt: u32) -> Solid {
    let mut sums = [Vec4::ZERO; 4];
    let mut amplitude = 1.0;
    for (octave, size, place) in octaves(p, feature, finest) {
        let [x, y, z, value] = noise(place, mix2(salt, octave));
        let steep = amplitude / size;
        sums[0] += x * steep;
        sums[1] += y * steep;
        sums[2] += z * steep;
        sums[3] += value * amplitude;
        amplitude *= gain;
    }
    let [x, y, z, value] = sums.map(Vec4::element_sum);
    Solid {
        value,
        slope: Vec3A::new(x, y, z),
    }
}

/// The value of [`fractal`] alone, for half of the work.
pub(super) fn fractal_value(p: Vec3A, feature: f32, finest: f32, gain: f32, salt: u32) -> f32 {
    let mut sum = Vec4::ZERO;
    let mut amplitude = 1.0;
    for (octave, _, place) in octaves(p, feature, finest) {
        sum += noise_value(place, mix2(salt, octave)) * amplitude;
        amplitude *= gain;
    }
    sum.element_sum()
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

/// The neighbours of a cell, nearer ones first: those that share a side, an edge, a corner.
const NEIGHBOURS: [[i32; 3]; 26] = neighbours();

const fn neighbours() -> [[i32; 3]; 26] {
    let mut all = [[0; 3]; 26];
    let mut count = 0;
    let mut steps = 1;
    while steps <= 3 {
        let mut i = 0;
        while i < 27 {
            let step = [i % 3 - 1, i / 3 % 3 - 1, i / 9 - 1];
            if step[0] * step[0] + step[1] * step[1] + step[2] * step[2] == steps {
                all[count] = step;
                count += 1;
            }
            i += 1;
        }
        steps += 1;
    }
    all
}

/// The cell at `p`, given in mean spacings. Based on: Worley, "A cellular texture basis function",
/// 1996.
pub(super) fn cell(p: Vec3A, salt: u32) -> WorleyCell {
    cell_within(p, salt, f32::INFINITY)
}

/// The same, where only a point nearer than `radius` mean spacings matters: farther ones, and walls
/// beyond it, may be missed, and then the arm is as long as may be.
pub(super) fn cell_within(p: Vec3A, salt: u32, radius: f32) -> WorleyCell {
    let (base, f) = split(p);
    let sum = spread(base);
    // To the sides of the own cell, squared: of the lower ones, none, and of the upper ones
    let (low, high) = (f * f, (Vec3A::ONE - f) * (Vec3A::ONE - f));
    let away = [low, Vec3A::ZERO, high];
    let (mut first, mut second) = (f32::INFINITY, radius * radius);
    let (mut id, mut arm) = (0, Vec3A::INFINITY);
    let own = [[0; 3]];
    for [dx, dy, dz] in own.into_iter().chain(NEIGHBOURS) {
        let side = |d: i32| away[(d + 1) as usize];
        // What lies in there can't be among the nearest two
        if side(dx).x + side(dy).y + side(dz).z >= second {
            continue;
        }
        let h = mix(sum.wrapping_add(spread([dx, dy, dz])) ^ salt);
        let point = Vec3A::new(dx as f32, dy as f32, dz as f32) + (vector(h) + Vec3A::ONE) * 0.5;
        let d = (point - f).length_squared();
        if d < first {
            (second, first, id) = (first.min(second), d, h);
            arm = f - point;
        } else if d < second {
            second = d;
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
