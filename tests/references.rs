//! Pictures against those that were looked at and found right. Where one differs, what came out is
//! saved beside the test programs, to be looked at.
//!
//! `STREW_WRITE_REFERENCES=1 cargo test -p scatter-tests --test references` writes them anew:
//! look at each before it is committed.

#![expect(clippy::unwrap_used, reason = "a check that fails here fails the test")]

use std::path::Path;
use std::sync::Arc;

use glam::{DMat3, DQuat, DVec3, Quat};
use scatter::brief::{LayerIndex, Look};
use scatter::ground::Ground;
use scatter::kit::{Kind, PieceIndex, grow_all};
use scatter::layout::{Instance, Layout};
use scatter::optics::Camera;
use scatter::picture::{LookOptions, Subject, Tone, png, render};
use scatter::scene::{Lamp, Light, Mood};
use scatter_tests::pictures::{LOOP, SHOWN, difference, loop_digest, made, path, read_png};
use scatter_tests::tools::tests_folder;

/// Most that a picture may differ from its reference on the mean and in its worst hundredth, in
/// steps of eight bits: rounding moves a few edges; another colour, light or shape moves all.
const TOLERANCE: (f64, u8) = (0.6, 12);

/// Twenty-four pieces in rows on a plain, each turned its own way, laid by hand: no rule of resting
/// moves them.
fn rows(kinds: &[Kind], b_axis: f64, spacing: f64) -> Layout {
    let pieces: Vec<_> = kinds.iter().flat_map(|kind| grow_all(*kind)).collect();
    let instances = (0..24_u64)
        .map(|i| {
            let piece = (i as usize * 5) % pieces.len();
            let scale = b_axis / pieces[piece].measure.b_axis;
            let row = (i / 6) as f64;
            Instance {
                id: i,
                position: DVec3::new(
                    ((i % 6) as f64 - 2.5 + 0.5 * (row % 2.0)) * spacing,
                    0.0,
                    -row * spacing,
                ),
                rotation: Quat::from_rotation_y(i as f32 * 2.4).to_array(),
                scale: scale as f32,
                diameter: b_axis as f32,
                pass: LayerIndex::default(),
                piece: PieceIndex::new(piece as u16),
            }
        })
        .collect();
    Layout {
        shot: "reference".into(),
        take: 1,
        cameras: Vec::new(),
        pieces: Arc::new(pieces),
        passes: Vec::new(),
        instances,
        ..Layout::default()
    }
}

/// A lens that looks down the rows from `back` metres before them and half as high.
fn camera(back: f64) -> Camera {
    let at = DVec3::new(0.0, 0.6 * back, back);
    let z = (at - DVec3::new(0.0, 0.0, -0.35 * back)).normalize();
    let x = DVec3::Y.cross(z).normalize();
    Camera {
        name: "reference".into(),
        position: at,
        rotation: DQuat::from_mat3(&DMat3::from_cols(x, z.cross(x), z)),
        yfov: 0.55,
        frame: [160, 90],
        near: 0.01,
        far: 20.0,
        focal_length: 0.05,
        focus: None,
        stop: None,
    }
}

fn light(mood: Mood) -> Light {
    Light {
        sun_direction: DVec3::new(-0.7, 0.5, -0.2),
        mood,
        lamp: None,
    }
}

/// Compares the picture of a scene with the reference of a name.
fn compare(name: &str, layout: &Layout, look: Look, light: Light, camera: &Camera) {
    let ground = Ground::level();
    let scene = Subject {
        layout,
        heroes: Vec::new(),
        ground: Some(&ground),
        finish: look.into(),
        light,
    };
    let options = LookOptions {
        width: camera.frame[0],
        samples: 16,
        ..LookOptions::default()
    };
    let picture = render(&scene, camera, &options, &mut |_, _| true).unwrap();
    let (size, rgb) = (
        [picture.width, picture.height],
        picture.to_srgb8(Tone::Film),
    );
    let reference = tests_folder()
        .join("references")
        .join(format!("{name}.png"));
    if std::env::var_os("STREW_WRITE_REFERENCES").is_some() {
        png::write(&reference, size[0], size[1], &rgb).unwrap();
    }
    same(name, size, &rgb, &reference, TOLERANCE);
}

fn same(name: &str, size: [u32; 2], rgb: &[u8], reference: &Path, tolerance: (f64, u8)) {
    let (expected_size, expected) = read_png(reference);
    let (mean, worst) = difference(rgb, &expected);
    if size != expected_size || mean > tolerance.0 || worst > tolerance.1 {
        let actual = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}.png"));
        png::write(&actual, size[0], size[1], rgb).unwrap();
        panic!(
            "{name} differs from {} by {mean:.2} steps on the mean, {worst} in the worst hundredth; what came out is {}",
            reference.display(),
            actual.display()
        );
    }
}

#[test]
fn cobbles_in_the_sun() {
    let layout = rows(&[Kind::Cobble], 0.12, 0.17);
    compare(
        "cobbles-in-the-sun",
        &layout,
        Look::Gravel,
        light(Mood::Sun),
        &camera(0.9),
    );
}

#[test]
fn rocks_under_clouds() {
    let layout = rows(&[Kind::Rock], 0.15, 0.21);
    compare(
        "rocks-under-clouds",
        &layout,
        Look::Rock,
        light(Mood::Overcast),
        &camera(1.1),
    );
}

#[test]
fn pebbles_out_of_focus() {
    let mut camera = camera(0.14);
    camera.focus = Some(0.16);
    camera.stop = Some(8.0);
    let layout = rows(&[Kind::Pebble], 0.018, 0.024);
    compare(
        "pebbles-out-of-focus",
        &layout,
        Look::Sand,
        light(Mood::Sun),
        &camera,
    );
}

#[test]
fn leaves_and_bark_on_litter() {
    let layout = rows(&[Kind::Leaf, Kind::BarkFlake], 0.045, 0.06);
    compare(
        "leaves-and-bark-on-litter",
        &layout,
        Look::Litter,
        light(Mood::Sun),
        &camera(0.32),
    );
}

#[test]
fn tufts_and_twigs_on_soil() {
    let layout = rows(&[Kind::Tuft, Kind::Twig], 0.08, 0.1);
    compare(
        "tufts-and-twigs-on-soil",
        &layout,
        Look::Soil,
        light(Mood::Sun),
        &camera(0.6),
    );
}

#[test]
fn rocks_by_lamplight() {
    let layout = rows(&[Kind::Rock], 0.12, 0.18);
    let light = Light {
        lamp: Some(Lamp {
            position: DVec3::new(0.25, 0.3, -0.1),
            candela: 0.5,
            kelvin: 2200.0,
        }),
        ..light(Mood::Night)
    };
    compare(
        "rocks-by-lamplight",
        &layout,
        Look::Soil,
        light,
        &camera(0.9),
    );
}

/// The README's pictures show what the examples are now. The small picture may differ by what
/// rounding does, not by what is seen.
#[test]
fn the_pictures_of_the_readme_are_not_older_than_what_they_show() {
    let remake = "make it anew: cargo run --release -p scatter-tests --bin pictures";
    for name in SHOWN {
        let picture = std::fs::metadata(path(name, ".jpg")).unwrap();
        assert!(picture.len() <= 300_000, "{name}: {} bytes", picture.len());
        let now = made(name);
        let digest = std::fs::read_to_string(path(name, ".digest")).unwrap();
        assert_eq!(
            digest.trim(),
            now.digest,
            "{name} shows other pieces; {remake}"
        );
        let (_, was) = read_png(&path(name, "-small.png"));
        let (mean, worst) = difference(&now.small, &was);
        assert!(
            mean <= 1.5 && worst <= 24,
            "{name} looks other by {mean:.2} steps on the mean, {worst} in the worst hundredth; {remake}"
        );
    }
}

/// The README's loop shows takes of an example as it is now: its digest is that of the picture
/// above, which is held to the example there.
#[test]
fn the_pictures_of_the_loop_are_not_older_than_what_they_show() {
    let [looped, shown] =
        [loop_digest(), path(LOOP, ".digest")].map(|file| std::fs::read_to_string(file).unwrap());
    assert_eq!(
        looped, shown,
        "make them anew: cargo run --release -p scatter-tests --bin loop-pictures"
    );
}
