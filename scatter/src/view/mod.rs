//! What the cameras resolve: which pieces a layout needs, and where in plan they can lie.
//!
//! A piece is needed when some camera sees it at the finest footprint or larger, or sees its
//! shadow. [`View::reason`] decides that for each piece. [`View::regions`] gives convex plan
//! polygons for a range of sizes; no piece outside them can be needed, so nothing else is ever
//! made. A moving camera needs what any of its frames needs.

mod cone;
mod eye;
mod film;
mod polygon;
mod sweep;

pub use eye::{Eye, GroundTile};
pub use film::tracks;
pub use polygon::ConvexPolygon;
pub use sweep::Sweep;

use glam::DVec3;

use crate::brief::Resolve;
use crate::error::{Fault, Result};
use crate::ground::{Floor, Ground};
use crate::optics::{Camera, Track};
use eye::Trouble;

/// Why a piece is in a layout.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// Some camera sees it.
    Seen,
    /// Its shadow falls into some camera's view.
    Shadow,
}

/// The size and place of a piece, as the view needs them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Body {
    /// Middle of its bounding sphere, world, metres.
    pub middle: DVec3,
    /// Radius of its bounding sphere, metres.
    pub radius: f64,
    /// Diameter (b-axis), metres, from which the footprint is computed.
    pub diameter: f64,
}

/// What throws a piece's shadow. Metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crest {
    /// Upper bound of the height of its top, world, metres.
    pub top: f64,
    /// Maximum height over the ground from which its shadow is followed: the height of pieces of
    /// its kind and size as they lie.
    pub tall: f64,
}

/// The sizes of an octave's pieces, as the view needs them. Metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OctaveReach {
    /// Largest diameter.
    pub diameter: f64,
    /// Maximum distance, in plan and in height, from where a piece lies to any point of its
    /// bounding sphere.
    pub round: f64,
    /// Maximum height over the ground at which a piece lies.
    pub lift: f64,
    /// Largest [`Crest::tall`].
    pub tall: f64,
}

/// The shot's cameras with what they resolve, and the sun.
#[derive(Debug, Clone)]
pub struct View {
    sweeps: Vec<Sweep>,
    /// Unit vector towards the sun.
    sun: DVec3,
}

/// Shadows are followed down falling ground to this many times their length on level ground.
const LONGEST_SHADOW: f64 = 2.0;

/// A diameter that is resolved as far as any frame goes, metres.
const ANY_SIZE: f64 = 1e4;

impl View {
    /// The view of cameras that stand, at the footprint that `resolve` asks for, over ground that
    /// is nowhere under `floor`. `sun` is the unit vector towards the sun, above the horizon.
    #[must_use]
    pub fn new(cameras: &[Camera], resolve: Resolve, sun: DVec3, floor: Floor) -> Self {
        let tracks: Vec<Track> = cameras.iter().cloned().map(Track::still).collect();
        Self::of(&tracks, resolve, sun, floor)
    }

    /// The view of cameras over all their frames; the rest as in [`View::new`].
    #[must_use]
    pub fn of(tracks: &[Track], resolve: Resolve, sun: DVec3, floor: Floor) -> Self {
        let sweeps = tracks.iter().map(|t| Sweep::new(t, resolve, floor));
        Self {
            sweeps: sweeps.collect(),
            sun,
        }
    }

    /// Refuses cameras that can't dress this ground: under it, without any of it in view, or with
    /// its horizon in the frame and no far limit. A moving camera may leave the ground out of some
    /// frames, but not of all.
    ///
    /// # Errors
    /// All faults at once, with the camera's place in the shot document.
    pub fn check(&self, ground: &Ground) -> Result<()> {
        let faults: Vec<Fault> = self
            .sweeps
            .iter()
            .enumerate()
            .filter_map(|(i, sweep)| fault(sweep, ground, &format!("cameras[{i}]")))
            .collect();
        if faults.is_empty() {
            return Ok(());
        }
        Err(crate::error::Error {
            kind: crate::error::ErrorKind::Input,
            file: None,
            faults,
            cause: None,
        })
    }

    /// Whether any frame sees a piece; see [`Eye::sees`].
    #[must_use]
    pub fn sees(&self, body: &Body) -> bool {
        self.sweeps.iter().any(|s| s.sees(body))
    }

    /// Why a piece is needed, or None.
    #[must_use]
    pub fn reason(&self, body: &Body, crest: Crest, ground: &Ground) -> Option<Reason> {
        if self.sees(body) {
            return Some(Reason::Seen);
        }
        let reach = self.shadow_reach(body, crest, ground);
        let end = body.middle - self.sun * reach;
        self.sweeps
            .iter()
            .any(|s| s.sees_along(body, end))
            .then_some(Reason::Shadow)
    }

    /// Whether any piece inside a body may be needed on this ground: [`View::reason`] with the
    /// longest shadow that any such piece can cast. `tall` is as in [`Crest`].
    #[must_use]
    pub fn may_need(&self, body: &Body, tall: f64, ground: &Ground) -> bool {
        if self.sees(body) {
            return true;
        }
        let here = ground.height(body.middle.x, body.middle.z);
        let over = (body.middle.y + body.radius - here).clamp(0.0, tall);
        let end = body.middle - self.sun * self.longest_shadow(over, ground);
        self.sweeps.iter().any(|s| s.sees_along(body, end))
    }

    /// Maximum number of pixels spanned by a metre square to the line of sight, at any place of a
    /// piece that some frame of some camera can show; see [`Eye::pixels_per_metre`].
    #[must_use]
    pub fn pixels_per_metre(&self, body: &Body) -> f64 {
        let eyes = self.sweeps.iter().flat_map(Sweep::frames);
        eyes.map(|(_, eye)| eye.pixels_per_metre(body))
            .fold(0.0, f64::max)
    }

    /// The smallest diameter that some frame of some camera resolves at any place of a piece that
    /// it can show, metres.
    #[must_use]
    pub fn finest_footprint(&self, body: &Body) -> f64 {
        let eyes = self.sweeps.iter().flat_map(Sweep::frames);
        eyes.map(|(_, eye)| eye.finest_footprint(body))
            .fold(f64::INFINITY, f64::min)
    }

    /// The smallest diameter of a piece that is resolved by some frame that shows its middle,
    /// metres; infinite if none does.
    #[must_use]
    pub fn finest_shown(&self, body: &Body) -> f64 {
        let sweeps = self.sweeps.iter();
        sweeps
            .map(|s| s.finest_shown(body))
            .fold(f64::INFINITY, f64::min)
    }

    /// Numbers of the first and the last frame in which a moving camera sees a piece; None if none
    /// does. Cameras that stand do not count: they see the same in every frame.
    #[must_use]
    pub fn first_last_seen(&self, body: &Body) -> Option<[i64; 2]> {
        self.sweeps
            .iter()
            .filter(|s| s.moves())
            .filter_map(|s| s.first_last_seen(body))
            .reduce(|a, b| [a[0].min(b[0]), a[1].max(b[1])])
    }

    /// Unit vector towards the sun.
    #[must_use]
    pub fn sun(&self) -> DVec3 {
        self.sun
    }

    /// Whether some frame shows a place.
    #[must_use]
    pub fn shows(&self, place: DVec3) -> bool {
        let body = any_size(place, 0.0);
        self.sweeps.iter().any(|s| s.sees(&body))
    }

    /// Whether some frame shows any point within `radius` metres of a line.
    #[must_use]
    pub fn shows_along(&self, from: DVec3, to: DVec3, radius: f64) -> bool {
        let body = any_size(from, radius);
        self.sweeps.iter().any(|s| s.sees_along(&body, to))
    }

    /// Whether a ball overlaps the angle of view of some frame, however near or far.
    #[must_use]
    pub fn in_frame(&self, middle: DVec3, radius: f64) -> bool {
        let mut eyes = self.sweeps.iter().flat_map(Sweep::frames);
        eyes.any(|(_, eye)| eye.holds(middle, radius))
    }

    /// Convex plan polygons that together hold the ground that any frame shows, and everything it
    /// shows up to twice `radius` above the ground.
    #[must_use]
    pub fn ground_regions(&self, radius: f64, ground: &Ground) -> Vec<ConvexPolygon> {
        let reach = OctaveReach {
            diameter: ANY_SIZE,
            round: 2.0 * radius,
            lift: 0.0,
            tall: 0.0,
        };
        let sweeps = self.sweeps.iter();
        sweeps
            .flat_map(|s| s.regions(reach, ground, DVec3::ZERO))
            .collect()
    }

    /// Distance along the sun's rays from a piece's middle to where the last of its shadow meets
    /// the ground, metres.
    fn shadow_reach(&self, body: &Body, crest: Crest, ground: &Ground) -> f64 {
        let here = ground.height(body.middle.x, body.middle.z);
        // Over a cliff's edge the ground under the middle is not what the piece stands on
        let over = (crest.top - here).clamp(0.0, crest.tall);
        let level = over / self.sun.y;
        // Where it would end on level ground the ground may lie lower: one step of that
        let at = body.middle - self.sun * level;
        let falls = (here - ground.height(at.x, at.z)).max(0.0);
        ((over + falls) / self.sun.y).min(LONGEST_SHADOW * level)
    }

    /// Maximum distance along the sun's rays to which a shadow is followed from this height over
    /// the ground, metres.
    fn longest_shadow(&self, over: f64, ground: &Ground) -> f64 {
        let falls = ground.range().unwrap_or(f64::INFINITY);
        (over + falls).min(LONGEST_SHADOW * over) / self.sun.y
    }

    /// The convex plan polygons that together hold every piece of the given size that
    /// [`View::reason`] can want: one for each camera that resolves any, more for a camera that
    /// moves or for a ground of many heights.
    #[must_use]
    pub fn regions(&self, reach: OctaveReach, ground: &Ground) -> Vec<ConvexPolygon> {
        let shadow = -self.sun * self.longest_shadow(reach.tall, ground);
        self.sweeps
            .iter()
            .flat_map(|s| s.regions(reach, ground, shadow))
            .collect()
    }
}

/// A ball that is resolved wherever it is seen.
fn any_size(middle: DVec3, radius: f64) -> Body {
    Body {
        middle,
        radius,
        diameter: ANY_SIZE,
    }
}

/// What is wrong with a camera on a ground, reported at `place` in the shot document.
fn fault(sweep: &Sweep, ground: &Ground, place: &str) -> Option<Fault> {
    let in_frame = |frame: i64| {
        if sweep.moves() {
            format!("in frame {frame} ")
        } else {
            String::new()
        }
    };
    let mut sky = true;
    for (frame, eye) in sweep.frames() {
        let of = in_frame(frame);
        match eye.trouble(ground) {
            Some(Trouble::Under(rise)) => {
                return Some(Fault::new(
                    format!("{place}.at"),
                    format!(
                        "{of}the camera stands at {:.3} m, under the ground, which rises to {rise:.3} m there",
                        eye.camera().position.y
                    ),
                    format!("lift it above {rise:.3} m"),
                ));
            }
            Some(Trouble::Horizon) => {
                return Some(Fault::new(
                    format!("{place}.far"),
                    format!("{of}the horizon is in the frame and there is no far limit"),
                    "set `far`, such as \"40 m\"",
                ));
            }
            Some(Trouble::Sky) => {}
            None => sky = false,
        }
    }
    sky.then(|| {
        Fault::new(
            format!("{place}.toward"),
            "the camera looks at the sky: no ray of its frame meets the ground",
            "look down at the ground, or widen the angle of view",
        )
    })
}

/// Unit vector towards a sun at an azimuth (clockwise from -z seen from above) and elevation,
/// radians.
#[must_use]
pub fn toward_sun(azimuth: f64, elevation: f64) -> DVec3 {
    let level = libm::cos(elevation);
    DVec3::new(
        level * libm::sin(azimuth),
        libm::sin(elevation),
        -level * libm::cos(azimuth),
    )
}
