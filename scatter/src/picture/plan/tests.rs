//! Plans against geometry.

use std::path::Path;

use super::*;
use crate::cancel::Cancel;
use crate::session::Session;
use crate::shot::Shot;

fn shot() -> Shot {
    Shot::parse(
        r#"{ "shot": "trial <&>", "take": 2,
          "cameras": [{ "name": "down", "at": [1, 2, 0.5], "toward": [1, 0, 0.5], "vertical_angle": "60 deg", "frame": [300, 200] }],
          "passes": [{ "name": "stones", "pieces": ["cobble"], "place": "spaced", "cover": 0.2,
                       "sizes": { "law": "power", "exponent": 2, "from": "40 mm", "to": "90 mm" } }] }"#,
        Path::new("trial.json"),
    )
    .unwrap()
}

/// A camera straight down from 2 m with a vertical angle of 60 degrees sees 2 x 2 tan 30 = 2.309 m,
/// and 1.5 times that across.
#[test]
fn a_footprint_is_what_the_angle_of_view_says() {
    let camera = shot().cameras[0].optics();
    let ground = Ground::level();
    let corners = footprint(&camera, &ground);
    let reach = |k: usize| {
        let all = corners.iter().map(|c| c[k]);
        all.clone().fold(f64::NEG_INFINITY, f64::max) - all.fold(f64::INFINITY, f64::min)
    };
    assert!((reach(1) - 2.309_4).abs() < 1e-3, "{}", reach(1));
    assert!((reach(0) - 3.464_1).abs() < 1e-3, "{}", reach(0));
}

#[test]
fn the_drawn_ground_is_covered_as_the_layout_says() {
    let brief = shot().brief().unwrap().at_take(2);
    let mut session = Session::forgetful("");
    let (layout, _) = session.dress(&brief, &|_| {}, &Cancel::new()).unwrap();
    let prepared = session.prepare(&brief).unwrap();
    let options = PlanOptions {
        width: 400,
        across: Some(2.0),
    };
    let mut plan = Plan::new(&layout, &prepared, &options).unwrap();
    assert_eq!(plan.extent(), [2.0, 1.5]);
    // Stones alone: lines and letters are not ground
    plan.drawing.shapes.truncate(1);
    let band = plan.drawing.frame.band;
    let ([width, height], rgb) = plan.to_pixels();
    // The legend's band is above the ground
    assert_eq!([width, height - band], [400, 300]);
    let paper = f64::from(tones::PAPER[0]);
    let ink = f64::from(tones::of(1)[0][0]);
    let share = rgb
        .iter()
        .step_by(3)
        .map(|v| (paper - f64::from(*v)) / (paper - ink))
        .sum::<f64>()
        / f64::from(width * (height - band));
    // The outline is that of the stone as it lies; its cover is counted by the silhouette of its
    // flattest pose. 3 m2 hold some 200
    let cover = layout.passes[0].tally.cover;
    assert!(
        (share / cover - 1.0).abs() < 0.2,
        "{share} drawn, {cover} laid"
    );
}

#[test]
fn text_is_well_formed_and_says_what_is_there() {
    let brief = shot().brief().unwrap().at_take(2);
    let mut session = Session::forgetful("");
    let (layout, _) = session.dress(&brief, &|_| {}, &Cancel::new()).unwrap();
    let prepared = session.prepare(&brief).unwrap();
    let options = PlanOptions {
        width: 300,
        across: None,
    };
    let plan = Plan::new(&layout, &prepared, &options).unwrap();
    let text = svg::text(&plan.drawing);
    assert!(text.contains("trial &lt;&amp;&gt; take 2"));
    assert!(text.contains(">down</text>"), "the camera is named");
    assert!(text.contains("mm</text>") && text.contains("stroke-dasharray"));
    let paths = text.matches("<path").count();
    let titled = text.matches("</title></path>").count();
    assert_eq!(text.matches("/>").count(), paths - titled + 1);
    // Each piece that is drawn tells its id
    assert_eq!(titled as u64, plan.drawn());
    let one = layout
        .instances
        .iter()
        .any(|i| text.contains(&format!("{:016x}</title>", i.id)));
    assert!(one, "no title names a piece");
}
