//! Tests of the whole program, one file per subject.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "clippy.toml frees tests from these, but not the helpers beside them"
)]

mod layers;
mod score;
