//! Sprays: the leafy end of a branch, its leaves spread in a plane to the light.
//!
//! Shoots alternate along the branch, leaves along the shoots, each turned a little out of the
//! spray's plane: what casts dappled light.

use glam::DVec3;

use super::{
    Kind,
    draw::Draw,
    tube::{Caps, Ring, add_tube},
    work_mesh::WorkMesh,
};

/// Corners of a shoot's rings: it is a few pixels wide, or a shadow.
const SIDES: u32 = 4;
/// Rows of a blade between its base and its tip.
const ROWS: usize = 4;

/// What the leaves of one spray share.
struct SprayHabit {
    /// Length of a blade, metres.
    length: f64,
    /// Width over length of a blade.
    slender: f64,
    /// Where along the blade it is widest.
    widest: f64,
    /// Bark of the shoots, and the leaves' green; linear.
    bark: DVec3,
    green: DVec3,
}

/// Grows a spray in the frame of a piece, with the cosine of its crease angle.
pub(crate) fn grow(variant: u32) -> (WorkMesh, f64) {
    let mut draw = Draw::of(Kind::Spray, variant);
    // Beech, willow, birch, cherry by their proportions alone; by eye
    let [slender, widest, size] = [
        [0.58, 0.45, 1.0],
        [0.30, 0.42, 1.1],
        [0.78, 0.38, 0.8],
        [0.48, 0.50, 1.05],
    ][variant as usize % 4];
    let habit = SprayHabit {
        length: 0.062 * size * draw.range(0.88, 1.12),
        slender: slender * draw.range(0.92, 1.08),
        widest,
        bark: DVec3::new(0.115, 0.085, 0.060) * draw.range(0.8, 1.25),
        green: [
            DVec3::new(0.062, 0.118, 0.024),
            DVec3::new(0.085, 0.135, 0.030),
            DVec3::new(0.050, 0.098, 0.022),
        ][variant as usize / 4 % 3]
            * draw.range(0.85, 1.2),
    };
    let mut shape = WorkMesh::default();
    let length = draw.range(0.26, 0.36);
    let start = DVec3::ZERO;
    let along = DVec3::X;
    let bow = draw.range(-0.25, 0.25);
    habit.shoot(&mut draw, &mut shape, [start, along], length, bow);
    let mut side = draw.sign();
    for k in 0..draw.whole(3, 5) {
        // Side shoots from the lower half, shorter towards the tip
        let t = 0.08 + 0.15 * f64::from(k) + draw.range(-0.03, 0.03);
        let from = place(start, along, length, bow, t);
        let turn = side * draw.range(0.65, 1.0);
        let out = DVec3::new(
            libm::cos(turn),
            draw.range(-0.12, 0.12),
            libm::sin(turn) + bow * t,
        )
        .normalize_or(DVec3::X);
        let reach = length * (0.78 - 0.55 * t) * draw.range(0.8, 1.1);
        habit.shoot(&mut draw, &mut shape, [from, out], reach, -0.3 * side);
        side = -side;
    }
    shape.settle(DVec3::ZERO);
    // cos 60 degrees: the fold along a midrib stays an edge, shoots shade round
    (shape, 0.5)
}

/// Place on a shoot a share `t` of its length from its foot; `bow` is how far its tip swings aside
/// over its length.
fn place(from: DVec3, along: DVec3, length: f64, bow: f64, t: f64) -> DVec3 {
    let aside = DVec3::new(-along.z, 0.0, along.x);
    // Tips sag a little
    from + length * (along * t + aside * (bow * t * t) - DVec3::Y * (0.10 * t * t))
}

impl SprayHabit {
    /// A shoot with its leaves, one at its tip.
    fn shoot(
        &self,
        draw: &mut Draw,
        shape: &mut WorkMesh,
        [from, along]: [DVec3; 2],
        length: f64,
        bow: f64,
    ) {
        let thick = 0.0011 + 0.0045 * length;
        let at = |t: f64| place(from, along, length, bow, t);
        let rings: Vec<Ring> = (0..4)
            .map(|i| {
                let t = f64::from(i) / 3.0;
                Ring {
                    centre: at(t),
                    radius: thick * (1.0 - 0.7 * t),
                    color: self.bark,
                }
            })
            .collect();
        let caps = Caps {
            reach: [0.2 * thick, 0.4 * thick],
            color: self.bark,
        };
        add_tube(shape, &rings, SIDES, caps, |_, _, color| (1.0, color));
        // Leaves alternate; a leaf every 0.55 of its own length lets neighbours overlap a little
        let count = (length / (0.55 * self.length)) as u32;
        let mut side = draw.sign();
        for k in 0..=count {
            let last = k == count;
            let t = if last {
                1.0
            } else {
                (f64::from(k) + draw.range(0.4, 0.8)) / f64::from(count + 1)
            };
            let forward = (at(t + 0.02) - at(t - 0.02)).normalize_or(along);
            let turn = if last {
                draw.range(-0.3, 0.3)
            } else {
                side * draw.range(0.75, 1.15)
            };
            self.leaf(draw, shape, at(t), forward, turn);
            side = -side;
        }
    }

    /// A leaf on its stalk: a blade folded along its midrib, turned by `turn` from the way forward,
    /// out of the spray's plane by up to half a radian.
    fn leaf(&self, draw: &mut Draw, shape: &mut WorkMesh, foot: DVec3, forward: DVec3, turn: f64) {
        let (s, c) = (libm::sin(turn), libm::cos(turn));
        let out = DVec3::new(
            c * forward.x - s * forward.z,
            forward.y + draw.range(-0.45, 0.25),
            s * forward.x + c * forward.z,
        )
        .normalize_or(DVec3::X);
        let roll = draw.range(-0.5, 0.5);
        let level = DVec3::Y.cross(out).normalize_or(DVec3::Z);
        let up = out.cross(level);
        let across = level * libm::cos(roll) + up * libm::sin(roll);
        let up = out.cross(across);
        let length = self.length * draw.range(0.72, 1.12);
        let width = length * self.slender;
        let fold = draw.range(0.05, 0.3);
        let droop = draw.range(0.0, 0.35);
        let tone = self.green * draw.range(0.8, 1.2);
        let vein = tone.lerp(DVec3::new(0.16, 0.20, 0.07), 0.5);
        let stalk = 0.12 * length;
        let midrib = |t: f64| {
            let way = stalk + t * length;
            foot + out * way - up * (droop * way * way / length)
        };
        let base = shape.push(midrib(0.0), vein);
        let mut row = [base; 3];
        for k in 1..=ROWS {
            let t = k as f64 / (ROWS + 1) as f64;
            let rise = if t < self.widest {
                t / self.widest
            } else {
                (1.0 - t) / (1.0 - self.widest)
            };
            let half = 0.5 * width * libm::sqrt(libm::sin(rise * std::f64::consts::FRAC_PI_2));
            let edge = |side: f64| midrib(t) + across * (side * half) + up * (fold * half);
            let next = [
                shape.push(edge(-1.0), tone),
                shape.push(midrib(t), vein),
                shape.push(edge(1.0), tone),
            ];
            if k == 1 {
                shape.triangles.push([base, next[0], next[1]]);
                shape.triangles.push([base, next[1], next[2]]);
            } else {
                shape.quad(row[0], next[0], row[1], next[1]);
                shape.quad(row[1], next[1], row[2], next[2]);
            }
            row = next;
        }
        let tip = shape.push(midrib(1.0), tone);
        shape.triangles.push([row[0], tip, row[1]]);
        shape.triangles.push([row[1], tip, row[2]]);
    }
}
