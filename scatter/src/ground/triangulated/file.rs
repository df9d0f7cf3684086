//! The triangles of a ground that is read from a file.

use glam::{DAffine3, DVec3, Vec3};
use rayon::prelude::*;

use super::WantedGround;
use super::list::TriangleList;
use crate::kit::Part;

/// The triangles of parts that are wanted, in the world, with the file's normals where it has them.
pub(super) fn corners(
    parts: &[Part],
    world_from_mesh: DAffine3,
    wanted: &WantedGround<'_>,
) -> TriangleList {
    let mut all = TriangleList::default();
    // Turned, moved and scaled alike along all axes: normals turn as directions do
    let turned = |n: &Vec3| (world_from_mesh.matrix3 * n.as_dvec3()).normalize_or(DVec3::Y);
    for part in parts {
        let first = all.places.len() as u32;
        let placed = |p: &Vec3| world_from_mesh.transform_point3(p.as_dvec3());
        let places: Vec<DVec3> = part.mesh.positions.par_iter().map(placed).collect();
        let triangles: Vec<[u32; 3]> = part
            .mesh
            .indices
            .par_chunks_exact(3)
            .filter_map(|t| {
                let corner = |k: usize| places.get(t[k] as usize).copied();
                let [a, b, c] = [corner(0)?, corner(1)?, corner(2)?];
                let (low, high) = (a.min(b).min(c), a.max(b).max(c));
                (wanted.pixel)([low.x, low.z, high.x, high.z])?;
                Some([t[0], t[1], t[2]])
            })
            .collect();
        let has_normals = part.mesh.normals.len() == places.len();
        let part = if has_normals {
            TriangleList {
                normals: part.mesh.normals.iter().map(turned).collect(),
                places,
                triangles,
            }
        } else {
            TriangleList::smooth(places, triangles)
        };
        all.places.extend(part.places);
        all.normals.extend(part.normals);
        let moved = part.triangles.iter().map(|t| t.map(|i| first + i));
        all.triangles.extend(moved);
    }
    all
}
