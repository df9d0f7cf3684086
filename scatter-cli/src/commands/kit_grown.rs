//! `strew kit --grown`: the kinds that need no file, what each is for, how large it grows and how it
//! lies.

use std::time::Instant;

use scatter::error::Result;
use scatter::kit::{Kind, Piece, grow_all};

use super::kit::{lies, make_folder};
use super::kit_sheet::{self, Shown};
use super::scene::told;
use crate::args;
use crate::output::{Output, grouped, table_from};

/// Pictures in a row of the sheet.
const COLUMNS: u32 = 4;

pub(super) fn run(args: &args::Kit, output: &Output) -> Result<()> {
    let begun = Instant::now();
    output.progress("growing the kinds");
    let grown: Vec<Grown> = Kind::ALL.into_iter().map(Grown::new).collect();
    let heading = ["kind", "for", "size", "variants", "triangles", "lies"];
    let mut rows = vec![heading.map(String::from).to_vec()];
    rows.extend(grown.iter().map(Grown::row));
    let told_of = table_from(&rows, 2);
    if args.out.is_some() {
        output.detail(&told_of)?;
    } else {
        output.data(&told_of)?;
    }
    if let Some(folder) = &args.out {
        make_folder(folder)?;
        let shown: Vec<Shown<'_>> = grown.iter().map(Grown::shown).collect();
        let size = (args.width, Some(COLUMNS));
        kit_sheet::write(&folder.join("kit.png"), &shown, size, output)?;
        let what = format!("{} kinds", grown.len());
        told(output, folder, &what, begun.elapsed().as_secs_f64());
    }
    Ok(())
}

/// A kind with all its variants.
struct Grown {
    kind: Kind,
    pieces: Vec<Piece>,
}

impl Grown {
    fn new(kind: Kind) -> Self {
        Self {
            kind,
            pieces: grow_all(kind),
        }
    }

    /// Smallest and largest diameter as it grows.
    fn sizes(&self) -> String {
        let millimetres = self.pieces.iter().map(|p| p.measure.b_axis * 1e3);
        let (low, high) = ends(millimetres.map(|d| d.round() as u64));
        if low == high {
            format!("{low} mm")
        } else {
            format!("{low} to {high} mm")
        }
    }

    fn row(&self) -> Vec<String> {
        let (fewest, most) = ends(self.pieces.iter().map(Piece::triangles));
        let triangles = if fewest == most {
            grouped(most)
        } else {
            format!("{} to {}", grouped(fewest), grouped(most))
        };
        vec![
            self.kind.name().to_owned(),
            self.kind.about().to_owned(),
            self.sizes(),
            self.pieces.len().to_string(),
            triangles,
            lies(self.kind.lies()).to_owned(),
        ]
    }

    /// The variant that shows best what the kind is: the one of the most usual width and form, by
    /// medians.
    fn typical(&self) -> &Piece {
        // Logarithms, so that half as long is as far off as twice as long
        let form = |piece: &Piece| {
            let [x, y, z] = piece.measure.size.as_dvec3().to_array();
            [x / z, y / z, z].map(f64::ln)
        };
        let median = [0, 1, 2].map(|k| {
            let mut all: Vec<f64> = self.pieces.iter().map(|p| form(p)[k]).collect();
            all.sort_unstable_by(f64::total_cmp);
            all[all.len() / 2]
        });
        let off = |piece: &&Piece| {
            let form = form(piece);
            (0..3).map(|k| (form[k] - median[k]).powi(2)).sum::<f64>()
        };
        let nearest = self.pieces.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
        nearest.unwrap_or(&self.pieces[0])
    }

    /// A typical variant, for the sheet.
    fn shown(&self) -> Shown<'_> {
        Shown {
            piece: self.typical(),
            label: format!("{}  {}", self.kind.name(), self.sizes()),
        }
    }
}

/// The smallest and the largest of some numbers; zero of none.
fn ends(numbers: impl Iterator<Item = u64> + Clone) -> (u64, u64) {
    let (low, high) = (numbers.clone().min(), numbers.max());
    (low.unwrap_or(0), high.unwrap_or(0))
}
