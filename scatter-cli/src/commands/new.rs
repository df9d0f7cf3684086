//! `strew new`: a folder with a shot that dresses as it stands.

use std::fs::{self, File};
use std::io::{ErrorKind, Write};
use std::path::Path;

use scatter::error::{Error, Result};
use scatter::shot::Preset;

use crate::args::New;
use crate::output::Output;

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
    preset.shot(name).check().map_err(|e| e.in_file(folder))?;
    fs::create_dir(folder).map_err(|e| refused(folder, &e))?;
    let file = folder.join("shot.json");
    if let Err(e) = write(&file, &preset.shot_text(name)) {
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
        "{} is there; dress it with: strew dress {0}",
        file.display()
    ));
    Ok(())
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
