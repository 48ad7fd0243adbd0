//! Samples -> a 16-bit WAV file, written beside its place and renamed so that no half file is ever seen.

use std::fs::{self, File};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};

use hound::{SampleFormat, WavSpec, WavWriter};

use super::error::AudioError;
use crate::files::{in_words, shown};

/// Writes `channels` (full scale 1, louder is clipped; shorter ones are filled up with silence) at `rate` samples a
/// second. A file that is already there is replaced, in one step.
pub fn write_wav(path: &Path, channels: &[Vec<f32>], rate: u32) -> Result<(), AudioError> {
    let mut beside = path.as_os_str().to_owned();
    beside.push(".part");
    let beside = PathBuf::from(beside);
    let written =
        write_to(&beside, channels, rate).and_then(|()| fs::rename(&beside, path).map_err(|e| in_words(&e)));
    written.map_err(|reason| {
        // The half file is of no use; if it cannot be removed either, the first fault is the one to tell.
        let _ = fs::remove_file(&beside);
        AudioError::Unwritable {
            file: shown(path),
            reason,
        }
    })
}

fn write_to(path: &Path, channels: &[Vec<f32>], rate: u32) -> Result<(), String> {
    let spec = WavSpec {
        channels: u16::try_from(channels.len())
            .ok()
            .filter(|n| *n > 0)
            .ok_or("it needs 1 to 65535 channels")?,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: SampleFormat::Int,
    };
    let words = |e: hound::Error| match e {
        hound::Error::IoError(e) => in_words(&e),
        other => other.to_string(),
    };
    let io = |e: io::Error| in_words(&e);
    let mut writer = WavWriter::new(BufWriter::new(File::create(path).map_err(io)?), spec).map_err(words)?;
    for frame in 0..channels.iter().map(Vec::len).max().unwrap_or(0) {
        for channel in channels {
            // `as` saturates: louder than full scale is clipped, not a number becomes silence.
            let sample = channel.get(frame).copied().unwrap_or(0.0) * 32768.0;
            writer.write_sample(sample.round() as i16).map_err(words)?;
        }
    }
    writer.finalize().map_err(words)?;
    File::open(path).and_then(|file| file.sync_all()).map_err(io)
}
