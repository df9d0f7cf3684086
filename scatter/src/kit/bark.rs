//! Flakes of bark: curved plates of layers with a ragged outline, fissured outside, pale and smooth inside.

use glam::DVec3;

use super::{
    Kind,
    draw::Draw,
    shape::Shape,
    texture::{Texture, smoothstep},
};

/// Cells along the grain and across it.
const ALONG: u32 = 20;
const ACROSS: u32 = 11;

/// Grows a flake in the frame of a piece, with the cosine of its crease angle.
pub(crate) fn grow(variant: u32) -> (Shape, f64) {
    let mut draw = Draw::of(Kind::BarkFlake, variant);
    let texture = Texture::new(draw.seed());
    let wide = draw.range(0.016, 0.058);
    let long = wide * draw.range(1.25, 2.6);
    let thick = (wide * draw.range(0.07, 0.13)).min(0.006);
    // Bent about the grain as on its stem, and warped by drying.
    let bend = draw.range(0.5, 1.9) * draw.sign().max(-0.6);
    let warp = draw.range(-0.5, 0.5);
    let skew = draw.range(-0.35, 0.35);
    // Outer bark grey to red brown, inner side paler and warmer; linear.
    let outer = [
        DVec3::new(0.130, 0.105, 0.085),
        DVec3::new(0.155, 0.085, 0.052),
        DVec3::new(0.190, 0.165, 0.138),
    ][variant as usize % 3]
        * draw.range(0.8, 1.2);
    let inner = DVec3::new(0.33, 0.205, 0.115) * draw.range(0.8, 1.15);
    let lichen = draw.chance(0.3);

    let mut shape = Shape::default();
    // Ragged edges: long ones follow the grain, ends break in teeth along it.
    let edge = |t: f64, lane: f64| texture.fractal(DVec3::new(t * 2.2, lane, 0.5), 3, 0.65);
    let place = |i: u32, j: u32| {
        let (s, t) = (
            f64::from(i) / f64::from(ALONG) * 2.0 - 1.0,
            f64::from(j) / f64::from(ACROSS) * 2.0 - 1.0,
        );
        let tooth = |end: f64| 1.0 + 0.30 * edge(t * 3.1, end * 9.0 + 3.0) - 0.22 * t * t;
        let flank = |side: f64| 1.0 + 0.34 * edge(s * 1.3, side * 5.0 + 20.0) - 0.30 * s * s;
        let x = 0.5 * long * s * if s < 0.0 { tooth(-1.0) } else { tooth(1.0) };
        let z = 0.5 * wide * t * if t < 0.0 { flank(-1.0) } else { flank(1.0) };
        (s, t, x + skew * z, z)
    };
    // Layers: how many scales lie on each other here, less toward the edges.
    let build = |x: f64, z: f64, s: f64, t: f64| {
        let rim = (1.0 - s.abs().max(t.abs())).max(0.0);
        let level = 2.6 * rim.sqrt()
            + 1.1 * texture.fractal(DVec3::new(x * 2.2 / wide, 4.0, z * 2.2 / wide), 2, 0.5);
        let step = |k: f64| smoothstep(k, k + 0.16, level);
        0.25 + 0.28 * step(0.5) + 0.26 * step(1.15) + 0.21 * step(1.75)
    };
    let bent = |x: f64, y: f64, z: f64| {
        let turn = bend * z / wide;
        let radius = wide / if bend.abs() < 0.05 { 0.05 } else { bend };
        let warped = y + warp * x * x / long;
        let out = radius + warped;
        DVec3::new(x, out * libm::cos(turn) - radius, out * libm::sin(turn))
    };
    let mut sheets = Vec::new();
    for top in [true, false] {
        for i in 0..=ALONG {
            for j in 0..=ACROSS {
                let (s, t, x, z) = place(i, j);
                let rim = i == 0 || j == 0 || i == ALONG || j == ACROSS;
                if !top && rim {
                    continue;
                }
                let grain = DVec3::new(x * 3.0 / wide, 8.0, z * 16.0 / wide);
                let layers = build(x, z, s, t);
                let (height, color) = if top {
                    // Fissures run along the grain.
                    let fissure =
                        smoothstep(0.02, 0.30, texture.fractal(grain * 0.42, 2, 0.55).abs());
                    let fine = texture.at(grain);
                    let depth = if rim {
                        0.0
                    } else {
                        0.42 * (1.0 - fissure) - 0.09 * fine
                    };
                    let mut tone =
                        outer * (0.62 + 0.5 * layers + 0.35 * fine) * (0.40 + 0.60 * fissure);
                    // Broken edges show the inside of the bark.
                    if rim {
                        tone = tone.lerp(inner, 0.55);
                    }
                    let crust = smoothstep(
                        0.25,
                        0.5,
                        texture.fractal(DVec3::new(x, 0.0, z) * (3.5 / wide), 3, 0.6),
                    );
                    if lichen {
                        tone = tone.lerp(DVec3::new(0.30, 0.335, 0.25), 0.7 * crust);
                    }
                    (thick * (layers - depth).max(0.12), tone)
                } else {
                    let fibre = texture.at(grain * 0.8 + DVec3::splat(50.0));
                    (-thick * (0.12 + 0.06 * fibre), inner * (1.0 + 0.3 * fibre))
                };
                shape.push(bent(x, height, z), color);
            }
        }
        sheets.push(shape.positions.len() as u32);
    }
    // The sheets share their rim, so the flake is closed.
    let corner = |top: bool, i: u32, j: u32| {
        let rim = i == 0 || j == 0 || i == ALONG || j == ACROSS;
        if top || rim {
            i * (ACROSS + 1) + j
        } else {
            sheets[0] + (i - 1) * (ACROSS - 1) + (j - 1)
        }
    };
    for i in 0..ALONG {
        for j in 0..ACROSS {
            let [a, b, c, d] = [(i, j), (i, j + 1), (i + 1, j), (i + 1, j + 1)];
            let [a, b, c, d, e, f, g, h] = [a, b, c, d, a, b, c, d]
                .into_iter()
                .enumerate()
                .map(|(k, (i, j))| corner(k < 4, i, j))
                .collect::<Vec<_>>()[..]
            else {
                continue;
            };
            // The diagonal starts at the rim's corner: cut across it, both sheets would share the cut.
            if (i == 0 && j == 0) || (i + 1 == ALONG && j + 1 == ACROSS) {
                shape.quad(c, a, d, b);
                shape.quad(e, g, f, h);
            } else {
                shape.quad(a, b, c, d);
                shape.quad(e, g, f, h);
            }
        }
    }
    shape.settle();
    // cos 50 degrees: layer steps and the rim stay crisp.
    (shape, 0.64)
}
