//! Looks at the pieces that a file holds, and at what may be wrong with them.

use std::path::Path;

use glam::{DVec3, Vec3};

use super::gltf::{self, Object};
use super::library::{Found, found_in, object_names};
use super::lying::is_closed;
use super::{Mesh, Part};
use crate::error::Result;

/// What stands in a file, for the person who builds a kit.
#[derive(Debug, Clone, PartialEq)]
pub struct Inspection {
    /// The piece as a pass would take it, with its natural sizes.
    pub found: Found,
    /// The root node that holds it, where the file has several.
    pub node: Option<String>,
    /// Vertices in all parts.
    pub vertices: u64,
    /// Pictures that its materials use, each counted once.
    pub textures: usize,
    /// Bytes of the meshes and of the decoded pictures.
    pub memory: u64,
    /// Whether every edge has two faces that turn alike: the mesh has an inside.
    pub closed: bool,
    /// Where the file's origin lies.
    pub origin: Origin,
    /// What looks wrong, and what can be done.
    pub problems: Vec<String>,
}

/// Where a file's origin lies relative to the piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Origin {
    /// Under its middle, on the level of its lowest point.
    Foot,
    /// In the middle of its bounds.
    Middle,
    /// Elsewhere in its bounds.
    Inside,
    /// Outside its bounds, this many metres from them.
    Away(f64),
}

/// Range of widths, metres, beyond which a unit of the file is hardly a metre: sand, and outcrops
/// that nobody strews (common practice, no source).
const USUAL_WIDTHS: [f64; 2] = [0.5e-3, 20.0];

/// Share of the extent by which an origin may miss a foot or a middle and still count as there: a
/// modeller's eye.
const NEARLY: f64 = 0.05;

/// Share of the area whose normals must point inward for a mesh to count as inside out.
const MOSTLY: f64 = 0.5;

/// Corners of two meshes are the same within this share of the piece's width.
const SAME: f32 = 1e-4;

/// The pieces of a glTF file, one for each root node with a mesh, and what was left out of it.
/// `source` is what the pieces are said to come from.
///
/// # Errors
/// As [`gltf::read`], or a piece has no width seen from above.
pub fn inspect(path: &Path, source: &str) -> Result<(Vec<Inspection>, Vec<String>)> {
    let model = gltf::read_near(path)?;
    let names = object_names(&model, path);
    let single = names.len() == 1;
    let warnings = model.warnings.clone();
    let file_origin = model.origin;
    let mut seen = Vec::with_capacity(names.len());
    for (object, name) in model.objects.into_iter().zip(names) {
        let node = (!single).then(|| name.clone());
        let look = ObjectFindings::of(&object, file_origin);
        let found = found_in(object.parts, &name, source).map_err(|e| e.in_file(path))?;
        seen.push(look.told(found, node));
    }
    Ok((seen, warnings))
}

/// Tells of pieces that hold the same mesh as an earlier one.
pub fn tell_copies(seen: &mut [Inspection]) {
    let sizes: Vec<(u64, u64)> = seen
        .iter()
        .map(|i| (i.found.piece.triangles(), i.vertices))
        .collect();
    let mut order: Vec<usize> = (0..seen.len()).collect();
    order.sort_by_key(|&i| sizes[i]);
    for group in order.chunk_by(|&a, &b| sizes[a] == sizes[b]) {
        for (k, &later) in group.iter().enumerate() {
            let same = |&&earlier: &&usize| {
                same_meshes(
                    &seen[earlier].found.piece.parts,
                    &seen[later].found.piece.parts,
                )
            };
            if let Some(&earlier) = group[..k].iter().find(same) {
                let (first, own) = (&seen[earlier].found.piece, &seen[later].found.piece);
                let of = if first.source == own.source {
                    String::new()
                } else {
                    format!(" of {}", first.source)
                };
                let problem = format!("same mesh as {}{of}: it counts twice", first.name);
                seen[later].problems.push(problem);
            }
        }
    }
}

fn same_meshes(a: &[Part], b: &[Part]) -> bool {
    let near = |a: &Mesh, b: &Mesh| {
        let reach = SAME
            * a.positions
                .iter()
                .map(|p| p.abs().max_element())
                .fold(0.0, f32::max);
        let mut corners = a.positions.iter().zip(&b.positions);
        a.indices == b.indices
            && a.positions.len() == b.positions.len()
            && corners.all(|(p, q)| (*p - *q).abs().max_element() <= reach)
    };
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| near(&a.mesh, &b.mesh))
}

/// What is found in an object before it is moved into a piece's frame.
struct ObjectFindings {
    origin: Origin,
    closed: bool,
    problems: Vec<String>,
}

impl ObjectFindings {
    /// `file_origin` is where the file's origin lies.
    fn of(object: &Object, file_origin: DVec3) -> Self {
        let points = || object.parts.iter().flat_map(|p| &p.mesh.positions);
        let low = points().copied().reduce(Vec3::min).unwrap_or_default();
        let high = points().copied().reduce(Vec3::max).unwrap_or_default();
        let (low, high) = (low.as_dvec3(), high.as_dvec3());
        let origin = Origin::of(low - file_origin, high - file_origin);
        let mut problems = Vec::new();
        if let Origin::Away(metres) = origin
            && metres > (high - low).max_element()
        {
            problems.push(format!(
                "its origin lies {metres:.2} m away (the tool moves it to the foot)"
            ));
        }
        let closed = is_closed(&object.parts);
        let facing = Facing::of(&object.parts, 0.5 * (low + high));
        if closed && facing.volume < 0.0 {
            problems.push("its faces look inward: flip them".to_owned());
        } else if facing.against > MOSTLY * facing.area {
            problems.push("its normals point against its faces: make them anew".to_owned());
        }
        if object.parts.iter().any(|p| is_bare(&p.material)) {
            problems.push("no material: it shows as grey metal".to_owned());
        }
        Self {
            origin,
            closed,
            problems,
        }
    }

    fn told(self, found: Found, node: Option<String>) -> Inspection {
        let mut problems = self.problems;
        let width = found.piece.measure.b_axis;
        if !(USUAL_WIDTHS[0]..=USUAL_WIDTHS[1]).contains(&width) {
            problems.push(format!(
                "it is {width:.3} m wide: is the file in metres? Set `scale` in the kit"
            ));
        }
        let parts = &found.piece.parts;
        let mut textures: Vec<&std::sync::Arc<super::Texture>> = Vec::new();
        for texture in parts.iter().flat_map(|p| p.material.textures()) {
            if !textures.iter().any(|t| std::sync::Arc::ptr_eq(t, texture)) {
                textures.push(texture);
            }
        }
        for texture in &textures {
            if let Err(error) = texture.decode() {
                let problem = &error.faults[0].problem;
                problems.push(format!("its picture {}: {problem}", texture.name));
            }
        }
        let pictures: u64 = textures.iter().map(|t| t.decoded_bytes()).sum();
        Inspection {
            vertices: parts.iter().map(|p| p.mesh.positions.len() as u64).sum(),
            textures: textures.len(),
            memory: parts.iter().map(|p| bytes(&p.mesh)).sum::<u64>() + pictures,
            closed: self.closed,
            origin: self.origin,
            problems,
            node,
            found,
        }
    }
}

/// Whether a surface has the plain values that the specification gives a mesh without a material.
fn is_bare(material: &super::Material) -> bool {
    let bare = super::Material {
        metallic: 1.0,
        ..super::Material::default()
    };
    *material == bare
}

/// Bytes of a mesh as this tool keeps it.
fn bytes(mesh: &Mesh) -> u64 {
    let of = |count: usize, size: usize| count as u64 * size as u64;
    of(mesh.positions.len() + mesh.normals.len(), 12)
        + of(mesh.colors.len() + mesh.uvs.len(), 8)
        + of(mesh.tangents.len(), 16)
        + of(mesh.indices.len(), 4)
}

impl Origin {
    fn of(low: DVec3, high: DVec3) -> Self {
        let (middle, size) = (0.5 * (low + high), high - low);
        let slack = NEARLY * size.max_element();
        let near = |x: f64| x.abs() <= slack;
        let away = (low.max(DVec3::ZERO) + high.min(DVec3::ZERO)).length();
        if near(middle.x) && near(middle.z) && near(low.y) {
            Self::Foot
        } else if near(middle.x) && near(middle.y) && near(middle.z) {
            Self::Middle
        } else if away > 0.0 {
            Self::Away(away)
        } else {
            Self::Inside
        }
    }
}

/// Which way faces and normals look.
struct Facing {
    /// Enclosed volume, negative where the faces look inward.
    volume: f64,
    /// Area of all faces.
    area: f64,
    /// Area of the faces whose normals point to their back.
    against: f64,
}

impl Facing {
    fn of(parts: &[Part], middle: DVec3) -> Self {
        let mut facing = Self {
            volume: 0.0,
            area: 0.0,
            against: 0.0,
        };
        for mesh in parts.iter().map(|p| &p.mesh) {
            for triangle in mesh.indices.chunks_exact(3) {
                let at = |i: usize| mesh.positions[triangle[i] as usize].as_dvec3() - middle;
                let (a, b, c) = (at(0), at(1), at(2));
                let face = 0.5 * (b - a).cross(c - a);
                let normals = triangle
                    .iter()
                    .map(|&i| mesh.normals[i as usize].as_dvec3());
                facing.volume += a.dot(b.cross(c)) / 6.0;
                facing.area += face.length();
                if face.dot(normals.sum()) < 0.0 {
                    facing.against += face.length();
                }
            }
        }
        facing
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kit::library::tests::boxes;
    use std::fs;

    fn seen(bytes: &[u8]) -> Vec<Inspection> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("stone.glb");
        fs::write(&path, bytes).unwrap();
        inspect(&path, "stone.glb").unwrap().0
    }

    #[test]
    fn a_sound_box_has_only_a_material_missing() {
        let seen = seen(&boxes(&[("n", [0.3, 0.1, 0.2], [0.0, 0.05, 0.0])]));
        let [one] = &seen[..] else { panic!("{seen:?}") };
        assert_eq!(one.found.piece.name, "stone");
        assert_eq!(one.node, None);
        assert_eq!(one.origin, Origin::Foot);
        assert!(one.closed);
        assert_eq!(one.found.piece.triangles(), 12);
        // Flat normals give every face corners of its own: 36 of 24 bytes, and 36 indices of 4.
        assert_eq!((one.vertices, one.textures, one.memory), (36, 0, 36 * 28));
        assert_eq!(one.problems, ["no material: it shows as grey metal"]);
    }

    #[test]
    fn what_is_wrong_is_told() {
        let mut seen = seen(&boxes(&[
            ("huge", [300.0, 100.0, 200.0], [0.0; 3]),
            ("far", [0.1; 3], [0.0, 5.0, 0.0]),
            ("copy", [0.1; 3], [0.0, 0.0, 0.0]),
            ("mirrored", [-0.1, 0.2, 0.3], [0.0; 3]),
        ]));
        tell_copies(&mut seen);
        let said = |i: usize, text: &str| seen[i].problems.iter().any(|p| p.contains(text));
        assert!(said(0, "200.000 m wide") && seen[0].origin == Origin::Middle);
        assert!(said(1, "4.95 m away"), "{:?}", seen[1].problems);
        assert!(said(2, "same mesh as far"), "{:?}", seen[2].problems);
        assert!(
            !said(3, "inward") && !said(3, "same"),
            "{:?}",
            seen[3].problems
        );
        assert_eq!(seen[3].node.as_deref(), Some("mirrored"));
    }

    #[test]
    fn open_and_turned_meshes_are_found() {
        let file = boxes(&[("n", [0.1; 3], [0.0; 3])]);
        let folder = tempfile::tempdir().unwrap();
        let mut object = gltf::read_bytes(&file, folder.path())
            .unwrap()
            .objects
            .remove(0);
        let mesh = &mut object.parts[0].mesh;
        mesh.indices.chunks_exact_mut(3).for_each(|t| t.swap(0, 1));
        let inward = ObjectFindings::of(&object, DVec3::ZERO);
        assert!(
            inward.closed && inward.problems[0].contains("inward"),
            "{:?}",
            inward.problems
        );
        let mesh = &mut object.parts[0].mesh;
        mesh.indices.truncate(30);
        let open = ObjectFindings::of(&object, DVec3::ZERO);
        assert!(
            !open.closed && open.problems[0].contains("against"),
            "{:?}",
            open.problems
        );
    }
}
