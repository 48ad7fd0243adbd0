//! A recording at hand: samples at [`RATE`](super::RATE), kept small, and on the disk when they are many.
//!
//! Samples are stored as 16-bit numbers scaled to the recording's own peak: half the memory of floats, with
//! rounding 96 dB under the loudest sample, far under any room. Stages read windows and never see the store.

use std::io;

use super::error::AudioError;
use super::store::{Filling, Store};
use crate::audio::RATE;
use crate::files::in_words;
use crate::units::Seconds;

/// Frames taken in at once.
const BLOCK: usize = 4096;

/// The samples of a recording, all channels of the same length, with what its file says of itself.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Recording {
    /// Panning tells drums apart, so channels are never mixed here.
    store: Store,
    /// What one unit of the store is worth.
    unit: f32,
    /// Where in the file the first sample lies (not 0 after `--from`).
    pub start: Seconds,
    /// What the file says of itself.
    pub source: Source,
    /// What the player should know of the sound: clipped, cut short, silent.
    pub warnings: Vec<String>,
}

/// The file a recording came from.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Source {
    /// The file's name without its folder.
    pub file: String,
    /// SHA-256 of the file's bytes, in hexadecimal.
    pub sha256: String,
    /// Length of the whole file.
    pub seconds: Seconds,
    /// The file's own sample rate.
    pub sample_rate: u32,
    /// The file's own number of channels.
    pub channels: u16,
}

impl Recording {
    /// A recording of samples at [`RATE`], one slice a channel. Shorter channels are filled up with silence;
    /// samples that are not finite count as silence.
    pub fn from_channels<C: AsRef<[f32]>>(channels: &[C]) -> Self {
        let finite = |x: f32| if x.is_finite() { x } else { 0.0 };
        let all = || channels.iter().flat_map(|c| c.as_ref());
        let peak = all().fold(0.0f32, |peak, x| peak.max(finite(*x).abs()));
        let length = channels.iter().map(|c| c.as_ref().len()).max().unwrap_or(0);
        let mut taking = Taking::new(channels.len(), peak);
        // Only a full disk can stop this; what was taken until then is a shorter recording.
        let _ = (0..length)
            .step_by(BLOCK)
            .try_for_each(|start| taking.take(channels, start, BLOCK.min(length - start)));
        let mut recording = taking.finish().unwrap_or_default();
        recording.source = Source {
            seconds: Seconds::from_sample(length, RATE),
            sample_rate: RATE,
            channels: channels.len() as u16,
            ..Source::default()
        };
        recording
    }

    /// A recording of one channel at [`RATE`] whose samples come block after block, none louder than `peak`, so that
    /// they need not all be in memory.
    pub fn from_blocks(peak: f32, blocks: impl IntoIterator<Item = Vec<f32>>) -> Self {
        let mut taking = Taking::new(1, peak);
        // As above.
        let _ = blocks.into_iter().try_for_each(|block| taking.append(&[block]));
        let mut recording = taking.finish().unwrap_or_default();
        recording.source = Source {
            seconds: recording.seconds(),
            sample_rate: RATE,
            channels: 1,
            ..Source::default()
        };
        recording
    }

    /// Fails if samples that were kept on the disk could not be read back: what was made of them is then not to be
    /// trusted. To be asked before a result is written.
    pub fn check(&self) -> Result<(), AudioError> {
        match self.store.fault() {
            None => Ok(()),
            Some(reason) => Err(AudioError::WorkingFile {
                file: self.source.file.clone(),
                reason: reason.to_owned(),
            }),
        }
    }

    /// Samples in each channel.
    pub fn len(&self) -> usize {
        self.store.frames()
    }

    /// Whether there is no sample at all.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Number of channels.
    pub fn channels(&self) -> usize {
        self.store.channels()
    }

    /// How long the part at hand is.
    pub fn seconds(&self) -> Seconds {
        Seconds::from_sample(self.len(), RATE)
    }

    /// Fills `out` with the samples of `channel` from sample `start` on; silence outside the recording.
    pub fn read(&self, channel: usize, start: isize, out: &mut [f32]) {
        let channels = self.channels();
        if channel >= channels {
            return out.fill(0.0);
        }
        self.fill(start, out, |block, out| {
            let samples = block.iter().skip(channel).step_by(channels);
            out.iter_mut()
                .zip(samples)
                .for_each(|(o, s)| *o = f32::from(*s) * self.unit);
        });
    }

    /// All samples, one slice a channel.
    pub fn samples(&self) -> Vec<Vec<f32>> {
        let mut all = vec![vec![0.0; self.len()]; self.channels()];
        for (channel, samples) in all.iter_mut().enumerate() {
            self.read(channel, 0, samples);
        }
        all
    }

    /// Fills `out` with the mean of all channels from sample `start` on; silence outside the recording.
    pub fn read_mono(&self, start: isize, out: &mut [f32]) {
        let channels = self.channels().max(1);
        let unit = self.unit / channels as f32;
        let share = |s: &i16| f32::from(*s) * unit;
        self.fill(start, out, |block, out| match channels {
            // Plain loops for the usual cases, which the compiler turns into vector instructions.
            1 => out.iter_mut().zip(block).for_each(|(o, s)| *o = share(s)),
            2 => {
                let (pairs, _) = block.as_chunks::<2>();
                out.iter_mut()
                    .zip(pairs)
                    .for_each(|(o, [a, b])| *o = share(a) + share(b));
            }
            _ => {
                let frames = block.chunks_exact(channels);
                out.iter_mut()
                    .zip(frames)
                    .for_each(|(o, frame)| *o = frame.iter().map(share).sum());
            }
        });
    }

    /// Fills `out` from sample `start` on, block by block; silence outside the recording.
    fn fill(&self, start: isize, out: &mut [f32], write: impl Fn(&[i16], &mut [f32])) {
        let skip = start.min(0).unsigned_abs().min(out.len());
        let first = start.max(0) as usize;
        let there = self.len().saturating_sub(first).min(out.len() - skip);
        let (before, rest) = out.split_at_mut(skip);
        let (mut present, after) = rest.split_at_mut(there);
        before.fill(0.0);
        after.fill(0.0);
        self.store.each(first, there, |block| {
            let rest = std::mem::take(&mut present);
            let frames = block.len() / self.channels().max(1);
            let end = frames.min(rest.len());
            let (now, later) = rest.split_at_mut(end);
            write(block, now);
            present = later;
        });
        // What a working file did not give back.
        present.fill(0.0);
    }
}

/// A recording that is being read in, frame by frame.
pub(super) struct Taking {
    filling: Filling,
    peak: f32,
    /// A block as it is kept.
    frames: Vec<i16>,
}

impl Taking {
    /// Of so many channels, no sample louder than `peak`.
    pub(super) fn new(channels: usize, peak: f32) -> Self {
        Taking {
            filling: Filling::new(channels),
            peak,
            frames: Vec::new(),
        }
    }

    /// Adds a block to the end, one slice a channel.
    pub(super) fn append(&mut self, block: &[Vec<f32>]) -> io::Result<()> {
        self.take(block, 0, block.first().map_or(0, Vec::len))
    }

    /// Adds `count` frames of `channels` from frame `start` on; what a channel lacks is silence.
    fn take<C: AsRef<[f32]>>(&mut self, channels: &[C], start: usize, count: usize) -> io::Result<()> {
        self.frames.clear();
        self.frames.resize(count * channels.len(), 0);
        let scale = if self.peak > 0.0 {
            f32::from(i16::MAX) / self.peak
        } else {
            0.0
        };
        if let [left, right] = channels
            && from(left, start).len().min(from(right, start).len()) >= count
        {
            // Pairs, which the compiler turns into vector instructions.
            let (pairs, _) = self.frames.as_chunks_mut::<2>();
            let both = from(left, start).iter().zip(from(right, start));
            pairs
                .iter_mut()
                .zip(both)
                .for_each(|(pair, (l, r))| *pair = [stored(*l, scale), stored(*r, scale)]);
            return self.filling.push(&self.frames);
        }
        for (at, channel) in channels.iter().enumerate() {
            let samples = from(channel, start);
            let places = self.frames.iter_mut().skip(at).step_by(channels.len());
            places
                .zip(samples)
                .for_each(|(place, x)| *place = stored(*x, scale));
        }
        self.filling.push(&self.frames)
    }

    /// The recording, without the facts of its file.
    pub(super) fn finish(self) -> io::Result<Recording> {
        Ok(Recording {
            store: self.filling.finish()?,
            unit: self.peak / f32::from(i16::MAX),
            ..Recording::default()
        })
    }
}

/// The samples of a channel from `start` on.
fn from<C: AsRef<[f32]>>(channel: &C, start: usize) -> &[f32] {
    channel.as_ref().get(start..).unwrap_or_default()
}

/// A working file could not be written.
pub(super) fn no_room(file: &str, error: &io::Error) -> AudioError {
    AudioError::WorkingFile {
        file: file.to_owned(),
        reason: in_words(error),
    }
}

/// A sample as it is kept: times `scale`, to the nearest whole number. Not a number becomes silence, as `as` saturates.
fn stored(x: f32, scale: f32) -> i16 {
    if x.is_finite() {
        let scaled = x * scale;
        // By hand, as `round` is a call of a function for every sample.
        (scaled + 0.5f32.copysign(scaled)) as i16
    } else {
        0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_window_over_the_edges_reads_silence_outside() {
        let recording = Recording::from_channels(&[[0.5f32, -1.0, 0.25]]);
        let mut out = [9.0f32; 7];
        recording.read(0, -2, &mut out);
        let expected = [0.0, 0.0, 0.5, -1.0, 0.25, 0.0, 0.0];
        assert!(
            out.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-4),
            "{out:?}"
        );
    }

    #[test]
    fn mono_is_the_mean_of_the_channels() {
        let recording = Recording::from_channels(&[vec![1.0f32, 0.0], vec![0.0f32, 0.5]]);
        let mut out = [0.0f32; 2];
        recording.read_mono(0, &mut out);
        assert!(
            (out[0] - 0.5).abs() < 1e-4 && (out[1] - 0.25).abs() < 1e-4,
            "{out:?}"
        );
    }

    #[test]
    fn a_recording_without_channels_or_samples_reads_silence() {
        let mut out = [1.0f32; 3];
        Recording::from_channels::<Vec<f32>>(&[]).read_mono(5, &mut out);
        assert_eq!(out, [0.0; 3]);
        Recording::from_channels(&[[f32::NAN, f32::INFINITY]]).read(0, 0, &mut out);
        assert_eq!(out, [0.0; 3]);
    }
}
