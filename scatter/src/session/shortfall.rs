//! What is short of a pass, why, and what would help.

use crate::brief::{Amount, Pass, Place};
use crate::kit::Kind;
use crate::layout::{Refused, Shortfall, Tally};

/// Refusals at rest.
pub(super) const AT_REST: [Refused; 3] = [Refused::Slides, Refused::CutsIn, Refused::Removed];

/// A pass that is short of its cover by more than this is told of in the report.
const SHORT: f64 = 0.03;
/// Standard errors that chance explains.
const CHANCE: f64 = 2.0;

/// What is short of a pass, if more is than a little; `error` is the standard error of its cover.
pub(super) fn shortfall(pass: &Pass, tally: &Tally, error: f64) -> Option<Shortfall> {
    let missing = tally.cover_asked - tally.cover;
    if tally.asked == 0 || missing <= SHORT * tally.cover_asked {
        return None;
    }
    let share = missing / tally.cover_asked;
    let mut reasons = tally.refused.clone();
    reasons.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    // Darts are thrown for those that find no room: only what is thrown in vain beyond that is
    // missing
    let at_rest = reasons
        .iter()
        .find(|(r, n)| AT_REST.contains(r) && *n as f64 >= SHORT * tally.asked as f64);
    let main = at_rest.or(reasons.first()).map(|(reason, _)| *reason);
    let because = main.filter(|_| missing > CHANCE * error);
    Some(Shortfall {
        share,
        because,
        clumped: because == Some(Refused::NoRoom) && pass.clumps.is_some(),
        cure: because.map_or_else(|| "try another take".to_owned(), |b| cure(b, pass)),
    })
}

/// What would help, by keys that the pass has.
fn cure(because: Refused, pass: &Pass) -> String {
    let amount = match (&pass.mix, pass.amount) {
        (Some(_), _) => "less `cover` of its mix",
        (None, Amount::Cover(_)) => "less `cover`",
        (None, Amount::PerSquareMetre(_)) => "a smaller `per_m2`",
    };
    match because {
        Refused::NoRoom if pass.clumps.is_some() => {
            format!("widen `clumps.spread`, lower `clumps.share`, or ask for {amount}")
        }
        Refused::NoRoom => match pass.place {
            Place::Packed { .. } => {
                format!("ask for {amount}, a wider range of `sizes`, or more `roll`")
            }
            Place::Spaced if is_of_stones(pass) => format!(
                "ask for {amount} or a wider range of `sizes`, or let stones close up with `place` `packed`"
            ),
            Place::Spaced | Place::Strewn => {
                format!("ask for {amount}, or a wider range of `sizes`")
            }
        },
        Refused::KeptClear => "keep less ground clear, or ask for smaller pieces".to_owned(),
        Refused::Slides => {
            "ask for more to make up for it, let `rest.pose` be `any`, or sink them with `rest.bury`"
                .to_owned()
        }
        Refused::CutsIn => {
            format!("let them lie on it: leave `clear_of` out, or ask for {amount}")
        }
        Refused::Removed => "`remove` names them".to_owned(),
        Refused::InFrame | Refused::ShadesHero => "raise the sun, or the `softness`".to_owned(),
    }
}

/// Whether all that a pass lays are stones that are grown.
fn is_of_stones(pass: &Pass) -> bool {
    let stone = |name: &String| Kind::named(name).is_some_and(Kind::is_stone);
    pass.pieces.iter().all(stone)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::brief::Clumps;
    use crate::size::SizeLaw;

    fn pass(kind: &str, place: Place, clumped: bool) -> Pass {
        let sizes = SizeLaw::power(2.0, 0.02, 0.05);
        let clumps = Clumps {
            parents_per_m2: 1.0,
            spread: 0.2,
            share: 0.8,
        };
        Pass {
            clumps: clumped.then_some(clumps),
            ..Pass::new([kind], place, sizes, Amount::PerSquareMetre(9.0))
        }
    }

    fn tally(asked: u64, cover: f64, refused: &[(Refused, u64)]) -> Tally {
        Tally {
            asked,
            cover_asked: 0.2,
            cover,
            refused: refused.to_vec(),
            ..Tally::default()
        }
    }

    #[test]
    fn chance_and_nothing_asked_are_no_matter() {
        let grass = pass("tuft", Place::Spaced, true);
        let full = [(Refused::NoRoom, 900)];
        assert_eq!(shortfall(&grass, &tally(0, 0.0, &full), 0.01), None);
        assert_eq!(shortfall(&grass, &tally(100, 0.195, &full), 0.0), None);
        // A quarter is missing: two standard errors of 0.03 explain it, of 0.02 they don't
        let short = |error| shortfall(&grass, &tally(100, 0.15, &full), error).unwrap();
        assert!(!short(0.03).matters());
        assert_eq!(
            short(0.03).to_string(),
            "covers 25 % less than asked: with so few pieces, chance decides; try another take"
        );
        assert!(short(0.02).matters());
        // A little is for the report alone
        let little = shortfall(&grass, &tally(100, 0.185, &full), 0.0).unwrap();
        assert!(!little.matters(), "{little}");
    }

    #[test]
    fn the_cure_names_keys_that_the_pass_has() {
        let full = tally(100, 0.1, &[(Refused::NoRoom, 900)]);
        let said = |pass: &Pass| shortfall(pass, &full, 0.0).unwrap().to_string();
        assert_eq!(
            said(&pass("tuft", Place::Spaced, true)),
            "covers 50 % less than asked because its clumps are full; widen `clumps.spread`, lower \
             `clumps.share`, or ask for a smaller `per_m2`"
        );
        let plain = said(&pass("tuft", Place::Spaced, false));
        assert!(
            !plain.contains("clumps") && !plain.contains("packed"),
            "{plain}"
        );
        assert!(said(&pass("rock", Place::Spaced, false)).contains("`packed`"));
        assert!(said(&pass("rock", Place::Packed { roll: 0.5 }, false)).contains("`roll`"));
        let of_mix = Pass {
            mix: Some("bar".into()),
            ..pass("rock", Place::Spaced, false)
        };
        assert!(said(&of_mix).contains("`cover` of its mix"));
    }
}
