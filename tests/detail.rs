//! Simpler versions of pieces: chosen by their size on screen, no farther from the full mesh than
//! the picture shows, and only those in use delivered.
//!
//! Sources: sizes on screen by the pinhole's own formula, from the vertices; distances by plain
//! search over points strewn on both surfaces. Both share no code with the library.

#![allow(clippy::unwrap_used, reason = "a check that cannot go on has failed")]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use glam::{DQuat, DVec3};
use scatter::deliver::{DeliverOptions, Format, write};
use scatter::kit::PieceIndex;
use scatter::kit::simpler::{full_name, versions};
use scatter::kit::{Kind, Piece, grow};
use scatter::layout::{Instance, Layout};
use scatter::optics::Camera;
use scatter::shot::Shot;
use scatter_tests::bad_input;
use scatter_tests::dresser::dress;
use scatter_tests::glb::Glb;
use serde_json::{Value, json};

/// What the shots here ask for, pixels.
const ASKED: f64 = 10.0;

fn layout(change: impl FnOnce(&mut Value)) -> Layout {
    let mut shot = bad_input::base();
    // Large on screen at the front, small at the back
    shot["cameras"][0]["frame"] = json!([640, 360]);
    shot["resolve"]["triangle_pixels"] = json!(ASKED);
    shot["passes"][0]["pieces"] = json!(["rock", "cobble"]);
    shot["passes"][1] = json!({ "name": "grass", "pieces": ["tuft"], "place": "strewn", "per_m2": 60,
        "sizes": { "law": "lognormal", "median": "40 mm", "spread": 0.3 } });
    change(&mut shot);
    let shot = Shot::parse(&shot.to_string(), Path::new("shot.json")).unwrap();
    dress(&shot, Path::new("")).unwrap().layout
}

fn piece<'a>(layout: &'a Layout, instance: &Instance) -> &'a Piece {
    &layout.pieces[usize::from(instance.piece)]
}

fn triangles(piece: &Piece) -> Vec<[DVec3; 3]> {
    let of_part = |part: &scatter::kit::Part| -> Vec<[DVec3; 3]> {
        let corners = part.mesh.indices.as_chunks::<3>().0;
        let corner = |i: u32| part.mesh.positions[i as usize].as_dvec3();
        corners.iter().map(|t| t.map(corner)).collect()
    };
    piece.parts.iter().flat_map(of_part).collect()
}

/// Side of an equilateral triangle of the mean area, metres at scale 1.
fn side(piece: &Piece) -> f64 {
    let all = triangles(piece);
    let area = |[a, b, c]: &[DVec3; 3]| 0.5 * (*b - *a).cross(*c - *a).length();
    let mean = all.iter().map(area).sum::<f64>() / all.len() as f64;
    (4.0 * mean / 3_f64.sqrt()).sqrt()
}

/// Pixels a metre at the nearest vertex in the frame; None if no vertex is in it. Also whether all
/// are.
fn nearest(camera: &Camera, piece: &Piece, instance: &Instance) -> Option<(f64, bool)> {
    let turn = DQuat::from_array(instance.rotation.map(f64::from));
    let tall = (0.5 * camera.yfov).tan();
    let wide = tall * f64::from(camera.frame[0]) / f64::from(camera.frame[1]);
    let (mut least, mut all) = (f64::INFINITY, true);
    for p in piece.parts.iter().flat_map(|p| &p.mesh.positions) {
        let world = instance.position + turn * (p.as_dvec3() * f64::from(instance.scale));
        let q = camera.rotation.inverse() * (world - camera.position);
        let depth = -q.z;
        if depth > camera.near && q.x.abs() <= wide * depth && q.y.abs() <= tall * depth {
            least = least.min(depth);
        } else {
            all = false;
        }
    }
    let focal = f64::from(camera.frame[1]) / (2.0 * tall);
    least.is_finite().then(|| (focal / least, all))
}

#[test]
fn poses_do_not_know_of_versions_and_versions_save_triangles() {
    let simple = layout(|_| {});
    let full = layout(|shot| {
        shot["resolve"]
            .as_object_mut()
            .unwrap()
            .remove("triangle_pixels");
    });
    assert!(full.pieces.iter().all(|p| !p.is_version()));
    assert_eq!(simple.instances.len(), full.instances.len());
    let by_id: BTreeMap<u64, &Instance> = full.instances.iter().map(|i| (i.id, i)).collect();
    for one in &simple.instances {
        let other = by_id[&one.id];
        assert_eq!(
            full_name(&piece(&simple, one).name),
            piece(&full, other).name
        );
        assert_eq!(
            Instance {
                piece: PieceIndex::new(0),
                ..*one
            },
            Instance {
                piece: PieceIndex::new(0),
                ..*other
            }
        );
    }
    for (one, other) in simple.passes.iter().zip(&full.passes) {
        let (tally, all) = (&one.tally, &other.tally);
        assert_eq!(
            (tally.full_triangles, all.full_triangles),
            (all.triangles, all.triangles)
        );
        assert!(
            4 * tally.triangles < 3 * all.triangles,
            "{}: {} of {}",
            one.name,
            tally.triangles,
            all.triangles
        );
        let index = simple
            .passes
            .iter()
            .position(|p| p.name == one.name)
            .unwrap();
        let own = simple
            .instances
            .iter()
            .filter(|i| usize::from(i.pass) == index);
        assert_eq!(
            own.map(|i| piece(&simple, i).triangles()).sum::<u64>(),
            tally.triangles
        );
    }
}

#[test]
fn each_piece_has_the_coarsest_version_whose_triangles_and_straying_are_as_small_as_asked() {
    let layout = layout(|_| {});
    let place: BTreeMap<&str, usize> = layout
        .pieces
        .iter()
        .enumerate()
        .map(|(i, p)| (p.name.as_str(), i))
        .collect();
    let family = |name: &str| -> Vec<usize> {
        let full = full_name(name);
        let own = place
            .iter()
            .filter(|(n, _)| full_name(n) == full)
            .map(|(_, i)| *i);
        let mut own: Vec<usize> = own.collect();
        own.sort_by_key(|i| std::cmp::Reverse(layout.pieces[*i].triangles()));
        own
    };
    let sides: Vec<f64> = layout.pieces.iter().map(side).collect();
    let full = layout.pieces.iter().filter(|p| !p.is_version());
    let strays: BTreeMap<String, f64> = full
        .flat_map(versions)
        .map(|v| (v.piece.name, v.fineness.deviation))
        .collect();
    let (mut simpler, mut near_asked, mut seen) = (0, 0, 0);
    for instance in &layout.instances {
        let own = usize::from(instance.piece);
        let Some((pixels, whole)) = nearest(&layout.cameras[0], piece(&layout, instance), instance)
        else {
            continue;
        };
        let on_screen = |i: usize| sides[i] * f64::from(instance.scale) * pixels;
        let all = family(&piece(&layout, instance).name);
        if own != all[0] {
            simpler += 1;
            assert!(
                on_screen(own) <= ASKED,
                "{}: {} pixels",
                layout.pieces[own].name,
                on_screen(own)
            );
        }
        let at = all.iter().position(|i| *i == own).unwrap();
        if let Some(coarser) = all.get(at + 1)
            && whole
        {
            seen += 1;
            // The library reckons with the bounding sphere, which is nearer than the nearest
            // vertex: by less than a third here
            let strays = strays[layout.pieces[*coarser].name.as_str()];
            let strays = strays * f64::from(instance.scale) * pixels;
            near_asked += usize::from(on_screen(*coarser) > 0.7 * ASKED || strays > 0.35 * ASKED);
        }
    }
    assert!(simpler > 50, "only {simpler} are simpler");
    assert!(
        near_asked == seen && seen > 30,
        "{near_asked} of {seen} could not be coarser"
    );
}

/// Points all over a surface, by area.
fn strewn(triangles: &[[DVec3; 3]], count: f64) -> Vec<DVec3> {
    let area = |[a, b, c]: &[DVec3; 3]| (*b - *a).cross(*c - *a).length();
    let total: f64 = triangles.iter().map(area).sum();
    let (mut points, mut run, mut next) = (Vec::new(), 0.0, 0.5);
    for t in triangles {
        run += area(t) / total * count;
        while next < run {
            let (u, v) = (0.618_034 * next % 1.0, 0.754_878 * next % 1.0);
            let (u, v) = if u + v > 1.0 {
                (1.0 - u, 1.0 - v)
            } else {
                (u, v)
            };
            points.push(t[0] + (t[1] - t[0]) * u + (t[2] - t[0]) * v);
            next += 1.0;
        }
    }
    points
}

/// Hausdorff distance of points strewn over both surfaces, by plain search over all pairs. It
/// misses what lies between the points: the spacing of the other surface's points adds to a
/// distance at most.
#[test]
fn surfaces_are_no_farther_apart_than_told() {
    const POINTS: f64 = 4000.0;
    for kind in [Kind::Rock, Kind::Leaf] {
        let piece = grow(kind, 1);
        let corners = triangles(&piece);
        let full = strewn(&corners, POINTS);
        let area = |[a, b, c]: &[DVec3; 3]| 0.5 * (*b - *a).cross(*c - *a).length();
        let spacing = 2.0 * (corners.iter().map(area).sum::<f64>() / POINTS).sqrt();
        let mut last = 0.0;
        for version in versions(&piece) {
            let own = strewn(&triangles(&version.piece), POINTS);
            let one_way = |from: &[DVec3], to: &[DVec3]| {
                let nearest = |p: &DVec3| {
                    let all = to.iter().map(|q| p.distance_squared(*q));
                    all.fold(f64::INFINITY, f64::min)
                };
                from.iter().map(nearest).fold(0.0, f64::max).sqrt()
            };
            let apart = one_way(&full, &own).max(one_way(&own, &full));
            let (told, name) = (version.fineness.deviation, &version.piece.name);
            assert!(apart <= 1.1 * told + spacing, "{name}: {apart} {told}");
            assert!(
                told > 0.0 && told < 0.5 * piece.measure.b_axis,
                "{name} {told}"
            );
            assert!(version.fineness.triangle > last, "{name}");
            last = version.fineness.triangle;
        }
    }
}

#[test]
fn silhouettes_move_by_less_than_the_pixels_that_were_asked() {
    let layout = layout(|_| {});
    // Of each version the use that is largest on screen
    let mut largest: BTreeMap<&str, (f64, &Instance)> = BTreeMap::new();
    for instance in &layout.instances {
        let own = piece(&layout, instance);
        if !own.is_version() {
            continue;
        }
        if let Some((pixels, _)) = nearest(&layout.cameras[0], own, instance) {
            let pixels = pixels * f64::from(instance.scale);
            let known = largest.entry(&own.name).or_insert((pixels, instance));
            if pixels > known.0 {
                *known = (pixels, instance);
            }
        }
    }
    assert!(
        largest.len() >= 12,
        "only {} versions in use",
        largest.len()
    );
    let every = largest.len().div_ceil(24);
    for (name, (pixels, instance)) in largest.iter().step_by(every) {
        const POINTS: f64 = 6000.0;
        let full = layout
            .pieces
            .iter()
            .find(|p| p.name == full_name(name))
            .unwrap();
        let [full, own] = [full, piece(&layout, instance)].map(triangles);
        let area: f64 = full
            .iter()
            .map(|[a, b, c]| 0.5 * (*b - *a).cross(*c - *a).length())
            .sum();
        let [full, own] = [&full, &own].map(|t| strewn(t, POINTS));
        let one_way = |from: &[DVec3], to: &[DVec3]| {
            let nearest = |p: &DVec3| {
                to.iter()
                    .map(|q| p.distance_squared(*q))
                    .fold(f64::INFINITY, f64::min)
            };
            from.iter()
                .step_by(4)
                .map(nearest)
                .fold(0.0, f64::max)
                .sqrt()
        };
        // Points are searched for, not surfaces: their spacing is too much by as much
        let apart = one_way(&full, &own).max(one_way(&own, &full)) - 2.0 * (area / POINTS).sqrt();
        assert!(apart * pixels < ASKED, "{name}: {} pixels", apart * pixels);
    }
}

#[test]
fn a_nearer_camera_never_makes_a_piece_coarser_and_threads_change_nothing() {
    let one = layout(|_| {});
    let two = layout(|shot| {
        let mut near = shot["cameras"][0].clone();
        near["name"] = json!("nearer");
        near["at"] = json!([0, "0.25 m", "0.4 m"]);
        shot["cameras"].as_array_mut().unwrap().push(near);
    });
    let by_id: BTreeMap<u64, &Instance> = two.instances.iter().map(|i| (i.id, i)).collect();
    let mut finer = 0;
    for instance in &one.instances {
        let [a, b] =
            [piece(&one, instance), piece(&two, by_id[&instance.id])].map(Piece::triangles);
        assert!(b >= a);
        finer += usize::from(b > a);
    }
    assert!(finer > 20, "{finer}");
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .unwrap();
    let alone = pool.install(|| layout(|_| {}));
    assert!(alone.instances == one.instances && alone.pieces == one.pieces);
}

#[test]
fn deliveries_hold_the_versions_in_use_and_no_others() {
    let layout = layout(|_| {});
    let used: BTreeSet<&str> = layout
        .instances
        .iter()
        .map(|i| piece(&layout, i).name.as_str())
        .collect();
    let simpler = |names: &BTreeSet<&str>| -> BTreeSet<String> {
        names
            .iter()
            .filter(|n| full_name(n) != **n)
            .map(|n| (*n).to_owned())
            .collect()
    };
    assert!(simpler(&used).len() < layout.pieces.iter().filter(|p| p.is_version()).count());
    let folder = tempfile::tempdir().unwrap();
    let formats = [Format::Glb, Format::Json, Format::Usda, Format::Csv];
    write(&layout, &DeliverOptions::new(folder.path(), &formats)).unwrap();
    let read = |name: &str| fs::read(folder.path().join(name)).unwrap();
    // GLB: the meshes are those in use, and as many triangles are drawn as the report says
    let glb = Glb::open(&read("layout.glb")).unwrap();
    let meshes = glb.json["meshes"].as_array().unwrap();
    let names: BTreeSet<&str> = meshes.iter().map(|m| m["name"].as_str().unwrap()).collect();
    assert_eq!(names, used);
    let mut drawn = 0;
    for node in glb.json["nodes"].as_array().unwrap() {
        let Some(at) = node.pointer("/extensions/EXT_mesh_gpu_instancing/attributes/SCALE") else {
            continue;
        };
        let count = |accessor: &Value| {
            glb.json["accessors"][accessor.as_u64().unwrap() as usize]["count"]
                .as_u64()
                .unwrap()
        };
        let mesh = &meshes[node["mesh"].as_u64().unwrap() as usize];
        let corners: u64 = mesh["primitives"]
            .as_array()
            .unwrap()
            .iter()
            .map(|p| count(&p["indices"]))
            .sum();
        drawn += count(at) * corners / 3;
    }
    let report: Value = serde_json::from_slice(&read("report.json")).unwrap();
    assert_eq!(report["totals"]["triangles"], drawn);
    assert!(report["totals"]["full_triangles"].as_u64().unwrap() > drawn);
    // JSON: each instance names its version, and each version its piece
    let json: Value = serde_json::from_slice(&read("layout.json")).unwrap();
    let pieces = json["pieces"].as_array().unwrap();
    let listed: BTreeSet<&str> = pieces.iter().map(|p| p["name"].as_str().unwrap()).collect();
    assert_eq!(simpler(&listed), simpler(&used));
    for line in pieces {
        let name = line["name"].as_str().unwrap();
        let of = (full_name(name) != name).then(|| full_name(name));
        assert_eq!(line["version_of"].as_str(), of);
    }
    for (line, instance) in json["instances"]
        .as_array()
        .unwrap()
        .iter()
        .zip(&layout.instances)
    {
        let named = &pieces[line["piece"].as_u64().unwrap() as usize]["name"];
        assert_eq!(*named, piece(&layout, instance).name);
    }
    // USDA and CSV by their text
    let usda = String::from_utf8(read("layout.usda")).unwrap();
    let csv = String::from_utf8(read("layout.csv")).unwrap();
    for own in layout.pieces.iter().filter(|p| p.is_version()) {
        let is_used = used.contains(own.name.as_str());
        assert_eq!(
            usda.contains(&format!("displayName = \"{}\"", own.name)),
            is_used,
            "{}",
            own.name
        );
        assert_eq!(
            csv.contains(&format!(",{},", own.name)),
            is_used,
            "{}",
            own.name
        );
    }
}
