//! A bounding volume hierarchy with four boxes a node, tested together.
//!
//! Built by gathering the nodes of a binary hierarchy (`obvhs`: PLOC with reinsertion, Meister and
//! Bittner 2018) two levels at a time, largest surface first. Based on: Dammertz, Hanika and
//! Keller, "Shallow bounding volume hierarchies for fast SIMD ray tracing of incoherent rays",
//! 2008. Departs: one traversal stack serves both levels of an instanced scene.

use std::time::Duration;

use glam::{Vec3A, Vec4};
use obvhs::BvhBuildParams;
use obvhs::aabb::Aabb;
use obvhs::bvh2::Bvh2;
use obvhs::bvh2::builder::build_bvh2;

use super::nearby;

/// A ray with the reciprocal of its direction. The direction need not be a unit vector; distances
/// are in its lengths.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ray {
    /// Where it starts.
    pub(crate) origin: Vec3A,
    /// Where it goes.
    pub(crate) direction: Vec3A,
    inverse: Vec3A,
    /// Nearest distance that counts.
    pub(crate) near: f32,
    /// Farthest distance that counts.
    pub(crate) far: f32,
}

impl Ray {
    /// A ray within the given distances.
    #[inline(always)]
    pub(crate) fn new(origin: Vec3A, direction: Vec3A, near: f32, far: f32) -> Self {
        // Components so small are made finite: a slab test must not meet 0 x infinity
        const SMALL: f32 = 1e-18;
        let sign = Vec3A::splat(SMALL).copysign(direction);
        let safe = Vec3A::select(direction.abs().cmplt(Vec3A::splat(SMALL)), sign, direction);
        Self {
            origin,
            direction,
            inverse: safe.recip(),
            near,
            far,
        }
    }

    /// A ray without a far end.
    #[inline]
    pub(crate) fn from(origin: Vec3A, direction: Vec3A) -> Self {
        Self::new(origin, direction, 0.0, f32::INFINITY)
    }
}

/// Four children: their boxes coordinate by coordinate, 112 bytes.
#[derive(Debug, Clone, Copy)]
struct WideNode {
    /// Lower and upper bounds along x, y and z.
    bounds: [[Vec4; 2]; 3],
    /// Inner node: its index. Leaf: [`LEAF`], its count less one, and its first primitive.
    child: [u32; 4],
}

/// Marks a leaf.
const LEAF: u32 = 1 << 31;
/// Bits that hold the first primitive of a leaf; three above hold the count less one.
const FIRST_BITS: u32 = 28;
/// Maximum number of primitives in a leaf.
const MOST_IN_LEAF: u32 = 8;

/// Maximum number of boxes in one build: it takes some 200 bytes a box, so ten million at once
/// would take 2 GB.
const AT_ONCE: usize = 1 << 20;

/// Widens the far distance of a slab test by the rounding of its arithmetic. Based on: Ize, "Robust
/// BVH ray traversal", 2013 (two units in the last place, both for the product and the sum).
const ROBUST: f32 = 1.000_000_5;

/// A node waiting to be visited: at what distance its box begins.
pub(crate) type Waiting = (f32, u32);
/// Waiting nodes of all levels.
pub(crate) type TraversalStack = Vec<Waiting>;

/// A hierarchy over boxes.
#[derive(Debug, Default)]
pub(crate) struct WideBvh {
    nodes: Vec<WideNode>,
    root: u32,
}

const EMPTY: WideNode = WideNode {
    bounds: [[Vec4::INFINITY, Vec4::NEG_INFINITY]; 3],
    child: [0; 4],
};

impl WideNode {
    fn set(&mut self, slot: usize, aabb: &Aabb, child: u32) {
        for axis in 0..3 {
            self.bounds[axis][0][slot] = aabb.min[axis];
            self.bounds[axis][1][slot] = aabb.max[axis];
        }
        self.child[slot] = child;
    }
}

/// Half the surface of a box.
fn half_area(b: &Aabb) -> f32 {
    let d = b.max - b.min;
    d.x * d.y + d.y * d.z + d.z * d.x
}

impl WideBvh {
    /// Builds a hierarchy with at most `in_leaf` primitives a leaf (1 to 8). `place` gets the
    /// primitives of each leaf, and returns the number and the count that the leaf is to hold for
    /// them.
    pub(crate) fn build(
        boxes: Vec<Aabb>,
        quality: BvhBuildParams,
        in_leaf: u32,
        place: impl FnMut(&[u32]) -> (u32, u32),
    ) -> Self {
        Self::build_in_runs(boxes, quality, in_leaf, AT_ONCE, place)
    }

    /// Builds it from hierarchies over runs of at most `at_once` boxes.
    fn build_in_runs(
        boxes: Vec<Aabb>,
        quality: BvhBuildParams,
        in_leaf: u32,
        at_once: usize,
        mut place: impl FnMut(&[u32]) -> (u32, u32),
    ) -> Self {
        if boxes.is_empty() {
            return Self::default();
        }
        let quality = BvhBuildParams {
            max_prims_per_leaf: in_leaf.min(MOST_IN_LEAF),
            ..quality
        };
        let mut built = Self::default();
        let mut leaf = |run: &[u32]| {
            let (first, count) = place(run);
            LEAF | (count - 1) << FIRST_BITS | first
        };
        if boxes.len() <= at_once {
            let tree = build_bvh2(&boxes, quality, &mut Duration::default());
            // The tree holds them all: of millions of instances this is a third of what the build
            // takes
            drop(boxes);
            built.nodes.reserve(tree.nodes.len() / 4 + 1);
            built.root = gather(&tree, &mut built.nodes, &mut leaf);
        } else {
            let mut bounds = Vec::new();
            let mut roots = Vec::new();
            for run in nearby::runs(&boxes, at_once) {
                let own: Vec<Aabb> = run.iter().map(|i| boxes[*i as usize]).collect();
                let tree = build_bvh2(&own, quality, &mut Duration::default());
                bounds.push(*tree.nodes[0].aabb());
                roots.push(gather(&tree, &mut built.nodes, &mut |found: &[u32]| {
                    let numbers: Vec<u32> = found.iter().map(|i| run[*i as usize]).collect();
                    leaf(&numbers)
                }));
            }
            let quality = BvhBuildParams {
                max_prims_per_leaf: 1,
                ..quality
            };
            let tree = build_bvh2(&bounds, quality, &mut Duration::default());
            built.root = gather(&tree, &mut built.nodes, &mut |run: &[u32]| {
                roots[run[0] as usize]
            });
        }
        built.nodes.shrink_to_fit();
        built
    }

    /// Visits the leaves that the ray meets, nearest first as far as boxes tell. `leaf` gets what
    /// `place` returned; it may shorten the ray, and returns whether to stop.
    #[inline(always)]
    pub(crate) fn visit(
        &self,
        ray: &mut Ray,
        stack: &mut TraversalStack,
        mut leaf: impl FnMut(u32, u32, &mut Ray, &mut TraversalStack) -> bool,
    ) -> bool {
        if self.nodes.is_empty() {
            return false;
        }
        let base = stack.len();
        let o = [ray.origin.x, ray.origin.y, ray.origin.z].map(Vec4::splat);
        let inv = [ray.inverse.x, ray.inverse.y, ray.inverse.z].map(Vec4::splat);
        // Which bound the ray meets first along each axis
        let side = [
            usize::from(ray.inverse.x < 0.0),
            usize::from(ray.inverse.y < 0.0),
            usize::from(ray.inverse.z < 0.0),
        ];
        let near = Vec4::splat(ray.near);
        let mut current = self.root;
        loop {
            if current & LEAF == 0 {
                let node = &self.nodes[current as usize];
                let slab = |axis: usize, far: usize| {
                    (node.bounds[axis][side[axis] ^ far] - o[axis]) * inv[axis]
                };
                let enter = slab(0, 0).max(slab(1, 0)).max(slab(2, 0).max(near));
                let leave = slab(0, 1).min(slab(1, 1)).min(slab(2, 1)) * ROBUST;
                let leave = leave.min(Vec4::splat(ray.far));
                let mut mask = enter.cmple(leave).bitmask();
                if mask != 0 {
                    let first = mask.trailing_zeros() as usize;
                    mask &= mask - 1;
                    if mask == 0 {
                        current = node.child[first];
                        continue;
                    }
                    let enter = enter.to_array();
                    let mut best = (enter[first], node.child[first]);
                    let bottom = stack.len();
                    while mask != 0 {
                        let slot = mask.trailing_zeros() as usize;
                        mask &= mask - 1;
                        let mut other = (enter[slot], node.child[slot]);
                        if other.0 < best.0 {
                            std::mem::swap(&mut best, &mut other);
                        }
                        stack.push(other);
                    }
                    // Nearest of the waiting on top
                    descend(&mut stack[bottom..]);
                    current = best.1;
                    continue;
                }
            } else {
                let first = current & ((1 << FIRST_BITS) - 1);
                let count = ((current & !LEAF) >> FIRST_BITS) + 1;
                if leaf(first, count, ray, stack) {
                    stack.truncate(base);
                    return true;
                }
            }
            loop {
                if stack.len() <= base {
                    return false;
                }
                match stack.pop() {
                    Some((t, child)) if t <= ray.far => {
                        current = child;
                        break;
                    }
                    Some(_) => {}
                    None => return false,
                }
            }
        }
    }

    /// Bytes held.
    pub(crate) fn bytes(&self) -> usize {
        size_of_val(self.nodes.as_slice())
    }
}

/// Sorts up to three waiting nodes, farthest first.
#[inline(always)]
fn descend(waiting: &mut [Waiting]) {
    let count = waiting.len();
    let mut order = |i: usize| {
        if waiting[i].0 < waiting[i + 1].0 {
            waiting.swap(i, i + 1);
        }
    };
    if count == 3 {
        order(0);
        order(1);
    }
    if count >= 2 {
        order(0);
    }
}

/// Turns a binary tree into wide nodes and returns the number of the first. It does not recurse,
/// since degenerate input makes deep trees. `leaf` gets the primitives of each leaf, and returns
/// what stands for it among a node's children.
fn gather(tree: &Bvh2, nodes: &mut Vec<WideNode>, leaf: &mut impl FnMut(&[u32]) -> u32) -> u32 {
    let root = nodes.len();
    nodes.push(EMPTY);
    // Binary node, and the wide node that is to hold its children
    let mut work = vec![(0_usize, root)];
    while let Some((from, to)) = work.pop() {
        let open = &tree.nodes[from];
        let mut group = [0_usize; 4];
        let mut count = 1;
        group[0] = from;
        // Open the largest inner node until four are there
        while count < 4 {
            let largest = (0..count)
                .filter(|&i| !tree.nodes[group[i]].is_leaf())
                .max_by(|&i, &j| {
                    let area = |k: usize| half_area(tree.nodes[group[k]].aabb());
                    area(i).total_cmp(&area(j))
                });
            let Some(i) = largest else { break };
            let first = tree.nodes[group[i]].first_index as usize;
            group[i] = first;
            group[count] = first + 1;
            count += 1;
        }
        debug_assert!(count > 1 || open.is_leaf(), "an inner node opens into two");
        for (slot, &index) in group[..count].iter().enumerate() {
            let node = &tree.nodes[index];
            let child = if node.is_leaf() {
                let run = node.first_index as usize..(node.first_index + node.prim_count) as usize;
                leaf(&tree.primitive_indices[run])
            } else {
                nodes.push(EMPTY);
                work.push((index, nodes.len() - 1));
                (nodes.len() - 1) as u32
            };
            nodes[to].set(slot, node.aabb(), child);
        }
    }
    root as u32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::{Stream, stream};

    fn point(draws: &mut Stream, size: f64) -> Vec3A {
        let mut of = || draws.between(-size, size) as f32;
        Vec3A::new(of(), of(), of())
    }

    /// Which boxes a ray meets, each by itself.
    fn met(boxes: &[Aabb], ray: &Ray) -> Vec<u32> {
        let meets = |b: &Aabb| {
            let (a, c) = (
                (b.min - ray.origin) * ray.inverse,
                (b.max - ray.origin) * ray.inverse,
            );
            a.min(c).max_element().max(ray.near) <= a.max(c).min_element()
        };
        (0..boxes.len() as u32)
            .filter(|i| meets(&boxes[*i as usize]))
            .collect()
    }

    #[test]
    fn built_at_once_or_in_runs_no_box_is_missed() {
        let mut draws = stream(31);
        let boxes: Vec<Aabb> = (0..3000)
            .map(|_| {
                let at = point(&mut draws, 4.0);
                Aabb::new(at, at + point(&mut draws, 0.8).abs())
            })
            .collect();
        let rays: Vec<Ray> = (0..300)
            .map(|_| Ray::from(point(&mut draws, 6.0), point(&mut draws, 1.0)))
            .collect();
        for at_once in [3000, 700, 40] {
            let mut listed = Vec::new();
            let wide = WideBvh::build_in_runs(
                boxes.clone(),
                BvhBuildParams::fast_build(),
                3,
                at_once,
                |run| {
                    listed.extend_from_slice(run);
                    ((listed.len() - run.len()) as u32, run.len() as u32)
                },
            );
            let mut all = listed.clone();
            all.sort_unstable();
            assert!(all.into_iter().eq(0..3000), "each box in one leaf");
            let (mut hits, mut visited) = (0, 0);
            for ray in &rays {
                let (mut seen, mut ray, mut stack) = (Vec::new(), *ray, TraversalStack::new());
                wide.visit(&mut ray, &mut stack, |first, count, _, _| {
                    seen.extend_from_slice(&listed[first as usize..(first + count) as usize]);
                    false
                });
                let expected = met(&boxes, &ray);
                assert!(expected.iter().all(|i| seen.contains(i)));
                hits += expected.len();
                visited += seen.len();
            }
            // A leaf holds three, and its box is larger than theirs
            assert!(hits > 300 && visited < 30 * hits, "{visited} of {hits}");
        }
    }
}
