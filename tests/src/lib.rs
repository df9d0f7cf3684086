//! Shared help for the outside checks: where things are, what to run them with, what to run them on.

pub mod bad_input;
pub mod closed;
pub mod glb;
pub mod layouts;
pub mod meshes;
pub mod pictures;
pub mod plain;
pub mod rules;
pub mod shots;
pub mod tiles;
pub mod tools;
pub mod validity;
