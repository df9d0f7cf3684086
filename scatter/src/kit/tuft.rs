//! Tufts of grass: narrow folded blades from one crown, bending more and more toward the tip.

use std::f64::consts::{FRAC_PI_2, TAU};

use glam::DVec3;

use super::{Kind, draw::Draw, perlin::PerlinNoise, work_mesh::WorkMesh};

/// Triangles of a whole tuft.
const TRIANGLES: u32 = 2960;
/// Depth under the ground at which blades start, metres.
const ROOT: f64 = 0.004;

/// Grows a tuft in the frame of a piece, with the cosine of its crease angle. Rooted: the ground is
/// y = 0 and the blades start [`ROOT`] below it.
pub(crate) fn grow(variant: u32) -> (WorkMesh, f64) {
    let mut draw = Draw::of(Kind::Tuft, variant);
    let texture = PerlinNoise::new(draw.seed());
    let blades = [44, 62, 84, 104, 124][variant as usize % 5] + draw.whole(0, 16);
    // Four triangles a segment but two at the tip.
    let segments = ((TRIANGLES / blades + 2) / 4).clamp(4, 10);
    let tall = draw.range(0.075, 0.21);
    let crown = tall * draw.range(0.05, 0.11);
    let lean = draw.range(0.0, TAU);
    let leaning = draw.range(0.15, 0.6);
    // A living tuft is green; an old or dry one straw.
    let dry = [0.12, 0.3, 0.75, 0.2, 0.5, 0.95][variant as usize % 6];
    let green = DVec3::new(0.085, 0.150, 0.032) * draw.range(0.75, 1.25);
    let straw = DVec3::new(0.36, 0.275, 0.125) * draw.range(0.8, 1.15);
    let mut shape = WorkMesh::default();
    for _ in 0..blades {
        let dead = draw.chance(dry * 0.55);
        // Lengths are lognormal, about 0.35 in ln.
        let length = (tall * libm::exp(0.35 / 1.81 * draw.bell(2.6))).min(0.245);
        // Azimuths crowd toward the light: a uniform turn pulled to the lean.
        let free = draw.range(-0.5, 0.5);
        let azimuth = lean + TAU * free * (1.0 - leaning * (1.0 - 2.0 * free.abs()));
        let out = DVec3::new(libm::cos(azimuth), 0.0, libm::sin(azimuth));
        let root = out * (crown * draw.unit().sqrt()) + DVec3::new(0.0, -ROOT, 0.0);
        let blade = Blade {
            root,
            azimuth,
            length,
            width: draw.range(0.0013, 0.0036) * (0.6 + 2.5 * length),
            // From upright at the foot; what is outside in the crown leans out.
            foot: draw.range(0.02, 0.42) + if dead { draw.range(0.3, 0.7) } else { 0.0 },
            bend: if dead {
                draw.range(1.0, 1.9)
            } else {
                draw.range(0.25, 1.7)
            },
            swerve: draw.range(-0.55, 0.55),
            twist: draw.range(-1.2, 1.2),
            broken: draw
                .chance(0.16)
                .then(|| (draw.range(0.3, 0.75), draw.range(0.8, 1.9))),
            color: if dead {
                straw.lerp(DVec3::new(0.17, 0.115, 0.06), draw.unit() * 0.8)
            } else {
                green.lerp(straw, dry * draw.unit() * 0.8) * draw.range(0.75, 1.25)
            },
            tip: straw,
            dead,
        };
        blade.add(&mut shape, segments, &texture);
    }
    // Centred on the crown's spread in plan; the root stays at its height.
    let foot = shape.settle(DVec3::ZERO);
    for p in &mut shape.positions {
        p.y -= foot.y;
    }
    // cos 70 degrees: the fold shades as a soft keel.
    (shape, 0.34)
}

/// One blade of grass.
struct Blade {
    root: DVec3,
    /// Azimuth of its lean, radians from +x toward +z.
    azimuth: f64,
    length: f64,
    width: f64,
    /// Angle from upright at the foot, and what bending adds up to the tip, in radians.
    foot: f64,
    bend: f64,
    /// Turn of the azimuth, and of the blade about itself, from foot to tip.
    swerve: f64,
    twist: f64,
    /// Where along it (0..1) it is snapped, and by what angle.
    broken: Option<(f64, f64)>,
    color: DVec3,
    tip: DVec3,
    dead: bool,
}

impl Blade {
    fn add(&self, shape: &mut WorkMesh, segments: u32, texture: &PerlinNoise) {
        let mut at = self.root;
        let step = self.length / f64::from(segments);
        let mut row: Option<[u32; 3]> = None;
        for i in 0..=segments {
            let s = f64::from(i) / f64::from(segments);
            // Bending under its own weight: the angle grows with a power of the way along.
            let mut lean = self.foot + self.bend * s * s.sqrt();
            if let Some((place, angle)) = self.broken
                && s > place
            {
                lean += angle;
            }
            // Nothing grows into the ground.
            let limit = if at.y < 0.012 { FRAC_PI_2 } else { 2.7 };
            let lean = lean.min(limit);
            let azimuth = self.azimuth + self.swerve * s * s;
            let out = DVec3::new(libm::cos(azimuth), 0.0, libm::sin(azimuth));
            let level = DVec3::new(-out.z, 0.0, out.x);
            let way = out * libm::sin(lean) + DVec3::Y * libm::cos(lean);
            let face = level.cross(way);
            let turn = self.twist * s;
            let across = level * libm::cos(turn) + face * libm::sin(turn);
            let up = across.cross(way).normalize_or(DVec3::Y);
            // Widest a third of the way up, drawn out to a point.
            let taper = if self.dead { 0.75 } else { 1.0 }
                * (0.55 + 1.5 * s)
                * (1.0 - s * s * (0.4 + 0.6 * s));
            let half = 0.5 * self.width * taper.clamp(0.0, 1.0);
            let mottle = 1.0 + 0.25 * texture.at(at * 55.0);
            // Pale sheath at the foot, dry tip.
            let foot = DVec3::new(0.30, 0.27, 0.13);
            let sheath = (1.0 - s * 5.0).clamp(0.0, 1.0) * 0.55;
            let dry = ((s - 0.72) * 3.0).clamp(0.0, 1.0) * 0.6;
            let color = self.color.lerp(foot, sheath).lerp(self.tip, dry) * mottle;
            // Deep in the crown little light comes in.
            let color = color * (0.55 + 0.45 * (s * 4.0).min(1.0));
            if i == segments {
                if let Some([a, b, c]) = row {
                    let tip = shape.push(at, color);
                    shape.triangles.push([a, b, tip]);
                    shape.triangles.push([b, c, tip]);
                }
            } else {
                // Folded like a keel, opening to the tip.
                let fold = half * (0.75 - 0.5 * s);
                let next = [
                    shape.push(at - across * half + up * fold, color),
                    shape.push(at, color * 0.82),
                    shape.push(at + across * half + up * fold, color),
                ];
                if let Some([a, b, c]) = row {
                    shape.quad(a, b, next[0], next[1]);
                    shape.quad(b, c, next[1], next[2]);
                }
                row = Some(next);
            }
            at += way * step;
            at.y = at.y.max(-ROOT);
        }
    }
}
