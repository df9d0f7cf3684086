//! Dappled light, measured by rays to the sun's disc against the casters as they are delivered (parry3d, Dimforge, 2025, as the judge of
//! what a ray meets). Nothing here uses the library's own picture of the canopy.

#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::f64::consts::TAU;
use std::path::{Path, PathBuf};

use glam::{DQuat, DVec3, Quat};
use parry3d::math::Vector;
use parry3d::query::{Ray, RayCast};
use parry3d::shape::{TriMesh, TriMeshFlags};
use rayon::prelude::*;
use scatter::layout::{Dressed, Dresser, Layout};
use scatter::optics::Camera;
use scatter::random::stream;
use scatter::shot::Shot;
use scatter_tests::bad_input::cases;
use serde_json::{Value, json};

/// Angular radius of the sun, radians: 1923 arc seconds across, the mean of 1999 (1891 to 1955 over the year).
const SUN_RADIUS: f64 = 0.5 * 1923.0 / 3600.0 * TAU / 360.0;

fn examples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/orchard-pot")
}

/// A close camera on a plane, with a shade.
fn shot(shade: &Value, elevation: f64) -> Value {
    json!({
        "shot": "dapple", "take": 3,
        "cameras": [{ "name": "close", "at": [0, 0.45, 1.15], "toward": [0, 0.05, 0], "lens": "50 mm", "frame": [1920, 1080], "far": "40 m" }],
        "light": { "sun": { "azimuth": "150 deg", "elevation": elevation } },
        "shade": shade
    })
}

fn dress(document: &Value) -> (Shot, Dressed) {
    let shot = Shot::parse(&document.to_string(), Path::new("shot.json")).expect("a good shot");
    let dresser = Dresser::new(&shot, &examples()).expect("a shot to dress");
    let dressed = dresser.dress(shot.take, &|_| {}).expect("a layout");
    (shot, dressed)
}

/// The casters as the judge sees them.
struct Judge {
    meshes: Vec<TriMesh>,
    casters: Vec<Placed>,
    sun: DVec3,
}

struct Placed {
    mesh: usize,
    position: DVec3,
    rotation: DQuat,
    scale: f64,
    middle: DVec3,
    radius: f64,
}

impl Judge {
    fn new(layout: &Layout, shot: &Shot) -> Self {
        let meshes: Vec<TriMesh> = layout
            .pieces
            .iter()
            .map(|piece| {
                let mut points = Vec::new();
                let mut triangles = Vec::new();
                for part in &piece.parts {
                    let first = points.len() as u32;
                    let p = part.mesh.positions.iter();
                    points.extend(p.map(|p| Vector::new(p.x, p.y, p.z)));
                    let t = part.mesh.indices.chunks_exact(3);
                    triangles.extend(t.map(|t| [t[0] + first, t[1] + first, t[2] + first]));
                }
                TriMesh::with_flags(points, triangles, TriMeshFlags::empty()).expect("a mesh")
            })
            .collect();
        let shade = layout
            .passes
            .iter()
            .position(|p| p.name == "shade")
            .expect("a shade pass");
        let casters = layout
            .instances
            .iter()
            .filter(|i| usize::from(i.pass) == shade)
            .map(|i| {
                let rotation = Quat::from_array(i.rotation).as_dquat().normalize();
                let scale = f64::from(i.scale);
                let (low, high) = layout.pieces[usize::from(i.piece)]
                    .parts
                    .iter()
                    .flat_map(|p| &p.mesh.positions)
                    .fold((DVec3::INFINITY, DVec3::NEG_INFINITY), |(l, h), p| {
                        (l.min(p.as_dvec3()), h.max(p.as_dvec3()))
                    });
                Placed {
                    mesh: usize::from(i.piece),
                    position: i.position,
                    rotation,
                    scale,
                    middle: i.position + rotation * (0.5 * (low + high) * scale),
                    radius: 0.5 * (high - low).length() * scale,
                }
            })
            .collect();
        let [azimuth, elevation] = shot.light.direction();
        let sun = DVec3::new(
            elevation.cos() * azimuth.sin(),
            elevation.sin(),
            -elevation.cos() * azimuth.cos(),
        );
        Self {
            meshes,
            casters,
            sun,
        }
    }

    /// Casters that may hide some of the sun from a place.
    fn near(&self, place: DVec3) -> Vec<&Placed> {
        self.casters
            .iter()
            .filter(|c| {
                let to = c.middle - place;
                let along = to.dot(self.sun);
                let aside = (to - self.sun * along).length();
                along > -c.radius && aside < c.radius + along.abs() * 1.1 * SUN_RADIUS
            })
            .collect()
    }

    /// Share of the sun's disc that is free from a place, by `rays` rays.
    fn light(&self, place: DVec3, rays: u32) -> f64 {
        let near = self.near(place);
        if near.is_empty() {
            return 1.0;
        }
        let u = self.sun.any_orthonormal_vector();
        let v = self.sun.cross(u);
        let free = (0..rays).filter(|k| {
            // The sunflower's spiral fills a disc evenly (Vogel, "A better way to construct the sunflower head", 1979)
            let r = SUN_RADIUS * ((f64::from(*k) + 0.5) / f64::from(rays)).sqrt();
            let turn = f64::from(*k) * 2.399_963_229_728_653;
            let way = (self.sun + (u * turn.cos() + v * turn.sin()) * r.tan()).normalize();
            !near.iter().any(|c| self.meets(c, place, way))
        });
        free.count() as f64 / f64::from(rays)
    }

    fn meets(&self, c: &Placed, place: DVec3, way: DVec3) -> bool {
        let back = c.rotation.conjugate();
        // From beside the caster: single precision is enough there
        let skip = ((c.middle - place).dot(way) - 1.1 * c.radius).max(0.0);
        let from = back * (place + way * skip - c.position) / c.scale;
        let way = back * way;
        let vector = |v: DVec3| Vector::new(v.x as f32, v.y as f32, v.z as f32);
        let ray = Ray::new(vector(from), vector(way));
        self.meshes[c.mesh].intersects_local_ray(&ray, f32::MAX)
    }
}

/// Where a place falls in a camera's picture, both from -1 to 1, if before the lens and within the far limit.
fn in_frame(camera: &Camera, place: DVec3) -> bool {
    let q = camera.rotation.conjugate() * (place - camera.position);
    let depth = -q.z;
    let tall = (0.5 * camera.yfov).tan() * depth;
    let wide = tall * f64::from(camera.frame[0]) / f64::from(camera.frame[1]);
    depth > camera.near && depth < camera.far && q.x.abs() < wide && q.y.abs() < tall
}

/// Places spread evenly over the framed ground of the plane y = 0, drawn from a stream.
fn framed(camera: &Camera, count: usize, seed: u64) -> Vec<DVec3> {
    let mut draws = stream(seed);
    let mut places = Vec::new();
    while places.len() < count {
        let place = DVec3::new(draws.between(-4.0, 4.0), 0.0, draws.between(-8.0, 2.0));
        if in_frame(camera, place) {
            places.push(place);
        }
    }
    places
}

/// Ground under the middles of pixels spread evenly over the picture.
fn seen(camera: &Camera, across: u32) -> Vec<DVec3> {
    let down = across * 9 / 16;
    let tall = (0.5 * camera.yfov).tan();
    let mut places = Vec::new();
    for i in 0..across * down {
        let x = (2.0 * f64::from(i % across) + 1.0) / f64::from(across) - 1.0;
        let y = (2.0 * f64::from(i / across) + 1.0) / f64::from(down) - 1.0;
        let way = camera.rotation * DVec3::new(x * tall * 16.0 / 9.0, y * tall, -1.0);
        if way.y < 0.0 {
            places.push(camera.position - way * (camera.position.y / way.y));
        }
    }
    places
}

/// Mean share of the sun's disc that is free over some places.
fn mean_light(judge: &Judge, places: &[DVec3]) -> f64 {
    let sum: f64 = places.par_iter().map(|p| judge.light(*p, 10)).sum();
    sum / places.len() as f64
}

/// The lit share is the share of the sun's disc that is free, meant over the area of the framed ground. What the project asks of itself: within 2
/// points of what is asked between 5 % and 60 %. 10,000 places of stream 5: half a point at most of it is the sample's (standard error).
#[test]
fn the_lit_share_is_as_asked() {
    for elevation in [24.0, 50.0] {
        for lit in [0.05, 0.15, 0.3, 0.45, 0.6] {
            let document = shot(
                &json!({ "lit": lit, "fleck": "60 mm", "softness": "20 mm" }),
                elevation,
            );
            let (shot, dressed) = dress(&document);
            let seconds = dressed
                .stages
                .iter()
                .find(|s| s.name == "shade")
                .map_or(0.0, |s| s.seconds);
            let layout = &dressed.layout;
            let judge = Judge::new(layout, &shot);
            let by_area = mean_light(&judge, &framed(&layout.cameras[0], 10_000, 5));
            let by_picture = mean_light(&judge, &seen(&layout.cameras[0], 96));
            let tally = &layout.passes[0].tally;
            let figures = tally.shade.expect("figures");
            println!(
                "elevation {elevation}, lit {lit}: {by_area:.4} by area, {by_picture:.4} by picture; {} casters, {seconds:.2} s, {figures:?}, refused {:?}",
                judge.casters.len(),
                tally.refused
            );
            assert!(
                (by_area - lit).abs() < 0.02,
                "{by_area:.4} of the framed ground is lit, asked {lit}, at {elevation} deg"
            );
            assert!(
                (figures.lit[1] - by_area).abs() < 0.015,
                "reported {}, measured {by_area}",
                figures.lit[1]
            );
            assert!(
                (figures.fleck[1] / 0.06 - 1.0).abs() < 0.15,
                "flecks of {} m",
                figures.fleck[1]
            );
        }
    }
}

/// Mean width of flecks along lines square to the sun's azimuth, a line transect as for sunflecks on a forest floor (Ross and Mottus,
/// "Statistical treatment of umbra length inside willow coppice", 2000, read such transects with a sensor; the rule that half of the disc makes
/// a fleck is ours).
#[test]
fn flecks_are_as_wide_as_asked() {
    for (lit, fleck) in [(0.15, 0.06), (0.35, 0.06), (0.35, 0.11), (0.5, 0.05)] {
        let document = shot(
            &json!({ "lit": lit, "fleck": fleck, "softness": "15 mm" }),
            40.0,
        );
        let (shot, dressed) = dress(&document);
        let judge = Judge::new(&dressed.layout, &shot);
        let camera = &dressed.layout.cameras[0];
        let across = DVec3::Y.cross(judge.sun).normalize();
        // Steps of a tenth of a fleck: what is narrower than a step is seen as often as its width
        let step = 0.1 * fleck;
        let begins: Vec<DVec3> = framed(camera, 60, 9);
        let counts: Vec<[u32; 2]> = begins
            .par_iter()
            .map(|begin| {
                let places = (0..400).map(|i| *begin + across * (step * f64::from(i - 200)));
                let line: Vec<bool> = places
                    .filter(|p| in_frame(camera, *p))
                    .map(|p| judge.light(p, 24) >= 0.5)
                    .collect();
                let flecks = line.windows(2).filter(|w| w[1] && !w[0]).count();
                [line.iter().filter(|l| **l).count() as u32, flecks as u32]
            })
            .collect();
        let sum = |k: usize| counts.iter().map(|c| f64::from(c[k])).sum::<f64>();
        let width = step * sum(0) / sum(1);
        println!(
            "lit {lit}, flecks of {fleck} asked: {width:.4} m over {} flecks",
            sum(1)
        );
        // Some 300 flecks of widths that vary as much as themselves: 6 % of error, three times that
        assert!(
            (width / fleck - 1.0).abs() < 0.2,
            "flecks of {width:.4} m, asked {fleck}"
        );
    }
}

/// Share of a disc of the sun's angular radius that a test on a plane leaves free, for a place on a ground square to the rays, `distance` below.
fn through(place: [f64; 2], distance: f64, free: &dyn Fn([f64; 2]) -> bool) -> f64 {
    const RAYS: u32 = 4000;
    let count = (0..RAYS).filter(|k| {
        let r = distance * SUN_RADIUS.tan() * ((f64::from(*k) + 0.5) / f64::from(RAYS)).sqrt();
        let turn = f64::from(*k) * 2.399_963_229_728_653;
        free([place[0] + r * turn.cos(), place[1] + r * turn.sin()])
    });
    count.count() as f64 / f64::from(RAYS)
}

/// The width of the edge that a straight border casts from the distance at which the casters are delivered: within 5 % of distance / 107.5 (the
/// fraction 1/108 in The Physics Teacher 62, A543, 2024; 1/107.3 by the sun's mean diameter), and of the softness asked.
#[test]
fn edges_are_as_soft_as_asked() {
    for (softness, elevation) in [(0.01, 60.0), (0.02, 24.0), (0.06, 45.0)] {
        let (shot, dressed) = dress(&shot(
            &json!({ "lit": 0.35, "fleck": "80 mm", "softness": softness }),
            elevation,
        ));
        let judge = Judge::new(&dressed.layout, &shot);
        let distances: Vec<f64> = judge
            .casters
            .iter()
            .map(|c| c.middle.y / judge.sun.y)
            .collect();
        let distance = distances.iter().sum::<f64>() / distances.len() as f64;
        // From the first to the last place that sees part of the sun past the border
        let light = |x: f64| through([x, 0.0], distance, &|p| p[0] > 0.0);
        let step = softness / 400.0;
        let soft = (-400..400)
            .filter(|i| (0.001..0.999).contains(&light(f64::from(*i) * step)))
            .count();
        let width = soft as f64 * step;
        println!(
            "softness {softness}: {distance:.3} m, edge of {width:.5} m, {:.5} by 1/107.5",
            distance / 107.5
        );
        assert!(
            (width / (distance / 107.5) - 1.0).abs() < 0.05,
            "{width} at {distance} m"
        );
        assert!(
            (width / softness - 1.0).abs() < 0.05,
            "{width} of {softness}"
        );
        let farthest = distances
            .iter()
            .map(|d| (d / distance - 1.0).abs())
            .fold(0.0, f64::max);
        assert!(
            farthest < 0.01,
            "casters hang {farthest} off their mean distance on a plane"
        );
    }
}

/// A round gap's light by its width over its distance, with the sun's disc: Smith, Knapp and Reiners, "Penumbral effects on sunlight penetration in
/// plant communities", 1989: at 0.05 it spreads to 1.2 times the diameter and is mostly full sun; under 0.01 the lit area spreads nearly sixfold.
/// By geometry the lit diameter is gap + distance x 0.0093, so sixfold is reached at 0.0064, and 3.7 at 0.01 itself: "below 0.01" holds.
#[test]
fn a_gap_spreads_as_published() {
    let distance = 3.0;
    let spread = |ratio: f64| {
        let radius = 0.5 * ratio * distance;
        let edge = |least: f64| {
            let lit = |x: f64| through([x, 0.0], distance, &|p| p[0].hypot(p[1]) < radius) >= least;
            let (mut inside, mut outside) = (0.0, radius + distance * 0.01);
            if !lit(0.0) {
                return 0.0;
            }
            for _ in 0..40 {
                let middle = 0.5 * (inside + outside);
                if lit(middle) {
                    inside = middle
                } else {
                    outside = middle
                }
            }
            inside
        };
        // Lit at all, and in full sun, over the gap
        [edge(2.5e-4) / radius, edge(0.9999) / radius]
    };
    let [any, full] = spread(0.05);
    println!("gap / distance 0.05: diameter x {any:.3}, full sun over {full:.3} of it");
    assert!((any - 1.2).abs() < 0.03, "{any}");
    assert!(full > 0.8, "{full}");
    let [any, full] = spread(0.0064);
    println!(
        "gap / distance 0.0064: area x {:.2}, full sun {full:.3}",
        any * any
    );
    assert!((any * any - 6.0).abs() < 0.3, "{}", any * any);
    assert!(full == 0.0, "{full}");
    let [any, full] = spread(0.01);
    println!(
        "gap / distance 0.01: area x {:.2}, full sun over {full:.3} of the gap",
        any * any
    );
    assert!(
        (any * any - 3.73).abs() < 0.15 && full < 0.1,
        "{any} {full}"
    );
}

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

type Bits = (u64, [u64; 3], [u32; 4], u32, u16);

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
fn on_heroes(dresser: &Dresser<'_>) -> Vec<DVec3> {
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
        let layout = dresser.dress(shot.take, &|_| {}).expect("a layout").layout;
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
    assert!(lit.3.refused.iter().any(|(reason, _)| reason == "hero"));
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

/// Against the sun, under low leaves: those in the frame are left out and told of, and no corner of any other is in it.
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
        .find(|(reason, _)| reason == "in-frame")
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
    // Some framed place up to a span above the ground lies in each one's shadow, by its bounding ball
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
    assert!(shaded.layout.instances[count..].iter().all(|i| i.pass == 1));
    assert!(shaded.layout.instances.len() > count);
}

/// The cases of `tests/bad-input` that ask for shade, without the command: each fault names its place and what would be right.
#[test]
fn bad_shade_is_refused() {
    let cases = cases().into_iter().filter(|c| c.name.starts_with("shade-"));
    let mut tried = 0;
    for case in cases {
        tried += 1;
        let text = String::from_utf8(case.shot()).expect("text");
        let refused = Shot::parse(&text, Path::new("shot.json")).and_then(|shot| {
            let dresser = Dresser::new(&shot, &examples())?;
            dresser.dress(shot.take, &|_| {}).map(|_| ())
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
