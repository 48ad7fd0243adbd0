//! [`Recording`] -> [`Heard`]: a frame-wise network listens for kick, snare, toms, hats and cymbals at once.
//!
//! Comes in: a recording. Goes out: for every 10 ms, how likely each of [`Sound`] begins there, 0 to 1.
//!
//! The network sees log magnitudes of 96 bands: separable convolutions over time and frequency, then dilated
//! convolutions over time (0.7 s each way). How it was trained and what it can do is on its card, `weights.md`.

mod features;
mod network;

mod line;

mod product;

mod percussion;

mod sharp;

mod strokes;

use rayon::prelude::*;

use crate::audio::{RATE, Recording};
use crate::units::Seconds;

pub use sharp::Sharp;

pub use strokes::{Stroke, strokes};

/// Samples between two frames: 10 ms.
pub const HOP: usize = RATE as usize / 100;

/// The time from one frame to the next.
pub const FRAME: Seconds = Seconds(HOP as f64 / RATE as f64);

/// Frames worked on at once; a chunk also sees `network::CONTEXT` frames on both sides.
const CHUNK: usize = 1000;

/// What the network listens for. `Hat`, `Cymbal` and `Snare` hold their kinds: an open hat is a hat too.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sound {
    /// A kick.
    Kick,
    /// A snare of any kind, cross-sticks too.
    Snare,
    /// A tom of any size.
    Tom,
    /// Hats of any kind.
    Hat,
    /// A ride, its bell, a crash, a splash or a china.
    Cymbal,
    /// Anything at all.
    Any,
    /// The stick across the rim.
    CrossStick,
    /// Open hats.
    HatOpen,
    /// Hats closed by the foot.
    HatFoot,
    /// The bell of the ride.
    RideBell,
    /// A crash, a splash or a china.
    Crash,
    /// Something struck that is no part of the kit.
    Other,
}

impl Sound {
    /// Every sound, in the order of the network's outputs.
    pub const ALL: [Sound; SOUNDS] = [
        Sound::Kick,
        Sound::Snare,
        Sound::Tom,
        Sound::Hat,
        Sound::Cymbal,
        Sound::Any,
        Sound::CrossStick,
        Sound::HatOpen,
        Sound::HatFoot,
        Sound::RideBell,
        Sound::Crash,
        Sound::Other,
    ];
}

/// The number of [`Sound`]s.
pub const SOUNDS: usize = 12;

/// What was heard, frame by frame.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Heard {
    /// `frames[k][sound as usize]`: 0 to 1, for the frame around `k * HOP` samples after `start`.
    frames: Vec<[f32; SOUNDS]>,
    start: Seconds,
}

impl Heard {
    /// Number of frames.
    pub fn len(&self) -> usize {
        self.frames.len()
    }

    /// Whether nothing was listened to.
    pub fn is_empty(&self) -> bool {
        self.frames.is_empty()
    }

    /// How likely `sound` begins at frame `k`; 0 outside the recording.
    pub fn at(&self, k: usize, sound: Sound) -> f32 {
        self.frames.get(k).map_or(0.0, |frame| frame[sound as usize])
    }

    /// The time of frame `k`, from the start of the recording's file.
    pub fn time_of(&self, k: usize) -> Seconds {
        self.start + FRAME * k as f64
    }
}

/// Listens to a recording on which a band plays along: to it as it is, and to its strokes brought out of the band.
/// Both have an equal say, in log odds.
pub fn listen_through_a_band(recording: &Recording) -> Heard {
    let mut heard = listen(recording);
    let strokes = listen(&percussion::percussion(recording));
    for (frame, other) in heard.frames.iter_mut().zip(&strokes.frames) {
        frame.iter_mut().zip(other).for_each(|(a, b)| *a = agreed(*a, *b));
    }
    heard
}

/// The probability half way between two in log odds.
fn agreed(a: f32, b: f32) -> f32 {
    let (yes, no) = ((a * b).sqrt(), ((1.0 - a) * (1.0 - b)).sqrt());
    if yes + no > 0.0 { yes / (yes + no) } else { 0.5 }
}

/// Listens to the whole recording, on all cores; the result does not depend on how many there are. Nothing is heard
/// in silence.
pub fn listen(recording: &Recording) -> Heard {
    listen_by(recording, CHUNK)
}

fn listen_by(recording: &Recording, chunk: usize) -> Heard {
    let peak = peak_of(recording);
    if peak <= 0.0 {
        return Heard::default();
    }
    let total = recording.len() / HOP + 1;
    let net = network::Network::trained();
    let ear = features::Features::new();
    let mut frames = vec![[0.0; SOUNDS]; total];
    frames
        .par_chunks_mut(chunk)
        .enumerate()
        .for_each(|(number, out)| {
            let (first, last) = (number * chunk, ((number + 1) * chunk).min(total));
            let begin = first.saturating_sub(network::CONTEXT);
            let end = (last + network::CONTEXT).min(total);
            let seen = ear.of(recording, begin..end, TRAINED_PEAK / peak);
            let heard = net.run(&seen, end - begin, first - begin..last - begin);
            out.copy_from_slice(&heard);
        });
    Heard {
        frames,
        start: recording.start,
    }
}

/// Training clips peaked here.
const TRAINED_PEAK: f32 = 0.9;

fn peak_of(recording: &Recording) -> f32 {
    const BLOCK: usize = 1 << 16;
    let peak = |number: usize| {
        let mut block = vec![0.0f32; BLOCK];
        recording.read_mono((number * BLOCK) as isize, &mut block);
        block.iter().fold(0.0f32, |peak, x| peak.max(x.abs()))
    };
    let blocks = (0..recording.len().div_ceil(BLOCK)).into_par_iter();
    blocks.map(peak).reduce(|| 0.0, f32::max)
}

#[cfg(test)]
mod tests;
