//! The measure of how closed a ground is, held against closed forms, known figures, brute force and
//! another library.
//!
//! Sources: Clark and Evans, "Distance to nearest neighbor as a measure of spatial relationships in
//! populations", 1954 (1 at random, 2.149 for a triangular lattice); moments and areas of squares
//! and ellipses in closed form; scikit-image's regionprops (PyPI, pinned in
//! `tests/requirements.txt`).

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

mod drawing;
mod forms;
mod ground;
mod patterns;
mod tables;

use scatter_tests::closed::LabelImage;

/// An image of `width` x `height` pixels; each pixel (column, row) has the label that `label` gives
/// it.
fn image(width: usize, height: usize, label: impl Fn(f64, f64) -> u32) -> LabelImage {
    let place = |k: usize| ((k % width) as f64, (k / width) as f64);
    LabelImage {
        width,
        labels: (0..width * height)
            .map(place)
            .map(|(column, row)| label(column, row))
            .collect(),
    }
}

/// Whether a pixel's centre is in an ellipse of half axes a and b, its long axis turned by `angle`
/// from the columns toward the rows.
fn in_ellipse(pixel: [f64; 2], centre: [f64; 2], [a, b]: [f64; 2], angle: f64) -> bool {
    let [x, z] = [pixel[0] - centre[0], pixel[1] - centre[1]];
    let (sin, cos) = (libm::sin(angle), libm::cos(angle));
    let [u, v] = [(x * cos + z * sin) / a, (z * cos - x * sin) / b];
    u * u + v * v <= 1.0
}

/// That `got` is within `tolerance` of `want`; a number that is not one is not.
#[track_caller]
fn near(what: &str, got: f64, want: f64, tolerance: f64) {
    let is_near = (got - want).abs() <= tolerance;
    assert!(is_near, "{what}: {got}, not {want} within {tolerance}");
}
