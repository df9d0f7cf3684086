//! The node tree: which meshes stand where.
//!
//! Trees may be ten thousand nodes deep, so they are walked with a stack of our own.

use glam::{DMat4, DQuat, DVec3, Vec4};
use gltf::json::{Node, Root};

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
        let world_from_node = world_from_parent * parent_from_node(node);
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

/// A node's own transform: its matrix, or translation x rotation x scale.
fn parent_from_node(node: &Node) -> DMat4 {
    if let Some(m) = node.matrix {
        let column = |i: usize| Vec4::new(m[i], m[i + 1], m[i + 2], m[i + 3]).as_dvec4();
        return DMat4::from_cols(column(0), column(4), column(8), column(12));
    }
    let vector = |v: [f32; 3]| DVec3::from_array(v.map(f64::from));
    let rotation = node.rotation.map_or(DQuat::IDENTITY, |r| {
        let q = DQuat::from_array(r.0.map(f64::from));
        // Rounded to 32 bits it is not quite of unit length; of no length it turns nothing.
        if q.length_squared() > 0.0 {
            q.normalize()
        } else {
            DQuat::IDENTITY
        }
    });
    DMat4::from_scale_rotation_translation(
        node.scale.map_or(DVec3::ONE, vector),
        rotation,
        node.translation.map_or(DVec3::ZERO, vector),
    )
}
