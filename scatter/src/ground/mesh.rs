//! Ground from a mesh: the upper side under each place.
//!
//! The ground at a place is the triangle that a vertical ray from above meets first. Triangles lie
//! in a bounding volume hierarchy over the plan (`obvhs`: PLOC, Meister and Bittner, "Parallel
//! locally-ordered clustering for bounding volume hierarchy construction", 2018), so that a ray
//! looks at a handful. Corners are kept in the file's own frame, in which single precision is
//! exact, and every test is made in double precision with edges taken the same way round from
//! either side: a ray can't slip between two triangles that share an edge.

use glam::{DAffine3, DQuat, DVec3, Vec3, Vec3A};
use obvhs::BvhBuildParams;
use obvhs::aabb::Aabb;
use obvhs::bvh2::Bvh2;
use obvhs::bvh2::builder::build_bvh2;

use super::image::MAX_HEIGHT_M;
use super::tiles::HeightTiles;
use crate::brief::{GroundMesh, MAX_COORDINATE_M};
use crate::error::{Error, Result};
use crate::kit::{Part, Shelf};

/// Maximum number of finest tiles in which all triangles together may be entered: a few a triangle
/// for the largest mesh that is read. Triangles that each span the ground could cost any time; for
/// them one height range does for all.
const MAX_TILE_ENTRIES: usize = 200_000_000;

/// A mesh in its place.
#[derive(Debug)]
pub(super) struct TerrainMesh {
    parts: Vec<Part>,
    world_from_mesh: DAffine3,
    placement: MeshPlacement,
    /// Smallest upright component of the normal of ground that holds pieces.
    least_up: f64,
    /// Height under which the ground is looked for, in the file's frame.
    under: f64,
    tree: PlanTree,
    tiles: HeightTiles,
    warnings: Vec<String>,
}

/// How the file's frame stands in the world: turned about the upright, scaled, moved.
#[derive(Debug, Clone, Copy)]
struct MeshPlacement {
    at: DVec3,
    /// Sine and cosine of the turn, clockwise seen from above.
    turn: [f64; 2],
    scale: f64,
}

impl MeshPlacement {
    /// Plan place in the file's frame.
    fn inside(&self, x: f64, z: f64) -> [f64; 2] {
        let (dx, dz) = ((x - self.at.x) / self.scale, (z - self.at.z) / self.scale);
        let [sin, cos] = self.turn;
        [cos * dx + sin * dz, cos * dz - sin * dx]
    }

    /// A direction of the file's frame in the world.
    fn turned(&self, v: DVec3) -> DVec3 {
        let [sin, cos] = self.turn;
        DVec3::new(cos * v.x - sin * v.z, v.y, sin * v.x + cos * v.z)
    }

    fn outside(&self, v: DVec3) -> DVec3 {
        self.at + self.turned(v) * self.scale
    }
}

/// Ground under a place.
#[derive(Debug, Clone, Copy)]
pub(super) struct GroundHit {
    pub(super) height: f64,
    /// Unit normal of the triangle, upwards.
    pub(super) normal: DVec3,
}

impl TerrainMesh {
    pub(super) fn read(mesh: &GroundMesh, shelf: &Shelf, place: &str) -> Result<Self> {
        let (parts, warnings) = shelf.meshes(&mesh.file, &format!("{place}.file"))?;
        let made = Self::new(parts, mesh, place).map_err(|e| e.in_file(&shelf.path(&mesh.file)))?;
        let of_file = |warning| format!("{}: {warning}", mesh.file);
        Ok(Self {
            warnings: warnings.into_iter().map(of_file).collect(),
            ..made
        })
    }

    /// A ground of parts as [`gltf::read`] gives them.
    pub(super) fn new(parts: Vec<Part>, mesh: &GroundMesh, place: &str) -> Result<Self> {
        let at = DVec3::from_array(mesh.at);
        let turn = mesh.turn;
        let stand = MeshPlacement {
            at,
            turn: [libm::sin(turn), libm::cos(turn)],
            scale: mesh.scale,
        };
        check_place(&parts, &stand, place)?;
        let facing: Vec<[Vec3; 3]> = parts.iter().flat_map(upward).collect();
        if facing.is_empty() {
            return Err(Error::input(
                "",
                "no face of the mesh looks up",
                "is it upside down, or turned inside out? +y is up, front faces run counter-clockwise",
            ));
        }
        let half = 0.5 * turn;
        let rotation = DQuat::from_xyzw(0.0, -libm::sin(half), 0.0, libm::cos(half));
        Ok(Self {
            world_from_mesh: DAffine3::from_scale_rotation_translation(
                DVec3::splat(mesh.scale),
                rotation,
                at,
            ),
            placement: stand,
            least_up: libm::cos(mesh.steepest),
            under: mesh
                .under
                .map_or(f64::INFINITY, |h| (h - at.y) / mesh.scale),
            tiles: tiles(&facing, &stand),
            tree: PlanTree::new(&facing),
            parts,
            warnings: Vec::new(),
        })
    }

    /// What was left out of the file.
    pub(super) fn warnings(&self) -> &[String] {
        &self.warnings
    }

    pub(super) fn parts(&self) -> (&[Part], DAffine3) {
        (&self.parts, self.world_from_mesh)
    }

    pub(super) fn tiles(&self) -> &HeightTiles {
        &self.tiles
    }

    /// The ground under a place; None in a hole.
    pub(super) fn hit(&self, x: f64, z: f64) -> Option<GroundHit> {
        let [lx, lz] = self.placement.inside(x, z);
        let (height, corners) = self.tree.top(lx, lz, self.under)?;
        let [a, b, c] = corners.map(Vec3::as_dvec3);
        let normal = self.placement.turned((b - a).cross(c - a)).normalize();
        Some(GroundHit {
            height: self.placement.at.y + self.placement.scale * height,
            normal: if normal.y < 0.0 { -normal } else { normal },
        })
    }

    /// Whether ground of this normal holds pieces: a wall does not.
    pub(super) fn holds(&self, normal: DVec3) -> bool {
        normal.y >= self.least_up
    }
}

/// Refuses a mesh that reaches beyond where ground can be, before a hierarchy is built over it.
fn check_place(parts: &[Part], stand: &MeshPlacement, place: &str) -> Result<()> {
    let (mut aside, mut low, mut high) = (0.0_f64, f64::INFINITY, f64::NEG_INFINITY);
    for p in parts.iter().flat_map(|part| &part.mesh.positions) {
        let p = stand.outside(p.as_dvec3());
        if !p.is_finite() {
            aside = f64::INFINITY;
        }
        aside = aside.max(p.x.abs()).max(p.z.abs());
        (low, high) = (low.min(p.y), high.max(p.y));
    }
    if aside <= MAX_COORDINATE_M && low >= -MAX_HEIGHT_M && high <= MAX_HEIGHT_M {
        return Ok(());
    }
    Err(Error::input(
        format!("{place}.at"),
        format!(
            "the mesh reaches {aside:.0} m from the origin, and from {low:.0} m to {high:.0} m up"
        ),
        "plan places within 130 km and heights within 100 km; is the file in metres?",
    ))
}

/// The triangles of a part that look up. For what is seen from both sides the upper side is taken,
/// whichever it is.
fn upward(part: &Part) -> impl Iterator<Item = [Vec3; 3]> + '_ {
    let corner = |i: u32| part.mesh.positions.get(i as usize).copied();
    part.mesh.indices.chunks_exact(3).filter_map(move |t| {
        let corners = [corner(t[0])?, corner(t[1])?, corner(t[2])?];
        let [a, b, c] = corners.map(Vec3::as_dvec3);
        let up = (b - a).cross(c - a).y;
        let looks_up = up > 0.0 || (part.material.double_sided && up < 0.0);
        looks_up.then_some(corners)
    })
}

/// The tiles of triangles, placed in the world.
fn tiles(triangles: &[[Vec3; 3]], place: &MeshPlacement) -> HeightTiles {
    let world = |t: &[Vec3; 3]| t.map(|p| place.outside(p.as_dvec3()));
    let flat = |t: &[DVec3; 3]| {
        let low = t[0].min(t[1]).min(t[2]);
        let high = t[0].max(t[1]).max(t[2]);
        [low.x, low.z, high.x, high.z]
    };
    let mut bounds = [
        f64::INFINITY,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::NEG_INFINITY,
    ];
    for t in triangles {
        let r = flat(&world(t));
        bounds = [
            bounds[0].min(r[0]),
            bounds[1].min(r[1]),
            bounds[2].max(r[2]),
            bounds[3].max(r[3]),
        ];
    }
    let mut tiles = HeightTiles::new(bounds);
    let entries: usize = triangles.iter().map(|t| tiles.count(flat(&world(t)))).sum();
    if entries > MAX_TILE_ENTRIES {
        let heights = triangles.iter().flat_map(world).map(|p| p.y);
        let range = heights.fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], y| {
            [l.min(y), h.max(y)]
        });
        tiles.add(bounds, |_| range);
    } else {
        for t in triangles {
            let t = world(t);
            let n = (t[1] - t[0]).cross(t[2] - t[0]);
            let own = [
                t[0].y.min(t[1].y).min(t[2].y),
                t[0].y.max(t[1].y).max(t[2].y),
            ];
            // The triangle's plane over a part of the plan, as far as the triangle itself goes
            tiles.add(flat(&t), |[x0, z0, x1, z1]| {
                let corners = [(x0, z0), (x1, z0), (x0, z1), (x1, z1)];
                let y =
                    corners.map(|(x, z)| t[0].y - (n.x * (x - t[0].x) + n.z * (z - t[0].z)) / n.y);
                let low = y.into_iter().fold(f64::INFINITY, f64::min);
                let high = y.into_iter().fold(f64::NEG_INFINITY, f64::max);
                // A part without breadth, or a steep triangle, may compute to anything
                if low.is_finite() && high.is_finite() && low <= own[1] && high >= own[0] {
                    [low.max(own[0]), high.min(own[1])]
                } else {
                    own
                }
            });
        }
    }
    tiles.finish();
    tiles
}

/// Triangles a leaf: a leaf's corners are then three lines of the cache or so.
const LEAF: u32 = 4;

/// Triangles by their plan, each leaf's together.
#[derive(Debug)]
struct PlanTree {
    nodes: Vec<PlanNode>,
    triangles: Vec<[Vec3; 3]>,
}

/// A plan rectangle of triangles: two nodes from `first` on, or `count` triangles.
#[derive(Debug, Clone, Copy)]
struct PlanNode {
    /// `[x0, z0, x1, z1]`, metres in the file's frame.
    plan: [f32; 4],
    /// Highest corner.
    top: f32,
    first: u32,
    count: u32,
}

impl PlanTree {
    fn new(triangles: &[[Vec3; 3]]) -> Self {
        // Boxes without height: the hierarchy is then as good as can be for upright rays
        let boxes: Vec<Aabb> = triangles
            .iter()
            .map(|[a, b, c]| {
                let (low, high) = (a.min(*b).min(*c), a.max(*b).max(*c));
                Aabb::new(
                    Vec3A::new(low.x, 0.0, low.z),
                    Vec3A::new(high.x, 0.0, high.z),
                )
            })
            .collect();
        let params = BvhBuildParams {
            max_prims_per_leaf: LEAF,
            ..BvhBuildParams::fast_build()
        };
        let built: Bvh2 = build_bvh2(&boxes, params, &mut std::time::Duration::default());
        let order = |i: usize| triangles[built.primitive_indices[i] as usize];
        let ordered: Vec<[Vec3; 3]> = (0..built.primitive_indices.len()).map(order).collect();
        let mut nodes: Vec<PlanNode> = built
            .nodes
            .iter()
            .map(|n| {
                let (low, high) = (n.aabb().min, n.aabb().max);
                PlanNode {
                    plan: [low.x, low.z, high.x, high.z],
                    top: f32::NEG_INFINITY,
                    first: n.first_index,
                    count: n.prim_count,
                }
            })
            .collect();
        raise(&mut nodes, &ordered);
        Self {
            nodes,
            triangles: ordered,
        }
    }

    /// The highest point over a place at most `under` high, and its triangle.
    fn top(&self, x: f64, z: f64, under: f64) -> Option<(f64, [Vec3; 3])> {
        let inside = |n: &PlanNode| {
            let [x0, z0, x1, z1] = n.plan.map(f64::from);
            x >= x0 && x <= x1 && z >= z0 && z <= z1
        };
        let mut best: Option<(f64, usize)> = None;
        let mut stack = OpenNodes::default();
        stack.push(0);
        while let Some(index) = stack.pop() {
            let node = &self.nodes[index as usize];
            // What is exactly as high can't be better
            if !inside(node) || best.is_some_and(|(h, _)| f64::from(node.top) <= h) {
                continue;
            }
            if node.count == 0 {
                stack.push(node.first);
                stack.push(node.first + 1);
                continue;
            }
            let first = node.first as usize;
            for i in first..first + node.count as usize {
                if let Some(height) = height_at(&self.triangles[i], x, z)
                    && height <= under
                    && best.is_none_or(|(h, _)| height > h)
                {
                    best = Some((height, i));
                }
            }
        }
        best.map(|(h, i)| (h, self.triangles[i]))
    }
}

/// Gives each node the height of its highest corner.
fn raise(nodes: &mut [PlanNode], triangles: &[[Vec3; 3]]) {
    // Parents before children, whatever order the builder left them in
    let mut order = Vec::with_capacity(nodes.len());
    let mut open = vec![0_u32];
    while let Some(i) = open.pop() {
        order.push(i);
        let node = &nodes[i as usize];
        if node.count == 0 {
            open.extend([node.first, node.first + 1]);
        }
    }
    for i in order.into_iter().rev() {
        let node = nodes[i as usize];
        let first = node.first as usize;
        let top = if node.count == 0 {
            nodes[first].top.max(nodes[first + 1].top)
        } else {
            let own = &triangles[first..first + node.count as usize];
            own.iter()
                .flatten()
                .map(|p| p.y)
                .fold(f32::NEG_INFINITY, f32::max)
        };
        nodes[i as usize].top = top;
    }
}

/// Height of a triangle over a place; None beside it. Places on an edge belong to both sides.
fn height_at(triangle: &[Vec3; 3], x: f64, z: f64) -> Option<f64> {
    let [a, b, c] = triangle.map(Vec3::as_dvec3);
    let (u, v, w) = (side(b, c, x, z), side(c, a, x, z), side(a, b, x, z));
    let inside = (u >= 0.0 && v >= 0.0 && w >= 0.0) || (u <= 0.0 && v <= 0.0 && w <= 0.0);
    let area = u + v + w;
    if !inside || area == 0.0 {
        return None;
    }
    Some((u * a.y + v * b.y + w * c.y) / area)
}

/// On which side of the edge from `a` to `b` a place lies, as twice an area. The sign from `b` to
/// `a` is exactly the opposite: the edge is always taken from the same end.
fn side(a: DVec3, b: DVec3, x: f64, z: f64) -> f64 {
    let (p, q, sign) = if (a.x, a.z) <= (b.x, b.z) {
        (a, b, 1.0)
    } else {
        (b, a, -1.0)
    };
    sign * ((q.z - p.z) * (x - p.x) - (q.x - p.x) * (z - p.z))
}

/// Open nodes of a walk: most trees fit the array, and what is deeper goes on in a list.
#[derive(Debug)]
struct OpenNodes {
    near: [u32; Self::NEAR],
    count: usize,
    beyond: Vec<u32>,
}

impl Default for OpenNodes {
    fn default() -> Self {
        Self {
            near: [0; Self::NEAR],
            count: 0,
            beyond: Vec::new(),
        }
    }
}

impl OpenNodes {
    const NEAR: usize = 64;

    fn push(&mut self, node: u32) {
        if self.count < Self::NEAR {
            self.near[self.count] = node;
            self.count += 1;
        } else {
            self.beyond.push(node);
        }
    }

    fn pop(&mut self) -> Option<u32> {
        if let Some(node) = self.beyond.pop() {
            return Some(node);
        }
        self.count = self.count.checked_sub(1)?;
        Some(self.near[self.count])
    }
}
