//! The node tree: which meshes stand where.
//!
//! Trees may be ten thousand nodes deep, so they are walked with a stack of our own.

use glam::{DMat4, DQuat, DVec3};
use gltf::json::{Node, Root};

use super::container::INSTANCING;
use super::lookup;
use crate::error::{Error, Result};

/// A mesh as a node shows it.
#[derive(Debug, Clone, Copy)]
pub(super) struct PlacedMesh {
    /// Index of the root node that it hangs on.
    pub(super) root: usize,
    /// Index into the document's meshes; it exists.
    pub(super) mesh: usize,
    /// From the mesh's own space to the scene's.
    pub(super) world_from_mesh: DMat4,
}

/// A node's own transform as the document has it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Transform {
    pub(super) matrix: Option<[f64; 16]>,
    pub(super) translation: Option<[f64; 3]>,
    pub(super) rotation: Option<[f64; 4]>,
    pub(super) scale: Option<[f64; 3]>,
}

/// How far a rotation may be from unit length. Normalised bytes, the coarsest form that glTF has
/// for one, leave 0.008; more is no rounding.
const UNIT_TOLERANCE: f64 = 0.01;

/// How far the last row of a matrix may be from 0 0 0 1: what inverting a matrix in single
/// precision leaves.
const ROW_TOLERANCE: f64 = 1e-5;

/// The meshes of the default scene, in the order of a walk from its roots.
pub(super) fn placed_meshes(root: &Root) -> Result<Vec<PlacedMesh>> {
    let parents = parents(root)?;
    let mut placed = Vec::new();
    let mut stack: Vec<(usize, usize, DMat4)> = roots(root, &parents)?
        .into_iter()
        .rev()
        .map(|node| (node, node, DMat4::IDENTITY))
        .collect();
    while let Some((top, index, world_from_parent)) = stack.pop() {
        let node = &root.nodes[index];
        let parent_from_node = Transform::of(node).sound(index)?.parent_from_node();
        let world_from_node = world_from_parent * parent_from_node;
        if !world_from_node.is_finite() {
            return Err(Error::input(
                format!("nodes[{index}]"),
                "its transform is not finite",
                "use translations and scales of a size that numbers can hold",
            ));
        }
        if let Some(mesh) = node.mesh {
            let mesh = mesh.value();
            lookup(&root.meshes, mesh, "meshes", || {
                format!("nodes[{index}].mesh")
            })?;
            placed.push(PlacedMesh {
                root: top,
                mesh,
                world_from_mesh: world_from_node,
            });
        }
        let children = node.children.iter().flatten().rev();
        stack.extend(children.map(|child| (top, child.value(), world_from_node)));
    }
    Ok(placed)
}

/// Each node's parent. Children that do not exist, second parents and circles are errors.
pub(super) fn parents(root: &Root) -> Result<Vec<Option<usize>>> {
    let mut parents: Vec<Option<usize>> = vec![None; root.nodes.len()];
    for (index, node) in root.nodes.iter().enumerate() {
        for (j, child) in node.children.iter().flatten().enumerate() {
            let child = child.value();
            let place = || format!("nodes[{index}].children[{j}]");
            lookup(&root.nodes, child, "nodes", place)?;
            if let Some(first) = parents[child].replace(index) {
                return Err(Error::input(
                    place(),
                    format!("nodes[{child}] is a child of nodes[{first}] already"),
                    "a node has one parent; copy the node instead",
                ));
            }
        }
    }
    // Follow every node upward until a node that an earlier walk has passed; meeting this walk
    // again is a circle.
    let mut walk_of: Vec<Option<usize>> = vec![None; root.nodes.len()];
    for start in 0..root.nodes.len() {
        let mut next = Some(start);
        while let Some(node) = next {
            match walk_of[node] {
                Some(walk) if walk == start => {
                    return Err(Error::input(
                        format!("nodes[{node}].children"),
                        "the node is its own ancestor",
                        "nodes form a tree: take one of the links of the circle away",
                    ));
                }
                Some(_) => break,
                None => walk_of[node] = Some(start),
            }
            next = parents[node];
        }
    }
    Ok(parents)
}

/// Where the walk begins: the default scene's nodes, or the first scene's, or all nodes without a
/// parent.
fn roots(root: &Root, parents: &[Option<usize>]) -> Result<Vec<usize>> {
    let index = root.scene.map(|s| s.value());
    if index.is_none() && root.scenes.is_empty() {
        return Ok((0..root.nodes.len())
            .filter(|&i| parents[i].is_none())
            .collect());
    }
    let index = index.unwrap_or(0);
    let scene = lookup(&root.scenes, index, "scenes", || "scene".to_owned())?;
    let mut listed = vec![false; root.nodes.len()];
    let mut roots = Vec::new();
    for (j, node) in scene.nodes.iter().enumerate() {
        let node = node.value();
        let place = || format!("scenes[{index}].nodes[{j}]");
        lookup(&root.nodes, node, "nodes", place)?;
        if let Some(parent) = parents[node] {
            return Err(Error::input(
                place(),
                format!("nodes[{node}] is a child of nodes[{parent}]"),
                "a scene lists nodes without a parent",
            ));
        }
        if std::mem::replace(&mut listed[node], true) {
            return Err(Error::input(
                place(),
                format!("nodes[{node}] is listed twice"),
                "a scene lists each of its root nodes once",
            ));
        }
        roots.push(node);
    }
    Ok(roots)
}

/// What is said of the nodes that stand for many copies of their mesh, of which one is read; None
/// without any.
pub(super) fn told_of_copies(root: &Root) -> Option<String> {
    let copies = |node: &Node| {
        let extensions = node.extensions.as_ref();
        node.mesh.is_some() && extensions.is_some_and(|e| e.others.contains_key(INSTANCING))
    };
    let first = root.nodes.iter().position(copies)?;
    let more = match root.nodes[first + 1..].iter().filter(|n| copies(n)).count() {
        0 => String::new(),
        count => format!(" and {count} more"),
    };
    Some(format!(
        "nodes[{first}]{more}: the copies of {INSTANCING} are not read, and the mesh is taken once; save the copies as plain nodes"
    ))
}

impl Transform {
    fn of(node: &Node) -> Self {
        Self {
            matrix: node.matrix.map(|m| m.map(f64::from)),
            translation: node.translation.map(|v| v.map(f64::from)),
            rotation: node.rotation.map(|q| q.0.map(f64::from)),
            scale: node.scale.map(|v| v.map(f64::from)),
        }
    }

    /// The transform of the node of a number, if it says one thing, and moves without shearing into
    /// depth.
    pub(super) fn sound(self, node: usize) -> Result<Self> {
        let parts = self.translation.or(self.scale).is_some() || self.rotation.is_some();
        if let Some(m) = self.matrix {
            if parts {
                return Err(Error::input(
                    format!("nodes[{node}].matrix"),
                    "the node has a translation, rotation or scale as well",
                    "a node has either a matrix or these; take one of the two away",
                ));
            }
            let row = [m[3], m[7], m[11], m[15]];
            let off = row.iter().zip([0.0, 0.0, 0.0, 1.0]);
            if !off.into_iter().all(|(a, b)| (a - b).abs() <= ROW_TOLERANCE) {
                return Err(Error::input(
                    format!("nodes[{node}].matrix"),
                    format!("its last row is {row:?}"),
                    "the last row is 0 0 0 1: numbers 4, 8, 12 and 16, for a matrix is written column by column",
                ));
            }
        }
        match self.rotation {
            Some(q) => sound_rotation(q, || format!("nodes[{node}].rotation")).map(|()| self),
            None => Ok(self),
        }
    }

    /// The matrix, or translation x rotation x scale.
    fn parent_from_node(&self) -> DMat4 {
        if let Some(m) = self.matrix {
            return affine(m);
        }
        DMat4::from_scale_rotation_translation(
            self.scale.map_or(DVec3::ONE, DVec3::from_array),
            // Rounded, it is not quite of unit length
            self.rotation
                .map_or(DQuat::IDENTITY, |q| DQuat::from_array(q).normalize()),
            self.translation.map_or(DVec3::ZERO, DVec3::from_array),
        )
    }
}

/// A sound matrix, its last row as it is meant.
pub(super) fn affine(mut m: [f64; 16]) -> DMat4 {
    [m[3], m[7], m[11], m[15]] = [0.0, 0.0, 0.0, 1.0];
    DMat4::from_cols_array(&m)
}

/// Refuses a rotation at `place` that turns nothing, or is too long or short to be a rounded one.
pub(super) fn sound_rotation(q: [f64; 4], place: impl FnOnce() -> String) -> Result<()> {
    let length = DQuat::from_array(q).length();
    if (length - 1.0).abs() <= UNIT_TOLERANCE {
        return Ok(());
    }
    Err(Error::input(
        place(),
        format!("the rotation {q:?} has the length {length:.4}"),
        "a rotation is a quaternion x, y, z, w of length 1; no turn is 0, 0, 0, 1",
    ))
}
