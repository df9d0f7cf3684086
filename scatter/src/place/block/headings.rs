//! How pieces are turned about the ground's normal.

use crate::plan::PlanLine;
use crate::plan::stones::nearest_turn;

/// Directions that headings are drawn from: 0.09 degrees apart, finer than a heading is ever seen.
const DIRECTIONS: usize = 4096;

/// How pieces are turned about the ground's normal.
#[derive(Debug, Clone)]
pub struct Headings {
    directions: Vec<[f32; 2]>,
    /// The nearest sixty-fourth turn of each, from +x toward +z.
    turns: Vec<u8>,
    /// The line against which directions are turned; None where they are those of the world.
    line: Option<PlanLine>,
}

impl Headings {
    /// Any heading, all as likely.
    #[must_use]
    pub fn random() -> Self {
        Self::from_angles(|u| u * std::f64::consts::TAU)
    }

    /// Long axes along an azimuth (radians, clockwise from -z seen from above), normally spread
    /// about it (standard deviation, radians); either end may point that way.
    #[must_use]
    pub fn toward(azimuth: f64, spread: f64) -> Self {
        Self::from_angles(|u| {
            let end = if u < 0.5 { 0.0 } else { std::f64::consts::PI };
            let share = (2.0 * u).fract();
            azimuth + end + spread * normal_quantile(share)
        })
    }

    /// Long axes turned by an angle (radians, clockwise seen from above) against a line as it runs
    /// where it is nearest; spread as in [`Headings::toward`].
    #[must_use]
    pub fn along(line: PlanLine, turn: f64, spread: f64) -> Self {
        Self {
            line: Some(line),
            ..Self::toward(turn, spread)
        }
    }

    fn from_angles(angle: impl Fn(f64) -> f64) -> Self {
        let directions: Vec<[f32; 2]> = (0..DIRECTIONS)
            .map(|i| {
                let a = angle((i as f64 + 0.5) / DIRECTIONS as f64);
                [libm::sin(a) as f32, -libm::cos(a) as f32]
            })
            .collect();
        let turns = directions.iter().map(|d| nearest_turn(*d) as u8);
        Self {
            turns: turns.collect(),
            directions,
            line: None,
        }
    }

    /// The sixty-fourth turn that is nearest to the heading picked at a place.
    #[inline]
    pub(super) fn turn(&self, bits: u32, place: impl FnOnce() -> [f64; 2]) -> u8 {
        if self.line.is_some() {
            return nearest_turn(self.pick(bits, place)) as u8;
        }
        self.turns[(bits as usize * DIRECTIONS) >> 32]
    }

    /// A heading: a unit vector on the plan. `place` is asked only where headings follow a line.
    #[inline]
    pub(super) fn pick(&self, bits: u32, place: impl FnOnce() -> [f64; 2]) -> [f32; 2] {
        let picked = self.directions[(bits as usize * DIRECTIONS) >> 32];
        let Some(line) = &self.line else {
            return picked;
        };
        // What is picked counts from -z: the way of the line takes its place
        let [x, z] = picked.map(f64::from);
        let [wx, wz] = line.nearest(place()).way;
        [(-wx * z - wz * x) as f32, (wx * x - wz * z) as f32]
    }
}

/// Standard normal quantile by bisection of the error function: for tables, not for loops. `u` in
/// (0, 1).
fn normal_quantile(u: f64) -> f64 {
    let (mut low, mut high) = (-9.0, 9.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 0.5 * libm::erfc(-middle / std::f64::consts::SQRT_2) < u {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::stream;

    /// Along a bend through a quarter circle long axes follow its tangent, turned by a right angle
    /// where that is asked.
    #[test]
    fn along_a_line_headings_are_its_tangents() {
        let on = |a: f64| [libm::sin(a), -libm::cos(a)];
        let points: Vec<[f64; 2]> = (0..=8).map(|i| on(f64::from(i) * 0.2)).collect();
        let line = PlanLine::new(&points, true, false);
        let mut s = stream(8);
        for turn in [0.0, std::f64::consts::FRAC_PI_2] {
            let headings = Headings::along(line.clone(), turn, 0.0);
            for _ in 0..400 {
                let a = s.between(0.2, 1.4);
                let r = s.between(0.8, 1.2);
                let [x, z] = on(a).map(|v| r * v);
                let [hx, hz] = headings.pick(s.bits() as u32, || [x, z]).map(f64::from);
                // The azimuth of the tangent: from +x at -z, clockwise
                let expected = a + std::f64::consts::FRAC_PI_2 + turn;
                let (ex, ez) = (libm::sin(expected), -libm::cos(expected));
                // Either end may point that way; between inner points the spline is within a
                // hundredth of the circle
                assert!((hx * ex + hz * ez).abs() > 0.9999, "{a} {turn}: {hx} {hz}");
            }
        }
    }
}
