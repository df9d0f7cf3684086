//! What hangs where: the same for every camera and thread, never in a frame, nothing in vain.

use std::path::Path;

use glam::{DVec3, Quat};
use rayon::prelude::*;
use scatter::brief::LayerIndex;
use scatter::kit::PieceIndex;
use scatter::layout::{Layout, Refused};
use scatter::shot::Shot;
use scatter_tests::bad_input::cases;
use scatter_tests::dresser::Dresser;
use serde_json::{Value, json};

use crate::judge::{Judge, SUN_RADIUS, dress, examples, framed, in_frame, mean_light, shot};

fn with_cameras(cameras: &[Value]) -> Value {
    let mut document = shot(
        &json!({ "lit": 0.3, "fleck": "70 mm", "softness": "25 mm" }),
        35.0,
    );
    document["ground"] =
        json!({ "relief": { "height": "60 mm", "feature": "1.2 m", "roughness": 0.5 } });
    document["cameras"] = json!(cameras);
    document
}

type Bits = (u64, [u64; 3], [u32; 4], u32, PieceIndex);

fn bits(layout: &Layout) -> Vec<Bits> {
    let of = |i: &scatter::layout::Instance| {
        (
            i.id,
            i.position.to_array().map(f64::to_bits),
            i.rotation.map(f32::to_bits),
            i.scale.to_bits(),
            i.piece,
        )
    };
    let mut all: Vec<Bits> = layout.instances.iter().map(of).collect();
    all.sort_unstable();
    all
}

#[test]
fn a_second_camera_sees_the_same_dapple() {
    let one = json!({ "name": "one", "at": [0, 0.45, 1.15], "toward": [0, 0.05, 0], "lens": "50 mm", "frame": [1920, 1080], "far": "40 m" });
    let two = json!({ "name": "two", "at": [1.1, 0.6, 0.4], "toward": [0.1, 0, -0.2], "lens": "35 mm", "frame": [1000, 1000], "far": "4 m" });
    let [one, two, both] = [vec![one.clone()], vec![two.clone()], vec![one, two]].map(|cameras| {
        let (_, dressed) = dress(&with_cameras(&cameras));
        assert!(
            dressed.layout.passes[0].tally.refused.is_empty(),
            "{:?}",
            dressed.layout.passes[0].tally
        );
        bits(&dressed.layout)
    });
    let mut joined: Vec<Bits> = one.iter().chain(&two).copied().collect();
    joined.sort_unstable();
    joined.dedup();
    let shared = one.len() + two.len() - joined.len();
    println!(
        "{} casters for one camera, {} for the other, {shared} shared, {} for both",
        one.len(),
        two.len(),
        both.len()
    );
    assert!(shared > 100, "the cameras share {shared} casters");
    assert!(
        joined == both,
        "{} casters of one or the other camera, {} of both",
        joined.len(),
        both.len()
    );
}

#[test]
fn any_number_of_threads_hangs_the_same() {
    let document = shot(
        &json!({ "lit": 0.25, "fleck": "60 mm", "softness": "20 mm" }),
        40.0,
    );
    let [one, two, four] = [1, 2, 4].map(|threads| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("threads");
        pool.install(|| {
            let (_, dressed) = dress(&document);
            (
                bits(&dressed.layout),
                dressed.layout.passes[0].tally.clone(),
            )
        })
    });
    assert!(!one.0.is_empty());
    assert!(one == two && two == four);
}

/// World places over a hero's meshes.
fn on_heroes(dresser: &Dresser) -> Vec<DVec3> {
    let heroes = dresser.heroes().iter();
    heroes
        .flat_map(|h| {
            let parts = h.parts.iter().flat_map(|p| &p.mesh.positions);
            parts
                .map(|p| h.world_from_hero.transform_point3(p.as_dvec3()))
                .collect::<Vec<_>>()
        })
        .step_by(41)
        .collect()
}

#[test]
fn the_hero_stays_lit_unless_asked() {
    let mut document = shot(
        &json!({ "lit": 0.3, "fleck": "60 mm", "softness": "20 mm" }),
        35.0,
    );
    document["hero"] = json!([{ "file": "pot.glb", "at": [0, 0, 0], "turn": "20 deg" }]);
    let parsed =
        |d: &Value| Shot::parse(&d.to_string(), Path::new("shot.json")).expect("a good shot");
    let lit = parsed(&document);
    document["shade"]["hero"] = json!("any");
    let any = parsed(&document);
    let [lit, any] = [lit, any].map(|shot| {
        let dresser = Dresser::new(&shot, &examples()).expect("a shot to dress");
        let layout = dresser.dress(shot.take).expect("a layout").layout;
        let judge = Judge::new(&layout, &shot);
        let places = on_heroes(&dresser);
        assert!(places.len() > 200, "{} places on the hero", places.len());
        let light: Vec<f64> = places.par_iter().map(|p| judge.light(*p, 40)).collect();
        let least = light.iter().copied().fold(1.0, f64::min);
        let mean = light.iter().sum::<f64>() / light.len() as f64;
        // Ground that the hero neither stands on nor shades, by its bounding ball
        let middle = places.iter().sum::<DVec3>() / places.len() as f64;
        let radius = places
            .iter()
            .map(|p| p.distance(middle))
            .fold(0.0, f64::max);
        let mut ground = framed(&layout.cameras[0], 10_000, 6);
        ground.retain(|p| {
            let to = middle - *p;
            (to - judge.sun * to.dot(judge.sun)).length() > radius
        });
        let tally = &layout.passes[0].tally;
        println!(
            "hero: {least:.3} least, {mean:.3} mean; ground {:.3}; {:?}",
            mean_light(&judge, &ground),
            tally
        );
        (least, mean, mean_light(&judge, &ground), tally.clone())
    });
    assert!(
        lit.0 >= 1.0,
        "some of the hero has only {:.3} of the sun",
        lit.0
    );
    assert!(
        lit.3
            .refused
            .iter()
            .any(|(reason, _)| *reason == Refused::ShadesHero)
    );
    assert!(
        any.1 < 0.6,
        "{:.3} of the sun falls on a hero that may be dappled",
        any.1
    );
    for (_, _, ground, tally) in [lit, any] {
        let reported = tally.shade.expect("figures").lit[1];
        println!("ground {ground:.3}, reported {reported:.3}");
        assert!(
            (reported - 0.3).abs() < 0.02,
            "{reported} is lit beside the hero"
        );
    }
}

/// Against the sun, under low leaves: those in the frame are left out and told of, and no corner of
/// any other is in it.
#[test]
fn nothing_hangs_in_a_frame() {
    let mut document = shot(
        &json!({ "lit": 0.3, "fleck": "60 mm", "softness": "20 mm" }),
        20.0,
    );
    document["light"]["sun"]["azimuth"] = json!("50 deg");
    document["cameras"][0]["toward"] = json!([0, 0.3, 0]);
    document["cameras"][0]["far"] = json!("8 m");
    let (shot, dressed) = dress(&document);
    let layout = &dressed.layout;
    let tally = &layout.passes[0].tally;
    let left_out = tally
        .refused
        .iter()
        .find(|(reason, _)| *reason == Refused::InFrame)
        .map_or(0, |(_, n)| *n);
    println!(
        "{} casters, {left_out} left out, {:?}",
        tally.placed, tally.shade
    );
    assert!(left_out > 50 && tally.placed > 50, "{tally:?}");
    // To the end of the world: a path tracer knows no far limit
    let mut camera = layout.cameras[0].clone();
    (camera.near, camera.far) = (1e-4, f64::INFINITY);
    for i in &layout.instances {
        let rotation = Quat::from_array(i.rotation).as_dquat();
        for p in layout.pieces[usize::from(i.piece)]
            .parts
            .iter()
            .flat_map(|p| &p.mesh.positions)
        {
            let p = i.position + rotation * (p.as_dvec3() * f64::from(i.scale));
            assert!(
                !in_frame(&camera, p),
                "{:016x} is in the frame at {p}",
                i.id
            );
        }
    }
    // What that costs is told: the report's lit share is the one that is measured
    let judge = Judge::new(layout, &shot);
    let measured = mean_light(&judge, &framed(&layout.cameras[0], 6000, 8));
    let reported = tally.shade.expect("figures").lit[1];
    println!("lit {measured:.3}, reported {reported:.3}");
    assert!((measured - reported).abs() < 0.03, "{measured} {reported}");
}

#[test]
fn every_caster_is_needed() {
    let (shot, dressed) = dress(&shot(
        &json!({ "lit": 0.3, "fleck": "60 mm", "softness": "20 mm" }),
        35.0,
    ));
    let judge = Judge::new(&dressed.layout, &shot);
    let camera = &dressed.layout.cameras[0];
    // Some framed place up to a span above the ground lies in each one's shadow, by its bounding
    // ball
    let useless = judge.casters.iter().filter(|c| {
        let to_ground = c.middle.y / judge.sun.y;
        let spread = c.radius + to_ground * SUN_RADIUS;
        let grid = (-12..=12)
            .flat_map(|i| (-12..=12).map(move |k| (f64::from(i) / 10.0, f64::from(k) / 10.0)));
        let u = judge.sun.any_orthonormal_vector();
        let v = judge.sun.cross(u);
        !grid.clone().any(|(a, b)| {
            let from = c.middle + (u * a + v * b) * spread;
            [0.0, 0.05, 0.1, 0.15, 0.2, 0.25]
                .iter()
                .any(|h| in_frame(camera, from - judge.sun * ((from.y - h) / judge.sun.y)))
        })
    });
    let useless = useless.count();
    println!(
        "{useless} of {} casters shade nothing that is framed",
        judge.casters.len()
    );
    assert!(useless == 0, "{useless}");
}

#[test]
fn without_shade_nothing_changes() {
    let mut document = shot(&Value::Null, 35.0);
    document["passes"] = json!([{ "name": "leaves", "pieces": ["leaf"], "place": "strewn", "per_m2": 60,
        "sizes": { "law": "lognormal", "median": "38 mm", "spread": 0.25 } }]);
    document.as_object_mut().expect("an object").remove("shade");
    let (_, plain) = dress(&document);
    document["shade"] = json!({ "lit": 0.3, "fleck": "60 mm", "softness": "20 mm" });
    let (_, shaded) = dress(&document);
    assert_eq!(plain.layout.passes.len(), 1);
    assert_eq!(shaded.layout.passes[0], plain.layout.passes[0]);
    let count = plain.layout.instances.len();
    assert!(count > 100 && shaded.layout.instances[..count] == plain.layout.instances[..]);
    assert!(
        shaded.layout.instances[count..]
            .iter()
            .all(|i| i.pass == LayerIndex::new(1))
    );
    assert!(shaded.layout.instances.len() > count);
}

/// The cases of `tests/bad-input` that ask for shade, without the command: each fault names its
/// place and what would be right.
#[test]
fn bad_shade_is_refused() {
    let cases = cases().into_iter().filter(|c| c.name.starts_with("shade-"));
    let mut tried = 0;
    for case in cases {
        tried += 1;
        let text = String::from_utf8(case.shot()).expect("text");
        let refused = Shot::parse(&text, Path::new("shot.json")).and_then(|shot| {
            let dresser = Dresser::new(&shot, &examples())?;
            dresser.dress(shot.take).map(|_| ())
        });
        let told = refused.expect_err(&case.name).to_string();
        let words = case.fields["says"].as_array().expect("words");
        for word in words
            .iter()
            .filter_map(Value::as_str)
            .filter(|w| *w != "shot.json")
        {
            assert!(told.contains(word), "{}: no {word:?} in {told}", case.name);
        }
    }
    assert!(tried >= 8, "{tried} cases");
}
