//! [`Hit`]s -> the same, each at the time at which its own voice begins.
//!
//! Limbs that strike together do not meet: the strokes of one onset lie up to 30 ms apart, and each has its own place.
//! The finer network ([`Sharp`]) hears when a kick begins, when hats do.

use super::Hit;
use crate::listen::{Sharp, Sound};
use crate::names::{Mark, Voice};
use crate::units::Seconds;

/// How far from its onset a voice may begin: the width of an onset and what it may be off.
const REACH: Seconds = Seconds(0.045);

/// How much later than the sound the network hears it begin, in the median.
const LAG: Seconds = Seconds(0.001);

/// Gives each hit its own time; flams and drags keep theirs. The result is sorted by time.
pub(super) fn each(sharp: &Sharp, hits: &mut [Hit]) {
    for hit in hits.iter_mut() {
        let graced = matches!(hit.mark, Some(Mark::Flam | Mark::Drag));
        if let Some(time) = sharp
            .begins(sound(hit.voice), hit.time + LAG, REACH)
            .filter(|_| !graced)
        {
            hit.time = time - LAG;
        }
    }
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0).then(a.voice.cmp(&b.voice)));
}

/// What the finer network listens for when this voice strikes.
pub(super) fn sound(voice: Voice) -> Sound {
    match voice {
        Voice::Kick | Voice::KickLeft => Sound::Kick,
        Voice::Snare | Voice::Snare2 | Voice::CrossStick => Sound::Snare,
        Voice::TomHigh | Voice::TomMid | Voice::TomLow | Voice::TomFloor | Voice::TomFloor2 => Sound::Tom,
        Voice::HatClosed | Voice::HatOpen | Voice::HatFoot => Sound::Hat,
        Voice::Ride | Voice::RideBell | Voice::Crash | Voice::Crash2 | Voice::Splash | Voice::China => {
            Sound::Cymbal
        }
        Voice::Cowbell | Voice::Other => Sound::Any,
    }
}
