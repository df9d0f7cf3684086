//! Small stones that lie on large ones, and stones that are not seen.

use glam::DVec3;
use rayon::prelude::*;
use scatter::layout::{Instance, Layout};

use super::Seen;
use super::label::{placed, reach};

/// A stone this many times the size of another is large beside it.
pub const LARGE: f64 = 3.0;

/// How many of the instances `asked` (indices into the layout) lie on another of at least [`LARGE`]
/// times their diameter: under the middle of the small stone's plan bounds the large one's surface
/// is over the ground `height(x, z)` and under the small one's. Only instances for which `is_stone`
/// is true can be lain on.
pub fn lying_on_large(
    layout: &Layout,
    asked: &[usize],
    height: impl Fn(f64, f64) -> f64 + Sync,
    is_stone: impl Fn(&Instance) -> bool,
) -> usize {
    let least = asked
        .iter()
        .map(|k| f64::from(layout.instances[*k].diameter))
        .fold(f64::INFINITY, f64::min);
    let large: Vec<&Instance> = layout
        .instances
        .iter()
        .filter(|i| f64::from(i.diameter) >= LARGE * least && is_stone(i))
        .collect();
    let reaches: Vec<f64> = layout.pieces.iter().map(reach).collect();
    asked
        .par_iter()
        .filter(|k| {
            let small = &layout.instances[**k];
            let [x, z] = middle(layout, small);
            let Some(own) = top(layout, small, [x, z]) else {
                return false;
            };
            let ground = height(x, z);
            large
                .iter()
                .filter(|i| f64::from(i.diameter) >= LARGE * f64::from(small.diameter))
                .filter(|i| {
                    let reach = reaches[usize::from(i.piece)] * f64::from(i.scale);
                    (i.position.x - x).abs() < reach && (i.position.z - z).abs() < reach
                })
                .filter_map(|i| top(layout, i, [x, z]))
                .any(|y| y > ground && y < own)
        })
        .count()
}

/// Indices of the instances for which `is_stone` is true whose origin is in the window and that no
/// pixel of it shows: they lie under others or under the ground.
pub fn hidden(layout: &Layout, seen: &Seen, is_stone: impl Fn(&Instance) -> bool) -> Vec<usize> {
    let mut is_shown = vec![false; layout.instances.len()];
    for top in seen.top.iter().filter(|top| **top > 0) {
        is_shown[*top as usize - 1] = true;
    }
    let window = &seen.window;
    let is_within = |i: &Instance| {
        let [x, z] = [i.position.x - window.west, i.position.z - window.north];
        let [wide, deep] = [window.width, window.height].map(|n| n as f64 * window.pixel);
        (0.0..wide).contains(&x) && (0.0..deep).contains(&z)
    };
    let all = layout.instances.iter().enumerate();
    all.filter(|(k, i)| !is_shown[*k] && is_within(i) && is_stone(i))
        .map(|(k, _)| k)
        .collect()
}

/// Middle of an instance's bounds in plan.
fn middle(layout: &Layout, instance: &Instance) -> [f64; 2] {
    let parts = &layout.pieces[usize::from(instance.piece)].parts;
    let mut low = DVec3::INFINITY;
    let mut high = DVec3::NEG_INFINITY;
    for p in parts
        .iter()
        .flat_map(|p| placed(instance, &p.mesh.positions))
    {
        low = low.min(p);
        high = high.max(p);
    }
    [0.5 * (low.x + high.x), 0.5 * (low.z + high.z)]
}

/// Height of an instance's highest surface at (x, z), if it has any there.
#[must_use]
pub fn top(layout: &Layout, instance: &Instance, [x, z]: [f64; 2]) -> Option<f64> {
    let mut highest: Option<f64> = None;
    for part in &layout.pieces[usize::from(instance.piece)].parts {
        let corners: Vec<DVec3> = placed(instance, &part.mesh.positions).collect();
        for t in part.mesh.indices.chunks_exact(3) {
            let [a, b, c] = [0, 1, 2].map(|k| corners[t[k] as usize]);
            let cross = |p: DVec3, q: DVec3| (q.x - p.x) * (z - p.z) - (q.z - p.z) * (x - p.x);
            let [u, v, w] = [cross(b, c), cross(c, a), cross(a, b)];
            let area = u + v + w;
            let is_inside = [u, v, w].iter().all(|part| part * area >= 0.0);
            if area != 0.0 && is_inside {
                let y = (u * a.y + v * b.y + w * c.y) / area;
                highest = Some(highest.map_or(y, |h| h.max(y)));
            }
        }
    }
    highest
}
