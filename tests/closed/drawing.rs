//! The label image of a layout, cover from above, and what lies on what.

use std::f64::consts::PI;
use std::path::Path;
use std::sync::Arc;

use glam::{DQuat, DVec3};
use scatter::brief::LayerIndex;
use scatter::kit::PieceIndex;
use scatter::kit::{Kind, Piece, grow};
use scatter::layout::{Instance, Layout, PassRecord, Tally};
use scatter::random::stream;
use scatter::shot::Preset;
use scatter_tests::closed::cover::covers;
use scatter_tests::closed::lying::{hidden, lying_on_large, top};
use scatter_tests::closed::take::{Look, Stones, whole_stones};
use scatter_tests::closed::{Seen, Window, measure};
use scatter_tests::dresser::Dresser;

use crate::near;

fn layout(pieces: Vec<Piece>, instances: Vec<Instance>) -> Layout {
    let pass = |name: &str| PassRecord {
        name: name.to_owned(),
        tone: None,
        tally: Tally {
            cover: 0.25,
            ..Tally::default()
        },
    };
    Layout {
        shot: "by hand".to_owned(),
        take: 1,
        cameras: Vec::new(),
        pieces: Arc::new(pieces),
        passes: vec![pass("stones"), pass("leaves")],
        instances,
        ..Layout::default()
    }
}

fn instance(piece: u16, position: DVec3, scale: f64, turn: DQuat) -> Instance {
    Instance {
        id: 0,
        position,
        rotation: turn.as_quat().to_array(),
        scale: scale as f32,
        diameter: scale as f32,
        pass: LayerIndex::new(piece),
        piece: PieceIndex::new(piece),
    }
}

/// Stones and leaves thrown and turned at random, far from the origin. Seed 3.
fn thrown(count: usize) -> Layout {
    let mut random = stream(3);
    let mut instances = Vec::new();
    for _ in 0..count {
        let place = DVec3::new(
            500.0 + random.between(-0.03, 0.03),
            random.between(-0.004, 0.01),
            -70.0 + random.between(-0.03, 0.03),
        );
        let axis = DVec3::new(random.normal(), random.normal(), random.normal()).normalize();
        let turn = DQuat::from_axis_angle(axis, random.between(0.0, PI));
        let piece = u16::from(random.unit() < 0.3);
        instances.push(instance(piece, place, random.between(0.2, 1.0), turn));
    }
    layout(vec![grow(Kind::Pebble, 1), grow(Kind::Leaf, 2)], instances)
}

/// The highest surface at each pixel's centre, each instance asked by itself.
#[test]
fn the_topmost_piece_is_seen_at_every_pixel() {
    let layout = thrown(45);
    let window = Window::about([500.0, -70.0], 48, 1.3e-3);
    let ground = |x: f64, z: f64| 2e-3 * (libm::sin(300.0 * x) + libm::cos(200.0 * z));
    let seen = Seen::draw(&layout, window, ground, |_| true);
    let mut kinds = [0; 3];
    for k in 0..window.pixels() {
        let place = window.place(k);
        let mut best = (ground(place[0], place[1]), 0);
        let mut runner_up = f64::NEG_INFINITY;
        for (i, other) in layout.instances.iter().enumerate() {
            let Some(y) = top(&layout, other, place) else {
                continue;
            };
            if y > best.0 {
                runner_up = best.0;
                best = (y, i as u32 + 1);
            } else {
                runner_up = runner_up.max(y);
            }
        }
        // Heights are kept in single precision
        if best.0 - runner_up > 1e-8 {
            assert_eq!(seen.top[k], best.1, "pixel {k} at {place:?}");
        }
        let of = best.1 as usize;
        kinds[of.min(1)
            + usize::from(of > 0 && layout.instances[of - 1].piece == PieceIndex::new(1))] += 1;
    }
    assert!(
        kinds.iter().all(|n| *n > 50),
        "ground, stones, leaves: {kinds:?}"
    );
    // Leaves hide and are no labels
    let labels = seen
        .labels(&layout, |i| Stones::Grown.holds(&layout, i))
        .labels;
    let stones = labels.iter().filter(|l| **l > 0).count();
    assert_eq!(stones, kinds[1]);
    let by_pass = Stones::Passes(vec!["stones".to_owned()]);
    assert_eq!(
        seen.labels(&layout, |i| by_pass.holds(&layout, i)).labels,
        labels
    );
}

/// The plan area that a piece is measured with is the one that is drawn; two passes' union counts
/// no ground twice.
#[test]
fn cover_is_that_of_the_silhouettes() {
    let pebble = grow(Kind::Pebble, 4);
    let (b, fill) = (pebble.measure.b_axis, pebble.measure.plan_fill);
    let scale = 0.03 / b;
    let at = |x: f64, y: f64| DVec3::new(x, y, 0.0);
    let stone = |piece: u16, x: f64, y: f64| instance(piece, at(x, y), scale, DQuat::IDENTITY);
    let area = fill * 0.03 * 0.03 / (0.2 * 0.2);
    let window = Window::about([0.0; 2], 400, 0.5e-3);
    let apart = layout(
        vec![pebble.clone(), pebble.clone()],
        vec![stone(0, -0.05, 0.0), stone(1, 0.05, 0.0)],
    );
    let (passes, union) = covers(&apart, &[window], |_, _| -1.0, |_| true);
    for pass in &passes {
        assert_eq!(pass.reported, 0.25);
        near(&pass.name, pass.alone, area, 0.01 * area);
        near(&pass.name, pass.seen, area, 0.01 * area);
    }
    near("union", union, 2.0 * area, 0.02 * area);
    // One over the other
    let over = layout(
        vec![pebble.clone(), pebble],
        vec![stone(0, 0.0, 0.0), stone(1, 0.0, 0.03)],
    );
    let (passes, union) = covers(&over, &[window], |_, _| -1.0, |_| true);
    near("union", union, area, 0.01 * area);
    assert_eq!(passes[0].seen, 0.0);
    near("seen", passes[1].seen, area, 0.01 * area);
    // Under the ground
    let (_, union) = covers(&over, &[window], |_, _| 1.0, |_| true);
    assert_eq!(union, 0.0);
}

#[test]
fn a_stone_lies_on_another_if_that_is_under_its_middle() {
    let cobble = grow(Kind::Cobble, 2);
    let height = f64::from(cobble.measure.size.y);
    let stones = |small: &[DVec3]| {
        let mut instances = vec![instance(0, DVec3::ZERO, 1.0, DQuat::IDENTITY)];
        for place in small {
            instances.push(instance(0, *place, 0.1, DQuat::IDENTITY));
        }
        layout(vec![cobble.clone()], instances)
    };
    let on = DVec3::new(0.0, height, 0.0);
    let beside = DVec3::new(0.3, 0.0, 0.0);
    let under = DVec3::new(0.0, -0.2 * height, 0.0);
    let laid = stones(&[on, beside, under]);
    let lying =
        |asked: &[usize], ground: f64| lying_on_large(&laid, asked, move |_, _| ground, |_| true);
    assert_eq!(
        [lying(&[1], 0.0), lying(&[2], 0.0), lying(&[3], 0.0)],
        [1, 0, 0]
    );
    assert_eq!(lying(&[0, 1, 2, 3], 0.0), 1);
    // What is under the large one is not seen
    let window = Window::about([0.15, 0.0], 300, 2e-3);
    let seen = Seen::draw(&laid, window, |_, _| -1.0, |_| true);
    assert_eq!(hidden(&laid, &seen, |_| true), [3]);
    // The large one all under the ground bears nothing that is seen
    assert_eq!(lying(&[1], 1.05 * height), 0);
    assert_eq!(lying_on_large(&laid, &[1], |_, _| 0.0, |_| false), 0);
}

/// A preset from above: every pixel of the windows is in the camera's frame, stones are found, and
/// drawing takes a part of a second.
#[test]
fn a_preset_is_dressed_for_an_eye_straight_above() {
    let preset = Preset::find("river-gravel").unwrap().shot("above");
    let look = Look {
        side: 256,
        windows: 2,
        ..Look::default()
    };
    let down = look.down(&preset, Path::new(".")).unwrap();
    let windows = look.windows(&preset);
    let camera = down.cameras[0].optics();
    let dresser = Dresser::new(&down, Path::new(".")).unwrap();
    let height = |x: f64, z: f64| dresser.ground().height(x, z);
    for window in &windows {
        for k in [
            0,
            window.width - 1,
            window.pixels() - window.width,
            window.pixels() - 1,
        ] {
            let [x, z] = window.place(k);
            let to = DVec3::new(x, height(x, z), z) - camera.position;
            let seen = camera.rotation.inverse() * to;
            let edge = libm::tan(0.5 * camera.yfov) * -seen.z;
            assert!(seen.x.abs() < edge && seen.y.abs() < edge, "{seen}");
        }
    }
    let layout = dresser.dress(1).unwrap().layout;
    for window in windows {
        let seen = Seen::draw(&layout, window, height, |_| true);
        // A second for what takes some hundredths, on a machine that does other work
        let image = seen.labels(&layout, |i| Stones::Grown.holds(&layout, i));
        let figures = measure(&image, look.pixel);
        assert_eq!(figures.stones, whole_stones(&image).len());
        assert!(figures.stones > 5, "{} stones", figures.stones);
    }
}
