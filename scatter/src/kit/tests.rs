//! What every grown piece must hold.

use std::collections::{BTreeMap, BTreeSet};

use glam::{DVec3, Vec3};

use super::{Kind, Material, Measure, Mesh, Part, Piece, grow, grow_all};

const STONES: [Kind; 3] = [Kind::Rock, Kind::Cobble, Kind::Pebble];

fn every_piece() -> impl Iterator<Item = (Kind, Piece)> {
    Kind::ALL
        .into_iter()
        .flat_map(|kind| grow_all(kind).into_iter().map(move |piece| (kind, piece)))
}

fn corners(mesh: &Mesh) -> impl Iterator<Item = [Vec3; 3]> {
    mesh.indices
        .chunks_exact(3)
        .map(|t| [t[0], t[1], t[2]].map(|i| mesh.positions[i as usize]))
}

/// How often each directed edge between places is used; vertices that differ only in their normal
/// are one place.
fn directed_edges(mesh: &Mesh) -> BTreeMap<([u32; 3], [u32; 3]), u32> {
    let mut uses = BTreeMap::new();
    for t in corners(mesh) {
        let [a, b, c] = t.map(|p| p.to_array().map(f32::to_bits));
        for edge in [(a, b), (b, c), (c, a)] {
            *uses.entry(edge).or_insert(0) += 1;
        }
    }
    uses
}

fn bytes(piece: &Piece) -> Vec<u8> {
    let mut bytes = Vec::new();
    for mesh in piece.parts.iter().map(|part| &part.mesh) {
        for v in mesh.positions.iter().chain(&mesh.normals) {
            bytes.extend(v.to_array().into_iter().flat_map(f32::to_le_bytes));
        }
        bytes.extend(mesh.colors.iter().flatten().flat_map(|c| c.to_le_bytes()));
        bytes.extend(mesh.indices.iter().flat_map(|i| i.to_le_bytes()));
    }
    bytes
}

#[test]
fn names_lead_back_to_their_kind() {
    for kind in Kind::ALL {
        assert_eq!(Kind::named(kind.name()), Some(kind));
    }
    assert_eq!(Kind::named("Rock"), None);
    assert_eq!(Kind::named(""), None);
}

#[test]
fn a_piece_is_the_same_every_time_and_in_any_order() {
    for kind in Kind::ALL {
        let all = grow_all(kind);
        for variant in (0..kind.variants()).rev() {
            assert_eq!(grow(kind, variant), all[variant as usize]);
        }
    }
}

/// The bytes themselves are pinned, so that a machine, a compiler or an edit that changes them is
/// seen.
#[test]
fn grown_bytes_are_pinned() {
    use sha2::{Digest, Sha256};
    let digest = |of: &dyn Fn(Kind) -> bool| -> String {
        let mut hash = Sha256::new();
        for (_, piece) in every_piece().filter(|(kind, _)| of(*kind)) {
            hash.update(bytes(&piece));
        }
        hash.finalize().iter().map(|b| format!("{b:02x}")).collect()
    };
    assert_eq!(
        digest(&|kind| kind != Kind::Spray),
        "0fedcb1152b649f89d89e3a816e7fed5d72e1ba5b87ac3f7f6b84ee977b40a5f"
    );
    assert_eq!(
        digest(&|kind| kind == Kind::Spray),
        "606d23e9fc475bb7d16e3dc4c39e0d102371039504381cb7b455025b3e18512b"
    );
}

#[test]
fn all_variants_differ_in_shape() {
    for kind in Kind::ALL {
        let shapes: BTreeSet<Vec<u8>> = grow_all(kind).iter().map(bytes).collect();
        assert_eq!(shapes.len(), kind.variants() as usize, "{}", kind.name());
        // Not only in their bytes: no two of a kind have the same proportions to a thousandth.
        let proportions: BTreeSet<[i64; 3]> = grow_all(kind)
            .iter()
            .map(|p| {
                let m = p.measure;
                [m.elongation, m.plan_fill, m.flatness].map(|x| (x * 1000.0) as i64)
            })
            .collect();
        assert_eq!(
            proportions.len(),
            kind.variants() as usize,
            "{}",
            kind.name()
        );
    }
}

#[test]
fn meshes_are_sound() {
    for (_, piece) in every_piece() {
        for mesh in piece.parts.iter().map(|part| &part.mesh) {
            let n = mesh.positions.len();
            assert_eq!(mesh.normals.len(), n);
            assert_eq!(mesh.colors.len(), n);
            assert_eq!(mesh.indices.len() % 3, 0);
            assert!(mesh.indices.iter().all(|&i| (i as usize) < n));
            assert!(mesh.positions.iter().all(|p| p.is_finite()));
            for normal in &mesh.normals {
                assert!((normal.length() - 1.0).abs() < 1e-5, "{}", piece.name);
            }
            let used: BTreeSet<u32> = mesh.indices.iter().copied().collect();
            assert_eq!(used.len(), n, "{} has idle vertices", piece.name);
        }
    }
}

#[test]
fn pieces_lie_in_their_frame() {
    for (kind, piece) in every_piece() {
        let places = || piece.parts.iter().flat_map(|p| &p.mesh.positions);
        let low = places().copied().fold(Vec3::INFINITY, Vec3::min);
        let high = places().copied().fold(Vec3::NEG_INFINITY, Vec3::max);
        let size = high - low;
        assert!((low + high).x.abs() < 1e-4 * size.x, "{}", piece.name);
        assert!((low + high).z.abs() < 1e-4 * size.z, "{}", piece.name);
        assert!(size.x >= 0.999 * size.z, "{} lies across", piece.name);
        if kind == Kind::Tuft {
            // Blades start under the ground.
            assert!((-0.0041..=0.0).contains(&low.y), "{} {}", piece.name, low.y);
        } else {
            assert!(low.y.abs() < 1e-6, "{} {}", piece.name, low.y);
        }
    }
}

#[test]
fn real_sizes_are_met() {
    for (kind, piece) in every_piece() {
        let m = piece.measure;
        let (value, range) = match kind {
            Kind::Rock => (m.b_axis, 0.11..0.20),
            // Wentworth (1922): cobbles are 64 to 256 mm, pebbles 4 to 64 mm.
            Kind::Cobble => (m.b_axis, 0.064..0.256),
            Kind::Pebble => (m.b_axis, 0.004..0.064),
            Kind::Leaf => (m.b_axis, 0.020..0.060),
            Kind::Twig => (f64::from(m.size.x), 0.070..0.270),
            Kind::Tuft => (f64::from(m.size.y), 0.060..0.260),
            Kind::BarkFlake => (m.b_axis, 0.013..0.070),
            Kind::Spray => (f64::from(m.size.x), 0.25..0.45),
        };
        assert!(range.contains(&value), "{} {value}", piece.name);
    }
}

#[test]
fn triangles_stay_in_budget() {
    for (kind, piece) in every_piece() {
        let range = match kind {
            Kind::Rock | Kind::Cobble => 600..=1500,
            Kind::Pebble => 300..=700,
            Kind::Leaf => 150..=500,
            Kind::Twig => 200..=800,
            Kind::Tuft => 600..=3000,
            Kind::BarkFlake => 300..=1500,
            Kind::Spray => 300..=1200,
        };
        assert!(
            range.contains(&piece.triangles()),
            "{} {}",
            piece.name,
            piece.triangles()
        );
    }
}

#[test]
fn solid_kinds_are_closed_and_consistently_oriented() {
    for (kind, piece) in every_piece() {
        if matches!(kind, Kind::Leaf | Kind::Tuft | Kind::Spray) {
            continue;
        }
        let edges = directed_edges(&piece.parts[0].mesh);
        for (&(a, b), &uses) in &edges {
            assert_eq!(uses, 1, "{}: an edge is used twice one way", piece.name);
            assert!(edges.contains_key(&(b, a)), "{}: an open edge", piece.name);
        }
    }
}

/// A point that sees every triangle's back, found by stepping behind the plane that it is farthest
/// in front of (relaxation after Agmon, 1954). The surface then meets each ray from there once: it
/// can't cross itself.
fn kernel_point(piece: &Piece) -> Option<DVec3> {
    let planes: Vec<(DVec3, DVec3)> = corners(&piece.parts[0].mesh)
        .map(|t| {
            let [a, b, c] = t.map(|p| p.as_dvec3());
            (a, (b - a).cross(c - a).normalize_or(DVec3::ZERO))
        })
        .collect();
    let margin = 1e-5 * piece.measure.b_axis;
    let mut p = DVec3::Y * f64::from(piece.measure.size.y) / 2.0;
    for _ in 0..3000 {
        let (ahead, normal) = planes
            .iter()
            .map(|&(a, n)| ((p - a).dot(n), n))
            .max_by(|x, y| x.0.total_cmp(&y.0))?;
        if ahead < 0.0 {
            return Some(p);
        }
        p -= normal * (ahead + margin);
    }
    None
}

#[test]
fn stones_face_outward_and_do_not_cross_themselves() {
    for (_, piece) in every_piece().filter(|(kind, _)| STONES.contains(kind)) {
        assert!(kernel_point(&piece).is_some(), "{}", piece.name);
        let volume: f64 = corners(&piece.parts[0].mesh)
            .map(|t| {
                let [a, b, c] = t.map(|p| p.as_dvec3());
                a.dot(b.cross(c)) / 6.0
            })
            .sum();
        // An ellipsoid fills 0.52 of its bounds, a box 1; a slanting slab less than either.
        let share = volume / piece.measure.size.as_dvec3().element_product();
        assert!((0.2..0.85).contains(&share), "{} {share}", piece.name);
    }
}

#[test]
fn vertex_normals_lean_with_their_triangles() {
    for (kind, piece) in every_piece() {
        let mesh = &piece.parts[0].mesh;
        let (mut with, mut all) = (0, 0);
        for (t, indices) in corners(mesh).zip(mesh.indices.chunks_exact(3)) {
            let face = (t[1] - t[0]).cross(t[2] - t[0]);
            for &i in indices {
                all += 1;
                with += i32::from(mesh.normals[i as usize].dot(face) > 0.0);
            }
        }
        // A smooth normal at the end of a thin spike may look away from one of its small triangles.
        assert!(
            f64::from(with) > 0.99 * f64::from(all),
            "{} {} {with} of {all}",
            kind.name(),
            piece.name
        );
    }
}

/// Zingg ("Beitrag zur Schotteranalyse", 1935): the classes part at 2/3 in both ratios. Sneed and
/// Folk ("Pebbles in the lower Colorado River, Texas", 1958): disc, blade and rod part at 0.33 and
/// 0.67 of (a - b) / (a - c).
#[test]
fn stones_spread_over_all_form_classes() {
    for kind in STONES {
        let n = f64::from(kind.variants());
        let (mut zingg, mut folk) = (BTreeMap::new(), [0; 3]);
        let (mut b_over_a, mut c_over_b) = (0.0, 0.0);
        for piece in grow_all(kind) {
            let mut axes = piece.measure.size.to_array().map(f64::from);
            axes.sort_by(|x, y| y.total_cmp(x));
            let [a, b, c] = axes;
            b_over_a += b / a / n;
            c_over_b += c / b / n;
            *zingg
                .entry((b / a > 2.0 / 3.0, c / b > 2.0 / 3.0))
                .or_insert(0) += 1;
            folk[((a - b) / (a - c) * 3.0).clamp(0.0, 2.0) as usize] += 1;
        }
        // River gravel: b/a about 0.68 to 0.75; scree is flatter (common practice, no source).
        let name = kind.name();
        assert!((0.65..0.76).contains(&b_over_a), "{name} {b_over_a}");
        let flat = if kind == Kind::Rock { 0.52 } else { 0.60 };
        assert!((flat..flat + 0.12).contains(&c_over_b), "{name} {c_over_b}");
        assert!(
            zingg.len() == 4 && zingg.values().all(|&k| k >= 3),
            "{name} {zingg:?}"
        );
        assert!(folk.iter().all(|&k| k >= 3), "{name} {folk:?}");
    }
}

/// Natural diffuse albedo runs from about 0.04 (wet soil, char) to 0.6 (pale limestone, quartz):
/// common practice, no source.
#[test]
fn colours_are_natural_albedos() {
    for (_, piece) in every_piece() {
        let mesh = &piece.parts[0].mesh;
        let mean = mesh
            .colors
            .iter()
            .map(|c| (f64::from(c[0]) + f64::from(c[1]) + f64::from(c[2])) / 3.0 / 65535.0)
            .sum::<f64>()
            / mesh.colors.len() as f64;
        assert!((0.03..0.60).contains(&mean), "{} {mean}", piece.name);
        assert!(mesh.colors.iter().all(|c| c[3] == u16::MAX));
    }
}

#[test]
fn colour_varies_more_between_stones_than_within_one() {
    for kind in STONES {
        let grey = |c: &[u16; 4]| (f64::from(c[0]) + f64::from(c[1]) + f64::from(c[2])) / 196_605.0;
        let spread = |values: &[f64]| {
            let n = values.len() as f64;
            let mean = values.iter().sum::<f64>() / n;
            let variance = values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / n;
            (mean, variance)
        };
        let stones: Vec<(f64, f64)> = grow_all(kind)
            .iter()
            .map(|p| spread(&p.parts[0].mesh.colors.iter().map(grey).collect::<Vec<_>>()))
            .collect();
        let (_, between) = spread(&stones.iter().map(|s| s.0).collect::<Vec<_>>());
        let mut within: Vec<f64> = stones.iter().map(|s| s.1).collect();
        within.sort_by(f64::total_cmp);
        // The median stone: a veined one is meant to be two-coloured.
        let within = within[within.len() / 2];
        assert!(between > within, "{} {between} {within}", kind.name());
    }
}

#[test]
fn only_thin_sheets_let_light_through() {
    for (kind, piece) in every_piece() {
        let sheet = matches!(kind, Kind::Leaf | Kind::Tuft | Kind::Spray);
        for Part { material, .. } in &piece.parts {
            assert_eq!(material.double_sided, sheet);
            assert_eq!(material.translucency > 0.0, sheet);
        }
    }
}

fn part(positions: Vec<Vec3>, indices: Vec<u32>) -> Part {
    Part {
        mesh: Mesh {
            normals: vec![Vec3::Y; positions.len()],
            positions,
            indices,
            ..Mesh::default()
        },
        material: Material {
            name: "plain".to_owned(),
            ..Material::default()
        },
    }
}

#[test]
fn a_disc_measures_as_a_disc() {
    let n = 720;
    let mut positions = vec![Vec3::ZERO];
    for k in 0..n {
        let turn = f64::from(k) / f64::from(n) * std::f64::consts::TAU;
        positions.push(Vec3::new(
            0.03 * libm::cos(turn) as f32,
            0.0,
            0.03 * libm::sin(turn) as f32,
        ));
    }
    let indices = (0..n as u32)
        .flat_map(|k| [0, 1 + (k + 1) % n as u32, 1 + k])
        .collect();
    let m = Measure::of(&[part(positions, indices)]);
    assert!((m.b_axis - 0.06).abs() < 1e-8);
    assert!((m.elongation - 1.0).abs() < 1e-6);
    // A disc fills pi / 4 of its square.
    assert!(
        (m.plan_fill - std::f64::consts::FRAC_PI_4).abs() < 0.002,
        "{}",
        m.plan_fill
    );
    assert_eq!(m.flatness, 0.0);
}

#[test]
fn a_box_measures_as_a_box() {
    // 9 : 6 : 4, the place where Zingg's four classes meet.
    let positions: Vec<Vec3> = (0..8)
        .map(|k: u32| {
            let pick = |bit: u32, x: f32| if k >> bit & 1 == 1 { x } else { 0.0 };
            Vec3::new(pick(0, 0.09), pick(1, 0.04), pick(2, 0.06))
        })
        .collect();
    let faces = [
        [0, 1, 3, 2],
        [4, 6, 7, 5],
        [0, 4, 5, 1],
        [2, 3, 7, 6],
        [0, 2, 6, 4],
        [1, 5, 7, 3],
    ];
    let indices = faces
        .into_iter()
        .flat_map(|[a, b, c, d]: [u32; 4]| [a, b, c, a, c, d])
        .collect();
    let m = Measure::of(&[part(positions, indices)]);
    assert!((m.b_axis - 0.06).abs() < 1e-8);
    assert!((m.elongation - 1.5).abs() < 1e-6);
    assert!((m.plan_fill - 1.5).abs() < 1e-6, "{}", m.plan_fill);
    assert!((m.flatness - 2.0 / 3.0).abs() < 1e-6);
}

#[test]
fn nothing_measures_as_nothing() {
    let m = Measure::of(&[]);
    assert_eq!(
        (m.b_axis, m.elongation, m.plan_fill, m.flatness),
        (0.0, 1.0, 0.0, 0.0)
    );
    let line = part(vec![Vec3::ZERO, Vec3::X], vec![0, 1, 1]);
    let m = Measure::of(&[line]);
    assert_eq!(
        (m.b_axis, m.elongation, m.plan_fill, m.flatness),
        (0.0, 1.0, 0.0, 0.0)
    );
}
