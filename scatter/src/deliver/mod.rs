//! Writing layouts for other programs.
