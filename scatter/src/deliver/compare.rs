//! What differs between two layouts, pass by pass and piece by piece.
//!
//! Pieces are known by their ids: the same place in the world's streams. Layouts in different
//! spaces are compared in Strew's own.

mod document;

pub use document::{Document, read};

use std::collections::BTreeMap;
use std::sync::Arc;

use glam::{DQuat, DVec3, Vec3};

/// How far a piece may have moved, turned and grown to count as the same.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tolerance {
    /// Metres.
    pub moved: f64,
    /// Radians.
    pub turned: f64,
    /// Share of the scale.
    pub scaled: f64,
}

impl Default for Tolerance {
    /// A tenth of a millimetre, a tenth of a degree and a thousandth of the scale: what a person
    /// calls moved. A pixel of a close-up is half a millimetre and more.
    fn default() -> Self {
        Self {
            moved: 1e-4,
            turned: 0.1_f64.to_radians(),
            scaled: 1e-3,
        }
    }
}

/// A piece as `layout.json` has it, in Strew's own space.
#[derive(Debug, Clone, PartialEq)]
pub struct ComparedPiece {
    /// Its pass's name.
    pub pass: Arc<str>,
    /// Its piece's name.
    pub piece: Arc<str>,
    /// World position, metres.
    pub position: DVec3,
    /// Unit quaternion x, y, z, w.
    pub rotation: [f32; 4],
    /// Uniform scale.
    pub scale: f32,
    /// Intermediate axis, metres.
    pub diameter: f32,
    /// Extents of its mesh at scale 1 along the mesh's axes, metres.
    pub size: Vec3,
}

/// What became of one id.
#[derive(Debug, Clone, PartialEq)]
pub enum PieceChange<'a> {
    /// It is only in the first layout.
    OnlyFirst(&'a ComparedPiece),
    /// It is only in the second.
    OnlySecond(&'a ComparedPiece),
    /// It is in both, and differs.
    Changed {
        /// As it is in the first layout.
        first: &'a ComparedPiece,
        /// As it is in the second.
        second: &'a ComparedPiece,
        /// By how much.
        by: Shift,
    },
}

/// How a piece of one layout differs from the same one of another; what is within the tolerance is
/// zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// Metres.
    pub moved: f64,
    /// Radians, 0 to pi.
    pub turned: f64,
    /// Scale in the second over that in the first, less one.
    pub scaled: f64,
    /// It is another mesh.
    pub other_piece: bool,
    /// It is in another pass.
    pub other_pass: bool,
}

/// The differences of one pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct PassDifference {
    /// Pieces in the first and in the second layout.
    pub pieces: [u64; 2],
    /// Ids that are in one of the two only.
    pub only: [u64; 2],
    /// Ids that have moved.
    pub moved: u64,
    /// Ids that have turned.
    pub turned: u64,
    /// Ids that have grown or shrunk.
    pub scaled: u64,
    /// Ids that have another mesh or are in another pass.
    pub other: u64,
}

impl PassDifference {
    /// Whether the pass is the same in both layouts.
    #[must_use]
    pub fn is_none(&self) -> bool {
        self.only == [0, 0] && [self.moved, self.turned, self.scaled, self.other] == [0; 4]
    }
}

/// All that differs.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference<'a> {
    /// By pass, in the order of the first layout, then that of the second.
    pub passes: Vec<(&'a str, PassDifference)>,
    /// By id, pass by pass; within one in the order of ids.
    pub changes: Vec<(u64, PieceChange<'a>)>,
}

impl Difference<'_> {
    /// Whether the layouts are the same.
    #[must_use]
    pub fn is_none(&self) -> bool {
        self.changes.is_empty() && self.passes.iter().all(|(_, d)| d.is_none())
    }
}

/// Compares two layouts.
#[must_use]
pub fn compare<'a>(
    first: &'a Document,
    second: &'a Document,
    tolerance: &Tolerance,
) -> Difference<'a> {
    let mut names: Vec<&str> = Vec::new();
    for name in first.passes.iter().chain(&second.passes) {
        if !names.contains(&&**name) {
            names.push(name);
        }
    }
    let number: BTreeMap<&str, usize> = names.iter().enumerate().map(|(i, n)| (*n, i)).collect();
    let of = |placed: &ComparedPiece| number.get(&*placed.pass).copied().unwrap_or(0);
    let mut passes = vec![PassDifference::default(); names.len()];
    let mut changes = Vec::new();
    for (i, document) in [first, second].into_iter().enumerate() {
        for placed in document.placed.values() {
            passes[of(placed)].pieces[i] += 1;
        }
    }
    for (id, a) in &first.placed {
        let pass = &mut passes[of(a)];
        let Some(b) = second.placed.get(id) else {
            pass.only[0] += 1;
            changes.push((of(a), *id, PieceChange::OnlyFirst(a)));
            continue;
        };
        if let Some(by) = shift(a, b, tolerance) {
            pass.moved += u64::from(by.moved > 0.0);
            pass.turned += u64::from(by.turned > 0.0);
            pass.scaled += u64::from(by.scaled != 0.0);
            pass.other += u64::from(by.other_piece || by.other_pass);
            let change = PieceChange::Changed {
                first: a,
                second: b,
                by,
            };
            changes.push((of(a), *id, change));
        }
    }
    for (id, b) in &second.placed {
        if !first.placed.contains_key(id) {
            passes[of(b)].only[1] += 1;
            changes.push((of(b), *id, PieceChange::OnlySecond(b)));
        }
    }
    changes.sort_by_key(|(pass, id, _)| (*pass, *id));
    Difference {
        passes: names.into_iter().zip(passes).collect(),
        changes: changes.into_iter().map(|(_, id, c)| (id, c)).collect(),
    }
}

/// How `b` differs from `a`; none if it does not.
fn shift(a: &ComparedPiece, b: &ComparedPiece, tolerance: &Tolerance) -> Option<Shift> {
    let beyond = |value: f64, most: f64| if value.abs() > most { value } else { 0.0 };
    let by = Shift {
        moved: beyond(a.position.distance(b.position), tolerance.moved),
        turned: beyond(angle(a.rotation, b.rotation), tolerance.turned),
        scaled: beyond(
            f64::from(b.scale) / f64::from(a.scale) - 1.0,
            tolerance.scaled,
        ),
        other_piece: a.piece != b.piece,
        other_pass: a.pass != b.pass,
    };
    let same = Shift {
        moved: 0.0,
        turned: 0.0,
        scaled: 0.0,
        other_piece: false,
        other_pass: false,
    };
    (by != same).then_some(by)
}

/// Angle between two rotations, radians. From the sine of its half, which small angles don't lose.
fn angle(a: [f32; 4], b: [f32; 4]) -> f64 {
    let [a, b] = [a, b].map(|q| DQuat::from_array(q.map(f64::from)).normalize());
    let between = a.conjugate() * b;
    2.0 * libm::atan2(between.xyz().length(), between.w.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn document(pieces: &[(u64, ComparedPiece)]) -> Document {
        Document {
            shot: "bar".into(),
            take: 1,
            passes: vec!["stones".into()],
            placed: pieces.iter().cloned().collect(),
        }
    }

    fn placed() -> ComparedPiece {
        ComparedPiece {
            pass: "stones".into(),
            piece: "rock-01".into(),
            position: DVec3::new(1e5, 0.0, -3.0),
            rotation: [0.0, 0.0, 0.0, 1.0],
            scale: 0.5,
            diameter: 0.1,
            size: Vec3::splat(0.1),
        }
    }

    #[test]
    fn small_and_whole_turns_are_measured() {
        let about_y = |half: f32| [0.0, libm::sinf(half), 0.0, libm::cosf(half)];
        for turn in [1e-5_f32, 0.01, 1.0, 3.1] {
            let got = angle(about_y(0.3), about_y(0.3 + 0.5 * turn));
            assert!((got - f64::from(turn)).abs() < 3e-7, "{turn} {got}");
        }
        // A quaternion and its negative are the same rotation
        assert!(angle(about_y(0.3), about_y(0.3).map(|v| -v)) < 1e-12);
    }

    #[test]
    fn each_difference_is_counted_beyond_its_tolerance_and_not_within() {
        let old = placed();
        let moved = ComparedPiece {
            position: old.position + DVec3::X * 2e-3,
            ..old.clone()
        };
        let grown = ComparedPiece {
            scale: 0.55,
            ..old.clone()
        };
        let other = ComparedPiece {
            piece: "rock-02".into(),
            ..old.clone()
        };
        let first = document(&[1, 2, 3, 4].map(|id| (id, old.clone())));
        let second = document(&[(1, moved), (2, grown), (3, other), (9, old)]);
        let tight = compare(&first, &second, &Tolerance::default());
        let stones = tight.passes[0].1;
        let counts = [stones.moved, stones.turned, stones.scaled, stones.other];
        assert_eq!(counts, [1, 0, 1, 1]);
        assert_eq!((stones.only, stones.pieces), ([1, 1], [4, 4]));
        assert_eq!(tight.changes.len(), 5);
        let wide = Tolerance {
            moved: 3e-3,
            turned: 0.0,
            scaled: 0.11,
        };
        assert_eq!(compare(&first, &second, &wide).changes.len(), 3);
        assert!(compare(&first, &first, &Tolerance::default()).is_none());
    }
}
