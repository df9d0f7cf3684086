//! Cameras, ground, heroes and light as prims.

use std::io::{self, Write};

use glam::{DAffine3, DMat3, DQuat, DVec3};

use super::names::{Names, Numbers, quoted};
use super::{UsdaScene, mesh};
use crate::deliver::included::DistantLight;
use crate::optics::Camera;
use crate::scene::{Lamp, Prop};

/// The sun's mean angular diameter, degrees (1919 to 1951 arc seconds over the year); the moon's is
/// the same within a tenth.
const DISC_DEG: f64 = 0.53;
/// Intensity of the sun or the moon: a white surface square to it has radiance 1, as renderers'
/// default lights have it.
const KEY: f64 = std::f64::consts::PI;
/// Radius of a lamp's glowing ball, metres: the globe of a small lantern.
const LAMP_RADIUS: f64 = 0.02;
/// OpenUSD's own fallback far limit, for cameras that have none.
const FAR: f64 = 1e6;

/// Writes what the included has.
pub(super) fn write<W: Write>(
    scene: &UsdaScene<'_>,
    names: &mut Names,
    out: &mut W,
) -> io::Result<()> {
    let Some(included) = scene.contents.included else {
        return Ok(());
    };
    if included.cameras {
        for c in &scene.contents.layout.cameras {
            camera(scene, c, &names.take(&c.name), out)?;
        }
    }
    for p in &included.props {
        prop(scene, p, &names.take(&p.name), out)?;
    }
    if let Some(s) = &included.sun {
        sun(scene, s, &names.take(s.name), out)?;
    }
    if let Some(l) = &included.lamp {
        let key = included.sun.map_or(1.0, |s| KEY / s.lux);
        lamp(scene, l, key, &names.take("lamp"), out)?;
    }
    Ok(())
}

/// The transform of a prim that looks along its own -z with +y up, or lies in the space's own
/// frame.
fn transform<W: Write>(matrix: DAffine3, out: &mut W) -> io::Result<()> {
    // Row vectors
    let [x, y, z] = [0, 1, 2].map(|k| matrix.matrix3.col(k).to_array());
    let t = matrix.translation.to_array();
    let row = |v: [f64; 3], w: f64| format!("({}, {}, {}, {w})", v[0], v[1], v[2]);
    writeln!(
        out,
        "        matrix4d xformOp:transform = ( {}, {}, {}, {} )",
        row(x, 0.0),
        row(y, 0.0),
        row(z, 0.0),
        row(t, 1.0)
    )?;
    writeln!(
        out,
        "        uniform token[] xformOpOrder = [\"xformOp:transform\"]"
    )
}

/// World from a camera or a light in the space, under the root. Its own axes are OpenUSD's in every
/// space.
fn looking(scene: &UsdaScene<'_>, position: DVec3, rotation: DQuat) -> DAffine3 {
    let turned = |axis: DVec3| scene.way.turned(rotation * axis);
    DAffine3 {
        matrix3: DMat3::from_cols(turned(DVec3::X), turned(DVec3::Y), turned(DVec3::Z)),
        translation: scene.way.point(position - scene.contents.root),
    }
}

fn camera<W: Write>(
    scene: &UsdaScene<'_>,
    camera: &Camera,
    name: &str,
    out: &mut W,
) -> io::Result<()> {
    let way = scene.way;
    // Lens and sensor are in tenths of the unit, by the schema
    let tenths = |metres: f64| 10.0 * way.length(metres);
    let tall = 2.0 * camera.focal_length * libm::tan(0.5 * camera.yfov);
    let far = if camera.far.is_finite() {
        camera.far
    } else {
        FAR
    };
    writeln!(out, "    def Camera \"{name}\" (")?;
    writeln!(out, "        displayName = {}", quoted(&camera.name))?;
    writeln!(out, "    )\n    {{")?;
    let range = [way.length(camera.near) as f32, way.length(far) as f32];
    writeln!(out, "        float2 clippingRange = {}", Numbers(&range))?;
    writeln!(
        out,
        "        float focalLength = {}",
        tenths(camera.focal_length)
    )?;
    writeln!(
        out,
        "        float focusDistance = {}",
        camera.focus.map_or(0.0, |f| way.length(f))
    )?;
    writeln!(out, "        float fStop = {}", camera.stop.unwrap_or(0.0))?;
    writeln!(
        out,
        "        float horizontalAperture = {}",
        tenths(tall * camera.aspect())
    )?;
    writeln!(out, "        float verticalAperture = {}", tenths(tall))?;
    transform(looking(scene, camera.position, camera.rotation), out)?;
    writeln!(out, "    }}\n")
}

fn prop<W: Write>(
    scene: &UsdaScene<'_>,
    prop: &Prop<'_>,
    name: &str,
    out: &mut W,
) -> io::Result<()> {
    let way = scene.way;
    let world = prop.world_from_prop;
    // Conjugated, as instances are
    let axes = DMat3::from_cols(
        way.turned(DVec3::X),
        way.turned(DVec3::Y),
        way.turned(DVec3::Z),
    );
    writeln!(out, "    def Xform \"{name}\" (")?;
    writeln!(out, "        displayName = {}", quoted(&prop.name))?;
    writeln!(out, "    )\n    {{")?;
    let placed = DAffine3 {
        matrix3: axes * world.matrix3 * axes.transpose(),
        translation: way.point(world.translation - scene.contents.root),
    };
    transform(placed, out)?;
    writeln!(out)?;
    mesh::write(scene, &prop.parts, 8, out)?;
    writeln!(out, "    }}\n")
}

fn sun<W: Write>(
    scene: &UsdaScene<'_>,
    sun: &DistantLight,
    name: &str,
    out: &mut W,
) -> io::Result<()> {
    writeln!(out, "    def DistantLight \"{name}\" (")?;
    writeln!(
        out,
        "        customData = {{ double illuminance_lux = {} }}",
        sun.lux
    )?;
    writeln!(out, "    )\n    {{")?;
    writeln!(out, "        float inputs:angle = {DISC_DEG}")?;
    writeln!(out, "        float inputs:intensity = {KEY}")?;
    writeln!(out, "        bool inputs:normalize = 1")?;
    transform(looking(scene, scene.contents.root, sun.rotation), out)?;
    writeln!(out, "    }}\n")
}

/// `key` is intensity for a lux.
fn lamp<W: Write>(
    scene: &UsdaScene<'_>,
    lamp: &Lamp,
    key: f64,
    name: &str,
    out: &mut W,
) -> io::Result<()> {
    let way = scene.way;
    let unit = way.length(1.0);
    // A ball of radiance L has the luminous intensity L pi r^2. With `normalize` L is the intensity
    // over the surface 4 pi r^2: four times as much has to be written, and lengths count in the
    // space's unit.
    let intensity = 4.0 * lamp.candela * key * unit * unit;
    writeln!(out, "    def SphereLight \"{name}\" (")?;
    writeln!(
        out,
        "        customData = {{ double intensity_candela = {} }}",
        lamp.candela
    )?;
    writeln!(out, "    )\n    {{")?;
    writeln!(
        out,
        "        float inputs:colorTemperature = {}",
        lamp.kelvin
    )?;
    writeln!(out, "        bool inputs:enableColorTemperature = 1")?;
    writeln!(out, "        float inputs:intensity = {intensity}")?;
    writeln!(out, "        bool inputs:normalize = 1")?;
    writeln!(
        out,
        "        float inputs:radius = {}",
        way.length(LAMP_RADIUS)
    )?;
    transform(looking(scene, lamp.position, DQuat::IDENTITY), out)?;
    writeln!(out, "    }}\n")
}
