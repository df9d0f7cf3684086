//! What the commands that make pictures share: the shot at the take asked for, a camera, a place to
//! write to.

use std::fs;
use std::path::{Path, PathBuf};

use scatter::brief::Brief;
use scatter::error::{Error, Result};
use scatter::layout::Layout;
use scatter::optics::{Camera, Track};
use scatter::picture::{self, LookOptions, Picture, Tone, png};
use scatter::shot::{Mood, Shot};
use scatter::view::tracks;

use crate::args::{self, Chosen, Exposure};
use crate::output::Output;

/// A shot with where it was found.
pub(crate) struct Found {
    pub(crate) file: PathBuf,
    pub(crate) shot: Shot,
}

impl Found {
    /// Reads the shot and sets it to what the options ask.
    pub(crate) fn new(at: &Chosen, mood: Option<args::Mood>) -> Result<Self> {
        let file = super::dress::shot_file(&at.shot);
        let mut shot = Shot::read(&file)?;
        if let Some(name) = &at.kept {
            shot = shot.kept(name).map_err(|e| e.in_file(&file))?;
        }
        if let Some(take) = at.take {
            shot.take = take;
        }
        if let Some(mood) = mood {
            shot.light.mood = match mood {
                args::Mood::Sun => Mood::Sun,
                args::Mood::GoldenHour => Mood::GoldenHour,
                args::Mood::Overcast => Mood::Overcast,
                args::Mood::Dusk => Mood::Dusk,
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

    /// The camera of a name, or the first, over its frames.
    pub(crate) fn track(&self, name: Option<&str>) -> Result<Track> {
        let cameras = &self.shot.cameras;
        let tracks = tracks(&self.brief()?.cameras, self.folder());
        let (tracks, _) = tracks.map_err(|e| e.in_file(&self.file))?;
        let mut tracks = tracks.into_iter();
        let track = match name {
            None => tracks.next(),
            Some(name) => tracks.find(|t| t.name == name),
        };
        track.ok_or_else(|| {
            let known: Vec<&str> = cameras.iter().map(|c| c.name.as_str()).collect();
            Error::input(
                "--camera",
                format!("there is no camera `{}`", name.unwrap_or_default()),
                format!("the cameras are: {}", known.join(", ")),
            )
            .in_file(&self.file)
        })
    }

    /// The camera of a name, or the first, in a frame, or in its first.
    pub(crate) fn camera(&self, name: Option<&str>, frame: Option<i64>) -> Result<Camera> {
        let track = self.track(name)?;
        let last = track.first + track.frames.len() as i64 - 1;
        let frame = frame.unwrap_or(track.first);
        let index = usize::try_from(frame.saturating_sub(track.first)).ok();
        let found = index.and_then(|i| track.frames.get(i)).cloned();
        found.ok_or_else(|| {
            let hint = if track.moves() {
                format!("its frames are {} to {last}", track.first)
            } else {
                "it does not move: leave out --frame".to_owned()
            };
            let problem = format!("camera `{}` has no frame {frame}", track.name);
            Error::input("--frame", problem, hint).in_file(&self.file)
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
            check_parent("--out", out)?;
            picture::check_target(out)?;
            check_ending("--out", out, name)?;
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

/// Refuses a file in a folder that is not there.
pub(crate) fn check_parent(option: &str, file: &Path) -> Result<()> {
    match file.parent() {
        Some(folder) if folder != Path::new("") && !folder.exists() => Err(Error::input(
            option,
            format!("there is no folder {}", folder.display()),
            "make it, or name another file",
        )),
        _ => Ok(()),
    }
}

/// Refuses a file whose ending is not that of `like`, a file of the form that will be written.
pub(crate) fn check_ending(option: &str, file: &Path, like: &str) -> Result<()> {
    let ending = |path: &Path| {
        let ending = path.extension().and_then(|e| e.to_str());
        ending.map(str::to_ascii_lowercase).unwrap_or_default()
    };
    let due = ending(Path::new(like));
    if ending(file) == due {
        return Ok(());
    }
    let form = if due == "exr" { "an OpenEXR" } else { "a PNG" };
    Err(Error::input(
        option,
        format!(
            "the picture is {form}, and {} says otherwise",
            file.display()
        ),
        format!("give it a name that ends in .{due}"),
    ))
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

/// How light becomes a picture on a screen.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Print {
    tone: Tone,
    exposure: Exposure,
}

impl Print {
    /// As the options ask.
    pub(crate) fn new(tone: args::Tone, exposure: Exposure) -> Self {
        let tone = match tone {
            args::Tone::Film => Tone::Film,
            args::Tone::Plain => Tone::Plain,
        };
        Self { tone, exposure }
    }

    /// The exposure of a picture, stops.
    pub(crate) fn stops(self, picture: &Picture) -> f32 {
        match self.exposure {
            Exposure::Stops(stops) => stops,
            Exposure::Auto => picture.automatic_stops(),
        }
    }

    /// The picture as 8-bit sRGB.
    pub(crate) fn pixels(self, picture: &Picture) -> Vec<u8> {
        picture.to_srgb8_exposed(self.tone, self.stops(picture))
    }
}

/// Writes a picture as PNG.
pub(crate) fn write_picture(path: &Path, picture: &Picture, print: Print) -> Result<()> {
    let size = [picture.width, picture.height];
    write_png(path, size, &print.pixels(picture))
}

/// Says which of the passes that are shown got much less than they asked for.
pub(crate) fn told_of_shortfalls(layout: &Layout, options: &LookOptions, output: &Output) {
    let is_shown = |name: &String| {
        (options.only.is_empty() || options.only.contains(name)) && !options.without.contains(name)
    };
    for pass in layout.passes.iter().filter(|p| is_shown(&p.name)) {
        if let Some(short) = pass.tally.shortfall.as_ref().filter(|s| s.matters()) {
            output.say(&format!("{}: {short}", pass.name));
        }
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
