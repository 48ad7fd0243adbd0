//! A candidate -> its [`Attack`]: when the sound begins to rise, to the millisecond, and how sharply.
//!
//! The moment at which the waveform's variance changes most, by the criterion of Maeda, "A method for reading and
//! checking phase times in autoprocessing system of seismic wave data" (Zisin 38, 1985), in three views of the
//! waveform: lows, everything, highs. The view in which the change is clearest gives the time.

use super::HOP;
use crate::audio::Recording;

/// Views of the waveform.
pub(super) const VIEWS: usize = 3;

/// The view that leaves nothing out.
const WHOLE: usize = 1;

/// Samples before a candidate's frame that are looked at: 28 ms.
const BEFORE: usize = 1240;
/// Samples after it: 12 ms.
const AFTER: usize = 520;
/// Samples after the frame that are looked at even when the next candidate is near: 4 ms.
const MARGIN: usize = 176;
/// Samples before the frame that are looked at even when another candidate is near: 12 ms.
const NEAREST: usize = 528;
/// Samples whose energy is summed into one value: half a millisecond.
const GRAIN: usize = 22;
/// Length of the running mean that leaves the lows, samples; it is passed twice.
const LOW: usize = 64;
/// Grains that the side of a change must have at least.
const SIDE: usize = 6;
/// How much a view's change counts: neighbouring grains of the lows are hardly independent.
const WEIGHT: [f32; VIEWS] = [0.3, 1.0, 1.0];

/// The start of a rise.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Attack {
    /// Sample at which the sound begins to rise.
    pub(super) sample: usize,
    /// How clear the change is in each view: gain in log likelihood per grain.
    pub(super) gains: [f32; VIEWS],
    /// Level after the change over that before it in each view, dB.
    pub(super) rises: [f32; VIEWS],
    /// Mean power that the attack adds to what was ringing.
    pub(super) power: f32,
}

/// The attack near the candidate at `frame`, between the candidates that lie `before` and `after` it (frames).
pub(super) fn attack(recording: &Recording, frame: usize, before: usize, after: usize) -> Attack {
    let before = (before * HOP).saturating_sub(MARGIN).clamp(NEAREST, BEFORE);
    let after = (after * HOP).saturating_sub(2 * HOP).clamp(MARGIN, AFTER);
    let start = (frame * HOP) as isize - before as isize;
    let lead = 2 * LOW;
    let mut samples = vec![0.0f32; lead + before + after];
    recording.read_mono(start - lead as isize, &mut samples);
    let low = lows(&samples);
    let high: Vec<f32> = samples.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let peak = samples.iter().fold(0.0f32, |peak, s| peak.max(s.abs()));
    let views = [&low[lead..], &samples[lead..], &high[lead - 1..]];
    let mut best = (f32::MIN, 0usize);
    let mut found = Attack::default();
    let mut powers = Vec::new();
    for (view, values) in views.iter().enumerate() {
        let grains: Vec<f32> = values
            .chunks_exact(GRAIN)
            .map(|chunk| chunk.iter().map(|s| s * s).sum::<f32>() / GRAIN as f32)
            .collect();
        let change = change(&grains, peak * peak * 1e-8);
        found.gains[view] = change.gain;
        found.rises[view] = change.rise;
        if change.gain * WEIGHT[view] > best.0 {
            best = (change.gain * WEIGHT[view], change.grain);
        }
        if view == WHOLE {
            powers = grains;
        }
    }
    found.power = added(&powers, best.1);
    found.sample = (start + (best.1 * GRAIN) as isize).max(0) as usize;
    found
}

/// Mean power from `grain` on over that before.
fn added(powers: &[f32], grain: usize) -> f32 {
    let mean = |part: &[f32]| part.iter().sum::<f32>() / part.len().max(1) as f32;
    let (before, after) = powers.split_at(grain.min(powers.len()));
    (mean(after) - mean(before)).max(f32::MIN_POSITIVE)
}

struct Change {
    grain: usize,
    gain: f32,
    rise: f32,
}

/// Where the mean power of `grains` changes most from low to high.
fn change(grains: &[f32], least: f32) -> Change {
    let total: f32 = grains.iter().sum();
    let count = grains.len() as f32;
    let log = |sum: f32, count: f32| (sum / count + least + f32::MIN_POSITIVE).ln();
    let whole = log(total, count);
    let mut best = Change {
        grain: grains.len() / 2,
        gain: 0.0,
        rise: 0.0,
    };
    let mut sum = 0.0;
    for (grain, power) in grains.iter().enumerate() {
        let (before, after) = (grain as f32, count - grain as f32);
        if grain >= SIDE && grain + SIDE <= grains.len() {
            let (low, high) = (log(sum, before), log((total - sum).max(0.0), after));
            let gain = whole - (before * low + after * high) / count;
            if high > low && gain > best.gain {
                best = Change {
                    grain,
                    gain,
                    rise: (high - low) * 10.0 / std::f32::consts::LN_10,
                };
            }
        }
        sum += power;
    }
    best
}

/// The mean of the last [`LOW`] samples at each sample, and of these the same once more: both in one go, as each sum has
/// to wait for the one before it.
fn lows(samples: &[f32]) -> Vec<f32> {
    let (mut sum, mut sum_of_means) = (0.0f64, 0.0f64);
    let mut means = Vec::with_capacity(samples.len());
    let mean = |sum: f64| (sum / LOW as f64) as f32;
    (0..samples.len())
        .map(|n| {
            sum += f64::from(samples[n]);
            if n >= LOW {
                sum -= f64::from(samples[n - LOW]);
            }
            means.push(mean(sum));
            sum_of_means += f64::from(means[n]);
            if n >= LOW {
                sum_of_means -= f64::from(means[n - LOW]);
            }
            mean(sum_of_means)
        })
        .collect()
}
