//! The JSON part, whose nodes are written as a stream: one a pass and piece, or one an instance.

use std::io::{self, Write};
use std::sync::Arc;

use glam::DVec3;
use serde_json::{Value, json};

use crate::deliver::lines;
use crate::deliver::space::Conversion;
use crate::layout::{Instance, Tints};
use crate::plan::NANO;
use crate::shot::Space;

/// A node under the root.
#[derive(Debug)]
pub(super) enum Node<'a> {
    /// A node without children.
    One(Value),
    /// The parent of a node an instance.
    Group(InstanceNodes<'a>),
}

/// The instances of a pass and piece, each to be a node.
#[derive(Debug)]
pub(super) struct InstanceNodes<'a> {
    pub(super) name: String,
    pub(super) mesh: usize,
    pub(super) instances: &'a [Instance],
    pub(super) root: DVec3,
    pub(super) tints: Arc<Tints>,
}

/// A glTF document: nodes under the root come first, then the root, then the nodes of instances.
#[derive(Debug)]
pub(super) struct GltfJson<'a> {
    /// The document without its nodes and its last brace.
    head: Vec<u8>,
    nodes: Vec<Node<'a>>,
    root: Value,
}

impl<'a> GltfJson<'a> {
    /// `document` has at least one key, and no nodes.
    pub(super) fn new(document: Value, nodes: Vec<Node<'a>>, root: Value) -> Self {
        let mut head = document.to_string().into_bytes();
        head.pop();
        Self { head, nodes, root }
    }

    /// Length in bytes: what [`GltfJson::write`] would write.
    pub(super) fn bytes(&self) -> io::Result<u64> {
        self.write(&mut io::sink())
    }

    /// Writes the document; returns its length in bytes.
    pub(super) fn write<W: Write + Send>(&self, out: &mut W) -> io::Result<u64> {
        let mut out = CountingWriter { out, bytes: 0 };
        out.write_all(&self.head)?;
        if !self.nodes.is_empty() {
            out.write_all(b",\"nodes\":[")?;
            let mut free = self.nodes.len() + 1;
            for node in &self.nodes {
                match node {
                    Node::One(value) => serde_json::to_writer(&mut out, value)?,
                    Node::Group(group) => free = group.parent(free, &mut out)?,
                }
                out.write_all(b",")?;
            }
            let mut root = self.root.clone();
            root["children"] = json!((0..self.nodes.len()).collect::<Vec<_>>());
            serde_json::to_writer(&mut out, &root)?;
            for node in &self.nodes {
                if let Node::Group(group) = node {
                    group.children(&mut out)?;
                }
            }
            out.write_all(b"]")?;
        }
        out.write_all(b"}")?;
        Ok(out.bytes)
    }
}

impl InstanceNodes<'_> {
    /// The parent's own node, whose children's indices begin at `free`; returns the next free
    /// index.
    fn parent<W: Write + Send>(&self, free: usize, out: &mut W) -> io::Result<usize> {
        out.write_all(b"{\"name\":")?;
        serde_json::to_writer(&mut *out, &self.name)?;
        out.write_all(b",\"children\":[")?;
        let end = free + self.instances.len();
        for index in free..end {
            write!(out, "{}{index}", if index > free { "," } else { "" })?;
        }
        out.write_all(b"]}")?;
        Ok(end)
    }

    /// A node an instance, each after a comma.
    fn children<W: Write + Send>(&self, out: &mut W) -> io::Result<()> {
        let own = Conversion::new(Space::default());
        // Positions lie on a lattice of a nanometre and the root on whole metres: this undoes the
        // rounding far out
        let under_root = |p: DVec3| {
            DVec3::from_array(
                (p - self.root)
                    .to_array()
                    .map(|v| (v * NANO).round() / NANO),
            )
        };
        out.write_all(b",")?;
        lines::write(
            self.instances,
            ",",
            |text, instance| {
                text.text("{\"name\":\"");
                text.hexadecimal(instance.id);
                text.text("\",\"mesh\":");
                text.integer(self.mesh);
                text.text(",\"translation\":[");
                text.place(under_root(instance.position), &own, ",");
                text.text("],\"rotation\":[");
                text.all(instance.rotation, ",");
                text.text("],\"scale\":[");
                text.all([instance.scale; 3], ",");
                if let Some(tint) = self.tints.tint(instance) {
                    text.text("],\"extras\":{\"tint\":[");
                    text.all(tint, ",");
                    text.text("]}}");
                } else {
                    text.text("]}");
                }
            },
            out,
        )
    }
}

/// Counts what goes through.
struct CountingWriter<'a, W> {
    out: &'a mut W,
    bytes: u64,
}

impl<W: Write> Write for CountingWriter<'_, W> {
    fn write(&mut self, buffer: &[u8]) -> io::Result<usize> {
        let written = self.out.write(buffer)?;
        self.bytes += written as u64;
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}
