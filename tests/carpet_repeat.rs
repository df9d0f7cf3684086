//! The plan picture of a carpet: no lattice, no repeated tile shows in it.

#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

use std::f64::consts::PI;

use glam::DVec3;
use rayon::prelude::*;
use scatter::layout::Instance;
use scatter::random::stream;
use scatter_tests::tiles::{Judge, LARGEST, SIDE, above, dressed, shot, tiles};
use serde_json::json;

/// Complex numbers of a square picture, row by row; a transform in place (Cooley and Tukey, "An
/// algorithm for the machine calculation of complex Fourier series", 1965).
struct Grid {
    side: usize,
    cells: Vec<[f64; 2]>,
}

impl Grid {
    fn transform(&mut self) {
        let n = self.side;
        for _ in 0..2 {
            self.cells.par_chunks_exact_mut(n).for_each(fft);
            let old = std::mem::take(&mut self.cells);
            self.cells = (0..n * n).map(|i| old[i % n * n + i / n]).collect();
        }
    }
}

fn fft(row: &mut [[f64; 2]]) {
    let n = row.len();
    let bits = n.trailing_zeros();
    for i in 0..n {
        let j = i.reverse_bits() >> (usize::BITS - bits);
        if i < j {
            row.swap(i, j);
        }
    }
    let mut half = 1;
    while half < n {
        for k in 0..half {
            let turn = -PI * k as f64 / half as f64;
            let (s, c) = turn.sin_cos();
            for i in (k..n).step_by(2 * half) {
                let [a, b] = row[i + half];
                let [re, im] = [a * c - b * s, a * s + b * c];
                let [p, q] = row[i];
                row[i] = [p + re, q + im];
                row[i + half] = [p - re, q - im];
            }
        }
        half *= 2;
    }
}

/// Side of a plan picture in pixels, and in metres: some 220 tiles.
const PIXELS: usize = 512;
const WINDOW: f64 = 1.6;

/// Autocorrelation of a picture at shifts up to half its side either way, 1 at no shift: each shift
/// over the pixels that both copies share.
fn autocorrelation(picture: &[f64]) -> Vec<f64> {
    let n = PIXELS;
    let mean = picture.iter().sum::<f64>() / picture.len() as f64;
    let variance = picture.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>();
    let variance = variance / picture.len() as f64;
    // Padded, so that nothing wraps round
    let mut grid = Grid {
        side: 2 * n,
        cells: vec![[0.0; 2]; 4 * n * n],
    };
    for y in 0..n {
        for x in 0..n {
            grid.cells[y * 2 * n + x][0] = picture[y * n + x] - mean;
        }
    }
    grid.transform();
    for c in &mut grid.cells {
        *c = [c[0] * c[0] + c[1] * c[1], 0.0];
    }
    grid.transform();
    let half = n as i64 / 2;
    let whole = (4 * n * n) as f64;
    let mut found = Vec::with_capacity(n * n);
    for dy in -half..half {
        for dx in -half..half {
            let wrap = |d: i64| d.rem_euclid(2 * n as i64) as usize;
            let sum = grid.cells[wrap(dy) * 2 * n + wrap(dx)][0] / whole;
            let shared = (n as i64 - dx.abs()) * (n as i64 - dy.abs());
            found.push(sum / shared as f64 / variance);
        }
    }
    found
}

/// The highest value of an autocorrelation farther off than `least` pixels.
fn highest(correlation: &[f64], least: f64) -> f64 {
    let half = PIXELS as f64 / 2.0;
    let off = correlation.iter().enumerate().filter(|(i, _)| {
        let (x, y) = ((i % PIXELS) as f64 - half, (i / PIXELS) as f64 - half);
        x.hypot(y) > least
    });
    off.map(|(_, v)| *v).fold(f64::NEG_INFINITY, f64::max)
}

/// Mean power of a picture by its frequency alone, in steps of 1 over its side: what is left of a
/// spectrum without directions and lines.
fn power_by_frequency(picture: &[f64]) -> Vec<f64> {
    let n = PIXELS;
    let mean = picture.iter().sum::<f64>() / picture.len() as f64;
    // Hann's window: borders are no edges
    let hann = |i: usize| (PI * (i as f64 + 0.5) / n as f64).sin().powi(2);
    let mut grid = Grid {
        side: n,
        cells: (0..n * n)
            .map(|i| [(picture[i] - mean) * hann(i % n) * hann(i / n), 0.0])
            .collect(),
    };
    grid.transform();
    let (mut sums, mut counts) = (vec![0.0; n], vec![0.0; n]);
    for (i, c) in grid.cells.iter().enumerate() {
        let at = frequency(i, n) as usize;
        sums[at] += c[0] * c[0] + c[1] * c[1];
        counts[at] += 1.0;
    }
    sums.iter()
        .zip(&counts)
        .map(|(s, c)| s / f64::max(*c, 1.0))
        .collect()
}

/// Frequency of a cell of a transform of side `n`, cycles a side.
fn frequency(cell: usize, n: usize) -> f64 {
    let of = |k: usize| k.min(n - k) as f64;
    of(cell % n).hypot(of(cell / n))
}

/// Two pictures of random phases with a power by frequency, cut out of ones four times as large so
/// that they don't wrap round.
fn random_phases(power: &[f64], key: u64) -> [Vec<f64>; 2] {
    let n = PIXELS;
    let mut draws = stream(key);
    let mut grid = Grid {
        side: 2 * n,
        cells: Vec::with_capacity(4 * n * n),
    };
    for i in 0..4 * n * n {
        let at = 0.5 * frequency(i, 2 * n);
        let (low, share) = (at.floor() as usize, at.fract());
        let here = power[low] * (1.0 - share) + power[(low + 1).min(n - 1)] * share;
        let height = here.sqrt();
        grid.cells
            .push([height * draws.normal(), height * draws.normal()]);
    }
    grid.transform();
    [0, 1].map(|k| {
        let cell = |i: usize| grid.cells[i / n * 2 * n + i % n][k];
        (0..n * n).map(cell).collect()
    })
}

fn plan_picture(judge: &Judge) -> Vec<f64> {
    let step = WINDOW / PIXELS as f64;
    (0..PIXELS * PIXELS)
        .into_par_iter()
        .map(|i| {
            let at = |k: usize| (k as f64 + 0.5) * step - 0.5 * WINDOW;
            judge
                .top(at(i % PIXELS), at(i / PIXELS))
                .expect("a tile everywhere")
        })
        .collect()
}

/// The highest off-origin peak of the plan picture's autocorrelation (heights, 512 x 512 pixels of
/// 3 mm, all octaves) against the 99 % band of 100 pictures with random phases and the same power
/// at each frequency, stream 1000 on; and that of one tile, plainly repeated. A null that kept the
/// whole spectrum would keep the autocorrelation itself, so it keeps the mean over directions: what
/// a lattice adds stands out of that. Peaks nearer than three of the largest grains are the grains'
/// own. The surrogates after Theiler and others, "Testing for nonlinearity
/// in time series: the method of surrogate data", 1992 (from memory).
#[test]
fn no_repeat_is_visible() {
    let mut document = shot();
    above(&mut document, 1.2 * WINDOW);
    document["cameras"][0]["frame"] = json!([4000, 4000]);
    dressed(&document, |_, layout| {
        let least = 3.0 * LARGEST / WINDOW * PIXELS as f64;
        let laid = tiles(&layout);
        let picture = plan_picture(&Judge::new(&layout, laid.clone()));
        let ours = highest(&autocorrelation(&picture), least);
        // One tile with all its octaves, at each place of the lattice in one turn
        let place = |i: &Instance| i.position.to_array().map(f64::to_bits);
        let first: Vec<Instance> = laid
            .iter()
            .filter(|i| place(i) == place(&laid[0]))
            .copied()
            .collect();
        let repeated: Vec<Instance> = (-12..=12)
            .flat_map(|j: i32| (-20..=20).map(move |i: i32| (i, j)))
            .flat_map(|(i, j)| {
                let at = DVec3::new(
                    SIDE * (f64::from(i) + 0.5 * f64::from(j)),
                    0.0,
                    SIDE * 0.75_f64.sqrt() * f64::from(j),
                );
                let lay = move |tile: &Instance| Instance {
                    position: at,
                    ..*tile
                };
                first.iter().map(lay).collect::<Vec<_>>()
            })
            .collect();
        let plain = plan_picture(&Judge::new(&layout, repeated));
        let plain = highest(&autocorrelation(&plain), least);
        let power = power_by_frequency(&picture);
        let mut null: Vec<f64> = (0..50)
            .flat_map(|k| random_phases(&power, 1000 + k))
            .map(|p| highest(&autocorrelation(&p), least))
            .collect();
        null.sort_unstable_by(f64::total_cmp);
        let band = null[98];
        println!(
            "highest off-origin peak: {ours:.4}; of random phases {:.4} to {:.4}, 99 % {band:.4}; of one tile repeated {plain:.4}",
            null[0], null[99]
        );
        assert!(
            ours <= band,
            "a peak of {ours:.4}, by chance {band:.4} at most"
        );
        assert!(
            plain > 10.0 * band,
            "the plain repeat is at {plain:.4}: the measure is blind"
        );
    });
}
