//! The carpet, measured by vertical probes of the tiles as they are delivered. Its plan picture is
//! judged in `carpet_repeat.rs`, tiles from files in `carpet_patch.rs`.

#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::collections::{BTreeMap, BTreeSet};
use std::f64::consts::TAU;
use std::path::Path;

use rayon::prelude::*;
use scatter::kit::PieceIndex;
use scatter::layout::{Instance, Layout};
use scatter::random::stream;
use scatter::shot::Shot;
use scatter_tests::bad_input::cases;
use scatter_tests::dresser::Dresser;
use scatter_tests::tiles::{
    Judge, LARGEST, SIDE, above, dressed, framed, parsed, relief, rotation, sheet, shot, square,
    tiles,
};
use serde_json::{Value, json};

/// 1,000,000 vertical probes over the framed ground, evenly by area: each must meet a tile, over
/// the ground as it is drawn.
#[test]
fn no_ground_is_uncovered() {
    for rough in [false, true] {
        let mut document = shot();
        if rough {
            relief(&mut document);
        }
        dressed(&document, |dresser, layout| {
            let camera = &layout.cameras[0];
            let ground = dresser.ground();
            let with_sheets = tiles(&layout).into_iter().filter(|i| sheet(&layout, i));
            let judge = Judge::new(&layout, with_sheets.collect());
            let places = framed(camera, ground, 1_000_000, 11);
            // Over the ground, in largest grains
            let over: Vec<Option<f64>> = places
                .par_iter()
                .map(|[x, h, z]| judge.probe(*x, *z).map(|top| (top - h) / LARGEST))
                .collect();
            let bare = over.iter().filter(|o| o.is_none()).count();
            let mut over: Vec<f64> = over.into_iter().flatten().collect();
            over.sort_unstable_by(f64::total_cmp);
            let at = |share: f64| over[(share * (over.len() - 1) as f64) as usize];
            let mean = over.iter().sum::<f64>() / over.len() as f64;
            let sunk = dresser.scene().sunk / LARGEST;
            println!(
                "rough {rough}: {bare} of 1,000,000 probes meet nothing; top over the ground in largest grains: mean {mean:.3}, lowest {:.3}, 0.1 % {:.3}, 99.9 % {:.3}, highest {:.3}; ground drawn {sunk:.2} lower",
                at(0.0),
                at(0.001),
                at(0.999),
                at(1.0)
            );
            assert_eq!(bare, 0);
            assert!(at(0.0) > -sunk, "drawn ground shows through");
            // Laid in the ground, not over it
            assert!(mean.abs() < 0.5, "the top is {mean} grains over the ground");
        });
    }
}

/// In a layout of 10,000 tiles no two of the 18 nearest neighbours (all within 2.2 sides) are equal
/// in tile and turn: they differ in one by more than 14 degrees, where they are of one tile.
#[test]
fn no_two_neighbours_are_alike() {
    let mut document = shot();
    above(&mut document, 12.0);
    dressed(&document, |_, layout| {
        let sheets: Vec<Instance> = tiles(&layout)
            .into_iter()
            .filter(|i| sheet(&layout, i))
            .collect();
        assert!(sheets.len() >= 10_000, "{} tiles", sheets.len());
        let mut near: BTreeMap<[i64; 2], Vec<usize>> = BTreeMap::new();
        for (n, i) in sheets.iter().enumerate() {
            let at = [square(i.position.x), square(i.position.z)];
            near.entry(at).or_default().push(n);
        }
        let (mut pairs, mut same, mut least) = (0, 0, f64::INFINITY);
        let mut turns = [0_u32; 12];
        for a in &sheets {
            let [x, z] = [square(a.position.x), square(a.position.z)];
            let turn = 2.0 * f64::from(a.rotation[1]).atan2(f64::from(a.rotation[3]));
            turns[((turn.rem_euclid(TAU) / TAU * 12.0) as usize).min(11)] += 1;
            let around = (-3..=3).flat_map(|dx| (-3..=3).map(move |dz| [x + dx, z + dz]));
            for b in around
                .filter_map(|at| near.get(&at))
                .flatten()
                .map(|n| &sheets[*n])
            {
                let apart = a.position.distance(b.position);
                if a.id == b.id || apart > 2.2 * SIDE {
                    continue;
                }
                pairs += 1;
                if a.piece == b.piece {
                    same += 1;
                    let angle = (rotation(a).conjugate() * rotation(b)).to_axis_angle().1;
                    least = least.min(angle.min(TAU - angle));
                }
            }
        }
        println!(
            "{} tiles, {pairs} pairs, {same} of one tile, {:.2} degrees apart at least; turns by twelfths {turns:?}",
            sheets.len(),
            least.to_degrees()
        );
        assert!(pairs > 17 * 9_000);
        assert!(least.to_degrees() > 14.0);
        // Every turn is taken: sectors only part those of one colour
        assert!(turns.iter().all(|n| *n > 0));
    });
}

type Bits = (u64, [u64; 3], [u32; 4], u32, String);

fn bits(layout: &Layout, instances: &[Instance]) -> BTreeSet<Bits> {
    let of = |i: &Instance| {
        (
            i.id,
            i.position.to_array().map(f64::to_bits),
            i.rotation.map(f32::to_bits),
            i.scale.to_bits(),
            layout.pieces[usize::from(i.piece)].name.clone(),
        )
    };
    instances.iter().map(of).collect()
}

fn carpet_bits(document: &Value) -> BTreeSet<Bits> {
    dressed(document, |_, layout| bits(&layout, &tiles(&layout)))
}

#[test]
fn a_second_camera_sees_the_same_carpet() {
    let one = json!({ "name": "one", "at": [0, 0.3, 0.8], "toward": [0, 0, 0], "lens": "50 mm", "frame": [1920, 1080], "far": "6 m" });
    let two = json!({ "name": "two", "at": [0.9, 0.5, 0.3], "toward": [0.1, 0, -0.2], "lens": "35 mm", "frame": [1000, 1000], "far": "4 m" });
    let both = vec![one.clone(), two.clone()];
    let [one, two, both] = [vec![one], vec![two], both].map(|cameras| {
        let mut document = shot();
        relief(&mut document);
        document["cameras"] = json!(cameras);
        carpet_bits(&document)
    });
    assert!(one.intersection(&two).count() > 50);
    assert!(one.union(&two).cloned().collect::<BTreeSet<_>>() == both);
}

/// A camera that comes near adds finer grains and moves nothing.
#[test]
fn what_lies_there_stays_when_the_camera_comes_near() {
    let [far, near] = [12.0, 0.4].map(|distance| {
        let mut document = shot();
        relief(&mut document);
        document["cameras"][0]["at"] = json!([0, distance, 0.01]);
        document["cameras"][0]["frame"] = json!([960, 540]);
        document["cameras"][0]["far"] = json!("20 m");
        carpet_bits(&document)
    });
    let ids = |bits: &BTreeSet<Bits>| bits.iter().map(|b| b.0).collect::<BTreeSet<u64>>();
    let fine = |b: &&Bits| b.4.contains("fine");
    let shared = ids(&far).intersection(&ids(&near)).count();
    assert_eq!(
        shared,
        far.intersection(&near).count(),
        "a tile of one id has moved"
    );
    // Every sheet of the near frame lies in the far one, too
    let sheets = near.iter().filter(|b| !fine(b)).count();
    assert_eq!(
        sheets,
        near.iter().filter(|b| !fine(b) && far.contains(*b)).count()
    );
    let [coarse, finer] = [&far, &near].map(|b| b.iter().filter(fine).count());
    println!("{coarse} finer octaves from far, {finer} from near, {sheets} tiles");
    assert!(coarse == 0 && finer >= sheets);
}

#[test]
fn any_number_of_threads_lays_the_same() {
    let mut document = shot();
    relief(&mut document);
    let [one, two, four] = [1, 2, 4].map(|threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        pool.expect("threads").install(|| {
            dressed(&document, |_, layout| {
                let used: BTreeSet<PieceIndex> = layout.instances.iter().map(|i| i.piece).collect();
                let pieces = used.iter().map(|i| layout.pieces[usize::from(*i)].clone());
                (bits(&layout, &layout.instances), pieces.collect::<Vec<_>>())
            })
        })
    });
    assert!(!one.0.is_empty());
    assert!(one == two && two == four);
}

/// A carpet moves nothing else, whatever lies on the ground.
#[test]
fn a_carpet_moves_nothing_else() {
    let mut document = shot();
    relief(&mut document);
    document["passes"] = json!([
        { "name": "stones", "pieces": ["rock"], "place": "spaced", "cover": 0.2,
          "sizes": { "law": "power", "exponent": 2.0, "from": "20 mm", "to": "80 mm" } },
        { "name": "leaves", "pieces": ["leaf"], "place": "strewn", "per_m2": 60,
          "sizes": { "law": "lognormal", "median": "30 mm", "spread": 0.2 } }
    ]);
    let others = |layout: &Layout| {
        let carpet = layout.passes.iter().position(|p| p.name == "carpet");
        let all = layout.instances.iter();
        let others: Vec<Instance> = all
            .filter(|i| Some(usize::from(i.pass)) != carpet)
            .copied()
            .collect();
        bits(layout, &others)
    };
    let with = dressed(&document, |_, layout| others(&layout));
    document.as_object_mut().unwrap().remove("carpet");
    let shot = parsed(&document);
    let dresser = Dresser::new(&shot, Path::new(".")).expect("a shot to dress");
    let without = dresser.dress(shot.take).expect("a layout").layout;
    assert!(with.len() > 100);
    assert!(with == others(&without));
}

/// No tile lies over a hole alone, and none of the ground that holds pieces is bare up to where it
/// ends.
#[test]
fn a_carpet_ends_where_the_ground_does() {
    let mut document = shot();
    document["ground"] = json!({ "plane": {}, "extent": ["0.5 m", "0.5 m"] });
    above(&mut document, 2.0);
    dressed(&document, |_, layout| {
        let sheets: Vec<Instance> = tiles(&layout)
            .into_iter()
            .filter(|i| sheet(&layout, i))
            .collect();
        let reach = 0.25 + 0.7 * SIDE;
        let beyond = |i: &Instance| i.position.x.abs() > reach || i.position.z.abs() > reach;
        assert!(!sheets.iter().any(beyond));
        let judge = Judge::new(&layout, sheets);
        let mut draws = stream(5);
        let bare = (0..100_000).filter(|_| {
            let [x, z] = [0, 1].map(|_| draws.between(-0.25, 0.25));
            judge.top(x, z).is_none()
        });
        assert_eq!(bare.count(), 0);
    });
}

/// The cases of `tests/bad-input` that ask for a carpet, without the command: each fault names its
/// place and what would be right.
#[test]
fn bad_carpets_are_refused() {
    let mut tried = 0;
    for case in cases()
        .into_iter()
        .filter(|c| c.name.starts_with("carpet-"))
    {
        tried += 1;
        let folder = tempfile::tempdir().expect("a folder");
        for (name, bytes) in case.files() {
            std::fs::write(folder.path().join(name), bytes).expect("a file");
        }
        let text = String::from_utf8(case.shot()).expect("text");
        let refused = Shot::parse(&text, Path::new("shot.json")).and_then(|shot| {
            let dresser = Dresser::new(&shot, folder.path())?;
            dresser.dress(shot.take).map(|_| ())
        });
        let told = refused.expect_err(&case.name).to_string();
        let words = case.fields["says"].as_array().expect("words");
        let words = words.iter().filter_map(Value::as_str);
        for word in words.filter(|w| *w != "shot.json") {
            assert!(told.contains(word), "{}: no {word:?} in {told}", case.name);
        }
    }
    assert!(tried >= 12, "{tried} cases");
}
