//! Meshes as UsdGeomMesh prims.

use std::io::{self, Write};

use glam::Vec3;

use super::UsdaScene;
use super::names::{Names, Numbers};
use crate::kit::{Alpha, Part};

/// Items written before the buffer is handed on: bounds the memory of an array of any length.
const ITEMS_AT_ONCE: usize = 4096;

/// Writes the parts that have triangles as meshes, `indent` spaces in.
pub(super) fn write<W: Write>(
    scene: &UsdaScene<'_>,
    parts: &[Part],
    indent: usize,
    out: &mut W,
) -> io::Result<()> {
    let mut names = Names::default();
    for part in parts.iter().filter(|p| !p.mesh.indices.is_empty()) {
        part_mesh(scene, part, &names.take("mesh"), &" ".repeat(indent), out)?;
    }
    Ok(())
}

fn part_mesh<W: Write>(
    scene: &UsdaScene<'_>,
    part: &Part,
    name: &str,
    i: &str,
    out: &mut W,
) -> io::Result<()> {
    let mesh = &part.mesh;
    let place = |v: &Vec3| scene.way.point(v.as_dvec3()).as_vec3();
    let (mut low, mut high) = (Vec3::INFINITY, Vec3::NEG_INFINITY);
    for p in mesh.positions.iter().map(place) {
        (low, high) = (low.min(p), high.max(p));
    }
    writeln!(
        out,
        "{i}def Mesh \"{name}\" (\n{i}    prepend apiSchemas = [\"MaterialBindingAPI\"]\n{i})\n{i}{{"
    )?;
    let sides = u8::from(part.material.double_sided);
    writeln!(out, "{i}    uniform bool doubleSided = {sides}")?;
    writeln!(
        out,
        "{i}    float3[] extent = [{}, {}]",
        Numbers(&low.to_array()),
        Numbers(&high.to_array())
    )?;
    let faces = vec![3_u32; ITEMS_AT_ONCE];
    write!(out, "{i}    int[] faceVertexCounts = [")?;
    let mut left = mesh.indices.len() / 3;
    let mut first = true;
    while left > 0 {
        let some = left.min(ITEMS_AT_ONCE);
        list(&faces[..some], first, |b, n| write!(b, "{n}"), out)?;
        first = false;
        left -= some;
    }
    writeln!(out, "]")?;
    array(
        out,
        i,
        "int[] faceVertexIndices",
        &mesh.indices,
        "",
        |b, n| write!(b, "{n}"),
    )?;
    writeln!(
        out,
        "{i}    rel material:binding = <{}>",
        scene.surfaces.path(part)
    )?;
    let vertex = " (\n    interpolation = \"vertex\"\n)";
    array(
        out,
        i,
        "normal3f[] normals",
        &mesh.normals,
        vertex,
        |b, n| write!(b, "{}", Numbers(&scene.way.direction(*n).to_array())),
    )?;
    array(out, i, "point3f[] points", &mesh.positions, "", |b, p| {
        write!(b, "{}", Numbers(&place(p).to_array()))
    })?;
    colors(part, i, out)?;
    if part.material.textures().next().is_some() {
        let st = "texCoord2f[] primvars:st";
        // glTF's v runs down, OpenUSD's up
        array(out, i, st, &mesh.uvs, vertex, |b, [u, v]| {
            write!(b, "{}", Numbers(&[*u, 1.0 - v]))
        })?;
    }
    writeln!(
        out,
        "{i}    uniform token subdivisionScheme = \"none\"\n{i}}}\n"
    )
}

/// Base colour times vertex colour, and opacity where it is not whole.
fn colors<W: Write>(part: &Part, i: &str, out: &mut W) -> io::Result<()> {
    let base = part.material.base_color;
    let mixed = |c: &[u16; 4]| -> [f32; 4] {
        [0, 1, 2, 3].map(|k| (base[k] * f32::from(c[k]) / 65535.0).clamp(0.0, 1.0))
    };
    let whole = [[u16::MAX; 4]];
    let (colors, interpolation) = if part.mesh.colors.is_empty() {
        (&whole[..], " (\n    interpolation = \"constant\"\n)")
    } else {
        (
            &part.mesh.colors[..],
            " (\n    interpolation = \"vertex\"\n)",
        )
    };
    let name = "color3f[] primvars:displayColor";
    array(out, i, name, colors, interpolation, |b, c| {
        write!(b, "{}", Numbers(&mixed(c)[..3]))
    })?;
    let opaque = part.material.alpha == Alpha::Opaque;
    if opaque || colors.iter().all(|c| mixed(c)[3] >= 1.0) {
        return Ok(());
    }
    let name = "float[] primvars:displayOpacity";
    array(out, i, name, colors, interpolation, |b, c| {
        write!(b, "{}", mixed(c)[3])
    })
}

/// One attribute: a list of items, with what follows it.
fn array<W: Write, T>(
    out: &mut W,
    indent: &str,
    name: &str,
    items: &[T],
    after: &str,
    item: impl Fn(&mut Vec<u8>, &T) -> io::Result<()>,
) -> io::Result<()> {
    write!(out, "{indent}    {name} = [")?;
    for (k, some) in items.chunks(ITEMS_AT_ONCE).enumerate() {
        list(some, k == 0, &item, out)?;
    }
    writeln!(out, "]{}", after.replace('\n', &format!("\n    {indent}")))
}

/// Items with commas between, and before them unless they are the first.
fn list<W: Write, T>(
    items: &[T],
    first: bool,
    item: impl Fn(&mut Vec<u8>, &T) -> io::Result<()>,
    out: &mut W,
) -> io::Result<()> {
    let mut buffer = Vec::new();
    for (k, value) in items.iter().enumerate() {
        if k > 0 || !first {
            buffer.extend_from_slice(b", ");
        }
        item(&mut buffer, value)?;
    }
    out.write_all(&buffer)
}
