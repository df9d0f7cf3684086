//! `strew plan`: the ground from straight above, to scale.

use std::path::{Path, PathBuf};
use std::time::Instant;

use scatter::cancel::Cancel;
use scatter::error::{Error, Result};
use scatter::picture::plan::{Plan, PlanOptions};
use scatter::session::Session;

use super::scene::{Found, check_parent, make_folder, told, write_png};
use crate::args;
use crate::output::{Output, grouped};

/// Least and greatest width of ground that a plan shows, metres.
const ACROSS: [f64; 2] = [0.01, 2e5];

pub(crate) fn run(args: &args::Plan, output: &Output) -> Result<()> {
    let begun = Instant::now();
    let found = Found::new(&args.at, None)?;
    if let Some(across) = args.across
        && !(ACROSS[0]..=ACROSS[1]).contains(&across)
    {
        return Err(Error::input(
            "--across",
            format!("{across} m can't be drawn"),
            "0.01 to 200000 metres",
        ));
    }
    if let Some(out) = &args.out
        && out.extension().is_some_and(|e| e != "svg" && e != "png")
    {
        let what = format!("{} is neither .svg nor .png", out.display());
        return Err(Error::input(
            "--out",
            what,
            "name it without an ending: both are written",
        ));
    }
    if let Some(out) = &args.out {
        check_parent("--out", out)?;
    }
    let [svg, png] = [".svg", ".png"].map(|ending| ended(args.out.as_deref(), ending));
    let svg = found.target(svg.as_deref(), "plan.svg")?;
    let png = found.target(png.as_deref(), "plan.png")?;
    let brief = found.brief()?;
    let mut session = Session::forgetful(found.folder());
    let dressed = session.dress(&brief, &|stage| output.progress(stage), &Cancel::new());
    let (layout, _) = dressed.map_err(|e| e.in_file(&found.file))?;
    let prepared = session.prepare(&brief)?;
    output.progress("draw");
    let options = PlanOptions {
        width: args.width,
        across: args.across,
    };
    let plan = Plan::new(&layout, &prepared, &options)?;
    make_folder(&svg)?;
    scatter::picture::plan::write_svg(&svg, &plan)?;
    let (size, rgb) = plan.to_pixels();
    write_png(&png, size, &rgb)?;
    output.say(&svg.display().to_string());
    let what = format!(
        "{} pieces on {:.2} m x {:.2} m",
        grouped(plan.drawn()),
        plan.extent()[0],
        plan.extent()[1]
    );
    told(output, &png, &what, begun.elapsed().as_secs_f64());
    Ok(())
}

/// The file asked for with an ending, whichever of the two it was named with.
fn ended(out: Option<&Path>, ending: &str) -> Option<PathBuf> {
    out.map(|path| {
        let known = path.extension().is_some_and(|e| e == "svg" || e == "png");
        let stem = if known {
            path.with_extension("")
        } else {
            path.to_path_buf()
        };
        let mut name = stem.into_os_string();
        name.push(ending);
        name.into()
    })
}
