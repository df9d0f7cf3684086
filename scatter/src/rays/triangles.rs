//! Triangles in a hierarchy, met four at a time.

use glam::{Vec3A, Vec4};
use obvhs::BvhBuildParams;
use obvhs::aabb::Aabb;

use super::wide::{Ray, TraversalStack, WideBvh};

/// Four triangles, coordinate by coordinate: first corner and the edges to the second and third.
/// Unused places are zero: triangles without area, which nothing meets.
#[derive(Debug, Clone, Copy)]
struct TriangleBlock {
    corner: [Vec4; 3],
    edge1: [Vec4; 3],
    edge2: [Vec4; 3],
}

const NO_TRIANGLES: TriangleBlock = TriangleBlock {
    corner: [Vec4::ZERO; 3],
    edge1: [Vec4::ZERO; 3],
    edge2: [Vec4::ZERO; 3],
};

/// Triangles in a block.
const LANES: usize = 4;

/// Where a ray met a triangle.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Meeting {
    /// Distance in lengths of the ray's direction.
    pub(crate) t: f32,
    /// Barycentric weight of the second corner.
    pub(crate) u: f32,
    /// Barycentric weight of the third corner.
    pub(crate) v: f32,
    /// Place of the triangle: four a block.
    pub(crate) place: u32,
}

impl Meeting {
    /// The meeting with the triangle in a lane of a block.
    #[inline(always)]
    fn of(block: u32, lane: usize, [t, u, v]: [Vec4; 3]) -> Self {
        Self {
            t: t[lane],
            u: u[lane],
            v: v[lane],
            place: block * LANES as u32 + lane as u32,
        }
    }
}

/// Triangles in a hierarchy.
#[derive(Debug)]
pub(crate) struct Triangles {
    tree: WideBvh,
    blocks: Vec<TriangleBlock>,
}

impl Triangles {
    /// Builds the hierarchy over triangles given by their corners; each one's box is made larger by
    /// `pad` on all sides. Also returns the triangles' numbers in their places, four a block, none
    /// where a place is empty.
    pub(crate) fn build(
        corners: &[[Vec3A; 3]],
        pad: f32,
        quality: BvhBuildParams,
    ) -> (Self, Vec<Option<u32>>) {
        let pad = Vec3A::splat(pad);
        let boxes: Vec<Aabb> = corners
            .iter()
            .map(|[a, b, c]| Aabb::new(a.min(*b).min(*c) - pad, a.max(*b).max(*c) + pad))
            .collect();
        let mut blocks = Vec::with_capacity(boxes.len() / 2);
        let mut places = Vec::with_capacity(boxes.len() * 2);
        let tree = WideBvh::build(boxes, quality, LANES as u32, |run| {
            let mut block = NO_TRIANGLES;
            for lane in 0..LANES {
                let number = run.get(lane).copied();
                places.push(number);
                let Some(i) = number else { continue };
                let [a, b, c] = corners[i as usize];
                for axis in 0..3 {
                    block.corner[axis][lane] = a[axis];
                    block.edge1[axis][lane] = (b - a)[axis];
                    block.edge2[axis][lane] = (c - a)[axis];
                }
            }
            blocks.push(block);
            (blocks.len() as u32 - 1, 1)
        });
        (Self { tree, blocks }, places)
    }

    /// The nearest meeting within the ray's limits, among those that count.
    #[inline(always)]
    pub(crate) fn nearest(
        &self,
        ray: &Ray,
        stack: &mut TraversalStack,
        counts: impl Fn(&Meeting) -> bool,
    ) -> Option<Meeting> {
        let mut best = None;
        self.tree.visit(&mut { *ray }, stack, |first, _, ray, _| {
            let (mut mask, t, u, v) = self.blocks[first as usize].meet(ray);
            while mask != 0 {
                let lane = mask.trailing_zeros() as usize;
                mask &= mask - 1;
                if t[lane] < ray.far {
                    let meeting = Meeting::of(first, lane, [t, u, v]);
                    if counts(&meeting) {
                        ray.far = t[lane];
                        best = Some(meeting);
                    }
                }
            }
            false
        });
        best
    }

    /// Whether the ray meets anything within its limits.
    #[inline(always)]
    pub(crate) fn blocks(&self, ray: &Ray, stack: &mut TraversalStack) -> bool {
        self.tree.visit(&mut { *ray }, stack, |first, _, ray, _| {
            self.blocks[first as usize].meet(ray).0 != 0
        })
    }

    /// Whether the ray meets anything that counts within its limits.
    #[inline(always)]
    pub(crate) fn blocks_where(
        &self,
        ray: &Ray,
        stack: &mut TraversalStack,
        counts: impl Fn(&Meeting) -> bool,
    ) -> bool {
        self.tree.visit(&mut { *ray }, stack, |first, _, ray, _| {
            let (mut mask, t, u, v) = self.blocks[first as usize].meet(ray);
            while mask != 0 {
                let lane = mask.trailing_zeros() as usize;
                mask &= mask - 1;
                let meeting = Meeting::of(first, lane, [t, u, v]);
                if counts(&meeting) {
                    return true;
                }
            }
            false
        })
    }

    /// First corner of the triangle at a place, and the edges from it to the second and the third.
    #[inline]
    pub(crate) fn edges(&self, place: u32) -> [Vec3A; 3] {
        let (block, lane) = (place as usize / LANES, place as usize % LANES);
        let block = &self.blocks[block];
        [block.corner, block.edge1, block.edge2]
            .map(|c| Vec3A::new(c[0][lane], c[1][lane], c[2][lane]))
    }

    /// The triangles in their places, as [`Triangles::edges`] gives them; empty places are
    /// triangles of no area.
    pub(crate) fn all(&self) -> impl Iterator<Item = [Vec3A; 3]> {
        (0..(self.blocks.len() * LANES) as u32).map(|place| self.edges(place))
    }

    /// Bytes held.
    pub(crate) fn bytes(&self) -> usize {
        self.tree.bytes() + size_of_val(self.blocks.as_slice())
    }
}

/// How far outside a triangle still meets it, in barycentric units: closes the seams that rounding
/// opens between neighbours.
const SEAM: f32 = 1e-6;

#[inline(always)]
fn cross(a: &[Vec4; 3], b: &[Vec4; 3]) -> [Vec4; 3] {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

#[inline(always)]
fn dot(a: &[Vec4; 3], b: &[Vec4; 3]) -> Vec4 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// The same three numbers for four triangles.
#[inline(always)]
fn splat(v: Vec3A) -> [Vec4; 3] {
    [Vec4::splat(v.x), Vec4::splat(v.y), Vec4::splat(v.z)]
}

impl TriangleBlock {
    /// Which triangles the ray meets, from either side, and where: distances and barycentric
    /// weights. Based on: Moeller and Trumbore, "Fast, minimum storage ray/triangle intersection",
    /// 1997.
    #[inline(always)]
    fn meet(&self, ray: &Ray) -> (u32, Vec4, Vec4, Vec4) {
        let direction = splat(ray.direction);
        let origin = splat(ray.origin);
        let p = cross(&direction, &self.edge2);
        let det = dot(&self.edge1, &p);
        let inv = det.recip();
        let s = [
            origin[0] - self.corner[0],
            origin[1] - self.corner[1],
            origin[2] - self.corner[2],
        ];
        let u = dot(&s, &p) * inv;
        let q = cross(&s, &self.edge1);
        let v = dot(&direction, &q) * inv;
        let t = dot(&self.edge2, &q) * inv;
        // A zero determinant makes these infinite or NaN, and the comparisons fail
        let inside = u.min(v).min(Vec4::ONE - u - v).cmpge(Vec4::splat(-SEAM));
        let within = t.cmpgt(Vec4::splat(ray.near)) & t.cmplt(Vec4::splat(ray.far));
        let sound = det.cmpne(Vec4::ZERO);
        ((inside & within & sound).bitmask(), t, u, v)
    }
}
