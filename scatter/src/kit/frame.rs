//! Brings a mesh from a file into the frame of a [`Piece`](super::Piece).

use glam::{DMat3, DVec3, Vec3};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Part;
use crate::plan::convex_hull;

/// Which of a file's directions is up for the piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub enum Up {
    /// +x.
    #[serde(rename = "+x")]
    PlusX,
    /// -x.
    #[serde(rename = "-x")]
    MinusX,
    /// +y, as glTF has it.
    #[default]
    #[serde(rename = "+y")]
    PlusY,
    /// -y.
    #[serde(rename = "-y")]
    MinusY,
    /// +z.
    #[serde(rename = "+z")]
    PlusZ,
    /// -z.
    #[serde(rename = "-z")]
    MinusZ,
}

impl Up {
    /// The quarter or half turn that brings this direction to +y.
    fn turn(self) -> DMat3 {
        let (x, y, z) = (DVec3::X, DVec3::Y, DVec3::Z);
        match self {
            Self::PlusX => DMat3::from_cols(y, -x, z),
            Self::MinusX => DMat3::from_cols(-y, x, z),
            Self::PlusY => DMat3::IDENTITY,
            Self::MinusY => DMat3::from_cols(x, -y, -z),
            Self::PlusZ => DMat3::from_cols(x, -z, y),
            Self::MinusZ => DMat3::from_cols(x, z, -y),
        }
    }
}

/// Turns `up` to +y, scales, lays the longer side of the smallest rectangle round the plan outline
/// along x, and moves the plan centre of the bounds and the lowest point to the origin.
///
/// The turn about the upright is less than a quarter where two would serve. The smallest rectangle
/// has a side along an edge of the hull (Freeman and Shapira, "Determining the minimum-area
/// encasing rectangle for an arbitrary closed curve", 1975).
pub(super) fn bring_to_frame(parts: &mut [Part], up: Up, scale: f64) {
    let upright = up.turn();
    let plan: Vec<[f64; 2]> = parts
        .iter()
        .flat_map(|part| &part.mesh.positions)
        .map(|p| {
            let p = upright * p.as_dvec3();
            [p.x, p.z]
        })
        .collect();
    let [along_x, along_z] = long_axis(&convex_hull(&plan));
    // Seen along +y this turns the long axis onto x.
    let about_y = DMat3::from_cols(
        DVec3::new(along_x, 0.0, -along_z),
        DVec3::Y,
        DVec3::new(along_z, 0.0, along_x),
    );
    let turn = about_y * upright;
    let (mut low, mut high) = (DVec3::INFINITY, DVec3::NEG_INFINITY);
    for p in parts.iter().flat_map(|part| &part.mesh.positions) {
        let p = turn * p.as_dvec3() * scale;
        low = low.min(p);
        high = high.max(p);
    }
    let middle = 0.5 * (low + high);
    let foot = DVec3::new(middle.x, low.y, middle.z);
    for mesh in parts.iter_mut().map(|part| &mut part.mesh) {
        for p in &mut mesh.positions {
            *p = (turn * p.as_dvec3() * scale - foot).as_vec3();
        }
        for n in &mut mesh.normals {
            *n = (turn * n.as_dvec3()).as_vec3().normalize_or(Vec3::Y);
        }
        for t in &mut mesh.tangents {
            let turned = turn * t.truncate().as_dvec3();
            *t = turned.as_vec3().normalize_or(Vec3::X).extend(t.w);
        }
    }
}

/// Unit direction (x, z) of the longer side of the smallest rectangle round a convex outline; x for
/// what has no area.
fn long_axis(hull: &[[f64; 2]]) -> [f64; 2] {
    let mut best = (f64::INFINITY, [1.0, 0.0]);
    for (i, a) in hull.iter().enumerate() {
        let b = hull[(i + 1) % hull.len()];
        let (x, z) = (b[0] - a[0], b[1] - a[1]);
        let length = (x * x + z * z).sqrt();
        if length <= 0.0 {
            continue;
        }
        let (x, z) = (x / length, z / length);
        let extent = |x: f64, z: f64| {
            let along = hull.iter().map(|p| p[0] * x + p[1] * z);
            let (low, high) = along.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), t| {
                (l.min(t), h.max(t))
            });
            high - low
        };
        let (along, across) = (extent(x, z), extent(-z, x));
        // Equal rectangles differ in their last bits: the first one stays.
        if along * across < best.0 * (1.0 - 1e-9) {
            let axis = if across > along { [-z, x] } else { [x, z] };
            best = (along * across, axis);
        }
    }
    let [x, z] = best.1;
    if x < 0.0 || (x == 0.0 && z < 0.0) {
        [-x, -z]
    } else {
        [x, z]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kit::{Material, Measure, Mesh};

    /// A box of the given edges, its middle at `middle`, turned about y so that its x edge points
    /// to (x, z).
    fn cuboid(edges: DVec3, middle: DVec3, [x, z]: [f64; 2]) -> Part {
        let turn = DMat3::from_cols(DVec3::new(x, 0.0, z), DVec3::Y, DVec3::new(-z, 0.0, x));
        let corner = |i: u32| {
            let sign = |bit: u32| f64::from(i >> bit & 1) - 0.5;
            middle + turn * (edges * DVec3::new(sign(0), sign(1), sign(2)))
        };
        let positions: Vec<Vec3> = (0..8).map(|i| corner(i).as_vec3()).collect();
        let normals = positions
            .iter()
            .map(|p| (p.as_dvec3() - middle).normalize().as_vec3())
            .collect();
        // Top and bottom are enough for a silhouette.
        let indices = vec![2, 6, 3, 3, 6, 7, 0, 1, 4, 1, 5, 4];
        Part {
            mesh: Mesh {
                positions,
                normals,
                indices,
                ..Mesh::default()
            },
            material: Material::default(),
        }
    }

    #[test]
    fn a_turned_box_lies_along_x_on_the_ground() {
        let mut parts = [cuboid(
            DVec3::new(0.2, 0.05, 0.1),
            DVec3::new(7.0, 3.0, -2.0),
            [0.6, 0.8],
        )];
        bring_to_frame(&mut parts, Up::PlusY, 2.0);
        let measure = Measure::of(&parts);
        assert!(
            (measure.size - Vec3::new(0.4, 0.1, 0.2)).length() < 1e-6,
            "{measure:?}"
        );
        assert!((measure.b_axis - 0.2).abs() < 1e-6 && (measure.elongation - 2.0).abs() < 1e-5);
        let mesh = &parts[0].mesh;
        let low = mesh.positions.iter().copied().reduce(Vec3::min).unwrap();
        assert!((low - Vec3::new(-0.2, 0.0, -0.1)).length() < 1e-6, "{low}");
        // Normals have gone the same way as the corners.
        for (p, n) in mesh.positions.iter().zip(&mesh.normals) {
            let out = *p - Vec3::new(0.0, 0.05, 0.0);
            assert!((out.normalize() - *n).length() < 1e-5);
        }
    }

    #[test]
    fn every_up_comes_to_plus_y_without_mirroring() {
        let ups = [
            (Up::PlusX, DVec3::X),
            (Up::MinusX, -DVec3::X),
            (Up::PlusY, DVec3::Y),
            (Up::MinusY, -DVec3::Y),
            (Up::PlusZ, DVec3::Z),
            (Up::MinusZ, -DVec3::Z),
        ];
        for (up, direction) in ups {
            assert_eq!(up.turn() * direction, DVec3::Y, "{up:?}");
            assert_eq!(up.turn().determinant(), 1.0, "{up:?}");
        }
    }
}
