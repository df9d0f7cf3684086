//! Lenses against published tables and worked examples.

use super::*;

/// A camera at the origin that looks along -z: full frame, `lens_mm`.
fn camera(lens_mm: f64) -> Camera {
    let focal_length = lens_mm / 1e3;
    Camera {
        name: "trial".into(),
        position: DVec3::ZERO,
        rotation: DQuat::IDENTITY,
        yfov: angle_of_view(0.024, focal_length),
        frame: [3600, 2400],
        near: 0.01,
        far: f64::INFINITY,
        focal_length,
        focus: None,
        stop: None,
    }
}

fn focused(lens_mm: f64, stop: f64, focus: f64) -> Camera {
    Camera {
        focus: Some(focus),
        stop: Some(stop),
        ..camera(lens_mm)
    }
}

#[test]
fn angles_of_view_match_a_published_lens_table() {
    // Claff, "Field of View - Rectilinear and Fishye Lenses", photonstophotos.net, 2006: 36 x 24
    // mm, degrees to 0.1, width / height / diagonal.
    let table = [
        (10.0, 121.9, 100.4, 130.4),
        (14.0, 104.3, 81.2, 114.2),
        (20.0, 84.0, 61.9, 94.5),
        (24.0, 73.7, 53.1, 84.1),
        (28.0, 65.5, 46.4, 75.4),
        (35.0, 54.4, 37.8, 63.4),
        (50.0, 39.6, 27.0, 46.8),
        (70.0, 28.8, 19.5, 34.3),
        (85.0, 23.9, 16.1, 28.6),
        (100.0, 20.4, 13.7, 24.4),
        (105.0, 19.5, 13.0, 23.3),
        (135.0, 15.2, 10.2, 18.2),
        (150.0, 13.7, 9.1, 16.4),
    ];
    let diagonal = (36.0_f64 * 36.0 + 24.0 * 24.0).sqrt();
    for (lens, width, height, across) in table {
        for (extent, published) in [(36.0, width), (24.0, height), (diagonal, across)] {
            let degrees = angle_of_view(extent, lens).to_degrees();
            assert!(
                (degrees - published).abs() <= 0.0501,
                "{lens} mm across {extent:.1} mm: {degrees:.3}, published {published}"
            );
        }
        assert!((camera(lens).xfov() - angle_of_view(0.036, lens / 1e3)).abs() < 1e-12);
        assert!((focal_length(0.024, camera(lens).yfov) * 1e3 - lens).abs() < 1e-9);
        assert!((camera(lens).sensor_width() - 0.036).abs() < 1e-12);
    }
}

#[test]
fn vertical_angles_match_those_of_other_formats() {
    // glTF 2.0 specification, example camera (aspect 1.5): yfov 0.660593, 2e-6 from a 35 mm lens.
    assert!((camera(35.0).yfov - 0.660_593).abs() < 3e-6);
    // OpenUSD UsdGeomCamera, focalLength 35, apertures 36 and 24: 54.43222 and 37.84929 degrees.
    assert!((camera(35.0).xfov().to_degrees() - 54.432_22).abs() < 1e-5);
    assert!((camera(35.0).yfov.to_degrees() - 37.849_29).abs() < 1e-5);
}

#[test]
fn projection_is_that_of_the_gltf_specification() {
    // glTF 2.0, "Projection Matrices", infinite: rows [1/(a tan(y/2)),0,0,0] [0,1/tan(y/2),0,0]
    // [0,0,-1,-2n] [0,0,-1,0].
    let c = camera(35.0);
    let t = (0.5 * c.yfov).tan();
    let rows = c.clip_from_camera().transpose();
    let expected = [
        [1.0 / (1.5 * t), 0.0, 0.0, 0.0],
        [0.0, 1.0 / t, 0.0, 0.0],
        [0.0, 0.0, -1.0, -0.02],
        [0.0, 0.0, -1.0, 0.0],
    ];
    for (row, want) in rows.to_cols_array_2d().iter().zip(expected) {
        for (a, b) in row.iter().zip(want) {
            assert!((a - b).abs() < 1e-12, "{rows:?}");
        }
    }
    // Finite: near goes to -1, far to +1.
    let finite = Camera {
        far: 40.0,
        ..camera(35.0)
    };
    for (depth, ndc) in [(0.01, -1.0), (40.0, 1.0)] {
        let clip = finite.clip_from_camera() * DVec4::new(0.0, 0.0, -depth, 1.0);
        assert!((clip.z / clip.w - ndc).abs() < 1e-12, "depth {depth}");
    }
}

#[test]
fn pixels_and_the_projection_matrix_agree() {
    let c = Camera {
        position: DVec3::new(3.0, 1.5, -2.0),
        rotation: DQuat::from_xyzw(0.1, -0.3, 0.2, 0.9).normalize(),
        ..camera(28.0)
    };
    let mut seen = 0;
    for i in 0..1000 {
        let f = f64::from(i);
        let p = DVec3::new((f * 0.7).sin(), (f * 1.3).cos(), (f * 2.1).sin()) * 5.0 + c.position;
        let clip = c.clip_from_camera() * c.camera_from_world() * p.extend(1.0);
        let Some(projected) = c.project(p) else {
            assert!(clip.w <= 0.0, "{p} is in front of the lens");
            continue;
        };
        seen += 1;
        let ndc = clip / clip.w;
        let pixel = [(ndc.x + 1.0) * 0.5 * 3600.0, (1.0 - ndc.y) * 0.5 * 2400.0];
        let off = (pixel[0] - projected.pixel[0]).hypot(pixel[1] - projected.pixel[1]);
        assert!(off <= 1e-9 * (1.0 + pixel[0].hypot(pixel[1])), "{off} px");
        assert!((clip.w - projected.depth).abs() < 1e-12);
    }
    assert!(seen > 300, "only {seen} in front");
    assert_eq!(c.project(c.position), None, "the lens itself");
    assert_eq!(c.project(DVec3::NAN), None, "no place");
}

#[test]
fn ground_sampling_matches_a_worked_example() {
    // PebbleCounts manual (Purinton and Bookhagen 2019): f 35 mm, 1.5 m up, sensor 26 x 15 mm, 6000
    // x 4000 px: 0.1857 mm a pixel across the width, a footprint of 1.1143 m.
    let c = Camera {
        // The frame's aspect rules the height, so the width is what compares.
        yfov: angle_of_view(0.026 * 4000.0 / 6000.0, 0.035),
        frame: [6000, 4000],
        ..camera(35.0)
    };
    let footprint_mm = c.pixel_footprint(1.5) * 1e3;
    assert!((footprint_mm - 0.1857).abs() < 5e-5, "{footprint_mm}");
    assert!((c.pixel_footprint(1.5) * 6000.0 - 1.1143).abs() < 5e-5);
}

#[test]
fn depth_of_field_matches_the_textbook_forms() {
    // H = f^2 / (N c) + f, near = s (H - f) / (H + s - 2f), far = s (H - f) / (H - s)
    // (dofmaster.com, "Equations"), worked for a circle of 0.03 mm; lens mm, stop, focus m, near
    // mm, far mm.
    for (lens, stop, focus, near, far) in [
        (50.0, 8.0, 3.0, 2337.91, 4185.27),
        (50.0, 2.8, 1.0, 969.07, 1032.97),
        (35.0, 2.8, 1.5, 1363.07, 1667.51),
    ] {
        let c = focused(lens, stop, focus);
        let [n, f] = c.depth_of_field(3e-5).unwrap();
        assert!((n * 1e3 - near).abs() < 0.01, "near {n}, published {near}");
        assert!((f * 1e3 - far).abs() < 0.01, "far {f}, published {far}");
        // At the limits the blur is the circle, by the other formula.
        assert!((c.blur_circle(n) - 3e-5).abs() < 1e-12);
        assert!((c.blur_circle(f) - 3e-5).abs() < 1e-12);
        assert_eq!(c.blur_circle(focus), 0.0);
    }
    // Focused at H, near is H / 2 and far is without end.
    let h: f64 = 0.05 * 0.05 / (8.0 * 3e-5) + 0.05;
    assert!((h * 1e3 - 10466.67).abs() < 0.01);
    let [near, far] = focused(50.0, 8.0, h * (1.0 + 1e-12))
        .depth_of_field(3e-5)
        .unwrap();
    assert!((near - 0.5 * h).abs() < 1e-9);
    assert_eq!(far, f64::INFINITY);
    // 50 mm f/2.8 at 1 m: a point at 2 m blurs to 0.4699 mm on the sensor.
    let c = focused(50.0, 2.8, 1.0);
    assert!((c.blur_circle(2.0) * 1e3 - 0.4699).abs() < 5e-5);
    assert!(
        (c.blur_pixels(2.0) - 46.99).abs() < 5e-3,
        "100 px a millimetre"
    );
}
