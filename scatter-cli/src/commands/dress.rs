//! `strew dress`: lay out a shot and deliver it.

use std::path::{Path, PathBuf};
use std::time::Instant;

use scatter::brief::Brief;
use scatter::cancel::Cancel;
use scatter::deliver::{self, DeliverOptions, Delivered, Included};
use scatter::error::{Error, Result};
use scatter::layout::Layout;
use scatter::session::{Session, Stage};
use scatter::shot::{Camera, Format, Include, Shot, Split};

use super::{summary, watch};
use crate::args::{self, Dress, SpaceWord};
use crate::output::Output;

pub(crate) fn run(args: &Dress, output: &Output) -> Result<()> {
    if args.watch {
        let mut before = None;
        return watch::follow(&args.shot, output, &mut |session, _| {
            before = Some(once(args, output, session, before.as_ref())?);
            Ok(())
        });
    }
    let file = shot_file(&args.shot);
    let mut session = Session::forgetful(folder_of(&file));
    once(args, output, &mut session, None).map(drop)
}

/// Lays out and delivers; what the session remembers is taken over where the shot and its files say
/// the same. Tells the whole table, or what differs from the layout `before`.
fn once(
    args: &Dress,
    output: &Output,
    session: &mut Session,
    before: Option<&Layout>,
) -> Result<Layout> {
    let begun = Instant::now();
    // Find every fault that can be found before the long work
    let file = shot_file(&args.shot);
    let mut asked = Asked::read(args, &file)?;
    asked.told_in_vain(&file, output);
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
    let delivered = asked.deliver(session, &layout, change.work.stages, output)?;
    let told = match before {
        None => summary::whole(&layout, &delivered.files, begun),
        Some(before) => summary::difference(before, &layout, &change.pieces, begun),
    };
    output.say(&told);
    told_of_folder(&delivered, output);
    Ok(layout)
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
        if let Some(name) = &args.kept {
            shot = shot.kept(name).map_err(|e| e.in_file(file))?;
        }
        if let Some(take) = args.take {
            shot.take = take;
        }
        let shot_digest = shot.digest();
        check_words(args)?;
        deliver_as(args, &mut shot);
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

    /// Says which options change nothing in this delivery.
    fn told_in_vain(&self, file: &Path, output: &Output) {
        let deliver = &self.shot.deliver;
        let spaced = |f: &Format| matches!(f, Format::Usda | Format::Json | Format::Csv);
        if !self.args.space.is_empty() && !deliver.formats.iter().any(spaced) {
            output.say(
                "warning: --space changes nothing here: it is for usda, json and csv, and glTF stays in metres, +y up",
            );
        }
        if deliver.include.contains(&Include::Hero) && self.shot.hero.is_empty() {
            output.warn(
                file,
                "the delivery is to include the hero, and the shot has none",
            );
        }
        let moves = |c: &Camera| c.keys.is_some() || c.file.is_some();
        if (self.args.seen || deliver.seen) && !self.shot.cameras.iter().any(moves) {
            output.warn(
                file,
                "the frames in which pieces are seen are those of moving cameras, and none moves",
            );
        }
    }

    /// Writes a layout; `stages` are what its dressing took.
    fn deliver(
        self,
        session: &mut Session,
        layout: &Layout,
        stages: Vec<Stage>,
        output: &Output,
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
        if let Some(warning) = included.ground.and_then(|ground| ground.warning()) {
            output.warn(&shot_file(&self.args.shot), &warning);
        }
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

/// Refuses lists whose words say two things.
fn check_words(args: &Dress) -> Result<()> {
    let kinds = |is: fn(&SpaceWord) -> bool| args.space.iter().filter(|w| is(w)).count();
    let twice = [
        ("a unit", kinds(|w| matches!(w, SpaceWord::Unit(_)))),
        ("an up axis", kinds(|w| matches!(w, SpaceWord::Up(_)))),
        ("a hand", kinds(|w| matches!(w, SpaceWord::Hand(_)))),
    ];
    if let Some((what, _)) = twice.iter().find(|(_, count)| *count > 1) {
        let problem = format!("{what} is given twice");
        return Err(Error::input(
            "--space",
            problem,
            "one of each, such as cm,+z,left",
        ));
    }
    if args.include.contains(&args::Include::None) && args.include.len() > 1 {
        let problem = "`none` stands beside other words";
        return Err(Error::input(
            "--include",
            problem,
            "`none` alone, or what to include",
        ));
    }
    Ok(())
}

/// Sets what the shot says of its delivery to what the options say.
fn deliver_as(args: &Dress, shot: &mut Shot) {
    if !args.formats.is_empty() {
        shot.deliver.formats.clone_from(&args.formats);
        shot.deliver.formats.sort_unstable();
        shot.deliver.formats.dedup();
    }
    for word in &args.space {
        match *word {
            SpaceWord::Unit(unit) => shot.deliver.space.unit = unit,
            SpaceWord::Up(up) => shot.deliver.space.up = up,
            SpaceWord::Hand(hand) => shot.deliver.space.hand = hand,
        }
    }
    if !args.include.is_empty() {
        let asked = args.include.iter().filter_map(|what| match what {
            args::Include::Cameras => Some(Include::Cameras),
            args::Include::Ground => Some(Include::Ground),
            args::Include::Hero => Some(Include::Hero),
            args::Include::Sun => Some(Include::Sun),
            args::Include::None => None,
        });
        shot.deliver.include = asked.collect();
    }
    match args.split {
        None => {}
        Some(args::Split::None) => shot.deliver.split = None,
        Some(args::Split::Passes) => shot.deliver.split = Some(Split::Passes),
    }
}

/// Says what stood in the folder before, and what became of it.
fn told_of_folder(delivered: &Delivered, output: &Output) {
    if let Some(found) = &delivered.found {
        output.say(&format!("warning: before this delivery, {found}"));
    }
    for file in &delivered.removed {
        output.alert(&format!(
            "{} is deleted: it was of the last delivery there, and this one does not write it",
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
