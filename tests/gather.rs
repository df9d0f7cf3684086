//! Where things gather, measured on layouts: shelter, grading, halos, growth at stone edges, contact, clusters, hollows.

#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::collections::HashMap;
use std::f64::consts::{PI, TAU};
use std::path::Path;

use glam::{DQuat, DVec3};
use scatter::ground::Ground;
use scatter::layout::{Dresser, Instance, Layout};
use scatter::random::stream;
use scatter::shot::{Preset, Shot};
use serde_json::{Value, json};

/// Looks straight down on a square of the given half side, metres, with room for what stands on it. A pixel is 2 mm at most.
fn above(half: f64) -> Value {
    json!({ "name": "above", "at": [0, 2.5 * half, 0], "toward": [0, 0, 0], "vertical_angle": "50 deg", "frame": [6000, 6000], "far": "20 m" })
}

/// Half the side of the measured square of scattered obstacles, metres.
const WIDE: f64 = 4.5;
/// Half the side of the measured square of relief, metres: some forty forms.
const HALF: f64 = 2.5;

fn read(value: &Value) -> Shot {
    Shot::parse(&value.to_string(), Path::new("shot.json")).unwrap_or_else(|e| panic!("{e}"))
}

/// A layout seen from straight above, with its ground.
fn laid(value: &Value, folder: &str) -> (Layout, Ground, Vec<Vec<[f64; 2]>>) {
    // Stones on their flattest side: outlines are reckoned from the form that they were grown in
    let mut value = value.clone();
    for pass in value["passes"].as_array_mut().expect("passes") {
        pass["rest"]["pose"] = json!("flat");
    }
    let shot = read(&value);
    let dresser = Dresser::new(&shot, Path::new(folder)).unwrap_or_else(|e| panic!("{e}"));
    let mut layout = dresser
        .dress(shot.take, &|_| ())
        .unwrap_or_else(|e| panic!("{e}"))
        .layout;
    // Where a piece is on the plan: the middle of its bounds, not its origin, which a turned piece has beside it
    for i in &mut layout.instances {
        let size = layout.pieces[usize::from(i.piece)].measure.size.as_dvec3() * f64::from(i.scale);
        let [x, y, z, w] = i.rotation.map(f64::from);
        let up = DQuat::from_xyzw(x, y, z, w).normalize() * DVec3::Y;
        i.position += up * (0.5 * size.y);
    }
    let metres = |c: &[i64; 2]| c.map(|v| v as f64 / 1e9);
    let heroes = dresser.heroes().iter();
    let outlines = heroes.map(|h| h.outline(1.0).iter().map(metres).collect());
    (layout, dresser.ground().clone(), outlines.collect())
}

fn of_pass<'a>(layout: &'a Layout, name: &str) -> Vec<&'a Instance> {
    let pass = layout.passes.iter().position(|p| p.name == name);
    let pass = pass.unwrap_or_else(|| panic!("no pass {name}"));
    let of = layout.instances.iter();
    of.filter(|i| usize::from(i.pass) == pass).collect()
}

fn within(i: &Instance, half: f64) -> bool {
    i.position.x.abs() < half && i.position.z.abs() < half
}

/// A piece's plan ellipse, from what is delivered: middle, semi-axes, direction of the longer one.
#[derive(Debug, Clone, Copy)]
struct Outline {
    middle: [f64; 2],
    axes: [f64; 2],
    along: [f64; 2],
    /// Height over diameter, unburied.
    flatness: f64,
}

impl Outline {
    fn of(layout: &Layout, i: &Instance) -> Self {
        let measure = &layout.pieces[usize::from(i.piece)].measure;
        let [x, y, z, w] = i.rotation.map(f64::from);
        let axis = DQuat::from_xyzw(x, y, z, w).normalize() * DVec3::X;
        let length = axis.x.hypot(axis.z);
        let half = 0.5 * f64::from(i.diameter);
        Self {
            middle: [i.position.x, i.position.z],
            axes: [half * measure.elongation, half],
            along: [axis.x / length, axis.z / length],
            flatness: measure.flatness,
        }
    }

    /// Distance to a place by the nearest of 256 points of the outline, negative inside.
    fn distance(&self, x: f64, z: f64) -> f64 {
        let (dx, dz) = (x - self.middle[0], z - self.middle[1]);
        let (u, v) = (
            dx * self.along[0] + dz * self.along[1],
            dz * self.along[0] - dx * self.along[1],
        );
        let least = (0..256)
            .map(|k| {
                let t = TAU * f64::from(k) / 256.0;
                (self.axes[0] * t.cos() - u).hypot(self.axes[1] * t.sin() - v)
            })
            .fold(f64::INFINITY, f64::min);
        let inside = (u / self.axes[0]).powi(2) + (v / self.axes[1]).powi(2) < 1.0;
        if inside { -least } else { least }
    }

    fn far(&self, x: f64, z: f64, reach: f64) -> bool {
        (x - self.middle[0]).hypot(z - self.middle[1]) > self.axes[0] + reach
    }
}

/// Pieces sorted into squares of a side for looking up what is near.
struct Lookup {
    side: f64,
    cells: HashMap<(i64, i64), Vec<usize>>,
}

impl Lookup {
    fn new(places: &[[f64; 2]], side: f64) -> Self {
        let mut cells: HashMap<(i64, i64), Vec<usize>> = HashMap::new();
        for (i, [x, z]) in places.iter().enumerate() {
            let cell = ((x / side).floor() as i64, (z / side).floor() as i64);
            cells.entry(cell).or_default().push(i);
        }
        Self { side, cells }
    }

    /// All within the side, and some beyond.
    fn near(&self, x: f64, z: f64) -> impl Iterator<Item = usize> + '_ {
        let (cx, cz) = (
            (x / self.side).floor() as i64,
            (z / self.side).floor() as i64,
        );
        (-1..=1)
            .flat_map(move |i| (-1..=1).map(move |j| (cx + i, cz + j)))
            .filter_map(|c| self.cells.get(&c))
            .flatten()
            .copied()
    }
}

/// Pieces in the box behind an obstacle along `wind` (unit, from its lee edge to `heights` heights) and in the mirrored box before it.
fn lee_and_exposed(
    litter: &[&Instance],
    (middle, half_width, half_length, height): ([f64; 2], f64, f64, f64),
    wind: [f64; 2],
    heights: f64,
) -> [usize; 2] {
    let mut counts = [0, 0];
    for i in litter {
        let (dx, dz) = (i.position.x - middle[0], i.position.z - middle[1]);
        let along = dx * wind[0] + dz * wind[1];
        let across = dz * wind[0] - dx * wind[1];
        let from_edge = along.abs() - half_length;
        if across.abs() < 0.7 * half_width && from_edge > 0.0 && from_edge < heights * height {
            counts[usize::from(along < 0.0)] += 1;
        }
    }
    counts
}

#[test]
fn litter_lies_in_the_lee_of_stones_and_of_the_hero() {
    // Take 5, wind from the west (270 deg): blows toward +x. The sheltered side, over two heights of the obstacle, holds at least 3 times
    // the litter of the exposed side (the figure is the project's own: published accounts, such as Lavelle and Spain, Soil Ecology,
    // 2001, name drifts in shelter without a ratio).
    let shot = json!({
        "shot": "lee", "take": 5, "cameras": [above(WIDE)],
        "hero": [{ "file": "kettle.glb", "at": [0, 0, 0] }],
        "ground": { "relief": { "height": "20 mm", "feature": "0.9 m" } },
        "passes": [
            { "name": "stones", "pieces": ["rock"], "place": "spaced", "cover": 0.012,
              "sizes": { "law": "power", "exponent": 2.0, "from": "80 mm", "to": "240 mm" },
              "gather": [{ "clear_of": { "what": "hero", "within": "0.6 m" } }] },
            { "name": "stone-litter", "pieces": ["leaf"], "place": "strewn", "per_m2": 1500,
              "sizes": { "law": "lognormal", "median": "15 mm", "spread": 0.2 },
              "gather": [{ "lee_of": { "what": "stones", "wind_from": "270 deg", "smallest": "80 mm" } }, { "clear_of": { "what": "stones" } }] },
            { "name": "hero-litter", "pieces": ["leaf"], "place": "strewn", "per_m2": 4000,
              "sizes": { "law": "lognormal", "median": "15 mm", "spread": 0.2 },
              "gather": [{ "lee_of": { "what": "hero", "wind_from": "270 deg" } }] }
        ]
    });
    let (layout, _, heroes) = laid(&shot, "../examples/river-kettle");
    let litter = of_pass(&layout, "stone-litter");
    let mut sums = [0, 0];
    let stones = of_pass(&layout, "stones");
    assert!(stones.len() > 50, "{} stones", stones.len());
    for stone in stones.iter().filter(|s| within(s, 3.5)) {
        let o = Outline::of(&layout, stone);
        // Half extents along x and z
        let half = |k: usize| {
            let (a, b) = (o.axes[0] * o.along[k], o.axes[1] * o.along[1 - k]);
            a.hypot(b)
        };
        // Buried by 0.2 of its height on average
        let height = 0.8 * o.flatness * f64::from(stone.diameter);
        let obstacle = (o.middle, half(1), half(0), height);
        let [lee, exposed] = lee_and_exposed(&litter, obstacle, [1.0, 0.0], 2.0);
        sums[0] += lee;
        sums[1] += exposed;
    }
    let ratio = sums[0] as f64 / sums[1] as f64;
    println!(
        "stones: {} in the lee, {} exposed: {ratio:.2}",
        sums[0], sums[1]
    );
    assert!(sums[0] > 500, "{sums:?}");
    assert!(ratio >= 3.0, "{ratio}");

    let xs = || heroes[0].iter().map(|c| c[0]);
    let zs = || heroes[0].iter().map(|c| c[1]);
    let extent = |v: &mut dyn Iterator<Item = f64>| {
        v.fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], v| {
            [l.min(v), h.max(v)]
        })
    };
    let ([x0, x1], [z0, z1]) = (extent(&mut xs()), extent(&mut zs()));
    let obstacle = (
        [0.5 * (x0 + x1), 0.5 * (z0 + z1)],
        0.5 * (z1 - z0),
        0.5 * (x1 - x0),
        0.15,
    );
    let litter = of_pass(&layout, "hero-litter");
    let [lee, exposed] = lee_and_exposed(&litter, obstacle, [1.0, 0.0], 2.0);
    println!("hero: {lee} in the lee, {exposed} exposed");
    assert!(lee > 100 && lee >= 3 * exposed, "{lee} {exposed}");
}

/// Height over the mean of 48 places within a radius: not the way the tool takes it.
fn above_mean(ground: &Ground, x: f64, z: f64, radius: f64) -> f64 {
    let golden = PI * (3.0 - 5f64.sqrt());
    let mean = (0..48)
        .map(|k| {
            let r = radius * ((f64::from(k) + 0.5) / 48.0).sqrt();
            let t = golden * f64::from(k);
            ground.height(x + r * t.cos(), z + r * t.sin())
        })
        .sum::<f64>()
        / 48.0;
    ground.height(x, z) - mean
}

/// Heights over the mean under which a fifth and four fifths of the measured square lie.
fn fifths(ground: &Ground, radius: f64) -> [f64; 2] {
    let mut s = stream(71);
    let mut values: Vec<f64> = (0..4000)
        .map(|_| {
            let (x, z) = (s.between(-HALF, HALF), s.between(-HALF, HALF));
            above_mean(ground, x, z, radius)
        })
        .collect();
    values.sort_by(f64::total_cmp);
    [values[800], values[3200]]
}

/// Median diameter by cover, as a pebble count on a grid gives it.
fn median_by_cover(pieces: &[(f64, f64)]) -> f64 {
    let mut sorted = pieces.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let whole: f64 = sorted.iter().map(|(_, a)| a).sum();
    let mut sum = 0.0;
    for (d, a) in sorted {
        sum += a;
        if sum >= 0.5 * whole {
            return d;
        }
    }
    0.0
}

/// Diameters and plan areas of a pass on the measured square.
fn diameters_and_areas(layout: &Layout, name: &str) -> Vec<(f64, f64, f64, f64)> {
    of_pass(layout, name)
        .into_iter()
        .filter(|i| within(i, HALF))
        .map(|i| {
            let d = f64::from(i.diameter);
            let fill = layout.pieces[usize::from(i.piece)].measure.plan_fill;
            (d, fill * d * d, i.position.x, i.position.z)
        })
        .collect()
}

#[test]
fn graded_sizes_lie_fine_in_hollows_and_coarse_on_crests() {
    // Takes 1 and 2, 8-64 mm, D = 2.4, cover 0.4 spaced and 0.3 strewn; hollow-to-crest median size asked at 0.5 (issue: at most half), so
    // the field is asked for 0.4: what the eye calls a hollow, the height over a plain disc mean, agrees with the field only in part.
    let pass = |place: &str, cover: f64, graded: bool| {
        let mut pass = json!({ "name": "gravel", "pieces": ["pebble"], "place": place, "cover": cover,
            "sizes": { "law": "power", "exponent": 2.4, "from": "8 mm", "to": "64 mm" } });
        if graded {
            pass["gather"] = json!([{ "grade": { "radius": "0.25 m", "ratio": 0.4 } }]);
        }
        pass
    };
    for (place, cover) in [("spaced", 0.4), ("strewn", 0.3)] {
        let mut ratios = Vec::new();
        let mut covers = [0.0, 0.0];
        let mut sizes: [Vec<(f64, f64)>; 2] = [Vec::new(), Vec::new()];
        for take in 1..=2 {
            for graded in [false, true] {
                let shot = json!({
                    "shot": "graded", "take": take, "cameras": [above(HALF)],
                    "ground": { "relief": { "height": "35 mm", "feature": "0.8 m", "roughness": 0.4 } },
                    "passes": [pass(place, cover, graded)]
                });
                let (layout, ground, _) = laid(&shot, ".");
                let pieces = diameters_and_areas(&layout, "gravel");
                let area: f64 = pieces.iter().map(|p| p.1).sum();
                covers[usize::from(graded)] += area / (4.0 * HALF * HALF) / 2.0;
                sizes[usize::from(graded)].extend(pieces.iter().map(|p| (p.0, p.1)));
                if graded {
                    let [low, high] = fifths(&ground, 0.25);
                    let at = |hollow: bool| {
                        let chosen = pieces.iter().filter(|p| {
                            let h = above_mean(&ground, p.2, p.3, 0.25);
                            if hollow { h < low } else { h > high }
                        });
                        let chosen: Vec<(f64, f64)> = chosen.map(|p| (p.0, p.1)).collect();
                        assert!(chosen.len() > 500, "{} pieces", chosen.len());
                        let share = chosen.iter().map(|p| p.1).sum::<f64>() / area;
                        (median_by_cover(&chosen), share)
                    };
                    let ((fine, low_share), (coarse, high_share)) = (at(true), at(false));
                    println!(
                        "{place} take {take}: hollows {:.1} mm, crests {:.1} mm: {:.3}; share of the cover {low_share:.3} and {high_share:.3}",
                        1e3 * fine,
                        1e3 * coarse,
                        fine / coarse
                    );
                    ratios.push(fine / coarse);
                }
            }
        }
        // Greatest distance of the cumulative curves by cover
        let curve = |of: &[(f64, f64)], d: f64| {
            let whole: f64 = of.iter().map(|p| p.1).sum();
            of.iter().filter(|p| p.0 < d).map(|p| p.1).sum::<f64>() / whole
        };
        let distance = (1..40)
            .map(|k| 0.008 * 8f64.powf(f64::from(k) / 40.0))
            .map(|d| (curve(&sizes[0], d) - curve(&sizes[1], d)).abs())
            .fold(0.0, f64::max);
        let change = covers[1] / covers[0] - 1.0;
        println!(
            "{place}: cover {:.4} even, {:.4} graded ({:+.2} %), size curves apart by {distance:.4}",
            covers[0],
            covers[1],
            100.0 * change
        );
        for ratio in ratios {
            assert!(ratio <= 0.5, "{place}: {ratio}");
        }
        assert!(change.abs() < 0.03, "{place}: {change}");
        assert!(distance < 0.03, "{place}: {distance}");
    }
}

#[test]
fn litter_drifts_to_hollows() {
    // Take 2: the lowest fifth of the ground holds at least 5 times the highest fifth (litter gathers in gain zones of the micro-relief:
    // Lavelle and Spain, Soil Ecology, 2001; the figure is the project's own).
    let shot = json!({
        "shot": "hollows", "take": 2, "cameras": [above(HALF)],
        "ground": { "relief": { "height": "35 mm", "feature": "0.8 m", "roughness": 0.4 } },
        "passes": [{ "name": "litter", "pieces": ["leaf"], "place": "strewn", "per_m2": 500,
            "sizes": { "law": "lognormal", "median": "25 mm", "spread": 0.2 },
            "gather": [{ "hollows": { "radius": "0.25 m" } }] }]
    });
    let (layout, ground, _) = laid(&shot, ".");
    let [low, high] = fifths(&ground, 0.25);
    let mut counts = [0, 0];
    for i in of_pass(&layout, "litter")
        .iter()
        .filter(|i| within(i, HALF))
    {
        let h = above_mean(&ground, i.position.x, i.position.z, 0.25);
        counts[0] += usize::from(h < low);
        counts[1] += usize::from(h > high);
    }
    println!("{} in hollows, {} on crests", counts[0], counts[1]);
    assert!(counts[0] > 1000 && counts[0] >= 5 * counts[1], "{counts:?}");
}

#[test]
fn fragments_lie_in_a_halo_round_large_rocks() {
    // Take 4: fragments of the same kind, falling off over 1.5 diameters of the rock with e^-4: per area, the first quarter of a
    // diameter from its edge must hold several times what the ring from 0.75 to 1 diameter holds, ring by ring fewer.
    let shot = json!({
        "shot": "halo", "take": 4, "cameras": [above(WIDE)],
        "passes": [
            { "name": "blocks", "pieces": ["rock"], "place": "spaced", "cover": 0.02,
              "sizes": { "law": "power", "exponent": 2.0, "from": "0.2 m", "to": "0.5 m" } },
            { "name": "fragments", "pieces": ["rock"], "place": "spaced", "per_m2": 900,
              "sizes": { "law": "power", "exponent": 2.5, "from": "6 mm", "to": "40 mm" },
              "gather": [{ "near": { "what": "blocks", "diameters": 1.5, "fade": "steep" } }, { "clear_of": { "what": "blocks" } }] }
        ]
    });
    let (layout, _, _) = laid(&shot, ".");
    let blocks: Vec<(Outline, f64)> = of_pass(&layout, "blocks")
        .iter()
        .map(|i| (Outline::of(&layout, i), f64::from(i.diameter)))
        .collect();
    assert!(blocks.len() >= 10, "{} blocks", blocks.len());
    // Which ring of which block: by the nearest, in its diameters
    let ring = |x: f64, z: f64| {
        blocks
            .iter()
            .filter(|(o, d)| !o.far(x, z, *d))
            .map(|(o, d)| o.distance(x, z) / d)
            .fold(f64::INFINITY, f64::min)
    };
    let mut ground = [0.0f64; 4];
    let mut pieces = [0.0f64; 4];
    let mut s = stream(12);
    for _ in 0..60_000 {
        let t = ring(s.between(-WIDE, WIDE), s.between(-WIDE, WIDE));
        if (0.0..1.0).contains(&t) {
            ground[(4.0 * t) as usize] += 4.0 * WIDE * WIDE / 60_000.0;
        }
    }
    for i in of_pass(&layout, "fragments")
        .iter()
        .filter(|i| within(i, WIDE))
    {
        let t = ring(i.position.x, i.position.z);
        if (0.0..1.0).contains(&t) {
            pieces[(4.0 * t) as usize] += 1.0;
        }
    }
    let density: Vec<f64> = (0..4).map(|k| pieces[k] / ground[k]).collect();
    println!("fragments a square metre by quarter of a diameter: {density:.0?}");
    assert!(pieces[0] > 300.0, "{pieces:?}");
    assert!(density.windows(2).all(|w| w[0] > 1.3 * w[1]), "{density:?}");
    assert!(density[0] > 3.0 * density[3], "{density:?}");
}

/// Share of the ground, and of a pass's pieces, in a ring round the stones of another: their edges within `widths` of their diameters.
fn in_ring(layout: &Layout, stones: &str, plants: &str, widths: f64, half: f64) -> [f64; 2] {
    let stones: Vec<(Outline, f64)> = of_pass(layout, stones)
        .iter()
        .map(|i| (Outline::of(layout, i), f64::from(i.diameter)))
        .collect();
    let places: Vec<[f64; 2]> = stones.iter().map(|s| s.0.middle).collect();
    let lookup = Lookup::new(&places, 1.0);
    let inside = |x: f64, z: f64| {
        let mut ring = false;
        for k in lookup.near(x, z) {
            let (o, d) = &stones[k];
            if o.far(x, z, widths * d) {
                continue;
            }
            let distance = o.distance(x, z);
            if distance < 0.0 {
                return false;
            }
            ring |= distance < widths * d;
        }
        ring
    };
    let mut s = stream(33);
    let probes = 40_000;
    let ground = (0..probes)
        .filter(|_| inside(s.between(-half, half), s.between(-half, half)))
        .count() as f64
        / f64::from(probes);
    let plants: Vec<&Instance> = of_pass(layout, plants)
        .into_iter()
        .filter(|i| within(i, half))
        .collect();
    let held = plants
        .iter()
        .filter(|i| inside(i.position.x, i.position.z))
        .count() as f64
        / plants.len() as f64;
    println!("{} plants", plants.len());
    [ground, held]
}

/// A preset seen from straight above.
fn preset(name: &str, take: u64, passes: &[&str], half: f64) -> Value {
    let shot = Preset::find(name)
        .unwrap_or_else(|e| panic!("{e}"))
        .shot("measured");
    let mut value = serde_json::to_value(shot).expect("a shot is JSON");
    value["take"] = json!(take);
    value["cameras"] = json!([above(half)]);
    let all = value["passes"].as_array_mut().expect("passes");
    all.retain(|p| {
        p["name"]
            .as_str()
            .is_some_and(|name| passes.contains(&name))
    });
    value
}

#[test]
fn plants_stand_at_stone_edges_as_published() {
    // Sorted stone nets and stripes: 73-77 % of adult plants in the ring between stones and soil, which covers 14-17 % of the ground: 4.3 to
    // 5.5 times the mean (research note C11, from the papers' abstracts). Takes 1 and 2; levels: shares of some 2,000 plants, three binomial errors
    // are 3 points.
    let mut sums = [0.0; 2];
    for take in 1..=2 {
        let shot = json!({
            "shot": "edges", "take": take, "cameras": [above(HALF)],
            "passes": [
                { "name": "stones", "pieces": ["rock"], "place": "spaced", "cover": 0.2,
                  "sizes": { "law": "power", "exponent": 2.0, "from": "60 mm", "to": "200 mm" } },
                { "name": "plants", "pieces": ["tuft"], "place": "strewn", "per_m2": 200,
                  "sizes": { "law": "lognormal", "median": "40 mm", "spread": 0.2 },
                  "gather": [{ "near": { "what": "stones", "diameters": 0.21, "fade": "even", "elsewhere": 0.076, "smallest": "60 mm" } }] }
            ]
        });
        let (layout, _, _) = laid(&shot, ".");
        let got = in_ring(&layout, "stones", "plants", 0.21, HALF);
        sums[0] += 0.5 * got[0];
        sums[1] += 0.5 * got[1];
    }
    let [ground, plants] = sums;
    println!(
        "ring {ground:.3} of the ground, {plants:.3} of the plants: {:.2} times",
        plants / ground
    );
    assert!((0.14..=0.17).contains(&ground), "{ground}");
    assert!((0.70..=0.80).contains(&plants), "{plants}");
    assert!(
        (4.0..=5.5).contains(&(plants / ground)),
        "{}",
        plants / ground
    );
}

#[test]
fn desert_pavement_has_its_grass_at_the_blocks() {
    // The preset's own figures, takes 1 to 3, its grass ten times as dense so that it can be counted: 4 to 5.5 times (as above) in a ring
    // of half a diameter.
    let mut sums = [0.0; 2];
    for take in 1..=3 {
        let mut shot = preset("desert-pavement", take, &["blocks", "dry-grass"], WIDE);
        shot["passes"][1]["per_m2"] = json!(4.0);
        let (layout, _, _) = laid(&shot, ".");
        let got = in_ring(&layout, "blocks", "dry-grass", 0.5, WIDE);
        sums[0] += got[0];
        sums[1] += got[1];
    }
    let ratio = sums[1] / sums[0];
    println!("{ratio:.2} times");
    assert!((4.0..=5.5).contains(&ratio), "{ratio}");
}

#[test]
fn grains_crowd_against_the_hero() {
    // The example's own passes, take 1: per area, the ring of 15 mm beyond the ground kept clear holds at least 1.3 times the
    // grains of the ring from 50 to 80 mm, and a leaf lies against the hero (the figure is the project's own).
    let text = std::fs::read_to_string("../examples/river-kettle/shot.json").unwrap();
    let mut shot: Value = serde_json::from_str(&text).unwrap();
    shot["cameras"] = json!([{ "name": "above", "at": [0, 1, 0], "toward": [0, 0, 0], "vertical_angle": "40 deg", "frame": [2000, 2000], "far": "3 m" }]);
    let all = shot["passes"].as_array_mut().unwrap();
    all.retain(|p| {
        ["cobbles", "gravel", "grit", "contact", "caught"].contains(&p["name"].as_str().unwrap())
    });
    let (layout, _, heroes) = laid(&shot, "../examples/river-kettle");
    // Distance from the hero's outline at the height of a grain: by its edges
    let outline = &heroes[0];
    let distance = |x: f64, z: f64| {
        let (mut inside, mut least) = (true, f64::INFINITY);
        for (i, a) in outline.iter().enumerate() {
            let b = outline[(i + 1) % outline.len()];
            let (ex, ez, px, pz) = (b[0] - a[0], b[1] - a[1], x - a[0], z - a[1]);
            let t = ((px * ex + pz * ez) / (ex * ex + ez * ez)).clamp(0.0, 1.0);
            least = least.min((px - t * ex).hypot(pz - t * ez));
            inside &= ex * pz - ez * px >= 0.0;
        }
        if inside { 0.0 } else { least }
    };
    let ring = |d: f64| match d {
        d if (0.004..0.019).contains(&d) => Some(0),
        d if (0.05..0.08).contains(&d) => Some(1),
        _ => None,
    };
    let (mut ground, mut cover, mut leaves) = ([0.0f64; 2], [0.0f64; 2], 0);
    let mut s = stream(90);
    for _ in 0..200_000 {
        if let Some(r) = ring(distance(s.between(-0.3, 0.3), s.between(-0.3, 0.3))) {
            ground[r] += 0.36 / 200_000.0;
        }
    }
    for i in &layout.instances {
        let d = distance(i.position.x, i.position.z);
        let name = layout.passes[usize::from(i.pass)].name.as_str();
        leaves += usize::from(name == "caught" && d < 0.04);
        if let (Some(r), true) = (ring(d), ["grit", "contact"].contains(&name)) {
            cover[r] += 0.785 * f64::from(i.diameter).powi(2);
        }
    }
    let layers = [cover[0] / ground[0], cover[1] / ground[1]];
    println!(
        "layers of grains at the hero {:.2}, away {:.2}; {leaves} leaves against it",
        layers[0], layers[1]
    );
    assert!(layers[0] > 1.3 * layers[1], "{layers:?}");
    assert!((1..=12).contains(&leaves), "{leaves} leaves");
}

/// Cluster length of points: the spread of a Thomas process, fitted to their pair correlation from 1.5 units on, times two. There the
/// excess of the pair correlation has fallen to 1/e. Ring weights, least squares (minimum contrast: Diggle, Statistical Analysis of
/// Spatial Point Patterns, 1983).
fn cluster_length(fields: &[Vec<[f64; 2]>], half: f64, unit: f64) -> (f64, f64) {
    let edges: Vec<f64> = (0..=20)
        .map(|k| unit * (1.5 + 0.25 * f64::from(k)))
        .collect();
    let most = edges[20];
    let mut counts = [0.0f64; 20];
    let (mut centres, mut total) = (0.0, 0.0);
    for points in fields {
        let lookup = Lookup::new(points, most);
        total += points
            .iter()
            .filter(|p| p[0].abs() < half && p[1].abs() < half)
            .count() as f64;
        // Only points whose whole circle is in view count as middles
        for p in points
            .iter()
            .filter(|p| p[0].abs() < half - most && p[1].abs() < half - most)
        {
            centres += 1.0;
            for k in lookup.near(p[0], p[1]) {
                let r = (points[k][0] - p[0]).hypot(points[k][1] - p[1]);
                if r >= edges[0] && r < most {
                    counts[(4.0 * (r / unit - 1.5)) as usize] += 1.0;
                }
            }
        }
    }
    let intensity = total / (4.0 * half * half * fields.len() as f64);
    let g: Vec<(f64, f64)> = (0..20)
        .map(|k| {
            let area = PI * (edges[k + 1].powi(2) - edges[k].powi(2));
            (
                0.5 * (edges[k] + edges[k + 1]),
                counts[k] / (centres * intensity * area),
            )
        })
        .collect();
    let mut best = (f64::INFINITY, 0.0, 0.0);
    for step in 10..200 {
        let spread = 0.02 * f64::from(step) * unit;
        let shape = |r: f64| (-r * r / (4.0 * spread * spread)).exp();
        let (above, below) = g.iter().fold((0.0, 0.0), |(a, b), (r, g)| {
            (a + r * (g - 1.0) * shape(*r), b + r * shape(*r).powi(2))
        });
        let height = (above / below).max(0.0);
        let error: f64 = g
            .iter()
            .map(|(r, g)| r * (g - 1.0 - height * shape(*r)).powi(2))
            .sum();
        if error < best.0 {
            best = (error, 2.0 * spread, height);
        }
    }
    println!(
        "g: {}",
        g.iter()
            .map(|(r, g)| format!("{:.2}:{g:.2} ", r / unit))
            .collect::<String>()
    );
    (best.1, g[1].1.max(g[2].1))
}

#[test]
fn the_cluster_length_of_a_thomas_process_is_recovered() {
    // 40 parents a square metre, 6 offspring each, spread 50 mm, 8 fields of 4 m: twice the spread within 10 %. Seed 6.
    let mut s = stream(6);
    let fields: Vec<Vec<[f64; 2]>> = (0..8)
        .map(|_| {
            let mut points = Vec::new();
            for _ in 0..s.poisson(40.0 * 25.0) {
                let (x, z) = (s.between(-2.5, 2.5), s.between(-2.5, 2.5));
                for _ in 0..s.poisson(6.0) {
                    points.push([x + 0.05 * s.normal(), z + 0.05 * s.normal()]);
                }
            }
            points
        })
        .collect();
    let (length, _) = cluster_length(&fields, 2.0, 0.04);
    println!("{length:.4}");
    assert!((length / 0.1 - 1.0).abs() < 0.1, "{length}");
}

#[test]
fn stones_of_river_gravel_cluster_at_the_published_lengths() {
    // Navarro River bar, 7726 stones: large ones cluster at 1.75 D84, medium ones at 3.0 D50 (research note C5, from the abstract, which
    // does not say by which estimator; read here as twice the spread of the fitted Thomas process). Takes 1 to 6 for large and 1 to 2 for
    // medium stones; within 20 %. D50 and D84 by cover, as a count on a grid gives them, of the preset's cobbles and gravel.
    let half = 5.0;
    let stones = ["cobbles", "gravel"];
    let grid = {
        let (layout, _, _) = laid(&preset("river-gravel", 1, &stones, 2.5), ".");
        let mut all: Vec<f64> = stones
            .iter()
            .flat_map(|name| of_pass(&layout, name))
            .filter(|i| within(i, 2.5))
            .map(|i| f64::from(i.diameter))
            .collect();
        all.sort_by(f64::total_cmp);
        let whole: f64 = all.iter().map(|d| d * d).sum();
        move |share: f64| {
            let mut sum = 0.0;
            let above = all.iter().find(|d| {
                sum += **d * **d;
                sum >= share * whole
            });
            *above.unwrap()
        }
    };
    let (d50, d84) = (grid(0.5), grid(0.84));
    let places = |takes: std::ops::RangeInclusive<u64>,
                  passes: &[&str],
                  from: f64,
                  to: f64|
     -> Vec<Vec<[f64; 2]>> {
        takes
            .map(|take| {
                let mut shot = preset("river-gravel", take, passes, half);
                // Stones that are counted here are far larger than a dozen pixels
                shot["resolve"] = json!({ "pixels": 12 });
                let (layout, _, _) = laid(&shot, ".");
                let of = passes.iter().flat_map(|name| of_pass(&layout, name));
                of.filter(|i| (from..to).contains(&f64::from(i.diameter)))
                    .map(|i| [i.position.x, i.position.z])
                    .collect()
            })
            .collect()
    };
    println!("D50 {:.1} mm, D84 {:.1} mm", 1e3 * d50, 1e3 * d84);
    let large = places(1..=6, &["cobbles"], d84, 1.0);
    let (length, peak) = cluster_length(&large, half, d84);
    println!(
        "large: {:.2} D84, pair correlation at touching {peak:.2}",
        length / d84
    );
    assert!((length / d84 / 1.75 - 1.0).abs() < 0.2, "{}", length / d84);
    assert!(peak > 1.2, "{peak}");
    let medium = places(1..=2, &stones, d50 / 1.25, d50 * 1.25);
    let (length, peak) = cluster_length(&medium, half, d50);
    println!(
        "medium: {:.2} D50, pair correlation at touching {peak:.2}",
        length / d50
    );
    assert!((length / d50 / 3.0 - 1.0).abs() < 0.2, "{}", length / d50);
    assert!(peak > 1.2, "{peak}");
}

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
    // All the fields that gather, five cameras, 1 to 4 threads: every piece that two of them have is the same, bit for bit.
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
        camera([0.8, 0.5, -0.4], [0.0, 0.0, 0.0]),
    ];
    let mut seen: HashMap<(u16, u64), [u64; 9]> = HashMap::new();
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
