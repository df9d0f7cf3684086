//! The colour and the fabric of a stone: a pure function of its family and its id.
//!
//! Means and spreads are in L*a*b* of dry stone. Ranges of the practice of building stone and
//! geology, from memory: limestone 70-88, 0-4, 4-16; granite 60-75, -1-1, -1-4, pink 58-70, 4-10,
//! 6-12; basalt 30-48, -1-1, -3-3; sandstone buff 60-75, 3-9, 12-25, red 45-58, 10-18, 12-22; slate
//! 32-48, -2-1, -4-2; quartzite 70-85, 0-4, 2-10; gravel of rivers 50-62, 0-3, 3-9. Between stones
//! of one place standard deviations are 4-8, 1-2, 2-4.

use super::family::Family;
use super::lab::linear_of_lab;
use crate::random::{mix32, unit32};

/// How a rock is built, as far as a stone shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RockFabric {
    /// Too fine to see.
    Even,
    /// Cut by pale veins.
    Veined,
    /// In layers.
    Layered,
    /// Of grains that are seen, dark and pale.
    Granular,
}

/// One stone's rock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rock {
    /// Mean colour of the dry stone, linear.
    pub color: [f32; 3],
    /// Its fabric.
    pub fabric: RockFabric,
    /// Whether it came from elsewhere.
    pub stranger: bool,
}

/// A rock as stones of it vary.
struct RockRow {
    /// L*, a* and b*.
    mean: [f32; 3],
    /// Standard deviations between stones.
    spread: [f32; 3],
    /// What most stones show.
    fabric: RockFabric,
    /// Share of the stones that show veins instead (by eye).
    veined: f32,
}

/// In the middle of the ranges above, but for the warm side of limestone, where weathered stones
/// are.
const LIMESTONE: RockRow = RockRow {
    mean: [77.0, 1.2, 9.0],
    spread: [5.0, 1.1, 3.0],
    fabric: RockFabric::Even,
    veined: 0.30,
};
const GRANITE: RockRow = RockRow {
    mean: [67.0, 0.1, 1.8],
    spread: [5.0, 1.1, 2.2],
    fabric: RockFabric::Granular,
    veined: 0.03,
};
const PINK_GRANITE: RockRow = RockRow {
    mean: [64.0, 7.0, 9.0],
    spread: [4.5, 1.4, 2.2],
    ..GRANITE
};
const BASALT: RockRow = RockRow {
    mean: [39.0, 0.0, 0.2],
    spread: [5.0, 1.1, 2.2],
    fabric: RockFabric::Even,
    veined: 0.02,
};
const SANDSTONE: RockRow = RockRow {
    mean: [67.0, 5.0, 17.0],
    spread: [5.0, 1.4, 3.2],
    fabric: RockFabric::Layered,
    veined: 0.0,
};
const RED_SANDSTONE: RockRow = RockRow {
    mean: [51.0, 13.5, 16.5],
    spread: [5.0, 1.8, 2.8],
    ..SANDSTONE
};
const SLATE: RockRow = RockRow {
    mean: [40.0, -0.4, -0.8],
    spread: [5.0, 1.1, 2.2],
    fabric: RockFabric::Layered,
    veined: 0.08,
};
const QUARTZITE: RockRow = RockRow {
    mean: [77.0, 1.4, 5.5],
    spread: [5.0, 1.1, 2.4],
    fabric: RockFabric::Even,
    veined: 0.12,
};
/// The grey sandstone and siltstone that most gravel of mountain rivers is of; by eye, beside
/// photographs of a bar.
const GREYWACKE: RockRow = RockRow {
    mean: [54.0, -0.6, 0.8],
    spread: [6.0, 1.1, 2.6],
    fabric: RockFabric::Layered,
    veined: 0.16,
};

/// What a river's gravel is of, with shares: such that the mean over stones is in the range of
/// river gravel, and the spreads are those of stones in photographs of a bar and of two banks (L*
/// 9.0-15.7, b* 3.3-6.0).
const RIVER: [(&RockRow, f32); 8] = [
    (&GREYWACKE, 0.48),
    (&LIMESTONE, 0.14),
    (&SANDSTONE, 0.12),
    (&QUARTZITE, 0.07),
    (&BASALT, 0.08),
    (&GRANITE, 0.07),
    (&SLATE, 0.03),
    (&RED_SANDSTONE, 0.01),
];

/// Share of stones that came from elsewhere: few (common practice, no source).
const STRANGERS: f32 = 0.04;

/// What strangers are of: dark, grey and pale.
const ELSEWHERE: [(&RockRow, f32); 4] = [
    (&GREYWACKE, 0.4),
    (&BASALT, 0.2),
    (&QUARTZITE, 0.2),
    (&SANDSTONE, 0.2),
];

/// Darkest and palest albedo that rock has, linear.
const ALBEDOS: [f32; 2] = [0.015, 0.85];

// Streams of a stone's draws
const STRANGER: u32 = 301;
const MEMBER: u32 = 302;
const TONES: u32 = 310;
const BUILD: u32 = 330;

/// What differs from piece to piece: a hash of an instance's id.
#[must_use]
#[inline]
pub fn own(id: u64) -> u32 {
    mix32(id as u32 ^ mix32((id >> 32) as u32))
}

/// The rock of the stone whose id has the hash `own` ([`own`]).
#[must_use]
pub fn rock(family: Family, own: u32) -> Rock {
    let draw = |what: u32| unit32(mix32(own ^ mix32(what)));
    let stranger = one_rock(family).is_some() && draw(STRANGER) < STRANGERS;
    let row = match one_rock(family) {
        Some(row) if !stranger => row,
        Some(_) => among(&ELSEWHERE, draw(MEMBER)),
        None => among(&RIVER, draw(MEMBER)),
    };
    // Sum of three even numbers: about normal, of deviation 1, within 3
    let normal = |k: u32| 2.0 * (draw(k) + draw(k + 1) + draw(k + 2) - 1.5);
    let lab = [0, 1, 2].map(|k| row.mean[k] + row.spread[k] * normal(TONES + 4 * k as u32));
    let fabric = if draw(BUILD) < row.veined {
        RockFabric::Veined
    } else {
        row.fabric
    };
    Rock {
        color: albedo(lab),
        fabric,
        stranger,
    }
}

/// The colour of a family as a whole: the mean over its rocks, without strangers.
#[must_use]
pub fn mean(family: Family) -> [f32; 3] {
    match one_rock(family) {
        Some(row) => albedo(row.mean),
        None => RIVER.iter().fold([0.0; 3], |sum, (row, share)| {
            let color = albedo(row.mean);
            [0, 1, 2].map(|k| sum[k] + share * color[k])
        }),
    }
}

/// The rock of a family, or none where it is a mixture.
fn one_rock(family: Family) -> Option<&'static RockRow> {
    match family {
        Family::Limestone => Some(&LIMESTONE),
        Family::Granite => Some(&GRANITE),
        Family::PinkGranite => Some(&PINK_GRANITE),
        Family::Basalt => Some(&BASALT),
        Family::Sandstone => Some(&SANDSTONE),
        Family::RedSandstone => Some(&RED_SANDSTONE),
        Family::Slate => Some(&SLATE),
        Family::Quartzite => Some(&QUARTZITE),
        Family::RiverGravel => None,
    }
}

/// The rock at a share of a mixture, 0..1.
fn among(mixture: &[(&'static RockRow, f32)], mut at: f32) -> &'static RockRow {
    for (row, share) in mixture {
        at -= share;
        if at < 0.0 {
            return row;
        }
    }
    // Shares add up to 1 but for rounding
    mixture[0].0
}

fn albedo(lab: [f32; 3]) -> [f32; 3] {
    linear_of_lab(lab).map(|c| c.clamp(ALBEDOS[0], ALBEDOS[1]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::lab_of_linear;

    /// Means and standard deviations of L*, a* and b* over stones.
    fn figures(stones: &[[f32; 3]]) -> [[f32; 2]; 3] {
        [0, 1, 2].map(|k| {
            let count = stones.len() as f32;
            let mean = stones.iter().map(|s| s[k]).sum::<f32>() / count;
            let square = stones.iter().map(|s| (s[k] - mean) * (s[k] - mean));
            [mean, (square.sum::<f32>() / count).sqrt()]
        })
    }

    /// L*, a* and b* of 4000 stones of a family, strangers apart.
    fn stones(family: Family) -> (Vec<[f32; 3]>, usize) {
        let all = (0..4000_u64).map(|id| rock(family, own(id.wrapping_mul(0x9e37_79b9_7f4a_7c15))));
        let all: Vec<Rock> = all.collect();
        let own = all.iter().filter(|r| !r.stranger);
        let labs: Vec<[f32; 3]> = own.map(|r| lab_of_linear(r.color)).collect();
        let strangers = all.len() - labs.len();
        (labs, strangers)
    }

    /// Bands of means and of spreads: those of the head of this file, from memory of the practice
    /// of building stone and geology. Over 4000 stones the standard error of a mean is under a
    /// sixtieth of the spread.
    #[test]
    fn each_family_keeps_to_its_band() {
        let bands = [
            (Family::Limestone, [[70.0, 88.0], [0.0, 4.0], [4.0, 16.0]]),
            (Family::Granite, [[60.0, 75.0], [-1.0, 1.0], [-1.0, 4.0]]),
            (
                Family::PinkGranite,
                [[58.0, 70.0], [4.0, 10.0], [6.0, 12.0]],
            ),
            (Family::Basalt, [[30.0, 48.0], [-1.0, 1.0], [-3.0, 3.0]]),
            (Family::Sandstone, [[60.0, 75.0], [3.0, 9.0], [12.0, 25.0]]),
            (
                Family::RedSandstone,
                [[45.0, 58.0], [10.0, 18.0], [12.0, 22.0]],
            ),
            (Family::Slate, [[32.0, 48.0], [-2.0, 1.0], [-4.0, 2.0]]),
            (Family::Quartzite, [[70.0, 85.0], [0.0, 4.0], [2.0, 10.0]]),
        ];
        for (family, band) in bands {
            let (labs, strangers) = stones(family);
            let spreads = [[4.0, 8.0], [1.0, 2.0], [2.0, 4.0]];
            for (k, [mean, spread]) in figures(&labs).into_iter().enumerate() {
                let name = family.name();
                let held = (band[k][0]..=band[k][1]).contains(&mean);
                assert!(held, "{name}: mean {k} is {mean}");
                let held = (spreads[k][0]..=spreads[k][1]).contains(&spread);
                assert!(held, "{name}: spread {k} is {spread}");
            }
            // 4 % of 4000 are 160, standard deviation 12.4: within four of these
            assert!((110..=210).contains(&strangers), "{strangers} strangers");
        }
    }

    /// The mean of river gravel from memory, as above; the spreads between stones as measured on
    /// photographs of gravel (ImageGrains demo data, one bar and two banks; means over squares of 9
    /// mm that lie on one stone; the light's own modelling is in them): L* 9.0 to 15.7, b* 3.3 to
    /// 6.0. As drawn here b* may be half of one more: dust and light take that.
    #[test]
    fn river_gravel_is_as_mixed_as_photographed() {
        let (labs, strangers) = stones(Family::RiverGravel);
        assert_eq!(strangers, 0, "a river has no strangers");
        let [[l, of_l], [a, _], [b, of_b]] = figures(&labs);
        assert!((50.0..=62.0).contains(&l), "L* {l}");
        assert!((0.0..=3.0).contains(&a), "a* {a}");
        assert!((3.0..=9.0).contains(&b), "b* {b}");
        assert!((9.0..=15.7).contains(&of_l), "spread of L* {of_l}");
        assert!((3.3..=6.5).contains(&of_b), "spread of b* {of_b}");
    }

    #[test]
    fn a_stone_keeps_its_colour_and_ids_differ() {
        let at = |id| rock(Family::Granite, own(id));
        assert_eq!(at(7), at(7));
        let (first, second) = (at(1 << 40), at(2 << 40));
        assert_ne!(first.color, second.color);
        let shares: f32 = RIVER.iter().map(|(_, share)| share).sum();
        assert!((shares - 1.0).abs() < 1e-5, "{shares}");
    }
}
