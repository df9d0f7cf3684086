//! A shot over its budget stops at once, and says by how much, which pass to thin, and what each
//! costs.

#[expect(dead_code, reason = "each test program uses a part of it")]
mod harness;

use std::time::{Duration, Instant};

use harness::Dir;
use scatter_tests::bad_input;
use serde_json::{Value, json};

/// The corpus's good shot, with some three hundred million grains that no machine here could place.
fn folder(budget: &Value) -> Dir {
    let dir = Dir::new();
    let mut shot = bad_input::base();
    shot["resolve"]["pixels"] = json!(0.01);
    shot["passes"].as_array_mut().expect("a list").push(json!({
        "name": "grains", "pieces": ["pebble"], "place": "strewn", "per_m2": 1e9,
        "sizes": { "law": "lognormal", "median": "0.2 mm", "spread": 0.1 }
    }));
    shot["budget"] = budget.clone();
    dir.write("shot.json", shot.to_string());
    dir
}

/// The first number after some words of a text.
fn number_after(text: &str, words: &str) -> f64 {
    let (_, rest) = text.split_once(words).expect("the words are there");
    let end = rest
        .find(|c: char| !c.is_ascii_digit() && c != '.')
        .unwrap_or(rest.len());
    rest[..end].parse().expect("a number")
}

#[test]
fn a_shot_over_its_budget_stops_before_anything_is_placed() {
    let plenty = json!(1_000_000_000_000_u64);
    for (budget, key, unit) in [
        (json!({ "memory": "900 TB" }), "budget.pieces", "pieces"),
        (
            json!({ "pieces": plenty }),
            "budget.memory",
            "of render memory",
        ),
        (
            json!({ "pieces": plenty, "memory": "900 TB", "triangles": 3000 }),
            "budget.triangles",
            "triangles of meshes",
        ),
    ] {
        let dir = folder(&budget);
        let begun = Instant::now();
        let run = dir.run(&["dress", "shot.json"]).status(3).stdout_is("");
        // Placing a hundred million pieces would take minutes, and more memory than there is
        assert!(begun.elapsed() < Duration::from_secs(60), "{key}");
        let said = &run.stderr;
        for words in [
            "passes[2]",
            "pass `grains`",
            key,
            unit,
            "the layout needs at least ",
            "the budget is",
        ] {
            assert!(said.contains(words), "{key}: no {words:?} in\n{said}");
        }
        // What each pass costs, the dearest first; half of what is forecast is sure
        let costs = said.split("what each pass costs").nth(1).expect("costs");
        let grains = number_after(costs, "`grains` ");
        assert!((1e7..1e9).contains(&grains), "{grains}");
        assert!(
            costs.contains("`stones` ") && costs.contains("`leaves` "),
            "{costs}"
        );
        assert!(!dir.path().join("out").exists());
    }
}

#[test]
fn a_shot_within_its_budget_is_dressed_and_what_is_just_over_it_is_not() {
    let dir = Dir::new();
    let mut shot = bad_input::base();
    dir.write("shot.json", shot.to_string());
    dir.run(&["dress", "shot.json"]).status(0);
    let report = std::fs::read(dir.path().join("out/report.json")).expect("readable");
    let report: Value = serde_json::from_slice(&report).expect("JSON");
    let figures = [
        ("pieces", &report["totals"]["placed"]),
        ("triangles", &report["totals"]["unique_triangles"]),
        ("memory", &report["render_memory"]["bytes"]),
    ];
    for (key, figure) in figures {
        let needs = figure.as_u64().expect("a number");
        let bytes = |n: u64| {
            if key == "memory" {
                json!(format!("{n} B"))
            } else {
                json!(n)
            }
        };
        shot["budget"] = json!({ key: bytes(needs) });
        dir.write("shot.json", shot.to_string());
        dir.run(&["dress", "shot.json"]).status(0);
        shot["budget"] = json!({ key: bytes(needs - 1) });
        dir.write("shot.json", shot.to_string());
        let run = dir.run(&["dress", "shot.json"]).status(3);
        assert!(
            run.stderr.contains(&format!("budget.{key}")),
            "{}",
            run.stderr
        );
        assert!(run.stderr.contains("pass `"), "{}", run.stderr);
    }
}
