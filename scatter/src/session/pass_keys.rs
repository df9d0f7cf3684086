//! What each pass of a take is made from, told by digests.

use super::origins::{Key, Origins, digest, text};
use super::run::Run;
use crate::brief::{Brief, Field, Layer, Pass, RelationTarget, Rest};

/// Digests of what a pass of one take is made from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PassKeys {
    /// Where its pieces are placed.
    pub(super) place: Key,
    /// How they are laid, apart from what lies under them.
    pub(super) lay: Key,
    /// Where they come to lie.
    stands: Key,
}

impl Origins {
    /// What each pass of a brief is made from.
    pub(super) fn passes(&self, brief: &Brief, run: &Run<'_>) -> Vec<PassKeys> {
        let mut all: Vec<PassKeys> = Vec::new();
        for (i, (layer, pass)) in brief.passes().enumerate() {
            let keys = self.pass((brief, run), (i, layer, pass), &all);
            all.push(keys);
        }
        all
    }

    /// What a pass is made from; `before` are the keys of the passes before it.
    fn pass(
        &self,
        (brief, run): (&Brief, &Run<'_>),
        (i, layer, pass): (usize, &Layer, &Pass),
        before: &[PassKeys],
    ) -> PassKeys {
        let take = layer.take(brief.take).to_le_bytes().to_vec();
        // What it refers to enters by its digest, not by its index
        let stands = |to: RelationTarget| match to {
            RelationTarget::Heroes => self.heroes,
            RelationTarget::Pass(other) => before
                .get(usize::from(other))
                .map_or(self.heroes, |k| k.stands),
        };
        let refers = pass.relations().map(|(_, r)| stands(r.to).to_vec());
        // Of how its pieces lie, only these matter to where they are placed
        let rest = (pass.rest.heading, pass.rest.bury, pass.rest.on);
        let mut placed = Pass {
            rest: Rest::default(),
            ..pass.clone()
        };
        for field in &mut placed.fields {
            if let Field::Related(relation) = field {
                relation.to = RelationTarget::Heroes;
            }
        }
        let heeds = &run.passes[i].heeds;
        // What may lie on pins is placed as if there were none
        let pins = if heeds.pins {
            Key::default()
        } else {
            self.pins
        };
        let place = [
            take.clone(),
            text(&layer.name),
            text(&placed),
            text(&rest),
            pins.to_vec(),
            self.kits[i].to_vec(),
            self.masks[i].to_vec(),
            self.ground.to_vec(),
            self.heroes.to_vec(),
        ];
        let place = digest(place.into_iter().chain(refers));
        let lay = digest([
            take,
            text(&layer.name),
            text(&pass.rest),
            text(&pass.place),
            self.kits[i].to_vec(),
            self.ground.to_vec(),
        ]);
        let mut stands = vec![place.to_vec(), lay.to_vec(), text(&brief.removed)];
        if heeds.pins {
            stands.push(self.pins.to_vec());
        }
        let heeded = heeds.beds.iter().chain(&heeds.beside);
        let earlier: Vec<usize> = heeded.copied().filter(|bed| *bed != i).collect();
        if brief.sketch && !earlier.is_empty() {
            stands.push(self.view.to_vec());
        }
        stands.extend(earlier.iter().map(|bed| before[*bed].stands.to_vec()));
        PassKeys {
            place,
            lay,
            stands: digest(stands),
        }
    }
}
