//! `strew takes`: a sheet of takes, and a line each of what differs.

use std::path::Path;
use std::time::Instant;

use scatter::brief::PINS;
use scatter::cancel::Cancel;
use scatter::error::{Error, Result};
use scatter::layout::Layout;
use scatter::optics::Camera;
use scatter::picture::{self, Backdrop, LookOptions, Sheet, Subject, Tone, TracedKit};
use scatter::session::Session;
use scatter::shot::{Keep, Shot};

use super::paths::typed;
use super::scene::{Found, told, told_of_shortfalls, warned, write_png};
use crate::args::Takes;
use crate::output::{Output, grouped, table};

/// Pieces under this share of a small picture's pixel are not made: the finest that the shot itself
/// would resolve by default.
const FINEST_PIXELS: f64 = 1.0;

pub(crate) fn run(args: &Takes, output: &Output) -> Result<()> {
    let begun = Instant::now();
    let found = Found::new(&args.at, args.mood)?;
    if args.hold.is_empty() && args.at.take.is_some() {
        let problem = "it says in which take --hold holds its passes, and --hold is not given";
        return Err(Error::input(
            "--take",
            problem,
            "`--from` is the first take to show",
        ));
    }
    if args.hold.is_empty() && args.at.kept.is_some() && found.shot.takes.is_empty() {
        let problem = "the take holds no passes, and --hold names none";
        let hint = "`strew look --kept` shows a kept take; `--from` is the first take to show";
        return Err(Error::input("--kept", problem, hint));
    }
    let camera = found.camera(args.camera.as_deref(), None)?;
    found.check_passes("--hold", &args.hold)?;
    let path = found.target(args.out.as_deref(), "takes.png")?;
    let options = LookOptions {
        width: args.width,
        samples: args.samples,
        denoise: args.noise.is_taken_out(args.samples),
        ..LookOptions::default()
    };
    options.check(&camera)?;

    let shot = found
        .shot
        .holding(&args.hold)
        .map_err(|e| e.in_file(&found.file))?;
    let first = args.from.unwrap_or(if args.hold.is_empty() {
        1
    } else {
        shot.take.saturating_add(1)
    });
    let finest = FINEST_PIXELS * f64::from(camera.frame[0]) / f64::from(args.width);
    let sketch = (!args.full && finest > shot.resolve.pixels).then_some(finest);
    let take = |i: u32| first.saturating_add(u64::from(i));
    let takes: Vec<u64> = (0..args.count).map(take).collect();
    let (sheet, rows) = sheet(&takes, (&found, &shot), sketch, (&camera, &options), output)?;
    write_png(&path, sheet.size(), sheet.rgb())?;
    // The sheet is what was asked for
    output.detail(&table(&rows))?;
    if sketch.is_some() {
        output.say(
            "Pieces smaller than a pixel are left out and not counted, so nothing rests on them. Use --full to include them.",
        );
    }
    output.say(&lines_to_keep(&shot, first, &args.at.shot));
    let denoised = if options.denoise { ", denoised" } else { "" };
    let what = format!("{} takes from {first}{denoised}", args.count);
    told(output, &path, &what, begun.elapsed().as_secs_f64());
    Ok(())
}

/// Takes side by side, and the lines of the table. With a `sketch` pieces are no finer than so many
/// pixels of the shot's frame.
fn sheet(
    takes: &[u64],
    (found, shot): (&Found, &Shot),
    sketch: Option<f64>,
    (camera, options): (&Camera, &LookOptions),
    output: &Output,
) -> Result<(Sheet, Vec<Vec<String>>)> {
    let in_file = |e: Error| e.in_file(&found.file);
    let mut brief = shot.brief().map_err(in_file)?;
    if let Some(pixels) = sketch {
        // Sizes too small to see never change where the larger ones are
        brief.resolve.pixels = pixels;
        brief.sketch = true;
    }
    // Refused before any work if it would be too large
    let count = takes.len() as u32;
    let mut sheet = Sheet::new(count, [options.width, options.height(camera)])?;
    let mut session = Session::forgetful(found.folder());
    let prepared = session.prepare(&brief).map_err(in_file)?;
    let scene = prepared.scene();
    let kit = TracedKit::new(prepared.pieces());
    let mut dress = |take: u64| {
        let dressed = session.dress(&brief.at_take(take), &|_| {}, &Cancel::new());
        dressed.map(|(layout, _)| layout).map_err(in_file)
    };
    let mut rows = vec![heading(shot)];
    let mut ahead = takes.iter().copied();
    let mut next = ahead.next().map(&mut dress).transpose()?;
    let Some(first) = &next else {
        return Ok((sheet, rows));
    };
    let backdrop = Backdrop::new(&Subject::new(scene, first), camera, options)?;
    for (i, take) in (0..).zip(takes) {
        let Some(layout) = next.take() else { break };
        output.progress(&format!("take {take}, {} of {count}", i + 1));
        let subject = Subject::new(scene, &layout);
        let render =
            || picture::render_before(&backdrop, &kit, &subject, camera, options, &mut |_, _| true);
        // A dressing leaves cores idle now and then: the picture of the take before fills them
        let (picture, dressed) = rayon::join(render, || ahead.next().map(&mut dress).transpose());
        let picture = picture?;
        next = dressed?;
        if i == 0 {
            warned(output, &picture);
            if sketch.is_none() {
                told_of_shortfalls(&layout, options, output);
            }
        }
        let pixels = picture.to_srgb8(Tone::Film);
        sheet.place(i, &pixels, &take.to_string());
        rows.push(row(&layout));
    }
    Ok((sheet, rows))
}

/// What the columns hold.
fn heading(shot: &Shot) -> Vec<String> {
    let mut heading = vec!["take".into(), "pieces".into()];
    heading.extend(shot.pass_names().map(|name| format!("cover {name}")));
    heading.extend(["largest", "x", "z"].map(Into::into));
    heading
}

/// A take in figures: pieces, cover of each pass, the largest piece and where it lies.
fn row(layout: &Layout) -> Vec<String> {
    let mut row = vec![
        layout.take.to_string(),
        grouped(layout.instances.len() as u64),
    ];
    row.extend(
        layout
            .passes
            .iter()
            .filter(|p| p.name != PINS)
            .map(|p| format!("{:.3}", p.tally.cover)),
    );
    let largest = layout
        .instances
        .iter()
        .filter(|p| !layout.passes[usize::from(p.pass)].tally.is_of_shot())
        .max_by(|a, b| a.diameter.total_cmp(&b.diameter).then(b.id.cmp(&a.id)));
    match largest {
        Some(piece) => row.extend([
            format!("{:.0} mm", piece.diameter * 1e3),
            format!("{:.2} m", piece.position.x),
            format!("{:.2} m", piece.position.z),
        ]),
        None => row.extend(["-"; 3].map(String::from)),
    }
    row
}

/// What keeps a take, as the shot's document has it, and what dresses it then.
fn lines_to_keep(shot: &Shot, take: u64, path: &Path) -> String {
    let keep = Keep {
        name: format!("take-{take}"),
        take,
        takes: shot.takes.clone(),
    };
    // A name and numbers always have a text
    let line = serde_json::to_string(&keep).unwrap_or_default();
    let how = if shot.keep.is_empty() {
        format!("add to the shot, beside \"take\":  \"keep\": [{line}]")
    } else {
        format!("add to the list of the shot's \"keep\":  {line}")
    };
    format!(
        "to keep take {take}, {how}\nthen: strew dress {} --kept {}",
        typed(path),
        keep.name
    )
}
