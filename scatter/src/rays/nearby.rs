//! Cuts very many boxes into runs of neighbours, so that each run's hierarchy can be built by
//! itself, in little memory.

use glam::Vec3A;
use obvhs::aabb::Aabb;
use rayon::prelude::*;

/// Bits of a place along each axis.
const BITS: u32 = 21;

/// The numbers of the boxes in runs of at most `most`, along the curve that visits the halves of
/// space, then the halves of those, and so on (Morton, "A computer oriented geodetic data base",
/// 1966).
pub(super) fn runs(boxes: &[Aabb], most: usize) -> Vec<Vec<u32>> {
    let middle = |b: &Aabb| 0.5 * (b.min + b.max);
    let low = boxes
        .iter()
        .fold(Vec3A::INFINITY, |low, b| low.min(middle(b)));
    let high = boxes
        .iter()
        .fold(Vec3A::NEG_INFINITY, |high, b| high.max(middle(b)));
    let steps = (1u32 << BITS) as f32 - 1.0;
    let per_metre = Vec3A::splat(steps) / (high - low).max(Vec3A::splat(f32::MIN_POSITIVE));
    let mut order: Vec<(u64, u32)> = boxes
        .par_iter()
        .enumerate()
        .map(|(i, b)| {
            let [x, y, z] = ((middle(b) - low) * per_metre).to_array();
            let spread = |v: f32| apart(u64::from((v as u32).min((1 << BITS) - 1)));
            (spread(x) | spread(y) << 1 | spread(z) << 2, i as u32)
        })
        .collect();
    order.par_sort_unstable();
    order
        .chunks(most)
        .map(|run| run.iter().map(|(_, i)| *i).collect())
        .collect()
}

/// A number's lowest 21 bits, two zeros between each and the next.
fn apart(v: u64) -> u64 {
    let mut v = v & 0x1f_ffff;
    for (shift, mask) in [
        (32, 0x001f_0000_0000_ffff),
        (16, 0x001f_0000_ff00_00ff),
        (8, 0x100f_00f0_0f00_f00f),
        (4, 0x10c3_0c30_c30c_30c3),
        (2, 0x1249_2492_4924_9249),
    ] {
        v = (v | v << shift) & mask;
    }
    v
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::stream;

    #[test]
    fn bits_are_set_apart() {
        for v in [0, 1, 0b1011, 0x1f_ffff, 0x15_5555] {
            let expected = (0..21).fold(0, |sum, bit| sum | (v >> bit & 1) << (3 * bit));
            assert_eq!(apart(v), expected);
        }
    }

    #[test]
    fn runs_hold_each_box_once_and_lie_together() {
        let mut draws = stream(9);
        let boxes: Vec<Aabb> = (0..4000)
            .map(|_| {
                let mut of = || draws.between(-5.0, 5.0) as f32;
                let at = Vec3A::new(of(), of(), of());
                Aabb::new(at, at + 0.1)
            })
            .collect();
        let runs = runs(&boxes, 500);
        assert_eq!(runs.len(), 8);
        let mut all: Vec<u32> = runs.iter().flatten().copied().collect();
        all.sort_unstable();
        assert!(all.iter().copied().eq(0..4000));
        // About an eighth of a cube each, with a few boxes of the next one: runs in no order would
        // take eight times the cube
        let volume = |of: &mut dyn Iterator<Item = u32>| {
            let (low, high) = of.fold((Vec3A::INFINITY, Vec3A::NEG_INFINITY), |(l, h), i| {
                let b = &boxes[i as usize];
                (l.min(b.min), h.max(b.max))
            });
            let d = high - low;
            d.x * d.y * d.z
        };
        let together: f32 = runs.iter().map(|r| volume(&mut r.iter().copied())).sum();
        assert!(together < 3.0 * volume(&mut (0..4000)), "{together}");
    }
}
