//! Staying with a shot, and being ended at any moment: a delivered file is the old one or the new
//! one, whole.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader};
use std::process::Child;
use std::sync::{Arc, Mutex};
use std::thread::{self, sleep};
use std::time::{Duration, Instant};

use harness::Dir;
use scatter::random::stream;
use scatter_tests::meshes;
use serde_json::{Value, json};

/// Many enough that each step of the work is met.
const KILLS: usize = 100;
/// The files of a delivery that do not tell the time.
const FILES: [&str; 3] = ["layout.csv", "layout.glb", "layout.json"];
/// Longer than any dressing of a small shot on a busy machine.
const PATIENCE: Duration = Duration::from_secs(60);

/// Slabs from a file beside the shot.
fn shot() -> Value {
    json!({
        "shot": "small",
        "cameras": [{ "name": "above", "at": [0, 2, 0.2], "toward": [0, 0, 0], "vertical_angle": "50 deg",
            "frame": [800, 800], "far": "5 m" }],
        "passes": [
            { "name": "slabs", "pieces": ["slab.glb"], "place": "spaced", "cover": 0.3,
              "sizes": { "law": "power", "exponent": 2, "from": "5 mm", "to": "40 mm" }, "stretch": true }
        ],
        "deliver": { "as": ["csv", "glb", "json"] }
    })
}

/// A block of a height, as glTF.
fn slab(height: f32) -> Vec<u8> {
    let corners = meshes::block_corners([0.03, height, 0.02]);
    meshes::mesh(&corners, &meshes::block_triangles())
}

fn folder(shot: &Value) -> Dir {
    let dir = Dir::new();
    dir.write("slab.glb", slab(0.01));
    dir.write("shot.json", shot.to_string());
    dir
}

fn delivered(dir: &Dir, out: &str) -> BTreeMap<&'static str, Option<Vec<u8>>> {
    let read = |name: &&'static str| (*name, fs::read(dir.path().join(out).join(name)).ok());
    FILES.iter().map(read).collect()
}

/// What a fresh run delivers.
fn fresh(dir: &Dir, take: &str) -> BTreeMap<&'static str, Option<Vec<u8>>> {
    let out = format!("fresh-{take}");
    dir.run(&["dress", "shot.json", "--take", take, "--out", &out])
        .status(0);
    delivered(dir, &out)
}

#[test]
fn a_hundred_kills_leave_whole_files() {
    let dir = folder(&shot());
    let takes = ["1", "2"].map(|take| (take, fresh(&dir, take)));
    for name in FILES {
        assert_ne!(
            takes[0].1[name], takes[1].1[name],
            "{name} does not tell the takes apart"
        );
    }
    dir.run(&["dress", "shot.json", "--take", "1"]).status(0);
    // Seed 11
    let mut draws = stream(11);
    let args = |take| ["dress", "shot.json", "--take", take];
    let begun = Instant::now();
    dir.run(&args("2")).status(0);
    let mut whole = begun.elapsed();
    let (mut ended, mut replaced) = (0, 0);
    for kill in 0..KILLS {
        let take = takes[kill % 2].0;
        let mut child = dir.command(&args(take)).spawn().expect("it runs");
        // The beginning, before anything is written, is left to few
        sleep(whole.mul_f64(draws.between(0.3, 1.1)));
        let at_work = child.try_wait().expect("it is asked").is_none();
        child.kill().expect("it ends");
        child.wait().expect("it ends");
        // How long a run takes changes with what else the machine does: two of three are to be at
        // work
        whole = whole.mul_f64(if at_work { 1.05 } else { 0.9 });
        ended += usize::from(at_work);
        for (name, found) in delivered(&dir, "out") {
            let found = found.unwrap_or_else(|| panic!("{name} is gone after kill {kill}"));
            let is = |k: usize| takes[k].1[name].as_ref() == Some(&found);
            assert!(is(0) || is(1), "{name} is broken after kill {kill}");
            replaced += usize::from(name == "layout.json" && is(kill % 2));
        }
        let report = fs::read(dir.path().join("out/report.json")).expect("a report");
        let report: Value = serde_json::from_slice(&report).expect("a whole report");
        assert!(report["totals"]["placed"].as_u64() > Some(1000));
    }
    // Kills met runs at work, and some of those had delivered
    assert!(ended > KILLS / 4, "{ended} runs were killed");
    assert!(
        replaced > KILLS / 10 && replaced < KILLS,
        "{replaced} runs had delivered"
    );
    // What they left is swept by the next delivery
    dir.run(&args("1")).status(0);
    let left = fs::read_dir(dir.path().join("out")).expect("a folder");
    let mut left: Vec<_> = left.map(|e| e.expect("an entry").file_name()).collect();
    left.sort();
    assert_eq!(
        left,
        ["layout.csv", "layout.glb", "layout.json", "report.json"]
    );
}

/// A watch at work; ended when dropped.
struct Watch {
    child: Child,
    said: Arc<Mutex<Vec<String>>>,
}

impl Watch {
    fn new(dir: &Dir) -> Self {
        let mut child = dir
            .command(&["dress", "shot.json", "--watch"])
            .spawn()
            .expect("it runs");
        let said = Arc::new(Mutex::new(Vec::new()));
        let stderr = BufReader::new(child.stderr.take().expect("piped"));
        let into = Arc::clone(&said);
        thread::spawn(move || {
            for line in stderr.lines().map_while(Result::ok) {
                into.lock().expect("a list").push(line);
            }
        });
        Self { child, said }
    }

    /// Waits for a line with some words, after those that were waited for before.
    #[track_caller]
    fn until(&mut self, words: &str) -> Vec<String> {
        let begun = Instant::now();
        loop {
            {
                let mut said = self.said.lock().expect("a list");
                if let Some(at) = said.iter().position(|line| line.contains(words)) {
                    return said.drain(..=at).collect();
                }
            }
            let ended = self.child.try_wait().expect("it is asked");
            assert!(
                ended.is_none(),
                "it ended by itself: {ended:?} {:?}",
                self.said
            );
            assert!(
                begun.elapsed() < PATIENCE,
                "no {words:?} in {:?}",
                self.said
            );
            sleep(Duration::from_millis(10));
        }
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn a_watch_delivers_each_change_and_outlives_mistakes() {
    let dir = folder(&shot());
    let mut watch = Watch::new(&dir);
    watch.until("watching 2 files");
    let first = fresh(&dir, "1");
    assert_eq!(delivered(&dir, "out"), first);

    // The shot
    let mut edited = shot();
    edited["passes"][0]["cover"] = json!(0.2);
    dir.write("shot.json", edited.to_string());
    watch.until("watching");
    let second = fresh(&dir, "1");
    assert_ne!(second, first);
    assert_eq!(delivered(&dir, "out"), second);

    // A piece's file
    dir.write("slab.glb", slab(0.015));
    watch.until("watching");
    let third = fresh(&dir, "1");
    assert_ne!(third["layout.glb"], second["layout.glb"]);
    assert_eq!(delivered(&dir, "out"), third);

    // Mistakes are said, and change nothing
    for (text, says) in [("{ \"shot\":", "shot.json"), ("{}", "missing field")] {
        dir.write("shot.json", text);
        watch.until(says);
        watch.until("watching");
        assert_eq!(delivered(&dir, "out"), third);
    }
    // So is a file that is gone
    fs::rename(dir.path().join("slab.glb"), dir.path().join("aside.glb")).expect("moved");
    dir.write("shot.json", edited.to_string());
    watch.until("there is no file");
    watch.until("watching");
    assert_eq!(delivered(&dir, "out"), third);
    fs::rename(dir.path().join("aside.glb"), dir.path().join("slab.glb")).expect("moved");
    watch.until("pieces, take 1");
    watch.until("watching");
    assert_eq!(delivered(&dir, "out"), third);
}

#[test]
fn a_watch_that_begins_with_a_mistake_ends_as_a_dressing_does() {
    let dir = Dir::new();
    dir.run(&["dress", "nowhere.json", "--watch"])
        .status(2)
        .stderr_has("nowhere.json");
}

#[test]
fn seen_is_in_the_report_where_the_option_or_the_shot_asks() {
    let report = |dir: &Dir| -> Value {
        let text = fs::read(dir.path().join("out/report.json")).expect("a report");
        serde_json::from_slice(&text).expect("a whole report")
    };
    let mut moving = shot();
    moving["cameras"][0]["keys"] = json!([
        { "at_frame": 1, "at": [0, 2, 0.2], "toward": [0, 0, 0] },
        { "at_frame": 5, "at": [0.5, 2, 0.2], "toward": [0.5, 0, 0] }
    ]);
    for key in ["at", "toward"] {
        moving["cameras"][0]
            .as_object_mut()
            .expect("a camera")
            .remove(key);
    }
    let dir = folder(&moving);
    dir.run(&["dress", "shot.json"]).status(0);
    assert!(report(&dir).get("seen").is_none());
    dir.run(&["dress", "shot.json", "--seen"]).status(0);
    let told = report(&dir)["seen"].clone();
    let frames = |line: &Value| [line["first"].as_i64(), line["last"].as_i64()];
    let told = told.as_array().expect("a list");
    assert!(told.iter().any(|line| frames(line) == [Some(1), Some(5)]));
    assert!(told.iter().any(|line| frames(line)[0] > Some(1)));
    moving["deliver"]["seen"] = json!(true);
    dir.write("shot.json", moving.to_string());
    dir.run(&["dress", "shot.json"]).status(0);
    assert_eq!(report(&dir)["seen"].as_array(), Some(told));
}
