//! [`Recording`] -> [`Bands`]: how loud each of [`BANDS`] frequency bands is, every [`HOP`] samples.
//!
//! Short-time Fourier power summed into bands about a third of an octave wide, as in Böck & Widmer, "Maximum
//! filter vibrato suppression for onset detection" (DAFx 2013), in dB under the recording's own loud moments, so
//! that gain changes nothing. The recording is read in blocks and no spectrum is kept.

use rayon::prelude::*;

use super::{HOP, WINDOW};
use crate::audio::Recording;
use crate::audio::power::Powers;

/// Number of bands.
pub(super) const BANDS: usize = LONG.len() + SHORT.len() - 2;

/// Bands below 390 Hz, where a drum's body lies: first bin of each and, last, the bin after the highest, in the
/// transform of [`WINDOW`] samples, whose bins are 43 Hz.
const LONG: [usize; 7] = [1, 2, 3, 4, 5, 7, 9];

/// Bands above it, in the transform of [`BRIEF`] samples, whose bins are 86 Hz: what rises fast is told apart in time.
const SHORT: [usize; 15] = [5, 6, 8, 11, 15, 20, 26, 34, 44, 57, 74, 98, 130, 172, 216];

/// Samples of the shorter transform: 12 ms.
const BRIEF: usize = WINDOW / 2;

/// Frames that one task reads and transforms at a time: 2.8 s.
const BLOCK: usize = 512;

/// Nothing counts as softer than this under the loud moments, in dB: it lies under any room.
pub(super) const SILENCE: f32 = -85.0;

/// Share of the loudest frames whose mean power is 0 dB.
const LOUD: usize = 100;

/// Parts of a dB in which levels are kept: finer than any ear, and half the room of floats.
const PARTS: f32 = 256.0;

/// Band levels in dB under the recording's loud moments, [`BANDS`] a frame; frame `n` is centred on sample `n * HOP`.
pub(super) struct Bands {
    levels: Vec<[u16; BANDS]>,
}

impl Bands {
    /// The band levels of the mean of all channels.
    pub(super) fn of(recording: &Recording) -> Bands {
        let frames = match recording.len() {
            0 => 0,
            samples => samples / HOP + 1,
        };
        let mut levels = powers(recording, frames);
        let reference = reference(&levels);
        let floor = 10f32.powf(SILENCE / 10.0);
        levels.par_iter_mut().for_each(|frame| {
            for level in frame {
                let db = 10.0 * (power(*level) / reference + floor).log10();
                // `as` saturates: nothing is 128 dB over the loud moments.
                *level = ((db * PARTS).round() as i16).cast_unsigned();
            }
        });
        Bands { levels }
    }

    /// Number of frames.
    pub(super) fn len(&self) -> usize {
        self.levels.len()
    }

    /// The levels at a frame; silence outside the recording.
    pub(super) fn at(&self, frame: isize) -> [f32; BANDS] {
        usize::try_from(frame)
            .ok()
            .and_then(|frame| self.levels.get(frame))
            .map_or([SILENCE; BANDS], |frame| frame.map(level))
    }

    /// The levels of one band in every `step`th frame.
    pub(super) fn column(&self, band: usize, step: usize) -> Vec<f32> {
        let frames = self.levels.iter().step_by(step.max(1));
        frames
            .filter_map(|frame| frame.get(band).copied().map(level))
            .collect()
    }
}

/// A level as it is kept, in dB.
fn level(kept: u16) -> f32 {
    f32::from(kept.cast_signed()) / PARTS
}

/// A power as it is kept until the loud moments are known: a float without its sign and the lower bits, true to a
/// hundredth of a dB.
fn kept(power: f32) -> u16 {
    const HALF: u32 = 1 << 14;
    ((power.to_bits() + HALF) >> 15) as u16
}

/// The power that is kept so.
fn power(kept: u16) -> f32 {
    f32::from_bits(u32::from(kept) << 15)
}

fn powers(recording: &Recording, frames: usize) -> Vec<[u16; BANDS]> {
    let (long, short) = (Windowed::new(WINDOW), Windowed::new(BRIEF));
    let mut powers = vec![[0u16; BANDS]; frames];
    powers
        .par_chunks_mut(BLOCK)
        .enumerate()
        .for_each(|(block, powers)| {
            let first = block * BLOCK;
            let mut samples = vec![0.0f32; (powers.len() - 1) * HOP + WINDOW];
            recording.read_mono((first * HOP) as isize - (WINDOW / 2) as isize, &mut samples);
            let (low, high) = (LONG.len() - 1, (WINDOW - BRIEF) / 2);
            long.bands(&samples, &LONG, powers, 0);
            short.bands(&samples[high..], &SHORT, powers, low);
        });
    powers
}

/// A transform with its window, scaled so that a steady sound measures alike through any length.
struct Windowed {
    length: usize,
    transform: Powers,
}

impl Windowed {
    fn new(length: usize) -> Windowed {
        let scale = length as f32;
        let window = (0..length)
            .map(|n| (std::f32::consts::PI * n as f32 / scale).sin().powi(2) / scale)
            .collect();
        Windowed {
            length,
            transform: Powers::new(length, window),
        }
    }

    /// Writes the power between `edges` (bins) into the bands from `first` on, a frame every [`HOP`] samples.
    fn bands(&self, samples: &[f32], edges: &[usize], frames: &mut [[u16; BANDS]], first: usize) {
        let mut room = self.transform.room();
        let windows = samples.windows(self.length).step_by(HOP);
        for (frame, samples) in frames.iter_mut().zip(windows) {
            let powers = self.transform.of(samples, &mut room);
            for (power, edge) in frame[first..].iter_mut().zip(edges.windows(2)) {
                *power = kept(powers[edge[0]..edge[1]].iter().sum());
            }
        }
    }
}

/// Mean power of the loudest hundredth of the frames; 1 for a silent recording.
fn reference(powers: &[[u16; BANDS]]) -> f32 {
    let total = |frame: &[u16; BANDS]| frame.iter().map(|kept| power(*kept)).sum();
    let mut totals: Vec<f32> = powers.iter().map(total).collect();
    let loud = totals.len().div_ceil(LOUD);
    if loud == 0 {
        return 1.0;
    }
    totals.select_nth_unstable_by(loud - 1, |a, b| b.total_cmp(a));
    let mean = totals.iter().take(loud).sum::<f32>() / loud as f32;
    if mean > 0.0 { mean } else { 1.0 }
}
