//! Lengths, angles and amounts as people type them.
