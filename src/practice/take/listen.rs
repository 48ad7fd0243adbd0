//! An attempt -> what was struck in it, by the same ears as the study, with the network's own evidence kept so that a
//! stroke which is expected can be looked for where it should be.

use crate::audio::Recording;
use crate::listen::{self, Heard, Sound};
use crate::names::Voice;
use crate::options::Options;
use crate::units::Seconds;
use crate::voices::Hit;
use crate::{hits, voices};

/// What an attempt sounds like.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Attempt {
    /// Its strokes, by time.
    pub hits: Vec<Hit>,
    /// What the network heard; nothing when it has not listened.
    pub(super) heard: Heard,
}

/// Frames on each side of an expected time in which its sound is looked for: 30 ms.
const AROUND: usize = 3;

impl Attempt {
    /// Listens to a recording of an attempt.
    pub fn of(recording: &Recording) -> Attempt {
        let options = Options::default();
        let heard = listen::listen(recording);
        let onsets = hits::find(recording, &heard, &options.hits);
        let hits = voices::name(recording, &heard, &onsets, &options.voices);
        Attempt { hits, heard }
    }

    /// How likely it is that a drum of this kind is struck at `time`, 0 to 1.
    pub(super) fn evidence(&self, voice: Voice, time: Seconds) -> f64 {
        let first = self.heard.time_of(0);
        let frame = (time - first).0 / listen::FRAME.0;
        if !(0.0..1e9).contains(&frame) {
            return 0.0;
        }
        let middle = frame.round() as usize;
        let around = middle.saturating_sub(AROUND)..=middle + AROUND;
        let sounds = sounds(voice);
        around
            .flat_map(|k| {
                sounds
                    .iter()
                    .map(move |sound| f64::from(self.heard.at(k, *sound)))
            })
            .fold(0.0, f64::max)
    }
}

/// The network's sounds of a voice.
fn sounds(voice: Voice) -> &'static [Sound] {
    use Voice::*;
    match voice {
        Kick | KickLeft => &[Sound::Kick],
        Snare | Snare2 => &[Sound::Snare],
        CrossStick => &[Sound::Snare, Sound::CrossStick],
        TomHigh | TomMid | TomLow | TomFloor | TomFloor2 => &[Sound::Tom],
        HatClosed => &[Sound::Hat],
        HatOpen => &[Sound::Hat, Sound::HatOpen],
        HatFoot => &[Sound::Hat, Sound::HatFoot],
        Ride => &[Sound::Cymbal],
        RideBell => &[Sound::Cymbal, Sound::RideBell],
        Crash | Crash2 | Splash | China => &[Sound::Cymbal, Sound::Crash],
        Cowbell | Other => &[Sound::Other],
    }
}
