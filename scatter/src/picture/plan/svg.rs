//! A drawing as SVG 1.1 text, one unit a pixel.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;

use super::Plan;
use super::drawing::{BASE, DASH, Drawing, Shape};
use super::tones::{PAPER, Srgb8};
use crate::error::Result;
use crate::picture::file::replace;
use crate::picture::lettering::{FAMILY, SIZE};

/// Writes the plan as an SVG file, which appears whole or not at all.
///
/// # Errors
/// The disk refuses.
pub fn write_svg(path: &Path, plan: &Plan) -> Result<()> {
    replace(path, |out| out.write_all(text(&plan.drawing).as_bytes()))
}

/// The drawing as text. Writing to a `String` can't fail.
pub(super) fn text(drawing: &Drawing) -> String {
    let [w, h] = drawing.frame.size;
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}\" height=\"{h}\" viewBox=\"0 0 {w} {h}\">\n\
         <rect width=\"{w}\" height=\"{h}\" fill=\"{}\"/>\n",
        hex(PAPER)
    );
    for shape in &drawing.shapes {
        match shape {
            Shape::Fill(polygons, ink) if !polygons.is_empty() => {
                let _ = write!(out, "<path fill=\"{}\" d=\"", hex(ink.tone));
                for polygon in polygons {
                    outline(&mut out, polygon);
                }
                out.push_str("\"/>\n");
            }
            Shape::Fill(..) => {}
            Shape::Titled(polygons, ink) => {
                let _ = writeln!(out, "<g fill=\"{}\">", hex(ink.tone));
                for (polygon, title) in polygons {
                    out.push_str("<path d=\"");
                    outline(&mut out, polygon);
                    let _ = writeln!(out, "\"><title>{}</title></path>", escaped(title));
                }
                out.push_str("</g>\n");
            }
            Shape::Stroke(corners, ink) => {
                let dashes = if ink.dashed {
                    format!(" stroke-dasharray=\"{DASH}\"")
                } else {
                    String::new()
                };
                let _ = write!(
                    out,
                    "<path fill=\"none\" stroke=\"{}\" stroke-width=\"{}\"{dashes} d=\"",
                    hex(ink.tone),
                    ink.width
                );
                outline(&mut out, corners);
                out.push_str("\"/>\n");
            }
            Shape::Text([x, y], words, tone) => {
                let _ = writeln!(
                    out,
                    "<text x=\"{x:.1}\" y=\"{:.1}\" font-family=\"'{FAMILY}', monospace\" \
                     font-size=\"{SIZE}\" fill=\"{}\">{}</text>",
                    y + BASE,
                    hex(*tone),
                    escaped(words)
                );
            }
        }
    }
    out.push_str("</svg>\n");
    out
}

/// A closed path, to a hundredth of a pixel.
fn outline(out: &mut String, corners: &[[f64; 2]]) {
    for (i, [x, y]) in corners.iter().enumerate() {
        let _ = write!(out, "{}{x:.2} {y:.2}", if i == 0 { 'M' } else { 'L' });
    }
    out.push('Z');
}

fn hex([r, g, b]: Srgb8) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// Text as XML holds it.
fn escaped(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '&' => "&amp;".into(),
            '<' => "&lt;".into(),
            '>' => "&gt;".into(),
            c => c.to_string(),
        })
        .collect()
}
