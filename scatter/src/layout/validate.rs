//! Is a layout sound?

use super::instance::Instance;
use super::result::Layout;
use crate::error::{Error, ErrorKind, Fault, Result};
use crate::kit::Part;

impl Layout {
    /// Refuses what no format can hold: numbers that are not finite, indices to nothing, meshes
    /// that contradict themselves, instances out of order.
    ///
    /// # Errors
    /// Names the first place found.
    pub fn validate(&self) -> Result<()> {
        for (i, piece) in self.pieces.iter().enumerate() {
            for (j, part) in piece.parts.iter().enumerate() {
                if let Some(problem) = part_problem(part) {
                    return Err(unfit(
                        format!("pieces[{i}].parts[{j}]"),
                        format!("{}: {problem}", piece.name),
                    ));
                }
            }
        }
        let order = |i: &Instance| (i.pass, i.piece);
        if let Some(i) = (1..self.instances.len())
            .find(|&i| order(&self.instances[i - 1]) > order(&self.instances[i]))
        {
            let problem = "instances are not sorted by pass and piece";
            return Err(unfit(format!("instances[{i}]"), problem.to_owned()));
        }
        for (i, instance) in self.instances.iter().enumerate() {
            let numbers = instance
                .rotation
                .iter()
                .chain([&instance.scale, &instance.diameter]);
            let problem =
                if !instance.position.is_finite() || numbers.into_iter().any(|v| !v.is_finite()) {
                    "a number is not finite"
                } else if usize::from(instance.pass) >= self.passes.len() {
                    "its pass is not in the layout"
                } else if usize::from(instance.piece) >= self.pieces.len() {
                    "its piece is not in the layout"
                } else {
                    continue;
                };
            return Err(unfit(format!("instances[{i}]"), problem.to_owned()));
        }
        Ok(())
    }
}

/// What is wrong with a mesh, if anything is.
pub(crate) fn part_problem(part: &Part) -> Option<&'static str> {
    let mesh = &part.mesh;
    let count = mesh.positions.len();
    if mesh.normals.len() != count {
        Some("normals and positions differ in number")
    } else if !mesh.colors.is_empty() && mesh.colors.len() != count {
        Some("colours and positions differ in number")
    } else if !mesh.uvs.is_empty() && mesh.uvs.len() != count {
        Some("texture coordinates and positions differ in number")
    } else if !mesh.tangents.is_empty() && mesh.tangents.len() != count {
        Some("tangents and positions differ in number")
    } else if !mesh.tangents.iter().all(|t| t.is_finite()) {
        Some("a tangent is not finite")
    } else if mesh.uvs.is_empty() && part.material.textures().next().is_some() {
        Some("there are textures but no texture coordinates")
    } else if !mesh.uvs.as_flattened().iter().all(|v| v.is_finite()) {
        Some("a texture coordinate is not finite")
    } else if !mesh.indices.len().is_multiple_of(3) {
        Some("the number of indices is no multiple of three")
    } else if mesh.indices.iter().any(|&i| i as usize >= count) {
        Some("an index points past the vertices")
    } else if !mesh
        .positions
        .iter()
        .chain(&mesh.normals)
        .all(|v| v.is_finite())
    {
        Some("a vertex is not finite")
    } else {
        None
    }
}

/// The error of a layout that no shot can ask for.
pub(crate) fn unfit(place: String, problem: String) -> Error {
    let hint = "this is a fault of the program, not of the shot: please report it";
    Error::new(ErrorKind::Failed, Fault::new(place, problem, hint))
}
