//! Moves mesh vertices onto lines that the mesh does not know: the edges of a block, the middle of
//! a vein.
//!
//! All meshes here are seen from a point inside: a vertex is a direction and a distance, and a move
//! or a flip is taken only when every triangle it touches still faces outward as seen from there.

use glam::DVec3;

use super::work_mesh::WorkMesh;

/// Minimum solid angle of a triangle, as a share of the mean one (about): below that it would be a
/// sliver.
const SLIVER: f64 = 0.10;

/// A mesh edge, lower corner first, and the triangles on its two sides.
struct Edge {
    ends: (u32, u32),
    sides: [Option<usize>; 2],
}

/// All mesh edges, sorted by their ends.
fn edges(shape: &WorkMesh) -> Vec<Edge> {
    let mut uses: Vec<((u32, u32), usize)> = shape
        .triangles
        .iter()
        .enumerate()
        .flat_map(|(t, &[a, b, c])| {
            [(a, b), (b, c), (c, a)].map(|(i, j)| ((i.min(j), i.max(j)), t))
        })
        .collect();
    uses.sort_unstable();
    let mut edges: Vec<Edge> = Vec::with_capacity(uses.len() / 2);
    for (ends, t) in uses {
        match edges.last_mut() {
            Some(last) if last.ends == ends => last.sides[1] = Some(t),
            _ => edges.push(Edge {
                ends,
                sides: [Some(t), None],
            }),
        }
    }
    edges
}

/// Six times the volume under a triangle of unit directions: positive when it faces outward.
fn facing(rays: &[DVec3], [a, b, c]: [u32; 3]) -> f64 {
    let [a, b, c] = [a, b, c].map(|i| rays[i as usize]);
    a.dot(b.cross(c))
}

/// Moves directions to where the label changes along mesh edges, so that as few mesh edges as
/// possible cross a boundary. Gives the labels that meet at each vertex: one inside a region, two
/// on a boundary.
pub(crate) fn follow(
    shape: &WorkMesh,
    rays: &mut [DVec3],
    label: impl Fn(DVec3) -> usize,
) -> Vec<Vec<usize>> {
    let mut around = vec![Vec::new(); rays.len()];
    for (t, corners) in shape.triangles.iter().enumerate() {
        for &i in corners {
            around[i as usize].push(t);
        }
    }
    let least = SLIVER * 4.0 * std::f64::consts::PI / shape.triangles.len().max(1) as f64 * 2.0;
    let mut labels: Vec<Vec<usize>> = rays.iter().map(|&u| vec![label(u)]).collect();
    let edges = edges(shape);
    // The second round takes what the first round's moves have made room for; a boundary farther
    // than the share given waits for it.
    for far in [0.45, 0.75] {
        for &Edge { ends: (i, j), .. } in &edges {
            let (i, j) = (i as usize, j as usize);
            if labels[i].iter().any(|l| labels[j].contains(l)) {
                continue;
            }
            // Find the change by halving.
            let (mut near, mut other) = (0.0, 1.0);
            let at = |t: f64| rays[i].lerp(rays[j], t).normalize_or(rays[i]);
            for _ in 0..12 {
                let middle = (near + other) / 2.0;
                if labels[i].contains(&label(at(middle))) {
                    near = middle;
                } else {
                    other = middle;
                }
            }
            let place = at(near);
            let both = [label(at(near)), label(at(other))];
            let mut ends = [(i, near), (j, 1.0 - near)];
            if ends[1].1 < ends[0].1 {
                ends.swap(0, 1);
            }
            for (end, share) in ends {
                if labels[end].len() > 1 || share > far {
                    continue;
                }
                let before = rays[end];
                rays[end] = place;
                if around[end]
                    .iter()
                    .all(|&t| facing(rays, shape.triangles[t]) > least)
                {
                    labels[end] = both.to_vec();
                    break;
                }
                rays[end] = before;
            }
        }
    }
    labels
}

/// Flips mesh edges where the other diagonal lies closer to the surface, `reach` along each
/// direction. Edges inside a region of one label stay.
pub(crate) fn flip(
    shape: &mut WorkMesh,
    rays: &[DVec3],
    labels: &[Vec<usize>],
    reach: impl Fn(DVec3) -> f64,
) {
    let least = SLIVER * 4.0 * std::f64::consts::PI / shape.triangles.len().max(1) as f64 * 2.0;
    let error = |shape: &WorkMesh, i: u32, j: u32| {
        [0.25, 0.5, 0.75]
            .into_iter()
            .map(|t| {
                let p = shape.positions[i as usize].lerp(shape.positions[j as usize], t);
                (reach(p.normalize_or(DVec3::Y)) - p.length()).abs()
            })
            .sum::<f64>()
    };
    for _ in 0..2 {
        let known = edges(shape);
        let mut touched = vec![false; shape.triangles.len()];
        for Edge {
            ends: (i, j),
            sides,
        } in &known
        {
            let [Some(s), Some(t)] = *sides else {
                continue;
            };
            if touched[s] || touched[t] {
                continue;
            }
            let apex = |t: usize| shape.triangles[t].into_iter().find(|c| c != i && c != j);
            let (Some(a), Some(b)) = (apex(s), apex(t)) else {
                continue;
            };
            let of = |i: u32| &labels[i as usize];
            if of(*i)
                .iter()
                .any(|l| of(*j).contains(l) && of(a).contains(l) && of(b).contains(l))
            {
                continue;
            }
            let taken = (a.min(b), a.max(b));
            if known.binary_search_by_key(&taken, |edge| edge.ends).is_ok()
                || error(shape, a, b) > 0.8 * error(shape, *i, *j) - 1e-6
            {
                continue;
            }
            // The triangle that runs from i to j keeps that turn.
            let [p, q, r] = shape.triangles[s];
            let runs = [(p, q), (q, r), (r, p)].contains(&(*i, *j));
            let (one, two) = if runs {
                ([*i, b, a], [b, *j, a])
            } else {
                ([*i, a, b], [a, *j, b])
            };
            if facing(rays, one) > least && facing(rays, two) > least {
                shape.triangles[s] = one;
                shape.triangles[t] = two;
                touched[s] = true;
                touched[t] = true;
            }
        }
    }
}

/// Moves vertices along mesh edges onto the zero of a function of place, and returns which lie on
/// it. The surface stays in view of `core`.
pub(crate) fn onto(shape: &mut WorkMesh, core: DVec3, value: impl Fn(DVec3) -> f64) -> Vec<bool> {
    let mut around = vec![Vec::new(); shape.positions.len()];
    for (t, corners) in shape.triangles.iter().enumerate() {
        for &i in corners {
            around[i as usize].push(t);
        }
    }
    let mut on = vec![false; shape.positions.len()];
    let before: Vec<DVec3> = shape.triangles.iter().map(|&t| shape.cross(t)).collect();
    for Edge { ends: (i, j), .. } in edges(shape) {
        let (i, j) = (i as usize, j as usize);
        if on[i] || on[j] {
            continue;
        }
        let (p, q) = (shape.positions[i], shape.positions[j]);
        let (from, to) = (value(p), value(q));
        if from * to >= 0.0 {
            continue;
        }
        let t = from / (from - to);
        let ends = if t < 0.5 { [i, j] } else { [j, i] };
        for end in ends {
            let old = shape.positions[end];
            shape.positions[end] = p.lerp(q, t);
            // No triangle may turn over or shrink to a sliver.
            if around[end].iter().all(|&t| {
                let cross = shape.cross(shape.triangles[t]);
                let seen = shape.positions[shape.triangles[t][0] as usize] - core;
                cross.dot(before[t]) > SLIVER * before[t].length_squared() && cross.dot(seen) > 0.0
            }) {
                on[end] = true;
                break;
            }
            shape.positions[end] = old;
        }
    }
    on
}
