//! A drawing as pixels: polygons by scan lines, with soft edges.

use super::super::glyphs;
use super::drawing::{Drawing, Ink, Shape};
use super::tones::{PAPER, Srgb8};

/// Scan lines a pixel; along a line, coverage is exact.
const LINES: u32 = 4;
/// Pixels a dash and the gap after it.
const DASH: f64 = 5.0;
/// Pixels a dot of a letter is wide.
const DOT: u32 = 2;

struct Canvas {
    width: usize,
    height: usize,
    rgb: Vec<u8>,
    /// Coverage of one row.
    row: Vec<f32>,
}

/// Paints a drawing.
pub(super) fn paint(drawing: &Drawing) -> ([u32; 2], Vec<u8>) {
    let size = drawing.frame.size;
    let [width, height] = size.map(|s| s as usize);
    let mut canvas = Canvas {
        width,
        height,
        rgb: PAPER.repeat(width * height),
        row: vec![0.0; width],
    };
    for shape in &drawing.shapes {
        match shape {
            Shape::Fill(polygons, ink) => {
                for polygon in polygons {
                    canvas.fill(polygon, ink.tone);
                }
            }
            Shape::Stroke(corners, ink) => canvas.stroke(corners, ink),
            Shape::Text([x, y], text, tone) => canvas.text(*x, *y, text, *tone),
        }
    }
    (size, canvas.rgb)
}

impl Canvas {
    /// Fills a polygon (even-odd).
    fn fill(&mut self, corners: &[[f64; 2]], tone: Srgb8) {
        let bound =
            |pick: fn(f64, f64) -> f64, start: f64| corners.iter().map(|c| c[1]).fold(start, pick);
        let top = bound(f64::min, f64::INFINITY).floor().max(0.0);
        let bottom = bound(f64::max, f64::NEG_INFINITY)
            .ceil()
            .min(self.height as f64);
        if top >= bottom || top.is_nan() {
            return;
        }
        let mut crossings: Vec<f64> = Vec::new();
        for y in top as usize..bottom as usize {
            self.row.fill(0.0);
            let mut any = false;
            for line in 0..LINES {
                let at = y as f64 + (f64::from(line) + 0.5) / f64::from(LINES);
                crossings.clear();
                for (i, a) in corners.iter().enumerate() {
                    let b = corners[(i + 1) % corners.len()];
                    if (a[1] <= at) != (b[1] <= at) {
                        crossings.push(a[0] + (b[0] - a[0]) * ((at - a[1]) / (b[1] - a[1])));
                    }
                }
                crossings.sort_by(f64::total_cmp);
                for pair in crossings.chunks_exact(2) {
                    any |= self.cover(pair[0], pair[1]);
                }
            }
            if any {
                self.blend(y, tone);
            }
        }
    }

    /// Adds one scan line's span to the row's coverage.
    fn cover(&mut self, from: f64, to: f64) -> bool {
        let (from, to) = (from.max(0.0), to.min(self.width as f64));
        if from >= to || from.is_nan() {
            return false;
        }
        for x in from as usize..(to.ceil() as usize).min(self.width) {
            let inside = to.min(x as f64 + 1.0) - from.max(x as f64);
            self.row[x] += (inside / f64::from(LINES)) as f32;
        }
        true
    }

    fn blend(&mut self, y: usize, tone: Srgb8) {
        for (x, share) in self.row.iter().enumerate() {
            if *share > 0.0 {
                let at = (y * self.width + x) * 3;
                for (pixel, ink) in self.rgb[at..at + 3].iter_mut().zip(tone) {
                    let old = f32::from(*pixel);
                    *pixel = (old + (f32::from(ink) - old) * share.min(1.0)).round() as u8;
                }
            }
        }
    }

    /// Draws a closed line.
    fn stroke(&mut self, corners: &[[f64; 2]], ink: &Ink) {
        for (i, a) in corners.iter().enumerate() {
            let b = corners[(i + 1) % corners.len()];
            let Some((a, b)) = self.clip(*a, b) else {
                continue;
            };
            let length = libm::hypot(b[0] - a[0], b[1] - a[1]);
            if length < 1e-9 {
                continue;
            }
            let along = [(b[0] - a[0]) / length, (b[1] - a[1]) / length];
            let half = 0.5 * ink.width;
            let (step, dash) = if ink.dashed {
                (2.0 * DASH, DASH)
            } else {
                (length, length)
            };
            let mut from = 0.0;
            while from < length {
                let to = (from + dash).min(length);
                let [s, e] = [from, to].map(|t| [a[0] + along[0] * t, a[1] + along[1] * t]);
                let (nx, nz) = (-along[1] * half, along[0] * half);
                let quad = [
                    [s[0] + nx, s[1] + nz],
                    [e[0] + nx, e[1] + nz],
                    [e[0] - nx, e[1] - nz],
                    [s[0] - nx, s[1] - nz],
                ];
                self.fill(&quad, ink.tone);
                from += step;
            }
        }
    }

    /// The part of a segment near the canvas: a view to the horizon has corners far out. Based on:
    /// Liang and Barsky, "A new concept and method for line clipping", 1984.
    fn clip(&self, a: [f64; 2], b: [f64; 2]) -> Option<([f64; 2], [f64; 2])> {
        let high = [self.width as f64 + DASH, self.height as f64 + DASH];
        let (mut first, mut last) = (0.0_f64, 1.0_f64);
        for k in 0..2 {
            let d = b[k] - a[k];
            for (p, q) in [(-d, a[k] + DASH), (d, high[k] - a[k])] {
                if p == 0.0 {
                    if q < 0.0 {
                        return None;
                    }
                } else if p < 0.0 {
                    first = first.max(q / p);
                } else {
                    last = last.min(q / p);
                }
            }
        }
        let at = |t: f64| [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t];
        (first < last).then(|| (at(first), at(last)))
    }

    fn text(&mut self, x: f64, y: f64, text: &str, tone: Srgb8) {
        let (x, y) = (x.round(), y.round() - f64::from(glyphs::HEIGHT * DOT) / 2.0);
        for (dx, dy) in glyphs::dots(text) {
            for (i, j) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                let px = x + f64::from(DOT * dx + i);
                let py = y + f64::from(DOT * dy + j);
                if px >= 0.0 && py >= 0.0 && px < self.width as f64 && py < self.height as f64 {
                    let at = (py as usize * self.width + px as usize) * 3;
                    self.rgb[at..at + 3].copy_from_slice(&tone);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn canvas() -> Canvas {
        Canvas {
            width: 20,
            height: 10,
            rgb: vec![0; 600],
            row: vec![0.0; 20],
        }
    }

    #[test]
    fn a_polygon_covers_its_area() {
        let mut c = canvas();
        // A square of 5.5 x 4 pixels and a triangle of area 4
        c.fill(
            &[[2.25, 3.0], [7.75, 3.0], [7.75, 7.0], [2.25, 7.0]],
            [200, 0, 0],
        );
        c.fill(&[[10.0, 2.0], [14.0, 4.0], [10.0, 4.0]], [0, 200, 0]);
        let sum = |channel: usize| {
            let all = c.rgb.iter().skip(channel).step_by(3);
            all.map(|v| f64::from(*v) / 200.0).sum::<f64>()
        };
        assert!((sum(0) - 22.0).abs() < 0.1, "{}", sum(0));
        assert!((sum(1) - 4.0).abs() < 0.15, "{}", sum(1));
    }

    #[test]
    fn lines_from_far_out_cross_the_canvas() {
        let mut c = canvas();
        c.stroke(&[[-1e9, 5.0], [1e9, 5.0]], &Ink::line([200; 3], 2.0));
        let lit = c.rgb.iter().filter(|v| **v == 200).count();
        assert_eq!(lit, 2 * 20 * 3);
    }
}
