//! Exact Euclidean distances on a grid.
//!
//! Felzenszwalb and Huttenlocher, "Distance transforms of sampled functions", 2012: the lower
//! envelope of parabolas along columns, then along rows.

use rayon::prelude::*;

/// Distance of each pixel's centre to the centre of the nearest pixel for which `is_feature` is
/// true, in pixels; 0 on a feature, infinite if there is none. Rows one after another, `width`
/// pixels each.
#[must_use]
pub fn distances(is_feature: &[bool], width: usize) -> Vec<f64> {
    if width == 0 {
        return Vec::new();
    }
    let height = is_feature.len() / width;
    // Along columns: to the nearest feature above or below
    let mut upright: Vec<f64> = vec![f64::INFINITY; is_feature.len()];
    for column in 0..width {
        let mut last = f64::INFINITY;
        for row in 0..height {
            let k = row * width + column;
            last = if is_feature[k] { 0.0 } else { last + 1.0 };
            upright[k] = last;
        }
        last = f64::INFINITY;
        for row in (0..height).rev() {
            let k = row * width + column;
            last = if is_feature[k] { 0.0 } else { last + 1.0 };
            upright[k] = upright[k].min(last);
        }
    }
    // Along rows: the envelope of the squares
    upright.par_chunks_mut(width).for_each(|row| {
        let squares: Vec<f64> = row.iter().map(|d| d * d).collect();
        envelope(&squares, row);
        row.iter_mut().for_each(|d| *d = d.sqrt());
    });
    upright
}

/// Least of (q - v)^2 + f(v) over all v, for each q.
fn envelope(f: &[f64], least: &mut [f64]) {
    let mut parabolas: Vec<usize> = Vec::with_capacity(f.len());
    // Where each parabola begins to be the lowest
    let mut starts: Vec<f64> = Vec::with_capacity(f.len());
    for q in (0..f.len()).filter(|q| f[*q].is_finite()) {
        let height = |v: usize| f[v] + (v * v) as f64;
        let mut start = f64::NEG_INFINITY;
        while let (Some(&v), Some(&begins)) = (parabolas.last(), starts.last()) {
            let crossing = (height(q) - height(v)) / (2 * (q - v)) as f64;
            if crossing > begins {
                start = crossing;
                break;
            }
            parabolas.pop();
            starts.pop();
        }
        parabolas.push(q);
        starts.push(start);
    }
    if parabolas.is_empty() {
        least.fill(f64::INFINITY);
        return;
    }
    let mut k = 0;
    for (q, least) in least.iter_mut().enumerate() {
        while k + 1 < parabolas.len() && starts[k + 1] < q as f64 {
            k += 1;
        }
        let apart = q.abs_diff(parabolas[k]);
        *least = (apart * apart) as f64 + f[parabolas[k]];
    }
}
