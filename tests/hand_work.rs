//! Work by hand: pins, clear ground and removals hold over takes and a moved camera, and change
//! nothing beyond their stated reach.
//!
//! All is read from the layout alone: the meshes of the kit in their places. The rules are the
//! project's own words; no outside source.

#![allow(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::collections::BTreeMap;
use std::path::Path;

use glam::{DVec2, DVec3, Quat};
use scatter::ground::Ground;
use scatter::layout::{Instance, Layout};
use scatter::shot::Shot;
use scatter_tests::dresser::Dresser;
use serde_json::{Value, json};

/// Takes in which an edit is tried: an edit that reached too far in one of a hundred would show.
const TAKES: u64 = 100;
/// The shot's passes with their largest diameters, metres; all but the leaves keep apart.
const PASSES: [(&str, f64); 4] = [
    ("stones", 0.05),
    ("gravel", 0.012),
    ("tufts", 0.05),
    ("leaves", 0.04),
];
/// The reach that docs/shot.md states, over the longest pieces of all passes, added up.
const REACH: f64 = 2.0;
/// Most that a piece reaches over the plan ellipse that it was placed by, over its diameter: it
/// drifts by a fifth as it tips, and an ellipse leaves out the corners of a form, of a rectangle
/// (sqrt(2) - 1) / 2 of its width.
const OVER: f64 = 0.45;
/// Least that the middle of a piece is away from what its outline may not meet, over its diameter:
/// half of it, less the drift.
const AWAY: f64 = 0.3;

fn shot(hand: &Value) -> Shot {
    let mut shot = json!({
        "shot": "hand work",
        "cameras": [{ "name": "above", "at": [0.9, 2, 0.1], "toward": [0.9, 0, 0], "vertical_angle": "20 deg",
            "frame": [2000, 500], "far": "10 m" }],
        "ground": { "relief": { "height": "20 mm", "feature": "0.6 m" } },
        "resolve": { "pixels": 1 },
        "passes": [
            { "name": "stones", "pieces": ["cobble"], "place": "spaced", "cover": 0.2,
              "sizes": { "law": "power", "exponent": 2.0, "from": "20 mm", "to": "50 mm" } },
            { "name": "gravel", "pieces": ["pebble"], "place": "spaced", "cover": 0.05,
              "sizes": { "law": "power", "exponent": 2.0, "from": "8 mm", "to": "12 mm" },
              "gather": [{ "clear_of": { "what": "stones" } }] },
            { "name": "tufts", "pieces": ["tuft"], "place": "spaced", "per_m2": 20,
              "sizes": { "law": "lognormal", "median": "40 mm", "spread": 0.2, "from": "30 mm", "to": "50 mm" } },
            { "name": "leaves", "pieces": ["leaf"], "place": "strewn", "per_m2": 120,
              "sizes": { "law": "lognormal", "median": "30 mm", "spread": 0.2, "from": "20 mm", "to": "40 mm" } }
        ]
    });
    for (key, value) in hand.as_object().into_iter().flatten() {
        shot[key] = value.clone();
    }
    Shot::parse(&shot.to_string(), Path::new("hand.json")).expect("the shot is sound")
}

fn moved_camera() -> Value {
    json!([{ "name": "aside", "at": [0.4, 1, 0.7], "toward": [0.15, 0, 0], "vertical_angle": "26 deg",
        "frame": [500, 500], "far": "3 m" }])
}

/// A dresser lives as long as its shot: leaked, as tests are short.
fn dresser(hand: &Value) -> Dresser {
    let shot: &'static Shot = Box::leak(Box::new(shot(hand)));
    Dresser::new(shot, Path::new(".")).expect("the kit grows")
}

fn dress(dresser: &Dresser, take: u64) -> Layout {
    dresser.dress(take).expect("it dresses").layout
}

fn of_pass<'a>(layout: &'a Layout, name: &str) -> impl Iterator<Item = &'a Instance> {
    let index = layout.passes.iter().position(|p| p.name == name);
    let index = index.unwrap_or_else(|| panic!("no pass {name}"));
    layout
        .instances
        .iter()
        .filter(move |i| usize::from(i.pass) == index)
}

/// The vertices of an instance, world.
fn vertices<'a>(layout: &'a Layout, i: &Instance) -> impl Iterator<Item = DVec3> + use<'a> {
    let (rotation, scale, position) = (
        Quat::from_array(i.rotation).as_dquat(),
        f64::from(i.scale),
        i.position,
    );
    let parts = layout.pieces[usize::from(i.piece)].parts.iter();
    parts
        .flat_map(|p| &p.mesh.positions)
        .map(move |v| position + rotation * (v.as_dvec3() * scale))
}

/// Middle of an instance's bounds in plan.
fn middle(layout: &Layout, i: &Instance) -> DVec2 {
    let (low, high) =
        vertices(layout, i).fold((DVec2::INFINITY, DVec2::NEG_INFINITY), |(low, high), v| {
            let v = DVec2::new(v.x, v.z);
            (low.min(v), high.max(v))
        });
    0.5 * (low + high)
}

/// A convex polygon in plan, counter-clockwise with x right and z up.
fn hull(points: impl Iterator<Item = DVec2>) -> Vec<DVec2> {
    let mut points: Vec<DVec2> = points.collect();
    points.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    let mut hull: Vec<DVec2> = Vec::new();
    for half in [points.clone(), points.into_iter().rev().collect()] {
        let start = hull.len();
        for p in half {
            while hull.len() >= start + 2 {
                let (a, b) = (hull[hull.len() - 2], hull[hull.len() - 1]);
                if (b - a).perp_dot(p - a) > 0.0 {
                    break;
                }
                hull.pop();
            }
            hull.push(p);
        }
        hull.pop();
    }
    hull
}

/// Distance to a simple polygon, negative inside.
fn distance(corners: &[DVec2], p: DVec2) -> f64 {
    let mut nearest = f64::INFINITY;
    let mut inside = false;
    for (k, a) in corners.iter().enumerate() {
        let (a, b) = (*a - p, corners[(k + 1) % corners.len()] - p);
        let way = b - a;
        let t = (-a.dot(way) / way.length_squared()).clamp(0.0, 1.0);
        nearest = nearest.min((a + t * way).length_squared());
        // A ray along +x crosses the side
        if (a.y > 0.0) != (b.y > 0.0) && (a.x - a.y * way.x / way.y) > 0.0 {
            inside = !inside;
        }
    }
    nearest.sqrt() * if inside { -1.0 } else { 1.0 }
}

/// Heights of an instance's surface over a plan place.
fn heights(layout: &Layout, i: &Instance, at: DVec2) -> Vec<f64> {
    let vertices: Vec<DVec3> = vertices(layout, i).collect();
    let mut first = 0;
    let mut heights = Vec::new();
    for part in &layout.pieces[usize::from(i.piece)].parts {
        for t in part.mesh.indices.chunks_exact(3) {
            let [a, b, c] = [0, 1, 2].map(|k| vertices[first + t[k] as usize]);
            let flat = |v: DVec3| DVec2::new(v.x, v.z) - at;
            let [p, q, r] = [a, b, c].map(flat);
            let [u, v, w] = [q.perp_dot(r), r.perp_dot(p), p.perp_dot(q)];
            let sum = u + v + w;
            if sum != 0.0 && [u, v, w].iter().all(|x| x / sum >= 0.0) {
                heights.push((u * a.y + v * b.y + w * c.y) / sum);
            }
        }
        first += part.mesh.positions.len();
    }
    heights
}

fn pins() -> Value {
    json!([
        { "piece": "rock-03", "at": [0.15, 0.05], "diameter": "0.16 m", "heading": "30 deg" },
        { "piece": "cobble-05", "at": ["-15 cm", 0.2], "diameter": "70 mm", "heading": "120 deg", "bury": 0.0 },
        // On the rock
        { "piece": "pebble", "at": [0.15, 0.05], "diameter": "30 mm", "bury": 0.0 },
        { "piece": "leaf-02", "at": [-0.2, -0.2], "diameter": "80 mm", "heading": "200 deg" },
        // Where no camera looks
        { "piece": "rock", "at": [6, 6], "diameter": "0.2 m" }
    ])
}

/// Ground kept clear, and the corners of the same shapes, written down anew.
fn clears() -> (Value, Vec<Vec<DVec2>>) {
    let disc = (0..90).map(|k| {
        let a = f64::from(4 * k).to_radians();
        DVec2::new(0.3 + 0.1 * a.cos(), 0.25 + 0.1 * a.sin())
    });
    // Turned clockwise seen from above, where +z is down: from +x toward +z
    let a = 30f64.to_radians();
    let corner =
        |u: f64, v: f64| DVec2::new(u * a.cos() - v * a.sin(), -0.2 + u * a.sin() + v * a.cos());
    let turned = [(-0.1, -0.07), (0.1, -0.07), (0.1, 0.07), (-0.1, 0.07)];
    let notched = [
        (0.2, -0.3),
        (0.5, -0.3),
        (0.5, 0.05),
        (0.35, -0.25),
        (0.2, 0.05),
    ];
    let corners = notched.map(|(x, z)| json!([x, z]));
    (
        json!([
            { "disc": { "at": [0.3, "25 cm"], "radius": "10 cm" } },
            { "box": { "at": [0, -0.2], "size": [0.2, 0.14], "turn": "30 deg" } },
            { "polygon": { "corners": corners } }
        ]),
        vec![
            disc.collect(),
            turned.map(|(u, v)| corner(u, v)).to_vec(),
            notched.map(|(x, z)| DVec2::new(x, z)).to_vec(),
        ],
    )
}

/// What holds a piece's place and turn, bit for bit.
fn bits(i: &Instance) -> [u64; 6] {
    let turn = i.rotation.map(|v| u64::from(v.to_bits()));
    let [x, y, z] = i.position.to_array().map(f64::to_bits);
    [
        x,
        y,
        z,
        turn[0] << 32 | turn[1],
        turn[2] << 32 | turn[3],
        u64::from(i.scale.to_bits()) << 32 | u64::from(u16::from(i.piece)),
    ]
}

/// Plan places of the pieces that are in one layout and not, bit for bit, in the other, with their
/// passes' names.
fn changed(a: &Layout, b: &Layout) -> Vec<(String, u64, DVec2)> {
    let by_id = |l: &Layout| -> BTreeMap<(String, u64), ([u64; 6], DVec2)> {
        let pieces = l.instances.iter();
        let of = |i: &Instance| (l.passes[usize::from(i.pass)].name.clone(), i.id);
        let kept = pieces.filter(|i| l.passes[usize::from(i.pass)].name != "pins");
        kept.map(|i| (of(i), (bits(i), DVec2::new(i.position.x, i.position.z))))
            .collect()
    };
    let (a, b) = (by_id(a), by_id(b));
    let differs = |from: &BTreeMap<_, ([u64; 6], DVec2)>, to: &BTreeMap<_, ([u64; 6], DVec2)>| {
        let out = from
            .iter()
            .filter(|(k, v)| to.get(*k).map(|w| w.0) != Some(v.0));
        out.map(|((name, id), v): (&(String, u64), _)| (name.clone(), *id, v.1))
            .collect::<Vec<_>>()
    };
    let mut all = differs(&a, &b);
    all.extend(differs(&b, &a));
    all
}

/// The reach of an edit, metres: of the pieces as long as they come.
fn reach(layout: &Layout) -> f64 {
    let longest = |(name, largest): &(&str, f64)| {
        let of = of_pass(layout, name).map(|i| usize::from(i.piece));
        let long = of
            .map(|p| layout.pieces[p].measure.elongation)
            .fold(1.0, f64::max);
        largest * long
    };
    REACH * PASSES.iter().map(longest).sum::<f64>()
}

fn name<'a>(layout: &'a Layout, i: &Instance) -> &'a str {
    &layout.passes[usize::from(i.pass)].name
}

/// Deepest that a piece reaches into a plan shape, over its diameter; below zero beside it.
fn depth(layout: &Layout, i: &Instance, shape: &[DVec2]) -> f64 {
    let flat = |v: DVec3| DVec2::new(v.x, v.z);
    let near = distance(shape, flat(i.position));
    // Nothing of a piece is farther from its origin than this
    if near > 3.0 * f64::from(i.diameter) {
        return f64::NEG_INFINITY;
    }
    let deepest = vertices(layout, i).map(|v| -distance(shape, flat(v)));
    deepest.fold(f64::NEG_INFINITY, f64::max) / f64::from(i.diameter)
}

/// What is held to in every layout of the shot with the work by hand, the worst of each pass, over
/// diameters.
#[derive(Debug, Default)]
struct Seen {
    /// Deepest that a piece reaches into cleared ground, and how near to it its middle comes.
    into_clear: BTreeMap<String, [f64; 2]>,
    /// Deepest that a spaced piece reaches into a pin.
    into_pin: BTreeMap<String, f64>,
    /// Leaves over the middle of the pinned rock.
    on_rock: usize,
}

fn check(
    layout: &Layout,
    ground: &Ground,
    shapes: &[Vec<DVec2>],
    removed: &[u64],
    seen: &mut Seen,
) {
    let flat = |v: DVec3| DVec2::new(v.x, v.z);
    let pins: Vec<(&Instance, Vec<DVec3>)> = of_pass(layout, "pins")
        .map(|p| (p, vertices(layout, p).collect()))
        .collect();
    // What is sunk takes no ground
    let over = |v: &&DVec3| v.y > ground.height(v.x, v.z);
    let whole: Vec<Vec<DVec2>> = pins
        .iter()
        .map(|(_, v)| hull(v.iter().filter(over).map(|v| flat(*v))))
        .collect();
    let rock = rock(layout);
    for i in layout
        .instances
        .iter()
        .filter(|i| name(layout, i) != "pins")
    {
        assert!(!removed.contains(&i.id), "{:016x} was taken away", i.id);
        let diameter = f64::from(i.diameter);
        let of = name(layout, i).to_owned();
        for shape in shapes {
            let deep = depth(layout, i, shape);
            if deep > f64::NEG_INFINITY {
                // What grows stands where it was placed, whichever way its blades lean
                let at = if of == "tufts" {
                    flat(i.position)
                } else {
                    middle(layout, i)
                };
                let worst = seen
                    .into_clear
                    .entry(of.clone())
                    .or_insert([f64::MIN, f64::MAX]);
                let away = distance(shape, at) / diameter;
                *worst = [worst[0].max(deep), worst[1].min(away)];
            }
        }
        if of != "leaves" {
            for whole in &whole {
                let worst = seen.into_pin.entry(of.clone()).or_insert(f64::MIN);
                *worst = worst.max(depth(layout, i, whole));
            }
            continue;
        }
        let middle = middle(layout, i);
        // Well inside the rock's outline
        if distance(&whole[rock], middle) < -0.04 {
            let top = heights(layout, pins[rock].0, middle)
                .into_iter()
                .fold(f64::MIN, f64::max);
            let high = vertices(layout, i).map(|v| v.y).fold(f64::MIN, f64::max);
            assert!(
                high > top - 2e-3,
                "a leaf is {} m down in the rock",
                top - high
            );
            seen.on_rock += 1;
        }
    }
}

/// The number of the pinned rock among the pins.
fn rock(layout: &Layout) -> usize {
    of_pass(layout, "pins")
        .position(|p| layout.pieces[usize::from(p.piece)].name == "rock-03")
        .expect("the rock is there")
}

#[test]
#[expect(clippy::too_many_lines, reason = "one story, step by step")]
fn hand_work_holds_over_takes_and_a_moved_camera() {
    let (clear, shapes) = clears();
    let plain = dresser(&json!({}));
    let first = dress(&plain, 1);
    // Every tenth piece on the left is taken away
    let left = first.instances.iter().filter(|i| i.position.x < 0.4);
    let removed: Vec<u64> = left.step_by(10).map(|i| i.id).collect();
    assert!(removed.len() > 20, "{}", removed.len());
    let ids: Vec<String> = removed.iter().map(|id| format!("{id:016x}")).collect();
    let hand = json!({ "pins": pins(), "clear": clear, "remove": ids });
    let mut moved = hand.clone();
    moved["cameras"] = moved_camera();
    let (hand, moved) = (dresser(&hand), dresser(&moved));

    let (mut seen, mut pinned) = (Seen::default(), None);
    let (mut beyond, mut all, mut touched) = (0, 0, 0);
    let mut farthest = 0.0_f64;
    let (mut in_clear, mut in_rock) = (0, 0);
    let begun = std::time::Instant::now();
    for take in 1..=TAKES {
        let (without, with, aside) = (dress(&plain, take), dress(&hand, take), dress(&moved, take));

        // Pins are the same, bit for bit, in every take and from both cameras
        for layout in [&with, &aside] {
            let pins: Vec<_> = of_pass(layout, "pins").map(|i| (i.id, bits(i))).collect();
            assert_eq!(pins.len(), 5);
            assert_eq!(*pinned.get_or_insert(pins.clone()), pins, "take {take}");
            check(layout, hand.ground(), &shapes, &removed, &mut seen);
        }
        // What both cameras need is the same
        let by_id: BTreeMap<u64, [u64; 6]> =
            with.instances.iter().map(|i| (i.id, bits(i))).collect();
        let both = aside
            .instances
            .iter()
            .filter_map(|i| Some((bits(i), by_id.get(&i.id)?)));
        let both: Vec<_> = both.collect();
        assert!(
            both.len() > 100 && both.iter().all(|(a, b)| a == *b),
            "take {take}"
        );

        // Beyond the reach of the edits nothing has changed
        let reach = reach(&without);
        let mut edits = shapes.clone();
        edits.extend(
            of_pass(&with, "pins").map(|p| hull(vertices(&with, p).map(|v| DVec2::new(v.x, v.z)))),
        );
        let gone = without.instances.iter().filter(|i| removed.contains(&i.id));
        let places: Vec<DVec2> = gone.map(|i| middle(&without, i)).collect();
        let far = |at: DVec2| {
            let shapes = edits.iter().map(|e| distance(e, at));
            shapes
                .chain(places.iter().map(|p| p.distance(at)))
                .fold(f64::INFINITY, f64::min)
        };
        for (name, id, at) in changed(&without, &with) {
            let far = far(at);
            assert!(
                far < reach,
                "{name} {id:016x} of take {take}: {far} m away, reach {reach}"
            );
            farthest = farthest.max(far);
            touched += 1;
        }
        all += without.instances.len();
        for i in &without.instances {
            let at = DVec2::new(i.position.x, i.position.z);
            beyond += usize::from(far(at) > reach);
            in_clear += usize::from(shapes.iter().any(|s| distance(s, at) < 0.0));
            in_rock += usize::from(distance(&edits[shapes.len() + rock(&with)], at) < -0.04);
        }
        if take % 10 == 1 {
            println!(
                "take {take}: reach {reach:.3} m, {} pieces, {:?}",
                without.instances.len(),
                begun.elapsed()
            );
        }
    }
    println!(
        "farthest change {farthest:.3} m, {touched} changes, {beyond} of {all} pieces beyond the reach; without the hand's work {in_clear} \
         pieces where it is clear and {in_rock} where the rock is; {seen:?}"
    );
    // The check can fail: it has pieces to find fault with
    assert!(in_clear > 50 * TAKES as usize && in_rock > TAKES as usize);
    assert!(beyond > all / 4 && touched > 100 * TAKES as usize);
    assert!(seen.on_rock > TAKES as usize / 4, "{}", seen.on_rock);
    for (pass, [deep, away]) in &seen.into_clear {
        // A leaf's middle moves as it tilts
        assert!(
            *deep < OVER && (*away > AWAY || pass == "leaves"),
            "{pass}: {deep} {away}"
        );
    }
    for (pass, deep) in &seen.into_pin {
        assert!(*deep < OVER, "{pass}: {deep}");
    }
}

#[test]
fn a_pin_keeps_its_id_and_its_side_when_it_is_turned_or_grows() {
    let pin = |more: Value| {
        let mut pin = json!({ "piece": "cobble-05", "at": [0, 0], "diameter": "70 mm" });
        for (key, value) in more.as_object().into_iter().flatten() {
            pin[key] = value.clone();
        }
        let layout = dress(&dresser(&json!({ "pins": [pin], "passes": [] })), 1);
        (layout.instances[0], layout)
    };
    let (first, layout) = pin(json!({}));
    let (turned, _) = pin(json!({ "heading": "90 deg" }));
    let (larger, _) = pin(json!({ "diameter": "90 mm" }));
    assert_eq!([first.id; 2], [turned.id, larger.id]);
    let up = |i: &Instance| Quat::from_array(i.rotation).inverse() * glam::Vec3::Y;
    // The relief is not level: turned to its normal, the piece's up changes a little with its size
    assert!(up(&first).dot(up(&turned)) > 0.99 && up(&first).dot(up(&larger)) > 0.98);
    // Its long axis lies along -z, then along x
    let long = |i: &Instance| {
        let points: Vec<DVec3> = vertices(&layout, i).collect();
        let extent = |axis: DVec3| {
            let along = points.iter().map(|p| p.dot(axis));
            along.clone().fold(f64::MIN, f64::max) - along.fold(f64::MAX, f64::min)
        };
        extent(DVec3::Z) - extent(DVec3::X)
    };
    assert!(long(&first) > 0.0 && long(&turned) < 0.0);
}
