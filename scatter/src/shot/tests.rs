//! The document as a whole.

use std::path::Path;

use super::*;
use crate::error::ErrorKind;

const GOOD: &str = r#"{
  "shot": "trial",
  "cameras": [{ "name": "close", "at": [0, "0.5 m", 1], "toward": [0, 0, 0], "lens": "50 mm", "frame": [320, 180] }],
  "passes": [{ "name": "leaves", "pieces": ["leaf"], "place": "strewn", "per_m2": 40,
               "sizes": { "law": "lognormal", "median": "38 mm", "spread": 0.25 } }]
}"#;

fn parse(text: &str) -> Result<Shot> {
    Shot::parse(text, Path::new("trial.json"))
}

#[test]
fn defaults_are_those_of_the_docs() {
    let shot = parse(GOOD).unwrap();
    assert_eq!(shot.take, 1);
    assert_eq!(shot.budget.pieces, 5_000_000);
    assert_eq!(shot.resolve.pixels, 0.5);
    assert_eq!(shot.deliver.formats, [Format::Glb, Format::Json]);
    assert_eq!(shot.passes[0].rest.bury, [0.1, 0.3]);
    assert_eq!(shot.ground.look, Look::Soil);
    let camera = shot.cameras[0].optics();
    assert_eq!((camera.near, camera.far), (0.01, f64::INFINITY));
    // Three standard deviations each way.
    let brief = shot.brief().unwrap();
    let (_, pass) = brief.passes().next().unwrap();
    let [from, to] = [pass.sizes.from(), pass.sizes.to()];
    assert!((from * to - 0.038 * 0.038).abs() < 1e-12, "{from} {to}");
    assert!(((to / from).ln() - 1.5).abs() < 1e-12);
}

#[test]
fn the_digest_is_of_what_is_said_not_of_how() {
    let digest = parse(GOOD).unwrap().digest();
    assert_eq!(digest.len(), 64);
    let other_words = GOOD
        .replace("\"0.5 m\"", "\"500 mm\"")
        .replace("\"shot\": \"trial\",", "\"take\": 1, \"shot\": \"trial\",");
    assert_eq!(parse(&other_words).unwrap().digest(), digest);
    let other_shot = GOOD.replace("38 mm", "39 mm");
    assert_ne!(parse(&other_shot).unwrap().digest(), digest);
}

#[test]
fn all_faults_are_told_at_once_with_file_and_place() {
    let bad = GOOD
        .replace("50 mm", "-50 mm")
        .replace("\"leaf\"", "\"laef\"")
        .replace("0.25", "9");
    let error = parse(&bad).unwrap_err();
    assert_eq!(error.kind, ErrorKind::Input);
    assert_eq!(error.file.as_deref(), Some(Path::new("trial.json")));
    let places: Vec<&str> = error.faults.iter().map(|f| f.place.as_str()).collect();
    assert_eq!(
        places,
        [
            "cameras[0].lens",
            "passes[0].pieces[0]",
            "passes[0].sizes.spread"
        ]
    );
    assert_eq!(error.faults[1].hint, "did you mean `leaf`?");
}
