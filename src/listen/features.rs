//! Log magnitudes of 96 bands every 10 ms: 64 of a short window, 32 low ones of a long window.
//!
//! The long window looks at one sample of seven, after a low-pass filter. Bands are triangles evenly spaced in mel
//! (2595 log10(1 + f / 700)), each at least two bins wide and of unit sum.

use std::f64::consts::{PI, TAU};
use std::ops::Range;

use super::HOP;
use crate::audio::power::Powers;
use crate::audio::{RATE, Recording};

/// Bands a frame.
pub(super) const BANDS: usize = HIGH_BANDS + LOW_BANDS;

const HIGH_BANDS: usize = 64;
const LOW_BANDS: usize = 32;

/// Samples in a window of either view: 23 ms of the sound itself, 163 ms of the slowed one.
const WINDOW: usize = 1024;

/// The low view sees one sample of so many.
const DECIMATION: usize = 7;

/// Length of the filter before that.
const TAPS: usize = 63;

/// Above this frequency, in Hz, the filter lets little pass, so that nothing folds onto the low bands.
const CUT: f64 = 2400.0;

/// Keeps silence finite: the magnitude under which nothing is told apart.
const FLOOR: f32 = 1e-5;

/// What turns sound into features.
pub(super) struct Features {
    transform: Powers,
    filter: Vec<f32>,
    high: Vec<Band>,
    low: Vec<Band>,
}

/// The weights of one band from bin `first` on.
struct Band {
    first: usize,
    weights: Vec<f32>,
}

impl Features {
    pub(super) fn new() -> Self {
        let rate = f64::from(RATE);
        let turn = |i: usize| TAU * i as f64 / WINDOW as f64;
        Features {
            transform: Powers::new(
                WINDOW,
                (0..WINDOW).map(|i| (0.5 - 0.5 * turn(i).cos()) as f32).collect(),
            ),
            filter: low_pass(),
            high: mel_bands(rate, HIGH_BANDS, 150.0, 16_000.0),
            low: mel_bands(rate / DECIMATION as f64, LOW_BANDS, 25.0, 1300.0),
        }
    }

    /// The features of `frames`, times `gain`: [`BANDS`] rows, one value a frame in each.
    pub(super) fn of(&self, recording: &Recording, frames: Range<usize>, gain: f32) -> Vec<f32> {
        let count = frames.len();
        let mut out = vec![0.0f32; BANDS * count];
        let (high, low) = out.split_at_mut(HIGH_BANDS * count);
        // The low view sees farther to both sides.
        let hop = HOP / DECIMATION;
        let mut slowed = vec![0.0f32; count.saturating_sub(1) * hop + WINDOW];
        let start = (frames.start * hop) as isize - (WINDOW / 2) as isize;
        let mut samples = vec![0.0f32; slowed.len() * DECIMATION + TAPS];
        recording.read_mono(start * DECIMATION as isize - (TAPS / 2) as isize, &mut samples);
        let before = WINDOW / 2 * (DECIMATION - 1) + TAPS / 2;
        let near = samples.get(before..before + count.saturating_sub(1) * HOP + WINDOW);
        self.view(near.unwrap_or_default(), HOP, &self.high, gain, high);
        self.slow(&samples, start, recording.len(), &mut slowed);
        self.view(&slowed, hop, &self.low, gain, low);
        out
    }

    /// Fills `out` with every seventh of some filtered samples, from slowed sample `start` of a recording of `length` on.
    fn slow(&self, samples: &[f32], start: isize, length: usize, out: &mut [f32]) {
        let last = length.div_ceil(DECIMATION) as isize;
        let rows: Vec<Vec<f32>> = (0..DECIMATION)
            .map(|first| samples.iter().skip(first).step_by(DECIMATION).copied().collect())
            .collect();
        out.fill(0.0);
        // Tap by tap, so that many sums grow side by side.
        for (tap, weight) in self.filter.iter().enumerate() {
            let own = rows
                .get(tap % DECIMATION)
                .and_then(|row| row.get(tap / DECIMATION..));
            let own = own.unwrap_or_default();
            out.iter_mut().zip(own).for_each(|(o, s)| *o += s * weight);
        }
        for (at, o) in out.iter_mut().enumerate() {
            if !(0..last).contains(&(start + at as isize)) {
                *o = 0.0;
            }
        }
    }

    /// One row for each of `bands`, one column for each window, `hop` samples apart.
    fn view(&self, samples: &[f32], hop: usize, bands: &[Band], gain: f32, out: &mut [f32]) {
        let count = out.len() / bands.len().max(1);
        let mut room = self.transform.room();
        let mut magnitudes = vec![0.0f32; WINDOW / 2 + 1];
        let scale = gain * 4.0 / WINDOW as f32;
        for (column, frame) in samples.windows(WINDOW).step_by(hop).enumerate() {
            let powers = self.transform.of(frame, &mut room);
            magnitudes
                .iter_mut()
                .zip(powers)
                .for_each(|(m, power)| *m = power.sqrt() * scale);
            for (band, row) in bands.iter().zip(out.chunks_exact_mut(count)) {
                let part = magnitudes.get(band.first..).unwrap_or_default();
                let sum: f32 = band.weights.iter().zip(part).map(|(w, m)| w * m).sum();
                row[column] = (sum + FLOOR).ln();
            }
        }
    }
}

/// A windowed sinc of unit sum.
fn low_pass() -> Vec<f32> {
    let taps: Vec<f64> = (0..TAPS)
        .map(|i| {
            let at = i as f64 - (TAPS / 2) as f64;
            let x = PI * 2.0 * CUT / f64::from(RATE) * at;
            let sinc = if x == 0.0 { 1.0 } else { x.sin() / x };
            sinc * (0.5 + 0.5 * (TAU * at / (TAPS + 1) as f64).cos())
        })
        .collect();
    let sum: f64 = taps.iter().sum();
    taps.iter().map(|tap| (tap / sum) as f32).collect()
}

/// `count` bands between `low` and `high` Hz, for sound at `rate` samples a second.
fn mel_bands(rate: f64, count: usize, low: f64, high: f64) -> Vec<Band> {
    let mel = |f: f64| 2595.0 * (1.0 + f / 700.0).log10();
    let hertz = |m: f64| 700.0 * (10f64.powf(m / 2595.0) - 1.0);
    let bin = rate / WINDOW as f64;
    let edge = |i: usize| hertz(mel(low) + (mel(high) - mel(low)) * i as f64 / (count + 1) as f64);
    let triangle = |band: usize| {
        let centre = edge(band + 1);
        let (left, right) = (edge(band).min(centre - bin), edge(band + 2).max(centre + bin));
        let weight = |k: usize| {
            let f = k as f64 * bin;
            ((f - left) / (centre - left))
                .min((right - f) / (right - centre))
                .max(0.0)
        };
        let inside: Vec<usize> = (0..=WINDOW / 2).filter(|k| weight(*k) > 0.0).collect();
        let sum: f64 = inside.iter().map(|k| weight(*k)).sum::<f64>() + 1e-9;
        Band {
            first: inside.first().copied().unwrap_or(0),
            weights: inside.iter().map(|k| (weight(*k) / sum) as f32).collect(),
        }
    };
    (0..count).map(triangle).collect()
}
