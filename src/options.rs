//! Options of every stage and their defaults, declared once for the library and for the command.

use crate::grid::Meter;
use crate::units::{Bpm, Seconds};

/// Which part of the file is studied.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AudioOptions {
    /// Leave out what comes before this time.
    pub from: Option<Seconds>,
    /// Leave out what comes after this time.
    pub to: Option<Seconds>,
}

/// How hits are found.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct HitOptions {
    /// There is a band on the recording.
    pub mix: bool,
}

/// How voices are named.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct VoiceOptions {}

/// What the player already knows about the grid; everything that is `None` is found.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct GridOptions {
    /// Tempo, about.
    pub tempo: Option<Bpm>,
    /// Beats in a bar and the note that counts as one.
    pub meter: Option<Meter>,
    /// Steps in a beat.
    pub steps_per_beat: Option<u32>,
    /// The time of some bar's first beat.
    pub downbeat: Option<Seconds>,
}

/// How the repeating figure is searched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CycleOptions {
    /// Bars of a phrase, against which a figure's way home is told.
    pub phrase_bars: u32,
}

impl Default for CycleOptions {
    fn default() -> Self {
        // Eight bars are a usual phrase [C].
        CycleOptions { phrase_bars: 8 }
    }
}

/// How the recording is listened to before anything else.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Ear {
    /// By the trained network, beside the flux of the spectrum.
    #[default]
    Trained,
    /// By the flux of the spectrum alone: faster, less sure.
    Fast,
}

/// All options of a study. `Options::default()` is what the command does when no flag is given.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Options {
    /// Which part of the file.
    pub audio: AudioOptions,
    /// Listening.
    pub ear: Ear,
    /// Hits.
    pub hits: HitOptions,
    /// Voices.
    pub voices: VoiceOptions,
    /// Grid hints.
    pub grid: GridOptions,
    /// Cycles.
    pub cycles: CycleOptions,
}
