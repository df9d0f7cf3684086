//! Rays against boxes and triangles: the hierarchies that resting and pictures share.

mod nearby;
mod triangles;
mod wide;

pub(crate) use triangles::{Meeting, Triangles};
pub(crate) use wide::{Ray, TraversalStack, WideBvh};
