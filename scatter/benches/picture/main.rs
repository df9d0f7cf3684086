//! Pictures: rays a second beside Embree, what pictures and sheets take, bytes an instance. Run
//! with `cargo bench -p scatter --bench picture`, or with the name of one part after `--`: rays,
//! million, coarse, takes, memory.
//!
//! The comparison needs Embree 3 (Debian: libembree-dev) and a C++ compiler; without them our own
//! figures stand alone.

#![expect(
    clippy::disallowed_methods,
    reason = "the figures of a benchmark differ by machine anyway"
)]
#![expect(clippy::print_stdout, reason = "a benchmark prints its figures")]

#[path = "../bed/mod.rs"]
mod bed;
#[path = "../../../tests/src/dresser.rs"]
#[allow(dead_code, unreachable_pub, reason = "a bench uses a part of it")]
mod dresser;
mod memory;

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;
use std::process::Command;
use std::time::Instant;

use dresser::Dresser;
use glam::{DAffine3, DMat3, DQuat, DVec3, Quat, Vec3};
use scatter::brief::{Brief, Look};
use scatter::cancel::Cancel;
use scatter::kit::{Kind, Material, Mesh, Part, grow_all};
use scatter::layout::Layout;
use scatter::optics::Camera;
use scatter::picture::{
    self, BLOCK, Backdrop, LookOptions, Probe, Subject, TracedKit, render_before, render_with,
};
use scatter::scene::{Light, Mood, Prop};
use scatter::session::Session;
use scatter::shot::Shot;

const SOUND: &str = "the bench's own shots are sound";

/// Stones, gravel and leaves on relief, seen from above by a camera `height` metres up: it decides
/// how many there are.
fn shot(height: f64) -> Shot {
    let relief = serde_json::json!({ "height": "40 mm", "feature": "0.9 m", "roughness": 0.45 });
    let passes = [
        bed::stones(0.15),
        bed::gravel(0.3, "4 mm"),
        bed::leaves(200.0),
    ];
    bed::parse(&bed::document(height, Some(relief), &passes))
}

/// A lens half a metre up that looks down the ground, `reach` metres from its middle.
fn low_camera(reach: f64) -> Camera {
    let at = DVec3::new(0.0, 0.5, 0.8 * reach);
    let back = (at - DVec3::new(0.0, 0.0, 0.8 * reach - 1.4)).normalize();
    let right = DVec3::Y.cross(back).normalize();
    Camera {
        name: "low".into(),
        position: at,
        rotation: DQuat::from_mat3(&DMat3::from_cols(right, back.cross(right), back)),
        yfov: 0.6,
        frame: [1280, 720],
        near: 0.02,
        far: 60.0,
        focal_length: 0.035,
        focus: None,
        stop: None,
    }
}

fn options(width: u32, samples: u32) -> LookOptions {
    LookOptions {
        width,
        samples,
        ..LookOptions::default()
    }
}

/// A scene without ground, its light even: nothing but instances and one plane.
fn plain<'a>(layout: &'a Layout, plane: &'a [Prop<'a>]) -> Subject<'a> {
    Subject {
        layout,
        heroes: plane.to_vec(),
        ground: None,
        finish: Look::Soil.into(),
        light: Light {
            sun_direction: DVec3::Y,
            mood: Mood::Even,
            lamp: None,
        },
    }
}

/// Seconds that `work` takes, and what it gives.
fn timed<T>(work: impl FnOnce() -> T) -> (f64, T) {
    let begun = Instant::now();
    let made = work();
    (begun.elapsed().as_secs_f64(), made)
}

fn plane(half: f32) -> Part {
    let p = |x: f32, z: f32| Vec3::new(x * half, 0.0, z * half);
    Part {
        mesh: Mesh {
            positions: vec![p(-1., -1.), p(-1., 1.), p(1., 1.), p(1., -1.)],
            indices: vec![0, 1, 2, 0, 2, 3],
            ..Mesh::default()
        },
        material: Material {
            name: "plane".into(),
            ..grow_all(Kind::Rock)[0].parts[0].material.clone()
        },
    }
}

type Rays = Vec<(Vec3, Vec3)>;

/// One ray a pixel in squares of 8 by 8, and from each thing met one ray to anywhere above.
fn rays(camera: &Camera, probe: &Probe<'_>) -> (Rays, Rays) {
    let [width, height] = camera.frame;
    let tan = (0.5 * camera.yfov).tan();
    let mut coherent = Rays::new();
    for tile in 0..(width / 8) * (height / 8) {
        let (x0, y0) = (tile % (width / 8) * 8, tile / (width / 8) * 8);
        for k in 0..64 {
            let (x, y) = (f64::from(x0 + k % 8) + 0.5, f64::from(y0 + k / 8) + 0.5);
            let across = (2.0 * x / f64::from(width) - 1.0) * tan * camera.aspect();
            let up = (1.0 - 2.0 * y / f64::from(height)) * tan;
            let way = camera.rotation * DVec3::new(across, up, -1.0).normalize();
            coherent.push((Vec3::ZERO, way.as_vec3()));
        }
    }
    let mut state = 1_u64;
    // Steele, Lea and Flood, "Fast splittable pseudorandom number generators", 2014 (SplitMix64)
    let mut unit = || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 40) as f32 / (1_u32 << 24) as f32
    };
    let met = probe.distances(&coherent);
    let random = coherent
        .iter()
        .zip(met)
        .filter(|(_, t)| t.is_finite())
        .map(|((_, way), t)| {
            let (y, turn) = (unit(), unit() * std::f32::consts::TAU);
            let level = (1.0 - y * y).sqrt();
            // A tenth of a millimetre before the thing
            let from = *way * (t - 1e-4);
            (from, Vec3::new(level * turn.cos(), y, level * turn.sin()))
        })
        .collect();
    (coherent, random)
}

/// Writes the scene as benches/embree/trace.cpp reads it, places counted from the lens.
fn export(folder: &Path, layout: &Layout, ground: &Part, lens: DVec3) -> std::io::Result<()> {
    let mut out = BufWriter::new(File::create(folder.join("scene.bin"))?);
    let mut word = |bits: u32| out.write_all(&bits.to_le_bytes());
    let meshes: Vec<&Mesh> = layout
        .pieces
        .iter()
        .map(|p| &p.parts[0].mesh)
        .chain([&ground.mesh])
        .collect();
    word(meshes.len() as u32)?;
    for mesh in &meshes {
        word(mesh.positions.len() as u32)?;
        word(mesh.indices.len() as u32 / 3)?;
        for v in mesh.positions.iter().flat_map(|p| p.to_array()) {
            word(v.to_bits())?;
        }
        for &i in &mesh.indices {
            word(i)?;
        }
    }
    word(layout.instances.len() as u32 + 1)?;
    for instance in &layout.instances {
        word(u32::from(u16::from(instance.piece)))?;
        let q = Quat::from_array(instance.rotation);
        for axis in [Vec3::X, Vec3::Y, Vec3::Z] {
            for v in (q * axis * instance.scale).to_array() {
                word(v.to_bits())?;
            }
        }
        for v in (instance.position - lens).as_vec3().to_array() {
            word(v.to_bits())?;
        }
    }
    word(meshes.len() as u32 - 1)?;
    for v in [1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0_f32] {
        word(v.to_bits())?;
    }
    for v in (-lens).as_vec3().to_array() {
        word(v.to_bits())?;
    }
    out.flush()
}

fn export_rays(path: &Path, rays: &Rays) -> std::io::Result<()> {
    let mut out = BufWriter::new(File::create(path)?);
    out.write_all(&(rays.len() as u32).to_le_bytes())?;
    for (origin, way) in rays {
        for v in origin.to_array().into_iter().chain(way.to_array()) {
            out.write_all(&v.to_le_bytes())?;
        }
    }
    out.flush()
}

/// Compiles the Embree program; None when there is no compiler or no Embree.
fn embree(folder: &Path) -> Option<std::path::PathBuf> {
    let program = folder.join("trace");
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/embree/trace.cpp");
    let made = Command::new("g++")
        .args(["-O3", "-march=native", "-std=c++17", "-o"])
        .args([&program, &source])
        .args(["-lembree3", "-lpthread"])
        .output();
    made.ok().filter(|o| o.status.success()).map(|_| program)
}

/// Distances that both found: how many rays met something in one only, and how many of the others
/// differ by more than a tenth of a millimetre and a thousandth.
fn differ(ours: &[f32], path: &Path) -> std::io::Result<(usize, usize)> {
    let bytes = std::fs::read(path)?;
    let theirs = bytes
        .chunks_exact(4)
        .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]));
    let (mut one, mut off) = (0, 0);
    for (a, b) in ours.iter().zip(theirs) {
        if a.is_finite() != b.is_finite() {
            one += 1;
        } else if a.is_finite() && (a - b).abs() > 1e-4 + 1e-3 * b {
            off += 1;
        }
    }
    Ok((one, off))
}

/// Closest hits a second in an instanced scene, on one thread and on two, ours and Embree's in
/// turn.
fn rays_a_second() {
    let shot = shot(2.3);
    let dresser = Dresser::new(&shot, Path::new(".")).expect(SOUND);
    let layout = dresser.dress(1).expect(SOUND).layout;
    let ground = [plane(20.0)];
    let props = [Prop::new("ground", &ground, DAffine3::IDENTITY)];
    let camera = low_camera(1.3);
    let kit = TracedKit::new(&layout.pieces);
    let scene = plain(&layout, &props);
    let probe = Probe::new(&kit, &scene, &camera, &options(1280, 1)).expect(SOUND);
    let (coherent, random) = rays(&camera, &probe);
    println!(
        "{} instances, {} coherent and {} random rays",
        layout.instances.len(),
        coherent.len(),
        random.len()
    );
    let folder = tempfile::tempdir().expect("a folder for the scene");
    let program = embree(folder.path());
    if program.is_none() {
        println!("no Embree here: ours alone");
    }
    export(folder.path(), &layout, &ground[0], probe.lens()).expect("the scene is written");
    for (name, rays) in [("coherent", &coherent), ("random", &random)] {
        let file = folder.path().join(format!("rays-{name}.bin"));
        export_rays(&file, rays).expect("the rays are written");
    }
    for threads in [1, 2] {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("threads");
        // Embree before and after ours: the machine's own swing shows
        let run = || {
            let program = program.as_ref()?;
            let threads = threads.to_string();
            let out = Command::new(program)
                .args([folder.path().as_os_str(), threads.as_ref()])
                .output()
                .ok()?;
            let text = String::from_utf8(out.stdout).ok()?;
            let seconds = |name: &str| {
                let line = text.lines().find_map(|l| l.strip_prefix(name))?;
                line.trim().parse::<f64>().ok()
            };
            Some([seconds("coherent")?, seconds("random")?])
        };
        let before = run();
        let ours = [&coherent, &random].map(|rays| {
            let mut best = f64::INFINITY;
            let mut met = Vec::new();
            for _ in 0..5 {
                let (seconds, t) = pool.install(|| timed(|| probe.distances(rays)));
                best = best.min(seconds);
                met = t;
            }
            (best, met)
        });
        let after = run();
        for (i, (name, rays)) in [("coherent", &coherent), ("random", &random)]
            .into_iter()
            .enumerate()
        {
            let rate = |seconds: f64| 1e-6 * rays.len() as f64 / seconds;
            print!(
                "{threads} thread(s), {name:8}: ours {:.2} million rays a second",
                rate(ours[i].0)
            );
            if let (Some(before), Some(after)) = (before, after) {
                let (low, high) = (before[i].max(after[i]), before[i].min(after[i]));
                let found = differ(&ours[i].1, &folder.path().join(format!("{name}.embree")));
                let (one, off) = found.expect("what Embree found is read");
                print!(
                    ", Embree {:.2} to {:.2}, share {:.2}; met by one only {one}, other distance {off}",
                    rate(low),
                    rate(high),
                    high / ours[i].0
                );
            }
            println!();
        }
    }
}

/// A million pieces at 1280 x 720, 16 samples, and what that goes into.
fn million() {
    let shot = shot(11.6);
    let (kit_seconds, dresser) =
        timed(|| Dresser::new(&shot, Path::new(".")).expect("the bench's kit grows"));
    let (dressing, dressed) = timed(|| dresser.dress(1).expect(SOUND));
    let layout = dressed.layout;
    let (hierarchies, kit) = timed(|| TracedKit::new(&layout.pieces));
    let scene = dresser.subject(&layout);
    let camera = low_camera(6.4);
    let (ready, _) = timed(|| Probe::new(&kit, &scene, &camera, &options(1280, 1)).expect(SOUND));
    let (picture_seconds, picture) =
        timed(|| render_with(&kit, &scene, &camera, &options(1280, 16), &mut |_, _| true));
    let figures = picture.expect(SOUND).figures;
    println!(
        "{} pieces, 1280 x 720, 16 samples: {:.1} s after the dressing",
        layout.instances.len(),
        hierarchies + picture_seconds
    );
    println!("  kit {kit_seconds:.2} s, dressing {dressing:.2} s");
    println!(
        "  hierarchies of the pieces {hierarchies:.2} s, of the scene and ground {ready:.2} s"
    );
    println!(
        "  light {:.1} s, {:.1} million rays, {:.2} million a second",
        picture_seconds - ready,
        1e-6 * figures.rays as f64,
        1e-6 * figures.rays as f64 / (picture_seconds - ready)
    );
    println!(
        "  {:.1} bytes an instance, {} MB of meshes",
        figures.instance_bytes as f64 / figures.instances as f64,
        figures.mesh_bytes >> 20
    );
}

/// A shot of some 60,000 pieces, with the camera that it is dressed for: straight above, 960 x 540
/// of its frame's 6000 x 3375.
fn from_above() -> Shot {
    let mut shot = shot(2.15);
    shot.cameras[0].frame = [6000, 3375];
    shot
}

/// The first coarse picture of 60,000 pieces, from nothing, as `strew look` makes it.
fn coarse() {
    let brief = from_above().brief().expect(SOUND);
    let begun = Instant::now();
    let mut session = Session::open(".");
    let (kit_seconds, prepared) = timed(|| session.prepare(&brief).expect("the bench's kit grows"));
    let camera = prepared.scene().cameras[0].clone();
    let (hierarchies, kit) = timed(|| TracedKit::new(prepared.pieces()));
    let mut rough = brief.clone();
    rough.resolve.pixels = f64::from(BLOCK) * f64::from(camera.frame[0]) / 960.0;
    rough.sketch = true;
    let mut dress = |brief: &Brief| {
        let dressed = session.dress(brief, &|_| (), &Cancel::new());
        dressed.expect(SOUND).0
    };
    let (dressing, layout) = timed(|| dress(&rough));
    let scene = Subject::new(prepared.scene(), &layout);
    let (rays, _) =
        timed(|| picture::coarse(&kit, &scene, &camera, &options(960, 16)).expect(SOUND));
    let first = begun.elapsed().as_secs_f64();
    let (full, whole) = timed(|| dress(&brief));
    println!(
        "first coarse picture of {} pieces at 960 x 540, {} of them in it: {first:.2} s (kit {kit_seconds:.2}, hierarchies of the \
         pieces {hierarchies:.2}, dressing {dressing:.2}, scene and rays {rays:.2}); the full dressing {full:.2} s after it",
        whole.instances.len(),
        layout.instances.len(),
    );
}

/// Twelve takes of the same as thumbnails, as `strew takes` makes them.
fn takes() {
    let mut shot = from_above();
    for full in [true, false] {
        if !full {
            // What is under a small picture's pixel is left out
            shot.resolve.pixels = f64::from(shot.cameras[0].frame[0]) / 320.0;
        }
        let begun = Instant::now();
        let mut brief = shot.brief().expect(SOUND);
        brief.sketch = !full;
        let mut session = Session::forgetful(".");
        let prepared = session.prepare(&brief).expect("the bench's kit grows");
        let scene = prepared.scene();
        let kit = TracedKit::new(prepared.pieces());
        let camera = scene.cameras[0].clone();
        let mut dress = |take| {
            let dressed = session.dress(&brief.at_take(take), &|_| (), &Cancel::new());
            dressed.expect(SOUND).0
        };
        let mut layout = dress(1);
        let options = options(320, 4);
        let subject = Subject::new(scene, &layout);
        let backdrop = Backdrop::new(&subject, &camera, &options).expect(SOUND);
        for take in 2..=13 {
            let subject = Subject::new(scene, &layout);
            let render = || {
                render_before(&backdrop, &kit, &subject, &camera, &options, &mut |_, _| {
                    true
                })
            };
            let (picture, next) = rayon::join(render, || (take <= 12).then(|| dress(take)));
            picture.expect(SOUND);
            layout = next.unwrap_or(layout);
        }
        println!(
            "12 takes at 320 x 180, 4 samples, {} pieces each ({}): {:.1} s",
            layout.instances.len(),
            if full { "all" } else { "those that show" },
            begun.elapsed().as_secs_f64()
        );
    }
}

fn main() {
    let asked: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| !a.starts_with('-'))
        .collect();
    let parts: [(&str, fn()); 5] = [
        // First, while the process is small
        ("memory", memory::bytes),
        ("rays", rays_a_second),
        ("coarse", coarse),
        ("takes", takes),
        ("million", million),
    ];
    for (name, part) in parts {
        if asked.is_empty() || asked.iter().any(|a| a == name) {
            part();
        }
    }
}
