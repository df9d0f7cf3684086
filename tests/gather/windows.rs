//! Gathered pieces are the same from every camera.

use std::collections::HashMap;

use scatter::brief::LayerIndex;
use scatter::layout::{Instance, Layout};
use serde_json::{Value, json};

use crate::plan::laid;

/// Bits that place a piece.
fn bits(layout: &Layout, i: &Instance) -> [u64; 9] {
    let name = layout.pieces[usize::from(i.piece)].name.bytes();
    let name = name.fold(7u64, |h, b| h.wrapping_mul(31) + u64::from(b));
    let [x, y, z, w] = i.rotation.map(|r| u64::from(r.to_bits()));
    let [px, py, pz] = i.position.to_array().map(f64::to_bits);
    [
        name,
        px,
        py,
        pz,
        x,
        y,
        z,
        w,
        u64::from(i.diameter.to_bits()),
    ]
}

#[test]
fn gathered_pieces_are_the_same_from_every_camera() {
    // All the fields that gather, four cameras, 1 to 4 threads: every piece that two of them have
    // is the same, bit for bit.
    let camera = |at: [f64; 3], toward: [f64; 3]| json!({ "name": "one", "at": at, "toward": toward, "lens": "50 mm", "frame": [480, 270], "far": "12 m" });
    let shot = |camera: Value| {
        json!({
            "shot": "exact", "take": 8, "cameras": [camera],
            "hero": [{ "file": "kettle.glb", "at": [0, 0, 0] }],
            "ground": { "relief": { "height": "40 mm", "feature": "0.8 m", "roughness": 0.5 } },
            "passes": [
                { "name": "blocks", "pieces": ["rock"], "place": "spaced", "cover": 0.1,
                  "sizes": { "law": "power", "exponent": 2.0, "from": "60 mm", "to": "250 mm" },
                  "clumps": { "parents_per_m2": 2, "spread": "0.2 m", "share": 0.7 } },
                { "name": "gravel", "pieces": ["pebble"], "place": "spaced", "cover": 0.35,
                  "sizes": { "law": "power", "exponent": 2.4, "from": "6 mm", "to": "60 mm" },
                  "gather": [{ "grade": { "radius": "0.3 m", "ratio": 0.4 } }, { "clear_of": { "what": "blocks" } }] },
                { "name": "fragments", "pieces": ["rock"], "place": "spaced", "per_m2": 800,
                  "sizes": { "law": "power", "exponent": 2.5, "from": "5 mm", "to": "30 mm" },
                  "gather": [{ "near": { "what": "blocks", "diameters": 1.0, "fade": "steep", "elsewhere": 0.05 } }] },
                { "name": "contact", "pieces": ["pebble"], "place": "strewn", "per_m2": 20000,
                  "sizes": { "law": "power", "exponent": 2.0, "from": "2 mm", "to": "6 mm" },
                  "gather": [{ "near": { "what": "hero", "within": "15 mm", "fade": "even" } }] },
                { "name": "litter", "pieces": ["leaf"], "place": "strewn", "per_m2": 400,
                  "sizes": { "law": "lognormal", "median": "25 mm", "spread": 0.25 },
                  "gather": [{ "lee_of": { "what": "blocks", "wind_from": "300 deg" } }] },
                { "name": "hero-litter", "pieces": ["leaf"], "place": "strewn", "per_m2": 400,
                  "sizes": { "law": "lognormal", "median": "25 mm", "spread": 0.25 },
                  "gather": [{ "lee_of": { "what": "hero", "wind_from": "300 deg" } }] },
                { "name": "strewn-grit", "pieces": ["pebble"], "place": "strewn", "cover": 0.1,
                  "sizes": { "law": "power", "exponent": 2.0, "from": "3 mm", "to": "12 mm" },
                  "gather": [{ "grade": { "radius": "0.3 m" } }] }
            ]
        })
    };
    let cameras = [
        camera([0.0, 0.4, 0.9], [0.0, 0.05, 0.0]),
        camera([0.3, 0.35, 0.8], [0.05, 0.0, -0.1]),
        camera([-0.5, 0.6, 0.5], [0.0, 0.0, 0.0]),
        camera([0.1, 0.2, 0.5], [0.0, 0.0, -0.2]),
    ];
    let mut seen: HashMap<(LayerIndex, u64), [u64; 9]> = HashMap::new();
    let mut compared = [0usize; 7];
    for (k, camera) in cameras.into_iter().enumerate() {
        let threads = rayon::ThreadPoolBuilder::new()
            .num_threads([1, 2, 4, 3][k % 4])
            .build()
            .unwrap();
        let (layout, _, _) = threads.install(|| laid(&shot(camera), "../examples/river-kettle"));
        for i in &layout.instances {
            let bits = bits(&layout, i);
            if let Some(before) = seen.insert((i.pass, i.id), bits) {
                let name = &layout.passes[usize::from(i.pass)].name;
                assert_eq!(before, bits, "{name}, id {:016x}", i.id);
                compared[usize::from(i.pass)] += 1;
            }
        }
    }
    println!("{compared:?} pieces compared, 0 differ");
    assert!(compared.iter().all(|c| *c > 20), "{compared:?}");
    assert!(compared.iter().sum::<usize>() > 10_000, "{compared:?}");
}
