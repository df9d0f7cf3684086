//! Cameras of a glTF file: their lenses, where they stand, and how an animation moves them.
//!
//! Source: Khronos Group, "glTF 2.0 Specification", 2021, sections "Cameras" and "Animations",
//! appendix C for the interpolations. Numbers of the JSON are read in double precision; those of an
//! animation's accessors are single.

use std::path::Path;

use glam::{DMat4, DQuat, DVec3, DVec4};
use gltf::json::Root;
use gltf::json::accessor::Type;
use gltf::json::animation::{Interpolation, Property, Sampler};
use gltf::json::validation::Checked;
use serde::Deserialize;

use super::accessor::Elements;
use super::animation::Animation;
use super::buffer::{self, Buffers};
use super::nodes::{self, Transform};
use super::{container, known, lookup, shorten};
use crate::error::{Error, Result};
use crate::optics::slerp;

/// A perspective camera as a file has it.
#[derive(Debug, Clone)]
pub struct FileCamera {
    /// The node's name, or the camera's.
    pub name: String,
    /// Vertical angle of view, radians, in (0, pi).
    pub yfov: f64,
    /// Width over height of the picture, where the file says.
    pub aspect: Option<f64>,
    /// Nearest depth, metres, above zero.
    pub near: f64,
    /// Farthest depth, metres; None without a limit.
    pub far: Option<f64>,
    /// Seconds of the first and the last key of the animation; None for a camera that stands.
    pub span: Option<[f64; 2]>,
    /// What the file says of the camera that is left out.
    pub warnings: Vec<String>,
    /// The node and those that carry it, outermost first.
    chain: Vec<Joint>,
}

/// One node's transform to its parent, and what moves it.
#[derive(Debug, Clone)]
struct Joint {
    matrix: Option<DMat4>,
    translation: DVec3,
    rotation: DQuat,
    scale: DVec3,
    moves: Vec<Move>,
}

/// A property of a node over time.
#[derive(Debug, Clone)]
struct Move {
    property: Property,
    interpolation: Interpolation,
    times: Vec<f64>,
    /// One value a key, or three with cubics: tangent in, value, tangent out.
    values: Vec<DVec4>,
}

/// The document's numbers in double precision, where cameras need them.
#[derive(Debug, Deserialize)]
struct Exact {
    #[serde(default)]
    nodes: Vec<ExactNode>,
    #[serde(default)]
    cameras: Vec<ExactCamera>,
}

#[derive(Debug, Deserialize)]
struct ExactNode {
    matrix: Option<[f64; 16]>,
    translation: Option<[f64; 3]>,
    rotation: Option<[f64; 4]>,
    scale: Option<[f64; 3]>,
}

#[derive(Debug, Deserialize)]
struct ExactCamera {
    perspective: Option<Perspective>,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "camelCase")]
struct Perspective {
    yfov: f64,
    aspect_ratio: Option<f64>,
    znear: f64,
    zfar: Option<f64>,
}

/// Reads the camera called `name` from a file, or its only camera. If several animations move it,
/// the one called `animation` counts.
///
/// # Errors
/// The file can't be read, holds no such camera, more than one that could be meant, or a broken
/// one.
pub fn read_camera(path: &Path, name: Option<&str>, animation: Option<&str>) -> Result<FileCamera> {
    let bytes = buffer::read_model(path).map_err(|e| e.in_file(path))?;
    let folder = path.parent().unwrap_or(Path::new(""));
    from_bytes(&bytes, folder, name, animation).map_err(|e| e.in_file(path))
}

fn from_bytes(
    bytes: &[u8],
    folder: &Path,
    name: Option<&str>,
    animation: Option<&str>,
) -> Result<FileCamera> {
    let file = container::open(bytes)?;
    // Extensions say how meshes are stored and shown; a camera is the same with or without them
    let (root, animations) = container::parse_whole(&file.json)?;
    let animations = animations.animations;
    let exact: Exact = container::parse_part(&file.json)?;
    let parents = nodes::parents(&root)?;
    let (node, called) = find(&root, name)?;
    let index = root.nodes[node].camera.map_or(0, |c| c.value());
    let lens = lens(&exact, index)?;
    let mut chain_nodes = vec![node];
    while let Some(parent) = parents[chain_nodes[chain_nodes.len() - 1]] {
        chain_nodes.push(parent);
    }
    chain_nodes.reverse();
    let buffers = Buffers::new(&root, file.binary, folder);
    let joints = chain_nodes.iter().map(|n| joint(&exact.nodes[*n], *n));
    let mut chain: Vec<Joint> = joints.collect::<Result<_>>()?;
    let span = match moving(&animations, &chain_nodes, animation)? {
        Some(clip) => {
            let clip = (clip, &animations[clip]);
            animate((&root, &buffers), clip, &chain_nodes, &mut chain)?
        }
        None => None,
    };
    let camera = FileCamera {
        name: called,
        yfov: lens.yfov,
        aspect: lens.aspect_ratio,
        near: lens.znear,
        far: lens.zfar,
        span,
        warnings: told_of_pointers(&animations, &chain_nodes, index),
        chain,
    };
    let (position, rotation) = camera.pose(span.map_or(0.0, |s| s[0]));
    if !position.is_finite() || !rotation.is_finite() {
        return Err(Error::input(
            format!("nodes[{node}]"),
            "the camera's place is not finite",
            "use translations and scales of a size that numbers can hold",
        ));
    }
    Ok(camera)
}

/// The node that shows the camera called `name`, and what it is called.
fn find(root: &Root, name: Option<&str>) -> Result<(usize, String)> {
    let mut found = Vec::new();
    for (i, node) in root.nodes.iter().enumerate() {
        let Some(camera) = node.camera else { continue };
        let place = || format!("nodes[{i}].camera");
        let camera = lookup(&root.cameras, camera.value(), "cameras", place)?;
        let names = [node.name.as_deref(), camera.name.as_deref()];
        found.push((i, names));
    }
    if found.is_empty() {
        return Err(Error::input(
            "cameras",
            "no node of the file shows a camera",
            "export the scene with its cameras",
        ));
    }
    let say = |names: &[Option<&str>; 2]| {
        let name = names[0].or(names[1]);
        shorten(name.unwrap_or("(without a name)"))
    };
    let all: Vec<String> = found.iter().map(|(_, names)| say(names)).collect();
    let hint = format!("its cameras are: {}", shorten(&all.join(", ")));
    // A node's name goes before a camera's: copies share the camera
    let fits = |which: usize| {
        let same = found.iter().filter(move |(_, n)| n[which] == name);
        same.map(|(i, names)| (*i, say(names))).collect::<Vec<_>>()
    };
    let fitting = match name {
        None => found.iter().map(|(i, names)| (*i, say(names))).collect(),
        Some(_) if fits(0).is_empty() => fits(1),
        Some(_) => fits(0),
    };
    match (&fitting[..], name) {
        ([one], _) => Ok(one.clone()),
        ([], _) => Err(Error::input(
            "cameras",
            format!("there is no camera {:?}", shorten(name.unwrap_or(""))),
            hint,
        )),
        (_, Some(name)) => Err(Error::input(
            "cameras",
            format!("{} cameras are called {:?}", fitting.len(), shorten(name)),
            "give each camera's node its own name",
        )),
        (_, None) => Err(Error::input(
            "cameras",
            format!("there are {} cameras", fitting.len()),
            format!("name one with `camera`; {hint}"),
        )),
    }
}

fn lens(exact: &Exact, index: usize) -> Result<Perspective> {
    let place = format!("cameras[{index}]");
    let Some(lens) = exact.cameras.get(index).and_then(|c| c.perspective) else {
        return Err(Error::input(
            place,
            "the camera has no perspective",
            "parallel projection has no lens; use a perspective camera",
        ));
    };
    let sound = lens.yfov > 0.0
        && lens.yfov < std::f64::consts::PI
        && lens.znear > 0.0
        && lens.znear.is_finite()
        && lens.zfar.is_none_or(|f| f > lens.znear)
        && lens.aspect_ratio.is_none_or(|a| a > 0.0 && a.is_finite());
    if !sound {
        return Err(Error::input(
            format!("{place}.perspective"),
            format!("{lens:?}"),
            "yfov is in radians, above 0 and below pi; znear above 0; zfar beyond znear",
        ));
    }
    Ok(lens)
}

/// A node of a number as it stands.
fn joint(node: &ExactNode, number: usize) -> Result<Joint> {
    let transform = Transform {
        matrix: node.matrix,
        translation: node.translation,
        rotation: node.rotation,
        scale: node.scale,
    };
    transform.sound(number)?;
    let q = DQuat::from_array(node.rotation.unwrap_or([0.0, 0.0, 0.0, 1.0]));
    Ok(Joint {
        matrix: node.matrix.map(nodes::affine),
        translation: DVec3::from_array(node.translation.unwrap_or_default()),
        rotation: unit(q),
        scale: DVec3::from_array(node.scale.unwrap_or([1.0; 3])),
        moves: Vec::new(),
    })
}

/// What is said of animations that move the camera of a number, or nodes of its chain, by pointers.
fn told_of_pointers(animations: &[Animation], chain: &[usize], camera: usize) -> Vec<String> {
    let about = |pointer: &str| {
        let under = |list: &str, i: usize| pointer.starts_with(&format!("/{list}/{i}/"));
        under("cameras", camera) || chain.iter().any(|n| under("nodes", *n))
    };
    let mut told = Vec::new();
    for (i, animation) in animations.iter().enumerate() {
        let pointers = animation.channels.iter().filter_map(|c| c.target.pointer());
        let mut pointers = pointers.filter(|p| about(p));
        if let Some(first) = pointers.next() {
            told.push(format!(
                "animations[{i}]: it moves {} by KHR_animation_pointer, which is not read; the camera stays as it is there, or as channels with a node move it",
                shorten(first)
            ));
        }
    }
    told
}

/// The quaternion at unit length; the identity if it has no length.
fn unit(q: DQuat) -> DQuat {
    if q.length_squared() > 0.0 {
        q.normalize()
    } else {
        DQuat::IDENTITY
    }
}

/// The animation that moves any of the nodes.
fn moving(animations: &[Animation], chain: &[usize], name: Option<&str>) -> Result<Option<usize>> {
    let moves = |i: &usize| {
        let channels = &animations[*i].channels;
        channels.iter().any(|c| {
            c.target.node.is_some_and(|n| chain.contains(&n))
                && !matches!(c.target.path, Checked::Valid(Property::MorphTargetWeights))
        })
    };
    let all: Vec<usize> = (0..animations.len()).filter(moves).collect();
    let called = |i: &usize| animations[*i].name.as_deref().unwrap_or("(without a name)");
    let names: Vec<String> = all.iter().map(|i| shorten(called(i))).collect();
    let listed = shorten(&names.join(", "));
    match (name, &all[..]) {
        (None, []) => Ok(None),
        (None, [one]) => Ok(Some(*one)),
        (None, _) => Err(Error::input(
            "animations",
            format!("{} animations move the camera", all.len()),
            format!("name one with `animation`: {listed}"),
        )),
        (Some(name), _) => match all.iter().find(|i| called(i) == name) {
            Some(i) => Ok(Some(*i)),
            None => Err(Error::input(
                "animations",
                format!("no animation {:?} moves the camera", shorten(name)),
                if all.is_empty() {
                    "nothing moves it; leave `animation` out".to_owned()
                } else {
                    format!("these do: {listed}")
                },
            )),
        },
    }
}

/// Reads an animation's channels into the joints that they move; the seconds of the first and the
/// last key.
fn animate(
    (root, buffers): (&Root, &Buffers<'_>),
    (clip, animation): (usize, &Animation),
    chain_nodes: &[usize],
    chain: &mut [Joint],
) -> Result<Option<[f64; 2]>> {
    let mut span: Option<[f64; 2]> = None;
    for (c, channel) in animation.channels.iter().enumerate() {
        // What moves no node is for readers of an extension
        let of_chain = |node| chain_nodes.iter().position(|n| *n == node);
        let Some(at) = channel.target.node.and_then(of_chain) else {
            continue;
        };
        let place = format!("animations[{clip}].channels[{c}]");
        let path = || format!("{place}.target.path");
        let property = known(channel.target.path, path, "translation, rotation, scale")?;
        let kind = match property {
            Property::Translation | Property::Scale => Type::Vec3,
            Property::Rotation => Type::Vec4,
            Property::MorphTargetWeights => continue,
        };
        let sampler = lookup(&animation.samplers, channel.sampler, "samplers", || {
            format!("{place}.sampler")
        })?;
        let place = format!("animations[{clip}].samplers[{}]", channel.sampler);
        let moved = keys(root, buffers, sampler, (property, kind), &place)?;
        let own = [moved.times[0], moved.times[moved.times.len() - 1]];
        span = Some(span.map_or(own, |s| [s[0].min(own[0]), s[1].max(own[1])]));
        chain[at].moves.push(moved);
    }
    Ok(span)
}

/// Reads the keys of a sampler, which `place` names, for a property with values of a type.
fn keys(
    root: &Root,
    buffers: &Buffers<'_>,
    sampler: &Sampler,
    (property, kind): (Property, Type),
    place: &str,
) -> Result<Move> {
    let interpolation = known(
        sampler.interpolation,
        || format!("{place}.interpolation"),
        "LINEAR, STEP or CUBICSPLINE",
    )?;
    let input = format!("{place}.input");
    let times: Vec<f64> = Elements::new(root, buffers, sampler.input.value(), &input)?
        .vectors::<1>(Type::Scalar, &input)?
        .into_iter()
        .map(|[t]| f64::from(t))
        .collect();
    let output = format!("{place}.output");
    let elements = Elements::new(root, buffers, sampler.output.value(), &output)?;
    let values: Vec<DVec4> = if kind == Type::Vec3 {
        let vectors = elements.vectors::<3>(kind, &output)?;
        vectors
            .into_iter()
            .map(|v| DVec3::from_array(v.map(f64::from)).extend(0.0))
            .collect()
    } else {
        let vectors = elements.vectors::<4>(kind, &output)?;
        vectors
            .into_iter()
            .map(|v| DVec4::from_array(v.map(f64::from)))
            .collect()
    };
    let a_key = if interpolation == Interpolation::CubicSpline {
        3
    } else {
        1
    };
    if times.is_empty() || values.len() != a_key * times.len() {
        return Err(Error::input(
            output,
            format!("{} values for {} keys", values.len(), times.len()),
            format!("at least one key, and {a_key} values for each"),
        ));
    }
    if property == Property::Rotation {
        // With cubics the middle one of three is the value
        for q in values.iter().skip(a_key / 2).step_by(a_key) {
            nodes::sound_rotation(q.to_array(), || output.clone())?;
        }
    }
    if times.windows(2).any(|t| t[0] >= t[1]) {
        return Err(Error::input(
            input,
            "the keys' times do not rise",
            "times in seconds, each after the one before",
        ));
    }
    Ok(Move {
        property,
        interpolation,
        times,
        values,
    })
}

impl Move {
    /// The value at a time: that of the first key before it, that of the last key after it.
    fn at(&self, time: f64) -> DVec4 {
        let cubic = self.interpolation == Interpolation::CubicSpline;
        let value = |k: usize| self.values[if cubic { 3 * k + 1 } else { k }];
        let last = self.times.len() - 1;
        if time <= self.times[0] {
            return value(0);
        }
        if time >= self.times[last] {
            return value(last);
        }
        let next = self.times.partition_point(|t| *t <= time).min(last);
        let k = next - 1;
        let step = self.times[next] - self.times[k];
        let t = (time - self.times[k]) / step;
        match self.interpolation {
            Interpolation::Step => value(k),
            Interpolation::Linear if self.property == Property::Rotation => {
                let [a, b] = [value(k), value(next)].map(|v| unit(DQuat::from_vec4(v)));
                DVec4::from(slerp(a, b, t))
            }
            Interpolation::Linear => value(k) + (value(next) - value(k)) * t,
            Interpolation::CubicSpline => {
                let (t2, t3) = (t * t, t * t * t);
                value(k) * (2.0 * t3 - 3.0 * t2 + 1.0)
                    + self.values[3 * k + 2] * (step * (t3 - 2.0 * t2 + t))
                    + value(next) * (3.0 * t2 - 2.0 * t3)
                    + self.values[3 * next] * (step * (t3 - t2))
            }
        }
    }
}

impl FileCamera {
    /// Position, metres, and turn from the camera to the world at a time in seconds. The scales of
    /// its nodes do not count.
    #[must_use]
    pub fn pose(&self, time: f64) -> (DVec3, DQuat) {
        let mut world = DMat4::IDENTITY;
        for joint in &self.chain {
            let (mut translation, mut rotation, mut scale) =
                (joint.translation, joint.rotation, joint.scale);
            for m in &joint.moves {
                let value = m.at(time);
                match m.property {
                    Property::Translation => translation = value.truncate(),
                    Property::Rotation => rotation = unit(DQuat::from_vec4(value)),
                    Property::Scale => scale = value.truncate(),
                    Property::MorphTargetWeights => {}
                }
            }
            world *= match joint.matrix {
                Some(m) if joint.moves.is_empty() => m,
                _ => DMat4::from_scale_rotation_translation(scale, rotation, translation),
            };
        }
        let back = world.z_axis.truncate().normalize_or(DVec3::Z);
        let right = world.x_axis.truncate();
        let right = (right - back * right.dot(back)).normalize_or(back.any_orthonormal_vector());
        let up = back.cross(right);
        let rotation = DQuat::from_mat3(&glam::DMat3::from_cols(right, up, back)).normalize();
        (world.w_axis.truncate(), rotation)
    }
}
