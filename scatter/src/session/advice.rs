//! What is sound and still hardly meant: told as warnings.

use glam::DVec3;

use crate::brief::{Brief, Field};
use crate::ground::Ground;
use crate::hero::Hero;
use crate::layout::PassRecord;
use crate::optics::{Camera, Track};
use crate::plan::NANO;
use crate::view::View;

/// Heights of heroes that nobody means, metres: under the first, or over the second, a file is in
/// another unit than metres (common practice, no source).
const HERO_HEIGHTS_M: [f64; 2] = [0.003, 10.0];

/// Of cameras, heroes and ground, as they were read.
pub(super) fn of_scene(
    brief: &Brief,
    tracks: &[Track],
    heroes: &[Hero],
    ground: &Ground,
) -> Vec<String> {
    let mut told = Vec::new();
    for (i, track) in tracks.iter().enumerate() {
        let first = &track.frames[0];
        if first.stop.is_some() && first.focus.is_none() {
            told.push(format!(
                "cameras[{i}]: `{}` has a stop and no `focus`: all of its picture is sharp",
                track.name
            ));
        }
        if let Some([x0, z0, x1, z1]) = ground.bounds() {
            let outside = |c: &&Camera| {
                let at = c.position;
                at.x < x0 || at.x > x1 || at.z < z0 || at.z > z1
            };
            let count = track.frames.iter().filter(outside).count();
            if count > 0 {
                let when = if track.moves() {
                    format!(" in {count} of its {} frames", track.frames.len())
                } else {
                    String::new()
                };
                told.push(format!(
                    "cameras[{i}]: `{}` stands beyond the end of the ground{when}: the ground is x {x0:.2} to {x1:.2} m, z {z0:.2} to {z1:.2} m; widen `ground.extent` or move the camera",
                    track.name
                ));
            }
        }
    }
    let tracks_inside = |hero: &Hero| {
        let holds = |track: &&Track| track.frames.iter().any(|c| stands_in(c, hero, ground));
        tracks.iter().find(holds)
    };
    for (i, hero) in heroes.iter().enumerate() {
        let height = hero.height();
        if let Some(track) = tracks_inside(hero) {
            told.push(format!(
                "hero[{i}]: the camera `{}` stands inside its outline, {height:.2} m high: lower `scale`, or move one of them",
                track.name
            ));
            continue;
        }
        let [least, most] = HERO_HEIGHTS_M;
        if height < least || height > most {
            let file = brief.heroes.get(i).map_or("", |h| h.file.as_str());
            told.push(format!(
                "hero[{i}]: {file} is {height:.4} m high: files are in metres; `scale` makes up for another unit"
            ));
        }
    }
    told
}

/// Whether a camera stands in a hero's outline, between the ground and its top.
fn stands_in(camera: &Camera, hero: &Hero, ground: &Ground) -> bool {
    let at = camera.position;
    let over = at.y - ground.height(at.x, at.z);
    let plan = [at.x, at.z].map(|v| (v * NANO) as i64);
    (0.0..hero.height()).contains(&over) && hero.holds(plan, over)
}

/// Of heroes that no frame of any camera shows.
pub(super) fn of_heroes(
    brief: &Brief,
    heroes: &[Hero],
    view: &View,
    ground: &Ground,
) -> Vec<String> {
    let unseen = heroes.iter().enumerate().filter(|(_, hero)| {
        // A ball round what is over the ground; a hero on a slope reaches higher by less than it is
        // wide
        let [x0, z0, x1, z1] = {
            let b = hero.bounds();
            [b.x0, b.z0, b.x1, b.z1].map(|v| v as f64 / NANO)
        };
        let (x, z) = (0.5 * (x0 + x1), 0.5 * (z0 + z1));
        let middle = DVec3::new(x, ground.height(x, z) + 0.5 * hero.height(), z);
        let half = DVec3::new(x1 - x0, hero.height(), z1 - z0).length();
        !view.in_frame(middle, half)
    });
    unseen
        .map(|(i, _)| {
            let file = brief.heroes.get(i).map_or("", |h| h.file.as_str());
            format!("hero[{i}]: no camera sees {file}: see its `at`, and where the cameras look")
        })
        .collect()
}

/// Of the passes, as they were laid; `passes` are those of the brief, in its order.
pub(super) fn of_passes(brief: &Brief, records: &[PassRecord]) -> Vec<String> {
    let of = |name: &str| records.iter().find(|r| r.name == name);
    let laid: Vec<_> = brief
        .passes()
        .filter_map(|(layer, pass)| Some((&layer.name, pass, of(&layer.name)?)))
        .collect();
    if !laid.is_empty() && laid.iter().all(|(_, _, r)| r.tally.ground <= 0.0) {
        return vec![
            "no camera sees any ground that a pass could lie on: nothing is laid".to_owned(),
        ];
    }
    let empty: Vec<_> = laid
        .iter()
        .filter(|(_, _, record)| {
            record.tally.asked == 0 && record.tally.ground > 0.0 && record.tally.placed == 0
        })
        .collect();
    if empty.len() > 1 && empty.len() == laid.len() {
        return vec![
            "no pass asks for a piece on the ground that the frames show: a hero or an area kept clear may cover it; see also their `gather`".to_owned(),
        ];
    }
    empty
        .into_iter()
        .map(|(name, pass, _)| {
            let masks = pass.fields.iter().filter_map(Field::mask);
            let masks: Vec<&str> = masks.map(|m| m.file.as_str()).collect();
            let why = match (masks.is_empty(), pass.fields.is_empty()) {
                (false, _) => format!("see its mask {}", masks.join(", ")),
                (true, false) => "see its `gather`".to_owned(),
                (true, true) => "a hero or an area kept clear may cover it, or the amount gives less than one piece there".to_owned(),
            };
            format!("{name}: no piece is asked for on the ground that the frames show; {why}")
        })
        .collect()
}
