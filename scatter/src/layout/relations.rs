//! What the passes of a shot refer to, and what they keep clear of.

use crate::field::near::Manner;
use crate::field::{ClearShape, Relation};
use crate::hero::Hero;
use crate::plan::NANO;
use crate::shot::{self, Gather, Pass, Shot, Smallest};

/// What a relation refers to.
#[derive(Debug, Clone, Copy)]
pub(super) enum What {
    Pass(usize),
    /// One hero, for the ground that it keeps clear.
    Hero(usize),
    /// All heroes.
    Heroes,
    /// All pins.
    Pins,
}

/// What keeps clear of pins meets no outline, however small.
pub(super) const CLEAR_OF_PINS: Relation = Relation {
    manner: Manner::ClearOf,
    within: 0.0,
    smallest: Smallest::Share(1.0),
};

/// The shapes that a pass keeps clear of.
pub(super) fn shapes(shot: &Shot, pass: &Pass) -> Vec<ClearShape> {
    let meant = |c: &&shot::Clear| c.passes().is_empty() || c.passes().contains(&pass.name);
    shot.clear
        .iter()
        .filter(meant)
        .map(ClearShape::new)
        .collect()
}

/// The relations of a pass, and that every pass keeps clear of the heroes.
pub(super) fn relations(shot: &Shot, index: usize, heroes: &[Hero]) -> Vec<(Relation, What)> {
    let mut all = Vec::new();
    for gather in &shot.passes[index].gather {
        let relation = match gather {
            Gather::Near(n) => Relation {
                manner: Manner::Near {
                    diameters: n.diameters,
                    fade: n.fade,
                    elsewhere: n.elsewhere,
                },
                within: n.within.metres() * NANO,
                smallest: n.smallest,
            },
            Gather::ClearOf(r) => Relation {
                manner: Manner::ClearOf,
                within: r.within.metres() * NANO,
                smallest: r.smallest,
            },
            Gather::Between(r) => Relation {
                manner: Manner::Between,
                within: r.within.metres() * NANO,
                smallest: r.smallest,
            },
            Gather::LeeOf(l) => {
                // From the azimuth, clockwise from -z: to the other side
                let from = l.wind_from.radians();
                Relation {
                    manner: Manner::LeeOf {
                        downwind: [-libm::sin(from), libm::cos(from)],
                        heights: l.heights,
                        elsewhere: l.elsewhere,
                    },
                    within: 0.0,
                    smallest: l.smallest,
                }
            }
            _ => continue,
        };
        let Some(what) = gather.refers_to() else {
            continue;
        };
        if what == "hero" {
            if !heroes.is_empty() {
                all.push((relation, What::Heroes));
            }
        } else if let Some(other) = shot.passes[..index].iter().position(|p| p.name == what) {
            all.push((relation, What::Pass(other)));
        }
    }
    for (h, hero) in heroes.iter().enumerate() {
        let clear = Relation {
            manner: Manner::ClearOf,
            within: hero.clear * NANO,
            smallest: Smallest::default(),
        };
        all.push((clear, What::Hero(h)));
    }
    all
}
