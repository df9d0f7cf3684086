//! Meshes given in code: as pieces, pins, heroes and ground; how they lie; what is told of them.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use glam::Vec3;

use scatter::brief::{
    Amount, Brief, Ground, GroundMesh, GroundShape, Layer, LayerKind, Lies, Pass, Pin, Place,
};
use scatter::cancel::Cancel;
use scatter::error::{Error, ErrorKind};
use scatter::kit::{Material, Mesh, Part};
use scatter::layout::Layout;
use scatter::optics::Camera;
use scatter::session::Session;
use scatter::size::SizeLaw;
use scatter_tests::meshes;

/// A block of the given sides, metres, as a piece has it.
fn block(size: [f32; 3]) -> Vec<Part> {
    let corners = meshes::block_corners(size);
    let triangles = meshes::block_triangles().into_iter();
    let faces = triangles.map(|t| t.map(|i| Vec3::from(corners[i as usize])));
    part(faces)
}

fn part(faces: impl IntoIterator<Item = [Vec3; 3]>) -> Vec<Part> {
    vec![Part {
        mesh: Mesh::flat(faces),
        material: Material::default(),
    }]
}

/// A square of 2 m at a height, facing up.
fn floor(height: f32) -> Vec<Part> {
    let corner = |x, z| Vec3::new(x, height, z);
    let [a, b, c, d] = [
        corner(-1.0, -1.0),
        corner(-1.0, 1.0),
        corner(1.0, 1.0),
        corner(1.0, -1.0),
    ];
    part([[a, b, c], [a, c, d]])
}

fn brief() -> Brief {
    let lens = Camera::looking("close", [0.0, 0.8, 0.3], [0.0; 3], 0.035, [600, 400]);
    Brief::new("supplied", lens)
}

fn strewn(place: Place) -> Pass {
    let sizes = SizeLaw::power(2.0, 0.02, 0.05);
    Pass::new(["own"], place, sizes, Amount::Cover(0.2)).stretched()
}

fn dress(session: &mut Session, brief: &Brief) -> Result<Layout, Error> {
    let dressed = session.dress(brief, &|_| (), &Cancel::new());
    dressed.map(|(layout, _)| layout)
}

/// The height of the pieces' origins above zero, at most and at least.
fn heights(layout: &Layout) -> [f64; 2] {
    let heights = layout.instances.iter().map(|i| i.position.y);
    let (low, high) = heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), h| {
        (a.min(h), b.max(h))
    });
    [low, high]
}

#[test]
fn a_mesh_given_in_code_is_laid_on_ground_given_in_code() {
    let mut session = Session::open("");
    session.supply("own", block([0.05, 0.03, 0.04]));
    session.supply("floor", floor(0.3));
    let ground = Ground {
        terrain: GroundShape::Mesh(GroundMesh::new("floor")),
        ..Ground::default()
    };
    let brief = brief()
        .on(ground)
        .pass("own", strewn(Place::Packed { roll: 0.5 }));
    let first = dress(&mut session, &brief).unwrap();
    assert!(first.instances.len() > 50, "{}", first.instances.len());
    let [low, high] = heights(&first);
    assert!(low > 0.24 && high < 0.37, "heights from {low} to {high}");

    // Given anew, the meshes are taken anew
    session.supply("floor", floor(0.1));
    let lower = dress(&mut session, &brief).unwrap();
    let [low, high] = heights(&lower);
    assert!(low > 0.04 && high < 0.17, "heights from {low} to {high}");
    session.supply("own", block([0.05, 0.03, 0.02]));
    let thinner = dress(&mut session, &brief).unwrap();
    assert_ne!(lower.instances, thinner.instances);
    let mut fresh = Session::open("");
    fresh.supply("own", block([0.05, 0.03, 0.02]));
    fresh.supply("floor", floor(0.1));
    assert_eq!(
        dress(&mut fresh, &brief).unwrap().instances,
        thinner.instances
    );
}

/// What a pass says of how its pieces lie holds for meshes given in code, and not for what is grown.
#[test]
fn a_pass_says_how_meshes_given_in_code_lie() {
    let mut session = Session::open("");
    session.supply("own", block([0.05, 0.03, 0.04]));
    for lies in [Lies::Rigid, Lies::Sheet, Lies::Rooted] {
        let mut pass = strewn(Place::Strewn);
        pass.pieces.push("pebble".to_owned());
        pass.lies = Some(lies);
        let layout = dress(&mut session, &brief().pass("own", pass)).unwrap();
        let of = |name: &str| {
            let mut pieces = layout.pieces.iter();
            pieces.find(|p| p.name.starts_with(name)).unwrap().lies
        };
        assert_eq!(of("own"), lies);
        assert_eq!(of("pebble"), Lies::Rigid);
    }
}

#[test]
fn a_mesh_given_in_code_can_be_pinned() {
    let mut session = Session::open("");
    session.supply("own", block([0.05, 0.03, 0.04]));
    let mut brief = brief();
    let pin = Pin {
        piece: "own".to_owned(),
        at: [0.05, 0.02],
        diameter: 0.04,
        heading: 0.3,
        bury: 0.1,
    };
    brief
        .layers
        .push(Layer::new("pins", LayerKind::Pins(vec![pin])));
    let layout = dress(&mut session, &brief).unwrap();
    assert_eq!(layout.instances.len(), 1);
    let at = layout.instances[0].position;
    assert!((at.x - 0.05).hypot(at.z - 0.02) < 0.05, "{at}");
}

/// What can't be packed is told with its reason.
#[test]
fn what_does_not_roll_is_not_packed() {
    let reasons = [
        (block([0.05, 0.03, 0.04]), Some(Lies::Sheet), "a sheet"),
        (block([0.05, 0.03, 0.04]), Some(Lies::Rooted), "rooted"),
        (floor(0.0), None, "a sheet"),
        (block([0.5, 0.03, 0.03]), None, "too slim"),
    ];
    for (mesh, lies, reason) in reasons {
        let mut session = Session::open("");
        session.supply("own", mesh);
        let mut pass = strewn(Place::Packed { roll: 0.5 });
        pass.lies = lies;
        let error = dress(&mut session, &brief().pass("own", pass)).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Input);
        let told = error.to_string();
        assert!(told.contains("`own` can't be packed"), "{told}");
        assert!(told.contains(reason), "{told}");
    }
}

#[test]
fn a_name_that_stands_for_nothing_is_told() {
    let mut session = Session::open("");
    let brief = brief().pass("own", strewn(Place::Strewn));
    let error = dress(&mut session, &brief).unwrap_err();
    assert!(error.to_string().contains("\"own\""), "{error}");
}

#[test]
#[ignore]
fn junk() {
    for k in 0..14 {
        let r = std::panic::catch_unwind(|| {
            let mut session = Session::open("");
            session.supply("own", block([0.05, 0.03, 0.04]));
            let mut p = strewn(Place::Packed { roll: 0.5 });
            let mut b = brief();
            match k {
                0 => p.amount = Amount::Cover(f64::NAN),
                1 => p.amount = Amount::Cover(5.0),
                2 => p.pieces.clear(),
                3 => p.sizes = SizeLaw::power(2.0, 0.05, 0.02),
                4 => p.sizes = SizeLaw::power(2.0, 0.0, 0.02),
                5 => p.sizes = SizeLaw::power(2.0, -1.0, f64::INFINITY),
                6 => p.place = Place::Packed { roll: 7.0 },
                7 => p.place = Place::Packed { roll: f64::NAN },
                8 => b.cameras.clear(),
                9 => {
                    b = Brief::new(
                        "x",
                        Camera::looking("close", [0.0; 3], [0.0; 3], 0.035, [0, 0]),
                    )
                }
                10 => {
                    b = Brief::new(
                        "x",
                        Camera::looking("close", [0.0, 1.0, 0.0], [0.0; 3], f64::NAN, [100, 100]),
                    )
                }
                11 => b = b.pass("own", p.clone()),
                12 => p.amount = Amount::PerSquareMetre(1e30),
                _ => {
                    b = Brief::new(
                        "x",
                        Camera::looking("close", [0.0, 1.0, 0.0], [0.0; 3], 0.035, [100, 100]),
                    )
                }
            }
            let b = b.pass("own", p);
            dress(&mut session, &b).map(|l| l.instances.len())
        });
        println!("{k}: {:?}", r.map_err(|_| "PANIC"));
    }
}
