//! `scatter dress`: lay out a shot and deliver it.

use std::path::{Path, PathBuf};
use std::time::Instant;

use scatter::deliver::{self, DeliverOptions, DeliveredFile};
use scatter::error::{Error, Result};
use scatter::layout::{self, Layout, Stage};
use scatter::shot::{self, Shot};

use crate::args::{Dress, Format};
use crate::output::{Output, grouped, table};

pub(crate) fn run(args: &Dress, output: &Output) -> Result<()> {
    let begun = Instant::now();

    // Find every fault that can be found before the long work
    let file = shot_file(&args.shot);
    let mut shot = Shot::read(&file)?;
    if let Some(take) = args.take {
        shot.take = take;
    }
    let folder = file.parent().unwrap_or(Path::new(""));
    let dir = args.out.clone().unwrap_or_else(|| folder.join("out"));
    check_folder(&dir)?;
    let mut stages = vec![Stage {
        name: "read".into(),
        seconds: begun.elapsed().as_secs_f64(),
    }];

    let dressed = layout::dress(&shot, folder, &|stage| output.progress(stage))
        .map_err(|e| e.in_file(&file))?;
    let layout = dressed.layout;
    stages.extend(dressed.stages);
    output.progress("write");

    let files = deliver::write(
        &layout,
        &DeliverOptions {
            dir,
            formats: formats(args, &shot),
            shot_digest: shot.digest(),
            stages,
        },
    )?;
    output.say(&summary(&layout, &files, begun));
    Ok(())
}

/// The file itself, or `shot.json` in the folder.
pub(super) fn shot_file(path: &Path) -> PathBuf {
    if path.is_dir() {
        path.join("shot.json")
    } else {
        path.to_path_buf()
    }
}

/// Refuses a place that can't become a folder.
pub(super) fn check_folder(dir: &Path) -> Result<()> {
    let standing = dir.ancestors().find(|a| a.exists());
    match standing {
        Some(standing) if !standing.is_dir() => Err(Error::input(
            "",
            format!("{} is a file, not a folder", standing.display()),
            "name a folder with --out",
        )
        .in_file(dir)),
        _ => Ok(()),
    }
}

/// Formats from the command line, else from the shot.
fn formats(args: &Dress, shot: &Shot) -> Vec<deliver::Format> {
    if args.formats.is_empty() {
        let asked = shot.deliver.formats.iter();
        return asked
            .map(|format| match format {
                shot::Format::Glb => deliver::Format::Glb,
                shot::Format::Json => deliver::Format::Json,
            })
            .collect();
    }
    let asked = args.formats.iter();
    asked
        .map(|format| match format {
            Format::Glb => deliver::Format::Glb,
            Format::Json => deliver::Format::Json,
        })
        .collect()
}

/// A line a pass, what was refused and why, the files, the time.
fn summary(layout: &Layout, files: &[DeliveredFile], begun: Instant) -> String {
    let head = [
        "pass",
        "asked",
        "placed",
        "cover asked",
        "cover",
        "triangles",
    ];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for pass in &layout.passes {
        let tally = &pass.tally;
        rows.push(vec![
            pass.name.clone(),
            grouped(tally.asked),
            grouped(tally.placed),
            format!("{:.4}", tally.cover_asked),
            format!("{:.4}", tally.cover),
            grouped(tally.triangles),
        ]);
    }
    let mut text = table(&rows);
    for pass in &layout.passes {
        let refused: Vec<String> = pass
            .tally
            .refused
            .iter()
            .filter(|(_, count)| *count > 0)
            .map(|(reason, count)| format!("{} {reason}", grouped(*count)))
            .collect();
        if !refused.is_empty() {
            text.push_str(&format!("{}: refused {}\n", pass.name, refused.join(", ")));
        }
    }
    for file in files {
        text.push_str(&format!(
            "{}  {} bytes\n",
            file.path.display(),
            grouped(file.bytes)
        ));
    }
    text.push_str(&format!(
        "{} pieces, take {}, {:.2} s",
        grouped(layout.instances.len() as u64),
        layout.take,
        begun.elapsed().as_secs_f64()
    ));
    text
}
