//! From Strew's own frame (right-handed, +y up, metres) to another unit, up axis and hand.
//!
//! In every space +x is to the right and up is the axis asked for; the third axis follows from the
//! hand:
//!
//! | up | hand | (x, y, z) becomes | forward |
//! | --- | --- | --- | --- |
//! | +y | right | (x, y, z) | -z |
//! | +z | right | (x, -z, y) | +y |
//! | +y | left | (x, y, -z) | +z |
//! | +z | left | (x, z, y) | -y |
//!
//! With C this change of axes and u the units a metre, a place p becomes u C p, and so does every
//! vertex of a mesh. An instance's transform M becomes (u C) M (u C)^-1: its rotation C R C^-1, its
//! scale as it was. A left-handed space changes the frame of the meshes and of the transforms
//! alike, so shapes stay what they are: no instance is mirrored, only the axes that all of it is
//! written in.

use glam::{DVec3, Vec3};

use crate::brief::{Hand, Space, Unit, Up};

/// Metres in an inch, by definition (the international yard and pound agreement of 1959).
const INCH: f64 = 0.0254;

/// The way from Strew's frame to a space and back. Axes are only swapped and turned round, so
/// rotations convert exactly; lengths are off by one rounding at most.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conversion {
    space: Space,
    /// For each axis of the space: the axis of Strew's frame that it is, and its sign.
    axes: [(usize, f64); 3],
}

impl Conversion {
    /// The way to `space`.
    #[must_use]
    pub fn new(space: Space) -> Self {
        let [x, y, z] = [0, 1, 2].map(|axis| (axis, 1.0));
        let back = (2, -1.0);
        let axes = match (space.up, space.hand) {
            (Up::PlusY, Hand::Right) => [x, y, z],
            (Up::PlusZ, Hand::Right) => [x, back, y],
            (Up::PlusY, Hand::Left) => [x, y, back],
            (Up::PlusZ, Hand::Left) => [x, z, y],
        };
        Self { space, axes }
    }

    /// A length in the space's unit, from metres.
    #[must_use]
    pub fn length(&self, metres: f64) -> f64 {
        match self.space.unit {
            Unit::Metre => metres,
            Unit::Centimetre => metres * 1e2,
            Unit::Millimetre => metres * 1e3,
            Unit::Inch => metres / INCH,
        }
    }

    /// A length in metres, from the space's unit.
    #[must_use]
    pub fn metres(&self, length: f64) -> f64 {
        match self.space.unit {
            Unit::Metre => length,
            Unit::Centimetre => length / 1e2,
            Unit::Millimetre => length / 1e3,
            Unit::Inch => length * INCH,
        }
    }

    /// Decimals that a multiple of a nanometre has in the space's unit; none where it has no end.
    #[must_use]
    pub(crate) fn decimals(&self) -> Option<usize> {
        match self.space.unit {
            Unit::Metre => Some(9),
            Unit::Centimetre => Some(7),
            Unit::Millimetre => Some(6),
            Unit::Inch => None,
        }
    }

    /// Metres in the space's unit.
    #[must_use]
    pub fn metres_per_unit(&self) -> f64 {
        match self.space.unit {
            Unit::Metre => 1.0,
            Unit::Centimetre => 0.01,
            Unit::Millimetre => 0.001,
            Unit::Inch => INCH,
        }
    }

    /// A vector along the space's axes, its length as it was.
    #[must_use]
    pub fn turned(&self, v: DVec3) -> DVec3 {
        // Adding zero makes a zero that was turned round positive again
        DVec3::from_array(self.axes.map(|(axis, sign)| v[axis] * sign + 0.0))
    }

    /// A direction of a mesh.
    #[must_use]
    pub(crate) fn direction(&self, v: Vec3) -> Vec3 {
        self.turned(v.as_dvec3()).as_vec3()
    }

    /// A place in the space, from one in Strew's frame in metres.
    #[must_use]
    pub fn point(&self, p: DVec3) -> DVec3 {
        self.turned(p).to_array().map(|v| self.length(v)).into()
    }

    /// A place in Strew's frame in metres, from one in the space.
    #[must_use]
    pub fn point_back(&self, p: DVec3) -> DVec3 {
        let mut back = DVec3::ZERO;
        for (k, (axis, sign)) in self.axes.into_iter().enumerate() {
            back[axis] = self.metres(p[k]) * sign + 0.0;
        }
        back
    }

    /// Extents of bounds in the space's unit, along its axes.
    #[must_use]
    pub fn extents(&self, size: Vec3) -> [f32; 3] {
        self.axes
            .map(|(axis, _)| self.length(f64::from(size[axis])) as f32)
    }

    /// Extents in metres along Strew's axes, from those in the space.
    #[must_use]
    pub fn extents_back(&self, size: [f32; 3]) -> Vec3 {
        let mut back = Vec3::ZERO;
        for (length, (axis, _)) in size.into_iter().zip(self.axes) {
            back[axis] = self.metres(f64::from(length)) as f32;
        }
        back
    }

    /// The rotation C R C^-1 of a unit quaternion x, y, z, w.
    #[must_use]
    pub fn rotation<T>(&self, [x, y, z, w]: [T; 4]) -> [T; 4]
    where
        T: Copy + std::ops::Neg<Output = T> + std::ops::Add<Output = T> + Default,
    {
        // The axis is a vector that mirroring also turns round
        let [a, b, c] = self.axes.map(|(axis, sign)| {
            let v = [x, y, z][axis];
            (if sign * self.mirror() < 0.0 { -v } else { v }) + T::default()
        });
        [a, b, c, w]
    }

    /// Determinant of the change of axes.
    fn mirror(&self) -> f64 {
        match self.space.hand {
            Hand::Right => 1.0,
            Hand::Left => -1.0,
        }
    }

    /// The rotation in Strew's frame of one in the space.
    #[must_use]
    pub fn rotation_back(&self, [x, y, z, w]: [f32; 4]) -> [f32; 4] {
        let mut back = [0.0; 4];
        for (v, (axis, sign)) in [x, y, z].into_iter().zip(self.axes) {
            back[axis] = v * (sign * self.mirror()) as f32 + 0.0;
        }
        back[3] = w;
        back
    }

    /// The space.
    #[must_use]
    pub fn space(&self) -> Space {
        self.space
    }

    /// The unit's symbol.
    #[must_use]
    pub fn unit(&self) -> &'static str {
        match self.space.unit {
            Unit::Metre => "m",
            Unit::Centimetre => "cm",
            Unit::Millimetre => "mm",
            Unit::Inch => "in",
        }
    }

    /// The axis that points up.
    #[must_use]
    pub fn up(&self) -> &'static str {
        match self.space.up {
            Up::PlusY => "+y",
            Up::PlusZ => "+z",
        }
    }

    /// The axis that Strew's forward (-z) becomes.
    #[must_use]
    pub fn forward(&self) -> &'static str {
        match (self.space.up, self.space.hand) {
            (Up::PlusY, Hand::Right) => "-z",
            (Up::PlusZ, Hand::Right) => "+y",
            (Up::PlusY, Hand::Left) => "+z",
            (Up::PlusZ, Hand::Left) => "-y",
        }
    }

    /// The hand.
    #[must_use]
    pub fn hand(&self) -> &'static str {
        match self.space.hand {
            Hand::Right => "right",
            Hand::Left => "left",
        }
    }
}

#[cfg(test)]
pub(super) fn all_spaces() -> Vec<Space> {
    let mut all = Vec::new();
    for unit in [Unit::Metre, Unit::Centimetre, Unit::Millimetre, Unit::Inch] {
        for up in [Up::PlusY, Up::PlusZ] {
            for hand in [Hand::Right, Hand::Left] {
                all.push(Space { unit, up, hand });
            }
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use glam::{DMat3, DQuat};

    #[test]
    fn the_axes_have_the_hand_and_the_up_that_were_asked_for() {
        for space in all_spaces() {
            let way = Conversion::new(space);
            let axes = DMat3::from_cols(
                way.turned(DVec3::X),
                way.turned(DVec3::Y),
                way.turned(DVec3::Z),
            );
            let hand = if space.hand == Hand::Left { -1.0 } else { 1.0 };
            assert_eq!(axes.determinant(), hand, "{space:?}");
            assert_eq!(way.turned(DVec3::X), DVec3::X, "+x is to the right");
            let axis = |name: &str| match name {
                "+y" => DVec3::Y,
                "+z" => DVec3::Z,
                "-y" => DVec3::NEG_Y,
                "-z" => DVec3::NEG_Z,
                other => panic!("{other}"),
            };
            assert_eq!(way.turned(DVec3::Y), axis(way.up()));
            assert_eq!(way.turned(DVec3::NEG_Z), axis(way.forward()));
        }
    }

    #[test]
    fn an_instance_in_the_space_is_the_conjugate_and_mirrors_nothing() {
        let turn = DQuat::from_axis_angle(DVec3::new(1.0, 2.0, -3.0).normalize(), 1.1);
        let vertex = DVec3::new(0.3, 0.1, -0.7);
        let position = DVec3::new(12.5, 0.25, -90.0);
        for space in all_spaces() {
            let way = Conversion::new(space);
            let rotation = DQuat::from_array(way.rotation(turn.to_array()));
            let matrix = DMat3::from_quat(rotation);
            assert!((matrix.determinant() - 1.0).abs() < 1e-12, "mirrored");
            // Convert the vertex, then place it: the same as placing it and converting the place
            let placed = way.point(position) + rotation * (way.point(vertex) * 2.0);
            let expected = way.point(position + turn * (vertex * 2.0));
            let error = (placed - expected).length() / expected.length();
            assert!(error < 1e-14, "{space:?}: {error:e}");
        }
    }

    #[test]
    fn the_way_back_is_the_way_back() {
        let turn = [0.1_f32, -0.7, 0.7, 0.05];
        let p = DVec3::new(0.123_456_789, -4.5, 77.7);
        for space in all_spaces() {
            let way = Conversion::new(space);
            assert_eq!(way.rotation_back(way.rotation(turn)), turn);
            assert!((way.point_back(way.point(p)) - p).length() < 1e-13 * p.length());
            assert!((way.metres(way.length(3.7)) - 3.7).abs() < 1e-15 * 4.0);
            assert!((way.length(way.metres_per_unit()) - 1.0).abs() < 1e-15);
        }
    }
}
