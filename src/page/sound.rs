//! The recording's sound beside the page: parts of it as scripts, and where something is struck in it.
//!
//! In: samples, part by part, so that a long recording is never in memory twice. Out: for each part a script that hands
//! its FLAC to the page, and [`Sound`], which tells the page what lies there.

use std::borrow::Cow;
use std::io::{self, Write};

use base64::prelude::BASE64_STANDARD;
use base64::write::EncoderWriter;
use serde::Serialize;

use super::flac;
use crate::practice::stretch::more_attacks;
use crate::units::Seconds;

/// Seconds of sound in a part: short enough to come in a moment, long enough for few files.
pub const PART: usize = 20;
/// Attacks are looked for with so many samples of sound on either side of a part.
pub const AROUND: usize = 11_025;
/// No two attacks are farther apart than this many seconds, so that no stretch of silence has to be slowed in one
/// piece; what is copied whole for nothing does no harm.
const GAP: usize = 4;

/// What lies beside the page.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Sound {
    /// Samples a second.
    pub rate: u32,
    /// Channels.
    pub channels: usize,
    /// Where the first sample lies in the recording's file, in samples.
    pub start: usize,
    /// Samples beside the page.
    pub length: usize,
    /// Samples of the whole studied stretch; more than `length` when the page carries only its beginning.
    pub whole: usize,
    /// Samples in a part; the last one may be shorter.
    pub part: usize,
    /// Where something is struck, in samples from the first, rising.
    pub attacks: Vec<usize>,
    /// The loudest sample in thousandths of full scale.
    pub peak: u32,
}

/// One part of the sound.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Part {
    /// Which one, from 0.
    pub number: usize,
    /// Its first sample.
    pub first: usize,
    /// Its channels, with [`AROUND`] more samples before and after it.
    pub samples: Vec<Vec<f32>>,
}

/// What is known of a part: its FLAC, where something is struck in it, and its loudest sample.
#[derive(Debug, Clone, PartialEq)]
pub struct Written {
    /// What its script hands to the page.
    pub flac: Vec<u8>,
    /// Attacks, in samples of the whole sound.
    pub attacks: Vec<usize>,
    /// The loudest sample.
    pub peak: f32,
}

impl Sound {
    /// The sound of `whole` samples of which at most `most` go beside the page. `start` is where they begin in the file.
    pub fn new(rate: u32, channels: usize, start: Seconds, whole: usize, most: Seconds) -> Sound {
        let length = whole.min(most.to_sample(rate));
        Sound {
            rate,
            channels: if channels == 2 { 2 } else { channels.min(1) },
            start: start.to_sample(rate),
            length,
            whole,
            part: PART * rate as usize,
            attacks: Vec::new(),
            peak: 0,
        }
    }

    /// How many parts there are.
    pub fn parts(&self) -> usize {
        if self.channels == 0 {
            0
        } else {
            self.length.div_ceil(self.part.max(1))
        }
    }

    /// Samples in a part.
    pub fn length_of(&self, number: usize) -> usize {
        self.length.saturating_sub(number * self.part).min(self.part)
    }

    /// Takes in what was found in the parts, in their order.
    pub fn gather<'a>(&mut self, parts: impl Iterator<Item = &'a Written>) {
        let mut peak = 0.0f32;
        self.attacks.clear();
        for part in parts {
            peak = peak.max(part.peak);
            self.attacks.extend(&part.attacks);
        }
        self.attacks.sort_unstable();
        self.attacks.dedup();
        self.attacks = without_gaps(&self.attacks, self.length, GAP * self.rate as usize);
        self.peak = (peak * 1000.0).round() as u32;
    }
}

/// Attacks with more of them put in where none comes for longer than `most`.
fn without_gaps(attacks: &[usize], length: usize, most: usize) -> Vec<usize> {
    let mut all = Vec::with_capacity(attacks.len());
    let mut last = 0;
    for next in attacks.iter().copied().chain([length]) {
        while next > last + most {
            last += most;
            all.push(last);
        }
        last = next;
        if next < length {
            all.push(next);
        }
    }
    all
}

/// Name of a part's file in the study's folder.
pub fn name(number: usize) -> String {
    format!("sound/part-{:03}.js", number + 1)
}

/// Writes the script of a part, bit by bit: the text of it all would be in memory besides its bytes.
pub fn script(number: usize, flac: &[u8], out: &mut dyn Write) -> io::Result<()> {
    write!(out, "overbar.part({number}, \"")?;
    let mut text = EncoderWriter::new(&mut *out, &BASE64_STANDARD);
    text.write_all(flac)?;
    text.finish()?;
    drop(text);
    out.write_all(b"\");\n")
}

/// Makes what is known of a part. `strokes` are the study's strokes in samples of the whole sound.
pub fn write(sound: &Sound, part: &Part, strokes: &[usize]) -> Written {
    let length = sound.length_of(part.number);
    let begin = part.first.saturating_sub(AROUND);
    let before = part.first - begin;
    let known: Vec<usize> = strokes
        .iter()
        .filter_map(|stroke| stroke.checked_sub(begin))
        .filter(|at| *at < before + length + AROUND)
        .collect();
    let attacks = [more_attacks(&part.samples, &known), known].concat();
    let own = before..before + length;
    let mixed = mixed(&part.samples, sound.channels);
    let inner: Vec<&[f32]> = mixed
        .iter()
        .map(|channel| {
            channel
                .get(own.start..own.end.min(channel.len()))
                .unwrap_or_default()
        })
        .collect();
    let samples = inner.iter().flat_map(|channel| channel.iter());
    let peak = samples.fold(0.0f32, |peak, s| peak.max(s.abs()));
    Written {
        flac: flac::encode(&inner, sound.rate).unwrap_or_default(),
        attacks: attacks
            .into_iter()
            .filter(|at| own.contains(at))
            .map(|at| at + begin)
            .collect(),
        peak,
    }
}

/// The sound in `wanted` channels: as it is, or the mean of all.
fn mixed(samples: &[Vec<f32>], wanted: usize) -> Cow<'_, [Vec<f32>]> {
    if samples.len() == wanted {
        return Cow::Borrowed(samples);
    }
    let length = samples.iter().map(Vec::len).max().unwrap_or(0);
    let mut mean = vec![0.0f32; length];
    for channel in samples {
        for (sum, s) in mean.iter_mut().zip(channel) {
            *sum += s / samples.len() as f32;
        }
    }
    Cow::Owned(vec![mean])
}
