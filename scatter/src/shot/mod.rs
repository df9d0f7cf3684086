//! The shot document: parse, check, schema. Knows no algorithm.
