//! [`Recording`] -> [`Onset`]s: when something was struck, to the millisecond, how loud, and how sure.

use crate::audio::Recording;
use crate::options::HitOptions;
use crate::units::{Decibels, Seconds};

/// A moment at which one or more drums or cymbals were struck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Onset {
    /// Where the sound begins to rise, from the start of the recording's file.
    pub time: Seconds,
    /// Level under the loudest onset of the recording: 0 or less.
    pub level: Decibels,
    /// How sure it is that something was struck here, 0 to 1.
    pub sure: f64,
}

/// Finds every onset of the recording, sorted by time.
pub fn find(_recording: &Recording, _options: &HitOptions) -> Vec<Onset> {
    Vec::new()
}
