//! Written music: read from others' files, held against a study.

pub mod compare;
pub mod read;
