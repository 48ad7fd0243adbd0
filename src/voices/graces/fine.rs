//! A moment of a [`Recording`] -> [`Fine`]: how loud [`BANDS`] frequency bands are every half millisecond, and where
//! something attacks.
//!
//! Bands an octave wide by second-order Butterworth filters (R. Bristow-Johnson, Cookbook formulae for audio equalizer
//! biquad filter coefficients, 1998), because short filters smear a grace stroke less than any transform. An attack is
//! where the mean rise of the bands over 3 ms peaks.

use std::f32::consts::{FRAC_1_SQRT_2, TAU};
use std::ops::Range;

use crate::audio::{RATE, Recording};
use crate::units::Seconds;

/// Number of bands.
pub(super) const BANDS: usize = 8;

/// Lower and upper edge of each band, Hz.
const LOW: [f32; BANDS] = [30.0, 110.0, 250.0, 500.0, 1_100.0, 2_300.0, 4_600.0, 9_000.0];
const HIGH: [f32; BANDS] = [110.0, 250.0, 500.0, 1_100.0, 2_300.0, 4_600.0, 9_000.0, 18_000.0];

/// How much a band's rise counts: the filters of the low ones are slow.
const WEIGHT: [f32; BANDS] = [0.0, 0.3, 0.7, 1.0, 1.0, 1.0, 1.0, 1.0];

/// Samples whose power is one value: half a millisecond.
pub(super) const GRAIN: usize = 22;

/// Grains that are heard before and after the moment: 95 ms, 85 ms.
const BEFORE: usize = 190;
const AFTER: usize = 170;

/// Grains in which the filters settle before the first that is kept: 15 ms.
const SETTLE: usize = 30;

/// Grains on each side of an attack whose mean powers are compared: 3 ms.
const SIDE: usize = 6;

/// Grains on each side over which an attack's rise is the highest: 3 ms.
const REACH: usize = 6;

/// Mean rise of an attack, at least, dB.
const LEAST: f32 = 1.2;

/// One band's rise counts at most this much, dB.
const MOST: f32 = 20.0;

/// What lies so far (a power ratio) under the loudest grain of its band is no sound of its own.
const FLOOR: f32 = 1e-6;

/// Power of each band, grain by grain.
pub(super) struct Fine {
    /// The sample, from the start of the part in memory, at which the first grain begins.
    first: isize,
    powers: Vec<[f32; BANDS]>,
    floor: [f32; BANDS],
}

/// A moment at which something begins to sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Attack {
    /// The grain with which it begins.
    pub(super) grain: usize,
    /// Mean rise of the bands, dB.
    pub(super) rise: f32,
}

impl Fine {
    /// Hears the recording around `time` of its file.
    pub(super) fn around(recording: &Recording, time: Seconds) -> Fine {
        let at = ((time - recording.start).0 * f64::from(RATE)).round() as isize;
        let first = at - (BEFORE * GRAIN) as isize;
        let mut samples = vec![0.0f32; (SETTLE + BEFORE + AFTER) * GRAIN];
        recording.read_mono(first - (SETTLE * GRAIN) as isize, &mut samples);
        let mut filters = [Filters::new(LOW, false), Filters::new(HIGH, true)];
        let mut powers = Vec::with_capacity(SETTLE + BEFORE + AFTER);
        for grain in samples.chunks_exact(GRAIN) {
            let mut power = [0.0f32; BANDS];
            for sample in grain {
                let mut lanes = [*sample; BANDS];
                filters.iter_mut().for_each(|filter| filter.pass(&mut lanes));
                for (sum, x) in power.iter_mut().zip(lanes) {
                    *sum += x * x;
                }
            }
            powers.push(power.map(|sum| sum / GRAIN as f32));
        }
        powers.drain(..SETTLE);
        let mut floor = [f32::MIN_POSITIVE * 1e10; BANDS];
        for power in &powers {
            for (floor, power) in floor.iter_mut().zip(power) {
                *floor = floor.max(power * FLOOR);
            }
        }
        Fine { first, powers, floor }
    }

    /// The time, in the file, at which a grain begins.
    pub(super) fn time(&self, recording: &Recording, grain: usize) -> Seconds {
        let sample = self.first + (grain * GRAIN) as isize;
        recording.start + Seconds(sample as f64 / f64::from(RATE))
    }

    /// The grain of a time of the file; may lie outside.
    pub(super) fn grain(&self, recording: &Recording, time: Seconds) -> isize {
        let sample = ((time - recording.start).0 * f64::from(RATE)).round() as isize;
        (sample - self.first).div_euclid(GRAIN as isize)
    }

    /// Mean power of each band over some grains, dB.
    pub(super) fn level(&self, grains: Range<usize>) -> [f32; BANDS] {
        let part = self.powers.get(grains).unwrap_or_default();
        let mut sum = [0.0f32; BANDS];
        for power in part {
            sum.iter_mut().zip(power).for_each(|(s, p)| *s += p);
        }
        let count = part.len().max(1) as f32;
        std::array::from_fn(|band| decibels(sum[band] / count + self.floor[band]))
    }

    /// Every attack, in order.
    pub(super) fn attacks(&self) -> Vec<Attack> {
        let rises = self.rises();
        let peak = |grain: usize| {
            let before = rises.get(grain.saturating_sub(REACH)..grain).unwrap_or_default();
            let after = rises
                .get(grain + 1..(grain + 1 + REACH).min(rises.len()))
                .unwrap_or_default();
            let own = rises.get(grain).copied().unwrap_or(0.0);
            own >= LEAST && before.iter().all(|r| *r < own) && after.iter().all(|r| *r <= own)
        };
        let attack = |(grain, rise): (usize, &f32)| Attack { grain, rise: *rise };
        rises
            .iter()
            .enumerate()
            .filter(|(grain, _)| peak(*grain))
            .map(attack)
            .collect()
    }

    /// How much the bands are louder in the 3 ms from each grain on than in those before it, in the mean, dB; nothing
    /// where there are not as many.
    fn rises(&self) -> Vec<f32> {
        let sides = (self.powers.len() + 1).saturating_sub(SIDE);
        let levels: Vec<[f32; BANDS]> = (0..sides).map(|grain| self.level(grain..grain + SIDE)).collect();
        let mut rises = vec![0.0; self.powers.len()];
        let pairs = levels.iter().zip(levels.iter().skip(SIDE));
        for (rise, (before, after)) in rises.iter_mut().skip(SIDE).zip(pairs) {
            *rise = weighed(&std::array::from_fn(|band| {
                (after[band] - before[band]).clamp(0.0, MOST)
            }));
        }
        rises
    }
}

/// The mean of the bands by their weights.
pub(super) fn weighed(bands: &[f32; BANDS]) -> f32 {
    let sum: f32 = bands.iter().zip(WEIGHT).map(|(x, weight)| x * weight).sum();
    sum / WEIGHT.iter().sum::<f32>()
}

pub(super) fn decibels(power: f32) -> f32 {
    10.0 * power.max(f32::MIN_POSITIVE).log10()
}

/// One filter a band, side by side.
struct Filters {
    gain: [[f32; BANDS]; 3],
    back: [[f32; BANDS]; 2],
    state: [[f32; BANDS]; 2],
}

impl Filters {
    /// Filters that pass what lies below (or above) `corners`, Hz.
    fn new(corners: [f32; BANDS], below: bool) -> Filters {
        let mut filters = Filters {
            gain: [[0.0; BANDS]; 3],
            back: [[0.0; BANDS]; 2],
            state: [[0.0; BANDS]; 2],
        };
        for (band, corner) in corners.iter().enumerate() {
            let angle = TAU * corner / RATE as f32;
            let (alpha, cos) = (angle.sin() * FRAC_1_SQRT_2, angle.cos());
            let whole = 1.0 + alpha;
            let side = if below { 1.0 - cos } else { 1.0 + cos };
            filters.gain[0][band] = 0.5 * side / whole;
            filters.gain[1][band] = if below { side } else { -side } / whole;
            filters.gain[2][band] = 0.5 * side / whole;
            filters.back[0][band] = -2.0 * cos / whole;
            filters.back[1][band] = (1.0 - alpha) / whole;
        }
        filters
    }

    /// The next sample of every band.
    fn pass(&mut self, lanes: &mut [f32; BANDS]) {
        let [s1, s2] = &mut self.state;
        for band in 0..BANDS {
            let x = lanes[band];
            let y = self.gain[0][band] * x + s1[band];
            s1[band] = self.gain[1][band] * x - self.back[0][band] * y + s2[band];
            s2[band] = self.gain[2][band] * x - self.back[1][band] * y;
            lanes[band] = y;
        }
    }
}
