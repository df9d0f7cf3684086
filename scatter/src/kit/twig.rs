//! Dead twigs: internodes with a kink at each node, forks whose squared radii add up, buds, broken
//! ends, peeled bark.

use std::f64::consts::TAU;

use glam::{DVec3, FloatExt};

use super::{
    Kind,
    draw::Draw,
    perlin::PerlinNoise,
    tube::{Caps, Ring, add_tube},
    work_mesh::WorkMesh,
};

/// Corners of a ring on the stem; side shoots have two fewer.
const SIDES: u32 = 7;
/// Number of triangles beyond which no side shoot is added.
const TRIANGLES: usize = 660;

/// What a twig's shoots have in common.
struct Twig {
    shape: WorkMesh,
    texture: PerlinNoise,
    bark: DVec3,
    wood: DVec3,
    /// Share of the bark that has come off.
    peeled: f64,
    internode: f64,
}

/// A shoot before it grows.
struct Shoot {
    /// Middle of its foot.
    from: DVec3,
    /// Direction in which it heads, of any length.
    heading: DVec3,
    /// Length, metres.
    length: f64,
    /// Radius of its foot, metres.
    radius: f64,
    /// 0 for the stem, 1 for a side shoot of the stem, 2 for one of that.
    order: u32,
}

/// Grows a twig in the frame of a piece, with the cosine of its crease angle.
pub(crate) fn grow(variant: u32) -> (WorkMesh, f64) {
    let mut draw = Draw::of(Kind::Twig, variant);
    // Grey-brown to red-brown bark, some bleached; linear.
    let bark = [
        DVec3::new(0.125, 0.095, 0.070),
        DVec3::new(0.165, 0.140, 0.115),
        DVec3::new(0.105, 0.068, 0.048),
        DVec3::new(0.235, 0.215, 0.185),
    ][variant as usize % 4];
    let length = draw.range(0.080, 0.250);
    let mut twig = Twig {
        shape: WorkMesh::default(),
        texture: PerlinNoise::new(draw.seed()),
        bark: bark * draw.range(0.8, 1.2),
        wood: DVec3::new(0.40, 0.31, 0.205) * draw.range(0.8, 1.1),
        peeled: [0.0, 0.05, 0.12, 0.4][variant as usize / 3 % 4],
        internode: length / f64::from(draw.whole(5, 8)),
    };
    // Length over diameter 25 to 45: a fine twig (common practice, no source).
    let radius = length / draw.range(25.0, 45.0) / 2.0;
    let heading = DVec3::new(1.0, draw.range(-0.05, 0.05), 0.0);
    let stem = Shoot {
        from: DVec3::ZERO,
        heading,
        length,
        radius,
        order: 0,
    };
    twig.shoot(&mut draw, &stem);
    twig.shape.settle(DVec3::ZERO);
    // Side shoots may reach past the stem: the drawn length is the whole twig's.
    let (low, high) = twig.shape.bounds();
    let fit = length / (high.x - low.x);
    for p in &mut twig.shape.positions {
        *p *= fit;
    }
    // cos 60 degrees: round stems shade round, broken ends stay crisp.
    (twig.shape, 0.5)
}

impl Twig {
    /// Adds a shoot and, up to the second order, its side shoots.
    fn shoot(&mut self, draw: &mut Draw, shoot: &Shoot) {
        let Shoot { length, order, .. } = *shoot;
        let nodes = ((length / self.internode) as u32).clamp(2, 9);
        let step = length / f64::from(nodes);
        let mut at = shoot.from;
        let mut way = shoot.heading.normalize_or(DVec3::X);
        let mut thick = shoot.radius;
        let mut rings = vec![Ring {
            centre: at,
            radius: thick,
            color: self.bark,
        }];
        let mut forks = Vec::new();
        let mut side = draw.sign();
        for node in 0..nodes {
            // Internodes shorten to the tip and bow a little.
            let reach =
                step * draw.range(0.75, 1.25) * (1.15 - 0.3 * f64::from(node) / f64::from(nodes));
            let bow = DVec3::new(0.0, draw.range(-0.05, 0.07), draw.range(-0.08, 0.08));
            let middle = at + way * (0.5 * reach) + bow * (0.5 * reach);
            rings.push(Ring {
                centre: middle,
                radius: thick * 0.96,
                color: self.bark,
            });
            at += way * reach;
            // The node swells.
            rings.push(Ring {
                centre: at - way * (0.5 * thick),
                radius: thick * draw.range(1.08, 1.28),
                color: self.bark * 0.72,
            });
            if node + 1 == nodes {
                break;
            }
            let open = f64::from(node) + 0.5 > draw.range(0.0, 1.5);
            let fork = order < 2 && open && draw.chance(if order == 0 { 0.5 } else { 0.25 });
            // Kinks alternate from node to node.
            let kink = side * draw.range(0.10, if fork { 0.42 } else { 0.26 });
            let away = turn_about_y(way, kink);
            if fork {
                // Leonardo's rule, as exponent 2: the squared radii above a fork add up to the one
                // below.
                let share = draw.range(0.18, 0.42);
                let angle = -side * draw.range(0.55, 1.0);
                let out = turn_about_y(way, angle) + DVec3::Y * draw.range(-0.14, 0.20);
                forks.push((at - way * (0.4 * thick), out, thick * share.sqrt()));
                thick *= (1.0 - share).sqrt();
            } else {
                self.bud(draw, at, turn_about_y(way, -side * 0.7), thick);
                thick *= draw.range(0.88, 0.97);
            }
            way = (away + DVec3::Y * draw.range(-0.10, 0.10)).normalize_or(DVec3::X);
            side = -side;
            rings.push(Ring {
                centre: at + way * (0.7 * thick),
                radius: thick,
                color: self.bark,
            });
        }
        self.tube(draw, &rings, order);
        for (start, out, thin) in forks {
            if self.shape.triangles.len() < TRIANGLES {
                let side = Shoot {
                    from: start,
                    heading: out,
                    length: length * draw.range(0.22, 0.62),
                    radius: thin,
                    order: order + 1,
                };
                self.shoot(draw, &side);
            }
        }
    }

    /// The shoot's closed tube: ridged bark, patches without it, splintered ends.
    fn tube(&mut self, draw: &mut Draw, rings: &[Ring], order: u32) {
        let base = rings[0].radius;
        let sides = if order == 0 { SIDES } else { SIDES - 2 };
        let (texture, bark, wood, peeled) = (&self.texture, self.bark, self.wood, self.peeled);
        let frequency = 0.35 / base;
        let last = rings.len() - 1;
        let centres: Vec<DVec3> = rings.iter().map(|r| r.centre).collect();
        let caps = Caps {
            // A snapped foot stands out in a splinter; a tip is blunt.
            reach: [
                base * draw.range(-0.4, 1.3),
                rings[last].radius * draw.range(0.5, 2.5),
            ],
            color: wood * 0.85,
        };
        let dress = |i: usize, turn: f64, color: DVec3| {
            let around = DVec3::new(libm::cos(turn), libm::sin(turn), 0.0);
            let place = centres[i] * frequency + around * 0.9;
            let ridge = texture.fractal(place * 1.3, 2, 0.6);
            let patch = texture.fractal(place * 0.45 + DVec3::splat(31.0), 2, 0.5);
            let bare = if peeled > 0.0 {
                patch.smoothstep(0.45 - peeled, 0.55 - peeled)
            } else {
                0.0
            };
            let old = color.lerp(bark, 0.5) * (1.0 + 0.45 * ridge);
            // Bark is a skin about an eighth of the radius thick.
            let factor = 1.0 + 0.14 * ridge - 0.12 * bare;
            let splinter = if i == 0 && order == 0 {
                1.0 + 0.35 * ridge
            } else {
                1.0
            };
            (
                factor * splinter,
                old.lerp(wood * (1.0 + 0.2 * ridge), bare),
            )
        };
        add_tube(&mut self.shape, rings, sides, caps, dress);
    }

    /// A bud that leans on the stem above its leaf scar.
    fn bud(&mut self, draw: &mut Draw, at: DVec3, way: DVec3, thick: f64) {
        if draw.chance(0.35) {
            return;
        }
        let way = (way + DVec3::Y * draw.range(-0.5, 0.5)).normalize_or(DVec3::X);
        let size = thick * draw.range(0.7, 1.1);
        let tone = self.bark * 0.62;
        let ring = |along: f64, wide: f64| Ring {
            centre: at + way * (thick * 0.55 + along * size),
            radius: wide * size,
            color: tone,
        };
        let rings = [ring(0.0, 0.42), ring(0.75, 0.62), ring(1.6, 0.36)];
        let caps = Caps {
            reach: [0.1 * size, 0.7 * size],
            color: tone * 0.8,
        };
        add_tube(&mut self.shape, &rings, 4, caps, |_, turn, color| {
            // Scales: flatter to the stem than across.
            (1.0 - 0.2 * libm::cos(turn * 2.0 + TAU / 8.0), color)
        });
    }
}

/// Turns a direction about +y by an angle in radians.
fn turn_about_y(v: DVec3, angle: f64) -> DVec3 {
    let (s, c) = (libm::sin(angle), libm::cos(angle));
    DVec3::new(c * v.x + s * v.z, v.y, c * v.z - s * v.x)
}
