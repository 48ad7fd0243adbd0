//! Tests of the whole program, one file per subject.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "clippy.toml frees tests from these, but not the helpers beside them"
)]

mod accidents;
mod desk;
mod edits;
mod findings;
mod golden;
mod graces;
mod hard;
mod kit;
mod layers;
mod manners;
mod many;
mod readme;
mod score;
