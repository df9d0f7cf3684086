use std::path::{Path, PathBuf};

use super::*;
use crate::deliver::Included;
use crate::session::Session;
use crate::shot::{Include, Shot};

fn shot(ground: &str, budget: &str) -> Shot {
    let text = format!(
        r#"{{"shot":"bare","cameras":[{{"name":"close","at":[0,"0.4 m","0.9 m"],
        "toward":[0,0,0],"lens":"35 mm","frame":[640,360],"far":"12 m"}}],
        "ground":{ground},"budget":{budget},"passes":[]}}"#
    );
    Shot::parse(&text, Path::new("shot.json")).expect("a shot")
}

fn delivered(shot: &Shot) -> (Vec<DVec3>, GroundFigures) {
    let brief = shot.brief().expect("a brief");
    let mut session = Session::open(PathBuf::new());
    let prepared = session.prepare(&brief).expect("no file is needed");
    let included = Included::new(prepared.scene(), &[Include::Ground]);
    let prop = &included.props[0];
    let places = prop.parts[0].mesh.positions.iter();
    let world = places.map(|p| prop.world_from_prop.transform_point3(p.as_dvec3()));
    (world.collect(), included.ground.expect("figures"))
}

const ROUGH: &str = r#"{"relief":{"height":"25 mm","feature":"0.7 m","roughness":0.55}}"#;

#[test]
fn corners_of_the_delivered_ground_lie_on_the_ground() {
    let shot = shot(ROUGH, "{}");
    let (places, figures) = delivered(&shot);
    assert!(figures.triangles > 10_000, "{}", figures.triangles);
    assert_eq!(figures.warning(), None);
    let ground = crate::ground::Ground::of_document(ROUGH);
    for p in places {
        assert!((ground.height(p.x, p.z) - p.y).abs() < 2e-6, "{p}");
    }
}

#[test]
fn where_the_budget_binds_it_is_told() {
    let (_, figures) = delivered(&shot(ROUGH, r#"{"triangles":5000}"#));
    assert!(figures.triangles <= 5000);
    let told = figures.warning().expect("a warning");
    assert!(told.contains("pixels"), "{told}");
}
