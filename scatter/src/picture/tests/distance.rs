//! What lies far off, against Koschmieder's law.

use glam::{DVec3, Vec3A};

use super::*;
use crate::layout::Tints;
use crate::picture::distance::Distance;
use crate::picture::light::Sky;
use crate::picture::soil::BareGround;

/// Contrast against the horizon is 2 % at the visibility (Koschmieder 1924), 20 km in clear air and
/// 10 km under clouds, and e^-3.912/2 = 14.1 % at half of it.
#[test]
fn contrast_falls_to_two_per_cent_at_the_visibility() {
    let layout = bare();
    let cam = camera(
        DVec3::new(0.0, 0.4, 0.0),
        DVec3::new(0.0, 0.4, -1.0),
        0.6,
        [8, 8],
    );
    let kit = TracedKit::new(&[]);
    for (mood, visibility) in [(Mood::Sun, 20_000.0), (Mood::Overcast, 10_000.0)] {
        let light = Light { mood, ..sun(40.0) };
        let sky = Sky::new(&light, DVec3::ZERO);
        let soil = BareGround::of(&Look::Gravel.into());
        let far = Distance::new(
            (&layout, &Tints::of(&layout)),
            &kit,
            (&cam, 0.4),
            soil,
            mood,
        );
        let horizon = sky.horizon(Vec3A::NEG_Z);
        for (metres, contrast) in [(visibility, 0.02), (0.5 * visibility, 0.1414)] {
            let got = far.hazed(&sky, Vec3A::NEG_Z, Vec3A::ZERO, metres);
            let left = ((horizon - got) / horizon).max_element();
            assert!((left - contrast).abs() < 2e-4, "{metres}: {left}");
        }
        // Under the horizon level ground goes on, and comes to the horizon's colour at it
        let near = far.beyond(&sky, Vec3A::new(0.0, -0.1, -1.0).normalize());
        let close = sky.on_level_ground() * soil.mean_color();
        assert!(
            (near / close - 1.0).abs().max_element() < 0.01,
            "{near} {close}"
        );
        let last = far.beyond(&sky, Vec3A::new(0.0, -1e-6, -1.0));
        assert!((last / horizon - 1.0).abs().max_element() < 0.01);
    }
}

/// Bare ground past the far limit takes the colour of what lies on the rest, as far as that covers
/// it, without a line where it begins.
#[test]
fn bare_ground_past_the_limit_is_coloured_as_what_is_dressed() {
    let (mut layout, mut cam) = garden();
    cam.far = 10.0;
    for pass in &mut layout.passes {
        pass.tally.cover = 0.4;
    }
    let kit = TracedKit::new(&layout.pieces);
    let soil = BareGround::of(&Look::Sand.into());
    let far = Distance::new(
        (&layout, &Tints::of(&layout)),
        &kit,
        (&cam, 0.4),
        soil,
        Mood::Sun,
    );
    let bare = Vec3A::splat(0.1);
    assert_eq!(far.ground(bare, 6.9), bare);
    // Blocks of 0.3 on 0.8 of it
    assert!((far.ground(bare, 10.0) - 0.26).abs().max_element() < 1e-5);
    let steps = (0..60).map(|i| far.ground(bare, 6.5 + 0.1 * i as f32).x);
    let steps: Vec<f32> = steps.collect();
    assert!(steps.windows(2).all(|w| w[1] >= w[0] && w[1] - w[0] < 0.02));
}
