//! `scatter look`: a picture through a camera of the shot.

use std::path::Path;
use std::time::Instant;

use scatter::error::{Error, Result};
use scatter::layout::{self, Dresser, Earlier, Layout};
use scatter::optics::Camera;
use scatter::picture::{self, LookOptions, Picture, Setting, Sheet, TracedKit};
use scatter::shot::Shot;

use super::first::{self, First};
use super::scene::{Found, told, tone, warned, write_picture, write_png};
use crate::args::Look;
use crate::output::{Output, grouped};

pub(crate) fn run(args: &Look, output: &Output) -> Result<()> {
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
    if !args.hours.is_empty() {
        return hours(args, &found, &camera, &options, &path, output);
    }

    let curve = tone(args.view.tone);
    let coarse = args.before_after.is_empty() && first::wanted(&camera, &options);
    let mut earlier = if coarse && args.layout.is_none() {
        Earlier::keeping()
    } else {
        Earlier::default()
    };
    let dresser = Dresser::after(&found.shot, found.folder(), &mut earlier)
        .map_err(|e| e.in_file(&found.file))?;
    for warning in dresser.warnings() {
        output.warn(&found.file, warning);
    }
    let setting = Setting::new(&found.shot, &dresser);
    let (layout, kit) = match &args.layout {
        Some(file) => {
            let layout = layout::read(file, &dresser)?;
            let kit = TracedKit::new(&layout.pieces);
            if coarse {
                let scene = setting.scene(&layout);
                let picture = picture::coarse(&kit, &scene, &camera, &options)?;
                write_picture(&path, &picture, curve)?;
            }
            (layout, kit)
        }
        None => {
            let kit = TracedKit::new(dresser.pieces());
            if coarse {
                dresser
                    .check_budget(found.shot.take)
                    .map_err(|e| e.in_file(&found.file))?;
                let first = First {
                    found: &found,
                    kit: &kit,
                    camera: &camera,
                    options: &options,
                };
                first.show(&mut earlier, (&path, curve), output)?;
            }
            (dress(&found, &dresser, &mut earlier, output)?, kit)
        }
    };
    drop(earlier);
    if !args.before_after.is_empty() {
        let mut sheet = Sheet::with_columns(2, [options.width, options.height(&camera)], 2);
        let bare = LookOptions {
            without: [&options.without[..], &args.before_after[..]].concat(),
            ..options.clone()
        };
        let names = args.before_after.join(", ");
        for (i, (options, label)) in [
            (&bare, format!("without {names}")),
            (&options, format!("with {names}")),
        ]
        .into_iter()
        .enumerate()
        {
            let scene = setting.scene(&layout);
            let picture = picture::render_with(&kit, &scene, &camera, options, &mut |_, taken| {
                output.progress(&format!("{label}, {taken} of {} samples", options.samples));
                true
            })?;
            if i == 0 {
                warned(output, &picture);
            }
            sheet.place(i as u32, &picture.to_srgb8(tone(args.view.tone)), &label);
        }
        write_png(&path, sheet.size(), sheet.rgb())?;
        told(
            output,
            &path,
            &format!("without and with {names}"),
            begun.elapsed().as_secs_f64(),
        );
        return Ok(());
    }

    // Each step of samples is put in place of the one before: a viewer that has the file open
    // follows
    let mut failed = None;
    let picture = picture::render_with(
        &kit,
        &setting.scene(&layout),
        &camera,
        &options,
        &mut |so_far, taken| {
            output.progress(&format!(
                "{taken} of {} samples, {:.1} s",
                options.samples,
                begun.elapsed().as_secs_f64()
            ));
            failed = write_picture(&path, so_far, curve).err();
            failed.is_none()
        },
    )?;
    if let Some(error) = failed {
        return Err(error);
    }
    if let Some(exr) = &args.exr {
        write_exr(exr, &kit, &setting, &layout, &camera, &options, &picture)?;
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
        layout.take,
        options.samples,
        grouped(picture.figures.rays)
    );
    told(output, &path, &what, begun.elapsed().as_secs_f64());
    Ok(())
}

/// Dresses the shot with its own take.
fn dress(
    found: &Found,
    dresser: &Dresser<'_>,
    earlier: &mut Earlier,
    output: &Output,
) -> Result<Layout> {
    let dressed = dresser
        .dress_after(found.shot.take, earlier, &|stage| output.progress(stage))
        .map_err(|e| e.in_file(&found.file))?;
    Ok(dressed.layout)
}

/// One take under the light of several hours.
fn hours(
    args: &Look,
    found: &Found,
    camera: &Camera,
    options: &LookOptions,
    path: &Path,
    output: &Output,
) -> Result<()> {
    let begun = Instant::now();
    let Some(day) = found.shot.light.day else {
        return Err(Error::input(
            "light",
            "--hours needs a place and a date",
            "give the shot a light such as { \"day\": { \"latitude\": \"47 deg\", \"longitude\": \"8 deg\", \"date\": \"2026-10-25\", \"hour\": 15 } }",
        )
        .in_file(&found.file));
    };
    let at_hour = |hour: f64| {
        let mut shot = found.shot.clone();
        shot.light.day = Some(scatter::shot::Day { hour, ..day });
        shot
    };
    // All hours must have light before the first picture is made
    let shots: Vec<Shot> = args.hours.iter().map(|hour| at_hour(*hour)).collect();
    for shot in &shots {
        shot.check().map_err(|e| e.in_file(&found.file))?;
    }
    let mut sheet = Sheet::new(shots.len() as u32, [options.width, options.height(camera)]);
    for (i, (shot, hour)) in shots.iter().zip(&args.hours).enumerate() {
        let label = clock(*hour);
        output.progress(&label);
        // Other shadows reach into the frame: the same pieces, and others out of it
        let dresser = Dresser::new(shot, found.folder()).map_err(|e| e.in_file(&found.file))?;
        let layout = dress(found, &dresser, &mut Earlier::default(), output)?;
        let setting = Setting::new(shot, &dresser);
        let picture = picture::render(&setting.scene(&layout), camera, options, &mut |_, _| true)?;
        if i == 0 {
            warned(output, &picture);
        }
        sheet.place(i as u32, &picture.to_srgb8(tone(args.view.tone)), &label);
    }
    write_png(path, sheet.size(), sheet.rgb())?;
    let what = format!("{} hours, take {}", shots.len(), found.shot.take);
    told(output, path, &what, begun.elapsed().as_secs_f64());
    Ok(())
}

/// An hour as a clock shows it.
fn clock(hour: f64) -> String {
    let minutes = (hour * 60.0).round() as u64;
    format!("{}:{:02}", minutes / 60, minutes % 60)
}

/// Writes the picture's light with depth and mattes.
fn write_exr(
    path: &Path,
    kit: &TracedKit,
    setting: &Setting<'_>,
    layout: &Layout,
    camera: &Camera,
    options: &LookOptions,
    picture: &Picture,
) -> Result<()> {
    let layers = picture::layers(kit, &setting.scene(layout), camera, options)?;
    picture::exr::write(path, picture, &layers)
}
