//! `scatter takes`: a sheet of takes, and a line each of what differs.

use std::time::Instant;

use scatter::error::Result;
use scatter::layout::{Dresser, Layout};
use scatter::picture::{self, Backdrop, LookOptions, Setting, Sheet, TracedKit};
use scatter::shot::{Keep, PINS, Shot};

use super::scene::{Found, told, tone, warned, write_png};
use crate::args::{self, Takes};
use crate::output::{Output, grouped, table};

/// Pieces under this share of a small picture's pixel are not made: the finest that the shot itself
/// would resolve by default.
const FINEST_PIXELS: f64 = 1.0;

pub(crate) fn run(args: &Takes, output: &Output) -> Result<()> {
    let begun = Instant::now();
    let found = Found::new(&args.at)?;
    let camera = found.camera(args.camera.as_deref())?;
    found.check_passes("--hold", &args.hold)?;
    let path = found.target(args.out.as_deref(), "takes.png")?;
    let options = LookOptions {
        width: args.width,
        samples: args.samples,
        ..LookOptions::default()
    };
    options.check(&camera)?;

    let mut shot = found
        .shot
        .holding(&args.hold)
        .map_err(|e| e.in_file(&found.file))?;
    let finest = FINEST_PIXELS * f64::from(camera.frame[0]) / f64::from(args.width);
    let coarse = !args.full && finest > shot.resolve.pixels;
    if coarse {
        // Sizes too small to see never change where the larger ones are
        shot.resolve.pixels = finest;
    }
    let first = args.from.unwrap_or(if args.hold.is_empty() {
        1
    } else {
        shot.take.saturating_add(1)
    });
    let mut dresser = Dresser::new(&shot, found.folder()).map_err(|e| e.in_file(&found.file))?;
    if coarse {
        dresser = dresser.sketching();
    }
    let setting = Setting::new(&shot, &dresser);
    let kit = TracedKit::new(dresser.pieces());

    let mut sheet = Sheet::new(args.count, [options.width, options.height(&camera)]);
    let mut rows = vec![heading(&shot)];
    let take = |i: u32| first.saturating_add(u64::from(i));
    let dress = |i: u32| {
        let dressed = dresser.dress(take(i), &|_| {});
        dressed
            .map(|d| d.layout)
            .map_err(|e| e.in_file(&found.file))
    };
    let first_layout = dress(0)?;
    let backdrop = Backdrop::new(&setting.scene(&first_layout), &camera, &options)?;
    let mut next = Some(Ok(first_layout));
    for i in 0..args.count {
        let Some(layout) = next.take().transpose()? else {
            break;
        };
        output.progress(&format!("take {}, {} of {}", take(i), i + 1, args.count));
        let scene = setting.scene(&layout);
        let render =
            || picture::render_before(&backdrop, &kit, &scene, &camera, &options, &mut |_, _| true);
        // A dressing leaves cores idle now and then: the picture of the take before fills them
        let (picture, dressed) = rayon::join(render, || (i + 1 < args.count).then(|| dress(i + 1)));
        let picture = picture?;
        next = dressed;
        if i == 0 {
            warned(output, &picture);
        }
        sheet.place(
            i,
            &picture.to_srgb8(tone(args::Tone::Film)),
            &take(i).to_string(),
        );
        rows.push(row(&layout));
    }
    write_png(&path, sheet.size(), sheet.rgb())?;
    output.data(&table(&rows))?;
    if coarse {
        output.say(&format!(
            "pieces under {FINEST_PIXELS} pixel of the small pictures are left out and not counted, and nothing lies on them; --full makes all"
        ));
    }
    output.say(&format!(
        "to keep take {first}, put this into the shot's `keep`: {}",
        line_to_keep(&shot, first)
    ));
    let what = format!("{} takes from {first}", args.count);
    told(output, &path, &what, begun.elapsed().as_secs_f64());
    Ok(())
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

/// What keeps a take, as the shot's document has it.
fn line_to_keep(shot: &Shot, take: u64) -> String {
    let keep = Keep {
        name: format!("take-{take}"),
        take,
        takes: shot.takes.clone(),
    };
    // A name and numbers always have a text
    serde_json::to_string(&keep).unwrap_or_default()
}
