//! Mixes: populations of sizes that several passes share, and the part of one that a pass takes.
//!
//! A part of a mix has the mix's size law, cut to its own range. The mix covers a share C of all
//! ground. A part covers C times the share of the mix's plan area that its pieces have. Plan area
//! is taken to be the same multiple of the squared diameter in all parts.

use serde::Serialize;

use crate::size::SizeLaw;

/// A population of sizes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mix {
    /// The size law of the whole.
    #[serde(flatten)]
    pub sizes: SizeLaw,
    /// Share of the ground's plan area under the whole, above 0, to 1.
    pub cover: f64,
}

/// The cover that a part of a mix asks for, 0..=1, on the ground that is left to it.
///
/// `cover` is the share of all ground under the mix. Of that, the part has the share `own`, and the
/// parts that it keeps clear of have the share `cleared`; all are 0..=1. The part lies only on the
/// ground that those leave free, so its cover there is higher.
#[must_use]
pub fn part_cover(cover: f64, own: f64, cleared: f64) -> f64 {
    (own * cover / (1.0 - cleared * cover)).min(1.0)
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::brief::Brief;
    use crate::brief::{Amount, Pass};
    use crate::shot::Shot;

    fn brief(mix: &str, passes: &[&str]) -> Brief {
        let text = format!(
            r#"{{ "shot": "trial",
              "cameras": [{{ "name": "a", "at": [0, 1, 1], "toward": [0, 0, 0], "lens": "50 mm", "frame": [3, 2] }}],
              "mixes": {{ "bar": {mix} }},
              "passes": [{}] }}"#,
            passes.join(", ")
        );
        let shot = Shot::parse(&text, Path::new("trial.json"));
        shot.and_then(|s| s.brief())
            .unwrap_or_else(|e| panic!("{e}"))
    }

    fn part(name: &str, ends: &str, clear: &[&str]) -> String {
        let clear: Vec<String> = clear
            .iter()
            .map(|what| format!(r#"{{ "clear_of": {{ "what": "{what}" }} }}"#))
            .collect();
        format!(
            r#"{{ "name": "{name}", "pieces": ["cobble"], "place": "spaced",
               "sizes": {{ "mix": "bar"{ends} }}, "gather": [{}] }}"#,
            clear.join(", ")
        )
    }

    fn cover(brief: &Brief, index: usize) -> f64 {
        match pass(brief, index).amount {
            Amount::Cover(cover) => cover,
            Amount::PerSquareMetre(_) => panic!("a part asks for cover"),
        }
    }

    fn pass(brief: &Brief, index: usize) -> &Pass {
        brief.passes().nth(index).unwrap().1
    }

    const POWER: &str =
        r#"{ "law": "power", "exponent": 2.5, "from": "2 mm", "to": "200 mm", "cover": 0.8 }"#;

    #[test]
    fn parts_of_a_power_law_cover_by_their_second_moments() {
        // Plan area between a and b goes with a^(2-D) - b^(2-D), D = 2.5
        let area = |a: f64, b: f64| a.powf(-0.5) - b.powf(-0.5);
        let brief = brief(
            POWER,
            &[
                &part("cobbles", r#", "from": "64 mm""#, &[]),
                &part("gravel", r#", "from": "8 mm", "to": "64 mm""#, &["cobbles"]),
                &part("grit", r#", "to": "8 mm""#, &["cobbles", "gravel"]),
            ],
        );
        let all = area(2.0, 200.0);
        let share = [
            area(64.0, 200.0) / all,
            area(8.0, 64.0) / all,
            area(2.0, 8.0) / all,
        ];
        let expected = [
            share[0] * 0.8,
            share[1] * 0.8 / (1.0 - share[0] * 0.8),
            share[2] * 0.8 / (1.0 - (share[0] + share[1]) * 0.8),
        ];
        for (i, expected) in expected.iter().enumerate() {
            let got = cover(&brief, i);
            assert!((got - expected).abs() < 1e-12, "{i}: {got} {expected}");
        }
        // Each lies on what the ones before leave: together they cover what the mix asks
        let mut left = 1.0;
        for i in 0..3 {
            left *= 1.0 - cover(&brief, i);
        }
        assert!((1.0 - left - 0.8).abs() < 1e-12, "{left}");
        let cut = SizeLaw::power(2.5, 0.008, 0.064);
        assert_eq!(pass(&brief, 1).sizes, cut);
    }

    #[test]
    fn numbers_run_on_across_a_seam() {
        for mix in [
            POWER,
            r#"{ "law": "lognormal", "median": "16 mm", "spread": 0.7, "from": "2 mm", "to": "200 mm", "cover": 0.8 }"#,
            r#"{ "law": "rosin-rammler", "d63": "40 mm", "uniformity": 0.9, "from": "2 mm", "to": "200 mm", "cover": 0.8 }"#,
        ] {
            let brief = brief(
                mix,
                &[
                    &part("coarse", r#", "from": "20 mm""#, &[]),
                    &part("fine", r#", "to": "20 mm""#, &[]),
                ],
            );
            // Pieces per square metre and ln d on either side, each by its own law and its own
            // cover; tabulated slopes are those of a cell beside the seam, a thousandth away
            let [above, below] = [0, 1].map(|i| {
                let law = &pass(&brief, i).sizes;
                cover(&brief, i) / law.mean_square() * law.density(0.02)
            });
            assert!((above / below - 1.0).abs() < 3e-3, "{mix}: {above} {below}");
            let whole = &brief.mixes["bar"].sizes;
            let all = 0.8 / whole.mean_square() * whole.density(0.02);
            assert!((above / all - 1.0).abs() < 3e-3, "{mix}: {above} {all}");
        }
    }

    #[test]
    fn the_whole_of_a_mix_is_the_mix() {
        let brief = brief(POWER, &[&part("all", "", &[])]);
        assert!((cover(&brief, 0) - 0.8).abs() < 1e-12);
        let law = &pass(&brief, 0).sizes;
        assert_eq!([law.from(), law.to()], [0.002, 0.2]);
        let equal =
            r#"{ "law": "power", "exponent": 2, "from": "9 mm", "to": "9 mm", "cover": 0.3 }"#;
        let brief = self::brief(equal, &[&part("all", "", &[])]);
        assert!((cover(&brief, 0) - 0.3).abs() < 1e-12);
    }

    #[test]
    fn what_is_cleared_leaves_less_ground() {
        assert!((part_cover(0.8, 0.25, 0.0) - 0.2).abs() < 1e-15);
        assert!((part_cover(0.8, 0.25, 0.5) - 0.2 / 0.6).abs() < 1e-15);
        // A closed mix: the last part fills all that is left
        assert!((part_cover(1.0, 0.25, 0.75) - 1.0).abs() < 1e-15);
    }
}
