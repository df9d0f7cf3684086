//! What a delivery is known by: the names, lengths and digests of its files, as `report.json` lists
//! them, and one digest of all that it holds.
//!
//! The report takes its name last, so a delivery that is cut off leaves an older report, or none,
//! beside newer files. [`state`] finds that.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Component, Path};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::{REPORT, atomic, exporter};
use crate::layout::document;
use crate::shot::Format;

/// A report is read up to this length: one with a line a piece for ten million pieces is shorter.
const MAX_REPORT_BYTES: u64 = 1 << 30;
/// Large enough that a system call costs nothing against the bytes that it moves.
const BUFFER_BYTES: usize = 256 * 1024;

/// A delivered file as the report lists it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileRecord {
    /// Its name, relative to the delivery's folder, with slashes.
    pub name: String,
    /// Its length.
    pub bytes: u64,
    /// SHA-256 of its bytes, 64 hexadecimal digits.
    pub sha256: String,
}

/// What `report.json` says of its delivery.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Manifest {
    /// Digest of all that was delivered, 32 hexadecimal digits; the files quote it.
    pub delivery: String,
    /// The take.
    pub take: u64,
    /// All files but the report.
    pub files: Vec<FileRecord>,
}

/// How a file of a delivery is found in its folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileState {
    /// As it was delivered.
    Whole,
    /// Not there.
    Missing,
    /// There, with other bytes: of another delivery, or changed since.
    Other,
}

/// How a folder of deliveries is found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FolderState {
    /// What the report lists, if there is one that lists files.
    pub manifest: Option<Manifest>,
    /// The listed files that are not as they were delivered.
    pub faults: Vec<(String, FileState)>,
    /// A delivery was cut off: files wait under temporary names that nobody works on.
    pub cut_off: bool,
    /// Names of files that are called as a delivery's are, and that the report does not list.
    pub unlisted: Vec<String>,
}

impl Manifest {
    /// Reads the report in a folder. None if there is none, or one that lists no digests.
    #[must_use]
    pub fn read(folder: &Path) -> Option<Self> {
        let path = folder.join(REPORT);
        if !fs::metadata(&path).ok()?.is_file() {
            return None;
        }
        let mut text = String::new();
        let file = File::open(&path).ok()?;
        file.take(MAX_REPORT_BYTES).read_to_string(&mut text).ok()?;
        let mut manifest: Self = serde_json::from_str(&text).ok()?;
        // A name that leads out of the folder is none of ours
        manifest.files.retain(|file| is_within(&file.name));
        Some(manifest)
    }

    /// How a listed file is found in the folder.
    fn found(record: &FileRecord, folder: &Path) -> FileState {
        let path = folder.join(&record.name);
        match fs::symlink_metadata(&path) {
            Err(_) => FileState::Missing,
            Ok(known) if !known.is_file() || known.len() != record.bytes => FileState::Other,
            Ok(_) => match sha256(&path) {
                Ok(digest) if digest == record.sha256 => FileState::Whole,
                _ => FileState::Other,
            },
        }
    }
}

/// How a folder is found: reads all files that its report lists.
#[must_use]
pub fn state(folder: &Path) -> FolderState {
    let manifest = Manifest::read(folder);
    let listed = manifest.iter().flat_map(|m| &m.files);
    let faults = listed
        .map(|record| (record.name.clone(), Manifest::found(record, folder)))
        .filter(|(_, state)| *state != FileState::Whole)
        .collect();
    let known = manifest.as_ref().map_or(&[][..], |m| &m.files);
    FolderState {
        unlisted: unlisted(folder, known),
        faults,
        cut_off: atomic::is_cut_off(folder),
        manifest,
    }
}

impl FolderState {
    /// Files that the report lists, that are as it says, and that are none of `files`.
    pub(super) fn retired(&self, files: &[FileRecord]) -> Vec<String> {
        let known = self.manifest.iter().flat_map(|m| &m.files);
        let whole = |name: &String| self.faults.iter().all(|(faulty, _)| faulty != name);
        known
            .map(|record| &record.name)
            .filter(|name| files.iter().all(|file| file.name != **name) && whole(name))
            .cloned()
            .collect()
    }

    /// What is wrong, in a sentence. None if all is as it was delivered.
    #[must_use]
    pub fn problem(&self) -> Option<String> {
        let word = |state: FileState| match state {
            FileState::Missing => "is missing",
            FileState::Whole | FileState::Other => "has other bytes",
        };
        let mut faults: Vec<String> = self
            .faults
            .iter()
            .map(|(name, state)| format!("{name} {}", word(*state)))
            .collect();
        if self.cut_off && self.manifest.is_some() {
            faults.extend(self.unlisted.iter().map(|name| format!("{name} is new")));
        }
        let against = || format!("against its report, {}", faults.join(", "));
        match (self.cut_off, faults.is_empty()) {
            // Cut off before the first file took its name, or after the last: nothing is mixed
            (true, true) if self.manifest.is_some() => None,
            (true, true) => Some("a delivery was cut off".to_owned()),
            (true, false) => Some(format!("a delivery was cut off: {}", against())),
            (false, false) => Some(format!("the files are not of one delivery: {}", against())),
            (false, true) => None,
        }
    }

    /// What is wrong with the delivery that a layout's file belongs to, in a sentence; `quoted` is
    /// the delivery that the file itself names.
    #[must_use]
    pub fn problem_of(&self, name: &str, quoted: Option<&str>) -> Option<String> {
        let known = self.manifest.as_ref();
        let listed = known.is_some_and(|m| m.files.iter().any(|file| file.name == name));
        let stranger = known.is_some_and(|m| quoted.is_some_and(|q| q != m.delivery));
        // A copy under a name of the artist's own may stand beside any report
        if stranger && !listed && name.starts_with("layout") {
            return Some("report.json tells of another delivery".to_owned());
        }
        if listed || self.cut_off {
            self.problem()
        } else {
            None
        }
    }
}

/// What is wrong with the delivery that a `layout.json` belongs to, in a sentence. None if nothing
/// is, and for a file that is no layout.
#[must_use]
pub fn problem_of_layout(path: &Path) -> Option<String> {
    #[derive(Deserialize)]
    struct Quote {
        delivery: Option<String>,
    }
    let name = path.file_name()?.to_str()?;
    let folder = match path.parent()? {
        empty if empty.as_os_str().is_empty() => Path::new("."),
        folder => folder,
    };
    // A pipe has been read by now, and would be waited for
    if !path.is_file() {
        return None;
    }
    let bytes = document::bytes(path).ok()?;
    let head: Quote = document::parsed(&bytes).ok()?;
    state(folder).problem_of(name, head.delivery.as_deref())
}

/// Files in the folder with names like those of a delivery that are none of `files`, sorted.
pub(super) fn unlisted(folder: &Path, files: &[FileRecord]) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let names = entries.map(|entry| entry.file_name().to_string_lossy().into_owned());
    let mut found: Vec<String> = names
        .filter(|name| is_like_ours(name) && files.iter().all(|file| file.name != *name))
        .collect();
    found.sort_unstable();
    found
}

/// Whether a file is called as deliveries call theirs: `layout.glb`, `layout.stones.csv`.
fn is_like_ours(name: &str) -> bool {
    Format::ALL.into_iter().any(|format| {
        let [stem, ending] = exporter::of(format).name();
        let parts = name.strip_prefix(stem).and_then(|n| n.strip_suffix(ending));
        parts.is_some_and(|middle| middle.starts_with('.') && middle.ends_with('.'))
    })
}

/// Whether a file's name stays within the folder.
fn is_within(name: &str) -> bool {
    let mut parts = Path::new(name).components().peekable();
    parts.peek().is_some() && parts.all(|part| matches!(part, Component::Normal(_)))
}

/// SHA-256 of a file, 64 hexadecimal digits.
pub(super) fn sha256(path: &Path) -> io::Result<String> {
    let mut file = File::open(path)?;
    let mut hash = Sha256::new();
    let mut buffer = vec![0; BUFFER_BYTES];
    loop {
        match file.read(&mut buffer)? {
            0 => return Ok(hexadecimal(&hash.finalize())),
            n => hash.update(&buffer[..n]),
        }
    }
}

/// Bytes as hexadecimal digits.
pub(super) fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests;
