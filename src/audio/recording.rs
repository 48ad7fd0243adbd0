//! A recording in memory: samples at [`RATE`](super::RATE), kept small so that an hour fits.
//!
//! Samples are stored as 16-bit numbers scaled to the recording's own peak: half the memory of floats, with
//! rounding 96 dB under the loudest sample, far under any room. Stages read windows and never see the store.

use crate::audio::RATE;
use crate::units::Seconds;

/// The samples of a recording, one store a channel, all of the same length, with what its file says of itself.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Recording {
    /// Panning tells drums apart, so channels are never mixed here.
    channels: Vec<Vec<i16>>,
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
        let mut recording = Recording::with_room(channels.len(), length, peak);
        for (kept, channel) in recording.channels.iter_mut().zip(channels) {
            kept.extend(channel.as_ref().iter().map(|x| stored(*x, peak)));
            kept.resize(length, 0);
        }
        recording.source = Source {
            seconds: Seconds::from_sample(length, RATE),
            sample_rate: RATE,
            channels: channels.len() as u16,
            ..Source::default()
        };
        recording
    }

    /// An empty recording with room for `length` samples a channel, none louder than `peak`.
    pub(super) fn with_room(channels: usize, length: usize, peak: f32) -> Self {
        Recording {
            channels: (0..channels).map(|_| Vec::with_capacity(length)).collect(),
            unit: peak / f32::from(i16::MAX),
            ..Recording::default()
        }
    }

    /// Adds a block to the end, one slice a channel.
    pub(super) fn append(&mut self, block: &[Vec<f32>]) {
        let peak = self.unit * f32::from(i16::MAX);
        for (kept, channel) in self.channels.iter_mut().zip(block) {
            kept.extend(channel.iter().map(|x| stored(*x, peak)));
        }
    }

    /// Samples in each channel.
    pub fn len(&self) -> usize {
        self.channels.first().map_or(0, Vec::len)
    }

    /// Whether there is no sample at all.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Number of channels.
    pub fn channels(&self) -> usize {
        self.channels.len()
    }

    /// How long the part in memory is.
    pub fn seconds(&self) -> Seconds {
        Seconds::from_sample(self.len(), RATE)
    }

    /// Fills `out` with the samples of `channel` from sample `start` on; silence outside the recording.
    pub fn read(&self, channel: usize, start: isize, out: &mut [f32]) {
        out.fill(0.0);
        self.add(channel, start, self.unit, out);
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
        out.fill(0.0);
        let unit = self.unit / self.channels.len().max(1) as f32;
        (0..self.channels.len()).for_each(|channel| self.add(channel, start, unit, out));
    }

    fn add(&self, channel: usize, start: isize, unit: f32, out: &mut [f32]) {
        let Some(samples) = self.channels.get(channel) else {
            return;
        };
        let skip = (-start).max(0) as usize;
        let first = start.max(0) as usize;
        let present = samples.get(first..).unwrap_or_default();
        for (o, s) in out.iter_mut().skip(skip).zip(present) {
            *o += f32::from(*s) * unit;
        }
    }
}

/// A sample as it is kept: a share of `peak`. Not a number becomes silence, as `as` saturates.
fn stored(x: f32, peak: f32) -> i16 {
    if peak > 0.0 && x.is_finite() {
        (x / peak * f32::from(i16::MAX)).round() as i16
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
