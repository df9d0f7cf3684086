//! Where the sizes of one pass end and those of another begin: warnings of steps and gaps there.
//!
//! Stones of neighbouring sizes that lie on one ground are one population to the eye. At the
//! diameter where two passes meet, the number of pieces per ln(diameter) as asked should be one and
//! the same.

use super::forms::Forms;
use crate::kit::{Kind, Piece, Serving};
use crate::rest::RigidBody;
use crate::shot::{Amount, Ask, Lies, Pass, Place, Shot};
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
struct Stones<'a> {
    pass: &'a Pass,
    ask: Ask,
    /// Pieces a square metre of all ground and ln(diameter), at the smallest and the largest
    /// diameter.
    ends: [f64; 2],
}

/// Warnings of the seams between a shot's passes, `kits[i]` being what pass i may take of the
/// pieces.
pub(super) fn warnings(
    shot: &Shot,
    kits: &[Vec<Serving>],
    pieces: &[Piece],
    bodies: &[std::sync::Arc<RigidBody>],
) -> Vec<String> {
    let mut warnings = gaps(shot);
    let mut covers: Vec<f64> = Vec::new();
    let mut stones: Vec<Stones<'_>> = Vec::new();
    for (index, pass) in shot.passes.iter().enumerate() {
        let ask = shot.ask(index);
        let law = ask.sizes.law();
        // What can't be packed is told of as an error
        let Ok(forms) = Forms::of((index, pass), &kits[index], pieces, bodies) else {
            return warnings;
        };
        let area = forms.choice.fill(&law) * law.mean_square();
        // A pass covers what it asks of the ground that others leave it
        let before = shot.passes[..index].iter().zip(&covers);
        let taken: f64 = before.filter(|(p, _)| pass.clears(p)).map(|(_, c)| c).sum();
        let left = (1.0 - taken).max(0.0);
        let cover = match ask.amount {
            Amount::Cover(cover) => cover,
            Amount::PerM2(count) => count * area,
        };
        covers.push((cover * left).min(1.0));
        if is_of_stones(pass, &kits[index], pieces, bodies) && law.from() < law.to() {
            let per_m2 = cover * left / area;
            stones.push(Stones {
                pass,
                ask,
                ends: [law.from(), law.to()].map(|d| per_m2 * law.density(d)),
            });
        }
    }
    for (i, one) in stones.iter().enumerate() {
        for other in &stones[i + 1..] {
            warnings.extend(step(one, other).or_else(|| step(other, one)));
        }
    }
    warnings
}

/// Whether a pass places stones evenly.
fn is_of_stones(
    pass: &Pass,
    kit: &[Serving],
    pieces: &[Piece],
    bodies: &[std::sync::Arc<RigidBody>],
) -> bool {
    let wooden = [Kind::Twig, Kind::BarkFlake, Kind::Spray].map(Kind::name);
    pass.place != Place::Strewn
        && !pass.pieces.iter().any(|p| wooden.contains(&p.as_str()))
        && kit.iter().all(|s| {
            let piece = usize::from(s.piece);
            piece < pieces.len() && bodies[piece].lies == Lies::Rigid
        })
}

/// A warning if the sizes of `coarse` begin where those of `fine` end, and the numbers there are
/// far apart.
fn step(coarse: &Stones<'_>, fine: &Stones<'_>) -> Option<String> {
    let (above, below) = (coarse.ask.sizes.range()[0], fine.ask.sizes.range()[1]);
    if above > below * MEETS || below > above * MEETS {
        return None;
    }
    let (many, few) = (coarse.ends[0], fine.ends[1]);
    let [many, few, more, less] = if many > few {
        [many, few, 0.0, 1.0]
    } else {
        [few, many, 1.0, 0.0]
    };
    if !(many.is_finite() && many > few * STEP) {
        return None;
    }
    let [coarse_name, fine_name] = [&coarse.pass.name, &fine.pass.name];
    let name = |which: f64| if which < 0.5 { coarse_name } else { fine_name };
    let times = if few > 0.0 {
        format!("{:.1} times as many", many / few)
    } else {
        "infinitely many times as many".into()
    };
    let mix = |s: &Stones<'_>| s.pass.sizes.part().map(|p| p.mix.clone());
    let hint = if mix(coarse).is_some() && mix(coarse) == mix(fine) {
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
fn gaps(shot: &Shot) -> Vec<String> {
    let mut warnings = Vec::new();
    for (name, mix) in &shot.mixes {
        let parts = shot.passes.iter().filter_map(|p| p.sizes.part());
        let mut ends: Vec<[f64; 2]> = parts
            .filter(|p| p.mix == *name)
            .map(|p| p.ends(mix).map(Length::metres))
            .collect();
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

    use crate::layout::Dresser;
    use crate::shot::Shot;

    fn warnings(mixes: &str, passes: &[&str]) -> Vec<String> {
        let text = format!(
            r#"{{ "shot": "trial",
              "cameras": [{{ "name": "a", "at": [0, 1, 0], "toward": [0, 0, 0], "lens": "50 mm", "frame": [60, 40] }}],
              "mixes": {{ {mixes} }}, "passes": [{}] }}"#,
            passes.join(", ")
        );
        let shot = Shot::parse(&text, Path::new("trial.json")).unwrap_or_else(|e| panic!("{e}"));
        let dresser = Dresser::new(&shot, Path::new("")).unwrap();
        dresser.warnings().map(str::to_owned).collect()
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
