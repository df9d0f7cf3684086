//! Stones: rock as it breaks, and what a river makes of it.
//!
//! A block is broken by joints ([`Fracture`]), worn where it is convex, as fast as it is sharp
//! (Firey, "Shapes of worn stones", 1974: the speed of wear grows with curvature), cut and bent to
//! a form of its own ([`StoneForm`]), stretched to drawn axes and roughened. Every step moves a
//! point only along its ray from the middle, so the surface stays closed and can't cross itself.

use glam::{DVec3, FloatExt};

use super::{
    Kind,
    draw::{Draw, logit},
    form::{self, StoneForm},
    fracture::{Breakage, Fracture},
    lithology::Lithology,
    perlin::PerlinNoise,
    refine::{flip, follow, onto},
    sphere::geodesic,
    work_mesh::WorkMesh,
};

/// How the three kinds of stone differ. The figures are by eye, beside photographs of river bars
/// and scree.
#[derive(Debug, Clone, Copy)]
struct StoneHabit {
    /// Intermediate axis in metres.
    b_axis: f64,
    /// Frequency n of the geodesic sphere: 20 n² triangles.
    frequency: u32,
    breakage: Breakage,
    /// The distance by which wear spreads over the block's radius (1), for the least and the most
    /// worn variant.
    wear: [f64; 2],
    /// The same, since the stone took the form of [`StoneForm`].
    wear_since: [f64; 2],
    /// Intermediate over long axis and short over intermediate: mean and standard deviation of
    /// each, before the ends are cut off.
    ///
    /// Outlines of river gravel have medians of b/a of 0.61 to 0.73 and standard deviations of
    /// 0.136 to 0.170 (see the tests of outlines); c/b, and that scree is flatter, are common
    /// practice without a source. With these all classes of form occur that Zingg (1935) and Sneed
    /// and Folk (1958) tell apart.
    ratios: [[f64; 2]; 2],
    irregularity: form::Irregularity,
    /// Height of the roughness on a rough face and on a smooth one, as a share of the b-axis.
    roughness: [f64; 2],
    /// Cosine of the angle beyond which an edge stays sharp in the shading.
    crease_cosine: f64,
}

/// Share of what stands out that a pass of wear takes away: below 1 it converges without
/// oscillating.
const WEAR_RATE: f64 = 0.55;

fn habit(kind: Kind, draw: &mut Draw) -> StoneHabit {
    match kind {
        Kind::Cobble => StoneHabit {
            b_axis: 0.120,
            frequency: 8,
            breakage: Breakage {
                skew: 0.75,
                taper: 0.32,
                free_faces: draw.whole(1, 4),
                steps: draw.whole(0, 1),
                chips: draw.whole(0, 2),
            },
            wear: [0.12, 0.36],
            wear_since: [0.12, 0.24],
            ratios: [[0.675, 0.185], [0.65, 0.15]],
            irregularity: form::Irregularity {
                taper: 0.7,
                waves: [0.15, 0.60],
                facets: [0.30, 0.30, 0.20],
                facet_distance: [0.54, 0.80],
                scooped: 0.70,
                notched: 0.32,
            },
            roughness: [0.014, 0.005],
            crease_cosine: -1.0,
        },
        Kind::Pebble => StoneHabit {
            b_axis: 0.020,
            frequency: 5,
            breakage: Breakage {
                skew: 0.75,
                taper: 0.32,
                free_faces: draw.whole(1, 4),
                steps: 0,
                chips: draw.whole(0, 1),
            },
            wear: [0.16, 0.36],
            wear_since: [0.12, 0.24],
            ratios: [[0.675, 0.185], [0.65, 0.15]],
            irregularity: form::Irregularity {
                taper: 0.85,
                waves: [0.25, 0.80],
                facets: [0.30, 0.30, 0.25],
                facet_distance: [0.54, 0.80],
                scooped: 0.70,
                notched: 0.32,
            },
            roughness: [0.010, 0.004],
            crease_cosine: -1.0,
        },
        _ => StoneHabit {
            b_axis: 0.150,
            frequency: 8,
            breakage: Breakage {
                skew: 0.5,
                taper: 0.13,
                free_faces: draw.whole(1, 4),
                steps: draw.whole(1, 3),
                chips: draw.whole(2, 4),
            },
            wear: [0.0, 0.1],
            wear_since: [0.0, 0.05],
            ratios: [[0.68, 0.16], [0.57, 0.17]],
            irregularity: form::Irregularity {
                taper: 0.25,
                waves: [0.0, 0.1],
                facets: [0.0; 3],
                facet_distance: [0.7, 0.9],
                scooped: 0.0,
                notched: 0.12,
            },
            roughness: [0.045, 0.012],
            // cos 28 degrees: where faces meet at less, the edge is worn round.
            crease_cosine: 0.88,
        },
    }
}

/// Axis ratios b/a and c/b of a variant: spread evenly over the variants in both ratios at once (a
/// lattice rule), through logistic laws with the kind's own means and standard deviations.
fn axis_ratios(kind: Kind, variant: u32, ratios: [[f64; 2]; 2], draw: &mut Draw) -> (f64, f64) {
    let n = kind.variants();
    let cell =
        |index: u32, draw: &mut Draw| (f64::from(index % n) + draw.range(0.2, 0.8)) / f64::from(n);
    // 13 is coprime to 36 and near 36 over the square of the golden ratio: the lattice has no thin
    // direction.
    let (u, w) = (cell(variant, draw), cell(variant % n * 13 + 4, draw));
    // A logistic law of scale s has standard deviation 1.81 s.
    let law = |[mean, deviation]: [f64; 2], u: f64| mean + deviation / 1.81 * logit(u);
    (
        law(ratios[0], u).clamp(0.36, 0.96),
        law(ratios[1], w).clamp(0.28, 0.95),
    )
}

/// Grows a stone in the frame of a piece, with the cosine of its crease angle.
pub(crate) fn grow(kind: Kind, variant: u32) -> (WorkMesh, f64) {
    let mut draw = Draw::of(kind, variant);
    let habit = habit(kind, &mut draw);
    let (b_over_a, c_over_b) = axis_ratios(kind, variant, habit.ratios, &mut draw);
    let b = habit.b_axis * draw.range(0.85, 1.18);
    let mut stone = StoneMesh::broken(kind, habit, b, &mut draw);
    stone.wear_down(&mut draw);
    stone.stretch(DVec3::new(b / b_over_a, c_over_b * b, b));
    let grain = PerlinNoise::new(draw.seed());
    let rough: Vec<f64> = (0..64)
        .map(|_| {
            let t = draw.unit();
            b * (habit.roughness[1] + (habit.roughness[0] - habit.roughness[1]) * t * t)
        })
        .collect();
    let lithology = Lithology::of(kind, variant, &mut draw);
    let layers: Vec<f64> = stone
        .shape
        .positions
        .iter()
        .map(|&p| lithology.layer(p / b))
        .collect();
    stone.roughen(&grain, &rough, &layers);
    stone.color(&lithology, &layers);
    (stone.shape, habit.crease_cosine)
}

/// A stone on its way from the broken block to the piece.
struct StoneMesh {
    kind: Kind,
    habit: StoneHabit,
    /// Intermediate axis, metres.
    b: f64,
    shape: WorkMesh,
    /// A point inside from which every vertex is seen.
    core: DVec3,
    /// Unit direction from the core to each vertex.
    rays: Vec<DVec3>,
    /// The face of the block that each vertex lies on.
    faces: Vec<usize>,
    neighbours: Vec<Vec<u32>>,
}

impl StoneMesh {
    /// A block of radius 1, as its joints break it.
    fn broken(kind: Kind, habit: StoneHabit, b: f64, draw: &mut Draw) -> Self {
        let block = Fracture::new(draw, habit.breakage);
        let mut shape = geodesic(habit.frequency);
        let mut rays = shape.positions.clone();
        // Only edges that stay sharp need the mesh to follow them; wear wants an even one.
        let labels = if kind == Kind::Rock {
            follow(&shape, &mut rays, |u| block.face(u))
        } else {
            rays.iter().map(|&u| vec![block.face(u)]).collect()
        };
        let faces: Vec<usize> = labels.iter().map(|meeting| meeting[0]).collect();
        for (p, &u) in shape.positions.iter_mut().zip(&rays) {
            *p = u * block.reach(u);
        }
        if kind == Kind::Rock {
            flip(&mut shape, &rays, &labels, |u| block.reach(u));
            // Shading keeps each face whole: a triangle belongs to the face that all its corners
            // share.
            shape.groups = shape
                .triangles
                .iter()
                .map(|t| {
                    let [a, b, c] = t.map(|i| &labels[i as usize]);
                    a.iter()
                        .find(|l| b.contains(l) && c.contains(l))
                        .map(|&l| l as u32)
                })
                .collect();
        }
        let neighbours = shape.neighbours();
        Self {
            kind,
            habit,
            b,
            shape,
            core: DVec3::ZERO,
            rays,
            faces,
            neighbours,
        }
    }

    /// Wears the block, gives it a form of its own, and wears that.
    fn wear_down(&mut self, draw: &mut Draw) {
        // Most stones of a bed are near its least worn.
        let t = draw.unit();
        let [least, most] = self.habit.wear;
        self.wear_by(least + (most - least) * t * t);
        // What broke off or slid flat on the way down, and the wear since.
        let form = StoneForm::new(draw, &self.habit.irregularity);
        form.bend(&mut self.shape.positions);
        form.carve(&mut self.shape.positions);
        let [least, most] = self.habit.wear_since;
        self.wear_by(draw.range(least, most));
        if self.kind == Kind::Rock {
            // A little always: no edge outlasts the fall.
            let rate = draw.range(0.12, 0.3);
            wear(&mut self.shape, &self.rays, &self.neighbours, rate);
        }
    }

    /// Wears the stone so far that the wear spreads by this distance over the block's radius.
    fn wear_by(&mut self, spread: f64) {
        // A pass of rate r over a mesh of spacing h spreads as the heat equation does by h² r / 4:
        // n of them reach h √(n r). The spacing of a geodesic sphere is about 1.1 over its
        // frequency.
        let steps = spread * f64::from(self.habit.frequency) / 1.1;
        let passes = steps * steps / WEAR_RATE;
        for _ in 0..(passes + 0.5) as u32 {
            wear(&mut self.shape, &self.rays, &self.neighbours, WEAR_RATE);
        }
    }

    /// Stretches the stone to its extents along x, y and z, metres.
    fn stretch(&mut self, extents: DVec3) {
        let core = self.shape.settle(DVec3::ZERO);
        let (low, high) = self.shape.bounds();
        let middle = (low + high) / 2.0;
        let stretch = extents / (high - low);
        for p in &mut self.shape.positions {
            *p = (*p - middle) * stretch;
        }
        self.core = (core - middle) * stretch;
        // A stretch keeps straight lines straight: every point is still seen from the core, along
        // new rays.
        for (ray, p) in self.rays.iter_mut().zip(&self.shape.positions) {
            *ray = (*p - self.core).normalize_or(DVec3::Y);
        }
    }

    /// Roughens each face by its own measure: `rough` holds heights, metres; `layers` tells how
    /// pale the rock's layer is at each vertex.
    fn roughen(&mut self, grain: &PerlinNoise, rough: &[f64], layers: &[f64]) {
        let b = self.b;
        let normals = self.shape.vertex_normals();
        for (i, p) in self.shape.positions.iter_mut().enumerate() {
            let face = self.faces[i] % rough.len();
            // Features of about 0.4 b and down, on a fracture face; a fractal gain of 0.57 is a
            // Hurst exponent of 0.8.
            let shift = DVec3::splat(face as f64 * 3.7);
            let mut height = 2.0 * rough[face] * grain.fractal(*p * (2.6 / b) + shift, 4, 0.57);
            // The whole stone is a little out of true: no face is a ruler's.
            height += 0.025 * b * grain.at(*p * (1.3 / b));
            // Pale layers are the hard ones here: they stand out.
            height += 0.012 * b * layers[i];
            if self.kind != Kind::Rock {
                // Percussion pits.
                let pit = grain.at(*p * (7.0 / b) + DVec3::splat(40.0));
                height -= 0.012 * b * pit.smoothstep(0.28, 0.6);
            }
            let facing = self.rays[i].dot(normals[i]).max(0.35);
            let along = (height / facing).clamp(-0.06 * b, 0.06 * b);
            *p += self.rays[i] * along;
        }
        self.core = self.shape.settle(self.core);
    }

    /// Moves vertices onto the veins, sets the stone on the ground, and colours it.
    fn color(&mut self, lithology: &Lithology, layers: &[f64]) {
        let b = self.b;
        let mut veined = vec![0.0_f64; self.rays.len()];
        for vein in lithology.veins() {
            let on = onto(&mut self.shape, self.core, |p| vein.offset(p / b));
            for (veined, on) in veined.iter_mut().zip(on) {
                if on {
                    *veined = veined.max(vein.drawn);
                }
            }
        }
        self.shape.ground();
        let relief = relief(&self.shape, &self.neighbours);
        for i in 0..self.shape.positions.len() {
            let place = self.shape.positions[i] / b;
            self.shape.colors[i] =
                lithology.color(place, relief[i], self.faces[i], veined[i], layers[i]);
        }
    }
}

/// One pass of wear: convex points move inward along their rays, as far as they stand out from
/// their neighbours.
fn wear(shape: &mut WorkMesh, rays: &[DVec3], neighbours: &[Vec<u32>], rate: f64) {
    let normals = shape.vertex_normals();
    let loss: Vec<f64> = (0..rays.len())
        .map(|i| {
            let mean = neighbours[i]
                .iter()
                .map(|&j| shape.positions[j as usize])
                .sum::<DVec3>()
                / neighbours[i].len().max(1) as f64;
            let stands_out = (shape.positions[i] - mean).dot(normals[i]);
            // A hollow fills with nothing: only convex points wear.
            rate * stands_out.max(0.0) / rays[i].dot(normals[i]).max(0.35)
        })
        .collect();
    for ((p, ray), loss) in shape.positions.iter_mut().zip(rays).zip(loss) {
        let reach = p.dot(*ray);
        *p = *ray * (reach - loss).max(0.2 * reach);
    }
}

/// How far each point stands out from its neighbours, as a share of their distance: positive on
/// edges, negative in hollows.
fn relief(shape: &WorkMesh, neighbours: &[Vec<u32>]) -> Vec<f64> {
    let normals = shape.vertex_normals();
    (0..shape.positions.len())
        .map(|i| {
            let p = shape.positions[i];
            let ring = &neighbours[i];
            let n = ring.len().max(1) as f64;
            let mean = ring
                .iter()
                .map(|&j| shape.positions[j as usize])
                .sum::<DVec3>()
                / n;
            let span = ring
                .iter()
                .map(|&j| (shape.positions[j as usize] - p).length())
                .sum::<f64>()
                / n;
            (p - mean).dot(normals[i]) / span.max(1e-9)
        })
        .collect()
}
