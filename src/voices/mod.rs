//! [`Onset`]s -> [`Hit`]s: which drum or cymbal was struck, and what else struck with it.

pub mod features;

mod network;

mod classes;

use classes::Class;

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
pub fn name(recording: &Recording, onsets: &[Onset], _options: &VoiceOptions) -> Vec<Hit> {
    let rows = features::rows(recording, onsets);
    let odds = classes::odds(&rows);
    let mut hits = Vec::new();
    for (onset, odds) in onsets.iter().zip(&odds) {
        let before = hits.len();
        for class in Class::MAIN {
            if odds.of(class) > 0.5 {
                hits.push(Hit {
                    time: onset.time,
                    voice: plain(class),
                    level: onset.level,
                    mark: None,
                    sure: f64::from(odds.of(class)),
                });
            }
        }
        if hits.len() == before {
            hits.push(Hit {
                time: onset.time,
                voice: Voice::Other,
                level: onset.level,
                mark: None,
                sure: 0.1,
            });
        }
    }
    hits
}

fn plain(class: Class) -> Voice {
    match class {
        Class::Kick => Voice::Kick,
        Class::Snare => Voice::Snare,
        Class::Tom => Voice::TomMid,
        Class::Hat => Voice::HatClosed,
        _ => Voice::Ride,
    }
}
