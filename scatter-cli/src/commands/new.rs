//! `strew new`: a folder with a shot that dresses as it stands.

use std::fs::{self, File};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use scatter::error::{Error, Result};
use scatter::ground::Ground;
use scatter::kit::Shelf;
use scatter::shot::{Camera, Hero, Preset, Shot};
use scatter::units::{Angle, Length};
use scatter::view::tracks;
use serde_json::json;

use super::paths::{from_folder, typed, whole};
use crate::args::New;
use crate::output::Output;

/// Farthest depth of a camera whose file gives none, metres, as the presets' own camera has it.
const FAR: f64 = 30.0;

/// What a hint says of a file that a shot names; one that is typed is where it is.
const IN_SHOT: &str = ", relative to the shot's folder";

/// Pixels of the longer side of a frame.
const LONG_SIDE: f64 = 1920.0;

pub(crate) fn run(args: &New, output: &Output) -> Result<()> {
    let folder = &args.name;
    let preset = Preset::find(&args.preset)?;
    let Some(name) = folder.file_name().and_then(|name| name.to_str()) else {
        return Err(Error::input(
            "NAME",
            format!("{} has no name at its end that is text", folder.display()),
            "a folder to make, such as `river`",
        ));
    };
    let mut shot = preset.shot(name);
    shot.check().map_err(|e| e.in_file(folder))?;
    take_files(&mut shot, args)?;
    shot.check().map_err(|e| e.in_file(folder))?;
    let parent = folder.parent().filter(|p| *p != Path::new(""));
    if let Some(parent) = parent {
        fs::create_dir_all(parent).map_err(|e| refused(folder, &e))?;
    }
    fs::create_dir(folder).map_err(|e| refused(folder, &e))?;
    let file = folder.join("shot.json");
    if let Err(e) = write(&file, &preset.shot_text(&shot)) {
        // Leave nothing half made. What can't be removed either is not worth a second error.
        let _ = fs::remove_file(&file);
        let _ = fs::remove_dir(folder);
        return Err(Error::io(
            &file,
            "can't write",
            &e,
            "check the disk's space",
        ));
    }
    output.say(&format!(
        "{} is there; dress it with: strew dress {}",
        file.display(),
        typed(&file)
    ));
    Ok(())
}

/// Puts the heroes and the camera that the options name into a shot, by paths from its folder, and
/// refuses files that a dressing would refuse.
fn take_files(shot: &mut Shot, args: &New) -> Result<()> {
    // The shot's folder is not there yet: files are read as they are named here
    let here = Shelf::of("");
    if let Some(file) = &args.camera {
        shot.cameras = vec![camera(file, args.camera_name.as_deref(), &here)?];
    }
    for file in &args.hero {
        shot.hero.push(Hero {
            file: text(file, "--hero")?,
            at: [Length::default(); 3],
            turn: Angle::default(),
            scale: 1.0,
            clear: Length::default(),
            sink: Length::default(),
        });
    }
    let brief = shot.brief()?;
    tracks(&brief.cameras, Path::new("")).map_err(|e| of_option(e, "cameras[", "--camera"))?;
    let ground = Ground::read(&brief.ground, &here)?;
    scatter::hero::Hero::read_all(&brief.heroes, &here, &ground)
        .map_err(|e| of_option(e, "hero[", "--hero"))?;
    if args.hero.is_empty() && args.camera.is_none() {
        return Ok(());
    }
    let folder = to_be(&args.name)?;
    for hero in &mut shot.hero {
        hero.file = from_folder(Path::new(&hero.file), &folder)?;
    }
    for file in shot.cameras.iter_mut().filter_map(|c| c.file.as_mut()) {
        *file = from_folder(Path::new(&file), &folder)?;
    }
    Ok(())
}

/// The whole path of a folder that is to be made, of whose parents some may be missing.
fn to_be(folder: &Path) -> Result<PathBuf> {
    let mut parents = folder.ancestors().skip(1);
    let standing = parents
        .find(|p| *p == Path::new("") || p.exists())
        .unwrap_or(Path::new(""));
    let rest = folder.strip_prefix(standing).unwrap_or(folder);
    Ok(whole(standing)?.join(rest))
}

/// The camera of a file, or the one of that name, as a shot has it.
fn camera(file: &Path, name: Option<&str>, here: &Shelf) -> Result<Camera> {
    let file = text(file, "--camera")?;
    let found = here
        .camera(&file, [name, None], "--camera")
        .map_err(|mut e| {
            for fault in &mut e.faults {
                fault.hint = fault.hint.replace("with `camera`", "with --camera-name");
                fault.hint = fault.hint.replace(IN_SHOT, "");
            }
            e
        })?;
    let (position, _) = found.pose(found.span.map_or(0.0, |s| s[0]));
    // A camera without a limit looks as far as the preset's own, or past what it stands far from
    let far = found
        .far
        .is_none()
        .then(|| FAR.max(4.0 * position.length()));
    let plain = (1..=64).contains(&found.name.chars().count());
    let mut camera = json!({
        "name": if plain { &found.name } else { "close" },
        "file": file,
        "frame": frame(found.aspect),
    });
    if let Some(name) = name {
        camera["camera"] = name.into();
    }
    if let Some(far) = far {
        camera["far"] = format!("{:.0} m", far.ceil()).into();
    }
    serde_json::from_value(camera)
        .map_err(|e| Error::input("--camera", e.to_string(), "use another camera"))
}

/// A frame of a width over height, its longer side that of full HD; 16:9 where a file says none.
fn frame(aspect: Option<f64>) -> [u32; 2] {
    let aspect = aspect.unwrap_or(16.0 / 9.0);
    let side = |share: f64| (LONG_SIDE * share.min(1.0)).round().max(1.0) as u32;
    [side(aspect), side(1.0 / aspect)]
}

/// A path that a document can hold.
fn text(file: &Path, option: &str) -> Result<String> {
    let problem = || format!("the name {} is not all text", file.display());
    let text = file.to_str().filter(|t| !t.is_empty());
    text.map(str::to_owned)
        .ok_or_else(|| Error::input(option, problem(), "rename the file"))
}

/// An error of a document's place, said of the option that put it there.
fn of_option(mut error: Error, place: &str, option: &str) -> Error {
    for fault in &mut error.faults {
        if fault.place.starts_with(place) {
            fault.place = option.to_owned();
            fault.hint = fault.hint.replace(IN_SHOT, "");
        }
    }
    error
}

fn write(file: &Path, text: &str) -> std::io::Result<()> {
    let mut out = File::create_new(file)?;
    out.write_all(text.as_bytes())?;
    out.sync_all()
}

fn refused(folder: &Path, error: &std::io::Error) -> Error {
    if error.kind() == ErrorKind::AlreadyExists {
        return Error::input(
            "",
            "there is something of this name already",
            "another name; nothing is overwritten",
        )
        .in_file(folder);
    }
    Error::io(
        folder,
        "can't make the folder",
        error,
        "its parent must be a folder that can be written to",
    )
}
