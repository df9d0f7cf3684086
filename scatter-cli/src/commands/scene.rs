//! What the commands that make pictures share: the shot at the take asked for, a camera, a place to
//! write to.

use std::fs;
use std::path::{Path, PathBuf};

use scatter::brief::Brief;
use scatter::error::{Error, Result};
use scatter::optics::Camera;
use scatter::picture::{self, Picture, Tone, png};
use scatter::shot::{Mood, Shot};
use scatter::view::tracks;

use crate::args::{self, At};
use crate::output::Output;

/// A shot with where it was found.
pub(crate) struct Found {
    pub(crate) file: PathBuf,
    pub(crate) shot: Shot,
}

impl Found {
    /// Reads the shot and sets it to what the options ask.
    pub(crate) fn new(at: &At) -> Result<Self> {
        let file = super::dress::shot_file(&at.shot);
        let mut shot = Shot::read(&file)?;
        if let Some(name) = &at.kept {
            shot = shot.kept(name).map_err(|e| e.in_file(&file))?;
        }
        if let Some(take) = at.take {
            shot.take = take;
        }
        if let Some(mood) = at.mood {
            shot.light.mood = match mood {
                args::Mood::Sun => Mood::Sun,
                args::Mood::Overcast => Mood::Overcast,
                args::Mood::Night => Mood::Night,
            };
            shot.check().map_err(|e| e.in_file(&file))?;
        }
        Ok(Self { file, shot })
    }

    /// What the shot asks for.
    pub(crate) fn brief(&self) -> Result<Brief> {
        self.shot.brief().map_err(|e| e.in_file(&self.file))
    }

    /// The shot's folder.
    pub(crate) fn folder(&self) -> &Path {
        self.file.parent().unwrap_or(Path::new(""))
    }

    /// The camera of a name, or the first, in its first frame.
    pub(crate) fn camera(&self, name: Option<&str>) -> Result<Camera> {
        let cameras = &self.shot.cameras;
        let tracks = tracks(&self.brief()?.cameras, self.folder());
        let (tracks, _) = tracks.map_err(|e| e.in_file(&self.file))?;
        let mut tracks = tracks.into_iter();
        let track = match name {
            None => tracks.next(),
            Some(name) => tracks.find(|t| t.name == name),
        };
        let first = track.and_then(|t| t.frames.into_iter().next());
        first.ok_or_else(|| {
            let known: Vec<&str> = cameras.iter().map(|c| c.name.as_str()).collect();
            Error::input(
                "--camera",
                format!("there is no camera `{}`", name.unwrap_or_default()),
                format!("the cameras are: {}", known.join(", ")),
            )
            .in_file(&self.file)
        })
    }

    /// Every name is a pass of the shot; `option` is what named them.
    pub(crate) fn check_passes(&self, option: &str, names: &[String]) -> Result<()> {
        let known: Vec<&str> = self.shot.pass_names().collect();
        match names.iter().find(|n| !known.contains(&n.as_str())) {
            Some(name) => Err(Error::input(
                option,
                format!("there is no pass `{name}`"),
                format!("the passes are: {}", known.join(", ")),
            )
            .in_file(&self.file)),
            None => Ok(()),
        }
    }

    /// Where a picture goes: what was asked for, or `name` in the shot's folder `out`, which is
    /// made.
    pub(crate) fn target(&self, out: Option<&Path>, name: &str) -> Result<PathBuf> {
        if let Some(out) = out {
            picture::check_target(out)?;
            return Ok(out.to_path_buf());
        }
        let folder = self.folder().join("out");
        super::dress::check_folder(&folder)?;
        // What is not there yet will be made beside the shot
        let standing = if folder.is_dir() {
            folder.as_path()
        } else {
            self.folder()
        };
        picture::check_target(&standing.join(name))?;
        Ok(folder.join(name))
    }
}

/// Writes 8-bit pixels as PNG, with the default folder made if it is the one.
pub(crate) fn write_png(path: &Path, size: [u32; 2], rgb: &[u8]) -> Result<()> {
    make_folder(path)?;
    png::write(path, size[0], size[1], rgb)
}

/// Makes the folder that the file is to stand in, if it is the shot's own `out`.
pub(crate) fn make_folder(path: &Path) -> Result<()> {
    let Some(folder) = path.parent().filter(|f| f.ends_with("out") && !f.exists()) else {
        return Ok(());
    };
    fs::create_dir(folder).map_err(|e| {
        Error::io(
            folder,
            "can't make the folder",
            &e,
            "name a file with --out",
        )
    })
}

/// Writes a picture as PNG.
pub(crate) fn write_picture(path: &Path, picture: &Picture, tone: Tone) -> Result<()> {
    write_png(
        path,
        [picture.width, picture.height],
        &picture.to_srgb8(tone),
    )
}

/// The tone curve asked for.
pub(crate) fn tone(asked: args::Tone) -> Tone {
    match asked {
        args::Tone::Film => Tone::Film,
        args::Tone::Plain => Tone::Plain,
    }
}

/// Says what a picture could not show as it was meant.
pub(crate) fn warned(output: &Output, picture: &Picture) {
    for warning in &picture.warnings {
        output.say(&format!("warning: {warning}"));
    }
}

/// Says that a picture is there, what it shows and how long it took.
pub(crate) fn told(output: &Output, path: &Path, what: &str, seconds: f64) {
    output.say(&format!("{}  {what}, {seconds:.2} s", path.display()));
}
