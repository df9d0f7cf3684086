//! Briefs and meshes built in code: meshes as pieces, pins and ground, how they lie, what is told of
//! faults.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use glam::Vec3;

use scatter::brief::{
    Amount, Brief, Clearing, Field, Ground, GroundMesh, GroundShape, Hero, Layer, LayerIndex,
    LayerKind, Lies, Mask, MaskPlacement, Pass, Pin, Place, Related, RelationKind, RelationTarget,
    Smallest,
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

/// Numbers that no document can hold, or that its check refuses, and references to nothing: each is
/// told by the path of its field, before anything is made.
#[test]
#[expect(clippy::too_many_lines, reason = "a list of faults")]
fn faults_of_a_brief_are_told() {
    type Edit = fn(&mut Brief);
    fn pass(brief: &mut Brief) -> &mut Pass {
        let LayerKind::Pass(pass) = &mut brief.layers[0].kind else {
            unreachable!("the first layer is a pass");
        };
        pass
    }
    fn lens(brief: &mut Brief) -> &mut Camera {
        let scatter::brief::Camera::Known(track) = &mut brief.cameras[0] else {
            unreachable!("the camera is known");
        };
        &mut track.frames[0]
    }
    let edits: [(&str, Edit); 36] = [
        ("name", |b| b.name.clear()),
        ("cameras", |b| b.cameras.clear()),
        ("cameras[1].name", |b| b.cameras.push(b.cameras[0].clone())),
        ("cameras[0].frames[0].position[1]", |b| {
            lens(b).position.y = f64::NAN;
        }),
        ("cameras[0].frames[0].rotation", |b| {
            lens(b).rotation = lens(b).rotation * 2.0;
        }),
        ("cameras[0].frames[0].yfov", |b| lens(b).yfov = 3.2),
        ("cameras[0].frames[0].frame[1]", |b| lens(b).frame[1] = 0),
        ("cameras[0].frames[0].near", |b| lens(b).near = 0.0),
        ("cameras[0].frames[0].far", |b| lens(b).far = f64::NAN),
        ("cameras[0].frames[0].focal_length", |b| {
            lens(b).focal_length = -0.05;
        }),
        ("cameras[0].frames[0].focus", |b| {
            lens(b).focus = Some(0.01);
        }),
        ("ground.extent[1]", |b| b.ground.extent = Some([1.0, 0.0])),
        ("ground.terrain.tilt", |b| {
            b.ground.terrain = GroundShape::Plane {
                tilt: 1.5,
                toward: 0.0,
            };
        }),
        ("ground.terrain.scale", |b| {
            let mut mesh = GroundMesh::new("own");
            mesh.scale = f64::INFINITY;
            b.ground.terrain = GroundShape::Mesh(mesh);
        }),
        ("heroes[0].at[2]", |b| {
            let mut hero = Hero::new("own");
            hero.at[2] = 1e9;
            b.heroes.push(hero);
        }),
        ("light.direction[1]", |b| b.light.direction[1] = 0.0),
        ("resolve.pixels", |b| b.resolve.pixels = 0.0),
        ("budget", |b| b.budget.pieces = 0),
        ("layers[1].name", |b| b.layers.push(b.layers[0].clone())),
        ("layers[1]", |b| {
            let mut again = b.layers[0].clone();
            again.name = "again".to_owned();
            b.layers
                .insert(0, Layer::new("pins", LayerKind::Pins(Vec::new())));
            b.layers[1] = again;
        }),
        ("layers[0].pieces", |b| pass(b).pieces.clear()),
        ("layers[0].amount", |b| {
            pass(b).amount = Amount::Cover(f64::NAN)
        }),
        ("layers[0].amount", |b| pass(b).amount = Amount::Cover(5.0)),
        ("layers[0].amount", |b| {
            pass(b).amount = Amount::PerSquareMetre(1e30);
        }),
        ("layers[0].sizes", |b| {
            pass(b).sizes = SizeLaw::power(2.0, 0.05, 0.02);
        }),
        ("layers[0].sizes", |b| {
            pass(b).sizes = SizeLaw::power(2.0, 0.0, 0.02);
        }),
        ("layers[0].sizes", |b| {
            pass(b).sizes = SizeLaw::power(f64::NAN, 0.01, 0.02);
        }),
        ("layers[0].sizes", |b| {
            pass(b).sizes = SizeLaw::lognormal(-1.0, 0.2, 0.01, 0.02);
        }),
        ("layers[0].sizes", |b| {
            pass(b).sizes = SizeLaw::power(2.0, 1e-5, 1.0);
        }),
        ("layers[0].place.roll", |b| {
            pass(b).place = Place::Packed { roll: f64::NAN };
        }),
        ("layers[0].apart", |b| pass(b).apart = 0.0),
        ("layers[0].mix", |b| pass(b).mix = Some("bar".to_owned())),
        ("layers[0].rest.bury", |b| pass(b).rest.bury = [0.5, 0.1]),
        ("layers[0].fields[0].to", |b| {
            pass(b).fields.push(Field::Related(Related {
                manner: RelationKind::ClearOf,
                to: RelationTarget::Pass(LayerIndex::of(0)),
                within: 0.0,
                smallest: Smallest::default(),
            }));
        }),
        ("layers[0].fields[0].placement", |b| {
            pass(b).fields.push(Field::Mask(Mask {
                file: "mask.png".to_owned(),
                placement: MaskPlacement::Frame("another".to_owned()),
                black: 0.0,
                white: 1.0,
                outside: 1.0,
            }));
        }),
        ("layers[0].clear[0].radius", |b| {
            pass(b).clear.push(Clearing::Disc {
                at: [0.0; 2],
                radius: f64::INFINITY,
            });
        }),
    ];
    let whole = brief().pass("own", strewn(Place::Spaced));
    assert!(whole.check().is_ok());
    for (place, edit) in edits {
        let mut brief = whole.clone();
        edit(&mut brief);
        let mut session = Session::open("");
        session.supply("own", block([0.05, 0.03, 0.04]));
        let error = dress(&mut session, &brief).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Input, "{place}: {error}");
        let places: Vec<&str> = error.faults.iter().map(|f| f.place.as_str()).collect();
        assert!(places.contains(&place), "{place}: {error}");
    }
}
