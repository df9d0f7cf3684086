//! Where the sizes of one pass end and those of another begin: warnings of steps and gaps there.
//!
//! Stones of neighbouring sizes that lie on one ground are one population to the eye. At the
//! diameter where two passes meet, the number of pieces per ln(diameter) as asked should be one and
//! the same.

use std::collections::BTreeMap;

use super::forms::Forms;
use super::kit::Kit;
use crate::brief::{Amount, Brief, LayerIndex, Lies, Pass, Place, RelationKind, RelationTarget};
use crate::kit::{Kind, Serving};
use crate::units::Length;

/// Two passes meet where the largest of one and the smallest of the other are this near to each
/// other, as a ratio.
const MEETS: f64 = 1.1;
/// Numbers on the two sides of a seam may differ by this factor: less does not show among the
/// chance of single stones (by eye).
const STEP: f64 = 1.5;
/// Ends of parts within this ratio over 1 leave no gap: a hair is rounding.
const SAME: f64 = 1e-6;

/// A pass of stones that are placed evenly, as asked.
struct EvenStones<'a> {
    name: &'a str,
    pass: &'a Pass,
    /// Pieces a square metre of all ground and ln(diameter), at the smallest and the largest
    /// diameter.
    ends: [f64; 2],
}

/// Warnings of the seams between a brief's passes; `forms[i]` are those of pass i.
pub(super) fn warnings(brief: &Brief, forms: &[Forms], kit: &Kit) -> Vec<String> {
    let mut covers: Vec<f64> = Vec::new();
    let mut stones: Vec<EvenStones<'_>> = Vec::new();
    for (index, (layer, pass)) in brief.passes().enumerate() {
        let law = &pass.sizes;
        let area = forms[index].choice.fill(law) * law.mean_square();
        // A pass covers what it asks of the ground that others leave it
        let mut cleared: Vec<usize> = cleared(pass).map(usize::from).collect();
        cleared.sort_unstable();
        cleared.dedup();
        let taken: f64 = cleared.iter().map(|other| covers[*other]).sum();
        let left = (1.0 - taken).max(0.0);
        let cover = match pass.amount {
            Amount::Cover(cover) => cover,
            Amount::PerSquareMetre(count) => count * area,
        };
        covers.push((cover * left).min(1.0));
        if is_of_stones(pass, &kit.library.of_pass[index], kit) && law.from() < law.to() {
            let per_m2 = cover * left / area;
            stones.push(EvenStones {
                name: &layer.name,
                pass,
                ends: [law.from(), law.to()].map(|d| per_m2 * law.density(d)),
            });
        }
    }
    let mut warnings = gaps(brief);
    warnings.extend(steps(&stones));
    warnings
}

/// The passes that a pass keeps clear of.
fn cleared(pass: &Pass) -> impl Iterator<Item = LayerIndex> {
    pass.relations().filter_map(|(_, r)| match r.to {
        RelationTarget::Pass(other) if r.manner == RelationKind::ClearOf => Some(other),
        RelationTarget::Pass(_) | RelationTarget::Heroes => None,
    })
}

/// Whether a pass places stones evenly.
fn is_of_stones(pass: &Pass, servings: &[Serving], kit: &Kit) -> bool {
    let is_stone = |name: &String| Kind::named(name).is_none_or(|k| k.is_stone());
    pass.place != Place::Strewn
        && pass.pieces.iter().all(is_stone)
        && servings
            .iter()
            .all(|s| kit.bodies[usize::from(s.piece)].lies == Lies::Rigid)
}

/// Warnings of steps, in the order of the passes.
fn steps(stones: &[EvenStones<'_>]) -> Vec<String> {
    let mut by_largest: Vec<usize> = (0..stones.len()).collect();
    let largest = |i: &usize| stones[*i].pass.sizes.to();
    by_largest.sort_by(|a, b| largest(a).total_cmp(&largest(b)));
    let mut met = BTreeMap::new();
    for (coarse, one) in stones.iter().enumerate() {
        let above = one.pass.sizes.from();
        let first = by_largest.partition_point(|i| above > largest(i) * MEETS);
        let meeting = by_largest[first..].iter();
        for fine in meeting.take_while(|i| largest(i) <= above * MEETS) {
            if *fine != coarse
                && let Some(warning) = step(one, &stones[*fine])
            {
                // Two passes that meet at both ends are told of once
                met.entry([coarse.min(*fine), coarse.max(*fine)])
                    .or_insert(warning);
            }
        }
    }
    met.into_values().collect()
}

/// A warning if the numbers where the sizes of `coarse` begin and those of `fine` end are far
/// apart.
fn step(coarse: &EvenStones<'_>, fine: &EvenStones<'_>) -> Option<String> {
    let (above, below) = (coarse.pass.sizes.from(), fine.pass.sizes.to());
    let (many, few) = (coarse.ends[0], fine.ends[1]);
    let [many, few, more, less] = if many > few {
        [many, few, 0.0, 1.0]
    } else {
        [few, many, 1.0, 0.0]
    };
    if !(many.is_finite() && many > few * STEP) {
        return None;
    }
    let [coarse_name, fine_name] = [coarse.name, fine.name];
    let name = |which: f64| if which < 0.5 { coarse_name } else { fine_name };
    let times = if few > 0.0 {
        format!("{:.1} times as many", many / few)
    } else {
        "infinitely many times as many".into()
    };
    let mix = &coarse.pass.mix;
    let hint = if mix.is_some() && *mix == fine.pass.mix {
        "their pieces fill their squares unlike each other: give both the same `pieces`"
    } else {
        "a mix gives both one law"
    };
    Some(format!(
        "passes `{coarse_name}` and `{fine_name}`: at {} there are {times} `{}` as `{}` as asked; {hint}",
        told(libm::sqrt(above * below)),
        name(more),
        name(less),
    ))
}

/// Warnings of sizes between the parts of a mix that no pass takes.
fn gaps(brief: &Brief) -> Vec<String> {
    let mut parts: BTreeMap<&str, Vec<[f64; 2]>> = BTreeMap::new();
    for (_, pass) in brief.passes() {
        if let Some(mix) = &pass.mix {
            let ends = [pass.sizes.from(), pass.sizes.to()];
            parts.entry(mix).or_default().push(ends);
        }
    }
    let mut warnings = Vec::new();
    for (name, mut ends) in parts {
        ends.sort_by(|a, b| a[0].total_cmp(&b[0]));
        for pair in ends.windows(2) {
            let (reached, next) = (pair[0][1], pair[1][0]);
            if next > reached * (1.0 + SAME) {
                warnings.push(format!(
                    "mix `{name}`: no pass takes the sizes from {} to {}",
                    told(reached),
                    told(next)
                ));
            }
        }
    }
    warnings
}

/// A diameter in three digits.
fn told(metres: f64) -> Length {
    let step = libm::pow(10.0, libm::floor(libm::log10(metres)) - 2.0);
    let near = libm::round(metres / step) * step;
    // Without the product's last digit
    Length::from_metres(libm::round(near * 1e9) / 1e9)
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use crate::session::Session;
    use crate::shot::Shot;

    fn warnings(mixes: &str, passes: &[&str]) -> Vec<String> {
        let text = format!(
            r#"{{ "shot": "trial",
              "cameras": [{{ "name": "a", "at": [0, 1, 0], "toward": [0, 0, 0], "lens": "50 mm", "frame": [60, 40] }}],
              "mixes": {{ {mixes} }}, "passes": [{}] }}"#,
            passes.join(", ")
        );
        let shot = Shot::parse(&text, Path::new("trial.json")).unwrap_or_else(|e| panic!("{e}"));
        let brief = shot.brief().unwrap();
        let prepared = Session::forgetful("").prepare(&brief).unwrap();
        prepared.warnings().to_vec()
    }

    fn power(name: &str, cover: f64, [from, to]: [f64; 2], gather: &str) -> String {
        format!(
            r#"{{ "name": "{name}", "pieces": ["pebble"], "place": "spaced", "cover": {cover},
               "sizes": {{ "law": "power", "exponent": 2, "from": "{from} mm", "to": "{to} mm" }}{gather} }}"#
        )
    }

    #[test]
    fn a_step_between_two_passes_is_told_with_its_place() {
        // Of N(>d) = k d^-2 on [a, b] the plan area is 2 k ln(b / a), and n(d) d at any d is 2 k /
        // d^2: with b / a the same in both, numbers at the seam go with the covers
        let told = warnings(
            "",
            &[
                &power("gravel", 0.1, [8.0, 32.0], ""),
                &power("grit", 0.3, [2.0, 8.0], ""),
            ],
        );
        assert_eq!(
            told,
            [
                "passes `gravel` and `grit`: at 8 mm there are 3.0 times as many `grit` as `gravel` as asked; a mix gives both one law"
            ]
        );
        // The other way round, laid the other way round
        let told = warnings(
            "",
            &[
                &power("grit", 0.1, [2.0, 8.0], ""),
                &power("gravel", 0.3, [8.0, 32.0], ""),
            ],
        );
        assert!(
            told[0].contains("3.0 times as many `gravel` as `grit`"),
            "{told:?}"
        );
        // Cover that holds on the ground that another pass leaves is less of all ground
        let clear = r#", "gather": [{ "clear_of": { "what": "gravel" } }]"#;
        let told = warnings(
            "",
            &[
                &power("gravel", 0.4, [8.0, 32.0], ""),
                &power("grit", 0.5, [2.0, 8.0], clear),
            ],
        );
        assert_eq!(told, [""; 0]);
    }

    #[test]
    fn what_does_not_meet_or_runs_on_is_not_told() {
        for passes in [
            [
                power("gravel", 0.1, [10.0, 32.0], ""),
                power("grit", 0.3, [2.0, 8.0], ""),
            ],
            [
                power("gravel", 0.2, [8.0, 32.0], ""),
                power("grit", 0.25, [2.0, 8.0], ""),
            ],
            [
                power("gravel", 0.1, [8.0, 32.0], ""),
                power("grit", 0.3, [2.0, 8.0], "").replace("spaced", "strewn"),
            ],
            [
                power("gravel", 0.1, [8.0, 32.0], ""),
                power("grit", 0.3, [2.0, 8.0], "").replace("pebble", "leaf"),
            ],
        ] {
            let told = warnings("", &passes.each_ref().map(String::as_str));
            assert_eq!(told, [""; 0], "{passes:?}");
        }
    }

    #[test]
    fn parts_of_a_mix_run_on_and_gaps_between_them_are_told() {
        let mix = r#""bar": { "law": "power", "exponent": 2.5, "from": "2 mm", "to": "64 mm", "cover": 0.8 }"#;
        let part = |name: &str, from: f64, to: f64, clear: &str| {
            format!(
                r#"{{ "name": "{name}", "pieces": ["pebble"], "place": "spaced", "gather": [{clear}],
                   "sizes": {{ "mix": "bar", "from": "{from} mm", "to": "{to} mm" }} }}"#
            )
        };
        let clear = r#"{ "clear_of": { "what": "gravel" } }"#;
        let told = warnings(
            mix,
            &[
                &part("gravel", 8.0, 64.0, ""),
                &part("grit", 2.0, 8.0, clear),
            ],
        );
        assert_eq!(told, [""; 0]);
        let told = warnings(
            mix,
            &[
                &part("gravel", 8.0, 64.0, ""),
                &part("grit", 2.0, 6.5, clear),
            ],
        );
        assert_eq!(
            told,
            ["mix `bar`: no pass takes the sizes from 6.5 mm to 8 mm"]
        );
    }
}
