//! Fallen leaves: an outline about a midrib, side veins that swing to the tip, a blade cupped
//! between them, dried to a curl.
//!
//! The blade's rows follow the side veins, every second row on one, so that few triangles carry
//! relief, colour and the teeth or lobes of the margin at once. Blade area is k x length x width
//! with k between 1/2 and pi/4 (Montgomery's form; bounds after Shi et al., "Leaf area-length
//! allometry", Forests 10:178, 2019).

use glam::{DVec3, FloatExt};

use super::{
    Kind,
    draw::Draw,
    perlin::PerlinNoise,
    tube::{Caps, Ring, add_tube},
    work_mesh::WorkMesh,
};

/// Columns of cells on each side of the midrib.
const COLUMNS: usize = 4;
/// Vertices of a row.
const ACROSS: usize = 2 * COLUMNS + 1;
/// Where the columns stand between midrib (0) and margin (1): one close to the midrib, which is
/// narrow.
const OUT: [f64; COLUMNS + 1] = [0.0, 0.09, 0.38, 0.70, 1.0];

/// The margin's manner.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Margin {
    Entire,
    /// Teeth, one a side vein, of this height as a share of the half-width.
    Toothed(f64),
    /// Lobes, one a side vein, cut in by this share of the half-width.
    Lobed(f64),
}

/// What leaves of one species share.
#[derive(Debug, Clone, Copy)]
struct LeafHabit {
    /// Width over length of the blade.
    slender: f64,
    /// Where along the blade it is widest.
    widest: f64,
    /// Exponents of the outline below and above the widest place: 0.5 round, 1 straight, more drawn
    /// out.
    shoulders: [f64; 2],
    margin: Margin,
    /// Pairs of side veins.
    veins: usize,
    /// Length of the stalk as a share of the blade's.
    stalk: f64,
}

/// Species-like habits: each has a common shape, not the measured outline of one species.
const HABITS: [LeafHabit; 6] = [
    // Ovate, finely toothed, as beech or hornbeam.
    LeafHabit {
        slender: 0.58,
        widest: 0.44,
        shoulders: [0.48, 0.62],
        margin: Margin::Toothed(0.05),
        veins: 9,
        stalk: 0.14,
    },
    // Lobed, as oak.
    LeafHabit {
        slender: 0.56,
        widest: 0.62,
        shoulders: [0.70, 0.34],
        margin: Margin::Lobed(0.40),
        veins: 5,
        stalk: 0.08,
    },
    // Lanceolate, as peach. Sizes go by width: a narrower one would be laid too long beside the
    // others.
    LeafHabit {
        slender: 0.29,
        widest: 0.40,
        shoulders: [0.55, 0.72],
        margin: Margin::Entire,
        veins: 11,
        stalk: 0.09,
    },
    // Broad with a drawn-out tip, coarsely toothed, as birch or lime.
    LeafHabit {
        slender: 0.76,
        widest: 0.34,
        shoulders: [0.36, 0.86],
        margin: Margin::Toothed(0.09),
        veins: 9,
        stalk: 0.34,
    },
    // Ovate, entire, as dogwood or pear.
    LeafHabit {
        slender: 0.62,
        widest: 0.46,
        shoulders: [0.45, 0.60],
        margin: Margin::Entire,
        veins: 7,
        stalk: 0.26,
    },
    // Long and coarsely toothed, as sweet chestnut.
    LeafHabit {
        slender: 0.40,
        widest: 0.50,
        shoulders: [0.45, 0.52],
        margin: Margin::Toothed(0.10),
        veins: 11,
        stalk: 0.12,
    },
];

/// A leaf on its way from outline to a dried sheet.
struct Leaf {
    habit: LeafHabit,
    length: f64,
    width: f64,
    /// Rows of cells from base to tip.
    rows: usize,
    texture: PerlinNoise,
}

/// A vertex of the flat blade: place (along the midrib and across it, metres), share of the way to
/// the margin, and how much it lies on a side vein (1) or between two (0).
#[derive(Debug, Clone, Copy)]
struct BladeVertex {
    along: f64,
    across: f64,
    out: f64,
    vein: f64,
    /// Share of the way from base to tip.
    up: f64,
}

/// What the blade of one leaf has of its own. Colours are linear.
struct BladeLook {
    base: DVec3,
    /// Colour of the margin.
    edge: DVec3,
    /// Colour of the veins.
    vein: DVec3,
    /// What was eaten off the margin: which side (1 or -1), share of the way from base to tip, and
    /// radius, metres.
    bites: Vec<(f64, f64, f64)>,
    /// How far the blade swells between its veins, metres.
    cup: f64,
    /// Rise of the blade per metre from the midrib.
    fold: f64,
    /// Whether it has dark spots.
    spots: bool,
}

impl BladeLook {
    /// Draws the look of a blade of this width, metres.
    fn new(width: f64, draw: &mut Draw, dryness: f64, underside: bool) -> Self {
        let palette = [
            DVec3::new(0.300, 0.175, 0.078), // tan
            DVec3::new(0.165, 0.092, 0.046), // brown
            DVec3::new(0.420, 0.265, 0.055), // ochre
            DVec3::new(0.275, 0.098, 0.036), // rust
            DVec3::new(0.225, 0.140, 0.070), // buff brown
            DVec3::new(0.185, 0.175, 0.052), // last green
        ];
        let base = palette[(draw.unit() * 6.0) as usize % 6] * draw.range(0.85, 1.15);
        let edge = palette[1] * draw.range(0.8, 1.2);
        let vein = if underside {
            base.lerp(DVec3::new(0.50, 0.38, 0.22), 0.6)
        } else {
            base.lerp(DVec3::new(0.50, 0.38, 0.20), 0.75)
        };
        let bites = (0..draw.whole(0, 2))
            .map(|_| {
                (
                    draw.sign(),
                    draw.range(0.2, 0.8),
                    width * draw.range(0.08, 0.22),
                )
            })
            .collect();
        Self {
            base,
            edge,
            vein,
            bites,
            cup: width * draw.range(0.012, 0.030) * (0.6 + dryness),
            fold: draw.range(0.05, 0.30),
            spots: draw.whole(0, 1) == 1,
        }
    }
}

/// Grows a leaf in the frame of a piece, with the cosine of its crease angle.
pub(crate) fn grow(variant: u32) -> (WorkMesh, f64) {
    let mut draw = Draw::of(Kind::Leaf, variant);
    let leaf = Leaf::new(variant, &mut draw);
    let dryness = draw.unit();
    let underside = variant % 3 == 2;
    let mut shape = leaf.blade(&mut draw, dryness, underside);
    leaf.stalk(&mut draw, &mut shape);
    leaf.bend(&mut draw, &mut shape, dryness, underside);
    shape.level();
    shape.settle(DVec3::ZERO);
    // cos 50 degrees: the fold along the midrib shows as one soft edge.
    (shape, 0.64)
}

impl Leaf {
    /// The flat leaf of a variant.
    fn new(variant: u32, draw: &mut Draw) -> Self {
        let habit = HABITS[variant as usize % HABITS.len()];
        // Slender leaves are narrower, within 20 to 60 mm.
        let width = draw.range(0.030, 0.052) * if habit.slender < 0.45 { 0.78 } else { 1.0 };
        let rows_a_vein = if matches!(habit.margin, Margin::Lobed(_)) {
            4
        } else {
            2
        };
        Self {
            habit,
            length: width / (habit.slender * draw.range(0.9, 1.1)),
            width,
            rows: rows_a_vein * habit.veins + 2,
            texture: PerlinNoise::new(draw.seed()),
        }
    }

    /// Half-width of the blade's margin at a share of the way from base to tip, over the half-width
    /// at its widest.
    fn outline(&self, up: f64) -> f64 {
        let LeafHabit {
            widest, shoulders, ..
        } = self.habit;
        let (t, power) = if up < widest {
            (up / widest, shoulders[0])
        } else {
            ((1.0 - up) / (1.0 - widest), shoulders[1])
        };
        // A sine's power: round at 1/2 and below, straight-sided near 1, drawn out above.
        let rise = libm::sin(t.clamp(0.0, 1.0) * std::f64::consts::FRAC_PI_2);
        libm::pow(rise.max(0.0), 2.0 * power)
    }

    /// A vertex of the flat blade, in rows of [`ACROSS`]. `bites`: see [`BladeLook`].
    fn vertex(&self, row: usize, column: i32, bites: &[(f64, f64, f64)]) -> BladeVertex {
        let up = row as f64 / self.rows as f64;
        let out = OUT[column.unsigned_abs() as usize % OUT.len()];
        let side = f64::from(column.signum());
        let (vein, margin, forward) = match self.habit.margin {
            Margin::Lobed(depth) => {
                let phase = row % 4;
                let vein = if phase == 2 { 1.0 } else { 0.0 };
                // Sinus, rise, lobe, rise.
                let lobe = [1.0, 0.35, 0.0, 0.22][phase];
                // The base and the tip are whole.
                let fade = up.smoothstep(0.0, 0.25) * (1.0 - up).smoothstep(0.0, 0.16);
                (vein, 1.0 - depth * lobe * fade, 0.0)
            }
            Margin::Toothed(height) => {
                let tip = row % 2 == 1;
                let fade = up.smoothstep(0.02, 0.2) * (1.0 - up).smoothstep(0.0, 0.1);
                let tooth = if tip { height } else { -0.4 * height } * fade;
                (
                    f64::from(u8::from(tip)),
                    1.0 + tooth,
                    if tip { 0.9 * height * fade } else { 0.0 },
                )
            }
            Margin::Entire => (f64::from(u8::from(row % 2 == 1)), 1.0, 0.0),
        };
        // No two margins are alike: each side waves by itself.
        let wave = 1.0 + 0.07 * self.texture.at(DVec3::new(up * 3.1, side * 4.0 + 0.5, 2.0));
        let mut half = 0.5 * self.width * self.outline(up) * margin * wave;
        for &(bitten_side, at, reach) in bites {
            if bitten_side == side {
                let off = (up - at) * self.length / reach;
                let depth = (1.0 - off * off).max(0.0).sqrt() * reach * 0.9;
                half = half.min((0.5 * self.width * self.outline(up) - depth).max(0.12 * half));
            }
        }
        // Rows leave the midrib behind the place where they meet the margin: veins swing forward.
        let lag = 0.55 * up * (1.0 - up);
        let swing = out * (0.55 + 0.45 * out);
        let along = self.length * (up - lag + lag * swing) + forward * out * out * 0.5 * self.width;
        BladeVertex {
            along,
            across: side * half * out,
            out,
            vein,
            up,
        }
    }

    /// The blade, flat but for its relief, coloured.
    fn blade(&self, draw: &mut Draw, dryness: f64, underside: bool) -> WorkMesh {
        let look = BladeLook::new(self.width, draw, dryness, underside);
        let mut shape = WorkMesh::default();
        let index = self.vertices(&mut shape, &look, underside);
        // Holes: a vertex inside the blade and all its triangles go.
        let holes: Vec<u32> = (0..[0, 0, 1, 3][draw.whole(0, 3) as usize])
            .map(|_| {
                let row = draw.whole(3, self.rows as u32 - 4) as usize;
                let column =
                    COLUMNS as i32 + draw.sign() as i32 * draw.whole(1, COLUMNS as u32 - 1) as i32;
                index[row * ACROSS + column as usize]
            })
            .collect();
        for row in 0..self.rows {
            for k in 0..ACROSS - 1 {
                let at = |r: usize, c: usize| index[(row + r) * ACROSS + k + c];
                let (a, b, c, d) = (at(0, 0), at(0, 1), at(1, 0), at(1, 1));
                // Mirror the diagonals, so that both halves fold alike.
                let pair = if k < COLUMNS {
                    [[a, b, d], [a, d, c]]
                } else {
                    [[a, b, c], [b, d, c]]
                };
                for t in pair {
                    let whole = t[0] != t[1] && t[1] != t[2] && t[2] != t[0];
                    if whole && !t.iter().any(|i| holes.contains(i)) {
                        shape.triangles.push(t);
                    }
                }
            }
        }
        shape.drop_unused();
        shape
    }

    /// Adds the blade's vertices; their indices, row by row.
    fn vertices(&self, shape: &mut WorkMesh, look: &BladeLook, underside: bool) -> Vec<u32> {
        let mut index = vec![0_u32; (self.rows + 1) * ACROSS];
        for row in 0..=self.rows {
            let point = row == 0 || row == self.rows;
            for k in 0..ACROSS {
                let column = k as i32 - COLUMNS as i32;
                if point && k > 0 {
                    index[row * ACROSS + k] = index[row * ACROSS];
                    continue;
                }
                let s = self.vertex(row, if point { 0 } else { column }, &look.bites);
                // Veins lie low on the upper side; the blade swells between them and dies down at
                // both ends.
                let swell = look.cup * (1.0 - s.vein) * (4.0 * s.out * (1.0 - 0.93 * s.out));
                let ripple = look.cup
                    * 0.8
                    * s.out
                    * self
                        .texture
                        .at(DVec3::new(s.along, s.across, 0.0) * (3.0 / self.width));
                let height = look.fold * s.across.abs() + swell + ripple;
                let color = self.color(s, look);
                let height = if underside { -height } else { height };
                index[row * ACROSS + k] = shape.push(DVec3::new(s.along, height, s.across), color);
            }
        }
        index
    }

    /// Brown comes in from the margin and between the veins; the midrib and the veins stay pale.
    fn color(&self, s: BladeVertex, look: &BladeLook) -> DVec3 {
        let place = DVec3::new(s.along, s.across, 0.3) / self.width;
        let cloud = self.texture.fractal(place * 2.2, 3, 0.6);
        let from_margin = (s.out + 0.55 * cloud + 0.25 * (s.up - 0.5)).smoothstep(0.45, 1.1);
        let mut color = look.base.lerp(look.edge, 0.75 * from_margin) * (1.0 + 0.30 * cloud);
        let midrib: f64 = if s.out == 0.0 { 0.9 } else { 0.0 };
        let side = 0.6 * s.vein * (1.0 - 0.5 * s.out);
        color = color.lerp(look.vein, midrib.max(side));
        if look.spots {
            let spot = self
                .texture
                .at(place * 5.3 + DVec3::splat(9.0))
                .smoothstep(0.32, 0.5);
            color = color.lerp(DVec3::new(0.055, 0.036, 0.024), 0.75 * spot);
        }
        color
    }

    /// The stalk: a closed tube from under the midrib's foot, thicker where it sat on the twig.
    fn stalk(&self, draw: &mut Draw, shape: &mut WorkMesh) {
        let length = self.length * self.habit.stalk * draw.range(0.8, 1.2);
        let thick = (0.018 * self.width + 0.0003).min(0.0011);
        let swerve = draw.range(-0.5, 0.5) * length;
        let tone = DVec3::new(0.20, 0.118, 0.060);
        let ring = |s: f64, wide: f64| Ring {
            centre: DVec3::new(
                0.10 * self.length - s * (length + 0.10 * self.length),
                -0.4 * thick,
                swerve * s * s,
            ),
            radius: thick * wide,
            color: tone,
        };
        let rings = [
            ring(0.0, 0.4),
            ring(0.3, 0.8),
            ring(0.55, 0.85),
            ring(0.8, 0.95),
            ring(0.94, 1.35),
            ring(1.0, 1.7),
        ];
        let caps = Caps {
            reach: [0.0, 0.3 * thick],
            color: tone * 0.7,
        };
        add_tube(shape, &rings, 4, caps, |_, _, color| (1.0, color));
    }

    /// Bends the sheet without stretching it: along its length, then about the midrib, with a
    /// twist.
    fn bend(&self, draw: &mut Draw, shape: &mut WorkMesh, dryness: f64, underside: bool) {
        let curl = 0.25 + 0.8 * dryness;
        // Turn over the whole length and over the whole width, in radians.
        let along = draw.range(-0.45, 0.6) * curl;
        let roll = draw.range(-0.4, 1.3) * curl * if underside { -0.8 } else { 1.0 };
        let twist = draw.range(-0.45, 0.45) * curl;
        let sway = draw.range(-0.35, 0.35);
        for p in &mut shape.positions {
            let s = (p.x / self.length).clamp(-0.5, 1.0);
            // Across: an arc that tightens to the tip, where the sheet is thinnest.
            let turn = roll * (0.45 + 0.75 * s.max(0.0));
            let theta = turn * p.z / self.width;
            let radius = self.width / if turn.abs() < 1e-3 { 1e-3 } else { turn };
            let (y, z) = (
                p.y * libm::cos(theta) + radius * (1.0 - libm::cos(theta)),
                radius * libm::sin(theta) - p.y * libm::sin(theta),
            );
            // Twist about the midrib.
            let (st, ct) = (libm::sin(twist * s), libm::cos(twist * s));
            let (y, z) = (y * ct - z * st, y * st + z * ct);
            // Along: an arc in the upright plane; the midrib sways in plan.
            let phi = along * s;
            let reach = self.length / if along.abs() < 1e-3 { 1e-3 } else { along };
            let over = if s <= -0.5 {
                p.x + 0.5 * self.length
            } else {
                0.0
            };
            let flat = reach * libm::sin(phi) - y * libm::sin(phi) + over;
            *p = DVec3::new(
                flat,
                reach * (1.0 - libm::cos(phi)) + y * libm::cos(phi),
                z + sway * 0.5 * self.length * s * s,
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Montgomery's factor k = area / (length x width) lies between 1/2 (a triangle) and pi/4 (an
    /// ellipse): Shi et al., Forests 10:178, 2019.
    #[test]
    fn blade_area_keeps_montgomerys_bounds() {
        for variant in 0..Kind::Leaf.variants() {
            let leaf = Leaf::new(variant, &mut Draw::of(Kind::Leaf, variant));
            // The margin of the unbitten flat blade, up one side and down the other.
            let last = COLUMNS as i32;
            let up = (0..=leaf.rows).map(|row| leaf.vertex(row, last, &[]));
            let down = (0..=leaf.rows)
                .rev()
                .map(|row| leaf.vertex(row, -last, &[]));
            let ring: Vec<(f64, f64)> = up.chain(down).map(|s| (s.along, s.across)).collect();
            let area = (0..ring.len())
                .map(|i| {
                    let ((x0, z0), (x1, z1)) = (ring[i], ring[(i + 1) % ring.len()]);
                    (x0 * z1 - x1 * z0) / 2.0
                })
                .sum::<f64>()
                .abs();
            let extent = |pick: fn(&(f64, f64)) -> f64| {
                let (low, high) = ring
                    .iter()
                    .map(pick)
                    .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| {
                        (l.min(x), h.max(x))
                    });
                high - low
            };
            let k = area / (extent(|p| p.0) * extent(|p| p.1));
            assert!(
                (0.5..=std::f64::consts::FRAC_PI_4).contains(&k),
                "leaf {variant}: {k}"
            );
        }
    }
}
