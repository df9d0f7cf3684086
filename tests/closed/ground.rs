//! Presets and examples seen straight down, beside masks of real gravel.
//!
//! Takes 1 to 5 of two windows of 0.2 m each; the median over the takes is judged. Over five takes
//! the ends of the figures lie up to a tenth of a row's real range beyond where twice as many
//! windows put them, so the real range is widened by that at either end.

use std::path::Path;

use rayon::prelude::*;
use scatter::random::stream;
use scatter::shot::{Preset, Shot};
use scatter_tests::closed::figures::{LEAST_MINOR, quantile};
use scatter_tests::closed::holes::{density, holes};
use scatter_tests::closed::lying::lying_on_large;
use scatter_tests::closed::neighbours::Ownership;
use scatter_tests::closed::regions::regions;
use scatter_tests::closed::rings::bare;
use scatter_tests::closed::take::{Look, Stones, whole_stones};
use scatter_tests::closed::{Figures, LabelImage, Row, Seen, measure, outside, table};
use scatter_tests::dresser::Dresser;

const TAKES: u64 = 5;
/// How much of a row's real range is added at either end: medians of five takes of so few windows
/// stray by about a fifth of it.
const SLACK: f64 = 0.25;
/// Of a hundred stones at most so many lie on one of at least three times their size: on a bar few
/// small stones lie on top of large ones (by eye, beside a photograph of a bar from above).
const LYING: f64 = 0.03;

/// What is seen of a shot.
struct Ground {
    takes: Vec<Figures>,
    stones: usize,
    lying: usize,
    images: Vec<LabelImage>,
}

fn look() -> Look {
    Look {
        windows: 2,
        ..Look::default()
    }
}

fn seen(shot: &Shot, folder: &Path) -> Ground {
    let look = look();
    let down = look.down(shot, folder).unwrap();
    let windows = look.windows(shot);
    let dresser = Dresser::new(&down, folder).unwrap();
    let height = |x: f64, z: f64| dresser.ground().height(x, z);
    let mut ground = Ground {
        takes: Vec::new(),
        stones: 0,
        lying: 0,
        images: Vec::new(),
    };
    for take in 1..=TAKES {
        let layout = dresser.dress(take).unwrap().layout;
        let mut figures = Vec::new();
        for window in &windows {
            let seen = Seen::draw(&layout, *window, height, |_| true);
            let image = seen.labels(&layout, |i| Stones::Grown.holds(&layout, i));
            figures.push(measure(&image, look.pixel));
            let whole = whole_stones(&image);
            ground.stones += whole.len();
            ground.lying +=
                lying_on_large(&layout, &whole, height, |i| Stones::Grown.holds(&layout, i));
            ground.images.push(image);
        }
        ground.takes.push(Figures::mean(&figures));
    }
    ground
}

/// Holds a ground to rows of the table and to what may lie on large stones.
fn holds(ground: &Ground, rows: &[Row]) {
    let told = outside(&ground.takes, rows, SLACK);
    assert!(told.is_empty(), "{told:#?}\n{}", table(&ground.takes));
    let share = ground.lying as f64 / ground.stones as f64;
    assert!(
        share <= LYING,
        "{share} of {} lie on large ones",
        ground.stones
    );
}

/// Every row; Clark and Evans' index may go to 1.32, since a packed ground without patches is a
/// hair more even than the masks (0.2 of its range).
fn is_gravel(ground: &Ground) {
    let even = [Row::ClarkEvans, Row::ClarkEvansInner];
    let rows: Vec<Row> = Row::ALL.into_iter().filter(|r| !even.contains(r)).collect();
    holds(ground, &rows);
    let told = outside(&ground.takes, &even, 0.2);
    assert!(told.is_empty(), "{told:#?}");
}

#[test]
fn the_river_gravel_preset_is_as_closed_as_real_gravel() {
    let shot = Preset::find("river-gravel").unwrap().shot("above");
    let ground = seen(&shot, Path::new("."));
    is_gravel(&ground);
    no_holes(&ground);
}

#[test]
fn the_ground_of_the_kettle_is_as_closed_as_real_gravel() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/river-kettle");
    let shot = Shot::read(&folder.join("shot.json")).unwrap();
    let ground = seen(&shot, &folder);
    is_gravel(&ground);
    no_holes(&ground);
}

/// Scree leans, touches and varies as gravel does; its outlines are those of broken rock, for which
/// there is no mask.
#[test]
fn scree_leans_as_real_stones_do() {
    let shot = Preset::find("scree").unwrap().shot("above");
    holds(
        &seen(&shot, Path::new(".")),
        &[
            Row::Contacts,
            Row::ContactsOfLarge,
            Row::Gap,
            Row::GapP90,
            Row::RingInner,
            Row::RingOuter,
            Row::RatioDeviation,
        ],
    );
}

/// The stones of a window, each thrown to a place at random, its borders joined: the ground that
/// the same sizes give without any packing. Rows of the window, true where a stone is.
fn thrown(image: &LabelImage, seed: u64) -> Vec<bool> {
    let mut random = stream(seed);
    let (width, height) = (image.width, image.height());
    let mut is_stone = vec![false; image.labels.len()];
    for stone in regions(image) {
        if stone.axes[1] < LEAST_MINOR {
            continue;
        }
        let [right, down] = [width, height].map(|n| (random.unit() * n as f64) as usize);
        for pixel in &stone.pixels {
            let (x, z) = (*pixel % width, *pixel / width);
            is_stone[(z + down) % height * width + (x + right) % width] = true;
        }
    }
    is_stone
}

/// 99th percentile of a bare pixel's distance to the nearest stone, and bare discs wider than three
/// times the least stone that counts, a pixel.
fn emptiness(distance: &[f64], width: usize) -> [f64; 2] {
    let bare: Vec<f64> = distance.iter().copied().filter(|d| *d > 0.0).collect();
    let size = [width, distance.len() / width];
    let wide = density(&holes(distance, width), 3.0 * LEAST_MINOR, size);
    [quantile(&bare, 0.99), wide]
}

/// A packed ground has no holes: it leaves less than the same stones thrown at random, window by
/// window on the mean. The layout does not tell where a stone was refused, so places of refusal
/// can't be asked by themselves. Seeds are the windows' numbers; ten windows.
fn no_holes(ground: &Ground) {
    let both: Vec<[[f64; 2]; 2]> = ground
        .images
        .par_iter()
        .enumerate()
        .map(|(k, image)| {
            let all = regions(image);
            let stones: Vec<_> = all.iter().filter(|r| r.axes[1] >= LEAST_MINOR).collect();
            let own = bare(&Ownership::of(&stones, image.width, image.labels.len()));
            let thrown = thrown(image, k as u64 + 1);
            let random = scatter_tests::closed::distance::distances(&thrown, image.width);
            [own, random].map(|d| emptiness(&d, image.width))
        })
        .collect();
    let mean = |which: usize, what: usize| {
        both.iter().map(|b| b[which][what]).sum::<f64>() / both.len() as f64
    };
    for (what, name) in ["99th percentile", "wide bare discs"].iter().enumerate() {
        let (own, random) = (mean(0, what), mean(1, what));
        assert!(own < random, "{name}: {own}, thrown at random {random}");
    }
}

/// A packed bed of power-law stones of which 0.80 is asked: the cover of those over 8 mm is had
/// within 7 % of what the law asks of them: so narrow a law is all but full there (3 % was hoped
/// for, 5 % is missing). Takes 1 to 3; the law's own plan area says how much of the 0.80 is over 8
/// mm: of a power law with exponent 2.5 from 4 to 64 mm, plan area goes as d^(-1/2).
#[test]
fn a_packed_bed_gets_what_is_asked() {
    let text = r#"{ "shot": "bed", "cameras": [{ "name": "above", "at": [0, 10, 0], "toward": [0, 0, 0], "lens": "50 mm", "frame": [64, 64],
        "far": "20 m" }], "ground": { "plane": {} }, "passes": [{ "name": "bed", "pieces": ["pebble"], "place": "packed", "roll": 1, "cover": 0.8,
        "sizes": { "law": "power", "exponent": 2.5, "from": "4 mm", "to": "64 mm" }, "rest": { "pose": "flat" } }] }"#;
    let shot = Shot::parse(text, Path::new("bed.json")).unwrap();
    let look = Look {
        finest: 8e-3 / Look::default().pixel * 0.5,
        windows: 4,
        ..Look::default()
    };
    let down = look.down(&shot, Path::new(".")).unwrap();
    let dresser = Dresser::new(&down, Path::new(".")).unwrap();
    let area = |from: f64, to: f64| from.powf(-0.5) - to.powf(-0.5);
    let asked = 0.8 * area(8.0, 64.0) / area(4.0, 64.0);
    let windows = look.windows(&shot);
    let mut got = 0.0;
    for take in 1..=3 {
        let layout = dresser.dress(take).unwrap().layout;
        for i in &layout.instances {
            let fill = layout.pieces[usize::from(i.piece)].measure.plan_fill;
            let is_in = windows.iter().any(|w| {
                let [x, z] = [i.position.x - w.west, i.position.z - w.north];
                let side = w.width as f64 * w.pixel;
                (0.0..side).contains(&x) && (0.0..side).contains(&z)
            });
            if is_in && i.diameter >= 8e-3 {
                got += fill * f64::from(i.diameter).powi(2);
            }
        }
    }
    let ground = 3.0 * windows.len() as f64 * (look.side as f64 * look.pixel).powi(2);
    let cover = got / ground;
    assert!(
        (cover / asked - 1.0).abs() < 0.07,
        "{cover:.3} of {asked:.3}"
    );
}
