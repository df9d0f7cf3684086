//! Mixes, and the parts that passes take of them.

use super::faults::Faults;
use super::scene::said;
use super::sizes::{diameter, inverted, sizes};
use crate::input::likely;
use crate::shot::bounds::{COVER, MIXES};
use crate::shot::{Mix, MixPart, Shares, Shot};

/// Ends that are this near to each other, as a ratio over 1, are the same: a hair is rounding.
const SAME: f64 = 1e-9;
/// A part with less of the mix's plan area than this is none: the law is too steep to be told from
/// nothing there.
const LEAST_SHARE: f64 = 1e-12;

pub(super) fn check(shot: &Shot, faults: &mut Faults) {
    faults.count("mixes", shot.mixes.len(), MIXES);
    for (name, mix) in &shot.mixes {
        let at = format!("mixes.{name}");
        faults.key(&at, name, "name of a mix");
        sizes(&mix.sizes, &at, faults);
        faults.above(
            format!("{at}.cover"),
            mix.cover,
            COVER,
            "a share of the ground, such as 0.85",
        );
        let mut parts: Vec<(usize, &MixPart)> = shot
            .passes
            .iter()
            .enumerate()
            .filter_map(|(i, pass)| Some((i, pass.sizes.part()?)))
            .filter(|(_, part)| part.mix == *name)
            .collect();
        if parts.is_empty() {
            faults.add(
                at,
                "no pass takes a part of it",
                format!("`\"sizes\": {{ \"mix\": \"{name}\" }}` in a pass, or leave the mix out"),
            );
            continue;
        }
        let whole = Shares::new(mix);
        for (i, one) in &parts {
            part(&whole, mix, one, &format!("passes[{i}].sizes"), faults);
        }
        overlaps(shot, mix, &mut parts, faults);
    }
    for (i, pass) in shot.passes.iter().enumerate() {
        let Some(part) = pass.sizes.part() else {
            continue;
        };
        for (key, given) in [("cover", pass.cover), ("per_m2", pass.per_m2)] {
            if given.is_some() {
                faults.add(
                    format!("passes[{i}].{key}"),
                    format!(
                        "the pass takes a part of the mix {:?}, whose cover says how much",
                        part.mix
                    ),
                    format!("leave `{key}` out, or give the pass a size law of its own"),
                );
            }
        }
        if !shot.mixes.contains_key(&part.mix) {
            let known: Vec<&str> = shot.mixes.keys().map(String::as_str).collect();
            let hint = match likely(&part.mix, &known) {
                Some(name) => format!("did you mean `{name}`?"),
                None if known.is_empty() => "the shot has no `mixes`; add it there".into(),
                None => format!("one of {}", known.join(", ")),
            };
            faults.add(
                format!("passes[{i}].sizes.mix"),
                format!("there is no mix {:?}", part.mix),
                hint,
            );
        }
    }
}

/// One part lies within its mix and holds some of it.
fn part(whole: &Shares<'_>, mix: &Mix, part: &MixPart, at: &str, faults: &mut Faults) {
    let [low, high] = mix.sizes.range();
    for (key, end) in [("from", part.from), ("to", part.to)] {
        let Some(end) = end else { continue };
        diameter(end, format!("{at}.{key}"), faults);
        let outside = end.metres() < low * (1.0 - SAME) || end.metres() > high * (1.0 + SAME);
        if outside {
            faults.add(
                format!("{at}.{key}"),
                format!("{end} is outside the mix {:?}", part.mix),
                format!("{} to {}", said(low), said(high)),
            );
        }
    }
    let [from, to] = part.ends(mix);
    if from > to {
        inverted(from, to, at, faults);
        return;
    }
    let inside = from.metres() >= low * (1.0 - SAME) && to.metres() <= high * (1.0 + SAME);
    if inside && whole.of(part) < LEAST_SHARE {
        faults.add(
            at,
            format!(
                "from {from} to {to} the mix {:?} has next to nothing",
                part.mix
            ),
            "a wider part, or another law for the mix",
        );
    }
}

/// No two parts of a mix hold the same sizes.
fn overlaps(shot: &Shot, mix: &Mix, parts: &mut [(usize, &MixPart)], faults: &mut Faults) {
    let ends = |part: &MixPart| part.ends(mix).map(|l| l.metres());
    parts.sort_by(|a, b| ends(a.1)[0].total_cmp(&ends(b.1)[0]).then(a.0.cmp(&b.0)));
    let mut reached: Option<(usize, f64)> = None;
    for (i, part) in parts.iter() {
        let [from, to] = ends(part);
        if let Some((other, reach)) = reached
            && from < reach * (1.0 - SAME)
        {
            let (one, two) = ((*i).max(other), (*i).min(other));
            faults.add(
                format!("passes[{one}].sizes"),
                format!(
                    "the passes {:?} and {:?} both take {} to {} of the mix {:?}",
                    shot.passes[two].name,
                    shot.passes[one].name,
                    said(from),
                    said(reach.min(to)),
                    part.mix
                ),
                "parts of one mix meet end to end, such as one from 2 mm to 8 mm and one from 8 mm on",
            );
        }
        if reached.is_none_or(|(_, reach)| to > reach) {
            reached = Some((*i, to));
        }
    }
}
