//! A drawing as pixels.

use tiny_skia::{FillRule, Paint, Path, PathBuilder, Pixmap, Stroke, StrokeDash, Transform};

use super::super::lettering;
use super::drawing::{BASE, DASH, Drawing, Ink, Shape};
use super::tones::{PAPER, Srgb8};

struct Canvas(Pixmap);

/// Paints a drawing; one that is too large for any picture has no pixels.
pub(super) fn paint(drawing: &Drawing) -> ([u32; 2], Vec<u8>) {
    let size = drawing.frame.size;
    let Some(mut canvas) = Canvas::new(size, PAPER) else {
        return (size, Vec::new());
    };
    for shape in &drawing.shapes {
        match shape {
            Shape::Fill(polygons, ink) => {
                for polygon in polygons {
                    canvas.fill(polygon, ink.tone);
                }
            }
            Shape::Titled(polygons, ink) => {
                for (polygon, _) in polygons {
                    canvas.fill(polygon, ink.tone);
                }
            }
            Shape::Stroke(corners, ink) => canvas.stroke(corners, ink),
            Shape::Text([x, y], text, tone) => canvas.text(*x, *y, text, *tone),
        }
    }
    (size, canvas.rgb())
}

fn inked([r, g, b]: Srgb8) -> Paint<'static> {
    let mut paint = Paint::default();
    paint.set_color_rgba8(r, g, b, u8::MAX);
    paint
}

impl Canvas {
    fn new([width, height]: [u32; 2], [r, g, b]: Srgb8) -> Option<Self> {
        let mut pixels = Pixmap::new(width, height)?;
        pixels.fill(tiny_skia::Color::from_rgba8(r, g, b, u8::MAX));
        Some(Self(pixels))
    }

    /// Three bytes a pixel.
    fn rgb(&self) -> Vec<u8> {
        let pixels = self.0.pixels().iter();
        pixels
            .flat_map(|p| [p.red(), p.green(), p.blue()])
            .collect()
    }

    /// Fills a polygon (even-odd).
    fn fill(&mut self, corners: &[[f64; 2]], tone: Srgb8) {
        let mut path = PathBuilder::new();
        for (i, [x, y]) in corners.iter().map(|c| c.map(|v| v as f32)).enumerate() {
            if i == 0 {
                path.move_to(x, y);
            } else {
                path.line_to(x, y);
            }
        }
        path.close();
        if let Some(path) = path.finish() {
            let rule = FillRule::EvenOdd;
            self.0
                .fill_path(&path, &inked(tone), rule, Transform::identity(), None);
        }
    }

    /// Draws a closed line.
    fn stroke(&mut self, corners: &[[f64; 2]], ink: &Ink) {
        let Some(path) = self.line(corners) else {
            return;
        };
        let dash = ink.dashed.then(|| vec![DASH as f32; 2]);
        let stroke = Stroke {
            width: ink.width as f32,
            dash: dash.and_then(|dash| StrokeDash::new(dash, 0.0)),
            ..Stroke::default()
        };
        self.0.stroke_path(
            &path,
            &inked(ink.tone),
            &stroke,
            Transform::identity(),
            None,
        );
    }

    /// What of a closed line is near the canvas.
    fn line(&self, corners: &[[f64; 2]]) -> Option<Path> {
        let mut path = PathBuilder::new();
        let (mut pen, mut whole) = (None, true);
        for (i, a) in corners.iter().enumerate() {
            let b = corners[(i + 1) % corners.len()];
            let Some((from, to)) = self.clip(*a, b) else {
                whole = false;
                continue;
            };
            whole &= from == *a && to == b;
            if pen != Some(from) {
                path.move_to(from[0] as f32, from[1] as f32);
            }
            path.line_to(to[0] as f32, to[1] as f32);
            pen = Some(to);
        }
        if whole {
            path.close();
        }
        path.finish()
    }

    /// The part of a segment near the canvas: a view to the horizon has corners far out. Based on:
    /// Liang and Barsky, "A new concept and method for line clipping", 1984.
    fn clip(&self, a: [f64; 2], b: [f64; 2]) -> Option<([f64; 2], [f64; 2])> {
        let high = [self.0.width(), self.0.height()].map(|side| f64::from(side) + DASH);
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
        (first < last).then(|| (at(first), if last < 1.0 { at(last) } else { b }))
    }

    fn text(&mut self, x: f64, y: f64, text: &str, tone: Srgb8) {
        let [width, height] = [self.0.width(), self.0.height()].map(i64::from);
        let (x, y) = (x.round() as i64, (y + BASE).round() as i64);
        let bytes = self.0.data_mut();
        lettering::draw(text, |dx, dy, share| {
            let (x, y) = (x + dx, y + dy);
            if (0..width).contains(&x) && (0..height).contains(&y) {
                // Red, green, blue and an opaque fourth
                let at = (y * width + x) as usize * 4;
                lettering::blend(&mut bytes[at..at + 3], tone, share);
            }
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn canvas() -> Canvas {
        Canvas::new([20, 10], [0; 3]).unwrap()
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
            let rgb = c.rgb();
            let all = rgb.iter().skip(channel).step_by(3);
            all.map(|v| f64::from(*v) / 200.0).sum::<f64>()
        };
        assert!((sum(0) - 22.0).abs() < 0.1, "{}", sum(0));
        assert!((sum(1) - 4.0).abs() < 0.15, "{}", sum(1));
    }

    #[test]
    fn lines_from_far_out_cross_the_canvas() {
        let mut c = canvas();
        c.stroke(&[[-1e9, 5.0], [1e9, 5.0]], &Ink::line([200; 3], 2.0));
        let lit = c.rgb().iter().filter(|v| **v == 200).count();
        assert_eq!(lit, 2 * 20 * 3);
    }

    #[test]
    fn a_closed_line_has_whole_corners() {
        let mut c = canvas();
        let square = [[4.0, 2.0], [16.0, 2.0], [16.0, 8.0], [4.0, 8.0]];
        c.stroke(&square, &Ink::line([200; 3], 2.0));
        let rgb = c.rgb();
        for [x, y] in [[3, 1], [16, 1], [16, 8], [3, 8]] {
            assert_eq!(rgb[3 * (20 * y + x)], 200, "{x} {y}");
        }
        assert_eq!(
            rgb.iter().filter(|v| **v == 200).count(),
            3 * (14 * 8 - 10 * 4)
        );
    }
}
