//! What each part of a dressing is made from, told by digests: two dressings with the same digest
//! of a part have the same part.
//!
//! Files are told by path, length and time of their last change.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use serde::Serialize;
use sha2::{Digest, Sha256};

use super::run::Run;
use crate::kit::files::behind;
use crate::shot::{Gather, Pass, Shot, names_file};

/// A digest.
pub(super) type Key = [u8; 32];

/// What a shot's parts are made from.
#[derive(Debug, Clone)]
pub(super) struct Origins {
    pub(super) ground: Key,
    pub(super) heroes: Key,
    /// All pieces, as passes and pins name them.
    pub(super) kit: Key,
    /// Cameras, light, what is resolved, and the ground under them.
    pub(super) view: Key,
    pub(super) pins: Key,
    /// Whether the view decides what pieces lie on.
    pub(super) sketch: bool,
    /// The pieces of each pass.
    kits: Vec<Key>,
    /// The images of each pass.
    masks: Vec<Key>,
}

/// What a pass of one take is made from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PassKeys {
    /// Where its pieces are placed.
    pub(super) place: Key,
    /// How they are laid, but for what lies under them.
    pub(super) lay: Key,
    /// Where they come to lie.
    stands: Key,
}

/// All files that a shot names, and those that these name; `folder` is the shot's. Each once,
/// sorted.
#[must_use]
pub fn files(shot: &Shot, folder: &Path) -> Vec<PathBuf> {
    let mut names: Vec<&str> = Vec::new();
    names.extend(shot.ground.image.as_ref().map(|i| i.file.as_str()));
    names.extend(shot.ground.mesh.as_ref().map(|m| m.file.as_str()));
    names.extend(shot.hero.iter().map(|h| h.file.as_str()));
    names.extend(shot.cameras.iter().filter_map(|c| c.file.as_deref()));
    names.extend(shot.carpet.iter().filter_map(|c| c.patch.as_deref()));
    for pass in &shot.passes {
        names.extend(
            pass.pieces
                .iter()
                .map(String::as_str)
                .filter(|n| names_file(n)),
        );
        names.extend(masks(pass).map(|m| m.file.as_str()));
    }
    let pinned = shot.pins.iter().map(|p| p.piece.as_str());
    names.extend(pinned.filter(|n| names_file(n)));
    let all: BTreeSet<PathBuf> = names.iter().flat_map(|n| behind(&folder.join(n))).collect();
    all.into_iter().collect()
}

/// The state of a file: its length and the time of its last change; none where there is no such
/// file.
#[must_use]
pub fn stamp(path: &Path) -> Option<(u64, u128)> {
    let known = std::fs::metadata(path).ok()?;
    let changed = known.modified().ok()?.duration_since(UNIX_EPOCH).ok()?;
    Some((known.len(), changed.as_nanos()))
}

impl Origins {
    /// Of a checked shot whose files are in `folder`.
    pub(super) fn of(shot: &Shot, folder: &Path) -> Self {
        let file = |name: &str| -> Key {
            let stamps = behind(&folder.join(name)).into_iter().map(|p| {
                let stamp = stamp(&p);
                format!("{} {stamp:?}", p.display())
            });
            digest(stamps.map(String::into_bytes))
        };
        let of_files = |names: &mut dyn Iterator<Item = &str>| {
            digest(names.map(|n| [n.as_bytes(), &file(n)].concat()))
        };
        let image = shot.ground.image.as_ref().map(|i| i.file.as_str());
        let mesh = shot.ground.mesh.as_ref().map(|m| m.file.as_str());
        let under = of_files(&mut image.into_iter().chain(mesh));
        let ground = digest([text(&shot.ground), under.to_vec()]);
        let heroes = of_files(&mut shot.hero.iter().map(|h| h.file.as_str()));
        let heroes = digest([text(&shot.hero), heroes.to_vec(), ground.to_vec()]);
        let kits: Vec<Key> = shot
            .passes
            .iter()
            .map(|pass| of_files(&mut pass.pieces.iter().map(String::as_str)))
            .collect();
        let pinned = of_files(&mut shot.pins.iter().map(|p| p.piece.as_str()));
        let versions = text(&(shot.resolve.triangle_pixels, shot.shade.is_some()));
        let patch = of_files(&mut shot.carpet.iter().filter_map(|c| c.patch.as_deref()));
        let parts = kits.iter().chain([&pinned, &patch]).map(|k| k.to_vec());
        let kit = digest(parts.chain([versions, text(&shot.carpet)]));
        let films = of_files(&mut shot.cameras.iter().filter_map(|c| c.file.as_deref()));
        let cameras = digest([text(&shot.cameras), films.to_vec()]);
        let view = [
            text(&shot.light),
            text(&shot.resolve),
            ground.to_vec(),
            cameras.to_vec(),
        ];
        let masks = shot.passes.iter().map(|pass| {
            let files = of_files(&mut masks(pass).map(|m| m.file.as_str()));
            let through = masks(pass).any(|m| m.camera.is_some());
            let frame = if through { cameras } else { Key::default() };
            digest([files.to_vec(), frame.to_vec()])
        });
        Self {
            ground,
            heroes,
            kit,
            view: digest(view),
            pins: digest([
                text(&shot.pins),
                text(&shot.remove),
                kit.to_vec(),
                ground.to_vec(),
            ]),
            sketch: false,
            masks: masks.collect(),
            kits,
        }
    }

    /// What each pass of a take is made from.
    pub(super) fn passes(&self, shot: &Shot, take: u64, run: &Run<'_>) -> Vec<PassKeys> {
        let mut all: Vec<PassKeys> = Vec::new();
        for (i, pass) in shot.passes.iter().enumerate() {
            let take = shot.takes.get(&pass.name).copied().unwrap_or(take);
            let refers = pass.gather.iter().filter_map(Gather::refers_to);
            let refers = refers.filter_map(|what| {
                let at = shot.passes[..i].iter().position(|p| p.name == what)?;
                Some(all[at].stands.to_vec())
            });
            // How its pieces lie does not matter to where they are, but for these
            let rest = (pass.rest.heading, pass.rest.bury, pass.rest.on);
            let placed = Pass {
                rest: crate::shot::Rest::default(),
                ..pass.clone()
            };
            let meant =
                |c: &&crate::shot::Clear| c.passes().is_empty() || c.passes().contains(&pass.name);
            let clear: Vec<_> = shot.clear.iter().filter(meant).collect();
            // What lies on pins is placed as without them
            let pins = if run.passes[i].on_pins {
                Key::default()
            } else {
                self.pins
            };
            let mut place = vec![
                take.to_le_bytes().to_vec(),
                text(&placed),
                text(&shot.ask(i)),
                text(&rest),
                text(&clear),
                pins.to_vec(),
                self.kits[i].to_vec(),
                self.masks[i].to_vec(),
                self.ground.to_vec(),
                self.heroes.to_vec(),
            ];
            place.extend(refers);
            let lay = [
                take.to_le_bytes().to_vec(),
                pass.name.clone().into_bytes(),
                text(&pass.rest),
                text(&pass.place),
                self.kits[i].to_vec(),
                self.ground.to_vec(),
            ];
            let (place, lay) = (digest(place), digest(lay));
            let mut stands = vec![place.to_vec(), lay.to_vec(), text(&shot.remove)];
            if run.passes[i].on_pins {
                stands.push(self.pins.to_vec());
            }
            let heeded = run.passes[i].beds.iter().chain(&run.passes[i].beside);
            let earlier: Vec<usize> = heeded.copied().filter(|bed| *bed != i).collect();
            if self.sketch && !earlier.is_empty() {
                stands.push(self.view.to_vec());
            }
            stands.extend(earlier.iter().map(|bed| all[*bed].stands.to_vec()));
            all.push(PassKeys {
                place,
                lay,
                stands: digest(stands),
            });
        }
        all
    }
}

fn masks(pass: &Pass) -> impl Iterator<Item = &crate::shot::Mask> {
    pass.gather.iter().filter_map(|g| match g {
        Gather::Mask(mask) => Some(mask),
        _ => None,
    })
}

/// A part of the document as text. Every part has one.
fn text(part: &impl Serialize) -> Vec<u8> {
    serde_json::to_vec(part).unwrap_or_default()
}

/// The digest of parts in their order; each is told by its length from the next.
fn digest(parts: impl IntoIterator<Item = Vec<u8>>) -> Key {
    let mut hash = Sha256::new();
    for part in parts {
        hash.update((part.len() as u64).to_le_bytes());
        hash.update(&part);
    }
    hash.finalize().into()
}
