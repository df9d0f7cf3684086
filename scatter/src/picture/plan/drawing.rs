//! What is drawn, in metres, before it becomes text or pixels.

use super::tones::{self, Srgb8};
use crate::picture::lettering;

/// Longest side of a drawing over its width: a plan of a long view stays a picture.
const TALLEST: f64 = 2.0;
/// Room left of a mark's label, and between lines of the legend, pixels.
const ROOM: f64 = 6.0;
/// Height of a line of text, pixels.
const LINE: f64 = 18.0;
/// From one letter to the next, pixels.
const LETTER: f64 = lettering::STEP as f64;
/// From the middle of a line of text down to where its letters stand, pixels.
pub(super) const BASE: f64 = 0.5 * lettering::CAPITAL as f64;
/// A dash, and the gap after it, pixels: told from a full line at a glance.
pub(super) const DASH: f64 = 5.0;
/// Lines that a label may go up or down to find room.
const MOST_LINES: u32 = 16;

/// The ground that is shown and how many pixels a metre takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Frame {
    /// Least and greatest x and z: `[x0, z0, x1, z1]`.
    window: [f64; 4],
    /// Pixels a metre.
    pub(super) scale: f64,
    /// Width and height, pixels, with the band above the ground.
    pub(super) size: [u32; 2],
    /// Height of the band for the legend above the ground, pixels.
    pub(super) band: u32,
}

/// What a drawing says of itself, in a band above the ground, so that it hides none of it.
#[derive(Debug, Clone)]
pub(super) struct Legend {
    pub(super) title: String,
    /// What each tone is.
    pub(super) tones: Vec<(String, Srgb8)>,
    /// What lines and marks mean.
    pub(super) keys: Vec<&'static str>,
}

impl Legend {
    /// Width of the title and the tones, pixels.
    fn wide(&self) -> f64 {
        let texts = self.tones.iter().map(|(text, _)| text).chain([&self.title]);
        let longest = texts.map(|text| text.chars().count()).max();
        longest.unwrap_or(0) as f64 * LETTER + 6.0 * ROOM
    }

    /// Whether the keys stand to the right of the tones in a drawing of a width, pixels.
    fn beside(&self, width: u32) -> bool {
        let longest = self.keys.iter().map(|text| text.chars().count()).max();
        self.wide() + longest.unwrap_or(0) as f64 * LETTER + ROOM <= f64::from(width)
    }

    /// Its lines in a drawing of a width, pixels.
    fn lines(&self, width: u32) -> usize {
        let left = 1 + self.tones.len();
        if self.beside(width) {
            left.max(self.keys.len())
        } else {
            left + self.keys.len()
        }
    }
}

impl Frame {
    /// A frame `width` pixels wide; a window that would be too tall is scaled down, and its sides
    /// are widened.
    pub(super) fn new(mut window: [f64; 4], width: u32) -> Self {
        let (across, down) = (window[2] - window[0], window[3] - window[1]);
        let wide = across.max(down / TALLEST);
        let spare = 0.5 * (wide - across);
        window[0] -= spare;
        window[2] += spare;
        let scale = f64::from(width) / wide;
        let height = (down * scale).round().max(1.0) as u32;
        Self {
            window,
            scale,
            size: [width, height],
            band: 0,
        }
    }

    /// The same with a band for a legend above the ground.
    pub(super) fn under(mut self, legend: &Legend) -> Self {
        self.band = (legend.lines(self.size[0]) as f64 * LINE + 2.0 * ROOM) as u32;
        self.size[1] += self.band;
        self
    }

    /// Pixels from the left and the top.
    pub(super) fn place(&self, [x, z]: [f64; 2]) -> [f64; 2] {
        [
            (x - self.window[0]) * self.scale,
            (z - self.window[1]) * self.scale + f64::from(self.band),
        ]
    }

    /// Width and height in metres.
    pub(super) fn extent(&self) -> [f64; 2] {
        [
            self.window[2] - self.window[0],
            self.window[3] - self.window[1],
        ]
    }

    /// Whether an outline lies in the frame, at least in part, and is `finest` pixels wide or
    /// wider.
    pub(super) fn shows(&self, corners: &[[f64; 2]], finest: f64) -> bool {
        let mut b = [
            f64::INFINITY,
            f64::INFINITY,
            f64::NEG_INFINITY,
            f64::NEG_INFINITY,
        ];
        for [x, z] in corners {
            b = [b[0].min(*x), b[1].min(*z), b[2].max(*x), b[3].max(*z)];
        }
        let wide = (b[2] - b[0]).max(b[3] - b[1]) * self.scale;
        let w = self.window;
        wide >= finest && b[0] < w[2] && b[2] > w[0] && b[1] < w[3] && b[3] > w[1]
    }
}

/// How a shape is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ink {
    pub(super) tone: Srgb8,
    /// Width of a line, pixels.
    pub(super) width: f64,
    pub(super) dashed: bool,
}

impl Ink {
    pub(super) fn solid(tone: Srgb8) -> Self {
        Self::line(tone, 0.0)
    }

    pub(super) fn line(tone: Srgb8, width: f64) -> Self {
        Self {
            tone,
            width,
            dashed: false,
        }
    }

    pub(super) fn dashed(self) -> Self {
        Self {
            dashed: true,
            ..self
        }
    }
}

/// One thing on the drawing, in pixels.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Shape {
    /// Filled polygons.
    Fill(Vec<Vec<[f64; 2]>>, Ink),
    /// Filled polygons, each with what is told of it where the pointer rests on it.
    Titled(Vec<(Vec<[f64; 2]>, String)>, Ink),
    /// A closed line.
    Stroke(Vec<[f64; 2]>, Ink),
    /// Text with its left end and its middle line.
    Text([f64; 2], String, Srgb8),
}

/// Shapes, the lowest first.
#[derive(Debug, Clone)]
pub(super) struct Drawing {
    pub(super) frame: Frame,
    pub(super) shapes: Vec<Shape>,
    /// Labels that have no place yet: where they should begin, pixels.
    labels: Vec<([f64; 2], String, Srgb8)>,
    /// What no label may cover: left, top, right and bottom, pixels.
    taken: Vec<[f64; 4]>,
}

impl Drawing {
    pub(super) fn new(frame: Frame) -> Self {
        Self {
            frame,
            shapes: Vec::new(),
            labels: Vec::new(),
            taken: Vec::new(),
        }
    }

    fn placed(&self, corners: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
        corners.into_iter().map(|p| self.frame.place(p)).collect()
    }

    /// Fills polygons given in metres.
    pub(super) fn fill(&mut self, polygons: Vec<Vec<[f64; 2]>>, ink: Ink) {
        let polygons = polygons.into_iter().map(|p| self.placed(p)).collect();
        self.shapes.push(Shape::Fill(polygons, ink));
    }

    /// Fills polygons given in metres, each with its title.
    pub(super) fn fill_titled(&mut self, polygons: Vec<(Vec<[f64; 2]>, String)>, ink: Ink) {
        let polygons = polygons.into_iter().map(|(p, t)| (self.placed(p), t));
        let shape = Shape::Titled(polygons.collect(), ink);
        self.shapes.push(shape);
    }

    /// Draws a closed line through places in metres.
    pub(super) fn stroke(&mut self, corners: Vec<[f64; 2]>, ink: Ink) {
        let corners = self.placed(corners);
        self.shapes.push(Shape::Stroke(corners, ink));
    }

    /// A label beside a place in metres; drawn by [`Self::place_labels`].
    pub(super) fn label(&mut self, at: [f64; 2], text: &str, tone: Srgb8) {
        let [x, y] = self.frame.place(at);
        self.labels.push(([x + 2.0 * ROOM, y], text.into(), tone));
    }

    /// Draws the labels so that none covers another, the legend or the scale bar, or runs out of
    /// the frame: each goes up or down by lines until it is free. The first come first; one that
    /// finds no room near its place is left out.
    pub(super) fn place_labels(&mut self) {
        let [width, height] = self.frame.size.map(f64::from);
        for ([x, y], text, tone) in std::mem::take(&mut self.labels) {
            let long = text.chars().count() as f64 * LETTER;
            let inside = |v: f64, most: f64| v.min(most).max(ROOM);
            let x = inside(x, width - ROOM - long);
            let y = inside(y, height - ROOM - 0.5 * LINE).max(ROOM + 0.5 * LINE);
            let steps = (0..=MOST_LINES).flat_map(|i| [f64::from(i), -f64::from(i)]);
            let free = steps.map(|step| y + step * LINE).find(|y| {
                let (top, bottom) = (y - 0.5 * LINE, y + 0.5 * LINE);
                let apart =
                    |b: &[f64; 4]| x >= b[2] || x + long <= b[0] || top >= b[3] || bottom <= b[1];
                top >= 0.0 && bottom <= height && self.taken.iter().all(apart)
            });
            if let Some(y) = free {
                self.taken
                    .push([x, y - 0.5 * LINE, x + long, y + 0.5 * LINE]);
                self.rectangle([x, y - 0.5 * LINE], [long, LINE], tones::PAPER);
                self.shapes.push(Shape::Text([x, y], text, tone));
            }
        }
    }

    /// A small lozenge at a place in metres.
    pub(super) fn mark(&mut self, at: [f64; 2], tone: Srgb8) {
        let [x, y] = self.frame.place(at);
        let corners = vec![[x - ROOM, y], [x, y - ROOM], [x + ROOM, y], [x, y + ROOM]];
        self.shapes
            .push(Shape::Fill(vec![corners], Ink::solid(tone)));
    }

    fn rectangle(&mut self, [x, y]: [f64; 2], [w, h]: [f64; 2], tone: Srgb8) {
        let corners = vec![[x, y], [x + w, y], [x + w, y + h], [x, y + h]];
        self.shapes
            .push(Shape::Fill(vec![corners], Ink::solid(tone)));
    }

    /// The legend, in its band.
    pub(super) fn legend(&mut self, legend: &Legend) {
        let [width, band] = [self.frame.size[0], self.frame.band].map(f64::from);
        // What reaches over the ground's upper border ends there
        self.rectangle([0.0, 0.0], [width, band], tones::PAPER);
        self.taken.push([0.0, 0.0, width, band]);
        let row = |i: usize| ROOM + (i as f64 + 0.5) * LINE;
        let title = legend.title.clone();
        self.shapes
            .push(Shape::Text([2.0 * ROOM, row(0)], title, tones::INK));
        for (i, (text, tone)) in legend.tones.iter().enumerate() {
            let y = row(i + 1);
            self.rectangle([2.0 * ROOM, y - ROOM], [2.0 * ROOM, 2.0 * ROOM], *tone);
            self.shapes
                .push(Shape::Text([5.0 * ROOM, y], text.clone(), tones::INK));
        }
        let (x, first) = if legend.beside(self.frame.size[0]) {
            (legend.wide(), 0)
        } else {
            (2.0 * ROOM, 1 + legend.tones.len())
        };
        for (i, text) in legend.keys.iter().enumerate() {
            let text = (*text).to_owned();
            self.shapes
                .push(Shape::Text([x, row(first + i)], text, tones::INK));
        }
    }

    /// A bar of a round length, about a fifth of the width, at the lower left.
    pub(super) fn scale_bar(&mut self) {
        let length = round_length(0.2 * f64::from(self.frame.size[0]) / self.frame.scale);
        let wide = length * self.frame.scale;
        let bottom = f64::from(self.frame.size[1]);
        let at = [2.0 * ROOM, bottom - 2.5 * ROOM];
        let paper = [at[0] - ROOM, at[1] - LINE - ROOM];
        let size = [wide + 2.0 * ROOM, LINE + 3.0 * ROOM];
        self.rectangle(paper, size, tones::PAPER);
        self.taken
            .push([paper[0], paper[1], paper[0] + size[0], paper[1] + size[1]]);
        self.rectangle(at, [wide, ROOM], tones::INK);
        self.rectangle(
            [at[0] + 1.0, at[1] + 1.0],
            [0.5 * wide, ROOM - 2.0],
            tones::PAPER,
        );
        let text = if length < 1.0 {
            format!("{} mm", (length * 1e3).round())
        } else {
            format!("{length} m")
        };
        self.shapes
            .push(Shape::Text([at[0], at[1] - 0.5 * LINE], text, tones::INK));
    }
}

/// The largest of 1, 2 and 5 times a power of ten that is no longer than `most`, metres.
fn round_length(most: f64) -> f64 {
    let power = libm::floor(libm::log10(most));
    let unit = libm::pow(10.0, power);
    let best = [1.0, 2.0, 5.0]
        .into_iter()
        .filter(|m| m * unit <= most * (1.0 + 1e-9))
        .fold(1.0, f64::max);
    // A millionth of a millimetre is no length of ground: tidies the last digits of the product
    libm::round(best * unit * 1e9) / 1e9
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_have_round_lengths() {
        for (most, bar) in [
            (0.37, 0.2),
            (1.0, 1.0),
            (4.99, 2.0),
            (5.0, 5.0),
            (0.001, 0.001),
            (730.0, 500.0),
        ] {
            assert_eq!(round_length(most), bar, "{most}");
        }
    }

    #[test]
    fn labels_keep_apart_and_in_the_frame() {
        let mut drawing = Drawing::new(Frame::new([0.0, 0.0, 1.0, 0.5], 400));
        for _ in 0..40 {
            drawing.label([0.99, 0.01], "0.5-1.0 mm", tones::INK);
        }
        let legend = Legend {
            title: "trial".into(),
            tones: Vec::new(),
            keys: Vec::new(),
        };
        drawing.legend(&legend);
        drawing.scale_bar();
        let before = drawing.shapes.len();
        drawing.place_labels();
        let boxes: Vec<[f64; 4]> = drawing.shapes[before..]
            .iter()
            .filter_map(|shape| match shape {
                Shape::Text([x, y], text, _) => {
                    let long = text.chars().count() as f64 * LETTER;
                    Some([*x, y - 0.5 * LINE, x + long, y + 0.5 * LINE])
                }
                _ => None,
            })
            .collect();
        // Eleven lines of 18 pixels fit into 200
        assert!((8..=11).contains(&boxes.len()), "{}", boxes.len());
        for (i, a) in boxes.iter().enumerate() {
            assert!(a[0] >= 0.0 && a[1] >= 0.0 && a[2] <= 400.0 && a[3] <= 200.0);
            let apart = |b: &[f64; 4]| a[2] <= b[0] || a[0] >= b[2] || a[3] <= b[1] || a[1] >= b[3];
            assert!(boxes[..i].iter().all(apart), "{i}");
        }
    }

    #[test]
    fn a_legend_stands_above_the_ground() {
        let legend = Legend {
            title: "trial".into(),
            tones: vec![("stones 4".into(), tones::INK)],
            keys: vec!["line: a frame", "dashed: a region", "lozenge: a camera"],
        };
        for (width, lines) in [(600, 3.0), (200, 5.0)] {
            let plain = Frame::new([0.0, 0.0, 1.0, 0.5], width);
            let frame = plain.under(&legend);
            let band = lines * LINE + 2.0 * ROOM;
            assert_eq!(f64::from(frame.band), band, "{width}");
            assert_eq!(frame.size, [width, plain.size[1] + frame.band]);
            assert_eq!(frame.place([0.0, 0.0]), [0.0, band]);
            assert_eq!(frame.extent(), plain.extent());
            let mut drawing = Drawing::new(frame);
            drawing.legend(&legend);
            let texts = drawing.shapes.iter().filter_map(|shape| match shape {
                Shape::Text(at, _, _) => Some(at),
                Shape::Fill(..) | Shape::Titled(..) | Shape::Stroke(..) => None,
            });
            let inside = |at: &&[f64; 2]| at[1] > 0.0 && at[1] < band;
            assert_eq!(texts.filter(inside).count(), 5, "{width}");
        }
    }

    #[test]
    fn a_long_window_is_widened_to_scale() {
        let frame = Frame::new([0.0, 0.0, 1.0, 10.0], 200);
        assert_eq!(frame.size, [200, 400]);
        assert_eq!(frame.extent(), [5.0, 10.0]);
        assert_eq!(frame.place([0.5, 0.0]), [100.0, 0.0]);
    }
}
