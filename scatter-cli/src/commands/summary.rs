//! What `strew dress` tells at the end.

use std::collections::BTreeMap;
use std::time::Instant;

use scatter::deliver::DeliveredFile;
use scatter::layout::{Difference, Layout, PassRecord, Refused, Shortfall, Tally};

use crate::output::{grouped, table};

/// Metres in millimetres.
fn mm(metres: f64) -> f64 {
    1e3 * metres
}

/// Why pieces that were tried don't lie, in a column of the table each, in the words of the report.
const COLUMNS: [(&str, Refused); 7] = [
    ("no room", Refused::NoRoom),
    ("kept clear", Refused::KeptClear),
    ("slides", Refused::Slides),
    ("cuts in", Refused::CutsIn),
    ("removed", Refused::Removed),
    ("in frame", Refused::InFrame),
    ("shades hero", Refused::ShadesHero),
];

/// A line a pass with what became of what was thrown, a sentence where a pass is short, the files,
/// the time.
pub(super) fn whole(layout: &Layout, files: &[DeliveredFile], begun: Instant) -> String {
    let counts = |tally: &Tally, reason: Refused| -> u64 {
        let all = tally.refused.iter().filter(|(r, _)| *r == reason);
        all.map(|(_, count)| count).sum()
    };
    let told: Vec<_> = COLUMNS
        .iter()
        .filter(|(_, reason)| layout.passes.iter().any(|p| counts(&p.tally, *reason) > 0))
        .collect();
    let mut head = vec!["pass".to_owned(), "asked".into(), "tried".into()];
    head.extend(told.iter().map(|(name, _)| (*name).to_owned()));
    head.extend(["laid", "cover asked", "cover laid", "in layout"].map(str::to_owned));
    let mut rows = vec![head];
    for pass in &layout.passes {
        let tally = &pass.tally;
        let mut row = vec![
            pass.name.clone(),
            grouped(tally.asked),
            grouped(tally.thrown),
        ];
        row.extend(
            told.iter()
                .map(|(_, reason)| grouped(counts(tally, *reason))),
        );
        row.extend([
            grouped(tally.laid),
            format!("{:.4}", tally.cover_asked),
            format!("{:.4}", tally.cover),
            grouped(tally.placed),
        ]);
        rows.push(row);
    }
    let mut text = table(&rows);
    text.push_str(
        "Counts are for ground in frame; `in layout` adds pieces that only cast a shadow into it.\n",
    );
    for pass in &layout.passes {
        if let Some(short) = pass.tally.shortfall.as_ref().filter(|s| s.matters()) {
            text.push_str(&format!("{}: {short}\n", pass.name));
        }
    }
    for figures in layout.passes.iter().filter_map(|p| p.tally.carpet) {
        text.push_str(&format!(
            "carpet: {} tiles of {:.0} mm, {} grains; draw the ground {:.0} mm lower\n",
            grouped(figures.tiles),
            mm(figures.tile),
            grouped(figures.grains),
            mm(figures.sunk)
        ));
    }
    for figures in layout.passes.iter().filter_map(|p| p.tally.shade) {
        let [lit, fleck, softness] = [figures.lit, figures.fleck.map(mm), figures.softness.map(mm)];
        text.push_str(&format!(
            "shade: {:.3} lit ({:.3} asked), flecks {:.0} mm ({:.0}), softness {:.1} mm ({:.1}), {:.2} m above the ground\n",
            lit[1], lit[0], fleck[1], fleck[0], softness[1], softness[0], figures.height
        ));
    }
    for file in files {
        text.push_str(&format!(
            "{}  {} bytes\n",
            file.path.display(),
            grouped(file.bytes)
        ));
    }
    text + &last_line(layout, begun)
}

/// What differs from the layout before, a line a pass that does.
pub(super) fn difference(
    before: &Layout,
    layout: &Layout,
    difference: &Difference,
    begun: Instant,
) -> String {
    let counted = |layout: &Layout, ids: &[u64]| -> BTreeMap<String, u64> {
        let mut counts = BTreeMap::new();
        for instance in &layout.instances {
            if ids.binary_search(&instance.id).is_ok() {
                let name = layout.passes[usize::from(instance.pass)].name.clone();
                *counts.entry(name).or_default() += 1;
            }
        }
        counts
    };
    let columns = [
        ("new", counted(layout, &difference.added)),
        ("gone", counted(before, &difference.removed)),
        ("changed", counted(layout, &difference.changed)),
    ];
    let mut text = String::new();
    let names = before.passes.iter().chain(&layout.passes).map(|p| &p.name);
    let mut told: Vec<&String> = Vec::new();
    for name in names {
        let counts: Vec<String> = columns
            .iter()
            .filter_map(|(word, counts)| Some(format!("{} {word}", grouped(*counts.get(name)?))))
            .collect();
        if !counts.is_empty() && !told.contains(&name) {
            text.push_str(&format!("{name}: {}\n", counts.join(", ")));
            told.push(name);
        }
    }
    let was = |name: &String| before.passes.iter().find(|p| p.name == *name);
    for pass in &layout.passes {
        let matters = |p: &PassRecord| p.tally.shortfall.clone().filter(Shortfall::matters);
        let known = was(&pass.name).and_then(matters);
        let short = matters(pass).map(|s| s.to_string());
        if short != known.map(|s| s.to_string()) {
            let now = short.unwrap_or_else(|| "no longer short of what was asked".to_owned());
            text.push_str(&format!("{}: {now}\n", pass.name));
        }
    }
    if difference.is_empty() {
        text.push_str("no piece differs\n");
    }
    text + &last_line(layout, begun)
}

/// Pieces, take and time.
fn last_line(layout: &Layout, begun: Instant) -> String {
    format!(
        "{} pieces, take {}, {:.2} s",
        grouped(layout.instances.len() as u64),
        layout.take,
        begun.elapsed().as_secs_f64()
    )
}
