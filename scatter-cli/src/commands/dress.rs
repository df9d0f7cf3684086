//! `strew dress`: lay out a shot and deliver it.

use std::path::{Path, PathBuf};
use std::time::Instant;

use scatter::brief::Brief;
use scatter::cancel::Cancel;
use scatter::deliver::{self, DeliverOptions, Delivered, DeliveredFile, Included};
use scatter::error::{Error, Result};
use scatter::layout::{Layout, Refused, Tally};
use scatter::session::{Session, Stage};
use scatter::shot::Shot;

use crate::args::Dress;
use crate::output::{Output, grouped, table};

pub(crate) fn run(args: &Dress, output: &Output) -> Result<()> {
    if args.watch {
        return super::watch::run(args, output);
    }
    let file = shot_file(&args.shot);
    once(args, output, &mut Session::forgetful(folder_of(&file)))
}

/// Lays out and delivers; what the session remembers is taken over where the shot and its files say
/// the same.
pub(super) fn once(args: &Dress, output: &Output, session: &mut Session) -> Result<()> {
    let begun = Instant::now();
    // Find every fault that can be found before the long work
    let file = shot_file(&args.shot);
    let mut asked = Asked::read(args, &file)?;
    asked.options.stages.push(Stage {
        name: "read".into(),
        seconds: begun.elapsed().as_secs_f64(),
    });
    let dressed = session.dress(
        &asked.brief,
        &|stage| output.progress(stage),
        &Cancel::new(),
    );
    let (layout, change) = dressed.map_err(|e| e.in_file(&file))?;
    for warning in &layout.warnings {
        output.warn(&file, warning);
    }
    output.progress("write");
    let delivered = asked.deliver(session, &layout, change.work.stages)?;
    told_of_folder(&delivered, output);
    output.say(&summary(&layout, &delivered.files, begun));
    Ok(())
}

/// What a command line and its shot ask for, known to be sound.
struct Asked<'a> {
    args: &'a Dress,
    shot: Shot,
    brief: Brief,
    options: DeliverOptions<'static>,
}

impl<'a> Asked<'a> {
    fn read(args: &'a Dress, file: &Path) -> Result<Self> {
        let mut shot = Shot::read(file)?;
        if let Some(take) = args.take {
            shot.take = take;
        }
        let shot_digest = shot.digest();
        if !args.formats.is_empty() {
            shot.deliver.formats.clone_from(&args.formats);
            shot.deliver.formats.sort_unstable();
            shot.deliver.formats.dedup();
        }
        let brief = shot.brief().map_err(|e| e.in_file(file))?;
        let default = || folder_of(file).join("out");
        let dir = args.out.clone().unwrap_or_else(default);
        check_folder(&dir)?;
        let options = DeliverOptions {
            space: shot.deliver.space,
            split: shot.deliver.split,
            shot_digest,
            ..DeliverOptions::new(dir, &shot.deliver.formats)
        };
        deliver::check_folder(&options)?;
        Ok(Self {
            args,
            shot,
            brief,
            options,
        })
    }

    /// Writes a layout; `stages` are what its dressing took.
    fn deliver(
        self,
        session: &mut Session,
        layout: &Layout,
        stages: Vec<Stage>,
    ) -> Result<Delivered> {
        let prepared = session.prepare(&self.brief)?;
        let mut options = self.options;
        options.stages.extend(stages);
        let mut timed = |name: &str, begun: Instant| {
            options.stages.push(Stage {
                name: name.into(),
                seconds: begun.elapsed().as_secs_f64(),
            });
        };
        let begun = Instant::now();
        let included = Included::new(prepared.scene(), &self.shot.deliver.include);
        timed("scene", begun);
        let begun = Instant::now();
        let seen =
            (self.args.seen || self.shot.deliver.seen).then(|| prepared.first_last_seen(layout));
        if seen.is_some() {
            timed("seen", begun);
        }
        let options = DeliverOptions {
            included,
            seen,
            ..options
        };
        deliver::write(layout, &options)
    }
}

/// Says what stood in the folder before, and what became of it.
fn told_of_folder(delivered: &Delivered, output: &Output) {
    if let Some(found) = &delivered.found {
        output.say(&format!("warning: before this delivery, {found}"));
    }
    for file in &delivered.removed {
        output.say(&format!(
            "{}  removed: it was of the delivery before",
            file.display()
        ));
    }
    for file in &delivered.left {
        output.say(&format!(
            "warning: {} is no part of this delivery; remove it if you don't need it",
            file.display()
        ));
    }
}

/// The folder of a shot's file.
pub(super) fn folder_of(file: &Path) -> PathBuf {
    file.parent().unwrap_or(Path::new("")).to_path_buf()
}

/// The file itself, or `shot.json` in the folder.
pub(super) fn shot_file(path: &Path) -> PathBuf {
    if path.is_dir() {
        path.join("shot.json")
    } else {
        path.to_path_buf()
    }
}

/// Refuses a place that can't become a folder: said of what was asked for, before the disk is
/// tried.
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

/// Metres in millimetres.
fn mm(metres: f64) -> f64 {
    1e3 * metres
}

/// Why pieces that were thrown don't lie, in a column of the table each; the shade's own reasons
/// are told with it.
const COLUMNS: [(&str, &[Refused]); 4] = [
    ("no room", &[Refused::NoRoom]),
    ("kept clear", &[Refused::KeptClear]),
    ("fell off", &[Refused::Slides, Refused::CutsIn]),
    (
        "other",
        &[Refused::Removed, Refused::InFrame, Refused::ShadesHero],
    ),
];

/// A line a pass with what became of what was thrown, a sentence where a pass is short, the files,
/// the time.
fn summary(layout: &Layout, files: &[DeliveredFile], begun: Instant) -> String {
    let counts = |tally: &Tally, reasons: &[Refused]| -> u64 {
        let all = tally.refused.iter().filter(|(r, _)| reasons.contains(r));
        all.map(|(_, count)| count).sum()
    };
    let told: Vec<_> = COLUMNS
        .iter()
        .filter(|(_, reasons)| layout.passes.iter().any(|p| counts(&p.tally, reasons) > 0))
        .collect();
    let mut head = vec!["pass".to_owned(), "asked".into(), "thrown".into()];
    head.extend(told.iter().map(|(name, _)| (*name).to_owned()));
    head.extend(["laid", "cover asked", "cover laid", "in layout"].map(str::to_owned));
    let mut rows = vec![head];
    for pass in &layout.passes {
        let tally = &pass.tally;
        let mut row = vec![
            pass.name.clone(),
            grouped(tally.asked),
            grouped(tally.thrown),
        ];
        row.extend(
            told.iter()
                .map(|(_, reasons)| grouped(counts(tally, reasons))),
        );
        row.extend([
            grouped(tally.laid),
            format!("{:.4}", tally.cover_asked),
            format!("{:.4}", tally.cover),
            grouped(tally.placed),
        ]);
        rows.push(row);
    }
    let mut text = table(&rows);
    text.push_str(
        "(on the ground that the frames show; `in layout` with what throws its shadow there)\n",
    );
    for pass in &layout.passes {
        if let Some(short) = &pass.tally.shortfall {
            text.push_str(&format!("{}: {short}\n", pass.name));
        }
    }
    for figures in layout.passes.iter().filter_map(|p| p.tally.carpet) {
        text.push_str(&format!(
            "carpet: {} tiles of {:.0} mm, {} grains; draw the ground {:.0} mm lower\n",
            grouped(figures.tiles),
            mm(figures.tile),
            grouped(figures.grains),
            mm(figures.sunk)
        ));
    }
    for figures in layout.passes.iter().filter_map(|p| p.tally.shade) {
        let [lit, fleck, softness] = [figures.lit, figures.fleck.map(mm), figures.softness.map(mm)];
        text.push_str(&format!(
            "shade: {:.3} lit ({:.3} asked), flecks {:.0} mm ({:.0}), softness {:.1} mm ({:.1}), {:.2} m above the ground\n",
            lit[1], lit[0], fleck[1], fleck[0], softness[1], softness[0], figures.height
        ));
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
