//! Animations as a document has them, also those that move what is no node.
//!
//! Sources: Khronos Group, "glTF 2.0 Specification", 2021, section "Animations"; Khronos Group,
//! "KHR_animation_pointer", 2024. A channel without a node is for readers of an extension; others
//! ignore it.

use gltf::json::animation::{Property, Sampler};
use gltf::json::validation::Checked;
use serde::Deserialize;
use serde_json::Value;

/// The extension that moves what is no node.
const POINTER: &str = "KHR_animation_pointer";

/// The document's animations.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Animations {
    /// In the order of the document.
    #[serde(default)]
    pub(super) animations: Vec<Animation>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Animation {
    pub(super) name: Option<String>,
    pub(super) channels: Vec<Channel>,
    pub(super) samplers: Vec<Sampler>,
}

/// What a sampler moves.
#[derive(Debug, Deserialize)]
pub(super) struct Channel {
    /// Index into the animation's samplers.
    pub(super) sampler: usize,
    pub(super) target: ChannelTarget,
}

#[derive(Debug, Deserialize)]
pub(super) struct ChannelTarget {
    /// Index into the document's nodes; none where an extension says what is moved.
    pub(super) node: Option<usize>,
    pub(super) path: Checked<Property>,
    extensions: Option<Value>,
}

impl ChannelTarget {
    /// The JSON pointer to what is moved, where KHR_animation_pointer says it.
    pub(super) fn pointer(&self) -> Option<&str> {
        let extensions = self.extensions.as_ref()?;
        extensions.get(POINTER)?.get("pointer")?.as_str()
    }
}
