//! Grows the pieces of the built-in kit.

use rayon::prelude::*;

use super::{Kind, Material, Measure, Part, Piece};

/// Grows one piece: a pure function, the same bytes on every machine. Any variant number is
/// accepted; a kit uses those below [`Kind::variants`].
#[must_use]
pub fn grow(kind: Kind, variant: u32) -> Piece {
    let row = kind.row();
    let (shape, crease_cosine) = (row.grow)(variant);
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
        lies: row.lies,
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

/// The material of a kind; its colours are in the vertices.
fn material(kind: Kind) -> Material {
    let row = kind.row();
    Material {
        name: kind.name().to_owned(),
        roughness: row.roughness,
        double_sided: row.double_sided,
        translucency: row.translucency,
        ..Material::default()
    }
}
