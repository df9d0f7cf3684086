//! Layouts seen from straight above, and their pieces as outlines on the plan.

use std::collections::HashMap;
use std::path::Path;

use glam::{DQuat, DVec3};
use scatter::ground::Ground;
use scatter::layout::{Instance, Layout};
use scatter::plan::convex_hull;
use scatter::shot::{Preset, Shot};
use scatter_tests::dresser::Dresser;
use serde_json::{Value, json};

/// Looks straight down on a square of the given half side, metres, with room for what stands on it.
/// A pixel is 2 mm at most.
pub(crate) fn above(half: f64) -> Value {
    json!({ "name": "above", "at": [0, 2.5 * half, 0], "toward": [0, 0, 0], "vertical_angle": "50 deg", "frame": [6000, 6000], "far": "20 m" })
}

/// Ground under a pixel of that camera, metres.
pub(crate) fn pixel(half: f64) -> f64 {
    2.0 * 25_f64.to_radians().tan() * 2.5 * half / 6000.0
}

/// Half the side of the measured square of scattered obstacles, metres.
pub(crate) const WIDE: f64 = 4.5;

/// Half the side of the measured square of relief, metres: some forty forms.
pub(crate) const HALF: f64 = 2.5;

pub(crate) fn read(value: &Value) -> Shot {
    Shot::parse(&value.to_string(), Path::new("shot.json")).unwrap_or_else(|e| panic!("{e}"))
}

/// A layout seen from straight above, with its ground.
pub(crate) fn laid(value: &Value, folder: &str) -> (Layout, Ground, Vec<Vec<[f64; 2]>>) {
    // Stones on their flattest side: heights are reckoned from the form that they were grown in
    let mut value = value.clone();
    for pass in value["passes"].as_array_mut().expect("passes") {
        pass["rest"]["pose"] = json!("flat");
    }
    let shot = read(&value);
    let dresser = Dresser::new(&shot, Path::new(folder)).unwrap_or_else(|e| panic!("{e}"));
    let mut layout = dresser
        .dress(shot.take)
        .unwrap_or_else(|e| panic!("{e}"))
        .layout;
    // Where a piece is on the plan: the middle of its bounds, not its origin, which a turned piece
    // has beside it
    for i in &mut layout.instances {
        let size = layout.pieces[usize::from(i.piece)].measure.size.as_dvec3() * f64::from(i.scale);
        let [x, y, z, w] = i.rotation.map(f64::from);
        let up = DQuat::from_xyzw(x, y, z, w).normalize() * DVec3::Y;
        i.position += up * (0.5 * size.y);
    }
    let metres = |c: &[i64; 2]| c.map(|v| v as f64 / 1e9);
    let heroes = dresser.heroes().iter();
    let outlines = heroes.map(|h| h.outline(1.0).iter().map(metres).collect());
    (layout, dresser.ground().clone(), outlines.collect())
}

pub(crate) fn of_pass<'a>(layout: &'a Layout, name: &str) -> Vec<&'a Instance> {
    let pass = layout.passes.iter().position(|p| p.name == name);
    let pass = pass.unwrap_or_else(|| panic!("no pass {name}"));
    let of = layout.instances.iter();
    of.filter(|i| usize::from(i.pass) == pass).collect()
}

pub(crate) fn within(i: &Instance, half: f64) -> bool {
    i.position.x.abs() < half && i.position.z.abs() < half
}

/// A piece's outline on the plan, from what is delivered: the hull of its corners as it lies.
#[derive(Debug, Clone)]
pub(crate) struct Outline {
    pub(crate) middle: [f64; 2],
    /// Counter-clockwise with x to the right and z up.
    corners: Vec<[f64; 2]>,
    /// Farthest corner from the middle.
    reach: f64,
    /// Semi-axes of its plan ellipse, and the direction of the longer one.
    pub(crate) axes: [f64; 2],
    pub(crate) along: [f64; 2],
    /// Height over diameter, unburied.
    pub(crate) flatness: f64,
}

impl Outline {
    pub(crate) fn of(layout: &Layout, i: &Instance) -> Self {
        let piece = &layout.pieces[usize::from(i.piece)];
        let measure = &piece.measure;
        let [x, y, z, w] = i.rotation.map(f64::from);
        let rotation = DQuat::from_xyzw(x, y, z, w).normalize();
        let axis = rotation * DVec3::X;
        let length = axis.x.hypot(axis.z);
        let half = 0.5 * f64::from(i.diameter);
        let middle = [i.position.x, i.position.z];
        // `laid` has moved the position from the origin to the middle of the bounds
        let lift = DVec3::Y * (0.5 * f64::from(measure.size.y));
        let corners = piece.parts.iter().flat_map(|part| &part.mesh.positions);
        let corners: Vec<[f64; 2]> = corners
            .map(|p| {
                let p = rotation * (p.as_dvec3() - lift) * f64::from(i.scale);
                [middle[0] + p.x, middle[1] + p.z]
            })
            .collect();
        let corners = convex_hull(&corners);
        let away = |c: &[f64; 2]| (c[0] - middle[0]).hypot(c[1] - middle[1]);
        Self {
            middle,
            reach: corners.iter().map(away).fold(0.0, f64::max),
            corners,
            axes: [half * measure.elongation, half],
            along: [axis.x / length, axis.z / length],
            flatness: measure.flatness,
        }
    }

    /// Distance of a place from the outline, negative inside.
    pub(crate) fn distance(&self, x: f64, z: f64) -> f64 {
        let (mut inside, mut least) = (true, f64::INFINITY);
        for (i, a) in self.corners.iter().enumerate() {
            let b = self.corners[(i + 1) % self.corners.len()];
            let (ex, ez, px, pz) = (b[0] - a[0], b[1] - a[1], x - a[0], z - a[1]);
            let t = ((px * ex + pz * ez) / (ex * ex + ez * ez)).clamp(0.0, 1.0);
            least = least.min((px - t * ex).hypot(pz - t * ez));
            inside &= ex * pz - ez * px >= 0.0;
        }
        if inside { -least } else { least }
    }

    pub(crate) fn far(&self, x: f64, z: f64, reach: f64) -> bool {
        (x - self.middle[0]).hypot(z - self.middle[1]) > self.reach + reach
    }
}

/// Pieces sorted into squares of a side for looking up what is near.
pub(crate) struct Lookup {
    pub(crate) side: f64,
    pub(crate) cells: HashMap<(i64, i64), Vec<usize>>,
}

impl Lookup {
    pub(crate) fn new(places: &[[f64; 2]], side: f64) -> Self {
        let mut cells: HashMap<(i64, i64), Vec<usize>> = HashMap::new();
        for (i, [x, z]) in places.iter().enumerate() {
            let cell = ((x / side).floor() as i64, (z / side).floor() as i64);
            cells.entry(cell).or_default().push(i);
        }
        Self { side, cells }
    }

    /// All within the side, and some beyond.
    pub(crate) fn near(&self, x: f64, z: f64) -> impl Iterator<Item = usize> + '_ {
        let (cx, cz) = (
            (x / self.side).floor() as i64,
            (z / self.side).floor() as i64,
        );
        (-1..=1)
            .flat_map(move |i| (-1..=1).map(move |j| (cx + i, cz + j)))
            .filter_map(|c| self.cells.get(&c))
            .flatten()
            .copied()
    }
}

/// A preset seen from straight above.
pub(crate) fn preset(name: &str, take: u64, passes: &[&str], half: f64) -> Value {
    let shot = Preset::find(name)
        .unwrap_or_else(|e| panic!("{e}"))
        .shot("measured");
    let mut value = serde_json::to_value(shot).expect("a shot is JSON");
    value["take"] = json!(take);
    value["cameras"] = json!([above(half)]);
    let all = value["passes"].as_array_mut().expect("passes");
    all.retain(|p| {
        p["name"]
            .as_str()
            .is_some_and(|name| passes.contains(&name))
    });
    value
}
