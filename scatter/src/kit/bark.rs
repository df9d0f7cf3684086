//! Flakes of bark: thin plates that lie on each other like scales, bent as they sat on the stem;
//! fissured outside, pale inside and along fresh edges.

use glam::{DVec3, FloatExt};

use super::{Kind, draw::Draw, perlin::PerlinNoise, work_mesh::WorkMesh};

/// One closed plate, flat, before the flake is bent. Metres; the grain runs along x.
struct Plate {
    /// Middle in plan, and height of its underside.
    middle: DVec3,
    long: f64,
    wide: f64,
    thick: f64,
    /// Cells along the grain and across it.
    cells: [u32; 2],
    /// Offset in the noise from which its outline is taken.
    lane: f64,
    outer: DVec3,
    inner: DVec3,
    lichen: bool,
}

/// Grows a flake in the frame of a piece, with the cosine of its crease angle.
pub(crate) fn grow(variant: u32) -> (WorkMesh, f64) {
    let mut draw = Draw::of(Kind::BarkFlake, variant);
    let texture = PerlinNoise::new(draw.seed());
    let wide = draw.range(0.016, 0.056);
    let long = wide * draw.range(1.2, 2.5);
    // A plate is 1 to 3 mm thick, thinner on small flakes.
    let thick = (0.0012 + 0.03 * wide) * draw.range(0.7, 1.2);
    // Outer bark grey to red brown, inner side paler and warmer; linear.
    let outer = [
        DVec3::new(0.150, 0.120, 0.095),
        DVec3::new(0.165, 0.088, 0.052),
        DVec3::new(0.205, 0.180, 0.152),
        DVec3::new(0.095, 0.070, 0.055),
    ][variant as usize % 4]
        * draw.range(0.85, 1.15);
    let inner = DVec3::new(0.36, 0.205, 0.110) * draw.range(0.85, 1.15);
    let lichen = draw.chance(0.3);

    let mut shape = WorkMesh::default();
    let plates = draw.whole(2, 3);
    for k in 0..=plates {
        let foot = k == 0;
        let share = if foot { 1.0 } else { draw.range(0.40, 0.78) };
        let broad = if foot { 1.0 } else { draw.range(0.42, 0.80) };
        let room = DVec3::new(0.5 * long * (1.0 - share), 0.0, 0.5 * wide * (1.0 - broad));
        let plate = Plate {
            middle: DVec3::new(
                room.x * draw.range(-0.95, 0.95),
                // Scales lie close on each other.
                thick * 0.5 * f64::from(k),
                room.z * draw.range(-0.95, 0.95),
            ),
            long: long * share,
            wide: wide * broad,
            thick: thick * draw.range(0.8, 1.3),
            cells: if foot { [16, 9] } else { [10, 6] },
            lane: 13.7 * f64::from(k),
            // Young scales under old ones are redder; each took the weather by itself.
            outer: outer.lerp(inner, draw.range(0.0, 0.35)) * draw.range(0.72, 1.25),
            inner,
            lichen: lichen && k > 0,
        };
        plate.add(&mut shape, &texture, wide);
    }

    // Bent about the grain as on its stem, warped along it and twisted by drying. Most lie hollow
    // side down.
    let bend = draw.range(0.4, 1.5) * if draw.chance(0.75) { 1.0 } else { -0.7 };
    let warp = draw.range(-0.35, 0.5);
    let twist = draw.range(-0.5, 0.5);
    let radius = wide / bend;
    for p in &mut shape.positions {
        let turn = p.z / radius + twist * p.x / long;
        let out = radius + p.y + warp * p.x * p.x / long;
        *p = DVec3::new(p.x, out * libm::cos(turn) - radius, out * libm::sin(turn));
    }
    shape.settle(DVec3::ZERO);
    // cos 40 degrees: rims and ridges stay crisp.
    (shape, 0.766)
}

impl Plate {
    /// Place in plan of the grid's corner i, j.
    fn place(&self, texture: &PerlinNoise, i: u32, j: u32) -> (f64, f64) {
        // The first cells in are narrow, so that the rim is steep.
        let grade = |i: u32, n: u32| {
            let (i, n) = (f64::from(i), f64::from(n));
            let edge = 0.10;
            if i < 0.5 {
                -1.0
            } else if i > n - 0.5 {
                1.0
            } else {
                (1.0 - edge) * ((i - 1.0) / (n - 2.0) * 2.0 - 1.0)
            }
        };
        let (s, t) = (grade(i, self.cells[0]), grade(j, self.cells[1]));
        // Long edges follow the grain, the ends break in teeth along it.
        let edge =
            |t: f64, lane: f64| texture.fractal(DVec3::new(t, self.lane + lane, 0.5), 2, 0.5);
        let end = if s < 0.0 { 3.3 } else { 7.9 };
        let side = if t < 0.0 { 21.2 } else { 27.6 };
        let jag = texture.at(DVec3::new(f64::from(j) * 0.83 + 0.4, self.lane + end, 4.5));
        let reach = 1.0 + 0.30 * edge(t * 1.6, end) + 0.16 * jag - 0.16 * t * t;
        let flank = 1.0 + 0.42 * edge(s * 1.8, side) - 0.20 * s * s;
        (
            self.middle.x + 0.5 * self.long * s * reach,
            self.middle.z + 0.5 * self.wide * t * flank + 0.12 * self.wide * edge(s * 1.5, 40.0),
        )
    }

    /// Adds the plate: an upper and a lower sheet that share their rim. `wide` is the whole flake's
    /// width.
    fn add(&self, shape: &mut WorkMesh, texture: &PerlinNoise, wide: f64) {
        let [along, across] = self.cells;
        let is_rim = |i: u32, j: u32| i == 0 || j == 0 || i == along || j == across;
        let first = shape.positions.len() as u32;
        for i in 0..=along {
            for j in 0..=across {
                let (x, z) = self.place(texture, i, j);
                let (height, color) = self.upper(texture, x / wide, z / wide, is_rim(i, j));
                shape.push(DVec3::new(x, self.middle.y + height, z), color);
            }
        }
        let under = shape.positions.len() as u32;
        for i in 1..along {
            for j in 1..across {
                let (x, z) = self.place(texture, i, j);
                let fibre = texture.at(DVec3::new(x * 2.5, 50.0, z * 14.0) / wide);
                let color = self.inner * (1.0 + 0.35 * fibre);
                shape.push(DVec3::new(x, self.middle.y - self.thick * 0.12, z), color);
            }
        }
        let top = |i: u32, j: u32| first + i * (across + 1) + j;
        let bottom = |i: u32, j: u32| {
            if is_rim(i, j) {
                top(i, j)
            } else {
                under + (i - 1) * (across - 1) + (j - 1)
            }
        };
        for i in 0..along {
            for j in 0..across {
                let (a, b, c, d) = (top(i, j), top(i, j + 1), top(i + 1, j), top(i + 1, j + 1));
                // The diagonal starts at a corner of the rim: cut across it, both sheets would
                // share the cut.
                if (i == 0 && j == 0) || (i + 1 == along && j + 1 == across) {
                    shape.quad(c, a, d, b);
                } else {
                    shape.quad(a, b, c, d);
                }
                let (a, b, c, d) = (
                    bottom(i, j),
                    bottom(i, j + 1),
                    bottom(i + 1, j),
                    bottom(i + 1, j + 1),
                );
                if (i == 0 && j == 0) || (i + 1 == along && j + 1 == across) {
                    shape.quad(b, a, d, c);
                } else {
                    shape.quad(a, c, b, d);
                }
            }
        }
    }

    /// Height over the underside and colour of the upper side, at a place in widths of the flake.
    fn upper(&self, texture: &PerlinNoise, x: f64, z: f64, rim: bool) -> (f64, DVec3) {
        let shift = DVec3::new(0.0, self.lane, 0.0);
        // Fissures and ridges run along the grain.
        let crack = texture.fractal(DVec3::new(x * 1.3, 8.0, z * 6.0) + shift, 2, 0.55);
        let fissure = 1.0 - crack.abs().smoothstep(0.03, 0.22);
        let fine = texture.at(DVec3::new(x * 4.0, 9.0, z * 17.0) + shift);
        if rim {
            // Broken edges show the inside of the bark, the lower for being worn.
            let tone = self.outer.lerp(self.inner, 0.6) * (0.8 + 0.4 * fine);
            return (self.thick * 0.15, tone);
        }
        let height = self.thick * (0.95 + 0.30 * fine - 0.55 * fissure);
        let mut tone = self.outer * (1.0 + 0.45 * fine) * (1.0 - 0.6 * fissure);
        if self.lichen {
            let crust = texture
                .fractal(DVec3::new(x, 0.0, z) * 3.0, 3, 0.6)
                .smoothstep(0.12, 0.4);
            tone = tone.lerp(DVec3::new(0.30, 0.335, 0.25), 0.7 * crust);
        }
        (height, tone)
    }
}
