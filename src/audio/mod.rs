//! File -> [`Recording`]: decode, cut to the wanted part, resample to one internal rate; write sound files.

mod coded;
mod error;
mod kind;
mod mp4;
pub(crate) mod power;
mod read;
mod recording;
mod resample;
mod samples;
mod store;
mod survey;
mod wav;
mod write;

#[cfg(test)]
mod tests;

pub use error::AudioError;
pub use read::{check_file, read, read_bytes};
pub use recording::{Recording, Source};
pub use write::write_wav;

/// The one rate at which everything after this stage works, samples a second.
pub const RATE: u32 = 44_100;
