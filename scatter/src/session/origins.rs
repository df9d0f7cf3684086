//! Digests of what each part of a dressing is made from: if two dressings have the same digest for
//! a part, the part is the same.
//!
//! A file enters by its path, its length and the time of its last change.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::brief::{Brief, MaskPlacement};
use crate::kit::Shelf;
use crate::kit::files::behind;

/// A digest.
pub(super) type Key = [u8; 32];

/// Digests of what a brief's parts are made from.
#[derive(Debug, Clone)]
pub(super) struct Origins {
    /// Everything that does not depend on the take.
    pub(super) all: Key,
    pub(super) ground: Key,
    pub(super) heroes: Key,
    /// All pieces, as passes and pins name them.
    pub(super) kit: Key,
    /// Cameras, light, what is resolved, and the ground under them.
    pub(super) view: Key,
    pub(super) pins: Key,
    /// The pieces of each pass.
    pub(super) kits: Vec<Key>,
    /// The images of each pass.
    pub(super) masks: Vec<Key>,
}

/// All files that a brief names, and those that these name; `folder` is the shot's. Each once,
/// sorted.
#[must_use]
pub fn files(brief: &Brief, folder: &Path) -> Vec<PathBuf> {
    let named = brief.files();
    let all: BTreeSet<PathBuf> = named.flat_map(|n| behind(&folder.join(n))).collect();
    all.into_iter().collect()
}

/// The state of a file: its length in bytes, and the time of its last change in nanoseconds since
/// 1970 (UTC). None where either can't be read.
#[must_use]
pub fn stamp(path: &Path) -> Option<(u64, u128)> {
    let known = std::fs::metadata(path).ok()?;
    let changed = known.modified().ok()?.duration_since(UNIX_EPOCH).ok()?;
    Some((known.len(), changed.as_nanos()))
}

impl Origins {
    /// The digests of a brief; `shelf` has its files and meshes.
    pub(super) fn of(brief: &Brief, shelf: &Shelf) -> Self {
        let file = |name: &str| -> Key {
            if let Some(number) = shelf.number(name) {
                return digest([text(&("given", number))]);
            }
            let stamps = behind(&shelf.path(name)).into_iter().map(|p| {
                let stamp = stamp(&p);
                format!("{} {stamp:?}", p.display())
            });
            digest(stamps.map(String::into_bytes))
        };
        let of_files = |names: &mut dyn Iterator<Item = &str>| {
            digest(names.map(|n| [n.as_bytes(), &file(n)].concat()))
        };
        let under = of_files(&mut brief.ground.terrain.file().into_iter());
        let ground = digest([text(&brief.ground), under.to_vec()]);
        let heroes = of_files(&mut brief.heroes.iter().map(|h| h.file.as_str()));
        let heroes = digest([text(&brief.heroes), heroes.to_vec(), ground.to_vec()]);
        let kits: Vec<Key> = brief
            .passes()
            .map(|(_, pass)| {
                let files = of_files(&mut pass.pieces.iter().map(String::as_str));
                digest([files.to_vec(), text(&pass.lies)])
            })
            .collect();
        let pinned = of_files(&mut brief.pins().iter().map(|p| p.piece.as_str()));
        let versions = text(&(brief.resolve.triangle_pixels, brief.shade().is_some()));
        let carpet = brief.carpet();
        let patch = of_files(&mut carpet.iter().filter_map(|c| c.file()));
        let parts = kits.iter().chain([&pinned, &patch]).map(|k| k.to_vec());
        let kit = digest(parts.chain([versions, text(&carpet)]));
        let films = of_files(&mut brief.cameras.iter().filter_map(|c| c.file()));
        let cameras = digest([text(&brief.cameras), films.to_vec()]);
        let view = digest([
            text(&brief.light),
            text(&brief.resolve),
            ground.to_vec(),
            cameras.to_vec(),
        ]);
        let masks = brief.passes().map(|(_, pass)| {
            let files = of_files(&mut pass.masks().map(|(_, m)| m.file.as_str()));
            let framed = |m: &crate::brief::Mask| matches!(m.placement, MaskPlacement::Frame(_));
            let through = pass.masks().any(|(_, m)| framed(m));
            let frame = if through { cameras } else { Key::default() };
            digest([files.to_vec(), frame.to_vec()])
        });
        let masks: Vec<Key> = masks.collect();
        let pins = digest([
            text(&brief.pins()),
            text(&brief.removed),
            kit.to_vec(),
            ground.to_vec(),
        ]);
        // Layers by name and kind, without their takes
        let layers: Vec<_> = brief
            .layers
            .iter()
            .map(|l| (&l.name, l.tone, &l.kind))
            .collect();
        let rest = [
            text(&(
                &brief.name,
                brief.sketch,
                &brief.budget,
                &brief.mixes,
                &brief.wet,
                &brief.weathering,
            )),
            text(&layers),
        ];
        let parts = [heroes, kit, view, pins].into_iter().chain(masks.clone());
        Self {
            all: digest(parts.map(|k| k.to_vec()).chain(rest)),
            ground,
            heroes,
            kit,
            view,
            pins,
            masks,
            kits,
        }
    }
}

/// A part of a brief as JSON text. Every part can be written so.
pub(super) fn text(part: &impl Serialize) -> Vec<u8> {
    serde_json::to_vec(part).unwrap_or_default()
}

/// The digest of parts in order; each one follows its length, so that no two lists read alike.
pub(super) fn digest(parts: impl IntoIterator<Item = Vec<u8>>) -> Key {
    let mut hash = Sha256::new();
    for part in parts {
        hash.update((part.len() as u64).to_le_bytes());
        hash.update(&part);
    }
    hash.finalize().into()
}
