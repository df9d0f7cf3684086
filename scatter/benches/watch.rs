//! An edit of one pass of a shot of 200,000 pieces, delivered again, beside a full dress: both in
//! one run, files and all. Run with `cargo bench -p scatter --bench watch`, with words such as
//! `leaves` to run the edits alone whose names have one of them.

#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

mod bed;

use std::path::Path;
use std::sync::Mutex;
use std::time::Instant;

use scatter::cancel::Cancel;
use scatter::deliver::{DeliverOptions, Format, write};
use scatter::layout::Layout;
use scatter::session::Session;
use serde_json::{Value, json};

/// Rounds of each edit: the median of three leaves out what another program took once.
const ROUNDS: usize = 3;

/// Stones from 4 to 60 mm, twigs and leaves on uneven ground, seen from above.
fn document() -> Value {
    let passes = [
        bed::stones(0.15),
        bed::gravel(0.25, "4 mm"),
        bed::twigs(40.0, "20 mm", 0.25),
        bed::leaves(200.0),
    ];
    bed::document(6.1, Some(bed::uneven()), &passes)
}

/// From the document's text to the files.
fn deliver(document: &Value, session: &mut Session, folder: &Path, told: bool) -> (f64, Layout) {
    let begun = Instant::now();
    let shot = bed::parse(document);
    let brief = shot.brief().expect("the bench's shot is sound");
    let dressed = session.dress(&brief, &|_| (), &Cancel::new());
    let (layout, change) = dressed.expect("the bench's shot dresses");
    let options = DeliverOptions {
        shot_digest: shot.digest(),
        ..DeliverOptions::new(folder, &[Format::Glb, Format::Json])
    };
    let written = Instant::now();
    write(&layout, &options).expect("the bench's files are written");
    if told {
        for stage in &change.work.stages {
            println!("    {:28} {:.3} s", stage.name, stage.seconds);
        }
        println!(
            "    {:28} {:.3} s",
            "write",
            written.elapsed().as_secs_f64()
        );
    }
    (begun.elapsed().as_secs_f64(), layout)
}

/// How long a dressing goes on after it is cancelled, at moments spread over its whole way, kit and
/// all: carpet, shade and simpler versions among it.
fn cancelled() {
    let mut document = document();
    document["carpet"] = json!({ "grains": ["pebble"],
        "sizes": { "law": "power", "exponent": 2, "from": "3 mm", "to": "6 mm" } });
    document["shade"] = json!({ "lit": 0.6, "fleck": "60 mm", "softness": "15 mm" });
    document["resolve"] = json!({ "triangle_pixels": 2 });
    let shot = bed::parse(&document);
    let brief = shot.brief().expect("the bench's shot is sound");
    let begun = Instant::now();
    let dressed = Session::open(".").dress(&brief, &|_| (), &Cancel::new());
    dressed.expect("the bench's shot dresses");
    let whole = begun.elapsed();
    let mut late: Vec<(f64, u32, String)> = (0..CANCELLED)
        .map(|i| {
            let cancel = Cancel::new();
            let stage = Mutex::new(String::new());
            let told = |name: &str| {
                if let Ok(mut stage) = stage.lock() {
                    *stage = name.to_owned();
                }
            };
            let mut session = Session::open(".");
            std::thread::scope(|scope| {
                let work = scope.spawn(|| {
                    let result = session.dress(&brief, &told, &cancel);
                    (result.is_err(), Instant::now())
                });
                std::thread::sleep(whole * i / CANCELLED);
                let at = Instant::now();
                let during = stage.lock().map(|s| s.clone()).unwrap_or_default();
                cancel.cancel();
                let (stopped, ended) = work.join().expect("no dressing panics");
                let late = if stopped {
                    (ended - at).as_secs_f64()
                } else {
                    0.0
                };
                (late, i, during)
            })
        })
        .collect();
    late.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (longest, at, during) = &late[late.len() - 1];
    println!(
        "cancelled at {CANCELLED} moments of {:.2} s: {:.0} ms in the median, {:.0} ms at most, in `{during}` at {at} of {CANCELLED}",
        whole.as_secs_f64(),
        1e3 * late[late.len() / 2].0,
        1e3 * longest
    );
    for (late, at, during) in late.iter().rev().take(8) {
        println!("    {:.0} ms in `{during}` at {at}", 1e3 * late);
    }
}

/// Moments at which a dressing is cancelled.
const CANCELLED: u32 = 40;

fn main() {
    let folder = tempfile::tempdir().expect("a folder for the files");
    let plain = document();
    // Each edit with the document that it leads to
    let edits: Vec<(&str, Value)> = [
        ("stones: cover 0.15 to 0.16", "/passes/0/cover", json!(0.16)),
        (
            "stones: sunk deeper",
            "/passes/0/rest",
            json!({ "bury": [0.2, 0.4] }),
        ),
        ("gravel: cover 0.25 to 0.27", "/passes/1/cover", json!(0.27)),
        (
            "twigs: 40 to 50 a square metre",
            "/passes/2/per_m2",
            json!(50),
        ),
        (
            "leaves: 200 to 220 a square metre",
            "/passes/3/per_m2",
            json!(220),
        ),
        ("leaves: wet", "/passes/3/rest", json!({ "wet": 0.9 })),
        ("the camera, 5 cm aside", "/cameras/0/at/0", json!(0.05)),
    ]
    .into_iter()
    .map(|(name, place, value)| {
        let mut edited = plain.clone();
        match edited.pointer_mut(place) {
            Some(old) => *old = value,
            None => {
                let (pass, key) = place.rsplit_once('/').expect("a key");
                edited.pointer_mut(pass).expect("a pass")[key] = value;
            }
        }
        (name, edited)
    })
    .collect();

    let asked: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| !a.starts_with('-'))
        .collect();
    let runs = |name: &str| asked.is_empty() || asked.iter().any(|word| name.contains(word));
    if runs("cancelled") {
        cancelled();
    }
    for (name, edited) in edits.iter().filter(|(name, _)| runs(name)) {
        let mut ratios = Vec::new();
        for round in 0..ROUNDS {
            // The same document in full, and after the one before the edit
            let told = round == 0;
            if told {
                println!("{name}");
            }
            let (full, whole) = deliver(edited, &mut Session::forgetful("."), folder.path(), false);
            let mut session = Session::open(".");
            deliver(&plain, &mut session, folder.path(), false);
            let (again, same) = deliver(edited, &mut session, folder.path(), told);
            assert!(
                whole.instances == same.instances && whole.passes == same.passes,
                "dressed again it is another layout"
            );
            ratios.push((again / full, again, full, whole.instances.len()));
        }
        ratios.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (ratio, again, full, pieces) = ratios[ROUNDS / 2];
        println!("  {pieces} pieces: {again:.2} s after {full:.2} s in full, ratio {ratio:.2}");
    }
}
