//! A packed tile as meshes.

use glam::{DVec3, Vec3};

use super::form::TileForm;
use super::grains::{GrainMesh, Stock, color};
use super::pack::PackedGrain;
use crate::brief::Lies;
use crate::kit::{Material, Measure, Mesh, Part, Piece};
use crate::noise::gradient_noise;
use crate::random::{cell_key, join, stream, text_key};

/// Side of a square of the sheet, in largest grains: fine enough to cross its neighbours without
/// saw teeth.
const SQUARE: f64 = 0.4;
/// Height of the sheet's own bumps and their length, in largest grains: a bed that grains were
/// pressed into.
const BUMP: f64 = 0.12;
const BUMP_LENGTH: f64 = 0.9;
/// How far under the sheet a grain's vertex still counts as showing, in largest grains: the sheet's
/// squares cut its bumps by less.
const UNDER: f64 = 0.03;
/// Brightness of the sheet over that of the grains, from and to: fines between grains lie in their
/// shade and hold the damp.
const FINES: [f64; 2] = [0.5, 0.95];

/// The sheet of a tile.
pub(super) struct TileSheet<'a> {
    pub(super) form: &'a TileForm,
    /// The key of its bumps.
    pub(super) key: u64,
    /// Height of its middle in the tile's frame, metres.
    pub(super) level: f64,
    /// Height and length of its bumps, metres.
    pub(super) bump: [f64; 2],
}

impl TileSheet<'_> {
    /// Height in the tile's frame.
    fn height(&self, x: f64, z: f64) -> f64 {
        let [bump, length] = self.bump;
        let [noise, ..] = gradient_noise(self.key, x / length, z / length);
        self.level + self.form.sheet(libm::sqrt(x * x + z * z)) + bump * noise
    }

    /// Its mesh, of squares of a side, in the colours that `tone` draws for vertices.
    pub(super) fn mesh(&self, side: f64, tone: impl Fn(u64) -> DVec3) -> Mesh {
        let mut mesh = Mesh::default();
        let ends = self.form.ends();
        let half = libm::ceil(ends / side) as i64;
        let across = (2 * half + 1) as usize;
        let mut known = vec![u32::MAX; across * across];
        let place = |i: i64| i as f64 * side;
        let inside = |i: i64, k: i64| {
            let (x, z) = (place(i), place(k));
            x * x + z * z <= ends * ends
        };
        let mut vertex = |mesh: &mut Mesh, i: i64, k: i64| {
            let slot = &mut known[(k + half) as usize * across + (i + half) as usize];
            if *slot == u32::MAX {
                *slot = mesh.positions.len() as u32;
                let (x, z) = (place(i), place(k));
                let h = 0.25 * side;
                let dx = self.height(x + h, z) - self.height(x - h, z);
                let dz = self.height(x, z + h) - self.height(x, z - h);
                let normal = DVec3::new(-dx, 2.0 * h, -dz).normalize_or(DVec3::Y);
                mesh.positions
                    .push(DVec3::new(x, self.height(x, z), z).as_vec3());
                mesh.normals.push(normal.as_vec3());
                mesh.colors.push(quantized(tone(cell_key(self.key, i, k))));
            }
            *slot
        };
        for k in -half..half {
            for i in -half..half {
                let corners = [(i, k), (i, k + 1), (i + 1, k + 1), (i + 1, k)];
                if corners.iter().all(|(i, k)| inside(*i, *k)) {
                    let [a, b, c, d] = corners.map(|(i, k)| vertex(&mut mesh, i, k));
                    // Diagonals alternate: no crease runs across the tile
                    let triangles = if (i + k) % 2 == 0 {
                        [a, b, c, a, c, d]
                    } else {
                        [a, b, d, b, c, d]
                    };
                    mesh.indices.extend(triangles);
                }
            }
        }
        mesh
    }
}

/// The meshes of a tile, one an octave; `lift` is the mean height of its top over its sheet,
/// metres.
pub(super) fn pieces(
    form: &TileForm,
    packed: &[Vec<PackedGrain>],
    stock: &Stock,
    variant: u32,
    lift: f64,
) -> Vec<Piece> {
    let sheet = TileSheet {
        form,
        key: join(text_key("carpet sheet"), u64::from(variant)),
        level: -lift,
        bump: [BUMP, BUMP_LENGTH].map(|v| v * form.largest),
    };
    let octaves = packed.iter().zip(&stock.octaves).enumerate();
    octaves
        .map(|(octave, (set, grains))| {
            let mut parts = Vec::new();
            if octave == 0 {
                let tone = |key: u64| {
                    let mut draws = stream(key);
                    let i = (draws.unit() * grains.len() as f64) as usize;
                    let mean = mean_color(grains);
                    let fine = mean.lerp(grains[i.min(grains.len() - 1)].color, 0.5);
                    fine * draws.between(FINES[0], FINES[1])
                };
                parts.push(Part {
                    mesh: sheet.mesh(SQUARE * form.largest, tone),
                    material: fines(),
                });
            }
            for (number, material) in stock.materials.iter().enumerate() {
                let mut mesh = Mesh::default();
                for s in set.iter().filter(|s| grains[s.grain].material == number) {
                    add(&mut mesh, &grains[s.grain], s, &sheet);
                }
                if !mesh.indices.is_empty() {
                    parts.push(Part {
                        mesh,
                        material: material.clone(),
                    });
                }
            }
            let name = if octave == 0 {
                format!("carpet-{variant:02}")
            } else {
                format!("carpet-{variant:02}-fine-{octave}")
            };
            Piece {
                name,
                source: super::GROWN.to_owned(),
                measure: Measure::of(&parts),
                parts,
                lies: Lies::Rigid,
            }
        })
        .collect()
}

fn mean_color(grains: &[GrainMesh]) -> DVec3 {
    grains.iter().map(|g| g.color).sum::<DVec3>() / grains.len().max(1) as f64
}

/// What the sheet is made of.
pub(super) fn fines() -> Material {
    Material {
        name: "carpet-fines".to_owned(),
        roughness: 0.95,
        ..Material::default()
    }
}

/// Adds the visible part of a grain in its place: triangles under the sheet are left out.
fn add(mesh: &mut Mesh, grain: &GrainMesh, set: &PackedGrain, sheet: &TileSheet<'_>) {
    let [x, z] = set.at;
    let height = grain.height * set.diameter;
    let middle = sheet.height(x, z) + height * (0.5 - set.buried);
    let at = DVec3::new(x, middle, z);
    let placed: Vec<DVec3> = grain
        .mesh
        .positions
        .iter()
        .map(|p| at + set.rotation * (p.as_dvec3() * set.diameter))
        .collect();
    let under = UNDER * sheet.form.largest;
    let shows: Vec<bool> = placed
        .iter()
        .map(|p| p.y > sheet.height(p.x, p.z) - under)
        .collect();
    let mut renamed = vec![u32::MAX; placed.len()];
    let (triangles, _) = grain.mesh.indices.as_chunks::<3>();
    for t in triangles
        .iter()
        .filter(|t| t.iter().any(|i| shows[*i as usize]))
    {
        for i in t.map(|i| i as usize) {
            if renamed[i] == u32::MAX {
                renamed[i] = mesh.positions.len() as u32;
                mesh.positions.push(placed[i].as_vec3());
                let normal = (set.rotation * grain.mesh.normals[i].as_dvec3()).as_vec3();
                mesh.normals.push(normal.normalize_or(Vec3::Y));
                mesh.colors
                    .push(quantized(color(grain.mesh.colors[i]) * set.tint));
            }
            mesh.indices.push(renamed[i]);
        }
    }
}

/// Linear colour to sixteen bits, opaque.
pub(super) fn quantized(color: DVec3) -> [u16; 4] {
    let q = |x: f64| (x.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16;
    [q(color.x), q(color.y), q(color.z), u16::MAX]
}
