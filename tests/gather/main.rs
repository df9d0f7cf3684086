//! Where things gather, measured on layouts: shelter, grading, halos, growth at stone edges,
//! contact, clusters, hollows.

#![expect(
    clippy::print_stdout,
    reason = "the figures, for who asks with --nocapture"
)]

mod clusters;
mod edges;
mod lee;
mod plan;
mod relief;
mod windows;
