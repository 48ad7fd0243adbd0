//! [`Heard`] -> [`Stroke`]s: the moments at which the network hears something begin, and what.

use super::{FRAME, Heard, SOUNDS, Sound};
use crate::units::Seconds;

/// Frames on each side over which a peak is the highest: 20 ms.
const REACH: usize = 2;

/// Frames between two sounds' peaks of one stroke, at most: 20 ms.
const TOGETHER: usize = 2;

/// A moment at which something was heard to begin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    /// When, to some milliseconds; the waveform tells better.
    pub time: Seconds,
    /// How likely it is that each [`Sound`] begins here, 0 to 1. A sound that still rings from an earlier stroke
    /// does not begin and has 0.
    likely: [f32; SOUNDS],
    /// The same, where it only lies near a peak.
    near: [f32; SOUNDS],
}

impl Stroke {
    /// How likely it is that `sound` begins here, 0 to 1.
    pub fn likely(&self, sound: Sound) -> f32 {
        self.likely[sound as usize]
    }

    /// The same for a sound that must be heard here: also where its own curve only passes by.
    pub fn near(&self, sound: Sound) -> f32 {
        self.near[sound as usize]
    }
}

/// Every moment at which [`Sound::Any`] peaks at `least` or more, in order.
pub fn strokes(heard: &Heard, least: f32) -> Vec<Stroke> {
    (0..heard.len())
        .filter(|k| heard.at(*k, Sound::Any) >= least && peaks(heard, *k, Sound::Any))
        .map(|k| stroke(heard, k))
        .collect()
}

fn stroke(heard: &Heard, k: usize) -> Stroke {
    let around = k.saturating_sub(TOGETHER)..=k + TOGETHER;
    let highest = |sound: Sound, peaked: bool| {
        around
            .clone()
            .filter(|j| !peaked || peaks(heard, *j, sound))
            .fold(0.0f32, |most, j| most.max(heard.at(j, sound)))
    };
    let offset = summit([k.wrapping_sub(1), k, k + 1].map(|j| heard.at(j, Sound::Any)));
    Stroke {
        time: heard.time_of(k) + Seconds(f64::from(offset) * FRAME.0),
        likely: Sound::ALL.map(|sound| highest(sound, true)),
        near: Sound::ALL.map(|sound| highest(sound, false)),
    }
}

/// Whether frame `k` is the highest within [`REACH`]; of equal ones the last.
fn peaks(heard: &Heard, k: usize, sound: Sound) -> bool {
    let own = heard.at(k, sound);
    (1..=REACH).all(|d| {
        let before = k.checked_sub(d).map_or(0.0, |j| heard.at(j, sound));
        own >= before && own > heard.at(k + d, sound)
    })
}

/// Where the parabola through three values has its summit, from the middle one: -0.5 to 0.5.
pub(super) fn summit([left, middle, right]: [f32; 3]) -> f32 {
    let bend = left - 2.0 * middle + right;
    if bend < 0.0 {
        (0.5 * (left - right) / bend).clamp(-0.5, 0.5)
    } else {
        0.0
    }
}
