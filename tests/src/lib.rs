//! Shared help for the outside checks: where things are, what to run them with, what to run them
//! on.

pub mod bad_input;
pub mod closed;
pub mod dresser;
pub mod glb;
pub mod hard_shots;
pub mod layouts;
pub mod limited;
pub mod meshes;
pub mod mutate;
pub mod pictures;
pub mod plain;
pub mod random_shots;
pub mod readers;
pub mod rules;
pub mod seeds;
pub mod shot_files;
pub mod shots;
pub mod survey;
pub mod tiles;
pub mod tools;
pub mod trials;
pub mod validity;
