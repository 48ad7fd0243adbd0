//! Overbar turns a drum recording into a study: every hit on a grid, the figure that some limbs repeat across
//! the bar line with proof of its length, and charts to read.
//!
//! The modules stand in the order in which the data flows; a later one may use an earlier one, never the other way.

pub mod units;

pub mod names;

pub mod options;

pub mod audio;

pub mod hits;

pub mod voices;

pub mod grid;

pub mod cycles;

pub mod study;

pub mod charts;

pub mod practice;

pub mod cli;
