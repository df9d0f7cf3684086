//! How a piece's surface is said in glTF and in OpenUSD.
//!
//! Sources: Khronos Group, "glTF 2.0 Specification", 2021 (metallic-roughness); Pixar,
//! "UsdPreviewSurface specification", version 2.6, 2023.
//!
//! Translucency has no place in either core model: it stands in the material's `extras` and in its
//! `customData`. OpenUSD's basic nodes can't multiply: a surface with a texture takes its colour
//! from there alone, times the base colour, and the vertex colours stay in `displayColor`.

use std::io::{self, Write};

use serde_json::{Value, json};

use super::pictures::Pictures;
use super::usda::quoted;
use crate::brief::Look;
use crate::kit::{Alpha, Material, Texture, Wrap};
use crate::scene::Finish;

/// What the ground looks like as one plain colour: the middle of the range of albedos that the
/// pictures' soils have (dry sand 0.30-0.40, soil 0.15-0.25, granite 0.20-0.40, leaf mould
/// 0.10-0.20; published ranges, from memory).
pub(super) fn ground(finish: &Finish) -> Material {
    let (name, [r, g, b]) = match finish.look {
        Look::Soil => ("soil", [0.24, 0.18, 0.13]),
        Look::Sand => ("sand", [0.42, 0.35, 0.26]),
        Look::Gravel => ("gravel", [0.33, 0.30, 0.27]),
        Look::Rock => ("rock", [0.32, 0.31, 0.29]),
        Look::Litter => ("litter", [0.20, 0.14, 0.09]),
    };
    let [r, g, b] = finish.soil.and_then(|s| s.albedo).unwrap_or([r, g, b]);
    Material {
        name: format!("ground {name}"),
        base_color: [r, g, b, 1.0],
        // Dry mineral and plant surfaces have no gloss to speak of
        roughness: 0.95,
        ..Material::default()
    }
}

/// The material as glTF has it; numbers are kept in the format's range. `index` gives the number of
/// a texture.
pub(super) fn gltf<'a>(
    material: &'a Material,
    mut index: impl FnMut(&'a Texture) -> usize,
) -> Value {
    let mut value = json!({
        "name": material.name,
        "pbrMetallicRoughness": {
            "baseColorFactor": material.base_color.map(unit),
            "metallicFactor": unit(material.metallic),
            "roughnessFactor": unit(material.roughness),
        },
        "doubleSided": material.double_sided,
    });
    let plain = &mut value["pbrMetallicRoughness"];
    if let Some(texture) = &material.base_color_texture {
        plain["baseColorTexture"] = json!({ "index": index(texture) });
    }
    if let Some(texture) = &material.metallic_roughness_texture {
        plain["metallicRoughnessTexture"] = json!({ "index": index(texture) });
    }
    if let Some(texture) = &material.normal_texture {
        value["normalTexture"] = json!({ "index": index(texture), "scale": material.normal_scale });
    }
    match material.alpha {
        Alpha::Opaque => {}
        Alpha::Cut(at) => {
            value["alphaMode"] = json!("MASK");
            value["alphaCutoff"] = json!(at);
        }
        Alpha::Blend => value["alphaMode"] = json!("BLEND"),
    }
    if material.translucency > 0.0 {
        value["extras"] = json!({ "translucency": material.translucency });
    }
    value
}

/// The material as a UsdPreviewSurface prim called `name`, `path` being its own path. Without a
/// texture its colour is read from the mesh's `displayColor` (base colour times vertex colour).
pub(super) fn usd<W: Write>(
    material: &Material,
    name: &str,
    path: &str,
    pictures: &Pictures<'_>,
    out: &mut W,
) -> io::Result<()> {
    writeln!(out, "        def Material \"{name}\" (")?;
    writeln!(out, "            displayName = {}", quoted(&material.name))?;
    if material.translucency > 0.0 {
        writeln!(
            out,
            "            customData = {{ double translucency = {} }}",
            material.translucency
        )?;
    }
    writeln!(
        out,
        "        )
        {{
            token outputs:surface.connect = <{path}/surface.outputs:surface>

            def Shader \"surface\"
            {{
                uniform token info:id = \"UsdPreviewSurface\""
    )?;
    usd_inputs(material, path, out)?;
    writeln!(
        out,
        "                token outputs:surface
            }}
"
    )?;
    usd_color(material, path, pictures, out)?;
    usd_maps(material, path, pictures, out)?;
    writeln!(out, "        }}\n")
}

/// Where the colour is read from: a texture, or the mesh.
fn usd_color<W: Write>(
    material: &Material,
    path: &str,
    pictures: &Pictures<'_>,
    out: &mut W,
) -> io::Result<()> {
    let [r, g, b, a] = material.base_color.map(unit);
    match &material.base_color_texture {
        Some(texture) => UsdTexture {
            name: "color",
            file: pictures.path(texture),
            space: "sRGB",
            scale: [r, g, b, a],
            bias: [0.0; 4],
            outputs: &["float3 outputs:rgb", "float outputs:a"],
            wrap: texture.wrap,
        }
        .write(path, out),
        None => writeln!(
            out,
            "            def Shader \"color\"
            {{
                uniform token info:id = \"UsdPrimvarReader_float3\"
                float3 inputs:fallback = ({r}, {g}, {b})
                string inputs:varname = \"displayColor\"
                float3 outputs:result
            }}
"
        ),
    }
}

/// The other textures, and the coordinates that all are read at.
fn usd_maps<W: Write>(
    material: &Material,
    path: &str,
    pictures: &Pictures<'_>,
    out: &mut W,
) -> io::Result<()> {
    if let Some(texture) = &material.metallic_roughness_texture {
        let [roughness, metallic] = [material.roughness, material.metallic].map(unit);
        UsdTexture {
            name: "roughness",
            file: pictures.path(texture),
            space: "raw",
            scale: [1.0, roughness, metallic, 1.0],
            bias: [0.0; 4],
            outputs: &["float outputs:g", "float outputs:b"],
            wrap: texture.wrap,
        }
        .write(path, out)?;
    }
    if let Some(texture) = &material.normal_texture {
        let lean = material.normal_scale;
        UsdTexture {
            name: "normals",
            file: pictures.path(texture),
            space: "raw",
            scale: [2.0 * lean, 2.0 * lean, 2.0, 1.0],
            bias: [-lean, -lean, -1.0, 0.0],
            outputs: &["float3 outputs:rgb"],
            wrap: texture.wrap,
        }
        .write(path, out)?;
    }
    if material.textures().next().is_some() {
        writeln!(
            out,
            "            def Shader \"st\"
            {{
                uniform token info:id = \"UsdPrimvarReader_float2\"
                string inputs:varname = \"st\"
                float2 outputs:result
            }}
"
        )?;
    }
    Ok(())
}

/// What goes into the surface, in the order of the names.
fn usd_inputs<W: Write>(material: &Material, path: &str, out: &mut W) -> io::Result<()> {
    let mut input = |kind: &str, name: &str, from: &str| match from.strip_prefix('/') {
        Some(from) => writeln!(
            out,
            "                {kind} inputs:{name}.connect = <{path}/{from}>"
        ),
        None => writeln!(out, "                {kind} inputs:{name} = {from}"),
    };
    let textured = material.base_color_texture.is_some();
    let color = if textured { "rgb" } else { "result" };
    input(
        "color3f",
        "diffuseColor",
        &format!("/color.outputs:{color}"),
    )?;
    let plain = |value: f32| unit(value).to_string();
    let rough = material.metallic_roughness_texture.is_some();
    let either = |linked: bool, link: &str, value: String| {
        if linked { link.to_owned() } else { value }
    };
    let metallic = plain(material.metallic);
    input(
        "float",
        "metallic",
        &either(rough, "/roughness.outputs:b", metallic),
    )?;
    if material.normal_texture.is_some() {
        input("normal3f", "normal", "/normals.outputs:rgb")?;
    }
    if material.alpha == Alpha::Opaque {
        input("float", "opacity", "1")?;
    } else {
        let opacity = plain(material.base_color[3]);
        input(
            "float",
            "opacity",
            &either(textured, "/color.outputs:a", opacity),
        )?;
    }
    if let Alpha::Cut(at) = material.alpha {
        // A threshold of nothing would turn cutting off, and nothing is cut there
        input("float", "opacityThreshold", &at.to_string())?;
    }
    let roughness = plain(material.roughness);
    input(
        "float",
        "roughness",
        &either(rough, "/roughness.outputs:g", roughness),
    )
}

/// A UsdUVTexture prim that reads a picture at the mesh's `st`.
struct UsdTexture<'a> {
    name: &'a str,
    /// Relative to the layer's own folder.
    file: String,
    space: &'a str,
    scale: [f32; 4],
    bias: [f32; 4],
    outputs: &'a [&'a str],
    wrap: [Wrap; 2],
}

impl UsdTexture<'_> {
    fn write<W: Write>(&self, path: &str, out: &mut W) -> io::Result<()> {
        let Self {
            name, file, space, ..
        } = self;
        let four = |[x, y, z, w]: [f32; 4]| format!("({x}, {y}, {z}, {w})");
        let [s, t] = self.wrap.map(|wrap| match wrap {
            Wrap::Repeat => "repeat",
            Wrap::Mirror => "mirror",
            Wrap::Clamp => "clamp",
        });
        writeln!(
            out,
            "            def Shader \"{name}\"
            {{
                uniform token info:id = \"UsdUVTexture\"
                float4 inputs:bias = {}
                asset inputs:file = @./{file}@
                float4 inputs:scale = {}
                token inputs:sourceColorSpace = \"{space}\"
                float2 inputs:st.connect = <{path}/st.outputs:result>
                token inputs:wrapS = \"{s}\"
                token inputs:wrapT = \"{t}\"",
            four(self.bias),
            four(self.scale),
        )?;
        for output in self.outputs {
            writeln!(out, "                {output}")?;
        }
        writeln!(out, "            }}\n")
    }
}

fn unit(v: f32) -> f32 {
    v.clamp(0.0, 1.0)
}
