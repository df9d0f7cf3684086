//! glTF files in each part that they play.

use scatter::brief::{Ground, GroundMesh, GroundShape, Hero};
use scatter::kit::{Part, Shelf, files, gltf, inspect};
use scatter::optics::Camera;
use scatter::{Amount, Brief, Error, Pass, Place, Session, SizeLaw, carpet, ground, hero};
use serde_json::json;

use super::Desk;
use crate::meshes;

/// The name of the file that is read; its first bytes tell whether it is binary.
const FILE: &str = "read.glb";
/// Side of a carpet's tile, metres.
const TILE_M: f64 = 0.2;

/// As a kit is looked through: its pieces, what is odd about them, their textures.
pub(super) fn pieces(bytes: &[u8], desk: &Desk) -> Result<(), Error> {
    let path = desk.file(FILE, bytes);
    let behind = files::behind(&path);
    assert!(behind.contains(&path), "a file depends on itself");
    let model = gltf::read(&path)?;
    sound(&model.into_parts());
    let (mut seen, _) = inspect::inspect(&path, FILE)?;
    inspect::tell_copies(&mut seen);
    for inspected in &seen {
        let piece = &inspected.found.piece;
        let width = piece.measure.b_axis;
        assert!(width.is_finite() && width > 0.0, "a piece {width} m wide");
        for texture in piece.parts.iter().flat_map(|p| p.material.textures()) {
            texture.decode()?;
        }
    }
    Ok(())
}

/// As the pieces of a pass: with the bodies that come to lie and the simpler versions.
pub(super) fn kit(bytes: &[u8], desk: &Desk) -> Result<(), Error> {
    desk.file(FILE, bytes);
    let lens = Camera::looking("a", [0.0, 0.4, 0.5], [0.0; 3], 0.05, [48, 32]);
    let size = SizeLaw::power(2.0, 0.05, 0.1);
    let pass = Pass::new([FILE], Place::Spaced, size, Amount::Cover(0.1)).stretched();
    let brief = Brief::new("read", lens).pass("read", pass);
    Session::forgetful(desk.folder())
        .prepare(&brief)
        .map(|_| ())
}

/// As a hero on level ground.
pub(super) fn hero(bytes: &[u8], desk: &Desk) -> Result<(), Error> {
    desk.file(FILE, bytes);
    let shelf = Shelf::of(desk.folder());
    let asked = [Hero::new(FILE), Hero::new(FILE)];
    let heroes = hero::Hero::read_all(&asked, &shelf, &ground::Ground::level())?;
    for hero in &heroes {
        sound(&hero.parts);
    }
    Ok(())
}

/// As the ground.
pub(super) fn ground_mesh(bytes: &[u8], desk: &Desk) -> Result<(), Error> {
    desk.file(FILE, bytes);
    let mesh = GroundMesh {
        turn: 0.3,
        scale: 1.1,
        ..GroundMesh::new(FILE)
    };
    let asked = Ground {
        terrain: GroundShape::Mesh(mesh),
        ..Ground::default()
    };
    let ground = ground::Ground::read(&asked, &Shelf::of(desk.folder()))?;
    for at in [-1e4, -0.3, 0.0, 0.26, 1e4] {
        let (height, normal) = ground.at(at, 0.5 * at);
        assert!(height.is_finite(), "the ground is {height} m high at {at}");
        assert!(normal.is_normalized(), "its normal is {normal} at {at}");
    }
    let [low, high] = ground.slab();
    assert!(low <= high, "the ground goes from {low} m to {high} m");
    Ok(())
}

/// As a patch of a carpet.
pub(super) fn patch(bytes: &[u8], desk: &Desk) -> Result<(), Error> {
    desk.file(FILE, bytes);
    let (tiles, _) = carpet::read(TILE_M, FILE, desk.folder())?;
    for piece in tiles.pieces.iter().flatten() {
        sound(&piece.parts);
    }
    Ok(())
}

/// As a camera that moves.
pub(super) fn cameras(bytes: &[u8], desk: &Desk) -> Result<(), Error> {
    let path = desk.file(FILE, bytes);
    let camera = gltf::read_camera(&path, None, None)?;
    let [from, to] = camera.span.unwrap_or_default();
    for time in [from - 1.0, from, 0.5 * (from + to), to, to + 1.0, 0.0] {
        let (at, turn) = camera.pose(time);
        // Where it can't be the brief says so in words
        assert!(
            turn.is_normalized(),
            "at {time} s it stands at {at}, turned by {turn}"
        );
    }
    let fits = camera.yfov > 0.0 && camera.near > 0.0;
    assert!(
        fits,
        "a lens of {} rad from {} m on",
        camera.yfov, camera.near
    );
    Ok(())
}

/// A compressed view of a mesh: its first bytes tell mode, filter, elements and their size, the
/// rest is the data. Longer than a reader can hold: `count` has 16 bits.
pub(super) fn meshopt(bytes: &[u8], desk: &Desk) -> Result<(), Error> {
    let Some(([mode, filter, stride, low, high], data)) = bytes.split_first_chunk() else {
        return Ok(());
    };
    let pick = |list: &[&str], at: u8| list[usize::from(at) % list.len()].to_owned();
    let mode = pick(&["ATTRIBUTES", "TRIANGLES", "INDICES"], *mode);
    let filters = ["NONE", "OCTAHEDRAL", "QUATERNION", "EXPONENTIAL"];
    let (filter, count) = (pick(&filters, *filter), u16::from_le_bytes([*low, *high]));
    let length = usize::from(count) * usize::from(*stride);
    let compressed = json!({ "EXT_meshopt_compression": {
        "buffer": 0, "byteLength": data.len(), "byteStride": stride, "count": count, "mode": mode, "filter": filter
    } });
    let indices = mode != "ATTRIBUTES";
    // A triangle beside it, for indices to lead to; what is compressed are its indices, or its places
    let corners: Vec<u8> = [0.0_f32, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0]
        .iter()
        .flat_map(|v| v.to_le_bytes())
        .collect();
    let mut primitive = json!({ "attributes": { "POSITION": usize::from(indices) } });
    if indices {
        primitive["indices"] = json!(0);
    }
    let first = if indices {
        let kind = if *stride == 2 { 5123 } else { 5125 };
        json!({ "bufferView": 0, "componentType": kind, "count": count, "type": "SCALAR" })
    } else {
        json!({ "bufferView": 0, "componentType": 5126, "count": count, "type": "VEC3",
            "min": [-1, -1, -1], "max": [1, 1, 1] })
    };
    let begin = data.len().next_multiple_of(4);
    let mut binary = data.to_vec();
    binary.resize(begin, 0);
    binary.extend(corners);
    let document = json!({
        "asset": { "version": "2.0" }, "scenes": [{ "nodes": [0] }], "nodes": [{ "mesh": 0 }],
        "extensionsUsed": ["EXT_meshopt_compression"], "extensionsRequired": ["EXT_meshopt_compression"],
        "meshes": [{ "primitives": [primitive] }],
        "accessors": [first, { "bufferView": 1, "componentType": 5126, "count": 3, "type": "VEC3",
            "min": [0, 0, 0], "max": [1, 0, 1] }],
        "bufferViews": [
            { "buffer": 0, "byteLength": length, "extensions": compressed },
            { "buffer": 0, "byteOffset": begin, "byteLength": 36 }
        ],
        "buffers": [{ "byteLength": binary.len() }]
    });
    let model = gltf::read_bytes(&meshes::glb(&document, &binary), desk.folder())?;
    sound(&model.into_parts());
    Ok(())
}

/// Meshes are as the rest of the library takes them to be.
fn sound(parts: &[Part]) {
    for part in parts {
        let mesh = &part.mesh;
        let count = mesh.positions.len();
        assert!(
            mesh.indices.iter().all(|i| (*i as usize) < count),
            "an index to nothing"
        );
        assert!(mesh.indices.len().is_multiple_of(3), "part of a triangle");
        assert!(
            mesh.positions.iter().all(|p| p.is_finite()),
            "a place is no number"
        );
        assert_eq!(mesh.normals.len(), count, "a normal a vertex");
        let unit = mesh.normals.iter().all(|n| (n.length() - 1.0).abs() < 1e-2);
        assert!(unit, "a normal is not of unit length");
    }
}
