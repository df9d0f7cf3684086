//! A plain mesh file: one mesh, a primitive a material, no textures. Khronos Group, "glTF 2.0
//! Specification", 2021.

use scatter::kit::Part;
use serde::Serialize;

#[derive(Serialize)]
struct Document<'a> {
    asset: Asset,
    scene: u32,
    scenes: [Scene; 1],
    nodes: [Node<'a>; 1],
    meshes: [Mesh<'a>; 1],
    materials: Vec<Material<'a>>,
    accessors: Vec<Accessor>,
    #[serde(rename = "bufferViews")]
    views: Vec<View>,
    buffers: [Buffer; 1],
}

#[derive(Serialize)]
struct Asset {
    version: &'static str,
    generator: &'static str,
}

#[derive(Serialize)]
struct Scene {
    nodes: [u32; 1],
}

#[derive(Serialize)]
struct Node<'a> {
    name: &'a str,
    mesh: u32,
}

#[derive(Serialize)]
struct Mesh<'a> {
    name: &'a str,
    primitives: Vec<Primitive>,
}

#[derive(Serialize)]
struct Primitive {
    attributes: Attributes,
    indices: usize,
    material: usize,
}

#[derive(Serialize)]
struct Attributes {
    #[serde(rename = "POSITION")]
    position: usize,
    #[serde(rename = "NORMAL")]
    normal: usize,
    #[serde(rename = "COLOR_0")]
    color: usize,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Material<'a> {
    name: &'a str,
    pbr_metallic_roughness: Surface,
    double_sided: bool,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Surface {
    base_color_factor: [f32; 4],
    metallic_factor: f32,
    roughness_factor: f32,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Accessor {
    buffer_view: usize,
    component_type: u32,
    #[serde(rename = "type")]
    shape: &'static str,
    count: usize,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    normalized: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    min: Option<[f32; 3]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    max: Option<[f32; 3]>,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct View {
    buffer: u32,
    byte_offset: usize,
    byte_length: usize,
    target: u32,
}

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Buffer {
    byte_length: usize,
}

// Codes of the specification: component types and buffer targets
const U16: u32 = 5123;
const U32: u32 = 5125;
const F32: u32 = 5126;
const VERTICES: u32 = 34962;
const INDICES: u32 = 34963;

/// Binary data and the lists that describe it.
#[derive(Default)]
struct Writer {
    binary: Vec<u8>,
    views: Vec<View>,
    accessors: Vec<Accessor>,
}

impl Writer {
    fn push(&mut self, bytes: impl Iterator<Item = u8>, target: u32, accessor: Accessor) -> usize {
        let byte_offset = self.binary.len();
        self.binary.extend(bytes);
        let byte_length = self.binary.len() - byte_offset;
        // The next one starts at a multiple of four again
        self.binary.resize(self.binary.len().next_multiple_of(4), 0);
        self.views.push(View {
            buffer: 0,
            byte_offset,
            byte_length,
            target,
        });
        self.accessors.push(Accessor {
            buffer_view: self.views.len() - 1,
            ..accessor
        });
        self.accessors.len() - 1
    }
}

fn accessor(component_type: u32, shape: &'static str, count: usize) -> Accessor {
    Accessor {
        buffer_view: 0,
        component_type,
        shape,
        count,
        normalized: false,
        min: None,
        max: None,
    }
}

fn floats(list: &[glam::Vec3]) -> impl Iterator<Item = u8> {
    list.iter()
        .flat_map(|v| v.to_array())
        .flat_map(f32::to_le_bytes)
}

/// The bytes of a .glb file that shows `parts`.
#[expect(
    clippy::too_many_lines,
    reason = "a file, from its first byte to its last"
)]
pub(crate) fn bytes(name: &str, parts: &[Part]) -> serde_json::Result<Vec<u8>> {
    let mut out = Writer::default();
    let mut primitives = Vec::new();
    let mut materials = Vec::new();
    for (index, part) in parts.iter().enumerate() {
        let mesh = &part.mesh;
        let count = mesh.positions.len();
        let low = mesh.positions.iter().copied().reduce(glam::Vec3::min);
        let high = mesh.positions.iter().copied().reduce(glam::Vec3::max);
        let position = Accessor {
            min: low.map(|v| v.to_array()),
            max: high.map(|v| v.to_array()),
            ..accessor(F32, "VEC3", count)
        };
        let color = Accessor {
            normalized: true,
            ..accessor(U16, "VEC4", count)
        };
        let attributes = Attributes {
            position: out.push(floats(&mesh.positions), VERTICES, position),
            normal: out.push(
                floats(&mesh.normals),
                VERTICES,
                accessor(F32, "VEC3", count),
            ),
            color: out.push(
                mesh.colors.iter().flatten().flat_map(|c| c.to_le_bytes()),
                VERTICES,
                color,
            ),
        };
        let corners = mesh.indices.len();
        // Index 65535 is kept for restarts by the specification
        let indices = if count < usize::from(u16::MAX) {
            let short = mesh.indices.iter().flat_map(|i| (*i as u16).to_le_bytes());
            out.push(short, INDICES, accessor(U16, "SCALAR", corners))
        } else {
            let long = mesh.indices.iter().flat_map(|i| i.to_le_bytes());
            out.push(long, INDICES, accessor(U32, "SCALAR", corners))
        };
        primitives.push(Primitive {
            attributes,
            indices,
            material: index,
        });
        materials.push(Material {
            name: &part.material.name,
            pbr_metallic_roughness: Surface {
                base_color_factor: part.material.base_color,
                metallic_factor: part.material.metallic,
                roughness_factor: part.material.roughness,
            },
            double_sided: part.material.double_sided,
        });
    }
    let document = Document {
        asset: Asset {
            version: "2.0",
            generator: concat!("strew ", env!("CARGO_PKG_VERSION")),
        },
        scene: 0,
        scenes: [Scene { nodes: [0] }],
        nodes: [Node { name, mesh: 0 }],
        meshes: [Mesh { name, primitives }],
        materials,
        accessors: out.accessors,
        views: out.views,
        buffers: [Buffer {
            byte_length: out.binary.len(),
        }],
    };
    let mut json = serde_json::to_vec(&document)?;
    json.resize(json.len().next_multiple_of(4), b' ');

    // Header, then two chunks: length, kind, content
    let total = 12 + 8 + json.len() + 8 + out.binary.len();
    let mut file = Vec::with_capacity(total);
    file.extend(b"glTF");
    for word in [2, total as u32, json.len() as u32] {
        file.extend(word.to_le_bytes());
    }
    file.extend(b"JSON");
    file.extend(json);
    file.extend((out.binary.len() as u32).to_le_bytes());
    file.extend(b"BIN\0");
    file.extend(out.binary);
    Ok(file)
}
