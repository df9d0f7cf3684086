//! An old terracotta pot that lies where it fell: thrown rings, a broken rim, a crack, lime and
//! moss, soil inside.

use glam::{DQuat, DVec3};
use scatter::random::{stream, text_key};

use crate::lathe::{Profile, lathe};
use crate::model::{Model, Stuff};
use crate::surface::{Surface, Vertex};
use crate::wear::{Color, color, fractal, noise, ramp};

const CLAY: Stuff = Stuff {
    name: "terracotta",
    roughness: 0.9,
    metallic: 0.0,
    two_sided: false,
};
const SOIL: Stuff = Stuff {
    name: "soil",
    roughness: 1.0,
    metallic: 0.0,
    two_sided: true,
};

const TERRACOTTA: Color = color(0.355, 0.140, 0.072);
const FRESH: Color = color(0.52, 0.185, 0.080);
const LIME: Color = color(0.58, 0.52, 0.44);
const MOSS: Color = color(0.040, 0.062, 0.018);
const STAIN: Color = color(0.060, 0.042, 0.028);

/// Faces that meet flatter than this stay smooth: cosine of 35 degrees.
const CREASE: f64 = 0.819;

/// Height of the pot, metres.
const HEIGHT: f64 = 0.26;
/// Where the collar ends below, metres.
const COLLAR: f64 = 0.217;
/// Heights between which the outer wall is drawn straight, and its radii there, metres.
const WALL: [[f64; 2]; 2] = [[0.010, 0.082], [COLLAR, 0.120]];
/// Thickness of the wall, metres.
const THICK: f64 = 0.010;
/// Columns round the pot.
const SIDES: usize = 136;

/// The pot, its mouth between +z and +x.
pub(crate) fn pot() -> Model {
    let mut model = Model::default();
    let lie = Lie::new(&fired());
    let [crack, whole] = lie
        .lay(fired())
        .with_normals(CREASE)
        .cut(|p| 0.0009 - off_crack(p));
    model.paint(&CLAY, &crack, |_| color(0.045, 0.022, 0.013));
    model.paint(&CLAY, &whole, clay);
    let soil = lie.soil().with_normals(CREASE);
    model.paint(&SOIL, &soil, |v| {
        let key = text_key("soil");
        let dry = ramp(-0.3, 0.6, fractal(key, v.at, 0.02));
        let crumb = 1.0 + 0.45 * noise(key, v.at / 0.0024);
        color(0.075, 0.051, 0.034).lerp(color(0.165, 0.119, 0.081), 0.85 * dry) * crumb
    });
    model
}

/// Outer radius of the wall under the collar at a height, metres.
fn outer(y: f64) -> f64 {
    let [[y0, r0], [y1, r1]] = WALL;
    let t = (y - y0) / (y1 - y0);
    // A slight belly
    r0 + (r1 - r0) * t + 0.004 * 4.0 * t * (1.0 - t)
}

/// The pot as it was thrown and as it broke, upright.
fn fired() -> Surface {
    let wall: Vec<[f64; 2]> = (0..=8)
        .map(|i| WALL[0][0] + (WALL[1][0] - WALL[0][0]) * f64::from(i) / 8.0)
        .map(|y| [outer(y), y])
        .collect();
    let inside: Vec<[f64; 2]> = (0..=8)
        .rev()
        .map(|i| 0.016 + (0.250 - 0.016) * f64::from(i) / 8.0)
        .map(|y| [outer(y) - THICK, y])
        .collect();
    let profile = Profile::default()
        // The drain hole and the foot
        .run(0.007, &[[0.0115, 0.012], [0.0110, 0.0]])
        .run(0.016, &[[0.0110, 0.0], [0.0745, 0.0]])
        .run(
            0.002,
            &[
                [0.0745, 0.0],
                [0.0785, 0.0022],
                [0.0805, 0.006],
                [0.082, 0.010],
            ],
        )
        .run(0.0041, &wall)
        // The collar: an undercut, a thick band, a rounded lip
        .run(0.0025, &[wall[8], [0.1225, 0.2166], [0.1290, 0.2190]])
        .run(
            0.0028,
            &[
                [0.1290, 0.2190],
                [0.1312, 0.2230],
                [0.1320, 0.2380],
                [0.1322, 0.2510],
                [0.1305, 0.2578],
                [0.1255, HEIGHT],
                [0.1200, 0.2578],
                [0.1165, 0.2500],
            ],
        )
        .run(0.0105, &inside)
        .run(
            0.016,
            &[
                inside[8],
                [outer(0.014) - THICK - 0.006, 0.0125],
                [0.0115, 0.012],
            ],
        );
    let mut points = profile.points;
    points.pop(); // the profile ends where it began
    let rings = text_key("rings");
    let lump = text_key("lump");
    let mut pot = lathe(&points, SIDES, true).bend(|p| {
        let out = DVec3::new(p.x, 0.0, p.z).normalize_or_zero();
        // Finger marks run round; no two alike, and they drift a little on the way
        let ring = noise(rings, DVec3::new(0.4 * out.x, p.y / 0.0075, 0.4 * out.z))
            + 0.6
                * noise(
                    rings ^ 1,
                    DVec3::new(0.3 * out.x, p.y / 0.0048, 0.3 * out.z),
                );
        let on_wall = ramp(0.008, 0.02, p.y) * (1.0 - 0.55 * ramp(COLLAR - 0.004, COLLAR, p.y));
        let wave = 0.0012 * noise(lump, p / 0.07) + 0.0004 * noise(lump ^ 1, p / 0.012);
        p + out * (0.0014 * ring * on_wall + wave)
            + DVec3::Y * (0.0011 * noise(lump ^ 2, out * 1.4) * ramp(0.2, 0.26, p.y))
    });
    break_rim(&mut pot, points.len());
    pot
}

/// Height of what is left of the rim at an angle from the front, metres: above the pot where it is
/// whole.
fn broken_edge(angle: f64) -> f64 {
    let key = text_key("break");
    let bite = |at: f64, half: f64, deep: f64, slope: f64| {
        let mut away = (angle - at).abs();
        away = away.min(std::f64::consts::TAU - away);
        // Straight flanks, as fired clay breaks, a slanted floor
        let flank = ramp(half, half - 0.16, away);
        HEIGHT + 0.003 - flank * (deep + slope * (angle - at))
    };
    let jag = 0.0045 * noise(key, DVec3::new(angle * 7.0, 0.0, 0.5))
        + 0.0022 * noise(key ^ 1, DVec3::new(angle * 21.0, 0.0, 0.5));
    let low = bite(2.75, 0.50, 0.040, 0.030).min(bite(4.35, 0.20, 0.014, 0.02));
    if low < HEIGHT { low + jag } else { low }
}

/// Breaks the rim: in every column what stands above the edge becomes the fracture from the outer
/// to the inner wall.
fn break_rim(pot: &mut Surface, rows: usize) {
    let key = text_key("fracture");
    for j in 0..SIDES {
        let angle = std::f64::consts::TAU * j as f64 / SIDES as f64;
        let edge = broken_edge(angle);
        let index = |i: usize| i * SIDES + j;
        let high: Vec<usize> = (0..rows)
            .filter(|i| pot.vertices[index(*i)].at.y > edge)
            .collect();
        let (Some(first), Some(last)) = (high.first(), high.last()) else {
            continue;
        };
        // The neighbours below the edge on both walls
        let from = pot.vertices[index(first - 1)].at;
        let to = pot.vertices[index(last + 1)].at;
        let count = (last - first) as f64;
        for (k, i) in (*first..=*last).enumerate() {
            let t = k as f64 / count.max(1.0);
            let flat = from.lerp(to, 0.04 + 0.92 * t);
            // Inner edge a little lower, a grainy face
            let rough = 0.0012 * noise(key, flat / 0.005);
            let y = edge - 0.004 * (t - 0.5) + rough;
            let v = &mut pot.vertices[index(i)];
            v.at = DVec3::new(flat.x, y, flat.z);
        }
    }
}

/// Angle from the front of a place, 0 to a turn.
fn angle_of(p: DVec3) -> f64 {
    let a = libm::atan2(p.x, p.z);
    if a < 0.0 {
        a + std::f64::consts::TAU
    } else {
        a
    }
}

/// Distance from the crack that runs down from the break, metres.
fn off_crack(p: DVec3) -> f64 {
    let key = text_key("crack");
    let (angle, y) = (angle_of(p), p.y);
    let path = 2.52 - 0.55 * (HEIGHT - y) / HEIGHT
        + 0.10 * noise(key, DVec3::new(y / 0.045, 0.3, 0.0))
        + 0.035 * noise(key ^ 1, DVec3::new(y / 0.013, 0.3, 0.0));
    // It closes towards its end
    let end = 0.0016 * ramp(0.13, 0.06, y);
    (angle - path).abs() * 0.11 + end
}

fn clay(v: &Vertex) -> Color {
    let p = v.rest;
    let out = DVec3::new(p.x, 0.0, p.z).normalize_or_zero();
    let radius = (p.x * p.x + p.z * p.z).sqrt();
    let broken =
        ramp(0.002, -0.001, broken_edge(angle_of(p)) - p.y) * if p.y > 0.19 { 1.0 } else { 0.0 };
    let inside = radius < outer(p.y) - 0.5 * THICK && p.y > 0.011;
    let key = text_key("clay");
    let tone = fractal(key, p, 0.06);
    let ring = noise(key ^ 1, DVec3::new(0.3 * out.x, p.y / 0.006, 0.3 * out.z));
    let grain = noise(key ^ 2, p / 0.0022);
    let mut c = TERRACOTTA * (1.0 + 0.16 * tone + 0.07 * ring + 0.10 * grain);
    if inside {
        // Years of wet soil: dark, with a tide line of lime
        let tide = 0.205 + 0.012 * noise(key ^ 3, p / 0.04);
        c = c.lerp(STAIN * 2.2, 0.70 * ramp(tide + 0.004, tide - 0.02, p.y));
        let line = ramp(0.012, 0.0, (p.y - tide - 0.006).abs());
        c = c.lerp(LIME * 0.8, 0.45 * line * (0.6 + 0.4 * grain));
    } else {
        // Lime comes out of the wall where water goes through: clouds, runs under the collar, a
        // bloom on the collar's edge
        let cloud = fractal(text_key("lime"), p, 0.075) + 0.3 * grain;
        let band = ramp(0.03, 0.09, p.y) * ramp(0.26, 0.18, p.y);
        let runs = noise(
            text_key("runs"),
            DVec3::new(out.x * 13.0, p.y / 0.11, out.z * 13.0),
        );
        let lime = 0.80 * ramp(-0.35, 0.60, cloud) * band
            + 0.45 * ramp(0.1, 0.6, runs) * ramp(0.10, COLLAR, p.y) * ramp(0.225, COLLAR, p.y)
            + 0.35 * ramp(0.2, 0.7, cloud) * ramp(0.235, 0.25, p.y);
        c = c.lerp(LIME, lime.clamp(0.0, 0.85));
        // Moss and black algae rise from the foot
        let rise = p.y - 0.045 * fractal(text_key("moss"), p, 0.05) - 0.008 * grain;
        c = c.lerp(STAIN, 0.82 * ramp(0.125, 0.04, rise));
        c = c.lerp(MOSS, 0.85 * ramp(0.075, 0.025, rise));
        // and sit under the collar
        let under = ramp(COLLAR - 0.022, COLLAR, p.y) * ramp(COLLAR + 0.004, COLLAR + 0.001, p.y);
        c = c.lerp(STAIN, 0.55 * under * ramp(-0.3, 0.4, runs + 0.4 * grain));
    }
    let fresh = FRESH * (1.0 + 0.22 * grain + 0.12 * tone);
    c.lerp(fresh, 0.85 * broken)
}

/// How the pot lies on its side.
struct Lie {
    turn: DQuat,
    shift: DVec3,
}

/// How far the mouth is turned from +z toward +x, radians (55 degrees).
const HEADING: f64 = 0.96;
/// The pot has rolled so that the break looks up and to the front, radians.
const ROLL: f64 = 0.35;

impl Lie {
    /// Lays the pot on the ground on its rim and its foot, the middle of its bounds over the
    /// origin.
    fn new(pot: &Surface) -> Self {
        // The line from the foot's edge to the collar's lies on the ground
        let slope = libm::atan2(0.1322 - 0.0785, 0.2510 - 0.0022);
        let down = DQuat::from_rotation_x(std::f64::consts::FRAC_PI_2 - slope);
        let turn = DQuat::from_rotation_y(HEADING) * down * DQuat::from_rotation_y(ROLL);
        let (mut low, mut high) = (DVec3::INFINITY, DVec3::NEG_INFINITY);
        for v in &pot.vertices {
            low = low.min(turn * v.at);
            high = high.max(turn * v.at);
        }
        let middle = 0.5 * (low + high);
        Self {
            turn,
            shift: DVec3::new(-middle.x, -low.y, -middle.z),
        }
    }

    fn lay(&self, pot: Surface) -> Surface {
        // Paint goes by the upright pot as it broke
        let upright = pot.place(|p| p);
        upright.bend(|p| self.turn * p + self.shift)
    }

    /// Whether a place in the world is inside the pot's wall, with a millimetre or two to spare.
    fn holds(&self, p: DVec3) -> bool {
        let q = self.turn.inverse() * (p - self.shift);
        let radius = (q.x * q.x + q.z * q.z).sqrt();
        q.y > 0.010 && q.y < 0.252 && radius < outer(q.y) - THICK + 0.0025
    }

    /// The soil that stayed in: a slope from the back down to the lip, its edge buried in the wall.
    fn soil(&self) -> Surface {
        let mouth = self.turn * DVec3::Y;
        let forward = DVec3::new(mouth.x, 0.0, mouth.z).normalize_or(DVec3::Z);
        let across = DVec3::Y.cross(forward);
        // 24 degrees: loose soil rests at 30 to 35, rain has washed it flatter
        let steep = 0.42;
        let along = (forward - DVec3::Y * steep).normalize_or(forward);
        let centre = self.turn * DVec3::new(0.0, 0.115, 0.0) + self.shift + DVec3::Y * 0.010;
        let key = text_key("soil lumps");
        let reach = |from: DVec3, d: DVec3| {
            let (mut near, mut far) = (0.0, 0.3);
            for _ in 0..40 {
                let middle = 0.5 * (near + far);
                if self.holds(from + d * middle) {
                    near = middle;
                } else {
                    far = middle;
                }
            }
            near
        };
        const RAYS: usize = 72;
        const RINGS: usize = 29;
        let mut rows = vec![vec![centre]];
        let rays: Vec<DVec3> = (0..RAYS)
            .map(|j| {
                let (s, c) = libm::sincos(std::f64::consts::TAU * j as f64 / RAYS as f64);
                let d = across * c + along * s;
                d * reach(centre, d)
            })
            .collect();
        // Where it ends in the mouth, a bank goes down to the wall
        let banks: Vec<f64> = rays
            .iter()
            .map(|ray| reach(centre + *ray * 0.999, DVec3::NEG_Y))
            .collect();
        for i in 1..=RINGS {
            let t = i as f64 / RINGS as f64;
            let ring = rays.iter().zip(&banks).enumerate();
            rows.push(
                ring.map(|(j, (ray, bank))| {
                    let ragged = 0.06 * noise(key ^ 2, DVec3::new(j as f64 / 9.0, 0.5, 0.5));
                    centre + *ray * t - DVec3::Y * (bank * ramp(0.72 + ragged, 1.0, t))
                })
                .collect(),
            );
        }
        let mut soil = Surface::from_rows(&rows, false).bend(|p| {
            let lump = 0.006 * fractal(key, p, 0.035) + 0.0016 * fractal(key ^ 1, p, 0.006);
            p + DVec3::Y * lump
        });
        // Crumbs and small stones on it
        let mut draws = stream(text_key("crumbs"));
        for _ in 0..26 {
            let ray = rays[(draws.unit() * RAYS as f64) as usize];
            let size = 0.0016 + 0.0042 * draws.unit() * draws.unit();
            let foot = centre + ray * (0.93 * draws.unit().sqrt());
            let lump = 0.006 * fractal(key, foot, 0.035);
            let middle = foot + DVec3::Y * (lump + 0.3 * size);
            soil.add(crumb(middle, size, draws.bits()));
        }
        soil
    }
}

/// A small lump.
fn crumb(middle: DVec3, size: f64, key: u64) -> Surface {
    let profile = Profile::default().run(
        0.5,
        &[[0.0, -1.0], [0.7, -0.7], [1.0, 0.0], [0.7, 0.7], [0.0, 1.0]],
    );
    lathe(&profile.points, 9, false).bend(|p| {
        let bumpy = p * (1.0 + 0.5 * noise(key, p * 0.9));
        middle + bumpy * DVec3::new(1.1, 0.8, 1.0) * size
    })
}
