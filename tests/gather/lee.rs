//! Litter in the lee of stones and of the hero.

use scatter::layout::Instance;
use serde_json::json;

use crate::plan::{Outline, WIDE, above, laid, of_pass, within};

/// Pieces in the box behind an obstacle along `wind` (unit, from its lee edge to `heights` heights)
/// and in the mirrored box before it.
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
    // Take 5, wind from the west (270 deg): blows toward +x. The sheltered side, over two heights
    // of the obstacle, holds at least 3 times the litter of the exposed side (the figure is the
    // project's own: published accounts, such as Lavelle and Spain, Soil Ecology, 2001, name drifts
    // in shelter without a ratio).
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
