//! One file a command.

pub(crate) mod at;
pub(crate) mod compare;
pub(crate) mod completions;
pub(crate) mod dress;
mod first;
pub(crate) mod kit;
mod kit_grown;
mod kit_sheet;
pub(crate) mod look;
pub(crate) mod man;
pub(crate) mod new;
mod paths;
pub(crate) mod plan;
pub(crate) mod presets;
mod scene;
pub(crate) mod schema;
mod summary;
pub(crate) mod takes;
mod watch;
