//! An attempt -> what was struck in it, by the same ears as the study, and its sound, in which strokes that are expected
//! can be looked for where they should be.

use super::spectrum::Spectrum;
use crate::audio::Recording;
use crate::listen::Heard;
use crate::options::Options;
use crate::voices::Hit;
use crate::{hits, listen, voices};

/// What an attempt sounds like.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Attempt {
    /// Its strokes, by time.
    pub hits: Vec<Hit>,
    /// Its sound; nothing when only its strokes are known.
    pub(super) sound: Spectrum,
    /// What the ears heard of every voice, frame by frame: also of strokes that they did not find likely.
    pub(super) heard: Heard,
}

impl Attempt {
    /// Listens to a recording of an attempt.
    pub fn of(recording: &Recording) -> Attempt {
        let options = Options::default();
        let heard = listen::listen(recording);
        let onsets = hits::find(recording, &heard, &options.hits);
        Attempt {
            hits: voices::name(recording, &heard, &onsets, &options.voices),
            sound: Spectrum::of(recording),
            heard,
        }
    }
}
