//! `strew look`: a picture through a camera of the shot.

use std::path::PathBuf;
use std::time::Instant;

use scatter::cancel::Cancel;
use scatter::deliver::manifest::problem_of_layout;
use scatter::error::{Error, Result};
use scatter::layout::Layout;
use scatter::optics::Camera;
use scatter::picture::{self, LookOptions, Picture, Sheet, Subject, Tone, TracedKit};
use scatter::session::Session;

use super::first::{self, First};
use super::scene::{Found, told, tone, warned, write_picture, write_png};
use crate::args::Look;
use crate::output::{Output, grouped};

pub(crate) fn run(args: &Look, output: &Output) -> Result<()> {
    let view = View::new(args, output)?;
    if !args.hours.is_empty() {
        return view.hours();
    }
    let coarse = args.before_after.is_empty() && first::wanted(&view.camera, &view.options);
    let mut session = if coarse && args.layout.is_none() {
        Session::open(view.found.folder())
    } else {
        Session::forgetful(view.found.folder())
    };
    let brief = view.found.brief()?;
    let prepared = session.prepare(&brief).map_err(|e| view.in_file(e))?;
    for warning in prepared.warnings() {
        output.warn(&view.found.file, warning);
    }
    let (layout, kit) = match &args.layout {
        Some(file) => {
            if let Some(problem) = problem_of_layout(file) {
                view.output.warn(file, &problem);
            }
            let layout = session.read(file, &brief)?;
            let kit = TracedKit::new(&layout.pieces);
            if coarse {
                let subject = Subject::new(prepared.scene(), &layout);
                let picture = picture::coarse(&kit, &subject, &view.camera, &view.options)?;
                write_picture(&view.path, &picture, view.tone)?;
            }
            (layout, kit)
        }
        None => {
            let kit = TracedKit::new(prepared.pieces());
            if coarse {
                prepared.check_budget(&brief).map_err(|e| view.in_file(e))?;
                view.first(&kit)
                    .show(&mut session, (&view.path, view.tone), output)?;
            }
            let dressed = session.dress(&brief, &|stage| output.progress(stage), &Cancel::new());
            (dressed.map_err(|e| view.in_file(e))?.0, kit)
        }
    };
    drop(session);
    let subject = Subject::new(prepared.scene(), &layout);
    if args.before_after.is_empty() {
        view.render(&subject, &kit)
    } else {
        view.before_after(&subject, &kit)
    }
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
    tone: Tone,
}

impl<'a> View<'a> {
    fn new(args: &'a Look, output: &'a Output) -> Result<Self> {
        let begun = Instant::now();
        let found = Found::new(&args.at)?;
        let camera = found.camera(args.view.camera.as_deref())?;
        for (option, names) in [
            ("--only", &args.only),
            ("--without", &args.without),
            ("--before-after", &args.before_after),
        ] {
            found.check_passes(option, names)?;
        }
        let path = found.target(args.out.as_deref(), "look.png")?;
        if let Some(exr) = &args.exr {
            picture::check_target(exr)?;
        }
        let options = LookOptions {
            width: args.view.width,
            samples: args.view.samples,
            bounces: args.view.bounces,
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
            tone: tone(args.view.tone),
        })
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
            failed = write_picture(&self.path, so_far, self.tone).err();
            failed.is_none()
        };
        let picture = picture::render_with(kit, subject, &self.camera, options, &mut progress)?;
        if let Some(error) = failed {
            return Err(error);
        }
        if let Some(exr) = &self.args.exr {
            let layers = picture::layers(kit, subject, &self.camera, options)?;
            picture::exr::write(exr, &picture, &layers)?;
            output.say(&format!(
                "{}  16-bit light, depth, a matte a pass",
                exr.display()
            ));
        }
        warned(output, &picture);
        let what = format!(
            "{} x {}, {} pieces, take {}, {} samples, {} rays",
            picture.width,
            picture.height,
            grouped(picture.figures.instances),
            subject.layout.take,
            options.samples,
            grouped(picture.figures.rays)
        );
        told(output, &self.path, &what, self.seconds());
        Ok(())
    }

    /// Without some passes and with them, side by side.
    fn before_after(&self, subject: &Subject<'_>, kit: &TracedKit) -> Result<()> {
        let (options, output) = (&self.options, self.output);
        let mut sheet = Sheet::with_columns(2, [options.width, options.height(&self.camera)], 2)?;
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
            sheet.place(i, &picture.to_srgb8(self.tone), &label);
        }
        write_png(&self.path, sheet.size(), sheet.rgb())?;
        let what = format!("without and with {names}");
        told(output, &self.path, &what, self.seconds());
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
            shot.brief().map_err(|e| self.in_file(e))
        };
        // All hours must have light before the first picture is made
        let hours = self.args.hours.iter();
        let briefs = hours
            .map(|hour| at_hour(*hour))
            .collect::<Result<Vec<_>>>()?;
        let size = [self.options.width, self.options.height(&self.camera)];
        let mut sheet = Sheet::new(briefs.len() as u32, size)?;
        let mut session = Session::forgetful(self.found.folder());
        for (i, (brief, hour)) in (0..).zip(briefs.iter().zip(&self.args.hours)) {
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
            sheet.place(i, &picture.to_srgb8(self.tone), &label);
        }
        write_png(&self.path, sheet.size(), sheet.rgb())?;
        let what = format!("{} hours, take {}", briefs.len(), self.found.shot.take);
        told(self.output, &self.path, &what, self.seconds());
        Ok(())
    }
}

/// An hour as a clock shows it.
fn clock(hour: f64) -> String {
    let minutes = (hour * 60.0).round() as u64;
    format!("{}:{:02}", minutes / 60, minutes % 60)
}
