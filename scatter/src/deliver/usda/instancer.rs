//! A pass as a UsdGeomPointInstancer with its prototypes.

use std::io::{self, Write};

use glam::{DVec3, Quat};

use super::names::{Names, Numbers, quoted};
use super::{ROOT, UsdaScene, mesh};
use crate::deliver::lines;
use crate::kit::Piece;
use crate::layout::Instance;

/// Writes the pass that `group` is of. Its instances are in the order of their pieces.
pub(super) fn write<W: Write + Send>(
    scene: &UsdaScene<'_>,
    group: &[Instance],
    names: &mut Names,
    out: &mut W,
) -> io::Result<()> {
    let layout = scene.contents.layout;
    let pass = &layout.passes[usize::from(group[0].pass)];
    let name = names.take(&pass.name);
    let mut inner = Names::default();
    // Prototype by prototype: its piece, its name, its instances
    let prototypes: Vec<(&Piece, String, &[Instance])> = group
        .chunk_by(|a, b| a.piece == b.piece)
        .map(|of_piece| {
            let piece = &layout.pieces[usize::from(of_piece[0].piece)];
            (piece, inner.take(&piece.name), of_piece)
        })
        .collect();
    writeln!(out, "    def PointInstancer \"{name}\" (")?;
    writeln!(out, "        displayName = {}", quoted(&pass.name))?;
    writeln!(out, "    )\n    {{")?;
    let extent = extent(scene, &prototypes);
    writeln!(
        out,
        "        float3[] extent = [{}, {}]",
        Numbers(&extent[0]),
        Numbers(&extent[1])
    )?;
    attributes(scene, group, &prototypes, out)?;
    write!(out, "        rel prototypes = [")?;
    for (i, (_, prototype, _)) in prototypes.iter().enumerate() {
        let comma = if i > 0 { ", " } else { "" };
        write!(out, "{comma}<{ROOT}/{name}/prototypes/{prototype}>")?;
    }
    writeln!(out, "]\n\n        def Scope \"prototypes\"\n        {{")?;
    for (piece, prototype, _) in &prototypes {
        writeln!(out, "            def Xform \"{prototype}\" (")?;
        writeln!(out, "                displayName = {}", quoted(&piece.name))?;
        writeln!(out, "                kind = \"component\"")?;
        writeln!(out, "            )\n            {{")?;
        mesh::write(scene, &piece.parts, 16, out)?;
        writeln!(out, "            }}\n")?;
    }
    writeln!(out, "        }}\n    }}\n")
}

/// The arrays, one number an instance.
fn attributes<W: Write + Send>(
    scene: &UsdaScene<'_>,
    group: &[Instance],
    prototypes: &[(&Piece, String, &[Instance])],
    out: &mut W,
) -> io::Result<()> {
    let way = scene.way;
    let root = scene.contents.root;
    write!(out, "        int64[] ids = [")?;
    lines::write(group, ", ", |text, i| text.integer(i.id.cast_signed()), out)?;
    // Half has three decimals and a bit; two more than that round to the nearest half all the same
    let coarse = |v: f32| (v * 1e5).round() / 1e5 + 0.0;
    write!(out, "]\n        quath[] orientations = [")?;
    let quaternion = |text: &mut lines::Text<'_>, [x, y, z, w]: [f32; 4]| {
        text.text("(");
        text.all([w, x, y, z], ", ");
        text.text(")");
    };
    lines::write(
        group,
        ", ",
        |text, i| quaternion(text, way.rotation(i.rotation).map(coarse)),
        out,
    )?;
    write!(out, "]\n        quatf[] orientationsf = [")?;
    lines::write(
        group,
        ", ",
        |text, i| quaternion(text, way.rotation(i.rotation)),
        out,
    )?;
    write!(out, "]\n        point3f[] positions = [")?;
    lines::write(
        group,
        ", ",
        |text, i| {
            text.text("(");
            text.all(way.point(i.position - root).as_vec3().to_array(), ", ");
            text.text(")");
        },
        out,
    )?;
    write!(out, "]\n        int[] protoIndices = [")?;
    for (k, (_, _, of_piece)) in prototypes.iter().enumerate() {
        out.write_all(if k > 0 { b", " } else { b"" })?;
        lines::write(of_piece, ", ", |text, _| text.integer(k), out)?;
    }
    write!(out, "]\n        float3[] scales = [")?;
    lines::write(
        group,
        ", ",
        |text, i| {
            text.text("(");
            text.all([i.scale; 3], ", ");
            text.text(")");
        },
        out,
    )?;
    writeln!(out, "]")?;
    tints(scene, group, out)
}

/// The factors on the prototypes' colours, one an instance, if any differs from 1.
fn tints<W: Write + Send>(
    scene: &UsdaScene<'_>,
    group: &[Instance],
    out: &mut W,
) -> io::Result<()> {
    let tone = scene.contents.layout.passes[usize::from(group[0].pass)].tone;
    if tone.is_none() {
        return Ok(());
    }
    write!(out, "        color3f[] primvars:displayColor = [")?;
    lines::write(
        group,
        ", ",
        |text, i| {
            text.text("(");
            text.all(scene.tints.tint(i).unwrap_or([1.0; 3]), ", ");
            text.text(")");
        },
        out,
    )?;
    writeln!(
        out,
        "] (\n            interpolation = \"vertex\"\n        )"
    )
}

/// The bounds of all copies, under the root, in the space: the bounds of each prototype, turned and
/// put in its place.
fn extent(scene: &UsdaScene<'_>, prototypes: &[(&Piece, String, &[Instance])]) -> [[f32; 3]; 2] {
    let way = scene.way;
    let (mut low, mut high) = (DVec3::INFINITY, DVec3::NEG_INFINITY);
    for (piece, _, instances) in prototypes {
        let (mut a, mut b) = (DVec3::INFINITY, DVec3::NEG_INFINITY);
        for p in piece.parts.iter().flat_map(|part| &part.mesh.positions) {
            let p = way.point(p.as_dvec3());
            (a, b) = (a.min(p), b.max(p));
        }
        if a.x > b.x {
            continue;
        }
        let (middle, half) = (0.5 * (a + b), 0.5 * (b - a));
        for instance in *instances {
            let turn = Quat::from_array(way.rotation(instance.rotation)).as_dquat();
            let scale = f64::from(instance.scale);
            let at = way.point(instance.position - scene.contents.root) + turn * (middle * scale);
            let [x, y, z] = [DVec3::X, DVec3::Y, DVec3::Z].map(|axis| (turn * axis).abs());
            let reach = (x * half.x + y * half.y + z * half.z) * scale;
            (low, high) = (low.min(at - reach), high.max(at + reach));
        }
    }
    if low.x > high.x {
        return [[0.0; 3]; 2];
    }
    // To 32 bits outwards
    [
        low.as_vec3().to_array().map(f32::next_down),
        high.as_vec3().to_array().map(f32::next_up),
    ]
}
