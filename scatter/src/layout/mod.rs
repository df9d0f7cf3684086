//! A dressed shot: what a session gives, what deliveries and pictures take.

mod change;
pub(crate) mod document;
mod instance;
mod memory;
mod mix;
mod read;
mod result;
pub mod space;
mod tally;
mod tint;
mod validate;

pub use change::Difference;
pub use instance::Instance;
pub(crate) use instance::single;
pub use memory::RenderMemory;
pub(crate) use memory::{BYTES_PER_INSTANCE, Held};
pub use mix::{ExponentReading, MixReading, SizeClass};
pub use read::{ShotParts, read};
pub use result::{Layout, PassRecord};
pub use tally::{Refused, Shortfall, Tally};
pub use tint::{Tinted, Tints};
pub(crate) use validate::{part_problem, unfit};
