//! How a piece's surface is said in glTF and in OpenUSD. Textures, once pieces have them, go in here: embedded in a GLB,
//! beside a USDA file.
//!
//! Sources: Khronos Group, "glTF 2.0 Specification", 2021 (metallic-roughness); Pixar, "UsdPreviewSurface specification",
//! version 2.6, 2023.
//!
//! Translucency has no place in either core model: it stands in the material's `extras` and in its `customData`.

use std::io::{self, Write};

use serde_json::{Value, json};

use super::usda::quoted;
use crate::kit::Material;
use crate::shot::Look;

/// What the ground looks like as one plain colour: the middle of the range of albedos that the pictures' soils have (dry
/// sand 0.30-0.40, soil 0.15-0.25, granite 0.20-0.40, leaf mould 0.10-0.20; published ranges, from memory).
pub(super) fn ground(look: Look) -> Material {
    let (name, [r, g, b]) = match look {
        Look::Soil => ("soil", [0.24, 0.18, 0.13]),
        Look::Sand => ("sand", [0.42, 0.35, 0.26]),
        Look::Gravel => ("gravel", [0.33, 0.30, 0.27]),
        Look::Rock => ("rock", [0.32, 0.31, 0.29]),
        Look::Litter => ("litter", [0.20, 0.14, 0.09]),
    };
    Material {
        name: format!("ground {name}"),
        base_color: [r, g, b, 1.0],
        // Dry mineral and plant surfaces have no gloss to speak of
        roughness: 0.95,
        ..Material::default()
    }
}

/// The material as glTF has it; numbers are kept in the format's range.
pub(super) fn gltf(material: &Material) -> Value {
    let mut value = json!({
        "name": material.name,
        "pbrMetallicRoughness": {
            "baseColorFactor": material.base_color.map(unit),
            "metallicFactor": unit(material.metallic),
            "roughnessFactor": unit(material.roughness),
        },
        "doubleSided": material.double_sided,
    });
    if material.base_color[3] < 1.0 {
        value["alphaMode"] = json!("BLEND");
    }
    if material.translucency > 0.0 {
        value["extras"] = json!({ "translucency": material.translucency });
    }
    value
}

/// The material as a UsdPreviewSurface prim called `name`, `path` being its own path. Its colour is read from the mesh's
/// `displayColor` (base colour times vertex colour).
pub(super) fn usd<W: Write>(
    material: &Material,
    name: &str,
    path: &str,
    out: &mut W,
) -> io::Result<()> {
    let [r, g, b, a] = material.base_color.map(unit);
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
                uniform token info:id = \"UsdPreviewSurface\"
                color3f inputs:diffuseColor.connect = <{path}/color.outputs:result>
                float inputs:metallic = {}
                float inputs:opacity = {a}
                float inputs:roughness = {}
                token outputs:surface
            }}

            def Shader \"color\"
            {{
                uniform token info:id = \"UsdPrimvarReader_float3\"
                float3 inputs:fallback = ({r}, {g}, {b})
                string inputs:varname = \"displayColor\"
                float3 outputs:result
            }}
        }}
",
        unit(material.metallic),
        unit(material.roughness),
    )
}

fn unit(v: f32) -> f32 {
    v.clamp(0.0, 1.0)
}
