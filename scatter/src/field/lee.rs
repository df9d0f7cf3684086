//! The lee: where the wake of something in the wind shelters the ground.
//!
//! Behind an obstacle stands a cavity of turning air, and behind that a wake in which the wind
//! recovers. The cavity's length over the obstacle's height H, for a width W across and a length L
//! along the wind, is x / H = 1.8 (W / H) / ((L / H)^0.3 (1 + 0.24 W / H)), for L / H between 0.3
//! and 3 (Fackrell, "Parameters characterising dispersion in the near wake of buildings", 1984;
//! formula from memory). In the cavity shelter is full; from there it fades until the distance that
//! the shot gives.

use glam::FloatExt;

use super::outlined::Outlined;
use crate::plan::NANO;

/// Limits of L / H in the formula's fit.
const SLENDERNESS: [f64; 2] = [0.3, 3.0];
/// Share of the half-width, across the wind, on which shelter is full; it ends at the half-width,
/// as the wake's edges mix with the wind (by eye).
const CORE: f64 = 0.7;

/// What lies across the wind at a place.
struct Section {
    /// Half the width across the wind, nanometres.
    half_width: f64,
    /// Length along the wind, nanometres.
    length: f64,
    /// Place across the wind from the middle, over the half-width: under 1 in size.
    across: f64,
    /// Distance along the wind from the lee edge, nanometres; negative upwind of it.
    behind: f64,
}

/// Shelter of a place by a thing, 0..=1: 0 on it, beside it, upwind of it, and more than `reach`
/// nanometres behind it.
pub(super) fn shelter(thing: &Outlined, downwind: [f64; 2], reach: f64, x: i64, z: i64) -> f64 {
    let section = section(thing.corners(), downwind, x, z);
    let Some(section) = section else { return 0.0 };
    if section.behind <= 0.0 || section.behind >= reach {
        return 0.0;
    }
    let height = (thing.height() * NANO).max(1.0);
    let (w, l) = (
        2.0 * section.half_width / height,
        (section.length / height).clamp(SLENDERNESS[0], SLENDERNESS[1]),
    );
    let cavity = (height * 1.8 * w / (libm::pow(l, 0.3) * (1.0 + 0.24 * w))).min(reach);
    let along = fall(section.behind, cavity, reach);
    along * fall(section.across.abs(), CORE, 1.0)
}

/// 1 up to `from`, 0 from `to` on, smooth between.
fn fall(value: f64, from: f64, to: f64) -> f64 {
    // Also where both are one place
    if value <= from {
        return 1.0;
    }
    1.0 - value.smoothstep(from, to)
}

/// The section of a convex polygon across the wind through a place; none beside it.
fn section(corners: &[[i64; 2]], downwind: [f64; 2], x: i64, z: i64) -> Option<Section> {
    let turned = |c: &[i64; 2]| {
        let (dx, dz) = ((c[0] - x) as f64, (c[1] - z) as f64);
        [
            dx * downwind[0] + dz * downwind[1],
            dz * downwind[0] - dx * downwind[1],
        ]
    };
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    let mut lee_edge = f64::NEG_INFINITY;
    for (i, corner) in corners.iter().enumerate() {
        let (a, b) = (turned(corner), turned(&corners[(i + 1) % corners.len()]));
        for k in 0..2 {
            low[k] = low[k].min(a[k]);
            high[k] = high[k].max(a[k]);
        }
        // The edge is cut by the wind's line through the place
        if (a[1] <= 0.0) != (b[1] <= 0.0) {
            lee_edge = lee_edge.max(a[0] + (b[0] - a[0]) * a[1] / (a[1] - b[1]));
        }
    }
    if lee_edge == f64::NEG_INFINITY {
        return None;
    }
    let half_width = 0.5 * (high[1] - low[1]);
    Some(Section {
        half_width,
        length: high[0] - low[0],
        across: -0.5 * (high[1] + low[1]) / half_width,
        behind: -lee_edge,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `at`: the place from the middle; `along`: direction of the long axis; `axes`: longer and
    /// shorter semi-axis.
    fn ellipse_section(
        at: [f64; 2],
        along: [f64; 2],
        axes: [f64; 2],
        downwind: [f64; 2],
    ) -> Option<Section> {
        // Axes x: downwind, y: to its left
        let (x, y) = (
            at[0] * downwind[0] + at[1] * downwind[1],
            at[1] * downwind[0] - at[0] * downwind[1],
        );
        let (c, s) = (
            along[0] * downwind[0] + along[1] * downwind[1],
            along[1] * downwind[0] - along[0] * downwind[1],
        );
        let [a2, b2] = axes.map(|v| v * v);
        let half_width = libm::sqrt(a2 * s * s + b2 * c * c);
        let across = y / half_width;
        if across.abs() >= 1.0 {
            return None;
        }
        // The chord along the wind at y: its middle lies on the conjugate diameter
        let middle = y * (a2 - b2) * s * c / (half_width * half_width);
        let half = axes[0] * axes[1] / half_width;
        Some(Section {
            half_width,
            length: 2.0 * half,
            across,
            behind: x - middle - half * libm::sqrt(1.0 - across * across),
        })
    }

    #[test]
    fn an_ellipse_and_its_polygon_shelter_alike() {
        // A polygon of 720 corners on a turned ellipse: both routes, 400 places, within 1 %.
        let (c, s) = (0.8, 0.6);
        let axes = [90e6, 60e6];
        let corners: Vec<[i64; 2]> = (0..720)
            .map(|i| {
                let t = f64::from(i).to_radians() * 0.5;
                let (p, q) = (axes[0] * t.cos(), axes[1] * t.sin());
                [(p * c - q * s) as i64, (p * s + q * c) as i64]
            })
            .collect();
        let wind = [0.28, 0.96];
        for i in 0..400 {
            let (x, z) = (
                (i % 20) * 17_000_000 - 160_000_000,
                (i / 20) * 17_000_000 - 160_000_000,
            );
            let one = ellipse_section([x as f64, z as f64], [c, s], axes, wind);
            let two = section(&corners, wind, x, z);
            match (one, two) {
                (Some(one), Some(two)) if one.across.abs() < 0.99 => {
                    assert!((one.across - two.across).abs() < 0.01);
                    assert!((one.behind - two.behind).abs() < 1e6);
                    assert!((one.half_width - two.half_width).abs() < 1e5);
                }
                (Some(one), _) => assert!(one.across.abs() > 0.98),
                (None, Some(two)) => assert!(two.across.abs() > 0.98),
                (None, None) => {}
            }
        }
    }

    #[test]
    fn the_cavity_of_a_cube_is_as_published() {
        // Fackrell's formula for a cube: 1.8 / 1.24 = 1.45 heights, in full shelter; gone at the
        // reach.
        let corners = vec![
            [-1_000_000, -1_000_000],
            [1_000_000, -1_000_000],
            [1_000_000, 1_000_000],
            [-1_000_000, 1_000_000],
        ];
        let cube = Outlined::hull(corners, 0.002);
        let at = |heights: f64| shelter(&cube, [1.0, 0.0], 12e6, (1e6 + heights * 2e6) as i64, 0);
        assert!((at(1.44) - 1.0).abs() < 1e-12);
        assert!(at(1.7) < 1.0 && at(1.7) > 0.9);
        assert!(at(3.0) > at(4.0) && at(5.99) > 0.0);
        assert_eq!(at(6.01), 0.0);
        assert_eq!(at(-1.5), 0.0, "upwind");
    }
}
