//! Work done by hand.

use super::faults::Faults;
use crate::shot::bounds::{BY_HAND, CORNERS, LONG_NAME, PIN_M, REACH_M, SHARE};
use crate::shot::{Clear, Pin, Shot, piece_id};
use crate::units::Length;

/// Least area of a polygon, square metres: under a square millimetre nothing was meant to be kept
/// clear.
const LEAST_AREA_M2: f64 = 1e-6;

pub(super) fn check(shot: &Shot, faults: &mut Faults) {
    faults.count("pins", shot.pins.len(), BY_HAND);
    faults.count("clear", shot.clear.len(), BY_HAND);
    faults.count("remove", shot.remove.len(), BY_HAND);
    for (i, p) in shot.pins.iter().enumerate() {
        pin(p, &format!("pins[{i}]"), faults);
    }
    for (i, c) in shot.clear.iter().enumerate() {
        let at = format!("clear[{i}]");
        clear(c, &at, faults);
        for name in c.passes() {
            if !shot.passes.iter().any(|p| p.name == *name) {
                let known: Vec<&str> = shot.passes.iter().map(|p| p.name.as_str()).collect();
                faults.add(
                    format!("{at}.passes"),
                    format!("there is no pass `{name}`"),
                    format!("the passes are: {}", known.join(", ")),
                );
            }
        }
    }
    for (i, text) in shot.remove.iter().enumerate() {
        if piece_id(text).is_none() {
            faults.add(
                format!("remove[{i}]"),
                format!("{text:?} is no piece's id"),
                "16 hexadecimal digits, as the layout writes them",
            );
        }
        if shot.remove[..i].contains(text) {
            faults.add(
                format!("remove[{i}]"),
                "the piece is taken away already",
                "name each piece once",
            );
        }
    }
}

fn pin(pin: &Pin, at: &str, faults: &mut Faults) {
    faults.name(&format!("{at}.piece"), &pin.piece, LONG_NAME);
    faults.place(&format!("{at}.at"), pin.at);
    faults.length(format!("{at}.diameter"), pin.diameter, PIN_M);
    faults.azimuth(format!("{at}.heading"), pin.heading);
    faults.within(format!("{at}.bury"), pin.bury, SHARE, "");
}

fn clear(clear: &Clear, at: &str, faults: &mut Faults) {
    match clear {
        Clear::Disc(disc) => {
            faults.place(&format!("{at}.disc.at"), disc.at);
            faults.positive_length(format!("{at}.disc.radius"), disc.radius, REACH_M.most);
        }
        Clear::Box(shape) => {
            faults.place(&format!("{at}.box.at"), shape.at);
            for (k, side) in shape.size.iter().enumerate() {
                faults.positive_length(format!("{at}.box.size[{k}]"), *side, REACH_M.most);
            }
            faults.azimuth(format!("{at}.box.turn"), shape.turn);
        }
        Clear::Polygon(polygon) => {
            let place = format!("{at}.polygon.corners");
            faults.count(&place, polygon.corners.len(), CORNERS);
            for (k, corner) in polygon.corners.iter().enumerate() {
                faults.place(&format!("{place}[{k}]"), *corner);
            }
            let corners: Vec<[f64; 2]> = polygon
                .corners
                .iter()
                .map(|c| c.map(Length::metres))
                .collect();
            if let Some((i, j)) = crossing(&corners) {
                faults.add(
                    place,
                    format!("the side from corner {i} crosses the one from corner {j}"),
                    "corners in order round the polygon",
                );
            } else if corners.len() >= CORNERS.least && area(&corners) < LEAST_AREA_M2 {
                faults.add(
                    place,
                    "its corners lie in a line: it holds no ground",
                    "at least three corners that are not in a line",
                );
            }
        }
    }
}

/// Area of a polygon whose sides don't cross, square metres.
fn area(corners: &[[f64; 2]]) -> f64 {
    let Some(first) = corners.first() else {
        return 0.0;
    };
    let local = |c: &[f64; 2]| [c[0] - first[0], c[1] - first[1]];
    let sides = corners.iter().zip(corners.iter().cycle().skip(1));
    let twice = sides.map(|(a, b)| {
        let (a, b) = (local(a), local(b));
        a[0] * b[1] - a[1] * b[0]
    });
    0.5 * twice.sum::<f64>().abs()
}

/// Two sides of a polygon that cross, by their first corners.
fn crossing(corners: &[[f64; 2]]) -> Option<(usize, usize)> {
    let count = corners.len();
    if count > CORNERS.most {
        return None;
    }
    let turn = |a: [f64; 2], b: [f64; 2], c: [f64; 2]| {
        (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    };
    let side = |i: usize| (corners[i], corners[(i + 1) % count]);
    (0..count).find_map(|i| {
        // Neighbours share a corner and can't cross
        let last = if i == 0 {
            count.saturating_sub(1)
        } else {
            count
        };
        (i + 2..last).find_map(|j| {
            let ((a, b), (c, d)) = (side(i), side(j));
            let apart = turn(a, b, c) * turn(a, b, d) < 0.0 && turn(c, d, a) * turn(c, d, b) < 0.0;
            apart.then_some((i, j))
        })
    })
}
