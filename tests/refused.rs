//! A piece that would not lie is there for nobody: taking such pieces away by hand changes nothing. The rule is the project's own.

#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::collections::BTreeMap;
use std::path::Path;

use scatter::layout::{Dressed, Dresser, Instance, Layout};
use scatter::shot::Shot;
use serde_json::{Value, json};

/// Bits of an id below its octave's: two cell numbers of twenty, six of the ordinal in the cell.
const CELL_BITS: u32 = 20;
const ORDINAL_BITS: u32 = 6;
/// A strewn cell holds two pieces on average: more than a dozen once in ten million cells.
const MOST_PER_CELL: u64 = 12;
/// Most ids that a shot may take away.
const MOST_REMOVED: usize = 10_000;

/// Cobbles, shingle that slides off them now and then, grit that packs round what lies, and leaves on all.
fn shot(remove: &[String]) -> Value {
    json!({
        "shot": "refused", "take": 4,
        "cameras": [{ "name": "above", "at": [0, 3, 0], "toward": [0, 0, 0], "vertical_angle": "24 deg", "frame": [2400, 2400],
            "far": "5 m" }],
        "remove": remove,
        "passes": [
            { "name": "cobbles", "pieces": ["cobble"], "place": "packed", "cover": 0.4,
              "sizes": { "law": "power", "exponent": 2, "from": "40 mm", "to": "100 mm" } },
            { "name": "shingle", "pieces": ["pebble"], "place": "strewn", "per_m2": 1200,
              "sizes": { "law": "lognormal", "median": "16 mm", "spread": 0.2, "from": "10 mm", "to": "25 mm" } },
            { "name": "grit", "pieces": ["pebble"], "place": "packed", "cover": 0.4,
              "sizes": { "law": "power", "exponent": 2, "from": "6 mm", "to": "10 mm" },
              "gather": [{ "clear_of": { "what": "cobbles" } }, { "clear_of": { "what": "shingle" } }] },
            { "name": "leaves", "pieces": ["leaf"], "place": "strewn", "per_m2": 300,
              "sizes": { "law": "lognormal", "median": "25 mm", "spread": 0.2, "from": "15 mm", "to": "40 mm" },
              "gather": [{ "near": { "what": "shingle", "within": "30 mm", "smallest": "18 mm" } }] }
        ]
    })
}

fn dress(remove: &[String]) -> Dressed {
    let text = shot(remove).to_string();
    let shot = Shot::parse(&text, Path::new("refused.json")).expect("a shot");
    let dresser = Dresser::new(&shot, Path::new(".")).expect("the kit grows");
    dresser.dress(shot.take, &|_| ()).expect("it dresses")
}

fn of_pass<'a>(layout: &'a Layout, name: &str) -> impl Iterator<Item = &'a Instance> {
    let pass = layout.passes.iter().position(|p| p.name == name);
    let pass = pass.unwrap_or_else(|| panic!("no pass {name}"));
    let of = move |i: &&Instance| usize::from(i.pass) == pass;
    layout.instances.iter().filter(of)
}

/// All that a layout says of where its pieces lie.
fn bits(layout: &Layout) -> BTreeMap<(u16, u64), [u64; 6]> {
    let of = |i: &Instance| {
        let turn = i.rotation.map(|v| u64::from(v.to_bits()));
        let [x, y, z] = i.position.to_array().map(f64::to_bits);
        [
            x,
            y,
            z,
            turn[0] << 32 | turn[1],
            turn[2] << 32 | turn[3],
            u64::from(i.scale.to_bits()) << 32 | u64::from(i.piece),
        ]
    };
    let all = layout.instances.iter();
    all.map(|i| ((i.pass, i.id), of(i))).collect()
}

/// Names of all ids of a pass in the inner cells of its octaves that are no piece of the layout's: those that the take doesn't have, and
/// those that would not lie.
fn others(layout: &Layout, name: &str) -> Vec<String> {
    let mut cells: BTreeMap<u64, Vec<[i64; 2]>> = BTreeMap::new();
    let laid: std::collections::BTreeSet<u64> = of_pass(layout, name).map(|i| i.id).collect();
    let signed = |v: u64| {
        let v = (v & ((1 << CELL_BITS) - 1)) as i64;
        v - (v >> (CELL_BITS - 1) << CELL_BITS)
    };
    for id in &laid {
        let place = [
            signed(id >> (ORDINAL_BITS + CELL_BITS)),
            signed(id >> ORDINAL_BITS),
        ];
        let layer = id >> (ORDINAL_BITS + 2 * CELL_BITS);
        cells.entry(layer).or_default().push(place);
    }
    let mut all = Vec::new();
    for (layer, places) in &cells {
        let ends = [0, 1].map(|axis| {
            let along = places.iter().map(|p| p[axis]);
            let low = along.clone().min().unwrap_or(0);
            let high = along.max().unwrap_or(0);
            // A quarter of the frame away from its edge all that lies is seen
            (low + (high - low) / 4, high - (high - low) / 4)
        });
        for ix in ends[0].0..=ends[0].1 {
            for iz in ends[1].0..=ends[1].1 {
                let cell = |i: i64| i as u64 & ((1 << CELL_BITS) - 1);
                let first = (layer << CELL_BITS | cell(ix)) << CELL_BITS | cell(iz);
                let ids = (0..MOST_PER_CELL).map(|o| first << ORDINAL_BITS | o);
                all.extend(ids.filter(|id| !laid.contains(id)));
            }
        }
    }
    all.iter().map(|id| format!("{id:016x}")).collect()
}

#[test]
fn what_would_not_lie_is_there_for_nobody() {
    let first = dress(&[]);
    for pass in &first.layout.passes {
        let t = &pass.tally;
        println!(
            "{}: placed {}, refused {:?}",
            pass.name, t.placed, t.refused
        );
    }
    let ids = others(&first.layout, "shingle");
    // Ids that a take does not have are told of: those that it has and that do not lie are left
    let mut refused: Vec<String> = Vec::new();
    for some in ids.chunks(MOST_REMOVED) {
        let nothing = dress(some).removed_nothing;
        let kept = (0..some.len()).filter(|i| nothing.binary_search(i).is_err());
        refused.extend(kept.map(|i| some[i].clone()));
    }
    let second = dress(&refused);
    println!(
        "{} ids looked at, {} of pieces that would not lie; {} pieces",
        ids.len(),
        refused.len(),
        first.layout.instances.len()
    );
    assert!(refused.len() > 5, "{} would not lie", refused.len());
    assert!(second.removed_nothing.is_empty());
    let (first, second) = (bits(&first.layout), bits(&second.layout));
    let differ = first.iter().filter(|(k, v)| second.get(k) != Some(v));
    assert_eq!(differ.count(), 0, "pieces that differ");
    assert_eq!(first.len(), second.len(), "pieces that came");
    // What does lie is there for others: taking one in eight of the shingle away changes more than these
    let laid: Vec<String> = of_pass(&dress(&[]).layout, "shingle")
        .step_by(8)
        .map(|i| format!("{:016x}", i.id))
        .collect();
    let third = bits(&dress(&laid).layout);
    let other = first
        .iter()
        .filter(|((pass, _), _)| *pass > 1)
        .filter(|(k, v)| third.get(k) != Some(v))
        .count();
    println!(
        "{} laid ones taken away change {other} of later passes",
        laid.len()
    );
    assert!(other > 10, "{other}");
}
