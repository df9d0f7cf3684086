//! The bytes behind a document: its binary chunk, data URIs, files beside it.

use std::cell::{Cell, OnceCell};
use std::fs::File;
use std::io::Read;
use std::path::{Component, Path, PathBuf};

use base64::Engine;
use base64::alphabet;
use base64::engine::GeneralPurpose;
use base64::engine::general_purpose::NO_PAD;
use gltf::json::Root;
use serde::Deserialize;
use serde_json::Value;

use super::meshopt::Compression;
use super::{MAX_FILE_BYTES, lookup, shorten};
use crate::error::{Error, Result};

/// The extension that compresses buffer views.
const MESHOPT: &str = "EXT_meshopt_compression";

/// Reads a file that is a file, and not too long.
pub(super) fn read_file(path: &Path) -> Result<Vec<u8>> {
    let cannot = |e: &std::io::Error| {
        Error::input(
            "",
            format!("can't read the file: {e}"),
            "is the path right, and may you read it?",
        )
        .in_file(path)
    };
    let metadata = std::fs::metadata(path).map_err(|e| cannot(&e))?;
    if !metadata.is_file() {
        let hint = "name a .glb or .gltf file, or the buffer that belongs to one";
        return Err(Error::input("", "this is no file", hint).in_file(path));
    }
    let mut bytes = Vec::new();
    // One byte more shows that there is more, even if the file grows meanwhile.
    File::open(path)
        .and_then(|file| file.take(MAX_FILE_BYTES + 1).read_to_end(&mut bytes))
        .map_err(|e| cannot(&e))?;
    if bytes.len() as u64 > MAX_FILE_BYTES {
        let hint = "files up to 1 GiB are read; simplify the mesh";
        return Err(Error::input("", "the file is too long", hint).in_file(path));
    }
    Ok(bytes)
}

/// Files that are often named for a model: how they begin, and what they are.
const NO_MODELS: [(&[u8], &str); 6] = [
    (b"\x89PNG", "this is a PNG picture"),
    (b"\xff\xd8\xff", "this is a JPEG picture"),
    (b"Kaydara FBX", "this is an FBX file"),
    (b"PXR-USDC", "this is an OpenUSD file"),
    (b"#usda", "this is an OpenUSD file"),
    (b"BLENDER", "this is a scene of a modelling program"),
];

/// Endings of models that are not read.
const OTHER_MODELS: [&str; 9] = [
    "abc", "blend", "dae", "fbx", "obj", "ply", "stl", "usd", "usdz",
];

/// Reads a file that is to be a glTF model; one that is known to be something else is refused.
pub(super) fn read_model(path: &Path) -> Result<Vec<u8>> {
    const EXPORT: &str = "export it as glTF 2.0, a .glb file";
    let bytes = read_file(path)?;
    if bytes.is_empty() {
        return Err(Error::input("", "the file is empty", EXPORT).in_file(path));
    }
    let known = NO_MODELS.iter().find(|(head, _)| bytes.starts_with(head));
    if let Some((_, problem)) = known {
        return Err(Error::input("", *problem, EXPORT).in_file(path));
    }
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    if let Some(ending) = ending.filter(|e| OTHER_MODELS.contains(&e.as_str())) {
        let problem = format!("files of the form .{ending} are not read");
        return Err(Error::input("", problem, EXPORT).in_file(path));
    }
    Ok(bytes)
}

/// A document's buffers, each loaded when it is first asked for.
#[derive(Debug)]
pub(super) struct Buffers<'a> {
    root: &'a Root,
    binary: Option<&'a [u8]>,
    folder: &'a Path,
    loaded: Vec<OnceCell<Vec<u8>>>,
    loaded_bytes: Cell<u64>,
    /// Views that are compressed.
    decoded: Vec<OnceCell<Vec<u8>>>,
}

impl<'a> Buffers<'a> {
    pub(super) fn new(root: &'a Root, binary: Option<&'a [u8]>, folder: &'a Path) -> Self {
        Self {
            root,
            binary,
            folder,
            loaded: root.buffers.iter().map(|_| OnceCell::new()).collect(),
            loaded_bytes: Cell::new(0),
            decoded: root.buffer_views.iter().map(|_| OnceCell::new()).collect(),
        }
    }

    /// The bytes of a buffer view. `place` is what refers to it.
    pub(super) fn view(&self, view: usize, place: &str) -> Result<&[u8]> {
        let views = &self.root.buffer_views;
        let json = lookup(views, view, "bufferViews", || format!("{place}.bufferView"))?;
        let place = format!("bufferViews[{view}]");
        let extensions = json.extensions.as_ref();
        if let Some(told) = extensions.and_then(|e| e.others.get(MESHOPT)) {
            if let Some(bytes) = self.decoded[view].get() {
                return Ok(bytes);
            }
            let bytes = self.decompress(told, json.byte_length.0, &place)?;
            return Ok(self.decoded[view].get_or_init(|| bytes));
        }
        let bytes = self.buffer(json.buffer.value(), &place)?;
        let begin = json.byte_offset.map_or(0, |o| o.0);
        let length = json.byte_length.0;
        slice(bytes, begin, length).ok_or_else(|| {
            Error::input(
                place,
                format!(
                    "bytes {begin} to {begin} + {length} of a buffer of {} bytes",
                    bytes.len()
                ),
                "byteOffset + byteLength must not pass the buffer's end",
            )
        })
    }

    /// The bytes of a compressed view, `length` of them.
    fn decompress(&self, told: &Value, length: u64, place: &str) -> Result<Vec<u8>> {
        let place = format!("{place}.extensions.{MESHOPT}");
        let wrong = |problem: String| {
            let hint = "save the meshes again, compressed anew or uncompressed";
            Error::input(&*place, problem, hint)
        };
        let compression =
            Compression::deserialize(told).map_err(|e| wrong(shorten(&e.to_string())))?;
        let size = compression
            .count
            .checked_mul(compression.byte_stride as u64);
        if size != Some(length) {
            return Err(wrong(format!(
                "{} elements of {} bytes in a view of {length} bytes",
                compression.count, compression.byte_stride
            )));
        }
        self.count(length, &place)?;
        let bytes = self.buffer(compression.buffer, &place)?;
        let data = slice(bytes, compression.byte_offset, compression.byte_length);
        let data = data.ok_or_else(|| wrong("the data passes the end of its buffer".to_owned()))?;
        let decoded = compression.decode(data);
        decoded.ok_or_else(|| wrong("the data can't be decoded".to_owned()))
    }

    /// Counts bytes that come into memory.
    fn count(&self, bytes: u64, place: &str) -> Result<()> {
        let loaded = self.loaded_bytes.get().saturating_add(bytes);
        self.loaded_bytes.set(loaded);
        if loaded > MAX_FILE_BYTES {
            let problem = "with this buffer the document passes 1 GiB";
            return Err(Error::input(place, problem, "simplify the scene"));
        }
        Ok(())
    }

    /// The bytes of a buffer, as many as it tells of.
    fn buffer(&self, index: usize, user: &str) -> Result<&[u8]> {
        let json = lookup(&self.root.buffers, index, "buffers", || {
            format!("{user}.buffer")
        })?;
        let place = format!("buffers[{index}]");
        let bytes: &[u8] = match (&json.uri, self.binary) {
            (Some(uri), _) => match self.loaded[index].get() {
                Some(bytes) => bytes,
                None => {
                    let bytes = self.load(uri, &format!("{place}.uri"))?;
                    self.loaded[index].get_or_init(|| bytes)
                }
            },
            (None, Some(binary)) if index == 0 => binary,
            (None, _) => {
                return Err(Error::input(
                    place,
                    "the buffer has no bytes",
                    "give it a uri; only the first buffer of a .glb may go without",
                ));
            }
        };
        slice(bytes, 0, json.byte_length.0).ok_or_else(|| {
            Error::input(
                format!("{place}.byteLength"),
                format!(
                    "{} bytes are told of, {} are there",
                    json.byte_length.0,
                    bytes.len()
                ),
                "byteLength must not pass the data's end; was the file cut short?",
            )
        })
    }

    /// Loads what a URI names: data, or a file in the document's folder or below.
    pub(super) fn load(&self, uri: &str, place: &str) -> Result<Vec<u8>> {
        let bytes = if let Some(data) = uri.strip_prefix("data:") {
            decode_data(data).ok_or_else(|| {
                Error::input(
                    place,
                    "the data URI can't be decoded",
                    "data URIs are data:...;base64,...",
                )
            })?
        } else {
            let path = self.file_of(uri).ok_or_else(|| {
                Error::input(
                    place,
                    format!("{:?} is no file in the document's own folder", shorten(uri)),
                    "keep buffers and textures beside the document, and name them by a relative path",
                )
            })?;
            read_file(&path).map_err(|mut e| {
                // The document is at fault, and names the file.
                for fault in &mut e.faults {
                    fault.problem = format!("{}: {}", path.display(), fault.problem);
                    place.clone_into(&mut fault.place);
                }
                e.file = None;
                e
            })?
        };
        self.count(bytes.len() as u64, place)?;
        Ok(bytes)
    }

    /// The file that a relative URI names; none if it leaves the folder or is no path at all.
    fn file_of(&self, uri: &str) -> Option<PathBuf> {
        let text = decode_percent(uri)?;
        let relative = Path::new(&text);
        let inside = relative
            .components()
            .all(|c| matches!(c, Component::Normal(_) | Component::CurDir));
        // A colon makes a scheme, or a drive; a backslash parts folders on some systems.
        if text.is_empty() || !inside || text.contains([':', '\\', '\0']) {
            return None;
        }
        let path = self.folder.join(relative);
        // A link may lead out of the folder. What can't be resolved can't be read either, and will
        // say so.
        let folder = if self.folder.as_os_str().is_empty() {
            Path::new(".")
        } else {
            self.folder
        };
        match (path.canonicalize(), folder.canonicalize()) {
            (Ok(path), Ok(folder)) if !path.starts_with(&folder) => None,
            _ => Some(path),
        }
    }
}

/// `length` bytes from `begin` on, if they are there.
pub(super) fn slice(bytes: &[u8], begin: u64, length: u64) -> Option<&[u8]> {
    let begin = usize::try_from(begin).ok()?;
    let length = usize::try_from(length).ok()?;
    bytes.get(begin..)?.get(..length)
}

/// `mediatype;base64,text` to bytes.
fn decode_data(data: &str) -> Option<Vec<u8>> {
    let (head, text) = data.split_once(',')?;
    head.ends_with(";base64").then(|| decode_base64(text))?
}

/// Base 64 of RFC 4648, with or without padding; none if it is no such text. Bits after the last
/// whole byte are nobody's.
pub(super) fn decode_base64(text: &str) -> Option<Vec<u8>> {
    let lenient = NO_PAD.with_decode_allow_trailing_bits(true);
    let engine = GeneralPurpose::new(&alphabet::STANDARD, lenient);
    engine.decode(text.trim_end_matches('=')).ok()
}

/// `%20` and its like to characters; none if they make no text.
pub(in crate::kit) fn decode_percent(uri: &str) -> Option<String> {
    let mut bytes = Vec::with_capacity(uri.len());
    let mut rest = uri.bytes();
    while let Some(byte) = rest.next() {
        if byte == b'%' {
            let mut digit = || char::from(rest.next()?).to_digit(16);
            bytes.push((digit()? * 16 + digit()?) as u8);
        } else {
            bytes.push(byte);
        }
    }
    String::from_utf8(bytes).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_of_rfc_4648_section_10() {
        let vectors = [
            ("", ""),
            ("Zg==", "f"),
            ("Zm8=", "fo"),
            ("Zm9v", "foo"),
            ("Zm9vYg==", "foob"),
            ("Zm9vYmE=", "fooba"),
            ("Zm9vYmFy", "foobar"),
        ];
        for (text, bytes) in vectors {
            assert_eq!(decode_base64(text).as_deref(), Some(bytes.as_bytes()));
        }
        assert_eq!(decode_base64("Zm9vYg").as_deref(), Some(&b"foob"[..]));
        assert_eq!(decode_base64("Zm9vYh==").as_deref(), Some(&b"foob"[..]));
        for broken in ["Zm9v*", "Zm9v Yg==", "Zm=9v", "Zm9vY"] {
            assert_eq!(decode_base64(broken), None, "{broken}");
        }
    }

    #[test]
    fn percent_codes_become_characters() {
        assert_eq!(decode_percent("a%20b%C3%A9").as_deref(), Some("a bé"));
        for broken in ["%", "%2", "%zz", "%ff"] {
            assert_eq!(decode_percent(broken), None, "{broken}");
        }
    }
}
