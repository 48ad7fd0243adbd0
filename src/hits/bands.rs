//! [`Recording`] -> [`Bands`]: how loud each of [`BANDS`] frequency bands is, every [`HOP`] samples.
//!
//! Short-time Fourier power summed into bands about a third of an octave wide, as in Böck & Widmer, "Maximum
//! filter vibrato suppression for onset detection" (DAFx 2013), in dB under the recording's own loud moments, so
//! that gain changes nothing. The recording is read in blocks and no spectrum is kept.

use rayon::prelude::*;
use realfft::RealFftPlanner;

use super::{HOP, WINDOW};
use crate::audio::Recording;

/// Number of bands.
pub(super) const BANDS: usize = 20;

/// First bin of each band and, last, the bin after the highest: a bin is 43 Hz, the top 18.5 kHz.
const EDGES: [usize; BANDS + 1] = [
    1, 2, 3, 4, 5, 7, 9, 12, 16, 21, 28, 37, 49, 65, 86, 113, 149, 196, 258, 340, 430,
];

/// Frames that one task reads and transforms at a time: 2.8 s.
const BLOCK: usize = 512;

/// Nothing counts as softer than this under the loud moments, in dB: it lies under any room.
pub(super) const SILENCE: f32 = -85.0;

/// Share of the loudest frames whose mean power is 0 dB.
const LOUD: usize = 100;

/// Band levels in dB under the recording's loud moments, [`BANDS`] a frame; frame `n` is centred on sample `n * HOP`.
pub(super) struct Bands {
    levels: Vec<[f32; BANDS]>,
}

impl Bands {
    /// The band levels of the mean of all channels.
    pub(super) fn of(recording: &Recording) -> Bands {
        let frames = match recording.len() {
            0 => 0,
            samples => samples / HOP + 1,
        };
        let mut powers = powers(recording, frames);
        let reference = reference(&powers);
        let floor = 10f32.powf(SILENCE / 10.0);
        powers.par_iter_mut().for_each(|frame| {
            for power in frame {
                *power = 10.0 * (*power / reference + floor).log10();
            }
        });
        Bands { levels: powers }
    }

    /// Number of frames.
    pub(super) fn len(&self) -> usize {
        self.levels.len()
    }

    /// The levels at a frame; silence outside the recording.
    pub(super) fn at(&self, frame: isize) -> &[f32; BANDS] {
        usize::try_from(frame)
            .ok()
            .and_then(|frame| self.levels.get(frame))
            .unwrap_or(&[SILENCE; BANDS])
    }

    /// All frames in order.
    pub(super) fn frames(&self) -> &[[f32; BANDS]] {
        &self.levels
    }
}

fn powers(recording: &Recording, frames: usize) -> Vec<[f32; BANDS]> {
    let transform = RealFftPlanner::<f32>::new().plan_fft_forward(WINDOW);
    let window: Vec<f32> = (0..WINDOW)
        .map(|n| (std::f32::consts::PI * n as f32 / WINDOW as f32).sin().powi(2))
        .collect();
    let blocks: Vec<Vec<[f32; BANDS]>> = (0..frames.div_ceil(BLOCK))
        .into_par_iter()
        .map(|block| {
            let first = block * BLOCK;
            let count = BLOCK.min(frames - first);
            let mut samples = vec![0.0f32; (count - 1) * HOP + WINDOW];
            recording.read_mono((first * HOP) as isize - (WINDOW / 2) as isize, &mut samples);
            let mut input = transform.make_input_vec();
            let mut output = transform.make_output_vec();
            let mut scratch = transform.make_scratch_vec();
            samples
                .windows(WINDOW)
                .step_by(HOP)
                .map(|frame| {
                    for ((i, s), w) in input.iter_mut().zip(frame).zip(&window) {
                        *i = s * w;
                    }
                    // The buffers have the transform's own lengths, the one thing it can complain of.
                    let _ = transform.process_with_scratch(&mut input, &mut output, &mut scratch);
                    let mut powers = [0.0f32; BANDS];
                    for (power, edge) in powers.iter_mut().zip(EDGES.windows(2)) {
                        *power = output[edge[0]..edge[1]].iter().map(|bin| bin.norm_sqr()).sum();
                    }
                    powers
                })
                .collect()
        })
        .collect();
    blocks.concat()
}

/// Mean power of the loudest hundredth of the frames; 1 for a silent recording.
fn reference(powers: &[[f32; BANDS]]) -> f32 {
    let mut totals: Vec<f32> = powers.iter().map(|frame| frame.iter().sum()).collect();
    let loud = totals.len().div_ceil(LOUD);
    if loud == 0 {
        return 1.0;
    }
    totals.select_nth_unstable_by(loud - 1, |a, b| b.total_cmp(a));
    let mean = totals.iter().take(loud).sum::<f32>() / loud as f32;
    if mean > 0.0 { mean } else { 1.0 }
}
