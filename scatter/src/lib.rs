//! Strew dresses the ground in front of a lens.
//!
//! A layout is a pure function of (layers, take, place in the world); the cameras only decide where
//! it is evaluated. World frame everywhere: right-handed, +y up, metres, radians.
//!
//! A [`Shot`] is a document; [`Shot::brief`] is what it asks for. A [`Brief`] can also be built in
//! code. A [`Session`] dresses briefs, and reuses what it made for one in the next. The result is a
//! [`Layout`]: instances of pieces, which [`deliver`] writes for any engine and [`picture`] shows
//! through a camera of the [`Scene`].
//!
//! ```
//! use scatter::{Amount, Brief, Camera, Cancel, Pass, Place, Session, SizeLaw};
//!
//! # fn main() -> Result<(), scatter::Error> {
//! let pebbles = Pass::new(
//!     ["pebble"],
//!     Place::Packed { roll: 0.6 },
//!     SizeLaw::power(2.0, 0.02, 0.05),
//!     Amount::Cover(0.4),
//! );
//! let lens = Camera::looking("close", [0.0, 0.4, 0.5], [0.0, 0.0, 0.0], 0.05, [960, 540]);
//! let brief = Brief::new("pebbles", lens).pass("pebbles", pebbles);
//!
//! let mut session = Session::open("");
//! let (layout, _) = session.dress(&brief, &|_| (), &Cancel::new())?;
//! assert!(layout.instances.len() > 50);
//!
//! // Again at another take: other places, the same brief
//! let (_, change) = session.dress(&brief.at_take(2), &|_| (), &Cancel::new())?;
//! assert!(!change.pieces.is_empty());
//! # Ok(())
//! # }
//! ```

#![cfg_attr(
    test,
    allow(
        clippy::disallowed_methods,
        reason = "tests may ask the platform's mathematics library"
    )
)]

// What other programs build on
pub mod brief;
pub mod deliver;
pub mod error;
pub mod kit;
pub mod layout;
pub mod optics;
pub mod picture;
pub mod scene;
pub mod session;
pub mod shot;
pub mod size;
pub mod units;

// Internals: public for our own checks and benches only, with no promise of stability
#[doc(hidden)]
pub mod cancel;
#[doc(hidden)]
pub mod carpet;
#[doc(hidden)]
pub mod color;
#[doc(hidden)]
pub mod field;
#[doc(hidden)]
pub mod ground;
#[doc(hidden)]
pub mod hero;
mod input;
#[doc(hidden)]
pub mod noise;
#[doc(hidden)]
pub mod place;
#[doc(hidden)]
pub mod plan;
#[doc(hidden)]
pub mod random;
#[doc(hidden)]
pub mod raster;
mod rays;
#[doc(hidden)]
pub mod rest;
#[doc(hidden)]
pub mod shade;
#[doc(hidden)]
pub mod sun;
#[doc(hidden)]
pub mod view;

pub use brief::{Amount, Brief, Field, Ground, GroundMesh, GroundShape, Hero, Pass, Place};
pub use cancel::Cancel;
pub use deliver::{DeliverOptions, Format};
pub use error::{Error, Result};
pub use kit::{Material, Mesh, Part};
pub use layout::{Instance, Layout};
pub use optics::Camera;
pub use picture::{LookOptions, Subject};
pub use scene::Scene;
pub use session::{Change, Session};
pub use shot::Shot;
pub use size::SizeLaw;
