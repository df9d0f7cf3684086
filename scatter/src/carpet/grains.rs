//! Grains: the kit's stones with few triangles, ready to be copied into tiles.

use glam::DVec3;
use rayon::prelude::*;

use crate::kit::simpler::versions;
use crate::kit::{Kind, Material, Mesh, Piece, grow_all};

/// Maximum number of triangles of a grain by octave: a grain of half the size covers fewer pixels.
const TRIANGLES: [u64; 3] = [130, 64, 40];

/// A stone to be copied, its b-axis 1 m.
#[derive(Debug, Clone)]
pub(super) struct GrainMesh {
    /// The stone's mesh, about the middle of its bounds.
    pub(super) mesh: Mesh,
    /// Which material of [`Stock::materials`].
    pub(super) material: usize,
    /// Height over b-axis.
    pub(super) height: f64,
    /// Radius of the disc of its plan area, its b-axis 1 m.
    pub(super) radius: f64,
    /// Mean of its vertices' linear colours.
    pub(super) color: DVec3,
}

/// Grains of some kinds.
#[derive(Debug, Clone)]
pub(super) struct Stock {
    /// The materials, one for each kind.
    pub(super) materials: Vec<Material>,
    /// The same grains for each octave, simpler from octave to octave.
    pub(super) octaves: Vec<Vec<GrainMesh>>,
}

/// The grains of some kinds for so many octaves.
pub(super) fn stock(kinds: &[Kind], octaves: usize) -> Stock {
    let mut stock = Stock {
        materials: Vec::new(),
        octaves: vec![Vec::new(); octaves],
    };
    for (number, kind) in kinds.iter().enumerate() {
        // Finest first, from the full one on
        let finest_first: Vec<Vec<Piece>> = grow_all(*kind)
            .into_par_iter()
            .map(|piece| {
                let simpler = versions(&piece).into_iter().map(|v| v.piece);
                let simpler: Vec<Piece> = simpler.collect();
                [vec![piece], simpler].concat()
            })
            .collect();
        for simpler in &finest_first {
            let piece = &simpler[0];
            if stock.materials.len() == number {
                stock
                    .materials
                    .extend(piece.parts.first().map(|p| p.material.clone()));
            }
            for (octave, grains) in stock.octaves.iter_mut().enumerate() {
                let most = TRIANGLES[octave.min(TRIANGLES.len() - 1)];
                let fits = simpler.iter().find(|p| p.triangles() <= most);
                let chosen = fits.or(simpler.last()).unwrap_or(piece);
                grains.extend(grain(chosen, piece, number));
            }
        }
    }
    stock
}

fn grain(simple: &Piece, full: &Piece, material: usize) -> Option<GrainMesh> {
    let b = full.measure.b_axis;
    let mut mesh = simple.parts.first()?.mesh.clone();
    let middle = glam::Vec3::Y * (0.5 * full.measure.size.y);
    for p in &mut mesh.positions {
        *p = (*p - middle) / b as f32;
    }
    let sum: DVec3 = mesh.colors.iter().map(|c| color(*c)).sum();
    Some(GrainMesh {
        material,
        height: full.measure.flatness,
        radius: libm::sqrt(full.measure.plan_fill / std::f64::consts::PI),
        color: sum / mesh.colors.len().max(1) as f64,
        mesh,
    })
}

/// A vertex's linear colour.
pub(super) fn color(c: [u16; 4]) -> DVec3 {
    DVec3::new(c[0].into(), c[1].into(), c[2].into()) / 65535.0
}
