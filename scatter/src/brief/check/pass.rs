//! What a pass of a brief may say.

use super::sizes;
use crate::brief::{
    Along, Amount, Brief, Clearing, Clumps, Field, LayerKind, LineIndex, Mask, MaskPlacement, Pass,
    Related, RelationKind, RelationTarget, Rest, Smallest, Toward,
};
use crate::shot::Faults;
use crate::shot::bounds::{
    BY_HAND, CORNERS, COVER, DIAMETER_M, DIAMETERS, DIP_DEG, DIP_SPREAD_DEG, FEATURE_M, FIELDS,
    GRADE, HEADING_SPREAD_DEG, HEIGHTS, MAX_EXTENT_M, MAX_RATIO, OVERLAP, PARENTS, PER_M2, PIECES,
    RADIUS_M, REACH_M, SHARE, SLOPE_DEG, SMALLEST, SPACING, UNIT_TOLERANCE, Within, within,
};

/// Multiples of touching: as near as the overlap allows, as far as the spacing.
const APART: Within<f64> = within(1.0 - OVERLAP.most, SPACING.most);

pub(super) fn check(brief: &Brief, (index, pass): (usize, &Pass), at: &str, faults: &mut Faults) {
    faults.count(&format!("{at}.pieces"), pass.pieces.len(), PIECES);
    sizes(&pass.sizes, MAX_RATIO, &format!("{at}.sizes"), faults);
    let amount = format!("{at}.amount");
    match pass.amount {
        Amount::Cover(cover) => faults.above(amount, cover, COVER, "a share of the ground"),
        Amount::PerSquareMetre(count) => faults.above(amount, count, PER_M2, "pieces"),
    }
    faults.within(
        format!("{at}.place.roll"),
        pass.place.rolls(),
        SHARE,
        "the share that rolls",
    );
    faults.within(format!("{at}.apart"), pass.apart, APART, "1 is touching");
    if let Some(mix) = &pass.mix
        && !brief.mixes.contains_key(mix)
    {
        faults.add(
            format!("{at}.mix"),
            format!("there is no mix {mix:?}"),
            "the name of one in `mixes`",
        );
    }
    if let Some(one) = &pass.clumps {
        clumps(one, &format!("{at}.clumps"), faults);
    }
    faults.count(&format!("{at}.fields"), pass.fields.len(), FIELDS);
    for (k, one) in pass.fields.iter().enumerate() {
        field(brief, index, one, &format!("{at}.fields[{k}]"), faults);
    }
    let is_grade = |f: &&Field| matches!(f, Field::Grade { .. });
    if pass.fields.iter().filter(is_grade).count() > 1 {
        faults.add(
            format!("{at}.fields"),
            "sizes are graded twice",
            "one grade a pass",
        );
    }
    faults.count(&format!("{at}.clear"), pass.clear.len(), BY_HAND);
    for (k, one) in pass.clear.iter().enumerate() {
        clearing(one, &format!("{at}.clear[{k}]"), faults);
    }
    rest(brief, &pass.rest, &format!("{at}.rest"), faults);
}

fn clumps(clumps: &Clumps, at: &str, faults: &mut Faults) {
    let parents = format!("{at}.parents_per_m2");
    faults.above(parents, clumps.parents_per_m2, PARENTS, "");
    let spread = clumps.spread;
    faults.metres_above(format!("{at}.spread"), spread, REACH_M.most);
    faults.within(format!("{at}.share"), clumps.share, SHARE, "");
}

fn field(brief: &Brief, index: usize, field: &Field, at: &str, faults: &mut Faults) {
    match field {
        Field::Patches {
            name,
            feature,
            fill,
            roughness,
        } => {
            faults.key(format!("{at}.name"), name, "name of patches");
            faults.metres(format!("{at}.feature"), *feature, FEATURE_M);
            faults.within(format!("{at}.fill"), *fill, SHARE, "");
            faults.within(format!("{at}.roughness"), *roughness, SHARE, "");
        }
        Field::Slope { from, to } => {
            faults.radians(format!("{at}.from"), *from, SLOPE_DEG);
            faults.radians(format!("{at}.to"), *to, SLOPE_DEG);
            if from > to {
                faults.add(at, "`from` is above `to`", "`from` at most `to`");
            }
        }
        Field::Hollows { radius } | Field::Crests { radius } => {
            faults.metres(format!("{at}.radius"), *radius, RADIUS_M);
        }
        Field::Related(one) => related(brief, index, one, at, faults),
        Field::Grade { radius, ratio } => {
            faults.metres(format!("{at}.radius"), *radius, RADIUS_M);
            faults.above(format!("{at}.ratio"), *ratio, GRADE, "");
        }
        Field::Along(one) => along(brief, one, at, faults),
        Field::Mask(one) => mask(brief, one, at, faults),
    }
}

fn along(brief: &Brief, along: &Along, at: &str, faults: &mut Faults) {
    line(brief, along.line, &format!("{at}.line"), faults);
    if let Some(other) = along.and {
        line(brief, other, &format!("{at}.and"), faults);
    }
    faults.metres(format!("{at}.offset"), along.offset, REACH_M);
    faults.metres_above(format!("{at}.within"), along.within, REACH_M.most);
    faults.within(format!("{at}.elsewhere"), along.elsewhere, SHARE, "");
}

/// An index must be that of a line.
fn line(brief: &Brief, index: LineIndex, at: &str, faults: &mut Faults) {
    let count = brief.ground.lines.len();
    if usize::from(index) >= count {
        faults.add(
            at,
            format!("there is no line {}", usize::from(index)),
            format!("the ground has {count}"),
        );
    }
}

fn related(brief: &Brief, index: usize, related: &Related, at: &str, faults: &mut Faults) {
    let refers = match related.to {
        RelationTarget::Heroes => !brief.heroes.is_empty(),
        RelationTarget::Pass(to) => {
            let to = usize::from(to);
            let kind = brief.layers.get(to).map(|l| &l.kind);
            to < index && matches!(kind, Some(LayerKind::Pass(_)))
        }
    };
    if !refers {
        faults.add(
            format!("{at}.to"),
            "it refers to nothing that is laid already",
            "heroes that the brief has, or an earlier pass",
        );
    }
    faults.metres(format!("{at}.within"), related.within, REACH_M);
    match related.smallest {
        Smallest::Share(share) => faults.above(format!("{at}.smallest"), share, SMALLEST, ""),
        Smallest::Diameter(diameter) => {
            let most = DIAMETER_M.most;
            faults.metres_above(format!("{at}.smallest"), diameter, most);
        }
    }
    let no_distance = match related.manner {
        RelationKind::Near {
            diameters,
            elsewhere,
            ..
        } => {
            faults.within(format!("{at}.diameters"), diameters, DIAMETERS, "");
            faults.within(format!("{at}.elsewhere"), elsewhere, SHARE, "");
            related.within <= 0.0 && diameters <= 0.0
        }
        RelationKind::ClearOf => false,
        RelationKind::Between => related.within <= 0.0,
        RelationKind::LeeOf {
            downwind: [x, z],
            heights,
            elsewhere,
        } => {
            faults.above(format!("{at}.heights"), heights, HEIGHTS, "");
            faults.within(format!("{at}.elsewhere"), elsewhere, SHARE, "");
            let length = libm::hypot(x, z);
            if !(1.0 - UNIT_TOLERANCE..=1.0 + UNIT_TOLERANCE).contains(&length) {
                faults.add(
                    format!("{at}.downwind"),
                    format!("[{x}, {z}] is no unit vector"),
                    "a vector of length 1",
                );
            }
            false
        }
    };
    if no_distance {
        faults.add(
            format!("{at}.within"),
            "no distance is given, so the field is zero everywhere",
            "a distance above 0 m",
        );
    }
}

fn mask(brief: &Brief, mask: &Mask, at: &str, faults: &mut Faults) {
    faults.file(&format!("{at}.file"), &mask.file, "a PNG or OpenEXR image");
    match &mask.placement {
        MaskPlacement::Plan { middle, extent } => {
            faults.at(&format!("{at}.middle"), *middle);
            for (k, side) in extent.iter().enumerate() {
                faults.metres_above(format!("{at}.extent[{k}]"), *side, MAX_EXTENT_M);
            }
        }
        MaskPlacement::Frame(name) => {
            if !brief.cameras.iter().any(|c| c.name() == name) {
                faults.add(
                    format!("{at}.placement"),
                    format!("there is no camera {name:?}"),
                    "the name of one in `cameras`",
                );
            }
        }
    }
    let strengths = [
        ("black", mask.black),
        ("white", mask.white),
        ("outside", mask.outside),
    ];
    for (key, value) in strengths {
        faults.within(format!("{at}.{key}"), value, SHARE, "a strength");
    }
}

fn clearing(clearing: &Clearing, at: &str, faults: &mut Faults) {
    match clearing {
        Clearing::Disc { at: middle, radius } => {
            faults.at(&format!("{at}.at"), *middle);
            faults.metres_above(format!("{at}.radius"), *radius, REACH_M.most);
        }
        Clearing::Box {
            at: middle,
            size,
            turn,
        } => {
            faults.at(&format!("{at}.at"), *middle);
            for (k, side) in size.iter().enumerate() {
                faults.metres_above(format!("{at}.size[{k}]"), *side, REACH_M.most);
            }
            faults.turn(format!("{at}.turn"), *turn);
        }
        Clearing::Polygon(corners) => {
            faults.count(at, corners.len(), CORNERS);
            for (k, corner) in corners.iter().enumerate() {
                faults.at(&format!("{at}[{k}]"), *corner);
            }
        }
    }
}

fn rest(brief: &Brief, rest: &Rest, at: &str, faults: &mut Faults) {
    let [least, most] = rest.bury;
    faults.within(format!("{at}.bury[0]"), least, SHARE, "");
    faults.within(format!("{at}.bury[1]"), most, SHARE, "");
    if least > most {
        faults.add(format!("{at}.bury"), "least is above most", "least first");
    }
    if let Some(heading) = rest.heading {
        match heading.toward {
            Toward::Azimuth(azimuth) => faults.turn(format!("{at}.heading.toward"), azimuth),
            Toward::Line(index, turn) => {
                line(brief, index, &format!("{at}.heading.toward"), faults);
                faults.turn(format!("{at}.heading.toward"), turn);
            }
        }
        let spread = heading.spread;
        faults.radians(format!("{at}.heading.spread"), spread, HEADING_SPREAD_DEG);
    }
    faults.radians(format!("{at}.tilt"), rest.tilt, SLOPE_DEG);
    faults.within(format!("{at}.wet"), rest.wet, SHARE, "0 (dry) to 1 (wet)");
    if let Some(lean) = rest.lean {
        faults.turn(format!("{at}.lean.from"), lean.from);
        faults.radians(format!("{at}.lean.dip"), lean.dip, DIP_DEG);
        let spread = lean.spread;
        faults.radians(format!("{at}.lean.spread"), spread, DIP_SPREAD_DEG);
    }
}
