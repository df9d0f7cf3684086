//! The file as a whole: binary chunks, version, extensions, JSON.

use std::borrow::Cow;

use gltf::json::Root;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use serde_json::value::RawValue;

use super::animation::Animations;
use super::{numbers, shorten};
use crate::error::{Error, Result};

/// Maximum number of objects in the JSON. A glTF object takes about a kilobyte in memory at worst
/// and a few bytes in the file, so this bounds the memory that a small file can claim to about half
/// a gigabyte.
const MAX_OBJECTS: usize = 500_000;

/// Maximum number of elements in the JSON's lists and objects together, for the same reason
/// (numbers take 4 to 16 bytes).
const MAX_ELEMENTS: usize = 16_000_000;

/// Extensions that a file may require: they change nothing that is read, or are read (quantised
/// attributes, compressed views).
const READABLE: [&str; 21] = [
    "KHR_animation_pointer",
    "KHR_lights_punctual",
    "KHR_materials_anisotropy",
    "KHR_materials_clearcoat",
    "KHR_materials_dispersion",
    "KHR_materials_emissive_strength",
    "KHR_materials_ior",
    "KHR_materials_iridescence",
    "KHR_materials_pbrSpecularGlossiness",
    "KHR_materials_sheen",
    "KHR_materials_specular",
    "KHR_materials_transmission",
    "KHR_materials_unlit",
    "KHR_materials_variants",
    "KHR_materials_volume",
    "KHR_mesh_quantization",
    "KHR_texture_basisu",
    "KHR_texture_transform",
    "EXT_meshopt_compression",
    "EXT_texture_avif",
    "EXT_texture_webp",
];

/// The extension by which a node stands for many copies of its mesh.
pub(super) const INSTANCING: &str = "EXT_mesh_gpu_instancing";

/// A file taken apart.
#[derive(Debug)]
pub(super) struct File<'a> {
    /// The JSON document, without a byte order mark, whole numbers in their plain form.
    pub(super) json: Cow<'a, [u8]>,
    /// The binary chunk of a .glb file.
    pub(super) binary: Option<&'a [u8]>,
}

/// Takes a file apart; its first bytes tell its format, not its name.
pub(super) fn open(bytes: &[u8]) -> Result<File<'_>> {
    if !bytes.starts_with(b"glTF") {
        return Ok(File {
            json: prepared(bytes)?,
            binary: None,
        });
    }
    let [_, version, length] = words(bytes, 0).ok_or_else(|| {
        whole(
            format!(
                "the file ends after {} bytes, within its header",
                bytes.len()
            ),
            "a GLB header takes 12 bytes; was the file cut short?",
        )
    })?;
    if version != 2 {
        return Err(whole(
            format!("GLB version {version}"),
            "save the file as glTF 2.0",
        ));
    }
    if (length as usize) < 12 || length as usize > bytes.len() {
        return Err(whole(
            format!(
                "the header tells of {length} bytes, the file has {}",
                bytes.len()
            ),
            "was the file cut short?",
        ));
    }
    let bytes = &bytes[..length as usize];
    let (kind, json, next) = chunk(bytes, 12)?.ok_or_else(|| {
        whole(
            "the file holds no chunk".to_owned(),
            "a GLB begins with a JSON chunk",
        )
    })?;
    if &kind != b"JSON" {
        return Err(whole(
            format!("the first chunk is {:?}", String::from_utf8_lossy(&kind)),
            "a GLB begins with a JSON chunk",
        ));
    }
    // Chunks of other kinds are for others to read.
    let binary = match chunk(bytes, next)? {
        Some((kind, data, _)) if &kind == b"BIN\0" => Some(data),
        _ => None,
    };
    Ok(File {
        json: prepared(json)?,
        binary,
    })
}

/// The JSON as the parser takes it, if it is not too much.
fn prepared(json: &[u8]) -> Result<Cow<'_, [u8]>> {
    let json = json.strip_prefix(b"\xef\xbb\xbf").unwrap_or(json);
    check_amount(json)?;
    Ok(numbers::plain_wholes(json))
}

/// The chunk at `at`: its kind, its data and where the next one begins; none at the end of the
/// file.
#[expect(
    clippy::type_complexity,
    reason = "three values used at once, in one place"
)]
fn chunk(bytes: &[u8], at: usize) -> Result<Option<([u8; 4], &[u8], usize)>> {
    if at >= bytes.len() {
        return Ok(None);
    }
    let [length, kind] = words(bytes, at).ok_or_else(|| {
        whole(
            format!("the chunk at byte {at} ends within its head"),
            "was the file cut short?",
        )
    })?;
    let begin = at + 8;
    let data = bytes[begin..].get(..length as usize).ok_or_else(|| {
        whole(
            format!(
                "the chunk at byte {at} tells of {length} bytes, {} are left",
                bytes.len() - begin
            ),
            "was the file cut short?",
        )
    })?;
    let next = (begin + data.len()).next_multiple_of(4);
    Ok(Some((kind.to_le_bytes(), data, next)))
}

/// Little-endian 32-bit words from `at` on.
fn words<const N: usize>(bytes: &[u8], at: usize) -> Option<[u32; N]> {
    let bytes = bytes.get(at..)?.get(..4 * N)?;
    let mut words = [0; N];
    for (word, b) in words.iter_mut().zip(bytes.chunks_exact(4)) {
        *word = u32::from_le_bytes([b[0], b[1], b[2], b[3]]);
    }
    Some(words)
}

/// What decides whether the rest can be read at all.
#[derive(Deserialize)]
struct DocumentHead {
    asset: Option<Asset>,
    #[serde(default, rename = "extensionsRequired")]
    extensions_required: Vec<String>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Asset {
    version: Option<Value>,
    min_version: Option<Value>,
}

/// Where the animations stand in the document.
#[derive(Deserialize)]
struct AnimationsText<'a> {
    #[serde(borrow)]
    animations: Option<&'a RawValue>,
}

/// Parses the JSON document of a file whose meshes are read.
pub(super) fn parse(json: &[u8]) -> Result<Root> {
    let head: DocumentHead = parse_part(json)?;
    for (i, name) in head.extensions_required.iter().enumerate() {
        if !READABLE.contains(&name.as_str()) {
            let hint = match name.as_str() {
                "KHR_draco_mesh_compression" => {
                    "save the meshes without Draco compression; quantised meshes are read"
                }
                INSTANCING => "save the copies as plain nodes",
                _ => "save the file without it (meshes uncompressed, copies as plain nodes)",
            };
            return Err(Error::input(
                format!("extensionsRequired[{i}]"),
                format!("the extension {:?} is not read here", shorten(name)),
                hint,
            ));
        }
    }
    let (root, _) = parse_whole(json)?;
    Ok(root)
}

/// Parses all of the JSON document, whatever extensions it requires. The animations come apart, and
/// `Root` has none: it knows none that move what is no node.
pub(super) fn parse_whole(json: &[u8]) -> Result<(Root, Animations)> {
    let animations: Animations = parse_part(json)?;
    let text: AnimationsText<'_> = deserialize(json)?;
    let root = match text.animations.map(RawValue::get) {
        None => deserialize(json)?,
        Some(list) => {
            // A list without elements in its place, as long
            let begin = list.as_ptr().addr() - json.as_ptr().addr();
            let mut without = json.to_vec();
            without[begin..begin + list.len()].fill(b' ');
            without[begin..begin + 2].copy_from_slice(b"[]");
            deserialize(&without)?
        }
    };
    Ok((root, animations))
}

/// Parses a part of the JSON document, whatever extensions it requires.
pub(super) fn parse_part<T: DeserializeOwned>(json: &[u8]) -> Result<T> {
    let head: DocumentHead = deserialize(json)?;
    let asset = head.asset.as_ref();
    let place = "asset.version";
    match asset.and_then(|a| a.version.as_ref()) {
        Some(Value::String(v)) if v.starts_with("2.") => {}
        Some(v) => {
            return Err(Error::input(
                place,
                format!("glTF version {}", shorten(&v.to_string())),
                "save the file as glTF 2.0, which has \"version\": \"2.0\"",
            ));
        }
        None => {
            return Err(Error::input(
                place,
                "no version is given",
                "a glTF document has \"asset\": { \"version\": \"2.0\" }; glTF 1.0 is not read",
            ));
        }
    }
    if let Some(least) = asset.and_then(|a| a.min_version.as_ref())
        && !least.as_str().is_some_and(is_read)
    {
        return Err(Error::input(
            "asset.minVersion",
            format!(
                "the file asks for a reader of glTF {}",
                shorten(&least.to_string())
            ),
            "glTF 2.0 is read: save the file with nothing that needs a later version, \
             and \"minVersion\": \"2.0\" or none",
        ));
    }
    deserialize(json)
}

/// Whether a least version, `major.minor`, is no later than 2.0.
fn is_read(least: &str) -> bool {
    let number = |text: &str| -> Option<u64> {
        let digits = text.bytes().all(|b| b.is_ascii_digit());
        digits.then(|| text.parse().ok()).flatten()
    };
    let version = least.split_once('.');
    version.is_some_and(|(major, minor)| match (number(major), number(minor)) {
        (Some(major), Some(minor)) => (major, minor) <= (2, 0),
        _ => false,
    })
}

fn deserialize<'a, T: Deserialize<'a>>(json: &'a [u8]) -> Result<T> {
    let mut source = serde_json::Deserializer::from_slice(json);
    let value = serde_path_to_error::deserialize(&mut source).map_err(|e| {
        let path = e.path().to_string();
        // The path of the document itself prints as a dot.
        let place = if path == "." {
            String::new()
        } else {
            shorten(&path)
        };
        let hint = "the glTF 2.0 specification says what belongs there";
        let problem = shorten(&e.inner().to_string());
        Error::input(place, format!("not a glTF document: {problem}"), hint)
    })?;
    source.end().map_err(|e| {
        let problem = format!("more follows the JSON document: {e}");
        whole(problem, "a glTF file holds one JSON document")
    })?;
    Ok(value)
}

/// Counts what the parser would make room for.
fn check_amount(json: &[u8]) -> Result<()> {
    let (mut objects, mut elements) = (0, 0);
    let mut bytes = json.iter();
    while let Some(&byte) = bytes.next() {
        match byte {
            b'{' => objects += 1,
            b',' => elements += 1,
            // Skip the text; an escaped quote does not end it.
            b'"' => {
                while let Some(&byte) = bytes.next() {
                    match byte {
                        b'"' => break,
                        b'\\' => drop(bytes.next()),
                        _ => {}
                    }
                }
            }
            _ => {}
        }
    }
    if objects > MAX_OBJECTS || elements > MAX_ELEMENTS {
        return Err(whole(
            format!("the document holds {objects} objects and {elements} elements"),
            "at most 500,000 objects and 16,000,000 elements are read; simplify the scene",
        ));
    }
    Ok(())
}

fn whole(problem: String, hint: &str) -> Error {
    Error::input("", problem, hint)
}
