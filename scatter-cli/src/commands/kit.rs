//! `strew kit`: what glTF files hold as pieces, what is wrong with them, and the list that a shot
//! takes them by.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::time::Instant;

use scatter::deliver::replace;
use scatter::error::{Error, ErrorKind, Result};
use scatter::kit::inspect::{Inspection, Origin, inspect, tell_copies};
use scatter::kit::list::{KitList, ListedPiece, MAX_PIECES, is_model};
use scatter::shot::Lies;
use scatter::units::Length;

use super::kit_grown;
use super::kit_sheet::{self, Shown};
use super::paths::{from_folder, whole};
use super::scene::told;
use crate::args;
use crate::output::{Output, grouped, table};

/// Digits of natural sizes in a list: tenths of a millimetre, as calipers read.
const TENTH: f64 = 1e-4;

pub(crate) fn run(args: &args::Kit, output: &Output) -> Result<()> {
    if args.grown {
        return kit_grown::run(args, output);
    }
    if args.paths.is_empty() {
        let hint = "name .glb or .gltf files, or folders of them; `--grown` lists the kinds that need no file";
        return Err(Error::input("PATHS", "no file or folder is named", hint));
    }
    let begun = Instant::now();
    let files = files(&args.paths)?;
    let mut seen: Vec<Inspection> = Vec::new();
    let mut sources: Vec<PathBuf> = Vec::new();
    let mut failed: Vec<Error> = Vec::new();
    for file in &files {
        output.progress(&file.display().to_string());
        match inspect(file, &file.to_string_lossy()) {
            Ok((pieces, warnings)) => {
                for warning in warnings {
                    output.warn(file, &warning);
                }
                sources.extend(pieces.iter().map(|_| file.clone()));
                seen.extend(pieces);
            }
            Err(error) => failed.push(error),
        }
    }
    if seen.is_empty() {
        // At least one file was there, so one has failed.
        return failed.into_iter().next().map_or(Ok(()), Err);
    }
    tell_copies(&mut seen);
    let mut rows = vec![heading()];
    rows.extend(seen.iter().map(row));
    let mut told_of = table(&rows);
    for piece in &seen {
        for problem in &piece.problems {
            told_of.push_str(&format!("{}: {problem}\n", piece.found.piece.name));
        }
    }
    for error in &failed {
        told_of.push_str(&format!("left out: {error}\n"));
    }
    // With a folder to write to, the table is beside the point
    if args.out.is_some() {
        output.detail(&told_of)?;
    } else {
        output.data(&told_of)?;
    }
    if let Some(folder) = &args.out {
        write(folder, &seen, &sources, args.width, output)?;
        let what = format!("{} pieces of {} files", seen.len(), files.len());
        told(output, folder, &what, begun.elapsed().as_secs_f64());
    }
    Ok(())
}

/// The files named, and the glTF files of the folders named, sorted by name.
fn files(paths: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for path in paths {
        if !path.is_dir() {
            files.push(path.clone());
            continue;
        }
        let unreadable = |e: std::io::Error| {
            let mut error = Error::io(path, "can't read the folder", &e, "may you read it?");
            error.kind = ErrorKind::Input;
            error
        };
        let mut inside = Vec::new();
        for entry in fs::read_dir(path).map_err(unreadable)? {
            let file = entry.map_err(unreadable)?.path();
            if file.is_file() && is_model(&file.to_string_lossy()) {
                inside.push(file);
            }
        }
        if inside.is_empty() {
            let hint = "name a folder with .glb or .gltf files; folders inside it are not searched";
            return Err(Error::input("", "there is no glTF file in it", hint).in_file(path));
        }
        inside.sort();
        files.extend(inside);
    }
    Ok(files)
}

fn heading() -> Vec<String> {
    let names = [
        "piece",
        "x",
        "y",
        "z",
        "b-axis",
        "footprint",
        "triangles",
        "textures",
        "memory",
        "closed",
        "lies",
        "origin",
    ];
    names.map(String::from).to_vec()
}

fn row(piece: &Inspection) -> Vec<String> {
    let measure = &piece.found.piece.measure;
    let [x, y, z] = measure.size.to_array().map(|s| length(f64::from(s)));
    let footprint = measure.plan_fill * measure.b_axis * measure.b_axis;
    vec![
        piece.found.piece.name.clone(),
        x,
        y,
        z,
        length(measure.b_axis),
        area(footprint),
        grouped(piece.found.piece.triangles()),
        piece.textures.to_string(),
        format!("{:.1} MB", piece.memory as f64 * 1e-6),
        if piece.closed { "yes" } else { "no" }.to_owned(),
        lies(piece.found.piece.lies).to_owned(),
        match piece.origin {
            Origin::Foot => "foot".to_owned(),
            Origin::Middle => "middle".to_owned(),
            Origin::Inside => "inside".to_owned(),
            Origin::Away(metres) => format!("{} off", length(metres)),
        },
    ]
}

/// How a piece lies, in the document's word.
pub(super) fn lies(lies: Lies) -> &'static str {
    match lies {
        Lies::Rigid => "rigid",
        Lies::Sheet => "sheet",
        Lies::Rooted => "rooted",
    }
}

/// A length for people: millimetres below a metre.
pub(super) fn length(metres: f64) -> String {
    if metres < 1.0 {
        format!("{:.1} mm", metres * 1e3)
    } else {
        format!("{metres:.2} m")
    }
}

/// An area for people: square centimetres below a square metre.
fn area(square_metres: f64) -> String {
    if square_metres < 1.0 {
        format!("{:.1} cm2", square_metres * 1e4)
    } else {
        format!("{square_metres:.2} m2")
    }
}

/// Writes the list and the sheet.
fn write(
    folder: &Path,
    seen: &[Inspection],
    sources: &[PathBuf],
    width: u32,
    output: &Output,
) -> Result<()> {
    if seen.len() > MAX_PIECES {
        let problem = format!("{} pieces", seen.len());
        return Err(Error::input(
            "",
            problem,
            format!("a list holds {MAX_PIECES} at most"),
        ));
    }
    make_folder(folder)?;
    let mut listed = Vec::with_capacity(seen.len());
    for (piece, source) in seen.iter().zip(sources) {
        let file = from_folder(source, &whole(folder)?)?;
        let rounded = |d: f64| Length::from_metres((d / TENTH).round().max(1.0) * TENTH);
        listed.push(ListedPiece {
            node: piece.node.clone(),
            lies: Some(piece.found.piece.lies),
            sizes: piece.found.sizes.map(|sizes| sizes.map(rounded)),
            ..ListedPiece::new(piece.found.piece.name.clone(), file)
        });
    }
    let path = folder.join("kit.json");
    // Texts and numbers always have a text.
    let text = serde_json::to_string_pretty(&KitList::new(listed)).unwrap_or_default();
    replace(&path, |out| writeln!(out, "{text}")).map_err(|e| {
        Error::io(
            &path,
            "can't write the kit",
            &e,
            "name another folder with --out",
        )
    })?;
    let shown: Vec<Shown<'_>> = seen.iter().map(shown).collect();
    kit_sheet::write(&folder.join("kit.png"), &shown, (width, None), output)
}

/// A piece on the sheet, over its width and its name. A long name is cut at its end.
fn shown(inspection: &Inspection) -> Shown<'_> {
    let piece = &inspection.found.piece;
    Shown {
        piece,
        label: format!("{} {}", length(piece.measure.b_axis), piece.name),
    }
}

/// Makes the folder that `--out` names.
pub(super) fn make_folder(folder: &Path) -> Result<()> {
    super::dress::check_folder(folder)?;
    let hint = "name another with --out";
    fs::create_dir_all(folder).map_err(|e| Error::io(folder, "can't make the folder", &e, hint))
}
