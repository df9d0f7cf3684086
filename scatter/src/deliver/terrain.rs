//! The ground that the cameras see, as one mesh without gaps.
//!
//! Squares in a quadtree over the plan, finer toward the cameras: a square's side is at most
//! [`SHARE`] of its distance from the nearest camera, down to [`FINEST`]. Neighbours differ by one
//! halving at most, and each square is a fan about its middle through its own corners and those of
//! its finer neighbours, so that the mesh is closed.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use glam::{DAffine3, DVec2, DVec3};

use crate::ground::Ground;
use crate::kit::{Material, Mesh, Part};
use crate::scene::{Prop, Scene};
use crate::view::{ConvexPolygon, OctaveReach};

/// Most that a square's side may be of its distance from the nearest camera: a fan's triangles are
/// half as wide, about the relief that still shows as shape rather than as texture.
const SHARE: f64 = 1.0 / 50.0;
/// Least side of a square, metres: the smallest feature that a relief usually has is a few times as
/// wide.
const FINEST: f64 = 0.005;
/// Deepest halving: the side that the first square of any view starts from over the finest.
const DEEPEST: u32 = 40;
/// A diameter that every camera resolves to its far limit, metres.
const ALWAYS_SEEN: f64 = 1e9;

/// A square: its side is [`FINEST`] x 2^level, its low corner at that times (x, z).
type Square = (u32, i64, i64);

/// The ground of a scene's view; none where no camera sees any.
pub(super) fn prop(scene: &Scene, material: Material) -> Option<Prop<'static>> {
    let reach = OctaveReach {
        diameter: ALWAYS_SEEN,
        round: 0.0,
        lift: 0.0,
        tall: 0.0,
    };
    let ground = &scene.ground;
    let regions = scene.view.regions(reach, ground);
    let lenses: Vec<DVec3> = scene.cameras.iter().map(|c| c.position).collect();
    let squares = squares(&regions, &lenses, ground);
    // Whole metres at the mean of the cameras, so that 32-bit vertices hold their places
    let mut origin = DVec3::ZERO;
    for lens in &lenses {
        origin += *lens / lenses.len() as f64;
    }
    let origin = DVec3::from_array(origin.to_array().map(libm::round));
    let mesh = mesh(&squares, ground, origin);
    (!mesh.indices.is_empty()).then(|| Prop {
        name: "ground".to_owned(),
        parts: Cow::Owned(vec![Part { mesh, material }]),
        // Where a carpet lies its grains stand in the ground, which must not show between them
        world_from_prop: DAffine3::from_translation(origin - DVec3::Y * scene.sunk),
    })
}

fn side(level: u32) -> f64 {
    FINEST * (1_u64 << level) as f64
}

/// Whether a square is to be halved for its distance from a camera.
fn too_coarse((level, x, z): Square, lenses: &[DVec3], ground: &Ground) -> bool {
    let side = side(level);
    let low = DVec2::new(x as f64, z as f64) * side;
    level > 0
        && lenses.iter().any(|lens| {
            let plan = DVec2::new(lens.x, lens.z);
            let nearest = plan.clamp(low, low + side);
            let over = lens.y - ground.height(nearest.x, nearest.y);
            side > SHARE * libm::hypot((nearest - plan).length(), over)
        })
}

/// The squares that touch a region, balanced.
fn squares(regions: &[ConvexPolygon], lenses: &[DVec3], ground: &Ground) -> BTreeSet<Square> {
    let holds = |(level, x, z): Square| {
        let side = side(level);
        let r = [x, z, x + 1, z + 1].map(|v| v as f64 * side);
        let inside = ground
            .half_extent()
            .is_none_or(|[hx, hz]| r[0] < hx && r[2] > -hx && r[1] < hz && r[3] > -hz);
        inside && regions.iter().any(|region| region.touches(r))
    };
    let mut widest: f64 = 0.0;
    let mut work = Vec::new();
    for region in regions {
        let b = region.bounds();
        widest = widest.max(b[2] - b[0]).max(b[3] - b[1]);
    }
    let top = (0..DEEPEST).find(|l| side(*l) >= widest).unwrap_or(DEEPEST);
    for region in regions {
        let [x0, z0, x1, z1] = region.bounds().map(|v| libm::floor(v / side(top)) as i64);
        work.extend((x0..=x1).flat_map(|x| (z0..=z1).map(move |z| (top, x, z))));
    }
    let mut leaves = BTreeSet::new();
    while let Some(square) = work.pop() {
        if !holds(square) {
            continue;
        }
        if too_coarse(square, lenses, ground) {
            work.extend(quarters(square));
        } else {
            leaves.insert(square);
        }
    }
    balance(leaves, holds)
}

fn quarters((level, x, z): Square) -> [Square; 4] {
    let level = level - 1;
    [(0, 0), (1, 0), (0, 1), (1, 1)].map(|(i, j)| (level, 2 * x + i, 2 * z + j))
}

/// Halves squares until neighbours across an edge differ by one halving at most.
fn balance(mut leaves: BTreeSet<Square>, holds: impl Fn(Square) -> bool) -> BTreeSet<Square> {
    let mut work: Vec<Square> = leaves.iter().copied().collect();
    while let Some((level, x, z)) = work.pop() {
        if !leaves.contains(&(level, x, z)) {
            continue;
        }
        for (i, j) in [(-1, 0), (1, 0), (0, -1), (0, 1)] {
            // A neighbour two levels up or more would hold this cell
            let coarse = (level + 2..=DEEPEST).find_map(|l| {
                let up = l - level;
                let square = (l, (x + i) >> up, (z + j) >> up);
                leaves.contains(&square).then_some(square)
            });
            if let Some(coarse) = coarse {
                leaves.remove(&coarse);
                for quarter in quarters(coarse).into_iter().filter(|q| holds(*q)) {
                    leaves.insert(quarter);
                    work.push(quarter);
                }
                // It may have to be halved once more
                work.push((level, x, z));
            }
        }
    }
    leaves
}

/// The squares as fans, relative to `origin`. Vertices that squares share are shared.
fn mesh(squares: &BTreeSet<Square>, ground: &Ground, origin: DVec3) -> Mesh {
    let mut mesh = Mesh::default();
    // Places on a lattice of half the finest side
    let mut known: BTreeMap<(i64, i64), u32> = BTreeMap::new();
    let limits = ground.half_extent();
    let mut vertex = |mesh: &mut Mesh, x: i64, z: i64| {
        *known.entry((x, z)).or_insert_with(|| {
            let half = 0.5 * FINEST;
            let (mut px, mut pz) = (x as f64 * half, z as f64 * half);
            // The ground ends at its own border, not at a square's
            if let Some([hx, hz]) = limits {
                px = px.clamp(-hx, hx);
                pz = pz.clamp(-hz, hz);
            }
            let (y, normal) = ground.at(px, pz);
            mesh.positions
                .push((DVec3::new(px, y, pz) - origin).as_vec3());
            mesh.normals.push(normal.as_vec3());
            (mesh.positions.len() - 1) as u32
        })
    };
    for &(level, x, z) in squares {
        let unit = 1_i64 << level;
        let (x0, z0, x1, z1) = (
            2 * x * unit,
            2 * z * unit,
            2 * (x + 1) * unit,
            2 * (z + 1) * unit,
        );
        let middle = vertex(&mut mesh, x0 + unit, z0 + unit);
        // Round the square, counter-clockwise seen from above (+y up, +z toward the viewer)
        let corners = [(x0, z0), (x0, z1), (x1, z1), (x1, z0)];
        let across = [(-1, 0), (0, 1), (1, 0), (0, -1)];
        let mut rim = Vec::with_capacity(8);
        for (k, (i, j)) in across.into_iter().enumerate() {
            let (a, b) = (corners[k], corners[(k + 1) % 4]);
            rim.push(vertex(&mut mesh, a.0, a.1));
            if level > 0 && has_finer(squares, (level, x + i, z + j), (i, j)) {
                rim.push(vertex(&mut mesh, (a.0 + b.0) / 2, (a.1 + b.1) / 2));
            }
        }
        for (k, corner) in rim.iter().enumerate() {
            let next = rim[(k + 1) % rim.len()];
            mesh.indices.extend([middle, *corner, next]);
        }
    }
    mesh
}

/// Whether the place of a square's neighbour in a direction is taken by squares of half the side
/// that touch it.
fn has_finer(squares: &BTreeSet<Square>, neighbour: Square, (i, j): (i64, i64)) -> bool {
    quarters(neighbour)
        .into_iter()
        .enumerate()
        .filter(|(k, _)| {
            // Only the two quarters at the shared edge
            let (right, far) = (k % 2 == 1, k / 2 == 1);
            match (i, j) {
                (-1, _) => right,
                (1, _) => !right,
                (_, -1) => far,
                _ => !far,
            }
        })
        .any(|(_, quarter)| squares.contains(&quarter))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ground(json: &str) -> Ground {
        Ground::of_document(json)
    }

    fn rough() -> Ground {
        ground(r#"{"relief":{"height":"25 mm","feature":"0.7 m","roughness":0.55}}"#)
    }

    fn made(ground: &Ground) -> (BTreeSet<Square>, Mesh) {
        let corners = [[-0.2, 0.1], [0.2, 0.1], [2.0, -6.0], [-2.0, -6.0]];
        let region = ConvexPolygon::hull(&corners, 0.0).unwrap();
        let squares = squares(&[region], &[DVec3::new(0.0, 0.4, 0.5)], ground);
        let mesh = mesh(&squares, ground, DVec3::ZERO);
        (squares, mesh)
    }

    #[test]
    fn the_mesh_is_closed_but_for_its_rim() {
        let (_, mesh) = made(&rough());
        assert!(mesh.indices.len() > 3000);
        let mut edges: BTreeMap<(u32, u32), u32> = BTreeMap::new();
        for t in mesh.indices.chunks_exact(3) {
            for k in 0..3 {
                *edges.entry((t[k], t[(k + 1) % 3])).or_default() += 1;
            }
        }
        // No edge twice the same way: the surface does not fold or branch
        assert!(edges.values().all(|n| *n == 1));
        // Every edge without a partner lies on the rim: a T-junction would leave some inside. Rim
        // edges form closed loops.
        let open: Vec<(u32, u32)> = edges
            .keys()
            .filter(|(a, b)| !edges.contains_key(&(*b, *a)))
            .copied()
            .collect();
        let area: f64 = open
            .iter()
            .map(|(a, b)| {
                let (a, b) = (mesh.positions[*a as usize], mesh.positions[*b as usize]);
                0.5 * (f64::from(a.z) * f64::from(b.x) - f64::from(a.x) * f64::from(b.z))
            })
            .sum();
        let plan: f64 = mesh
            .indices
            .chunks_exact(3)
            .map(|t| {
                let [a, b, c] = [0, 1, 2].map(|k| mesh.positions[t[k] as usize].as_dvec3());
                0.5 * ((b.z - a.z) * (c.x - a.x) - (b.x - a.x) * (c.z - a.z))
            })
            .sum();
        assert!((area - plan).abs() < 1e-4 * plan, "{area} {plan}");
        // The rim is short: open cracks inside would add their lengths
        let rim: f64 = open
            .iter()
            .map(|(a, b)| {
                f64::from(mesh.positions[*a as usize].distance(mesh.positions[*b as usize]))
            })
            .sum();
        assert!(rim < 30.0, "{rim}");
    }

    #[test]
    fn faces_look_up_and_vertices_lie_on_the_ground() {
        let ground = rough();
        let (_, mesh) = made(&ground);
        for t in mesh.indices.chunks_exact(3) {
            let [a, b, c] = [0, 1, 2].map(|k| mesh.positions[t[k] as usize]);
            assert!((b - a).cross(c - a).y > 0.0);
        }
        for (p, n) in mesh.positions.iter().zip(&mesh.normals) {
            let (y, normal) = ground.at(f64::from(p.x), f64::from(p.z));
            assert!((y - f64::from(p.y)).abs() < 1e-5);
            assert!((normal.as_vec3() - *n).length() < 1e-3);
        }
    }

    #[test]
    fn squares_are_as_fine_as_is_said() {
        let ground = rough();
        let (squares, _) = made(&ground);
        let lens = [DVec3::new(0.0, 0.4, 0.5)];
        assert!(squares.iter().all(|s| !too_coarse(*s, &lens, &ground)));
        assert!(squares.len() < 20_000, "{}", squares.len());
    }

    #[test]
    fn ground_that_ends_ends_there() {
        let ground = ground(r#"{"plane":{},"extent":["1 m","4.003 m"]}"#);
        let (_, mesh) = made(&ground);
        let farthest = mesh.positions.iter().map(|p| p.x.abs()).fold(0.0, f32::max);
        assert!((farthest - 0.5).abs() < 1e-6, "{farthest}");
        assert!(mesh.positions.iter().all(|p| p.z.abs() <= 2.0015 + 1e-6));
    }
}
