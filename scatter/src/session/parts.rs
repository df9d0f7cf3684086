//! Parts of a dressing that are the same in every take, kept with what they were made from.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use super::kit::Kit;
use super::origins::Key;
use crate::error;
use crate::ground::Ground;
use crate::hero::Hero;
use crate::kit::Piece;
use crate::rest::RigidBody;

/// The ground, the heroes and the kit that were made last.
#[derive(Debug, Default)]
pub(super) struct Parts {
    pub(super) ground: Kept<Ground>,
    pub(super) heroes: Kept<Arc<Vec<Hero>>>,
    pub(super) kit: Kept<Arc<Kit>>,
}

impl Parts {
    /// The kit for a key, made anew with the bodies that are known if it was made from something
    /// else.
    pub(super) fn kit_or(
        &mut self,
        key: Key,
        make: impl FnOnce(&dyn Fn(&Piece) -> Option<Arc<RigidBody>>) -> error::Result<Kit>,
    ) -> error::Result<Arc<Kit>> {
        if let Some(kit) = self.kit.get(key) {
            return Ok(kit);
        }
        let known: FxHashMap<&str, (&Piece, &Arc<RigidBody>)> = self
            .kit
            .0
            .iter()
            // Simpler versions behind the kit have no bodies
            .flat_map(|(_, kit)| kit.pieces.iter().zip(&kit.bodies))
            .map(|(piece, body)| (piece.name.as_str(), (piece, body)))
            .collect();
        let body = |piece: &Piece| {
            let (was, body) = known.get(piece.name.as_str())?;
            (**was == *piece).then(|| Arc::clone(body))
        };
        let made = Arc::new(make(&body)?);
        self.kit.put(key, Arc::clone(&made));
        Ok(made)
    }
}

/// A part with the digest of what it was made from; the last one is kept.
#[derive(Debug)]
pub(super) struct Kept<T>(Option<(Key, T)>);

impl<T> Default for Kept<T> {
    fn default() -> Self {
        Self(None)
    }
}

impl<T: Clone> Kept<T> {
    /// The part, if its digest is `key`.
    pub(super) fn get(&self, key: Key) -> Option<T> {
        let known = self.0.as_ref().filter(|(known, _)| *known == key);
        known.map(|(_, part)| part.clone())
    }

    pub(super) fn put(&mut self, key: Key, part: T) {
        self.0 = Some((key, part));
    }

    /// The part, made anew if it was made from something else.
    pub(super) fn get_or(
        &mut self,
        key: Key,
        make: impl FnOnce() -> error::Result<T>,
    ) -> error::Result<T> {
        if let Some(part) = self.get(key) {
            return Ok(part);
        }
        let part = make()?;
        self.put(key, part.clone());
        Ok(part)
    }
}
