//! Skins as light that bounced gathers them: the colour alone, without detail.

use glam::{FloatExt, Vec3A};

use super::SILT;
use crate::kit::{Kind, Surface};
use crate::picture::solid::share;

/// Mean colour of the skin of a piece of `kind` over places where its mesh has the colour `base`.
/// `up` tells how far the normal looks up in the world, -1..1; `own` is the hash of the piece's id.
/// The factors were measured over 2,000 pieces, at places a millimetre wide: see the test.
pub(in crate::picture) fn mean(kind: Kind, base: Vec3A, up: f32, own: u32) -> Vec3A {
    match kind.row().surface {
        Surface::WornStone => {
            // The film lies on about half of what looks up
            let much = share(own, 24) * up.smoothstep(-0.1, 0.8);
            base.lerp(SILT, 0.22 * 0.42 * much)
        }
        Surface::BrokenStone => base * Vec3A::new(1.04, 1.027, 1.015),
        Surface::Leaf => base * Vec3A::new(1.058, 1.051, 1.045),
        Surface::Wood => base * 0.972,
        Surface::Plain => base,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::sample::mix;
    use crate::picture::skin::{SkinPoint, skin};

    #[test]
    fn the_mean_of_a_skin_is_its_mean() {
        for kind in [Kind::Cobble, Kind::Rock, Kind::Leaf, Kind::Twig] {
            let base = Vec3A::new(0.26, 0.24, 0.2);
            let (mut got, mut expect) = (Vec3A::ZERO, Vec3A::ZERO);
            for i in 0..8000_u32 {
                // 200 pieces, 40 places each, of lengths from 3 to 20 cm
                let own = mix(i / 40);
                let reach = 0.015 + 0.085 * share(own, 900);
                let part = |what: u32| share(mix(i), what) - 0.5;
                let normal = Vec3A::new(part(901), part(902), part(903)).normalize();
                let spot = SkinPoint {
                    place: normal * reach,
                    reach,
                    normal,
                    up: normal.y,
                    own,
                    fabric: None,
                    footprint: 0.001,
                };
                expect += skin(kind, base, &spot).base;
                got += mean(kind, base, normal.y, own);
            }
            let ratio = got / expect;
            // Standard error of the mean over pieces is about 1 %
            assert!(
                (ratio - Vec3A::ONE).abs().max_element() < 0.03,
                "{kind:?}: {ratio}"
            );
        }
    }
}
