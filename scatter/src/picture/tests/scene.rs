//! What stands in a scene where, and what can't be shown.

use glam::{DAffine3, DVec3, Vec3};

use super::*;
use crate::kit::PieceIndex;
use crate::picture::lens::Lens;
use crate::picture::sample::Sampler;
use crate::picture::world::{Sight, Walk};

/// An instance is met where its mesh, moved by translate x rotate x scale, is met.
#[test]
fn instances_stand_where_their_transform_puts_them() {
    let (layout, cam) = garden();
    let bare = bare();
    let scene = |layout, heroes| Subject {
        layout,
        heroes,
        ground: None,
        finish: Look::Soil.into(),
        light: sun(40.0),
    };
    let props: Vec<Prop<'_>> = layout
        .instances
        .iter()
        .map(|i| {
            Prop::new(
                "hero",
                &layout.pieces[0].parts,
                DAffine3::from_scale_rotation_translation(
                    DVec3::splat(f64::from(i.scale)),
                    glam::Quat::from_array(i.rotation).as_dquat(),
                    i.position,
                ),
            )
        })
        .collect();
    let look = options(&cam, 1);
    let kit = TracedKit::new(&layout.pieces);
    let none = TracedKit::new(&[]);
    let placed = world(&kit, None, &scene(&layout, Vec::new()), &cam, &look).unwrap();
    let baked = world(&none, None, &scene(&bare, props), &cam, &look).unwrap();
    let lens = Lens::new(&cam, cam.frame, false);
    let mut walk = Walk::default();
    let (mut hits, mut edges) = (0, 0);
    for y in 0..24 {
        for x in 0..40 {
            for index in 0..4 {
                let ray = lens.ray(x, y, &Sampler::new(x, y, index));
                let (a, b) = (
                    placed.nearest(ray, &mut walk),
                    baked.nearest(ray, &mut walk),
                );
                let (Some(a), Some(b)) = (a, b) else {
                    edges += usize::from(a.is_some() != b.is_some());
                    continue;
                };
                hits += 1;
                let (a, b) = (
                    placed.surface(&ray, &a, Sight::Pixel(0.001)),
                    baked.surface(&ray, &b, Sight::Pixel(0.001)),
                );
                edges += usize::from(a.point.distance(b.point) > 2e-5);
            }
        }
    }
    assert!(hits > 500, "{hits} rays hit something");
    // The store's rotations are off by up to 3e-5: a ray on an outline may fall either way
    assert!(edges <= 3, "{edges} of {hits} rays differ");
}

#[test]
fn a_lens_inside_a_piece_or_a_hero_is_refused() {
    let (layout, cam) = garden();
    let look = options(&cam, 1);
    let flat = Ground::level();
    let block = [cuboid(Vec3::splat(-0.2), Vec3::splat(0.2), 0.5)];
    let hero = Prop::new("hero", &block, DAffine3::from_translation(cam.position));
    let mut scene = Subject {
        layout: &layout,
        heroes: vec![hero],
        ground: Some(&flat),
        finish: Look::Soil.into(),
        light: sun(50.0),
    };
    let error = render(&scene, &cam, &look, &mut |_, _| true).unwrap_err();
    assert!(error.to_string().contains("inside a hero"), "{error}");
    scene.heroes.clear();
    assert!(render(&scene, &cam, &look, &mut |_, _| true).is_ok());
    let mut around = layout.instances[0];
    around.position = cam.position - DVec3::Y * 0.3;
    around.scale = 1.0;
    let mut crowded = layout.clone();
    crowded.instances.push(around);
    scene.layout = &crowded;
    let error = render(&scene, &cam, &look, &mut |_, _| true).unwrap_err();
    assert!(
        error.to_string().contains("inside a piece, `block`"),
        "{error}"
    );
}

#[test]
fn unusable_numbers_are_refused() {
    let (mut layout, cam) = garden();
    let try_with = |layout: &Layout, cam: &Camera, look: &LookOptions| {
        let flat = Ground::level();
        let scene = Subject {
            layout,
            heroes: Vec::new(),
            ground: Some(&flat),
            finish: Look::Soil.into(),
            light: sun(50.0),
        };
        render(&scene, cam, look, &mut |_, _| true)
            .unwrap_err()
            .to_string()
    };
    let look = options(&cam, 1);
    let mut under = cam.clone();
    under.position.y = -0.1;
    assert!(try_with(&layout, &under, &look).contains("under the ground"));
    let huge = LookOptions {
        width: 1_000_000,
        ..look.clone()
    };
    assert!(try_with(&layout, &cam, &huge).contains("GB"));
    let mut none = cam.clone();
    none.frame = [0, 24];
    assert!(try_with(&layout, &none, &look).contains("zero"));
    let mut nan = cam.clone();
    nan.position.x = f64::NAN;
    assert!(try_with(&layout, &nan, &look).contains("not usable"));
    layout.instances[3].position.y = f64::INFINITY;
    assert!(try_with(&layout, &cam, &look).contains("instances[3]"));
    layout.instances[3].position.y = 0.0;
    layout.instances[5].piece = PieceIndex::new(9);
    assert!(try_with(&layout, &cam, &look).contains("instances[5]"));
}
