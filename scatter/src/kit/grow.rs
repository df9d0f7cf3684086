//! Grows the pieces of the built-in kit.

use rayon::prelude::*;

use super::{Kind, Material, Measure, Part, Piece, bark, leaf, spray, stone, tuft, twig};

/// Grows one piece: a pure function, the same bytes on every machine. Any variant number is
/// accepted; a kit uses those below [`Kind::variants`].
#[must_use]
pub fn grow(kind: Kind, variant: u32) -> Piece {
    let (shape, crease_cosine) = match kind {
        Kind::Rock | Kind::Cobble | Kind::Pebble => stone::grow(kind, variant),
        Kind::Leaf => leaf::grow(variant),
        Kind::Twig => twig::grow(variant),
        Kind::Tuft => tuft::grow(variant),
        Kind::BarkFlake => bark::grow(variant),
        Kind::Spray => spray::grow(variant),
    };
    let parts = vec![Part {
        mesh: shape.mesh(crease_cosine),
        material: material(kind),
    }];
    let measure = Measure::of(&parts);
    Piece {
        name: format!("{}-{variant:02}", kind.name()),
        source: "grown".to_owned(),
        parts,
        measure,
        lies: kind.lies(),
    }
}

/// Grows every variant of a kind, in order.
#[must_use]
pub fn grow_all(kind: Kind) -> Vec<Piece> {
    (0..kind.variants())
        .into_par_iter()
        .map(|variant| grow(kind, variant))
        .collect()
}

/// The material of a kind; its colours are in the vertices. Roughness and translucency: common
/// practice, no source.
fn material(kind: Kind) -> Material {
    let (roughness, double_sided, translucency) = match kind {
        Kind::Rock => (0.92, false, 0.0),
        Kind::Cobble => (0.78, false, 0.0),
        Kind::Pebble => (0.66, false, 0.0),
        Kind::Leaf => (0.70, true, 0.25),
        Kind::Twig => (0.88, false, 0.0),
        Kind::Tuft => (0.62, true, 0.35),
        Kind::BarkFlake => (0.95, false, 0.0),
        Kind::Spray => (0.60, true, 0.35),
    };
    Material {
        name: kind.name().to_owned(),
        roughness,
        double_sided,
        translucency,
        ..Material::default()
    }
}
