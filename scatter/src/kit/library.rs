//! The pieces of a shot: those that grow and those that files hold.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::path::Path;

use rayon::prelude::*;

use super::frame::bring_to_frame;
use super::gltf::{self, Model, Object};
use super::list::{KitList, ListedPiece, is_list, is_model};
use super::lying::judged;
use super::shelf::Shelf;
use super::{Kind, Measure, Part, Piece, PieceIndex, grow};
use crate::brief::{Brief, Lies, Pass, SHADE};
use crate::cancel::Cancel;
use crate::error::{Error, Result};
use crate::shot::{KINDS, likely, names_file};
use crate::units::Length;

/// The natural sizes of a piece whose list gives none, over its own diameter. A stone of a river
/// bar changes its look with its size, but not within the half octave of neighbouring sieves
/// (common practice, no source).
pub const NATURAL_SIZES: [f64; 2] = [0.8, 1.25];

/// The smallest width of a piece, metres: below it is dust, or a card that stands on its edge.
const LEAST_WIDTH: f64 = 1e-6;

/// The largest extent of a piece, metres: that of the whole range of coordinates in millimetres taken
/// for metres. Squares of areas up to here fit into single precision, far beyond they don't.
const MOST_EXTENT: f32 = 2.6e8;

/// The pieces of a shot and what each pass may take of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Library {
    /// Every piece once, with names of their own.
    pub pieces: Vec<Piece>,
    /// For each pass, the pieces that it may take; not empty.
    pub of_pass: Vec<Vec<Serving>>,
    /// The sprays that the shot's shade is made of; empty without one.
    pub shade: Vec<PieceIndex>,
    /// For each pin, the piece that it names.
    pub of_pin: Vec<PieceIndex>,
    /// What was left out while reading, such as a texture that is missing.
    pub warnings: Vec<String>,
}

/// A piece in a pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Serving {
    /// Index into [`Library::pieces`].
    pub piece: PieceIndex,
    /// How often it is taken, beside the others of the pass.
    pub share: f64,
    /// Smallest and largest natural diameter, metres; none for pieces that grow, which serve any.
    pub sizes: Option<[f64; 2]>,
}

/// A piece as a file gave it.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// The piece in its own frame.
    pub piece: Piece,
    /// How often it is taken, relative to the others of its file or list.
    pub share: f64,
    /// Natural diameters, metres.
    pub sizes: Option<[f64; 2]>,
    /// Whether how it lies was judged from its mesh, since nobody said.
    pub judged: bool,
}

impl Library {
    /// Grows the pieces that a brief names, or reads them from the shelf.
    ///
    /// # Errors
    /// A file is missing or can't be read, a piece has no width or no area, or there are more than
    /// 65,535 pieces.
    pub fn for_brief(brief: &Brief, shelf: &Shelf, cancel: &Cancel) -> Result<Self> {
        let named = PieceNames::of(brief, shelf);
        let gathered: Vec<Gathered> = named
            .all
            .par_iter()
            .map(|(name, lies, place)| gather(name, *lies, (shelf, place), cancel))
            .collect::<Result<_>>()?;
        let mut library = Self {
            pieces: Vec::new(),
            of_pass: Vec::new(),
            shade: Vec::new(),
            of_pin: Vec::new(),
            warnings: Vec::new(),
        };
        let mut of_name: Vec<Vec<Serving>> = Vec::new();
        for (source, (_, _, place)) in gathered.into_iter().zip(&named.all) {
            library.warnings.extend(source.warnings);
            let shares: f64 = source.found.iter().map(|f| f.share).sum();
            let mut servings = Vec::with_capacity(source.found.len());
            for found in source.found {
                let piece = PieceIndex::of(library.pieces.len()).ok_or_else(|| {
                    let hint = "name fewer files, or kits with fewer pieces";
                    Error::input(&*place, "with these the shot passes 65,535 pieces", hint)
                })?;
                servings.push(Serving {
                    piece,
                    share: found.share / shares,
                    sizes: found.sizes,
                });
                library.pieces.push(found.piece);
            }
            of_name.push(servings);
        }
        make_unique(&mut library.pieces);
        let of = |name: &str, lies| {
            let at = named.numbers.get(&(name, lies));
            at.map_or(&[][..], |i| &of_name[*i])
        };
        let of_pass = |pass: &Pass| {
            let servings = pass.pieces.iter().map(|n| of(n, pass.lies_of(n)));
            servings.flatten().copied().collect()
        };
        library.of_pass = brief.passes().map(|(_, pass)| of_pass(pass)).collect();
        if brief.shade().is_some() {
            let sprays = of(Kind::Spray.name(), None).iter();
            library.shade = sprays.map(|s| s.piece).collect();
        }
        let numbers: HashMap<&str, PieceIndex> = library
            .pieces
            .iter()
            .zip((0..).map(PieceIndex::new))
            .map(|(piece, number)| (piece.name.as_str(), number))
            .collect();
        let pinned = brief.pins().iter().enumerate().map(|(i, pin)| {
            let first = named.first.get(pin.piece.as_str());
            let first = first.and_then(|i| of_name[*i].first());
            let first = first.map(|serving| serving.piece);
            let found = first.or_else(|| numbers.get(pin.piece.as_str()).copied());
            found.ok_or_else(|| no_piece(&pin.piece, &format!("pins[{i}].piece"), &library.pieces))
        });
        library.of_pin = pinned.collect::<Result<_>>()?;
        Ok(library)
    }
}

/// The names by which a shot takes pieces.
#[derive(Default)]
struct PieceNames<'a> {
    /// Each name with how its pieces lie, if a pass says so, and where the shot names it.
    all: Vec<(&'a str, Option<Lies>, String)>,
    /// Where a name stands in `all`.
    numbers: HashMap<(&'a str, Option<Lies>), usize>,
    /// Where a name first stands in `all`, however its pieces lie.
    first: HashMap<&'a str, usize>,
}

impl<'a> PieceNames<'a> {
    fn of(brief: &'a Brief, shelf: &Shelf) -> Self {
        let mut named = Self::default();
        for (i, (_, pass)) in brief.passes().enumerate() {
            for (j, name) in pass.pieces.iter().enumerate() {
                named.add(name, pass.lies_of(name), || {
                    format!("passes[{i}].pieces[{j}]")
                });
            }
        }
        if brief.shade().is_some() {
            named.add(Kind::Spray.name(), None, || SHADE.to_owned());
        }
        // After the passes' pieces, so that pins leave the numbers of those as they are
        for (i, pin) in brief.pins().iter().enumerate() {
            if let Some(name) = source(&pin.piece, shelf)
                && !named.first.contains_key(name)
            {
                named.add(name, None, || format!("pins[{i}].piece"));
            }
        }
        named
    }

    fn add(&mut self, name: &'a str, lies: Option<Lies>, place: impl FnOnce() -> String) {
        let number = self.all.len();
        self.numbers.entry((name, lies)).or_insert_with(|| {
            self.all.push((name, lies, place()));
            number
        });
        self.first.entry(name).or_insert(number);
    }
}

/// The kind, file or mesh given in code that a pin's piece belongs to, if its name says so: `rock`
/// of `rock-03`.
fn source<'a>(piece: &'a str, shelf: &Shelf) -> Option<&'a str> {
    let given = shelf.given(piece).is_some();
    let whole = Kind::named(piece).is_some() || names_file(piece) || given;
    let kind = || {
        let (kind, number) = piece.rsplit_once('-')?;
        (Kind::named(kind).is_some() && number.bytes().all(|b| b.is_ascii_digit())).then_some(kind)
    };
    if whole { Some(piece) } else { kind() }
}

fn no_piece(name: &str, place: &str, pieces: &[Piece]) -> Error {
    let known: Vec<&str> = pieces.iter().map(|p| p.name.as_str()).collect();
    let hint = match likely(name, &known) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!(
            "one of {}, a numbered piece such as `rock-03`, a file, or a piece of a file that a pass names",
            KINDS.join(", ")
        ),
    };
    Error::input(place, format!("there is no piece called {name:?}"), hint)
}

/// The pieces of one name in a pass.
struct Gathered {
    found: Vec<Found>,
    warnings: Vec<String>,
}

/// `lies`: how a pass says that its pieces from files come to lie.
fn gather(
    name: &str,
    lies: Option<Lies>,
    (shelf, place): (&Shelf, &str),
    cancel: &Cancel,
) -> Result<Gathered> {
    if let Some(kind) = Kind::named(name) {
        let grown = |piece| Found {
            piece,
            share: 1.0,
            sizes: None,
            judged: false,
        };
        let found = (0..kind.variants()).into_par_iter().map(|variant| {
            cancel.check()?;
            Ok(grown(grow(kind, variant)))
        });
        return Ok(Gathered {
            found: found.collect::<Result<_>>()?,
            warnings: Vec::new(),
        });
    }
    if shelf.given(name).is_none() && !is_model(name) && !is_list(name) {
        return Err(Error::input(
            place,
            format!("there is no kind of piece called {name:?}"),
            format!(
                "one of {}, or a .glb, .gltf or kit .json file",
                KINDS.join(", ")
            ),
        ));
    }
    let (mut found, mut warnings) = match shelf.given(name) {
        Some(parts) => (vec![found_in(parts.to_vec(), name, name)?], Vec::new()),
        None => read(name, &shelf.path(name), place)?,
    };
    if let Some(lies) = lies {
        for found in &mut found {
            found.piece.lies = lies;
            found.judged = false;
        }
    }
    warnings.extend(told_of_sheets(name, &found));
    Ok(Gathered { found, warnings })
}

/// The pieces of a model or a kit's list, and what was left out while reading.
fn read(name: &str, path: &Path, place: &str) -> Result<(Vec<Found>, Vec<String>)> {
    if !path.is_file() {
        return Err(Error::input(
            place,
            format!("there is no file {}", path.display()),
            "name a file relative to the shot's folder",
        ));
    }
    if is_list(name) {
        read_list(path, name)
    } else {
        read_model(path, name)
    }
}

/// The pieces of a glTF file, one for each root node with a mesh. `source` is what the pieces are
/// said to come from.
///
/// # Errors
/// As [`gltf::read`], or a piece has no width or no area seen from above.
pub fn read_model(path: &Path, source: &str) -> Result<(Vec<Found>, Vec<String>)> {
    let model = gltf::read_near(path)?;
    let names = object_names(&model, path);
    let warnings = told_of(source, &model);
    let found = model
        .objects
        .into_iter()
        .zip(&names)
        .map(|(object, name)| found_in(object.parts, name, source))
        .collect::<Result<_>>();
    Ok((found.map_err(|e| e.in_file(path))?, warnings))
}

/// A piece that is in no list.
pub(super) fn found_in(parts: Vec<Part>, name: &str, source: &str) -> Result<Found> {
    let listed = ListedPiece::new(name.to_owned(), source.to_owned());
    piece(parts, &listed, source)
}

/// The pieces of a kit's list. `source` is what the list is said to be.
///
/// # Errors
/// As [`KitList::read`] and [`gltf::read`], a root node is not there, or a piece has no width or no
/// area seen from above.
pub fn read_list(path: &Path, source: &str) -> Result<(Vec<Found>, Vec<String>)> {
    let list = KitList::read(path)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let beside = Path::new(source).parent().unwrap_or(Path::new(""));
    let mut files: Vec<&str> = Vec::new();
    for listed in &list.pieces {
        if !files.contains(&listed.file.as_str()) {
            files.push(&listed.file);
        }
    }
    // Files in turn: several models of a gigabyte at once would be too many.
    let mut found: Vec<Option<Found>> = vec![None; list.pieces.len()];
    let mut warnings = Vec::new();
    for file in files {
        let model_path = folder.join(file);
        let users = || {
            list.pieces
                .iter()
                .enumerate()
                .filter(|(_, p)| p.file == file)
        };
        let place = |key: &str| {
            let first = users().next().map_or(0, |(i, _)| i);
            format!("pieces[{first}].{key}")
        };
        if !model_path.is_file() {
            let problem = format!("there is no file {}", model_path.display());
            let hint = "name a file relative to the list's folder";
            return Err(Error::input(place("file"), problem, hint).in_file(path));
        }
        let model = gltf::read_near(&model_path)?;
        let names = object_names(&model, &model_path);
        let said = beside.join(file).to_string_lossy().replace('\\', "/");
        warnings.extend(told_of(&said, &model));
        for (i, listed) in users() {
            let parts = match &listed.node {
                None => model.objects.iter().flat_map(|o| o.parts.clone()).collect(),
                Some(node) => {
                    let at = names.iter().position(|n| n == node).ok_or_else(|| {
                        let problem = format!("{file} has no root node {node:?}");
                        let hint = format!("its root nodes are: {}", names.join(", "));
                        Error::input(format!("pieces[{i}].node"), problem, hint).in_file(path)
                    })?;
                    model.objects[at].parts.clone()
                }
            };
            let made = piece(parts, listed, &said).map_err(|e| e.in_file(&model_path))?;
            found[i] = Some(made);
        }
    }
    Ok((found.into_iter().flatten().collect(), warnings))
}

/// Names by which the objects of a model are told apart: their own, or the file's with a number.
#[must_use]
pub fn object_names(model: &Model, path: &Path) -> Vec<String> {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let single = model.objects.len() == 1;
    let mut names = UsedNames::default();
    let name = |(i, object): (usize, &Object)| {
        let name = match &object.name {
            // A scanner's only node is often called "Mesh"; the file's name says more.
            _ if single => stem.to_string(),
            Some(name) => name.clone(),
            None => format!("{stem}-{}", i + 1),
        };
        names.add(&name)
    };
    model.objects.iter().enumerate().map(name).collect()
}

fn told_of(source: &str, model: &Model) -> Vec<String> {
    let tell = |warning: &String| format!("{source}: {warning}");
    model.warnings.iter().map(tell).collect()
}

/// Reports pieces that lie as sheets since their meshes look like it.
fn told_of_sheets(source: &str, found: &[Found]) -> Option<String> {
    let sheet = |f: &&Found| f.judged && f.piece.lies == Lies::Sheet;
    let sheets: Vec<&str> = found
        .iter()
        .filter(sheet)
        .map(|f| f.piece.name.as_str())
        .collect();
    let what = match sheets[..] {
        [] => return None,
        [one] => format!("`{one}` lies"),
        [first, ..] => format!("`{first}` and {} more lie", sheets.len() - 1),
    };
    Some(format!(
        "{source}: {what} as a sheet, since its mesh is one open skin; `lies` in the pass or the kit's list says otherwise"
    ))
}

/// A piece of the parts of a file.
fn piece(mut parts: Vec<Part>, listed: &ListedPiece, source: &str) -> Result<Found> {
    bring_to_frame(&mut parts, listed.up, listed.scale);
    let measure = Measure::of(&parts);
    let width = measure.b_axis;
    if !(width >= LEAST_WIDTH && measure.size.is_finite()) {
        return Err(Error::input(
            "",
            format!(
                "the piece {:?} is {:.4} mm wide seen from above",
                listed.name,
                width * 1e3
            ),
            "list it in a kit with another `up`, or with a `scale` that makes it life size",
        ));
    }
    if measure.size.max_element() > MOST_EXTENT {
        return Err(Error::input(
            "",
            format!(
                "the piece {:?} is {:.1e} m large",
                listed.name,
                measure.size.max_element()
            ),
            "list it in a kit with a `scale` that makes it life size; is a corner astray?",
        ));
    }
    if measure.plan_fill <= 0.0 {
        return Err(Error::input(
            "",
            format!(
                "the triangles of the piece {:?} have no area seen from above",
                listed.name
            ),
            "give it a surface, or list it in a kit with another `up`",
        ));
    }
    let sizes = listed.sizes.map(|s| s.map(Length::metres));
    let lies = listed.lies.unwrap_or_else(|| judged(&parts));
    Ok(Found {
        piece: Piece {
            name: safe_name(&listed.name),
            source: source.to_owned(),
            parts,
            measure,
            lies,
        },
        judged: listed.lies.is_none(),
        share: listed.share,
        sizes: Some(sizes.unwrap_or(NATURAL_SIZES.map(|s| s * width))),
    })
}

/// A name without path separators and line breaks: letters and digits of any script, `-`, `_` and
/// `.` stay.
fn safe_name(name: &str) -> String {
    let safe = |c: char| {
        if c.is_alphanumeric() || "-_.".contains(c) {
            c
        } else {
            '_'
        }
    };
    let name: String = name.trim().chars().map(safe).collect();
    if name.chars().all(|c| "_.".contains(c)) {
        "piece".to_owned()
    } else {
        name
    }
}

/// Numbers names that are already in use.
fn make_unique(pieces: &mut [Piece]) {
    let mut names = UsedNames::default();
    for piece in pieces {
        piece.name = names.add(&piece.name);
    }
}

/// Names in use.
#[derive(Debug, Default)]
struct UsedNames {
    used: BTreeSet<String>,
    /// The number that a name gets when it comes again.
    next: BTreeMap<String, u64>,
}

impl UsedNames {
    /// Takes a name: itself, or with the first number from 2 on that makes it new.
    fn add(&mut self, name: &str) -> String {
        let mut taken = name.to_owned();
        while !self.used.insert(taken.clone()) {
            let number = self.next.entry(name.to_owned()).or_insert(2);
            taken = format!("{name}-{number}");
            *number += 1;
        }
        taken
    }
}

#[cfg(test)]
pub(super) mod tests;
