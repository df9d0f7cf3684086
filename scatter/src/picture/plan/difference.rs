//! Two layouts on one plan: what is in one only, and what has moved.

use std::collections::BTreeSet;
use std::f64::consts::TAU;

use glam::{DMat3, DVec3, Quat};

use super::drawing::{Drawing, Frame, Ink, Legend};
use super::tones::{INK, Srgb8};
use super::{BORDER, CORNERS, FINEST, Plan, title};
use crate::deliver::compare::{ComparedPiece, Difference, Document, PieceChange};
use crate::error::{Error, Result};

/// Pieces that are the same: seen, and no more.
const SAME: Srgb8 = [205, 203, 196];
/// Blue and orange are told apart by every kind of colour vision: only in the first, only in the
/// second.
const FIRST: Srgb8 = [44, 112, 180];
const SECOND: Srgb8 = [222, 120, 20];
/// In both, but not the same.
const CHANGED: Srgb8 = INK;

impl Plan {
    /// Draws two layouts over each other. A piece is the outline of the ellipsoid of its extents,
    /// as it lies; one that has moved has a line from where it was to where it is.
    ///
    /// # Errors
    /// The width is zero, or there is no piece to draw.
    pub fn of_difference(
        first: &Document,
        second: &Document,
        difference: &Difference<'_>,
        width: u32,
    ) -> Result<Self> {
        if width == 0 {
            let hint = "1 pixel or more";
            return Err(Error::input("width", "the drawing has no width", hint));
        }
        let all = || first.placed.values().chain(second.placed.values());
        let mut drawn = 0;
        let mut lines = Vec::new();
        let mut changed = Vec::new();
        let (mut firsts, mut seconds) = (Vec::new(), Vec::new());
        for (id, change) in &difference.changes {
            match change {
                PieceChange::OnlyFirst(placed) => firsts.push((*id, *placed)),
                PieceChange::OnlySecond(placed) => seconds.push((*id, *placed)),
                PieceChange::Changed { first, second, .. } => {
                    changed.push((*id, *second));
                    lines.push([first, second].map(|p| [p.position.x, p.position.z]));
                }
            }
        }
        let differs: BTreeSet<u64> = difference.changes.iter().map(|(id, _)| *id).collect();
        let same: Vec<(u64, &ComparedPiece)> = first
            .placed
            .iter()
            .filter(|(id, _)| !differs.contains(id))
            .map(|(id, placed)| (*id, placed))
            .collect();
        let legend = Legend {
            title: format!(
                "{} take {} and {} take {}",
                first.shot, first.take, second.shot, second.take
            ),
            tones: vec![
                (format!("the same {}", same.len()), SAME),
                (format!("only first {}", firsts.len()), FIRST),
                (format!("only second {}", seconds.len()), SECOND),
                (format!("changed {}", changed.len()), CHANGED),
            ],
            keys: vec!["line: from the first place to the second"],
        };
        let mut drawing = Drawing::new(Frame::new(window(all())?, width).under(&legend));
        let groups = [same, firsts, seconds, changed];
        for (group, (_, tone)) in groups.into_iter().zip(&legend.tones) {
            let outlines: Vec<(Vec<[f64; 2]>, String)> = group
                .into_iter()
                .map(|(id, p)| (outline(p), title(&p.pass, &p.piece, (p.diameter, id))))
                .filter(|(corners, _)| drawing.frame.shows(corners, FINEST))
                .collect();
            drawn += outlines.len() as u64;
            drawing.fill_titled(outlines, Ink::solid(*tone));
        }
        for line in lines {
            drawing.stroke(line.to_vec(), Ink::line(CHANGED, 1.5));
        }
        drawing.legend(&legend);
        drawing.scale_bar();
        Ok(Self { drawing, drawn })
    }
}

/// A piece's outline on the plan: of the ellipsoid of its extents, as it lies.
///
/// The ellipsoid `|D^-1 R^T x| = 1` seen along y has the outline `x^T M^-1 x = 1`, where M is the
/// part of `R D^2 R^T` in x and z; its points are those of the unit circle under M's Cholesky
/// factor.
fn outline(placed: &ComparedPiece) -> Vec<[f64; 2]> {
    let half = placed.size.as_dvec3() * (0.5 * f64::from(placed.scale));
    let turn = Quat::from_array(placed.rotation).as_dquat();
    let turn = DMat3::from_quat(turn.normalize());
    let axes = [0, 1, 2].map(|k| turn.col(k) * half[k]);
    let sum = |f: &dyn Fn(DVec3) -> f64| -> f64 { axes.iter().map(|a| f(*a)).sum() };
    let [xx, xz, zz] = [
        sum(&|a| a.x * a.x),
        sum(&|a| a.x * a.z),
        sum(&|a| a.z * a.z),
    ];
    // What stands on its edge still has a breadth that can be drawn
    let a = xx.max(1e-12).sqrt();
    let b = xz / a;
    let c = (zz - b * b).max(1e-12).sqrt();
    (0..CORNERS)
        .map(|i| {
            let (sin, cos) = libm::sincos(TAU * i as f64 / CORNERS as f64);
            [
                placed.position.x + a * cos,
                placed.position.z + b * cos + c * sin,
            ]
        })
        .collect()
}

/// The window `[x0, z0, x1, z1]` that holds all pieces.
fn window<'a>(placed: impl Iterator<Item = &'a ComparedPiece>) -> Result<[f64; 4]> {
    let mut w = [f64::INFINITY, f64::INFINITY, -f64::INFINITY, -f64::INFINITY];
    for p in placed {
        let (x, z) = (p.position.x, p.position.z);
        w = [w[0].min(x), w[1].min(z), w[2].max(x), w[3].max(z)];
    }
    if w[0] > w[2] {
        let hint = "leave out --out: there is nothing to draw";
        return Err(Error::input("", "neither layout has a piece", hint));
    }
    // A lone piece still has some ground about it
    let border = (BORDER * (w[2] - w[0]).max(w[3] - w[1])).max(0.05);
    Ok([w[0] - border, w[1] - border, w[2] + border, w[3] + border])
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use glam::{DQuat, Vec3};

    use super::*;
    use crate::deliver::compare::{Tolerance, compare};
    use crate::picture::plan::svg;

    fn document(take: u64, places: &[(u64, f64)]) -> Document {
        let one = |x: f64| ComparedPiece {
            pass: "stones".into(),
            piece: "cobble-01".into(),
            position: DVec3::new(x, 0.0, x),
            rotation: [0.0, 0.0, 0.0, 1.0],
            scale: 1.0,
            diameter: 0.1,
            size: Vec3::new(0.16, 0.05, 0.1),
        };
        Document {
            shot: "bar".into(),
            take,
            passes: vec!["stones".into()],
            placed: places
                .iter()
                .map(|(id, x)| (*id, one(*x)))
                .collect::<BTreeMap<_, _>>(),
        }
    }

    #[test]
    fn each_kind_of_change_has_its_tone_where_it_is() {
        let a = document(1, &[(1, 0.0), (2, 1.0), (3, 2.0)]);
        let b = document(2, &[(1, 0.0), (3, 2.5), (4, 4.0)]);
        let difference = compare(&a, &b, &Tolerance::default());
        let plan = Plan::of_difference(&a, &b, &difference, 800).unwrap();
        assert_eq!(plan.drawn(), 4);
        let (size, rgb) = plan.to_pixels();
        let at = |x: f64| {
            let [px, py] = plan.drawing.frame.place([x, x]).map(|v| v as usize);
            let i = 3 * (py * size[0] as usize + px);
            [rgb[i], rgb[i + 1], rgb[i + 2]]
        };
        assert_eq!(at(1.0), FIRST);
        assert_eq!(at(4.0), SECOND);
        assert_eq!(at(2.5), CHANGED);
        assert_eq!(at(2.2), CHANGED, "no line from where it was");
        assert!(svg::text(&plan.drawing).contains("only second 1"));
    }

    /// By hand: an ellipsoid 16 cm long on x, turned by 90 degrees about y, is long on z; stood on
    /// its end, about z, it shows its height of 5 cm on x.
    #[test]
    fn an_outline_lies_as_the_piece_does() {
        let mut one = document(1, &[(1, 0.0)]).placed.remove(&1).unwrap();
        let spans = |one: &ComparedPiece| {
            let corners = outline(one);
            [0, 1].map(|k| {
                let along = corners.iter().map(|c| c[k]);
                along.clone().fold(f64::MIN, f64::max) - along.fold(f64::MAX, f64::min)
            })
        };
        let quarter = std::f64::consts::FRAC_PI_2;
        for (turn, expected) in [
            (DQuat::IDENTITY, [0.16, 0.1]),
            (DQuat::from_rotation_y(quarter), [0.1, 0.16]),
            (DQuat::from_rotation_z(quarter), [0.05, 0.1]),
        ] {
            one.rotation = turn.as_quat().to_array();
            for (found, expected) in spans(&one).into_iter().zip(expected) {
                assert!((found - expected).abs() < 1e-6, "{found} for {expected}");
            }
        }
        let y = 0.5 * quarter;
        one.rotation = DQuat::from_rotation_y(y).as_quat().to_array();
        let expected = libm::hypot(0.16 * libm::cos(y), 0.1 * libm::sin(y));
        let [x, _] = spans(&one);
        // The polygon's corners are up to 2 % within the ellipse
        assert!(x <= expected + 1e-9 && x > 0.98 * expected, "{x}");
    }

    #[test]
    fn nothing_to_draw_is_told() {
        let none = document(1, &[]);
        let difference = compare(&none, &none, &Tolerance::default());
        assert!(Plan::of_difference(&none, &none, &difference, 800).is_err());
    }
}
