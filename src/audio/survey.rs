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
        if let Some((i, value)) = block.iter().filter_map(bad).min_by_key(|(i, _)| *i) {
            return Err((first + i as u64, value));
        }
        for ((channel, sum), run) in block.iter().zip(&mut self.sums).zip(&mut self.runs) {
            for (at, &x) in (first..).zip(channel) {
                self.peak = self.peak.max(x.abs());
                *sum += f64::from(x);
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
