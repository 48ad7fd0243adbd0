//! What a first pass over the samples tells: the peak, what is wrong with the sound, and whether it is sound at all.

use crate::units::{Decibels, Seconds};

/// Samples in a row at full scale from which on it counts as clipping **[M]**: one or two happen in clean peaks.
const CLIPPED_RUN: u32 = 3;
/// A constant offset above this share of the peak is worth a word **[M]**.
const OFFSET: f64 = 0.02;
/// Under this peak nobody hears anything **[M]**.
const INAUDIBLE: Decibels = Decibels(-80.0);
/// Beyond this a float is no sound but a damaged file.
const ABSURD: f32 = 1e6;

/// Samples that are looked at side by side.
const LANES: usize = 8;

/// The loudest of some samples; not a number where any is none.
fn loudest(samples: &[f32]) -> f32 {
    let mut peaks = [0.0f32; LANES];
    let mut strange = [0.0f32; LANES];
    let (rows, rest) = samples.as_chunks::<LANES>();
    for row in rows {
        for ((peak, strange), x) in peaks.iter_mut().zip(&mut strange).zip(row) {
            *peak = if x.abs() > *peak { x.abs() } else { *peak };
            // 0 for every number, and no number for what is infinite or none.
            *strange += x * 0.0;
        }
    }
    for ((peak, strange), x) in peaks.iter_mut().zip(&mut strange).zip(rest) {
        *peak = peak.max(x.abs());
        *strange += x * 0.0;
    }
    peaks.into_iter().fold(0.0, f32::max) + strange.iter().sum::<f32>()
}

/// The sum of some samples.
fn sum_of(samples: &[f32]) -> f64 {
    let mut sums = [0.0f64; LANES];
    let (rows, rest) = samples.as_chunks::<LANES>();
    for row in rows {
        sums.iter_mut()
            .zip(row)
            .for_each(|(sum, x)| *sum += f64::from(*x));
    }
    sums.iter().sum::<f64>() + rest.iter().map(|x| f64::from(*x)).sum::<f64>()
}

/// Collects it, block by block.
pub(super) struct Survey {
    rate: u32,
    full_scale: f32,
    /// The loudest sample.
    pub(super) peak: f32,
    sums: Vec<f64>,
    runs: Vec<u32>,
    frames: u64,
    clips: u64,
    first_clip: u64,
}

impl Survey {
    /// A survey of sound at `rate` samples a second whose samples cannot exceed `full_scale`.
    pub(super) fn new(rate: u32, channels: usize, full_scale: f32) -> Self {
        Survey {
            rate,
            full_scale,
            peak: 0.0,
            sums: vec![0.0; channels],
            runs: vec![0; channels],
            frames: 0,
            clips: 0,
            first_clip: 0,
        }
    }

    /// Takes the block that begins at frame `first` in; fails with the frame and the value of the first sample that
    /// is no sound.
    pub(super) fn add(&mut self, first: u64, block: &[Vec<f32>]) -> Result<(), (u64, f32)> {
        let bad = |c: &Vec<f32>| {
            c.iter()
                .position(|x| !x.is_finite() || x.abs() > ABSURD)
                .map(|i| (i, c[i]))
        };
        let peaks: Vec<f32> = block.iter().map(|channel| loudest(channel)).collect();
        // Looked at once more only where something is wrong: not even a comparison holds of what is no number.
        let sound = |peak: &f32| *peak <= ABSURD;
        if !peaks.iter().all(sound)
            && let Some((i, value)) = block.iter().filter_map(bad).min_by_key(|(i, _)| *i)
        {
            return Err((first + i as u64, value));
        }
        let parts = self.sums.iter_mut().zip(&mut self.runs);
        for ((channel, peak), (sum, run)) in block.iter().zip(peaks).zip(parts) {
            self.peak = self.peak.max(peak);
            *sum += sum_of(channel);
            if peak < self.full_scale {
                *run = 0;
                continue;
            }
            for (at, &x) in (first..).zip(channel) {
                *run = if x.abs() >= self.full_scale { *run + 1 } else { 0 };
                if *run == CLIPPED_RUN {
                    if self.clips == 0 || at < self.first_clip {
                        self.first_clip = at;
                    }
                    self.clips += 1;
                }
            }
        }
        self.frames += block.first().map_or(0, Vec::len) as u64;
        Ok(())
    }

    /// What the player should know of the sound.
    pub(super) fn warnings(&self) -> Vec<String> {
        let peak = Decibels::from_amplitude(f64::from(self.peak));
        if peak <= INAUDIBLE {
            return vec![if self.peak > 0.0 {
                format!(
                    "nothing audible: the loudest sample lies {:.0} dB under full scale",
                    -peak.0
                )
            } else {
                "nothing audible: the recording is silent throughout".to_owned()
            }];
        }
        let mut warnings = Vec::new();
        if self.clips > 0 {
            warnings.push(format!(
                "the sound is clipped in {} place{}, the first at {}: levels there are too low, record with less gain",
                self.clips,
                if self.clips == 1 { "" } else { "s" },
                Seconds(self.first_clip as f64 / f64::from(self.rate)).clock(),
            ));
        }
        let frames = self.frames.max(1) as f64;
        let offset = self
            .sums
            .iter()
            .map(|sum| (sum / frames).abs())
            .fold(0.0, f64::max);
        if offset > OFFSET * f64::from(self.peak) {
            warnings.push(format!(
                "the sound has a constant offset of {:.0} % of its peak: something is wrong with the recorder's input",
                100.0 * offset / f64::from(self.peak),
            ));
        }
        warnings
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_number_is_found_wherever_it_stands() {
        for length in [1, 8, 9, 31] {
            for at in 0..length {
                for (value, is_sound) in [(f32::NAN, false), (f32::INFINITY, false), (-0.75, true)] {
                    let mut samples = vec![0.5f32; length];
                    samples[at] = value;
                    let peak = loudest(&samples);
                    assert_eq!(peak <= ABSURD, is_sound, "{length} {at} {value}");
                    assert!(!is_sound || peak == 0.75, "{length} {at} {peak}");
                    let found = Survey::new(44_100, 1, 1.0).add(100, &[samples]);
                    assert_eq!(found.is_ok(), is_sound);
                    assert!(found.err().is_none_or(|(frame, _)| frame == 100 + at as u64));
                }
            }
        }
    }
}
