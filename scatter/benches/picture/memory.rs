//! What instances take in memory, at rest and while their hierarchy is built.

use std::sync::Arc;

use glam::DVec3;
use scatter::brief::LayerIndex;
use scatter::kit::{Kind, PieceIndex, grow_all};
use scatter::layout::{Instance, Layout};
use scatter::picture::{Probe, TracedKit};

use super::{SOUND, low_camera, options, plain, timed};

/// Bytes an instance of four million, and what ten million would take.
pub(super) fn bytes() {
    const COUNT: u64 = 4_000_000;
    let pieces = grow_all(Kind::Pebble);
    let side = (COUNT as f64).sqrt().ceil() as u64;
    let before = memory("VmRSS").unwrap_or(0);
    let instances: Vec<Instance> = (0..COUNT)
        .map(|i| {
            let turn = (i % 997) as f32 * 0.1;
            Instance {
                id: i,
                // A pebble every 30 mm
                position: DVec3::new((i % side) as f64, 0.0, (i / side) as f64) * 0.03,
                rotation: [0.0, (0.5 * turn).sin(), 0.0, (0.5 * turn).cos()],
                scale: 0.5 + (i % 13) as f32 * 0.1,
                diameter: 0.02,
                pass: LayerIndex::default(),
                piece: PieceIndex::new((i % 12) as u16),
            }
        })
        .collect();
    let layout = Layout {
        shot: "bench".into(),
        take: 1,
        cameras: Vec::new(),
        pieces: Arc::new(pieces),
        passes: Vec::new(),
        instances,
        ..Layout::default()
    };
    let kit = TracedKit::new(&layout.pieces);
    let mut camera = low_camera(1.0);
    camera.position += DVec3::new(0.03, 1.0, 0.03) * 0.5 * side as f64;
    let scene = plain(&layout, &[]);
    let (seconds, probe) = timed(|| Probe::new(&kit, &scene, &camera, &options(320, 1)));
    let figures = probe.expect(SOUND).figures();
    let each = figures.instance_bytes as f64 / figures.instances as f64;
    println!(
        "{COUNT} instances: hierarchy in {seconds:.1} s, {each:.1} bytes each with their store"
    );
    println!(
        "  10 million: {:.0} MiB, and {:.0} MiB of layout and {} MiB of meshes",
        each * 1e7 / 1_048_576.0,
        size_of::<Instance>() as f64 * 1e7 / 1_048_576.0,
        figures.mesh_bytes >> 20
    );
    if let (Some(now), Some(most)) = (memory("VmRSS"), memory("VmHWM")) {
        let over = |bytes: u64| bytes.saturating_sub(before) as f64 / COUNT as f64;
        println!(
            "  resident: {:.0} bytes an instance, {:.0} at the most while building: 10 million would peak at {:.0} MiB",
            over(now),
            over(most),
            over(most) * 1e7 / 1_048_576.0
        );
    }
}

/// Resident memory of this process: now (`VmRSS`) or at its most (`VmHWM`), bytes; None where the
/// system does not say.
fn memory(line: &str) -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with(line))?;
    let kib: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib * 1024)
}
