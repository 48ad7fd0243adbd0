//! File -> [`Recording`]: decode, cut to the wanted part, resample to one internal rate; write sound files.

use crate::units::Seconds;

/// The one rate at which everything after this stage works, samples a second.
pub const RATE: u32 = 44_100;

/// A recording in memory: samples at [`RATE`], one vector a channel, all of the same length, about -1 to 1.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Recording {
    /// The channels as decoded; panning tells drums apart, so they are never mixed here.
    pub channels: Vec<Vec<f32>>,
    /// Where in the file the first sample lies (not 0 after `--from`).
    pub start: Seconds,
    /// What the file says of itself.
    pub source: Source,
}

/// The file a recording came from.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Source {
    /// The file's name without its folder.
    pub file: String,
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub sha256: String,
    /// Length of the whole file.
    pub seconds: Seconds,
    /// The file's own sample rate.
    pub sample_rate: u32,
    /// The file's own number of channels.
    pub channels: u16,
}

impl Recording {
    /// The mean of all channels.
    pub fn mono(&self) -> Vec<f32> {
        let Some((first, rest)) = self.channels.split_first() else {
            return Vec::new();
        };
        let mut sum = first.clone();
        for channel in rest {
            for (a, b) in sum.iter_mut().zip(channel) {
                *a += b;
            }
        }
        let share = 1.0 / self.channels.len() as f32;
        sum.iter_mut().for_each(|x| *x *= share);
        sum
    }

    /// How long the part in memory is.
    pub fn seconds(&self) -> Seconds {
        Seconds::from_sample(self.channels.first().map_or(0, Vec::len), RATE)
    }
}
