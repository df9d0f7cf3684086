//! `layout.csv`: one instance a line under a header, for spreadsheets and scripts.
//!
//! Source: Shafranovich, "Common Format and MIME Type for Comma-Separated Values (CSV) Files", RFC
//! 4180, 2005; lines end with a line feed alone, which readers of that form take too. Unit and axes
//! are in `report.json`: a comment in the file would not be of the form.

use super::exporter::{Exporter, PlannedFile, Writer};
use crate::error::Result;
use std::io::{self, Write};

use super::json;
use super::lines;
use super::space::Conversion;
use crate::layout::{Instance, Layout, Tints};

/// The header.
pub const HEADER: &str = "id,pass,piece,x,y,z,qx,qy,qz,qw,scale,diameter";

/// What the header has more where a layer has a tone: the factor on the piece's own linear colours,
/// empty for what keeps them.
pub const TINT_HEADER: &str = ",tint_r,tint_g,tint_b";

/// Writes these of the layout's instances in a space.
pub(super) fn write<W: Write + Send>(
    layout: &Layout,
    instances: &[Instance],
    way: &Conversion,
    out: &mut W,
) -> io::Result<()> {
    let names = |name: &String| quoted(name);
    let passes: Vec<String> = layout.passes.iter().map(|p| names(&p.name)).collect();
    let pieces: Vec<String> = layout.pieces.iter().map(|p| names(&p.name)).collect();
    let tints = Tints::of(layout);
    let more = if tints.is_empty() { "" } else { TINT_HEADER };
    writeln!(out, "{HEADER}{more}")?;
    if instances.is_empty() {
        return Ok(());
    }
    lines::write(
        instances,
        "\n",
        |text, instance| {
            text.hexadecimal(instance.id);
            for name in [
                &passes[usize::from(instance.pass)],
                &pieces[usize::from(instance.piece)],
            ] {
                text.text(",");
                text.text(name);
            }
            text.text(",");
            text.place(instance.position, way, ",");
            text.text(",");
            text.all(way.rotation(instance.rotation), ",");
            text.text(",");
            text.all([instance.scale, json::diameter(instance, way)], ",");
            match tints.tint(instance) {
                Some(tint) => {
                    text.text(",");
                    text.all(tint, ",");
                }
                None if tints.is_empty() => {}
                None => text.text(",,,"),
            }
        },
        out,
    )?;
    out.write_all(b"\n")
}

/// A field, in quotes where the form asks for them.
fn quoted(field: &str) -> String {
    if field.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", field.replace('"', "\"\""))
    } else {
        field.to_owned()
    }
}

/// The `csv` format.
pub(super) struct Csv;

impl Exporter for Csv {
    fn name(&self) -> [&'static str; 2] {
        ["layout", "csv"]
    }

    fn plan<'a>(&self, file: &'a PlannedFile<'a>) -> Result<Writer<'a>> {
        let (layout, instances) = (file.contents.layout, file.contents.instances);
        Ok(Box::new(move |out| {
            write(layout, instances, &file.way(), out)
        }))
    }
}
