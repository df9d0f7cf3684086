//! One file a command.

pub(crate) mod completions;
pub(crate) mod dress;
pub(crate) mod new;
pub(crate) mod presets;
pub(crate) mod schema;
