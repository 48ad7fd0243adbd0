//! Written music: the study as a score and the files made of it; others' scores read, and held against a study.

pub mod compare;
pub mod kit;
pub(crate) mod letters;
pub mod midi;
pub mod musicxml;
pub mod pdf;
pub mod read;
pub mod score;
pub mod staff;
