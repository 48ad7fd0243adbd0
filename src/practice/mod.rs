//! Practice: from the chart to the hands.
//!
//! [`stretch`] slows the recording with its attacks sharp, [`sound`] adds count-in and click or lets the kit of [`drums`]
//! play the study; [`drills`] and [`ladder`] make the sheets to work through; [`take`] measures an attempt against the
//! study and [`progress`] what many of them say together.

mod click;

pub mod drills;

pub mod drums;

mod error;

#[cfg(test)]
mod examples;

pub mod ladder;

pub mod loudness;

mod model;

mod passage;

pub mod progress;

pub mod sound;

pub mod stretch;

pub mod take;

pub use error::PracticeError;
pub use model::{Line, Pace, strikes};
pub use passage::{Count, Passage};
