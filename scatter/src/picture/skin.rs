//! What the surface of a grown piece shows below the fineness of its mesh: minerals, veins and pits
//! of stone, the net of veins in a leaf, the fibres of wood. A shader of the picture alone:
//! deliveries carry the meshes and their colours.
//!
//! Sizes, shares and strengths are by eye, beside photographs of river bars, scree and litter.
//!
//! Solid: a function of the place in the piece and of which piece it is, so that no two pieces of
//! one variant look alike.

mod mean;

pub(super) use mean::mean;

use glam::{FloatExt, Vec3A};

use super::fabric;
use super::sample::mix;
use super::solid::{cell, cell_within, direction, fractal, fractal_value, share};
use crate::color::RockFabric;
use crate::kit::{Kind, Surface};

/// Where a skin is looked at.
#[derive(Debug, Clone, Copy)]
pub(super) struct SkinPoint {
    /// Place in the piece at its size as placed, metres.
    pub(super) place: Vec3A,
    /// Half of the piece's length, metres.
    pub(super) reach: f32,
    /// Unit normal in the piece's frame.
    pub(super) normal: Vec3A,
    /// How far the normal looks up in the world, -1..1.
    pub(super) up: f32,
    /// Hash of the piece's id.
    pub(super) own: u32,
    /// The fabric of its rock, where a family is named.
    pub(super) fabric: Option<RockFabric>,
    /// Side of what is looked at, metres.
    pub(super) footprint: f32,
}

/// What is added to the mesh.
#[derive(Debug, Clone, Copy)]
pub(super) struct Skin {
    /// Base colour there.
    pub(super) base: Vec3A,
    /// Unit normal in the piece's frame.
    pub(super) normal: Vec3A,
}

// Streams of the noises
const RELIEF: u32 = 1;
const CLOUD: u32 = 2;
const SPECK: u32 = 3;
const PIT: u32 = 4;
const WARP: u32 = 5;
const FACET: u32 = 6;
const LICHEN: u32 = 7;
const FIBRE: u32 = 8;
const NET: u32 = 9;
const BRUISE: u32 = 10;
const FILM: u32 = 11;

/// The skin of a piece of `kind` whose mesh has the colour `base` there.
pub(super) fn skin(kind: Kind, base: Vec3A, spot: &SkinPoint) -> Skin {
    match kind.row().surface {
        Surface::WornStone => worn(base, spot),
        Surface::BrokenStone => broken(base, spot),
        Surface::Leaf => leaf(base, spot),
        Surface::Wood => wood(base, spot),
        // A blade is narrower than what it would show, a spray hangs out of the frame
        Surface::Plain => Skin {
            base,
            normal: spot.normal,
        },
    }
}

/// How much of a detail `size` metres across is seen: none under a pixel and a half, all at three.
pub(super) fn seen(size: f32, footprint: f32) -> f32 {
    (size / footprint).smoothstep(1.5, 3.0)
}

impl SkinPoint {
    /// The normal bent by a height with this gradient (metres a metre).
    fn bent(&self, slope: Vec3A) -> Vec3A {
        // Only what runs along the surface tilts it; steeper than 45 degrees is not seen from
        // outside
        let along = slope - self.normal * self.normal.dot(slope);
        let steep = along.length();
        let along = if steep > 1.0 { along / steep } else { along };
        (self.normal - along).normalize_or(self.normal)
    }

    /// Finest detail that is worth an octave.
    pub(super) fn finest(&self) -> f32 {
        (2.0 * self.footprint).max(0.000_3)
    }
}

/// Pale vein minerals, linear albedo: quartz and calcite.
pub(super) const PALE: Vec3A = Vec3A::new(0.56, 0.555, 0.52);

/// Pits of about `size` metres in a share of a stone's skin: how deep here (0..1), and the slope
/// into it.
fn pits(spot: &SkinPoint, size: f32, fill: f32) -> (f32, Vec3A) {
    let level = seen(size, spot.footprint);
    if level <= 0.0 {
        return (0.0, Vec3A::ZERO);
    }
    let n = fractal(spot.place, size, 0.6 * size, 0.5, mix(spot.own ^ PIT));
    // Gradient noise passes 0.25 on about a sixth of a cut
    let from = 0.42 - 0.3 * fill;
    let deep = n.value.smoothstep(from, from + 0.22) * level;
    let wall = deep * (1.0 - deep) * 4.0;
    (deep, n.slope * (-0.12 * size * wall))
}

/// A stone worn round: fine rough skin, percussion pits, and the rock it is of.
fn worn(base: Vec3A, spot: &SkinPoint) -> Skin {
    let p = spot.place;
    let finest = spot.finest();
    let own = spot.own;
    let rough = 0.5 + 0.9 * share(own, 11);
    let relief = fractal(p, 0.011, finest, 0.58, mix(own ^ RELIEF));
    let mut slope = relief.slope * (0.000_65 * rough);
    // Clouds as large as the stone, so that its sides differ
    let clouds = (0.7 * spot.reach).max(0.045);
    let cloud = fractal_value(p, clouds, finest.max(0.004), 0.6, mix(own ^ CLOUD));
    let mut color = base * (1.0 + 0.34 * cloud + 0.16 * relief.value);

    // The rock
    let warp = |size: f32| fractal_value(p, size, 0.2 * size, 0.5, mix(own ^ WARP));
    // Nearly half of the stones are plain, fewer of the largest: what is cut larger shows more of
    // what runs through it. Veins on a twelfth; the meshes bring as many of their own
    let rock = share(own, 12) * (1.0 - 0.32 * spot.reach.smoothstep(0.04, 0.12));
    if let Some(fabric) = spot.fabric {
        color = fabric::shown(fabric, color, spot, &mut slope);
    } else if rock < 0.26 {
        // Laminated: layers of 2 to 9 mm, thicker ones in what is larger than a hand, some of them
        // pale
        let thick = (0.002 + 0.007 * share(own, 13)) * (spot.reach / 0.08).clamp(1.0, 2.5);
        let height = p.dot(direction(own)) + 0.006 * warp(0.03);
        let layer = height / thick;
        let strength = seen(thick, spot.footprint) * (0.10 + 0.22 * share(own, 14));
        let n = fractal_value(
            Vec3A::new(layer, 0.5, 0.5),
            1.6,
            0.7,
            0.7,
            mix(own ^ WARP ^ 1),
        );
        color *= 1.0 + 1.6 * strength * n;
    } else if rock < 0.44 {
        // Grains of two minerals, of half a millimetre to three, as the rock has them whatever the
        // stone's size
        let size = 0.000_5 * libm::expf(1.8 * share(own, 13));
        let level = seen(size, spot.footprint) * (0.45 + 0.55 * share(own, 14));
        if level > 0.0 {
            let bend =
                Vec3A::splat(0.6 * fractal_value(p, size, 0.5 * size, 0.5, mix(own ^ WARP ^ 2)));
            let grain = cell(p / size + bend, mix(own ^ SPECK));
            let kind = share(grain.id, 1);
            let to = if kind < 0.28 {
                color * 0.38
            } else if kind < 0.62 {
                color.lerp(PALE, 0.42)
            } else {
                color * (0.85 + 0.3 * share(grain.id, 2))
            };
            color = color.lerp(to, level * soft_edge(grain.wall));
            slope += direction(grain.id) * (0.05 * level);
        }
    } else if rock < 0.52 {
        color = veins(color, spot, warp((0.4 * spot.reach).max(0.025)));
    }
    color *= 1.0 - 0.5 * seams(spot, cloud);
    // Mineral speckle, everywhere
    let speck = fractal_value(p, 0.0016, finest, 0.8, mix(own ^ SPECK ^ 7));
    color *= 1.0 + (0.20 + 0.22 * share(own, 15)) * speck;

    let (deep, into) = pits(spot, 0.004, 0.25 + 0.35 * share(own, 16));
    slope += into;
    color *= 1.0 - 0.30 * deep;
    color *= 1.0 + 0.55 * bruises(spot);
    color = film(color, spot, deep);
    Skin {
        base: color,
        normal: spot.bent(slope),
    }
}

/// How far a place with this distance to its cell's wall is inside: grains pass into each other
/// over a third of their size.
pub(super) fn soft_edge(wall: f32) -> f32 {
    wall.smoothstep(-0.05, 0.30)
}

/// How much of a dark seam is at a place, 0..1: hairline joints, healed or held by silt, one to
/// four in stones larger than a hand.
fn seams(spot: &SkinPoint, warp: f32) -> f32 {
    let count = (1.0 + 4.0 * share(spot.own, 25)) * spot.reach.smoothstep(0.03, 0.08);
    let mut dark = 0.0_f32;
    for seam in 0..count as u32 {
        let across = direction(mix(spot.own ^ (seam + 71)));
        let off = (share(spot.own, 80 + seam) - 0.5) * 1.5 * spot.reach;
        let half = 0.000_25 + 0.000_5 * share(spot.own, 90 + seam);
        // Now open, now lost
        let shows = (warp + 0.5 * (share(spot.own, 100 + seam) - 0.5)).smoothstep(-0.35, 0.25);
        let away = (spot.place.dot(across) - off + 0.10 * spot.reach * warp).abs();
        let soft = (0.6 * spot.footprint).max(0.000_15);
        let narrow = (half / spot.footprint).clamp(0.0, 1.0);
        dark = dark.max(away.smoothstep(half + soft, half - soft) * narrow * shows);
    }
    dark
}

/// How bruised a stone's skin is, 0..1: where floods knocked it against others it is crushed pale,
/// in spots and crescents of a few millimetres, more on some stones than on others.
fn bruises(spot: &SkinPoint) -> f32 {
    /// Mean distance between places that may be bruised, metres.
    const SPACING: f32 = 0.011;
    let often = 0.55 * share(spot.own, 23);
    /// Largest radius of a bruise, in spacings.
    const WIDEST: f32 = 0.36;
    let level = seen(0.3 * SPACING, spot.footprint);
    if level <= 0.0 || often < 0.08 {
        return 0.0;
    }
    let place = cell_within(spot.place / SPACING, mix(spot.own ^ BRUISE), WIDEST);
    if share(place.id, 1) > often {
        return 0.0;
    }
    let radius = WIDEST * (1.0 + 2.0 * share(place.id, 2)) / 3.0;
    let within = |arm: Vec3A, radius: f32| arm.length().smoothstep(radius, 0.55 * radius);
    let spread = within(place.arm, radius);
    // Every second one is struck from one side
    let struck = if share(place.id, 3) < 0.5 {
        let side = direction(place.id) * (0.55 * radius);
        spread * (1.0 - within(place.arm - side, 0.9 * radius))
    } else {
        0.7 * spread
    };
    level * struck * (0.5 + 0.5 * share(place.id, 4))
}

/// Linear albedo of dry silt, by eye.
const SILT: Vec3A = Vec3A::new(0.36, 0.34, 0.30);

/// Silt that a flood left on a stone and that dried: pale, on what looks up, thicker in hollows,
/// rubbed off in patches of a hand's breadth.
fn film(color: Vec3A, spot: &SkinPoint, deep: f32) -> Vec3A {
    let much = share(spot.own, 24) * spot.up.smoothstep(-0.1, 0.8);
    if much <= 0.0 {
        return color;
    }
    let patch = fractal_value(
        spot.place,
        0.085,
        spot.finest().max(0.002),
        0.62,
        mix(spot.own ^ FILM),
    );
    let lies = (patch + 0.5 * deep).smoothstep(-0.30, 0.50);
    color.lerp(SILT, 0.22 * much * lies)
}

/// White veins: sheets through the stone in two families, one to four, up to seven in what is
/// larger than a hand; each of its own width, half a millimetre to six as often in each octave, at
/// most a sixteenth of the stone's length.
pub(super) fn veins(color: Vec3A, spot: &SkinPoint, warp: f32) -> Vec3A {
    let own = spot.own;
    let most = 4.0 + 3.0 * spot.reach.smoothstep(0.05, 0.15);
    let mut pale = 0.0_f32;
    for vein in 0..1 + (most * share(own, 21)) as u32 {
        let across = direction(mix(own ^ (vein % 2 + 31)));
        // A family keeps its direction to a few degrees
        let across = (across + direction(own.wrapping_add(vein)) * 0.18).normalize_or(across);
        let off = (share(own, 40 + vein) - 0.5) * 1.3 * spot.reach;
        let wide = share(own, 50 + vein);
        let half = (0.000_25 * libm::expf(2.5 * wide)).min(0.0625 * spot.reach);
        // A vein swells and thins out
        let half = half * (1.0 + 0.9 * warp);
        let bend = (0.12 * spot.reach).min(0.012);
        let away = (spot.place.dot(across) - off + bend * warp).abs();
        let soft = (0.6 * spot.footprint).max(0.000_15);
        let narrow = (half / spot.footprint).clamp(0.0, 1.0);
        pale = pale.max(away.smoothstep(half + soft, half - soft) * narrow);
    }
    color.lerp(PALE, 0.85 * pale)
}

/// Broken rock: hackly faces, cracks, weathering rind and lichen.
fn broken(base: Vec3A, spot: &SkinPoint) -> Skin {
    let p = spot.place;
    let finest = spot.finest();
    let own = spot.own;
    let relief = fractal(p, 0.034, finest, 0.60, mix(own ^ RELIEF));
    let mut slope = relief.slope * 0.0030;
    let mut color = base;

    // Small facets where it broke: each tilts its own way
    for (size, tilt) in [(0.026, 0.22), (0.009, 0.16)] {
        let level = seen(size, spot.footprint);
        if level > 0.0 {
            let bend = Vec3A::splat(0.25 * relief.value);
            let facet = cell(p / size + bend, mix(own ^ FACET));
            slope += direction(facet.id) * (tilt * level);
            color *= 1.0 + level * soft_edge(facet.wall) * 0.14 * (share(facet.id, 1) - 0.5);
            // Edges between facets are bruised pale
            color *= 1.0 + level * 0.10 * facet.wall.smoothstep(0.10, 0.02);
        }
    }
    // Cracks along the walls of larger blocks
    if share(own, 17) < 0.45 {
        let warp = fractal_value(p, 0.05, 0.012, 0.5, mix(own ^ WARP));
        let block = cell(p / 0.085 + Vec3A::splat(0.35 * warp), mix(own ^ FACET ^ 1));
        let width = 0.020 + spot.footprint / 0.085;
        let crack = block.wall.smoothstep(width, 0.3 * width) * (0.022 / width).min(1.0);
        color *= 1.0 - 0.55 * crack;
    }
    let cloud = fractal_value(p, 0.07, finest.max(0.006), 0.6, mix(own ^ CLOUD));
    color *= 1.0 + 0.24 * cloud + 0.16 * relief.value;
    // Iron stains run in some stones' clouds
    let stain = cloud.smoothstep(0.0, 0.5) * share(own, 18).smoothstep(0.45, 0.9);
    color = color.lerp(color * Vec3A::new(1.22, 0.92, 0.62), 0.75 * stain);
    let speck = fractal_value(p, 0.0022, finest, 0.8, mix(own ^ SPECK));
    color *= 1.0 + 0.26 * speck;
    if let Some(fabric) = spot.fabric {
        color = fabric::shown(fabric, color, spot, &mut slope);
    } else if share(own, 12) < 0.08 {
        color = veins(color, spot, 0.6 * cloud);
    }
    let (deep, into) = pits(spot, 0.006, 0.45);
    slope += into;
    color *= 1.0 - 0.32 * deep;
    color = lichen(color, spot);
    Skin {
        base: color,
        normal: spot.bent(slope),
    }
}

/// Crusts of lichen on the upper sides of some stones, linear albedos by eye: pale grey-green,
/// ochre, near black.
fn lichen(color: Vec3A, spot: &SkinPoint) -> Vec3A {
    let own = spot.own;
    let much = share(own, 19).smoothstep(0.40, 1.0) * spot.up.smoothstep(0.05, 0.6);
    if much <= 0.0 {
        return color;
    }
    const CRUSTS: [([f32; 3], f32, f32); 3] = [
        ([0.29, 0.31, 0.25], 0.020, 0.30),
        ([0.055, 0.055, 0.05], 0.011, 0.34),
        ([0.36, 0.26, 0.075], 0.014, 0.46),
    ];
    let mut color = color;
    for (i, (tone, size, from)) in CRUSTS.into_iter().enumerate() {
        let n = fractal_value(
            spot.place,
            size,
            spot.finest(),
            0.65,
            mix(own ^ LICHEN ^ (i as u32) << 8),
        );
        let crust = (n + 0.22 * (much - 1.0)).smoothstep(from, from + 0.12);
        color = color.lerp(Vec3A::from(tone) * (1.0 + 0.5 * n), 0.8 * crust * much);
    }
    color
}

/// A dry leaf: the net of fine veins, crinkled between them, freckled.
fn leaf(base: Vec3A, spot: &SkinPoint) -> Skin {
    let p = spot.place;
    let own = spot.own;
    let mut color = base;
    let crinkle = fractal(p, 0.007, spot.finest(), 0.5, mix(own ^ RELIEF));
    let mut slope = crinkle.slope * 0.000_42;
    for (size, dark) in [(0.0032, 0.17), (0.0011, 0.11)] {
        let level = seen(size, spot.footprint);
        if level > 0.0 {
            let area = cell(p / size, mix(own ^ NET));
            let vein = area.wall.smoothstep(0.16, 0.04) * level;
            // Veins are pale on a brown leaf; what lies between them differs a little
            color *= 1.0 + 1.3 * dark * vein + level * 0.16 * (share(area.id, 1) - 0.5);
            slope += direction(area.id) * (0.13 * level * (1.0 - vein));
        }
    }
    let cloud = fractal_value(p, 0.016, spot.finest().max(0.001), 0.6, mix(own ^ CLOUD));
    // Browning, then mould: dry patches pale or dark as the leaf's own lot is
    let aged = cloud.smoothstep(0.05, 0.55) * (0.2 + 0.6 * share(own, 12));
    let to = if share(own, 13) < 0.6 {
        Vec3A::new(0.55, 0.47, 0.42)
    } else {
        Vec3A::new(1.25, 1.15, 1.0)
    };
    color *= Vec3A::ONE.lerp(to, aged);
    let freckle = fractal_value(p, 0.0035, spot.finest(), 0.5, mix(own ^ SPECK));
    let spots = freckle.smoothstep(0.34, 0.46) * seen(0.0035, spot.footprint) * share(own, 14);
    color = color.lerp(color * 0.30, spots);
    Skin {
        base: color,
        normal: spot.bent(slope),
    }
}

/// Wood and bark: fibres along the piece (its x axis), lengthwise splits.
fn wood(base: Vec3A, spot: &SkinPoint) -> Skin {
    // Fibres are some twelve times as long as they are wide
    let stretch = Vec3A::new(0.08, 1.0, 1.0);
    let p = spot.place * stretch;
    let fibre = fractal(p, 0.0022, spot.finest(), 0.65, mix(spot.own ^ FIBRE));
    let slope = fibre.slope * stretch * 0.000_35;
    let split = fibre.value.smoothstep(0.22, 0.42);
    let cloud = fractal_value(spot.place, 0.02, 0.004, 0.6, mix(spot.own ^ CLOUD));
    let color = base * (1.0 + 0.35 * fibre.value + 0.25 * cloud) * (1.0 - 0.45 * split);
    Skin {
        base: color,
        normal: spot.bent(slope),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Maximum of `of` on a cut through the middle of stones of this half length, looked at every
    /// hundredth of it.
    fn most(reach: f32, footprint: f32, of: impl Fn(&SkinPoint) -> f32) -> f32 {
        let at = |own: u32, i: i32, j: i32| SkinPoint {
            place: Vec3A::new(i as f32, 0.0, j as f32) * (0.01 * reach),
            reach,
            normal: Vec3A::Y,
            up: 1.0,
            own: mix(own),
            fabric: None,
            footprint,
        };
        let spots = (0..8).flat_map(|own| {
            (-100..=100).flat_map(move |i| (-100..=100).step_by(10).map(move |j| at(own, i, j)))
        });
        spots.map(|spot| of(&spot)).fold(0.0, f32::max)
    }

    #[test]
    fn marks_show_on_stones_that_are_large_enough_and_under_pixels_that_are_small_enough() {
        let seam = |spot: &SkinPoint| seams(spot, 0.2);
        assert!(most(0.15, 0.000_5, seam) > 0.3);
        assert_eq!(most(0.02, 0.000_5, seam), 0.0);
        assert!(most(0.05, 0.000_5, bruises) > 0.3);
        assert_eq!(most(0.05, 0.004, bruises), 0.0);
    }

    #[test]
    fn veins_cross_a_large_stone_far_from_its_middle() {
        let outer = |spot: &SkinPoint| {
            let far = spot.place.length() > 0.6 * spot.reach;
            let pale = veins(Vec3A::splat(0.1), spot, 0.0).x - 0.1;
            if far { pale } else { 0.0 }
        };
        assert!(most(0.3, 0.000_5, outer) > 0.2);
    }
}
