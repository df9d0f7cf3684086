//! Area, axes, solidity and departure from the ellipse.

use std::f64::consts::PI;
use std::fs;

use scatter::random::stream;
use scatter_tests::closed::LabelImage;
use scatter_tests::closed::regions::{Region, regions};
use scatter_tests::tools;
use serde_json::json;

use crate::{image, in_ellipse, near};

fn only(image: &LabelImage) -> Region {
    let mut all = regions(image);
    assert_eq!(all.len(), 1);
    all.remove(0)
}

#[test]
fn ellipses_of_known_axes() {
    for (angle, centre) in [
        (0.0, [64.0, 60.0]),
        (0.4, [64.3, 59.6]),
        (1.9, [63.5, 60.5]),
    ] {
        let drawn = image(128, 120, |x, z| {
            u32::from(in_ellipse([x, z], centre, [40.0, 24.0], angle))
        });
        let stone = only(&drawn);
        near("area", stone.area(), PI * 40.0 * 24.0, 12.0);
        near("long axis", stone.axes[0], 80.0, 0.3);
        near("short axis", stone.axes[1], 48.0, 0.3);
        near("b/a", stone.elongation(), 0.6, 0.005);
        near(
            "diameter",
            stone.diameter(),
            2.0 * (40.0_f64 * 24.0).sqrt(),
            0.2,
        );
        near("column", stone.centroid[0], centre[0], 0.1);
        near("row", stone.centroid[1], centre[1], 0.1);
        let turn = stone.along[0] * libm::cos(angle) + stone.along[1] * libm::sin(angle);
        near("direction", turn.abs(), 1.0, 1e-3);
        // The hull about the middles of the pixels' sides holds some centres just outside: half a
        // pixel along the outline is 2.7% here
        near("solidity", stone.solidity(128), 0.985, 0.015);
        near("off the ellipse", stone.off_ellipse(128), 0.0, 0.01);
        assert!(!stone.is_cut);
    }
}

/// A square of n x n pixels: moments (n^2 - 1)/12, so both axes are 4 sqrt((n^2 - 1)/12); the
/// difference from the disc of radius s / sqrt 3 is four segments that stick out and four corners
/// that are left over.
#[test]
fn a_square_in_closed_form() {
    let stone = only(&image(200, 200, |x, z| {
        u32::from((40.0..140.0).contains(&x) && (50.0..150.0).contains(&z))
    }));
    for axis in stone.axes {
        near("axis", axis, 4.0 * (9999.0 / 12.0_f64).sqrt(), 1e-9);
    }
    near("solidity", stone.solidity(200), 1.0, 1e-12);
    let r = 1.0 / 3.0_f64.sqrt();
    let segment = r * r * libm::acos(0.5 / r) - 0.5 * (r * r - 0.25).sqrt();
    let disc = PI * r * r;
    let difference = 4.0 * segment + (1.0 - (disc - 4.0 * segment));
    near("off the ellipse", stone.off_ellipse(200), difference, 0.004);
}

/// An L of three squares of side s has the area 3 s^2 and the convex area 3.5 s^2.
#[test]
fn an_l_is_six_sevenths_solid() {
    let stone = only(&image(220, 220, |x, z| {
        let [x, z] = [x - 10.0, z - 10.0];
        let inside = x >= 0.0 && z >= 0.0 && x < 200.0 && z < 200.0;
        u32::from(inside && (x < 100.0 || z < 100.0))
    }));
    assert_eq!(stone.area(), 30_000.0);
    near("solidity", stone.solidity(220), 6.0 / 7.0, 0.003);
}

#[test]
fn the_largest_part_is_kept_and_corners_connect() {
    let rows = [
        "11.......", //
        "..1...22.", //
        "..11.....", //
        "......222", //
        "1.....2..",
    ];
    let drawn = image(9, 5, |x, z| match rows[z as usize].as_bytes()[x as usize] {
        b'.' => 0,
        digit => u32::from(digit - b'0'),
    });
    let all = regions(&drawn);
    assert_eq!(all.len(), 2);
    assert_eq!(all[0].pixels, [0, 1, 11, 20, 21]);
    assert_eq!(all[1].pixels, [33, 34, 35, 42]);
    assert!(all[0].is_cut && all[1].is_cut);
}

/// Ellipses, blots and shapes in several parts, thrown one over another.
fn blots() -> LabelImage {
    let mut random = stream(20_260);
    let mut blots = Vec::new();
    for _ in 0..260 {
        let a = random.between(3.0, 40.0);
        blots.push((
            [random.between(0.0, 400.0), random.between(0.0, 300.0)],
            a,
            a * random.between(0.3, 1.0),
            random.between(0.0, PI),
            // Lobes bite into the outline, as deep as to part it
            [random.between(2.0, 7.0).floor(), random.between(0.0, 0.9)],
        ));
    }
    image(400, 300, |x, z| {
        let hits = |(centre, a, b, angle, lobes): &([f64; 2], f64, f64, f64, [f64; 2])| {
            let turn = libm::atan2(z - centre[1], x - centre[0]);
            let more = 1.0 + lobes[1] * libm::cos(lobes[0] * turn);
            in_ellipse([x, z], *centre, [a * more, b * more], *angle)
        };
        blots.iter().rposition(hits).map_or(0, |k| k as u32 + 1)
    })
}

/// Tolerances: areas are counts; axes and centroids are the same sums in another order; solidity
/// may differ by a pixel on an edge of the hull.
#[test]
#[ignore = "needs tests/run"]
fn scikit_image_measures_the_same() {
    let drawn = blots();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("labels.json");
    let text = json!({ "width": drawn.width, "labels": drawn.labels }).to_string();
    fs::write(&file, text).unwrap();
    let theirs = tools::python("measure_labels.py", &[&file]);
    let theirs: Vec<Vec<f64>> = serde_json::from_value(theirs).unwrap();
    let ours = regions(&drawn);
    assert_eq!(ours.len(), theirs.len());
    assert!(ours.len() > 150, "{} labels", ours.len());
    let mut hollow = 0;
    for (ours, theirs) in ours.iter().zip(&theirs) {
        let label = ours.label;
        assert_eq!(f64::from(label), theirs[0]);
        assert_eq!(ours.area(), theirs[1], "area of {label}");
        near("row", ours.centroid[1], theirs[2], 1e-9);
        near("column", ours.centroid[0], theirs[3], 1e-9);
        near("long axis", ours.axes[0], theirs[4], 1e-6);
        near("short axis", ours.axes[1], theirs[5], 1e-6);
        let solidity = ours.solidity(drawn.width);
        near(
            "convex area",
            ours.area() / solidity,
            theirs[1] / theirs[6],
            1.01,
        );
        hollow += usize::from(solidity < 0.9);
    }
    assert!(hollow > 20, "only {hollow} shapes are far from convex");
}
