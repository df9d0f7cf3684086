//! The same picture however it is made: threads, samples, passes left out, progress.

use super::*;

/// A ground that rises and falls by 2 cm.
fn rolling() -> Ground {
    Ground::of_document(r#"{"relief":{"height":"20 mm","feature":"0.7 m","roughness":0.5}}"#)
}

fn garden_picture(look: &LookOptions) -> Picture {
    let (layout, cam) = garden();
    let ground = rolling();
    let scene = Subject {
        layout: &layout,
        heroes: Vec::new(),
        ground: Some(&ground),
        finish: Look::Gravel.into(),
        light: sun(30.0),
    };
    render(&scene, &cam, look, &mut |_, _| true).unwrap()
}

/// The pieces without a ground.
fn pieces_alone(layout: &Layout) -> Subject<'_> {
    Subject {
        layout,
        heroes: Vec::new(),
        ground: None,
        finish: Look::Sand.into(),
        light: sun(50.0),
    }
}

#[test]
fn same_bytes_on_one_two_and_four_threads() {
    let (_, cam) = garden();
    let look = options(&cam, 4);
    let pictures: Vec<_> = [1, 2, 4]
        .into_iter()
        .map(|threads| {
            rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap()
                .install(|| garden_picture(&look))
        })
        .collect();
    assert!(pictures[0].rgb.iter().any(|&v| v > 0.0));
    for p in &pictures[1..] {
        let same = p
            .rgb
            .iter()
            .zip(&pictures[0].rgb)
            .all(|(a, b)| a.to_bits() == b.to_bits());
        assert!(same);
    }
}

#[test]
fn light_does_not_depend_on_the_number_of_samples() {
    let (_, cam) = garden();
    let mean = |samples| {
        let p = garden_picture(&options(&cam, samples));
        p.rgb.iter().sum::<f32>() / p.rgb.len() as f32
    };
    let many = mean(64);
    for samples in [1, 3, 16] {
        let few = mean(samples);
        // 960 pixels; one sample is off by about its own size, so a mean is by 1 / sqrt(960) = 3 %:
        // three of them
        assert!((few / many - 1.0).abs() < 0.1, "{samples}: {few}, {many}");
    }
}

#[test]
fn passes_can_be_shown_alone_and_left_out() {
    let (_, cam) = garden();
    let all = garden_picture(&options(&cam, 1));
    let mut look = options(&cam, 1);
    look.only = vec!["near".into()];
    let only = garden_picture(&look);
    look.only.clear();
    look.without = vec!["far".into()];
    let without = garden_picture(&look);
    assert_eq!(only, without);
    assert_eq!((all.figures.instances, only.figures.instances), (40, 20));
    look.without = vec!["leaves".into()];
    let (layout, _) = garden();
    let error = look.shown_passes(&layout).unwrap_err();
    assert!(error.to_string().contains("there is no pass `leaves`"));
}

#[test]
fn progress_comes_after_each_fourfold_and_can_stop() {
    let (layout, cam) = garden();
    let scene = pieces_alone(&layout);
    let mut seen = Vec::new();
    render(&scene, &cam, &options(&cam, 20), &mut |_, n| {
        seen.push(n);
        true
    })
    .unwrap();
    assert_eq!(seen, [1, 4, 16, 20]);
    let mut seen = Vec::new();
    render(&scene, &cam, &options(&cam, 20), &mut |_, n| {
        seen.push(n);
        n < 4
    })
    .unwrap();
    assert_eq!(seen, [1, 4]);
}

#[test]
fn a_coarse_picture_is_blocks_of_the_full_ones_light() {
    let (layout, cam) = garden();
    let scene = pieces_alone(&layout);
    let look = LookOptions {
        samples: 1,
        ..options(&cam, 1)
    };
    let kit = TracedKit::new(&layout.pieces);
    let full = render_with(&kit, &scene, &cam, &look, &mut |_, _| true).unwrap();
    let blocks = coarse(&kit, &scene, &cam, &look).unwrap();
    assert_eq!((blocks.width, blocks.height), (full.width, full.height));
    let middle = |from: u32, side: u32| from + BLOCK.min(side - from) / 2;
    for y in 0..full.height {
        for x in 0..full.width {
            let (x0, y0) = (x / BLOCK * BLOCK, y / BLOCK * BLOCK);
            let (mx, my) = (middle(x0, full.width), middle(y0, full.height));
            assert_eq!(blocks.green(x, y), full.green(mx, my), "{x}, {y}");
        }
    }
    assert!(blocks.figures.rays * 12 < full.figures.rays);
    let first = blocks.green(0, 0);
    assert!((0..full.width).any(|x| blocks.green(x, full.height / 2) != first));
}

#[test]
fn a_backdrop_of_one_take_serves_another_through_the_same_camera_alone() {
    let (layout, cam) = garden();
    let mut other = layout.clone();
    other.instances.truncate(2);
    let ground = rolling();
    let hero = [cuboid(Vec3::ZERO, Vec3::splat(0.2), 0.5)];
    let heroes = [Prop::new(
        "hero",
        &hero,
        DAffine3::from_translation(DVec3::new(0.1, 0.0, 0.1)),
    )];
    let scene = |layout| Subject {
        ground: Some(&ground),
        heroes: heroes.to_vec(),
        ..pieces_alone(layout)
    };
    let look = options(&cam, 2);
    let backdrop = Backdrop::new(&scene(&layout), &cam, &look).unwrap();
    let kit = TracedKit::new(&layout.pieces);
    let before = |cam: &Camera| {
        render_before(&backdrop, &kit, &scene(&other), cam, &look, &mut |_, _| {
            true
        })
    };
    let fresh = render_with(&kit, &scene(&other), &cam, &look, &mut |_, _| true).unwrap();
    assert_eq!(before(&cam).unwrap().rgb, fresh.rgb);
    let mut moved = cam.clone();
    moved.position.x += 0.1;
    let refused = before(&moved).unwrap_err().to_string();
    assert!(refused.contains("another camera"), "{refused}");
}
