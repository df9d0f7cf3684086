//! Shots, lists of kits, layouts.

use scatter::deliver::compare;
use scatter::kit::{Library, Shelf, files, library};
use scatter::layout::{self, ShotParts};
use scatter::optics::Camera;
use scatter::{Amount, Brief, Cancel, Error, Pass, Place, Shot, SizeLaw};

use super::Desk;

/// A shot: its form, its check, what it asks for, and that it is the same once it is written.
pub(super) fn shot(bytes: &[u8], desk: &Desk) -> Result<(), Error> {
    let path = desk.file("read.json", bytes);
    let shot = Shot::read(&path)?;
    let text = serde_json::to_string(&shot).unwrap_or_else(|e| panic!("it can't be written: {e}"));
    let again = Shot::parse(&text, &path)
        .unwrap_or_else(|e| panic!("it is refused once it is written: {e}\n{text}"));
    assert_eq!(again.digest(), shot.digest(), "it is another once written");
    let brief = shot.brief()?;
    brief.check()
}

/// A kit's list, and the files that it names.
pub(super) fn kit_list(bytes: &[u8], desk: &Desk) -> Result<(), Error> {
    let path = desk.file("read.json", bytes);
    let behind = files::behind(&path);
    assert!(behind.contains(&path), "a file depends on itself");
    library::read_list(&path, "read.json").map(|_| ())
}

/// A layout: to compare, and to look at with its shot.
pub(super) fn layout(bytes: &[u8], desk: &Desk) -> Result<(), Error> {
    let path = desk.file("read.json", bytes);
    let document = compare::read(&path)?;
    let difference = compare::compare(&document, &document, &compare::Tolerance::default());
    assert!(difference.is_none(), "a layout differs from itself");
    let pieces = desk.kit.get_or_init(|| {
        let shelf = Shelf::of(desk.folder());
        let library = Library::for_brief(&laid(), &shelf, &Cancel::new());
        library.unwrap_or_else(|e| panic!("{e}")).pieces
    });
    let known = ShotParts {
        cameras: &[],
        pieces,
        carpet: None,
    };
    let layout = layout::read(&path, known)?;
    let counted: u64 = layout.passes.iter().map(|p| p.tally.placed).sum();
    assert_eq!(counted, layout.instances.len() as u64, "each is of a pass");
    Ok(())
}

/// The brief that the corpus's layouts were made from.
#[must_use]
pub(crate) fn laid() -> Brief {
    let lens = Camera::looking("a", [0.0, 0.4, 0.5], [0.0; 3], 0.05, [48, 32]);
    let size = SizeLaw::power(2.0, 0.02, 0.05);
    let pass = Pass::new(["leaf"], Place::Strewn, size, Amount::Cover(0.03));
    Brief::new("leaves", lens).pass("leaves", pass)
}
