//! Lines on the ground, and how they press it down: ruts, trodden paths.

use crate::brief;
use crate::plan::PlanLine;

/// Share of a pressed line's breadth that is its level bed: by eye, beside wheel ruts and trodden
/// paths.
const BED: f64 = 0.4;

/// The lines of a ground.
#[derive(Debug, Clone, Default)]
pub(super) struct GroundLines {
    lines: Vec<PlanLine>,
    presses: Vec<Press>,
}

/// A line that presses the ground down.
#[derive(Debug, Clone)]
struct Press {
    /// Among the lines.
    line: usize,
    /// How far its bed is under the ground, metres.
    depth: f64,
    /// Half of its breadth, metres.
    half: f64,
}

impl GroundLines {
    pub(super) fn new(asked: &[brief::Line]) -> Self {
        let presses = asked.iter().enumerate().filter_map(|(line, asked)| {
            let press = asked.press?;
            Some(Press {
                line,
                depth: press.depth,
                half: 0.5 * press.width,
            })
        });
        let line = |l: &brief::Line| PlanLine::new(&l.points, l.smooth, l.closed);
        Self {
            presses: presses.filter(|p| p.depth > 0.0).collect(),
            lines: asked.iter().map(line).collect(),
        }
    }

    pub(super) fn line(&self, index: usize) -> Option<&PlanLine> {
        self.lines.get(index)
    }

    pub(super) fn press_nothing(&self) -> bool {
        self.presses.is_empty()
    }

    /// Height that the ground gains at a place (none or less), and its gain per metre along x and
    /// z. Where lines cross, the deepest counts.
    pub(super) fn at(&self, x: f64, z: f64) -> [f64; 3] {
        let mut deepest = [0.0; 3];
        for press in &self.presses {
            let Some(line) = self.lines.get(press.line) else {
                continue;
            };
            let found = line.nearest([x, z]);
            let distance = found.distance.abs();
            if distance >= press.half {
                continue;
            }
            // From the edge of the bed to that of the breadth
            let t = ((distance / press.half - BED) / (1.0 - BED)).max(0.0);
            let height = press.depth * (t * t * (3.0 - 2.0 * t) - 1.0);
            if height >= deepest[0] {
                continue;
            }
            let rise = press.depth * 6.0 * t * (1.0 - t) / ((1.0 - BED) * press.half);
            let [fx, fz] = found.place;
            // Away from the line; in the bed there is no rise
            let away = if distance > 0.0 { rise / distance } else { 0.0 };
            deepest = [height, away * (x - fx), away * (z - fz)];
        }
        deepest
    }

    /// The greatest depth, metres.
    pub(super) fn deepest(&self) -> f64 {
        self.presses.iter().map(|p| p.depth).fold(0.0, f64::max)
    }

    /// Upper bound of the slope that it adds.
    pub(super) fn steepest(&self) -> f64 {
        let slope = |p: &Press| 1.5 * p.depth / ((1.0 - BED) * p.half);
        self.presses.iter().map(slope).fold(0.0, f64::max)
    }

    /// Distance of samples over a rectangle between which what is pressed is nowhere farther than
    /// `off` metres from the triangle through them; infinite where nothing is.
    pub(super) fn spacing(&self, rectangle: [f64; 4], off: f64) -> f64 {
        let near = self.presses.iter().filter(|p| {
            let line = self.lines.get(p.line);
            line.is_some_and(|l| l.may_be_within(p.half, rectangle))
        });
        let bends = near.map(|p| {
            let run = (1.0 - BED) * p.half;
            6.0 * p.depth / (run * run)
        });
        let bend = bends.fold(0.0, f64::max);
        // Between places up to `s` apart along either axis a triangle is off by a fourth of the
        // bend times the square of `s`
        libm::sqrt(4.0 * off / bend)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rut(closed: bool) -> GroundLines {
        GroundLines::new(&[brief::Line {
            name: "rut".into(),
            points: vec![[-1.0, 0.2], [0.0, 0.0], [1.0, 0.3]],
            smooth: true,
            closed,
            press: Some(brief::Press {
                depth: 0.03,
                width: 0.2,
            }),
        }])
    }

    #[test]
    fn the_bed_is_level_and_the_edges_are_the_grounds() {
        let lines = rut(false);
        let line = lines.line(0).unwrap();
        let (mut beds, mut outside) = (0, 0);
        for i in 0..4000 {
            let (x, z) = (
                f64::from(i % 80) * 0.03 - 1.2,
                f64::from(i / 80) * 0.02 - 0.4,
            );
            let distance = line.nearest([x, z]).distance.abs();
            let [height, gx, gz] = lines.at(x, z);
            if distance < 0.04 {
                beds += 1;
                assert!((height + 0.03).abs() < 1e-12 && gx == 0.0 && gz == 0.0);
            } else if distance > 0.1 {
                outside += 1;
                assert_eq!([height, gx, gz], [0.0; 3]);
            } else {
                // Halfway between bed and edge it is half as deep
                let t = (distance - 0.04) / 0.06;
                let expected = -0.03 * (1.0 - t * t * (3.0 - 2.0 * t));
                assert!((height - expected).abs() < 1e-9, "{height} {expected}");
            }
        }
        assert!(beds > 100 && outside > 1000, "{beds} {outside}");
    }

    #[test]
    fn slopes_are_the_change_of_the_height() {
        let lines = rut(true);
        let step = 1e-6;
        for i in 0..2000 {
            let (x, z) = (
                f64::from(i % 50) * 0.041 - 1.0,
                f64::from(i / 50) * 0.011 - 0.1,
            );
            let [_, gx, gz] = lines.at(x, z);
            let change = |dx: f64, dz: f64| {
                (lines.at(x + dx, z + dz)[0] - lines.at(x - dx, z - dz)[0]) / (2.0 * step)
            };
            // Where two parts of the line are as near there is a ridge without a slope
            let off = (change(step, 0.0) - gx)
                .abs()
                .max((change(0.0, step) - gz).abs());
            assert!(off < 1e-3 || is_ridge(&lines, x, z), "{off} at {x} {z}");
            assert!(libm::hypot(gx, gz) <= lines.steepest() + 1e-9);
        }
    }

    fn is_ridge(lines: &GroundLines, x: f64, z: f64) -> bool {
        let line = lines.line(0).unwrap();
        let feet = [[1e-5, 0.0], [-1e-5, 0.0], [0.0, 1e-5], [0.0, -1e-5]]
            .map(|d| line.nearest([x + d[0], z + d[1]]).place);
        feet.iter().any(|f| (f[0] - feet[0][0]).abs() > 1e-3)
    }
}
