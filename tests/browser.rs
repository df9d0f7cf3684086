//! A browser shows what was delivered: three.js in headless Chromium makes as many copies as the
//! layout has, and they are seen in the frame of the file's own camera.
//!
//! Sources: Debian package chromium; three.js and playwright-core (npm, pinned in
//! `tests/package.json`).

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]
#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::fs;

use scatter::deliver::{DeliverOptions, Format, write};
use scatter::layout::Layout;
use scatter_tests::{layouts, tools};

/// Without the large mesh: the browser draws with the processor alone.
fn small(count: u32) -> Layout {
    let mut layout = layouts::layout(count, glam::DVec3::new(30.0, 0.0, -8.0));
    layout.instances.retain(|i| usize::from(i.piece) != 2);
    layout
}

#[test]
#[ignore = "needs tests/run"]
fn a_browser_shows_every_instance_of_both_kinds_of_glb() {
    let layout = small(150);
    let folder = tempfile::tempdir().unwrap();
    let formats = [Format::Glb, Format::GlbNodes];
    write(&layout, &DeliverOptions::new(folder.path(), &formats)).unwrap();
    let triangles: u64 = layout
        .instances
        .iter()
        .map(|i| layout.pieces[usize::from(i.piece)].triangles())
        .sum();
    let mut shares = Vec::new();
    for file in ["layout.glb", "layout-nodes.glb"] {
        let picture = folder.path().join(format!("{file}.png"));
        let seen = tools::node("browser.mjs", &[&folder.path().join(file), &picture]);
        assert_eq!(seen["instances"], layout.instances.len(), "{file}");
        assert!(fs::metadata(&picture).unwrap().len() > 1000, "{file}");
        let share = seen["share"].as_f64().unwrap();
        println!("{file}: {seen}");
        assert!(
            (0.02..0.98).contains(&share),
            "{file}: {share} of the frame"
        );
        let drawn = seen["drawn"].as_u64().unwrap();
        assert!(drawn > triangles / 2, "{file}: {drawn} of {triangles}");
        shares.push(share);
    }
    assert!((shares[0] - shares[1]).abs() < 1e-3, "{shares:?}");
}

#[test]
#[ignore = "needs tests/run"]
fn an_empty_layout_shows_background_alone() {
    let folder = tempfile::tempdir().unwrap();
    let layout = small(0);
    write(&layout, &DeliverOptions::new(folder.path(), &[Format::Glb])).unwrap();
    let picture = folder.path().join("empty.png");
    let seen = tools::node(
        "browser.mjs",
        &[&folder.path().join("layout.glb"), &picture],
    );
    assert_eq!(seen["instances"], 0);
    assert_eq!(seen["share"], 0.0);
}
