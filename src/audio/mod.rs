//! File -> [`Recording`]: decode, cut to the wanted part, resample to one internal rate; write sound files.

mod recording;

pub use recording::{Recording, Source};

/// The one rate at which everything after this stage works, samples a second.
pub const RATE: u32 = 44_100;
