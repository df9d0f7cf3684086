//! Measures how closed a dressed ground is, seen straight down, beside real gravel:
//!
//! `cargo run --release -p scatter-tests --bin closed -- SHOT.json | --preset NAME [--takes 5]
//! [--first 1] [--pixel "0.39 mm"] [--window "0.2 m"] [--windows 4] [--at X,Z] [--finest 5]
//! [--passes a,b] [--out label.png]`
//!
//! Each take's figures are means over its windows. With `--out`, the first take's first window is
//! drawn: its labels, and beside that file, ending in `-bare.png`, how far bare ground is from a
//! stone.

#![expect(clippy::print_stdout, reason = "says what it has measured")]

use std::collections::BTreeMap;
use std::error::Error;
use std::path::{Path, PathBuf};
use std::time::Instant;

use scatter::picture::png;
use scatter::shot::{Preset, Shot};
use scatter::units::Length;
use scatter_tests::closed::cover::covers;
use scatter_tests::closed::figures::LEAST_MINOR;
use scatter_tests::closed::holes::{density, holes};
use scatter_tests::closed::lying::{LARGE, hidden, lying_on_large};
use scatter_tests::closed::neighbours::Ownership;
use scatter_tests::closed::real::SOURCE;
use scatter_tests::closed::regions::regions;
use scatter_tests::closed::rings::bare;
use scatter_tests::closed::show::{bare_distance, colored};
use scatter_tests::closed::take::{Look, Stones, whole_stones};
use scatter_tests::closed::{Figures, LabelImage, Seen, measure, table};
use scatter_tests::dresser::Dresser;

type Fault = Box<dyn Error>;

/// Holes are counted that are this many times as wide as the least stone that counts.
const HOLES: [f64; 3] = [1.5, 3.0, 6.0];
/// This far from a stone, bare ground is white in its picture, metres: the most that real gravel's
/// 99th percentile comes to.
const WHITE_M: f64 = 14e-3;

/// Arguments by name, and the shot's file.
struct Asked {
    file: Option<PathBuf>,
    options: BTreeMap<String, String>,
}

impl Asked {
    fn read() -> Result<Self, Fault> {
        const KNOWN: [&str; 10] = [
            "preset", "takes", "first", "pixel", "window", "windows", "at", "finest", "passes",
            "out",
        ];
        let mut asked = Self {
            file: None,
            options: BTreeMap::new(),
        };
        let mut arguments = std::env::args().skip(1);
        while let Some(argument) = arguments.next() {
            match argument.strip_prefix("--") {
                Some(name) if KNOWN.contains(&name) => {
                    let value = arguments.next().ok_or(format!("--{name} needs a value"))?;
                    asked.options.insert(name.to_owned(), value);
                }
                Some(name) => return Err(format!("no --{name}; one of {KNOWN:?}").into()),
                None if asked.file.is_none() => asked.file = Some(argument.into()),
                None => return Err(format!("a second shot: {argument}").into()),
            }
        }
        Ok(asked)
    }

    fn text(&self, name: &str) -> Option<&str> {
        self.options.get(name).map(String::as_str)
    }

    fn metres(&self, name: &str, default: f64) -> Result<f64, Fault> {
        Ok(self
            .text(name)
            .map_or(Ok(default), |t| Length::parse(t).map(Length::metres))?)
    }

    fn number<T: std::str::FromStr>(&self, name: &str, default: T) -> Result<T, Fault>
    where
        T::Err: Error + 'static,
    {
        Ok(self.text(name).map_or(Ok(default), str::parse)?)
    }

    fn shot(&self) -> Result<(Shot, PathBuf), Fault> {
        match (&self.file, self.text("preset")) {
            (Some(file), None) => {
                let folder = file.parent().unwrap_or(Path::new(".")).to_owned();
                Ok((Shot::read(file)?, folder))
            }
            (None, Some(name)) => Ok((Preset::find(name)?.shot(name), ".".into())),
            _ => Err("name a shot file or a --preset".into()),
        }
    }

    fn look(&self) -> Result<Look, Fault> {
        let default = Look::default();
        let pixel = self.metres("pixel", default.pixel)?;
        let window = self.metres("window", default.side as f64 * default.pixel)?;
        let at = self.text("at").map(|text| -> Result<[f64; 2], Fault> {
            let (x, z) = text.split_once(',').ok_or("--at needs X,Z")?;
            Ok([x.trim().parse()?, z.trim().parse()?])
        });
        Ok(Look {
            pixel,
            side: (window / pixel).round() as usize,
            windows: self.number("windows", default.windows)?,
            at: at.transpose()?,
            finest: self.number("finest", default.finest)?,
        })
    }
}

/// Sums over all windows of all takes, of what is no row of the table.
#[derive(Default)]
struct Further {
    windows: usize,
    holes_per_m2: [f64; 3],
    stones: usize,
    lying: usize,
    /// Stones in the windows that no pixel shows, of at least the least size that counts; the
    /// largest's diameter, metres.
    hidden: usize,
    largest_hidden: f32,
    draw_seconds: f64,
    measure_seconds: f64,
}

fn draw(image: &LabelImage, pixel: f64, file: &Path) -> Result<(), Fault> {
    let [width, height] = [image.width, image.height()].map(|n| n as u32);
    png::write(file, width, height, &colored(image))?;
    let beside = file.with_file_name(format!(
        "{}-bare.png",
        file.file_stem().unwrap_or_default().to_string_lossy()
    ));
    let grey = bare_distance(&bare_of(image), WHITE_M / pixel);
    png::write(&beside, width, height, &grey)?;
    println!("{} and {}", file.display(), beside.display());
    Ok(())
}

fn bare_of(image: &LabelImage) -> Vec<f64> {
    let all = regions(image);
    let stones: Vec<_> = all.iter().filter(|r| r.axes[1] >= LEAST_MINOR).collect();
    bare(&Ownership::of(&stones, image.width, image.labels.len()))
}

#[expect(clippy::too_many_lines, reason = "a report, line by line")]
fn main() -> Result<(), Fault> {
    let asked = Asked::read()?;
    let (shot, folder) = asked.shot()?;
    let look = asked.look()?;
    let stones = match asked.text("passes") {
        Some(names) => Stones::Passes(names.split(',').map(|n| n.trim().to_owned()).collect()),
        None => Stones::Grown,
    };
    if let Stones::Passes(names) = &stones
        && let Some(name) = names.iter().find(|n| !shot.pass_names().any(|p| p == *n))
    {
        return Err(format!("no pass {name:?}").into());
    }
    let down = look.down(&shot, &folder)?;
    let windows = look.windows(&shot);
    let dresser = Dresser::new(&down, &folder)?;
    let height = |x: f64, z: f64| dresser.ground().height(x, z);
    let (first, takes) = (asked.number("first", 1)?, asked.number("takes", 5)?);
    let mut figures = Vec::new();
    let mut further = Further::default();
    for take in first..first + takes {
        let start = Instant::now();
        let layout = dresser.dress(take)?.layout;
        let dressed = start.elapsed().as_secs_f64();
        let mut of_windows = Vec::new();
        for window in &windows {
            let start = Instant::now();
            let seen = Seen::draw(&layout, *window, height, |_| true);
            further.draw_seconds += start.elapsed().as_secs_f64();
            let image = seen.labels(&layout, |i| stones.holds(&layout, i));
            let start = Instant::now();
            of_windows.push(measure(&image, look.pixel));
            further.measure_seconds += start.elapsed().as_secs_f64();
            let found = holes(&bare_of(&image), image.width);
            for (sum, times) in further.holes_per_m2.iter_mut().zip(HOLES) {
                let of_pixel = density(&found, times * LEAST_MINOR, [look.side; 2]);
                *sum += of_pixel / (look.pixel * look.pixel);
            }
            let whole = whole_stones(&image);
            further.lying += lying_on_large(&layout, &whole, height, |i| stones.holds(&layout, i));
            further.stones += whole.len();
            for k in hidden(&layout, &seen, |i| stones.holds(&layout, i)) {
                let diameter = layout.instances[k].diameter;
                if f64::from(diameter) >= LEAST_MINOR * look.pixel {
                    further.hidden += 1;
                    further.largest_hidden = further.largest_hidden.max(diameter);
                }
            }
            if further.windows == 0
                && let Some(file) = asked.text("out")
            {
                draw(&image, look.pixel, Path::new(file))?;
            }
            further.windows += 1;
        }
        let mean = Figures::mean(&of_windows);
        println!(
            "take {take}: {} instances in {dressed:.1} s, {} whole stones",
            layout.instances.len(),
            mean.stones
        );
        figures.push(mean);
        if take == first {
            let is_stone_pass: Vec<bool> = (0..layout.passes.len())
                .map(|pass| {
                    let mut of_pass = layout.instances.iter();
                    of_pass.any(|i| usize::from(i.pass) == pass && stones.holds(&layout, i))
                })
                .collect();
            let (passes, union) =
                covers(&layout, &windows, height, |p| is_stone_pass[usize::from(p)]);
            println!("cover, take {take}: pass, reported, drawn alone, seen");
            for p in passes {
                println!(
                    "  {:<20}{:>8.3}{:>8.3}{:>8.3}",
                    p.name, p.reported, p.alone, p.seen
                );
            }
            println!("  {:<20}{:>16.3}", "all together", union);
        }
    }
    println!("\n{}", table(&figures));
    println!("real: {SOURCE}");
    let n = further.windows as f64;
    for (sum, times) in further.holes_per_m2.iter().zip(HOLES) {
        let least = times * LEAST_MINOR * look.pixel * 1e3;
        println!("bare discs wider than {least:.1} mm: {:.1} a m2", sum / n);
    }
    println!(
        "{} of {} whole stones lie on one at least {LARGE} times their size: {:.3}",
        further.lying,
        further.stones,
        further.lying as f64 / further.stones as f64
    );
    println!(
        "{} stones of at least {:.1} mm are not seen at all, the largest of {:.1} mm",
        further.hidden,
        LEAST_MINOR * look.pixel * 1e3,
        further.largest_hidden * 1e3
    );
    println!(
        "a window: drawn in {:.3} s, measured in {:.3} s",
        further.draw_seconds / n,
        further.measure_seconds / n
    );
    Ok(())
}
