//! Makes the heroes of the example shots: `cargo run -p scatter --example heroes` writes them, `--
//! --check` compares the files that are there with what this code makes and writes nothing.

mod curve;
mod glb;
mod kettle;
mod lamp;
mod lathe;
mod model;
mod pot;
mod surface;
mod sweep;
mod wear;

use std::error::Error;
use std::io::Write;
use std::path::PathBuf;

use model::Model;

/// A hero: its shot's folder, its name, what makes it.
type Hero = (&'static str, &'static str, fn() -> Model);

const HEROES: [Hero; 3] = [
    ("river-kettle", "kettle", kettle::kettle),
    ("orchard-pot", "pot", pot::pot),
    ("scree-lamp", "lamp", lamp::lamp),
];

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let check = match arguments.as_slice() {
        [] => false,
        [one] if one == "--check" => true,
        _ => return Err("usage: heroes [--check]".into()),
    };
    let folder = PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../examples"));
    let mut out = std::io::stdout();
    for (shot, name, make) in HEROES {
        let path = folder.join(shot).join(format!("{name}.glb"));
        let parts = make().parts;
        let bytes = glb::bytes(name, &parts)?;
        if check {
            if std::fs::read(&path)? != bytes {
                return Err(format!("{shot}/{name}.glb is not what this code makes").into());
            }
        } else {
            std::fs::create_dir_all(folder.join(shot))?;
            std::fs::write(&path, &bytes)?;
        }
        let corners: usize = parts.iter().map(|p| p.mesh.indices.len()).sum();
        writeln!(
            out,
            "{shot}/{name}.glb: {} triangles, {} bytes{}",
            corners / 3,
            bytes.len(),
            if check { ", as made" } else { "" }
        )?;
    }
    Ok(())
}
