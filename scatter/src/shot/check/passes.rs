//! Passes: names, amounts, sizes, and what they refer to.

use std::collections::HashSet;

use super::faults::Faults;
use super::sizes::sizes;
use crate::input::likely;
use crate::shot::bounds::{
    COVER, DIAMETER_M, DIAMETERS, DIP_DEG, DIP_SPREAD_DEG, FEATURE_M, FIELDS, GRADE,
    HEADING_SPREAD_DEG, HEIGHTS, OVERLAP, PARENTS, PER_M2, PIECES, RADIUS_M, REACH_M, SHARE,
    SLOPE_DEG, SMALLEST, SPACING,
};
use crate::shot::{
    Clumps, Gather, KINDS, Near, PINS, Pass, PassSizes, Patches, Place, Rest, Slope, Smallest,
    names_file,
};

/// What a relation calls the heroes.
const HERO: &str = "hero";
/// What a pass can't be called by, and what it stands for.
const TAKEN: [(&str, &str); 2] = [
    (HERO, "what the shot is about"),
    (PINS, "what is put in its place by hand"),
];

pub(super) fn check(passes: &[Pass], has_hero: bool, faults: &mut Faults) {
    for (i, pass) in passes.iter().enumerate() {
        let at = format!("passes[{i}]");
        name(passes, i, &at, faults);
        pieces(pass, &at, faults);
        // What a part of a mix asks for, its mix says: see `mixes`
        if let PassSizes::Own(own) = &pass.sizes {
            faults.one_of(
                &at,
                ("cover", pass.cover.is_some()),
                ("per_m2", pass.per_m2.is_some()),
            );
            sizes(own, &format!("{at}.sizes"), faults);
        }
        amounts(pass, &at, faults);
        if let Some(c) = &pass.clumps {
            clumps(c, &format!("{at}.clumps"), faults);
        }
        faults.count(&format!("{at}.gather"), pass.gather.len(), FIELDS);
        fields(passes, i, has_hero, &at, faults);
        one_grade(pass, &at, faults);
        rest(&pass.rest, &format!("{at}.rest"), faults);
        faults.within(
            format!("{at}.spacing"),
            pass.spacing,
            SPACING,
            "1 is touching",
        );
        faults.within(
            format!("{at}.overlap"),
            pass.overlap,
            OVERLAP,
            "0 is touching",
        );
    }
}

/// How much of it there is, and how it comes to lie.
fn amounts(pass: &Pass, at: &str, faults: &mut Faults) {
    if let Some(cover) = pass.cover {
        faults.above(
            format!("{at}.cover"),
            cover,
            COVER,
            "a share of the ground, such as 0.35",
        );
    }
    if let Some(count) = pass.per_m2 {
        faults.above(
            format!("{at}.per_m2"),
            count,
            PER_M2,
            "pieces a square metre",
        );
    }
    if let Some(roll) = pass.roll {
        faults.within(format!("{at}.roll"), roll, SHARE, "the share that rolls");
        if pass.place != Place::Packed {
            faults.add(
                format!("{at}.roll"),
                "only stones of a packed pass roll",
                "leave it out, or set `place` to `packed`",
            );
        }
    }
    if pass.stone.is_some() && !pass.grows_stones() {
        faults.add(
            format!("{at}.stone"),
            "it says what grown stones are of, and the pass grows none",
            "leave it out: pieces from files keep their own colours",
        );
    }
    if pass.lies.is_some() && !pass.pieces.iter().any(|name| names_file(name)) {
        faults.add(
            format!("{at}.lies"),
            "it says how pieces from files lie, and the pass names no file",
            "leave it out: what the tool grows lies as its kind does",
        );
    }
}

/// What a pass gathers by, and what that refers to.
fn fields(passes: &[Pass], i: usize, has_hero: bool, at: &str, faults: &mut Faults) {
    for (k, field) in passes[i].gather.iter().enumerate() {
        let place = format!("{at}.gather[{k}]");
        gather(field, &place, faults);
        if let (Some(key), Some(what)) = (key(field), field.refers_to()) {
            refers(
                passes,
                i,
                has_hero,
                what,
                &format!("{place}.{key}.what"),
                faults,
            );
        }
    }
}

fn name(passes: &[Pass], i: usize, at: &str, faults: &mut Faults) {
    let name = passes[i].name.as_str();
    faults.key(format!("{at}.name"), name, "pass name");
    if let Some((taken, means)) = TAKEN.iter().find(|(taken, _)| *taken == name) {
        faults.add(
            format!("{at}.name"),
            format!("a pass can't be called `{taken}`"),
            format!("another name: `{taken}` is {means}"),
        );
    }
    if let Some(first) = passes[..i].iter().position(|p| p.name == name) {
        faults.add(
            format!("{at}.name"),
            format!("passes[{first}] is called {name:?} too"),
            "give each pass its own name: its random streams hang on it",
        );
    }
}

fn pieces(pass: &Pass, at: &str, faults: &mut Faults) {
    if pass.pieces.is_empty() {
        faults.add(
            format!("{at}.pieces"),
            "the list is empty",
            format!("at least one of {}", KINDS.join(", ")),
        );
    }
    if pass.pieces.len() > PIECES.most {
        faults.count(&format!("{at}.pieces"), pass.pieces.len(), PIECES);
        return;
    }
    let mut known = HashSet::new();
    for (k, kind) in pass.pieces.iter().enumerate() {
        let place = format!("{at}.pieces[{k}]");
        let is_new = known.insert(kind.as_str());
        if !KINDS.contains(&kind.as_str()) && !names_file(kind) {
            let hint = match likely(kind, &KINDS) {
                Some(name) => format!("did you mean `{name}`?"),
                None => format!(
                    "one of {}, or a .glb, .gltf or kit .json file",
                    KINDS.join(", ")
                ),
            };
            faults.add(place, format!("there is no kind {kind:?}"), hint);
        } else if !is_new {
            faults.add(
                place,
                format!("{kind} is there already"),
                "name each once: all are as likely",
            );
        }
    }
}

fn clumps(clumps: &Clumps, at: &str, faults: &mut Faults) {
    faults.above(
        format!("{at}.parents_per_m2"),
        clumps.parents_per_m2,
        PARENTS,
        "parents a square metre",
    );
    faults.positive_length(format!("{at}.spread"), clumps.spread, REACH_M.most);
    faults.within(format!("{at}.share"), clumps.share, SHARE, "");
}

fn gather(field: &Gather, at: &str, faults: &mut Faults) {
    match field {
        Gather::Patches(p) => patches(p, &format!("{at}.patches"), faults),
        Gather::Slope(s) => slope(s, &format!("{at}.slope"), faults),
        Gather::Hollows(s) => {
            faults.length(format!("{at}.hollows.radius"), s.radius, RADIUS_M);
        }
        Gather::Crests(s) => {
            faults.length(format!("{at}.crests.radius"), s.radius, RADIUS_M);
        }
        // See `lines`
        Gather::Along(_) => {}
        Gather::Mask(_) => {}
        Gather::Near(n) => near(n, &format!("{at}.near"), faults),
        Gather::ClearOf(r) => {
            let at = format!("{at}.clear_of");
            faults.length(format!("{at}.within"), r.within, REACH_M);
            smallest(r.smallest, &at, faults);
        }
        Gather::Between(r) => {
            let at = format!("{at}.between");
            faults.length(format!("{at}.within"), r.within, REACH_M);
            smallest(r.smallest, &at, faults);
            if r.within.metres() <= 0.0 {
                no_distance(&at, faults);
            }
        }
        Gather::LeeOf(l) => {
            let at = format!("{at}.lee_of");
            faults.azimuth(format!("{at}.wind_from"), l.wind_from);
            faults.above(
                format!("{at}.heights"),
                l.heights,
                HEIGHTS,
                "heights of what shelters",
            );
            faults.within(format!("{at}.elsewhere"), l.elsewhere, SHARE, "");
            smallest(l.smallest, &at, faults);
        }
        Gather::Grade(g) => {
            let at = format!("{at}.grade");
            faults.length(format!("{at}.radius"), g.radius, RADIUS_M);
            faults.above(
                format!("{at}.ratio"),
                g.ratio,
                GRADE,
                "median size in hollows over that on crests",
            );
        }
    }
}

fn patches(p: &Patches, at: &str, faults: &mut Faults) {
    if let Some(name) = &p.name {
        faults.key(format!("{at}.name"), name, "name of patches");
    }
    faults.length(format!("{at}.feature"), p.feature, FEATURE_M);
    faults.within(format!("{at}.fill"), p.fill, SHARE, "a share of the ground");
    faults.within(format!("{at}.roughness"), p.roughness, SHARE, "");
}

fn slope(s: &Slope, at: &str, faults: &mut Faults) {
    faults.angle(format!("{at}.from"), s.from, SLOPE_DEG);
    faults.angle(format!("{at}.to"), s.to, SLOPE_DEG);
    if s.from > s.to {
        faults.add(
            format!("{at}.from"),
            format!("`from`, {}, is above `to`, {}", s.from, s.to),
            "from at most to",
        );
    }
}

fn near(n: &Near, at: &str, faults: &mut Faults) {
    faults.length(format!("{at}.within"), n.within, REACH_M);
    faults.within(
        format!("{at}.diameters"),
        n.diameters,
        DIAMETERS,
        "diameters of what lies there",
    );
    faults.within(format!("{at}.elsewhere"), n.elsewhere, SHARE, "");
    smallest(n.smallest, at, faults);
    if n.within.metres() <= 0.0 && n.diameters <= 0.0 {
        no_distance(at, faults);
    }
}

fn smallest(smallest: Smallest, at: &str, faults: &mut Faults) {
    let at = format!("{at}.smallest");
    match smallest {
        Smallest::Share(share) => faults.above(
            at,
            share,
            SMALLEST,
            "a share of the asking piece's own diameter",
        ),
        Smallest::Length(length) => faults.positive_length(at, length, DIAMETER_M.most),
    }
}

fn no_distance(at: &str, faults: &mut Faults) {
    faults.add(
        format!("{at}.within"),
        "no distance is given, so the field is zero everywhere",
        "a distance above 0 m, such as \"0.1 m\"",
    );
}

/// Two gradings of one pass would not keep its size law.
fn one_grade(pass: &Pass, at: &str, faults: &mut Faults) {
    let mut grades = (0..pass.gather.len()).filter(|k| matches!(pass.gather[*k], Gather::Grade(_)));
    if let (Some(first), Some(second)) = (grades.next(), grades.next()) {
        faults.add(
            format!("{at}.gather[{second}].grade"),
            format!("gather[{first}] grades the sizes already"),
            "one grade a pass",
        );
    }
}

/// The key of a field that refers to something.
fn key(field: &Gather) -> Option<&'static str> {
    match field {
        Gather::Near(_) => Some("near"),
        Gather::ClearOf(_) => Some("clear_of"),
        Gather::Between(_) => Some("between"),
        Gather::LeeOf(_) => Some("lee_of"),
        _ => None,
    }
}

/// `what` must be the hero or an earlier pass.
fn refers(passes: &[Pass], i: usize, has_hero: bool, what: &str, place: &str, faults: &mut Faults) {
    if what == HERO {
        if !has_hero {
            faults.add(
                place,
                "the shot has no hero",
                "add one under `hero`, or name an earlier pass",
            );
        }
        return;
    }
    let earlier: Vec<&str> = passes[..i].iter().map(|p| p.name.as_str()).collect();
    if earlier.contains(&what) {
        return;
    }
    let me = passes[i].name.as_str();
    if what == me {
        faults.add(
            place,
            format!("the pass {me:?} refers to itself"),
            "name the hero or an earlier pass; `clumps` gathers a pass about itself",
        );
        return;
    }
    let refers_back = |p: &Pass| {
        p.gather
            .iter()
            .filter_map(Gather::refers_to)
            .any(|what| what == me)
    };
    match passes.iter().find(|p| p.name == what) {
        Some(later) if refers_back(later) => faults.add(
            place,
            format!("circular: {me:?} refers to {what:?}, which refers to {me:?}"),
            "only one of the two can refer to the other; lay the other one first",
        ),
        Some(_) => faults.add(
            place,
            format!("the pass {what:?} is laid later"),
            format!("move {what:?} in front of {me:?}: a pass refers to what is laid already"),
        ),
        None => {
            let mut known = earlier;
            known.push(HERO);
            let hint = match likely(what, &known) {
                Some(name) => format!("did you mean `{name}`?"),
                None => format!("one of {}", known.join(", ")),
            };
            faults.add(place, format!("there is no pass {what:?}"), hint);
        }
    }
}

fn rest(rest: &Rest, at: &str, faults: &mut Faults) {
    for (k, share) in rest.bury.iter().enumerate() {
        faults.within(
            format!("{at}.bury[{k}]"),
            *share,
            SHARE,
            "a share of the piece's height",
        );
    }
    if rest.bury[0] > rest.bury[1] {
        faults.add(
            format!("{at}.bury"),
            format!("least {} is above most {}", rest.bury[0], rest.bury[1]),
            "least first, such as [0.1, 0.3]",
        );
    }
    if let Some(heading) = &rest.heading {
        for (key, angle) in [("toward", heading.toward), ("turn", heading.turn)] {
            if let Some(angle) = angle {
                faults.azimuth(format!("{at}.heading.{key}"), angle);
            }
        }
        faults.angle(
            format!("{at}.heading.spread"),
            heading.spread,
            HEADING_SPREAD_DEG,
        );
    }
    faults.angle(format!("{at}.tilt"), rest.tilt, SLOPE_DEG);
    faults.within(format!("{at}.wet"), rest.wet, SHARE, "0 (dry) to 1 (wet)");
    if let Some(lean) = rest.lean {
        faults.angle(format!("{at}.lean.dip"), lean.dip, DIP_DEG);
        faults.angle(format!("{at}.lean.spread"), lean.spread, DIP_SPREAD_DEG);
    }
}
