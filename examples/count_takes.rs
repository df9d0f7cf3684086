//! Uses Strew as a library: dresses five takes of a shot and says how they differ.
//!
//! `cargo run --release -p scatter --example count_takes -- examples/scree-lamp/shot.json`

#![expect(clippy::print_stdout, reason = "an example prints what it finds")]

use std::path::Path;

use scatter::{Cancel, Error, Session, Shot};

fn main() -> Result<(), Error> {
    let path = std::env::args()
        .nth(1)
        .unwrap_or_else(|| "examples/scree-lamp/shot.json".into());
    let path = Path::new(&path);
    let brief = Shot::read(path)?.brief()?;

    // Ground, heroes and kit are read once; each take is a layout of its own
    let mut session = Session::forgetful(path.parent().unwrap_or(Path::new("")));
    for take in 1..=5 {
        let (layout, _) = session.dress(&brief.at_take(take), &|_| (), &Cancel::new())?;
        let largest = layout
            .instances
            .iter()
            .max_by(|a, b| a.diameter.total_cmp(&b.diameter));
        let passes: Vec<String> = layout
            .passes
            .iter()
            .map(|p| format!("{} {} ({:.3})", p.tally.placed, p.name, p.tally.cover))
            .collect();
        println!("take {take}: {}", passes.join(", "));
        if let Some(i) = largest {
            println!(
                "  largest: {:.0} mm at {:.2}, {:.2}",
                1e3 * i.diameter,
                i.position.x,
                i.position.z
            );
        }
    }
    Ok(())
}
