//! `strew compare`: what differs between two layouts.

use std::path::Path;
use std::process::ExitCode;

use scatter::deliver::compare::{self, Difference, PieceChange, Tolerance};
use scatter::deliver::manifest::problem_of_layout;
use scatter::error::{Error, Result};
use scatter::picture::plan::{Plan, write_svg};

use super::scene::write_png;
use crate::args::Compare;
use crate::output::{Output, grouped, table};

/// Exit status of layouts that differ, as diff has it.
const DIFFERENT: u8 = 1;

pub(crate) fn run(args: &Compare, output: &Output) -> ExitCode {
    match compared(args, output) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::from(DIFFERENT),
        Err(error) => output.trouble(&error),
    }
}

/// Whether the layouts are the same.
fn compared(args: &Compare, output: &Output) -> Result<bool> {
    let options = [
        ("--moved", args.moved),
        ("--turned", args.turned),
        ("--scaled", args.scaled),
    ];
    for (option, value) in options {
        if !(value >= 0.0 && value.is_finite()) {
            let what = format!("{value} is no tolerance");
            return Err(Error::input(option, what, "0 or more"));
        }
    }
    let drawing = args.out.as_deref().map(kind_of).transpose()?;
    let first = compare::read(&args.first)?;
    let second = compare::read(&args.second)?;
    for file in [&args.first, &args.second] {
        if let Some(problem) = problem_of_layout(file) {
            output.warn(file, &problem);
        }
    }
    let tolerance = Tolerance {
        moved: args.moved,
        turned: args.turned.to_radians(),
        scaled: args.scaled,
    };
    let difference = compare::compare(&first, &second, &tolerance);
    output.data(&report(&difference, args.list))?;
    if first.take != second.take {
        output.say(&format!(
            "takes {} and {}: an id names another piece in another take",
            first.take, second.take
        ));
    }
    if let (Some(path), Some(kind)) = (&args.out, drawing) {
        let plan = Plan::of_difference(&first, &second, &difference, args.width)?;
        match kind {
            Drawing::Svg => write_svg(path, &plan)?,
            Drawing::Png => {
                let (size, rgb) = plan.to_pixels();
                write_png(path, size, &rgb)?;
            }
        }
        output.say(&path.display().to_string());
    }
    Ok(difference.is_none())
}

#[derive(Clone, Copy)]
enum Drawing {
    Svg,
    Png,
}

fn kind_of(path: &Path) -> Result<Drawing> {
    match path.extension().and_then(|e| e.to_str()) {
        Some("svg") => Ok(Drawing::Svg),
        Some("png") => Ok(Drawing::Png),
        _ => Err(Error::input(
            "--out",
            format!("{} is neither .png nor .svg", path.display()),
            "name a file such as difference.png",
        )),
    }
}

/// A line a pass, then a line a piece, at most `most` of those.
fn report(difference: &Difference<'_>, most: usize) -> String {
    let head = [
        "pass",
        "first",
        "second",
        "only first",
        "only second",
        "moved",
        "turned",
        "scaled",
        "other",
    ];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for (name, d) in &difference.passes {
        let mut row = vec![(*name).to_owned()];
        let numbers = [
            d.pieces[0],
            d.pieces[1],
            d.only[0],
            d.only[1],
            d.moved,
            d.turned,
            d.scaled,
            d.other,
        ];
        row.extend(numbers.map(grouped));
        rows.push(row);
    }
    let mut text = table(&rows);
    if difference.changes.is_empty() || most == 0 {
        return text;
    }
    text.push('\n');
    let head = ["id", "pass", "piece", "what"];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for (id, change) in difference.changes.iter().take(most) {
        let (placed, what) = match change {
            PieceChange::OnlyFirst(placed) => (placed, "only first".to_owned()),
            PieceChange::OnlySecond(placed) => (placed, "only second".to_owned()),
            PieceChange::Changed { first, second, by } => {
                let mut words = Vec::new();
                if by.moved > 0.0 {
                    words.push(format!("moved {:.3} mm", by.moved * 1e3));
                }
                if by.turned > 0.0 {
                    words.push(format!("turned {:.2} deg", by.turned.to_degrees()));
                }
                if by.scaled != 0.0 {
                    words.push(format!("scaled x {:.4}", 1.0 + by.scaled));
                }
                if by.other_piece {
                    words.push(format!("now {}", second.piece));
                }
                if by.other_pass {
                    words.push(format!("now in {}", second.pass));
                }
                (first, words.join(", "))
            }
        };
        rows.push(vec![
            format!("{id:016x}"),
            placed.pass.to_string(),
            placed.piece.to_string(),
            what,
        ]);
    }
    text.push_str(&table(&rows));
    let left = difference.changes.len().saturating_sub(most);
    if left > 0 {
        text.push_str(&format!("and {} more\n", grouped(left as u64)));
    }
    text
}
