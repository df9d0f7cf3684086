//! `strew look`: a picture through a camera of the shot.

use std::path::PathBuf;
use std::time::Instant;

use scatter::cancel::Cancel;
use scatter::deliver::manifest::problem_of_layout;
use scatter::error::{Error, Result};
use scatter::layout::Layout;
use scatter::optics::Camera;
use scatter::picture::{self, LookOptions, Picture, Sheet, Subject, TracedKit};
use scatter::session::Session;

use super::first::{self, First};
use super::scene::{
    Found, Print, check_ending, check_parent, told, told_of_shortfalls, warned, write_picture,
    write_png,
};
use super::watch;
use crate::args::{Exposure, Look};
use crate::output::{Output, grouped};

pub(crate) fn run(args: &Look, output: &Output) -> Result<()> {
    if args.watch {
        return watch::follow(&args.at.shot, output, &mut |session, changed| {
            let view = View::new(args, output, changed)?;
            match args.strip {
                Some(count) => view.strip(count, session),
                None => view.make(session),
            }
        });
    }
    let view = View::new(args, output, &|| false)?;
    if !args.hours.is_empty() {
        return view.hours();
    }
    if let Some(count) = args.strip {
        return view.strip(count, &mut Session::forgetful(view.found.folder()));
    }
    let folder = view.found.folder();
    // What is laid for the coarse picture is used again
    let mut session = if view.coarse() && args.layout.is_none() {
        Session::open(folder)
    } else {
        Session::forgetful(folder)
    };
    view.make(&mut session)
}

/// What is asked to be seen, known to be sound.
struct View<'a> {
    args: &'a Look,
    output: &'a Output,
    begun: Instant,
    found: Found,
    camera: Camera,
    options: LookOptions,
    path: PathBuf,
    print: Print,
    /// Whether what is shown has changed since, so that the rest of the work is in vain.
    changed: &'a dyn Fn() -> bool,
}

impl<'a> View<'a> {
    fn new(args: &'a Look, output: &'a Output, changed: &'a dyn Fn() -> bool) -> Result<Self> {
        let begun = Instant::now();
        let found = Found::new(&args.at, args.view.mood)?;
        let camera = found.camera(args.view.camera.as_deref(), args.view.frame)?;
        for (option, names) in [
            ("--only", &args.only),
            ("--without", &args.without),
            ("--before-after", &args.before_after),
        ] {
            found.check_passes(option, names)?;
        }
        if let Some(both) = args.only.iter().find(|name| args.without.contains(name)) {
            let problem = format!("`{both}` is named by --without, too");
            return Err(Error::input("--only", problem, "name it in one of them"));
        }
        let default = match (args.strip, args.view.crop) {
            (Some(_), _) => "strip.png",
            (None, Some(_)) => "crop.png",
            (None, None) => "look.png",
        };
        let path = found.target(args.out.as_deref(), default)?;
        if let Some(exr) = &args.exr {
            check_parent("--exr", exr)?;
            picture::check_target(exr)?;
            check_ending("--exr", exr, "look.exr")?;
        }
        let options = LookOptions {
            width: args.view.width,
            crop: args.view.crop.map(|crop| crop.0),
            samples: args.view.samples,
            bounces: args.view.bounces,
            denoise: args.view.noise.is_taken_out(args.view.samples),
            only: args.only.clone(),
            without: args.without.clone(),
            ..LookOptions::default()
        };
        options.check(&camera)?;
        Ok(Self {
            args,
            output,
            begun,
            found,
            camera,
            options,
            path,
            print: Print::new(args.view.tone, args.view.exposure),
            changed,
        })
    }

    /// Whether a coarse picture comes first.
    fn coarse(&self) -> bool {
        self.args.before_after.is_empty() && first::wanted(&self.camera, &self.options)
    }

    /// Dresses the shot, or reads a layout of it, and makes the picture.
    fn make(&self, session: &mut Session) -> Result<()> {
        let output = self.output;
        let brief = self.found.brief()?;
        let prepared = session.prepare(&brief).map_err(|e| self.in_file(e))?;
        for warning in prepared.warnings() {
            output.warn(&self.found.file, warning);
        }
        let (layout, kit) = match &self.args.layout {
            Some(file) => {
                if let Some(problem) = problem_of_layout(file) {
                    output.warn(file, &problem);
                }
                let layout = session.read(file, &brief)?;
                let kit = TracedKit::new(&layout.pieces);
                if self.coarse() {
                    let subject = Subject::new(prepared.scene(), &layout);
                    let picture = picture::coarse(&kit, &subject, &self.camera, &self.options)?;
                    write_picture(&self.path, &picture, self.print)?;
                }
                (layout, kit)
            }
            None => {
                let kit = TracedKit::new(prepared.pieces());
                if self.coarse() {
                    prepared.check_budget(&brief).map_err(|e| self.in_file(e))?;
                    self.first(&kit)
                        .show(session, (&self.path, self.print), output)?;
                }
                let progress = |stage: &str| output.progress(stage);
                let dressed = session.dress(&brief, &progress, &Cancel::new());
                (dressed.map_err(|e| self.in_file(e))?.0, kit)
            }
        };
        // What the dressing itself found: what was read is told above
        let known = prepared.warnings();
        for warning in layout.warnings.iter().filter(|w| !known.contains(w)) {
            output.warn(&self.found.file, warning);
        }
        told_of_shortfalls(&layout, &self.options, output);
        let subject = Subject::new(prepared.scene(), &layout);
        if self.args.before_after.is_empty() {
            self.render(&subject, &kit)
        } else {
            self.before_after(&subject, &kit)
        }
    }

    fn in_file(&self, error: Error) -> Error {
        error.in_file(&self.found.file)
    }

    /// The coarse picture that comes first.
    fn first<'b>(&'b self, kit: &'b TracedKit) -> First<'b> {
        First {
            found: &self.found,
            kit,
            camera: &self.camera,
            options: &self.options,
        }
    }

    fn seconds(&self) -> f64 {
        self.begun.elapsed().as_secs_f64()
    }

    /// The picture itself. Each step of samples is put in place of the one before: a viewer that
    /// has the file open follows.
    fn render(&self, subject: &Subject<'_>, kit: &TracedKit) -> Result<()> {
        let (options, output) = (&self.options, self.output);
        let mut failed = None;
        let mut progress = |so_far: &Picture, taken: u32| {
            output.progress(&format!(
                "{taken} of {} samples, {:.1} s",
                options.samples,
                self.seconds()
            ));
            failed = write_picture(&self.path, so_far, self.print).err();
            failed.is_none() && !(self.changed)()
        };
        let picture = picture::render_with(kit, subject, &self.camera, options, &mut progress)?;
        if let Some(error) = failed {
            return Err(error);
        }
        if let Some(exr) = &self.args.exr {
            let layers = picture::layers(kit, subject, &self.camera, options)?;
            picture::exr::write(exr, &picture, &layers)?;
            output.say(&format!(
                "{}  16-bit light{}, depth, a matte a pass, ids",
                exr.display(),
                if options.denoise {
                    ", denoised and raw"
                } else {
                    ""
                }
            ));
        }
        warned(output, &picture);
        if self.args.view.exposure == Exposure::Auto {
            let stops = self.print.stops(&picture);
            output.say(&format!("exposure {stops:+.1} stops"));
        }
        let what = format!(
            "{} x {}, {} pieces, take {}, {} samples{}, {} rays",
            picture.width,
            picture.height,
            grouped(picture.figures.instances),
            subject.layout.take,
            options.samples,
            self.denoised(),
            grouped(picture.figures.rays)
        );
        told(output, &self.path, &what, self.seconds());
        Ok(())
    }

    /// Without some passes and with them, side by side.
    fn before_after(&self, subject: &Subject<'_>, kit: &TracedKit) -> Result<()> {
        let (options, output) = (&self.options, self.output);
        let mut sheet = Sheet::with_columns(2, self.size(), 2)?;
        let bare = LookOptions {
            without: [&options.without[..], &self.args.before_after[..]].concat(),
            ..options.clone()
        };
        let names = self.args.before_after.join(", ");
        let halves = [
            (&bare, format!("without {names}")),
            (options, format!("with {names}")),
        ];
        for (i, (options, label)) in (0..).zip(halves) {
            let mut progress = |_: &Picture, taken: u32| {
                output.progress(&format!("{label}, {taken} of {} samples", options.samples));
                true
            };
            let picture = picture::render_with(kit, subject, &self.camera, options, &mut progress)?;
            if i == 0 {
                warned(output, &picture);
            }
            sheet.place(i, &self.print.pixels(&picture), &label);
        }
        write_png(&self.path, sheet.size(), sheet.rgb())?;
        let what = format!("without and with {names}{}", self.denoised());
        told(output, &self.path, &what, self.seconds());
        Ok(())
    }

    /// What is said of a picture whose noise is taken out.
    fn denoised(&self) -> &'static str {
        if self.options.denoise {
            ", denoised"
        } else {
            ""
        }
    }

    /// Width and height of the picture, pixels.
    fn size(&self) -> [u32; 2] {
        let part = self.options.part(&self.camera);
        [part.width, part.height]
    }

    /// Frames of a moving camera, spread evenly from its first to its last.
    fn strip(&self, count: u32, session: &mut Session) -> Result<()> {
        let track = self.found.track(self.args.view.camera.as_deref())?;
        if !track.moves() {
            let problem = format!("camera `{}` does not move", track.name);
            let hint = "leave out --strip, or name a camera that has keys or an animation";
            return Err(self.in_file(Error::input("--strip", problem, hint)));
        }
        let count = (count as usize).min(track.frames.len());
        let shown = (0..count).map(|i| i * (track.frames.len() - 1) / (count - 1).max(1));
        let mut sheet = Sheet::new(count as u32, self.size())?;
        let brief = self.found.brief()?;
        let progress = |stage: &str| self.output.progress(stage);
        let dressed = session.dress(&brief, &progress, &Cancel::new());
        let (layout, _) = dressed.map_err(|e| self.in_file(e))?;
        told_of_shortfalls(&layout, &self.options, self.output);
        let prepared = session.prepare(&brief).map_err(|e| self.in_file(e))?;
        let subject = Subject::new(prepared.scene(), &layout);
        let kit = TracedKit::new(&layout.pieces);
        for (i, index) in (0..).zip(shown) {
            let label = format!("frame {}", track.first + index as i64);
            self.output.progress(&label);
            let camera = &track.frames[index];
            let mut go_on = |_: &Picture, _: u32| !(self.changed)();
            let picture = picture::render_with(&kit, &subject, camera, &self.options, &mut go_on)?;
            if (self.changed)() {
                // It is made again at once
                return Ok(());
            }
            if i == 0 {
                warned(self.output, &picture);
            }
            sheet.place(i, &self.print.pixels(&picture), &label);
        }
        write_png(&self.path, sheet.size(), sheet.rgb())?;
        let what = format!(
            "{count} of {} frames, take {}{}",
            track.frames.len(),
            layout.take,
            self.denoised()
        );
        told(self.output, &self.path, &what, self.seconds());
        Ok(())
    }

    /// One take under the light of several hours.
    fn hours(&self) -> Result<()> {
        let Some(day) = self.found.shot.light.day else {
            return Err(self.in_file(Error::input(
                "light",
                "--hours needs a place and a date",
                "give the shot a light such as { \"day\": { \"latitude\": \"47 deg\", \"longitude\": \"8 deg\", \"date\": \"2026-10-25\", \"hour\": 15 } }",
            )));
        };
        let at_hour = |hour: f64| {
            let mut shot = self.found.shot.clone();
            shot.light.day = Some(scatter::shot::Day { hour, ..day });
            shot.brief().map_err(|mut e| {
                e.faults
                    .iter_mut()
                    .for_each(|f| f.place = "--hours".to_owned());
                e
            })
        };
        // Known before the first picture is made: an hour without light is left out
        let mut briefs = Vec::new();
        let mut dark = None;
        for hour in &self.args.hours {
            match at_hour(*hour) {
                Ok(brief) => briefs.push((*hour, brief)),
                Err(error) => {
                    let problem = &error.faults[0].problem;
                    self.output
                        .say(&format!("warning: --hours: {problem}; it is left out"));
                    dark.get_or_insert(error);
                }
            }
        }
        if let (true, Some(error)) = (briefs.is_empty(), dark) {
            return Err(self.in_file(error));
        }
        let mut sheet = Sheet::new(briefs.len() as u32, self.size())?;
        let mut session = Session::forgetful(self.found.folder());
        for (i, (hour, brief)) in (0..).zip(&briefs) {
            let label = clock(*hour);
            self.output.progress(&label);
            // Other shadows reach into the frame: the same pieces, and others out of it
            let progress = |stage: &str| self.output.progress(stage);
            let dressed = session.dress(brief, &progress, &Cancel::new());
            let (layout, _): (Layout, _) = dressed.map_err(|e| self.in_file(e))?;
            let prepared = session.prepare(brief).map_err(|e| self.in_file(e))?;
            let subject = Subject::new(prepared.scene(), &layout);
            let picture = picture::render(&subject, &self.camera, &self.options, &mut |_, _| true)?;
            if i == 0 {
                warned(self.output, &picture);
            }
            sheet.place(i, &self.print.pixels(&picture), &label);
        }
        write_png(&self.path, sheet.size(), sheet.rgb())?;
        let hours = match briefs.len() {
            1 => "1 hour".to_owned(),
            many => format!("{many} hours"),
        };
        let what = format!("{hours}, take {}{}", self.found.shot.take, self.denoised());
        told(self.output, &self.path, &what, self.seconds());
        Ok(())
    }
}

/// An hour as a clock shows it.
fn clock(hour: f64) -> String {
    let minutes = (hour * 60.0).round() as u64;
    format!("{}:{:02}", minutes / 60, minutes % 60)
}
