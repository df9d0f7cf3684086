//! A ground of two million triangles: how long it takes to load and to answer. Run with `cargo
//! bench -p scatter --bench ground`.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

use std::fs;
use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

use scatter::ground::Ground;
use scatter::kit::Shelf;
use scatter::noise::Fractal;
use scatter::random::stream;
use scatter::shot;

/// Corners along a side: 2 x 1000 x 1000 triangles.
const SIDE: u32 = 1001;
/// Side of the ground, metres.
const WIDTH: f32 = 100.0;

/// A hilly sheet as a .glb file.
fn sheet() -> Vec<u8> {
    let noise = Fractal::new(7, 20.0, 0.5);
    let mut binary = Vec::new();
    let (mut low, mut high) = (f32::INFINITY, f32::NEG_INFINITY);
    for i in 0..SIDE * SIDE {
        let step = WIDTH / (SIDE - 1) as f32;
        let (x, z) = (
            (i % SIDE) as f32 * step - 0.5 * WIDTH,
            (i / SIDE) as f32 * step - 0.5 * WIDTH,
        );
        let y = 4.0 * noise.at(f64::from(x), f64::from(z))[0] as f32;
        (low, high) = (low.min(y), high.max(y));
        binary.extend([x, y, z].iter().flat_map(|v| v.to_le_bytes()));
    }
    let corners = binary.len();
    for i in 0..(SIDE - 1) * (SIDE - 1) {
        let a = i / (SIDE - 1) * SIDE + i % (SIDE - 1);
        let (b, c, d) = (a + 1, a + SIDE, a + SIDE + 1);
        binary.extend([a, c, b, b, c, d].iter().flat_map(|v| v.to_le_bytes()));
    }
    let half = 0.5 * WIDTH;
    let json = serde_json::json!({
        "asset": { "version": "2.0" }, "scene": 0, "scenes": [{ "nodes": [0] }], "nodes": [{ "mesh": 0 }],
        "meshes": [{ "primitives": [{ "attributes": { "POSITION": 0 }, "indices": 1 }] }],
        "accessors": [
            { "bufferView": 0, "componentType": 5126, "count": SIDE * SIDE, "type": "VEC3",
              "min": [-half, low, -half], "max": [half, high, half] },
            { "bufferView": 1, "componentType": 5125, "count": 6 * (SIDE - 1) * (SIDE - 1), "type": "SCALAR" }
        ],
        "bufferViews": [{ "buffer": 0, "byteLength": corners },
            { "buffer": 0, "byteOffset": corners, "byteLength": binary.len() - corners }],
        "buffers": [{ "byteLength": binary.len() }]
    });
    let mut json = json.to_string().into_bytes();
    json.resize(json.len().next_multiple_of(4), b' ');
    let mut file = b"glTF".to_vec();
    let length = 28 + json.len() + binary.len();
    file.extend(
        [2, length as u32, json.len() as u32]
            .iter()
            .flat_map(|v| v.to_le_bytes()),
    );
    file.extend(b"JSON");
    file.extend(json);
    file.extend((binary.len() as u32).to_le_bytes());
    file.extend(b"BIN\0");
    file.extend(binary);
    file
}

fn time(name: &str, ground: &Ground, places: &[[f64; 2]]) {
    let begun = Instant::now();
    let mut sum = 0.0;
    for [x, z] in places {
        sum += black_box(ground.at(*x, *z)).0;
    }
    let each = begun.elapsed().as_secs_f64() / places.len() as f64;
    println!(
        "{name}: {:.0} ns a place (mean height {:.3} m)",
        1e9 * each,
        sum / places.len() as f64
    );
}

fn main() {
    let folder = tempfile::tempdir().expect("a folder for the files");
    fs::write(folder.path().join("hills.glb"), sheet()).expect("the mesh is written");
    let read = |json: serde_json::Value, folder: &Path| {
        let ground: shot::Ground = serde_json::from_value(json).expect("a ground");
        Ground::read(&(&ground).into(), &Shelf::of(folder)).expect("the ground is read")
    };
    let begun = Instant::now();
    let mesh = read(
        serde_json::json!({ "mesh": { "file": "hills.glb" } }),
        folder.path(),
    );
    println!(
        "2,000,000 triangles loaded in {:.2} s",
        begun.elapsed().as_secs_f64()
    );
    if let Ok(status) = fs::read_to_string("/proc/self/status") {
        for line in status
            .lines()
            .filter(|l| l.starts_with("VmHWM") || l.starts_with("VmRSS"))
        {
            println!("  {line}");
        }
    }
    let mut s = stream(3);
    let half = 0.5 * f64::from(WIDTH);
    let anywhere: Vec<[f64; 2]> = (0..1_000_000)
        .map(|_| [s.between(-half, half), s.between(-half, half)])
        .collect();
    let close: Vec<[f64; 2]> = (0..1_000_000)
        .map(|_| [s.between(0.0, 2.0), s.between(0.0, 2.0)])
        .collect();
    time("mesh, places all over it", &mesh, &anywhere);
    time("mesh, places in a close-up", &mesh, &close);
    let relief = read(
        serde_json::json!({ "relief": { "height": "4 m", "feature": "20 m" } }),
        folder.path(),
    );
    time("relief, for comparison", &relief, &anywhere);
}
