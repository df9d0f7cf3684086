use super::*;

fn ground(json: &str) -> Ground {
    Ground::of_document(json)
}

#[test]
fn a_tilted_plane_falls_toward_its_azimuth() {
    // 10 degrees toward 90 degrees (east, +x): one metre east is tan(10 deg) = 0.17633 lower
    let g = ground(r#"{"plane":{"tilt":"10 deg","toward":"90 deg"}}"#);
    assert!((g.height(1.0, 5.0) - g.height(0.0, 5.0) + 0.176_327).abs() < 1e-6);
    assert!(g.height(0.0, 1.0).abs() < 1e-12);
    assert!((g.normal(0.0, 0.0).y - 10f64.to_radians().cos()).abs() < 1e-12);
}

#[test]
fn relief_has_the_height_asked() {
    let g = ground(r#"{"relief":{"height":"25 mm","feature":"0.7 m","roughness":0.55}}"#);
    let mut heights: Vec<f64> = (0..40_000)
        .map(|i| g.height(f64::from(i % 200) * 1.7, f64::from(i / 200) * 1.3))
        .collect();
    heights.sort_by(f64::total_cmp);
    let span = heights[39_960] - heights[40];
    assert!((span / 0.025 - 1.0).abs() < 0.15, "{span}");
    let [low, high] = g.slab();
    assert!(heights[0] >= low && heights[39_999] <= high);
}
