//! What a shot names: files that are there or missing, names that were mistyped.

use std::fs::{self, File};
use std::io;
use std::path::Path;

use crate::error::{Error, Result};

/// Endings of the files that hold meshes and cameras.
pub(crate) const MODELS: [&str; 2] = ["glb", "gltf"];
/// Endings of the files that hold pieces: models, and lists of kits.
pub(crate) const PIECES: [&str; 3] = ["glb", "gltf", "json"];
/// Endings of the files that hold heights and masks.
pub(crate) const IMAGES: [&str; 2] = ["exr", "png"];

/// Names closer than this (Jaro-Winkler, 0 to 1) count as mistyped.
const MISTYPED: f64 = 0.75;

/// Longest name for which a near one is looked for, characters.
const LONGEST_NAME: usize = 256;

/// Maximum number of names of a folder that are looked at for a near one.
const MOST_NAMES: usize = 10_000;

/// Refuses a file that is not there. The hint is a file of its folder that has a near name and one
/// of the endings, or else the text beside them. `place` is where the document names the file.
///
/// # Errors
/// There is no such file.
pub(crate) fn require(path: &Path, place: &str, (endings, hint): (&[&str], &str)) -> Result<()> {
    if path.is_file() {
        return Ok(());
    }
    if path.is_dir() {
        let problem = format!("{} is a folder", path.display());
        return Err(Error::input(place, problem, hint));
    }
    let hint = match near_file(path, endings) {
        Some(near) => format!("did you mean `{near}`?"),
        None => hint.to_owned(),
    };
    let problem = format!("there is no file {}", path.display());
    Err(Error::input(place, problem, hint))
}

/// The name of the file in a path's folder that was likely meant by the path. Names are compared
/// without their endings, which make any two models alike, and capitals count as small letters.
fn near_file(path: &Path, endings: &[&str]) -> Option<String> {
    let lower = |name: &Path| name.to_string_lossy().to_lowercase();
    let folder = path.parent().filter(|f| *f != Path::new(""));
    let (stem, whole) = (
        lower(path.file_stem()?.as_ref()),
        path.file_name()?.as_ref(),
    );
    let whole = lower(whole);
    let fits = |found: &Path| {
        let ending = found
            .extension()
            .is_some_and(|e| endings.contains(&&*lower(e.as_ref())));
        let other = found.file_stem().map(|s| lower(s.as_ref()));
        ending && other.is_some_and(|s| likely(&stem, &[&s]).is_some() || one_slip(&stem, &s))
    };
    let entries = fs::read_dir(folder.unwrap_or(Path::new("."))).ok()?;
    let paths = entries
        .take(MOST_NAMES)
        .filter_map(|entry| Some(entry.ok()?.path()));
    let found = paths.filter(|found| fits(found) && found.is_file());
    let mut names: Vec<String> = found
        .filter_map(|found| Some(found.file_name()?.to_string_lossy().into_owned()))
        .collect();
    // In an order of its own, whatever that of the folder
    names.sort_unstable();
    let closeness = |name: &String| strsim::jaro_winkler(&whole, &name.to_lowercase());
    names
        .into_iter()
        .max_by(|a, b| closeness(a).total_cmp(&closeness(b)))
}

/// What is wrong with a place where no shot is, and what would be right: near names of the folder
/// that it is in, or what makes a shot.
pub(crate) fn missing_shot(path: &Path) -> (String, String) {
    const NEW: &str = "`strew new NAME` makes one";
    let folder = path.parent().filter(|f| *f != Path::new(""));
    if let Some(folder) = folder
        && path.file_name() == Some("shot.json".as_ref())
        && folder.is_dir()
    {
        let problem = format!("the folder {} holds no shot.json", folder.display());
        return (problem, NEW.to_owned());
    }
    let problem = format!("there is no shot {}", path.display());
    let found = path.file_name().map(|n| n.to_string_lossy().into_owned());
    let entries = fs::read_dir(folder.unwrap_or(Path::new("."))).ok();
    let entries = entries.into_iter().flatten().take(MOST_NAMES);
    let is_shot = |path: &Path| {
        path.join("shot.json").is_file() || path.extension().is_some_and(|e| e == "json")
    };
    let paths = entries.filter_map(|entry| Some(entry.ok()?.path()));
    let names = paths.filter(|p| is_shot(p));
    let names = names.filter_map(|p| Some(p.file_name()?.to_string_lossy().into_owned()));
    let mut names: Vec<String> = names.collect();
    names.sort_unstable();
    let known: Vec<&str> = names.iter().map(String::as_str).collect();
    let hint = match found.and_then(|found| likely(&found, &known)) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("name a shot file, or the folder that holds its shot.json; {NEW}"),
    };
    (problem, hint)
}

/// Whether two names differ by one letter or by two that changed places: in short names, that is
/// too much for [`likely`]. Of one or two letters, a slip would be half the name.
fn one_slip(a: &str, b: &str) -> bool {
    a.chars().count() > 2 && strsim::osa_distance(a, b) <= 1
}

/// Letters that a mistyped name may have wrong: two, or a third of a longer one. Beginning alike is
/// not enough: `sunset` is not meant to be `sun`.
fn slips(name: &str) -> usize {
    (name.chars().count() / 3).max(2)
}

/// The one of `known` that `found` was likely meant to be.
pub(crate) fn likely<'a>(found: &str, known: &[&'a str]) -> Option<&'a str> {
    // A long name takes long to compare, and none that is known is long
    if found.chars().count() > LONGEST_NAME {
        return None;
    }
    known
        .iter()
        .filter(|name| strsim::osa_distance(found, name) <= slips(found))
        .map(|name| (strsim::jaro_winkler(found, name), *name))
        .filter(|(closeness, _)| *closeness >= MISTYPED)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}

/// Opens an ordinary file. A pipe would be waited for without end, and a device may have no end.
///
/// # Errors
/// Those of the system; a folder, a pipe or a device is
/// [`InvalidInput`](io::ErrorKind::InvalidInput).
pub(crate) fn open(path: &Path) -> io::Result<File> {
    let kind = fs::metadata(path)?.file_type();
    if kind.is_file() {
        return File::open(path);
    }
    let what = if kind.is_dir() {
        "it is a folder"
    } else {
        "it is a pipe or a device, no ordinary file"
    };
    Err(io::Error::new(io::ErrorKind::InvalidInput, what))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_file_gets_the_near_name_of_its_folder() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["Pot.glb", "pot.png", "kettle.glb", "kettle.gltf", "pto.txt"] {
            fs::write(folder.path().join(name), "").unwrap();
        }
        fs::create_dir(folder.path().join("lamps.glb")).unwrap();
        let hint = |name: &str, endings: &[&str]| {
            let missing = require(
                &folder.path().join(name),
                "hero[0].file",
                (endings, "a model"),
            );
            missing.unwrap_err().faults[0].hint.clone()
        };
        assert_eq!(hint("pto.glb", &MODELS), "did you mean `Pot.glb`?");
        assert_eq!(hint("pto.png", &IMAGES), "did you mean `pot.png`?");
        assert_eq!(hint("ketle.gltf", &MODELS), "did you mean `kettle.gltf`?");
        assert_eq!(hint("pot.fbx", &MODELS), "did you mean `Pot.glb`?");
        // A folder is no file, and an ending alone makes no name near
        assert_eq!(hint("lamp.glb", &MODELS), "a model");
        assert_eq!(hint("nowhere/pot.glb", &MODELS), "a model");
    }

    #[test]
    fn a_name_that_only_begins_like_another_is_not_meant() {
        let moods = ["sun", "overcast", "night"];
        assert_eq!(likely("sunset", &moods), None);
        assert_eq!(likely("overcas", &moods), Some("overcast"));
        let places = ["packed", "spaced", "strewn"];
        assert_eq!(likely("scattered", &places), None);
        assert_eq!(likely("paked", &places), Some("packed"));
        assert_eq!(likely("leafs", &["stones", "leaves"]), Some("leaves"));
    }
}
