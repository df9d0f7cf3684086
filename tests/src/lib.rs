//! Shared help for the outside checks: where things are, what to run them with.

pub mod bad_input;
