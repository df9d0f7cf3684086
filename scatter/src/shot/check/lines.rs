//! Lines of the ground, and what refers to them.

use super::faults::Faults;
use crate::input::likely;
use crate::shot::bounds::{FEATURE_M, LINE_POINTS, LINES, REACH_M, SHARE};
use crate::shot::{Gather, Ground, Line, LineSide, Pass};

pub(super) fn check(ground: &Ground, passes: &[Pass], faults: &mut Faults) {
    faults.count("ground.lines", ground.lines.len(), LINES);
    for (name, line) in &ground.lines {
        let at = format!("ground.lines.{name}");
        faults.key(&at, name, "name of a line");
        self::line(line, ground, &at, faults);
    }
    for (i, pass) in passes.iter().enumerate() {
        for (k, field) in pass.gather.iter().enumerate() {
            let Gather::Along(along) = field else {
                continue;
            };
            let at = format!("passes[{i}].gather[{k}].along");
            known(ground, &along.line, &format!("{at}.line"), faults);
            faults.positive_length(format!("{at}.within"), along.within, REACH_M.most);
            faults.length(format!("{at}.offset"), along.offset, REACH_M);
            faults.within(format!("{at}.elsewhere"), along.elsewhere, SHARE, "");
            if let Some(other) = &along.and {
                known(ground, other, &format!("{at}.and"), faults);
                let aside = along.side != LineSide::Both || along.offset.metres() > 0.0;
                if *other == along.line || aside {
                    faults.add(
                        format!("{at}.and"),
                        "what lies between two lines has no side and no offset of one",
                        "two lines, and neither `side` nor `offset`",
                    );
                }
            }
        }
        if let Some(heading) = &pass.rest.heading {
            let at = format!("passes[{i}].rest.heading");
            let toward = ("toward", heading.toward.is_some());
            faults.one_of(&at, toward, ("along", heading.along.is_some()));
            if let Some(name) = &heading.along {
                known(ground, name, &format!("{at}.along"), faults);
            } else if heading.turn.is_some() {
                faults.add(
                    format!("{at}.turn"),
                    "there is no line to turn against",
                    "leave it out, or name a line with `along`",
                );
            }
        }
    }
}

fn line(line: &Line, ground: &Ground, at: &str, faults: &mut Faults) {
    let place = format!("{at}.points");
    faults.count(&place, line.points.len(), LINE_POINTS);
    for (k, point) in line.points.iter().enumerate() {
        for (axis, coordinate) in point.iter().enumerate() {
            faults.coordinate(format!("{place}[{k}][{axis}]"), *coordinate);
        }
        if k > 0 && line.points[k - 1] == *point {
            faults.add(
                format!("{place}[{k}]"),
                "it is where the point before it is",
                "leave one of them out",
            );
        }
    }
    if let Some(press) = line.press {
        let at = format!("{at}.press");
        faults.length(format!("{at}.depth"), press.depth, REACH_M);
        faults.length(format!("{at}.width"), press.width, FEATURE_M);
        if ground.mesh.is_some() {
            faults.add(
                at,
                "a line can't press down a ground from a mesh",
                "leave `press` out: such a ground has its ruts in its file",
            );
        }
    }
}

/// `name` must be a line of the ground.
fn known(ground: &Ground, name: &str, at: &str, faults: &mut Faults) {
    if ground.lines.contains_key(name) {
        return;
    }
    let names: Vec<&str> = ground.lines.keys().map(String::as_str).collect();
    let hint = match likely(name, &names) {
        Some(other) => format!("did you mean `{other}`?"),
        None if names.is_empty() => "the ground has no `lines`; add it there".into(),
        None => format!("one of {}", names.join(", ")),
    };
    faults.add(at, format!("there is no line {name:?}"), hint);
}
