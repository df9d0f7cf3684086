//! The `scatter` command.

fn main() {}
