//! Tangents in closed form: planes, and pictures that are laid out askew.

use super::*;

/// A square on the ground with the picture laid over it by a linear map: u and v of a place (x,
/// z).
fn square(u: [f32; 2], v: [f32; 2]) -> Mesh {
    let corners = [[0.0, 0.0], [0.0, 1.0], [1.0, 1.0], [1.0, 0.0]];
    Mesh {
        positions: corners.map(|[x, z]| Vec3::new(x, 0.0, z)).to_vec(),
        normals: vec![Vec3::Y; 4],
        uvs: corners
            .map(|[x, z]| [u[0] * x + u[1] * z, v[0] * x + v[1] * z])
            .to_vec(),
        indices: vec![0, 1, 2, 0, 2, 3],
        ..Mesh::default()
    }
}

#[test]
fn tangents_follow_u_and_their_hand_tells_a_mirrored_picture() {
    // Seen from above with x to the right, z is down: v along z is a picture that lies face up
    for (u, v, tangent, hand) in [
        ([1.0, 0.0], [0.0, 1.0], Vec3::X, 1.0),
        ([-3.0, 0.0], [0.0, 0.5], Vec3::NEG_X, -1.0),
        ([0.0, 1.0], [-1.0, 0.0], Vec3::Z, 1.0),
        ([0.0, 2.0], [2.0, 0.0], Vec3::Z, -1.0),
    ] {
        let mesh = square(u, v);
        let made = of(&mesh).unwrap();
        assert_eq!((made.tangents.len(), made.again.len()), (4, 0));
        assert_eq!(*made.indices, mesh.indices);
        for found in made.tangents.iter() {
            let off = found.truncate().distance(tangent);
            assert!(off < 1e-6, "{u:?} {v:?}: {found}");
            assert_eq!(found.w, hand, "{u:?} {v:?}");
            let third = Vec3::Y.cross(found.truncate()) * found.w;
            // Against v on the ground
            let falls = Vec3::new(-v[0], 0.0, -v[1]).normalize();
            assert!(third.distance(falls) < 1e-6, "{u:?} {v:?}: {third}");
        }
    }
}

#[test]
fn a_mirrored_picture_parts_the_vertices_of_its_seam() {
    // Two squares side by side in x; u grows to the middle and falls beyond it
    let places = [
        [0.0, 0.0],
        [0.0, 1.0],
        [1.0, 1.0],
        [1.0, 0.0],
        [2.0, 1.0],
        [2.0, 0.0],
    ];
    let mesh = Mesh {
        positions: places.map(|[x, z]| Vec3::new(x, 0.0, z)).to_vec(),
        normals: vec![Vec3::Y; 6],
        uvs: places.map(|[x, z]| [1.0 - f32::abs(x - 1.0), z]).to_vec(),
        indices: vec![0, 1, 2, 0, 2, 3, 3, 2, 4, 3, 4, 5],
        ..Mesh::default()
    };
    let made = of(&mesh).unwrap();
    // The seam's two vertices are there twice, in the order in which they are met
    assert_eq!(made.again, [3, 2]);
    assert_eq!(*made.indices, [0, 1, 2, 0, 2, 3, 6, 7, 4, 6, 4, 5]);
    for (i, found) in made.tangents.iter().enumerate() {
        let left = i < 4;
        let (along, hand) = if left {
            (Vec3::X, 1.0)
        } else {
            (Vec3::NEG_X, -1.0)
        };
        assert!(found.distance(along.extend(hand)) < 1e-6, "{i}: {found}");
    }
}

#[test]
fn corners_weigh_by_their_angles() {
    // Two triangles on the ground share an edge. At its near end the right one has a corner of 90
    // degrees and u along x, the left one a corner of 45 and a picture that is turned and stretched
    let left_uv: [f32; 2] = [-1.4, 0.1];
    let mesh = Mesh {
        positions: [[0.0, 0.0], [0.0, 1.0], [1.0, 0.0], [-1.0, 1.0]]
            .map(|[x, z]| Vec3::new(x, 0.0, z))
            .to_vec(),
        normals: vec![Vec3::Y; 4],
        uvs: vec![[0.0, 0.0], [0.0, 1.0], [1.0, 0.0], left_uv],
        indices: vec![0, 1, 2, 0, 3, 1],
        ..Mesh::default()
    };
    let made = of(&mesh).unwrap();
    // Where v stays 0 and u grows: by -1 to the far left corner, and by -0.1 of the shared edge
    let left = Vec3::new(1.0, 0.0, -1.0 + left_uv[1]).normalize();
    let mean = (Vec3::X * 90.0 + left * 45.0).normalize();
    let found = made.tangents[0].truncate();
    assert!(found.distance(mean) < 1e-5, "{found} {mean}");
    // By their areas, which are equal, it would be the bisector
    assert!(found.distance((Vec3::X + left).normalize()) > 0.05);
}

#[test]
fn a_mesh_s_own_tangents_stay_as_they_are() {
    let mut mesh = square([1.0, 0.0], [0.0, 1.0]);
    mesh.tangents = vec![Vec4::new(0.6, 0.0, 0.8, -1.0); 4];
    let made = of(&mesh).unwrap();
    assert_eq!(*made.tangents, mesh.tangents);
    assert_eq!((made.again.len(), &*made.indices), (0, &mesh.indices[..]));
}

#[test]
fn a_picture_without_extent_gives_some_unit_tangent_across_the_normal() {
    for normal in [Vec3::X, Vec3::Y, Vec3::new(0.6, 0.8, 0.0)] {
        let mut mesh = square([0.0; 2], [0.0; 2]);
        mesh.normals = vec![normal; 4];
        for found in of(&mesh).unwrap().tangents.iter() {
            assert!((found.truncate().length() - 1.0).abs() < 1e-6);
            assert!(found.truncate().dot(normal).abs() < 1e-6);
            assert_eq!(found.w.abs(), 1.0);
        }
    }
}

#[test]
fn faces_without_area_take_the_tangents_of_their_neighbours() {
    let plain = square([0.0, 1.0], [-1.0, 0.0]);
    let mut mesh = plain.clone();
    // A second vertex where the first is, and faces between them: as many as would take long
    mesh.positions.push(mesh.positions[0]);
    mesh.normals.push(Vec3::Y);
    mesh.uvs.push(mesh.uvs[0]);
    mesh.indices.extend([0, 4, 1].repeat(300));
    let made = of(&mesh).unwrap();
    let whole = of(&plain).unwrap();
    assert!(made.again.is_empty());
    assert_eq!(made.tangents[..4], *whole.tangents);
    assert_eq!(made.tangents[4], whole.tangents[0]);
}

#[test]
fn a_fan_beyond_measure_and_a_mesh_without_coordinates_get_none() {
    let fan = |blades: u32| {
        let rim = (0..=blades).map(|i| {
            let angle = i as f32 * 0.005;
            Vec3::new(angle.sin(), 0.0, angle.cos())
        });
        let positions: Vec<Vec3> = std::iter::once(Vec3::ZERO).chain(rim).collect();
        Mesh {
            normals: vec![Vec3::Y; positions.len()],
            uvs: positions.iter().map(|p| [p.x, p.z]).collect(),
            indices: (1..=blades).flat_map(|i| [0, i, i + 1]).collect(),
            positions,
            ..Mesh::default()
        }
    };
    let made = fan(MOST_AROUND);
    assert!(
        of(&made)
            .unwrap()
            .tangents
            .iter()
            .all(|t| t.distance(Vec3::X.extend(1.0)) < 1e-4)
    );
    assert!(of(&fan(MOST_AROUND + 1)).is_none());
    let mut bare = fan(3);
    bare.uvs.clear();
    assert!(of(&bare).is_none());
}
