//! Takes of single passes and takes that are kept.

use std::collections::BTreeMap;

use super::faults::Faults;
use crate::input::likely;
use crate::shot::Shot;
use crate::shot::bounds::{KEPT, NAME};

pub(super) fn check(shot: &Shot, faults: &mut Faults) {
    named(shot, "takes", &shot.takes, faults);
    faults.count("keep", shot.keep.len(), KEPT);
    for (i, keep) in shot.keep.iter().enumerate() {
        faults.name(&format!("keep[{i}].name"), &keep.name, NAME);
        if shot.keep[..i].iter().any(|k| k.name == keep.name) {
            faults.add(
                format!("keep[{i}].name"),
                format!("a take is kept as `{}` already", keep.name),
                "give each its own name",
            );
        }
        named(shot, &format!("keep[{i}].takes"), &keep.takes, faults);
    }
}

/// Every name is a pass.
fn named(shot: &Shot, place: &str, takes: &BTreeMap<String, u64>, faults: &mut Faults) {
    for name in takes.keys() {
        if !shot.pass_names().any(|p| p == name) {
            faults.add(
                format!("{place}.{name}"),
                format!("there is no pass `{name}`"),
                near_pass(shot, name),
            );
        }
    }
}

/// The pass that was likely meant, or all of them.
fn near_pass(shot: &Shot, name: &str) -> String {
    let known: Vec<&str> = shot.pass_names().collect();
    match likely(name, &known) {
        Some(near) => format!("did you mean `{near}`?"),
        None if known.is_empty() => "this shot has no passes".to_owned(),
        None => format!("the passes are: {}", known.join(", ")),
    }
}
