//! What is sound and still hardly meant: told as warnings.

use crate::brief::{Brief, Field};
use crate::ground::Ground;
use crate::hero::Hero;
use crate::layout::PassRecord;
use crate::optics::Track;

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
            let outside = |c: &&crate::optics::Camera| {
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
                    "cameras[{i}]: `{}` stands beyond the end of the ground{when}: the ground is x {x0:.2} to {x1:.2} m, z {z0:.2} to {z1:.2} m",
                    track.name
                ));
            }
        }
    }
    for (i, hero) in heroes.iter().enumerate() {
        let height = hero.height();
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
    let empty = laid.iter().filter(|(_, _, record)| {
        record.tally.asked == 0 && record.tally.ground > 0.0 && record.tally.placed == 0
    });
    empty
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
