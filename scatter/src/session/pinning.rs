//! The pins of a brief as a layer of its layout.

use super::laid::Laid;
use super::pins::Pinned;
use super::prepared::Prepared;
use crate::brief::LayerIndex;
use crate::layout::{Instance, Tally, single};

impl Prepared {
    /// The pins as a layer of the layout.
    pub(super) fn pinned(&self, layer: LayerIndex) -> Laid {
        let instance = |p: &Pinned| Instance {
            id: p.placed.id,
            position: p.standing.position,
            rotation: single(p.standing.rotation),
            scale: p.standing.scale as f32,
            diameter: p.placed.diameter,
            pass: layer,
            piece: p.piece,
        };
        let instances: Vec<Instance> = self.pins.all.iter().map(instance).collect();
        let count = instances.len() as u64;
        let pieces = &self.kit.pieces;
        let triangles = instances
            .iter()
            .map(|i| pieces[usize::from(i.piece)].triangles());
        let triangles = triangles.sum();
        Laid {
            tally: Tally {
                asked: count,
                thrown: count,
                laid: count,
                placed: count,
                triangles,
                full_triangles: triangles,
                ..Tally::default()
            },
            instances,
        }
    }
}
