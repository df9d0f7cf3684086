//! Dresses a shot from code: own meshes, own ground, no files.
//!
//! `cargo run --release -p scatter --example own_meshes`

#![expect(clippy::print_stdout, reason = "an example prints what it finds")]

use glam::{Vec3, vec3};
use scatter::{
    Amount, Brief, Camera, Cancel, Error, Ground, GroundMesh, GroundShape, Material, Mesh, Part,
    Pass, Place, Session, SizeLaw,
};

/// A mesh of triangles, each with its own flat normal.
fn part(corners: &[Vec3], triangles: &[[usize; 3]]) -> Vec<Part> {
    let faces = triangles.iter().map(|t| t.map(|i| corners[i]));
    vec![Part {
        mesh: Mesh::flat(faces),
        material: Material::default(),
    }]
}

fn main() -> Result<(), Error> {
    let stone = [
        vec3(0.03, 0.0, 0.0),
        vec3(0.0, 0.0, 0.025),
        vec3(-0.03, 0.0, 0.005),
        vec3(0.0, 0.0, -0.02),
        vec3(0.0, 0.02, 0.0),
        vec3(0.0, -0.02, 0.0),
    ];
    let faces = [
        [1, 0, 4],
        [2, 1, 4],
        [3, 2, 4],
        [0, 3, 4],
        [0, 1, 5],
        [1, 2, 5],
        [2, 3, 5],
        [3, 0, 5],
    ];
    let hill = [
        vec3(-4.0, 0.0, -4.0),
        vec3(-4.0, 0.0, 4.0),
        vec3(4.0, 0.5, 4.0),
        vec3(4.0, 0.5, -4.0),
    ];
    let mut session = Session::open("");
    session.supply("stone", part(&stone, &faces));
    session.supply("hill", part(&hill, &[[0, 1, 2], [0, 2, 3]]));

    let stones = Pass::new(
        ["stone"],
        Place::Packed { roll: 0.6 },
        SizeLaw::power(2.0, 0.02, 0.12),
        Amount::Cover(0.5),
    );
    let lens = Camera::looking(
        "close",
        [0.0, 0.6, 1.2],
        [0.0, 0.1, 0.0],
        0.035,
        [1920, 1080],
    );
    let brief = Brief::new("from code", lens)
        .on(Ground {
            terrain: GroundShape::Mesh(GroundMesh::new("hill")),
            ..Ground::default()
        })
        .pass("stones", stones.stretched());
    let (layout, change) = session.dress(&brief, &|_| (), &Cancel::new())?;

    println!(
        "{} stones, {} new",
        layout.instances.len(),
        change.pieces.added.len()
    );
    println!(
        "the first stands at {:.3}",
        layout.instances[0].world_from_piece()
    );
    Ok(())
}
