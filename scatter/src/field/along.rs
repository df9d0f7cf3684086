//! Along lines of the ground: near one, on one side of it, between two.

use super::fade::falloff;
use crate::brief::{Along, LineSide};
use crate::ground::Ground;
use crate::plan::PlanLine;

/// Strength by the distance from a line.
#[derive(Debug, Clone)]
pub(super) struct LineField {
    asked: Along,
    line: PlanLine,
    and: Option<PlanLine>,
}

impl LineField {
    /// The field that is asked for; None where the ground has no such line, which a checked brief
    /// does not ask for.
    pub(super) fn new(asked: &Along, ground: &Ground) -> Option<Self> {
        Some(Self {
            asked: *asked,
            line: ground.line(asked.line)?.clone(),
            and: match asked.and {
                Some(other) => Some(ground.line(other)?.clone()),
                None => None,
            },
        })
    }

    /// Strength at a place in metres, 0..=1.
    pub(super) fn at(&self, x: f64, z: f64) -> f64 {
        let Along {
            within,
            fade,
            elsewhere,
            ..
        } = self.asked;
        let near = self
            .distance([x, z])
            .map_or(0.0, |distance| falloff(fade, distance, within));
        elsewhere + (1.0 - elsewhere) * near
    }

    /// Distance from where the strength is 1, metres; None on a side that does not count.
    fn distance(&self, place: [f64; 2]) -> Option<f64> {
        let found = self.line.nearest(place);
        if let Some(and) = &self.and {
            let other = and.nearest(place);
            let arm = |foot: [f64; 2]| [foot[0] - place[0], foot[1] - place[1]];
            let (a, b) = (arm(found.place), arm(other.place));
            // Between two lines they lie to either hand
            let between = a[0] * b[0] + a[1] * b[1] <= 0.0;
            let nearer = found.distance.abs().min(other.distance.abs());
            return Some(if between { 0.0 } else { nearer });
        }
        let counts = match self.asked.side {
            LineSide::Both => true,
            LineSide::Left => found.distance >= 0.0,
            LineSide::Right => found.distance <= 0.0,
        };
        counts.then(|| (found.distance.abs() - self.asked.offset).abs())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::brief::Fade;
    use crate::brief::LineIndex;

    /// Two lines toward +x, 1 m apart.
    fn field(and: bool, side: LineSide, offset: f64) -> LineField {
        let ground = Ground::of_document(
            r#"{"plane":{},"lines":{"a":{"points":[[-5,0],[5,0]]},"b":{"points":[[-5,1],[5,1]]}}}"#,
        );
        let asked = Along {
            line: LineIndex::of(0),
            and: and.then(|| LineIndex::of(1)),
            side,
            offset,
            within: 0.4,
            fade: Fade::Smooth,
            elsewhere: 0.1,
        };
        LineField::new(&asked, &ground).expect("its lines are there")
    }

    /// Smooth from 1 at 0 to 0.1 at 0.4 m.
    fn expected(distance: f64) -> f64 {
        let t = (distance / 0.4).min(1.0);
        0.1 + 0.9 * (1.0 - t * t * (3.0 - 2.0 * t))
    }

    #[test]
    fn strength_goes_by_distance_side_and_offset() {
        for i in -80..80 {
            let z = f64::from(i) * 0.011 + 0.0003;
            let near = |side, offset| field(false, side, offset).at(0.3, z);
            assert!((near(LineSide::Both, 0.0) - expected(z.abs())).abs() < 1e-12);
            assert!((near(LineSide::Both, 0.3) - expected((z.abs() - 0.3).abs())).abs() < 1e-12);
            // The left of +x is -z
            let left = if z < 0.0 {
                expected((z + 0.2).abs())
            } else {
                0.1
            };
            assert!((near(LineSide::Left, 0.2) - left).abs() < 1e-12, "{z}");
            let right = if z > 0.0 { expected(z) } else { 0.1 };
            assert!((near(LineSide::Right, 0.0) - right).abs() < 1e-12, "{z}");
        }
    }

    #[test]
    fn between_two_lines_it_is_full() {
        let field = field(true, LineSide::Both, 0.0);
        for i in -50..150 {
            let z = f64::from(i) * 0.01 + 0.0003;
            let beyond = (-z).max(z - 1.0).max(0.0);
            assert!((field.at(-0.7, z) - expected(beyond)).abs() < 1e-12, "{z}");
        }
    }
}
