//! A sound file -> [`Recording`], in passes over the file so that memory does not grow with it.

use std::fs::File;
use std::io::{self, Cursor, Read, Seek};
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use sha2::{Digest, Sha256};

use super::error::{AudioError, unreadable};
use super::kind::{HEAD, Kind, kind};
use super::recording::{Recording, Source, Taking, no_room};
use super::resample::Converter;
use super::samples::Samples;
use super::survey::Survey;
use super::wav::{Header, read_up_to};
use super::{RATE, coded, wav};
use crate::files::{in_words, one_line, shown};
use crate::options::AudioOptions;
use crate::units::Seconds;

/// Reads the wanted part of the sound file at `path`, at [`RATE`]: WAV, FLAC, MP3, AAC, Ogg Vorbis or AIFF, or the
/// sound of an MP4 or Matroska film. What it is is told from its bytes, not from its name.
///
/// Every fault is one line that names the file. A file whose data stop before the header says so is read as far as
/// it goes, with a warning.
pub fn read(path: &Path, options: &AudioOptions) -> Result<Recording, AudioError> {
    check_file(path)?;
    let name = shown(path);
    let io = |e: io::Error| unreadable(&name, &e);
    let file = path
        .file_name()
        .map_or_else(|| name.clone(), |f| one_line(&f.to_string_lossy()));
    let open = || File::open(path);
    read_from(open().map_err(io)?, open, file, options, &name)
}

/// The same for the bytes of a file called `name`.
pub fn read_bytes(bytes: Vec<u8>, name: &str, options: &AudioOptions) -> Result<Recording, AudioError> {
    let source = Cursor::new(Arc::<[u8]>::from(bytes));
    let again = source.clone();
    read_from(source, move || Ok(again), name.to_owned(), options, name)
}

/// Whether `path` is a file at all, to be asked before anything is named after it.
pub fn check_file(path: &Path) -> Result<(), AudioError> {
    let name = shown(path);
    let meta = std::fs::metadata(path).map_err(|e| unreadable(&name, &e))?;
    if !meta.is_file() {
        return Err(AudioError::NotAFile {
            file: name,
            kind: if meta.is_dir() {
                "a folder"
            } else {
                "a device or a pipe"
            },
        });
    }
    Ok(())
}

/// Reads `source`; `again` gives it once more, for what has to go through all its bytes beside.
fn read_from<S: coded::Source>(
    mut source: S,
    again: impl FnOnce() -> io::Result<S> + Send,
    file: String,
    options: &AudioOptions,
    name: &str,
) -> Result<Recording, AudioError> {
    let io = |e: io::Error| unreadable(name, &e);
    let length = source.byte_len().unwrap_or(0);
    let mut head = [0u8; HEAD];
    let got = read_up_to(&mut source, &mut head).map_err(io)?;
    let head = head.get(..got).unwrap_or_default();
    let not_sound = |reason| AudioError::NotSound {
        file: name.to_owned(),
        reason,
    };
    let kind = match kind(head) {
        _ if head.is_empty() => return Err(not_sound("it is empty")),
        Kind::Unknown => return Err(not_sound("it does not begin as one")),
        Kind::Other(kind) => {
            return Err(AudioError::OtherKind {
                file: name.to_owned(),
                kind,
            });
        }
        Kind::Wav => None,
        Kind::Coded(kind) => Some(kind),
    };
    source.rewind().map_err(io)?;
    let (sha256, recording) = rayon::join(
        || again().and_then(|mut source| digest(&mut source)),
        || decode_from(source, kind, (file, length), options, name),
    );
    let sha256 = sha256.map_err(io)?;
    let mut recording = recording?;
    recording.source.sha256 = sha256;
    Ok(recording)
}

/// All of it but the digest. `kind` is what a source of `length` bytes has instead of plain samples.
fn decode_from<S: coded::Source>(
    mut source: S,
    kind: Option<&'static str>,
    (file, length): (String, u64),
    options: &AudioOptions,
    name: &str,
) -> Result<Recording, AudioError> {
    let facts = |header: &Header| Source {
        file,
        sha256: String::new(),
        seconds: Seconds(header.frames as f64 / f64::from(header.rate)),
        sample_rate: header.rate,
        channels: header.channels,
    };
    let Some(kind) = kind else {
        let header = wav::parse(&mut source, length, name)?;
        let facts = facts(&header);
        return decode(Samples::new(source, header), options, facts, name);
    };
    let decoded = coded::decode(source, kind, name)?;
    let facts = facts(&decoded.header);
    let mut recording = decode(
        Samples::new(decoded.samples, decoded.header),
        options,
        facts,
        name,
    )?;
    recording.warnings.splice(..0, decoded.warnings);
    Ok(recording)
}

/// The whole work after the header, for anything that holds the bytes.
pub(super) fn decode<R: Read + Seek>(
    mut samples: Samples<R>,
    options: &AudioOptions,
    source: Source,
    name: &str,
) -> Result<Recording, AudioError> {
    let header = samples.header().clone();
    let (rate, channels) = (header.rate, usize::from(header.channels));
    let frames = part(header.frames, rate, options, name)?;
    samples.settle().map_err(|e| unreadable(name, &e))?;

    let mut survey = Survey::new(rate, channels, header.coding.full_scale());
    samples
        .each(frames.clone(), |first, block| {
            survey
                .add(first, block)
                .map_err(|(frame, value)| Fault::Bad(frame, value))
        })
        .map_err(|fault| fault.named(name, rate))?;

    // Filtering can overshoot: the peak that scales the store is that of the sound at the new rate.
    let mut peak = survey.peak;
    if rate != RATE {
        peak = 0.0;
        let louder = |peak: f32, x: &f32| peak.max(x.abs());
        at_rate(&mut samples, frames.clone(), &mut |block| {
            peak = block.iter().flatten().fold(peak, louder);
        })
        .map_err(|fault| fault.named(name, rate))?;
    }
    let start = Seconds(frames.start as f64 / f64::from(rate));
    let mut taking = Taking::new(channels, peak);
    let mut kept = Ok(());
    at_rate(&mut samples, frames, &mut |block| {
        if kept.is_ok() {
            kept = taking.append(block);
        }
    })
    .map_err(|fault| fault.named(name, rate))?;
    let kept = kept.and_then(|()| taking.finish());
    let mut recording = kept.map_err(|e| no_room(name, &e))?;

    recording.start = start;
    recording.source = source;
    recording.warnings = survey.warnings();
    if let Some(promised) = header.promised.filter(|promised| *promised > header.frames) {
        recording.warnings.insert(
            0,
            format!(
                "the file is cut short: its header promises {:.1} s, {:.1} s are there",
                promised as f64 / f64::from(rate),
                header.frames as f64 / f64::from(rate)
            ),
        );
    }
    Ok(recording)
}

/// A fault inside a pass, before the file's name is put to it.
enum Fault {
    Io(io::Error),
    Bad(u64, f32),
    Rate(String),
}

impl From<io::Error> for Fault {
    fn from(error: io::Error) -> Self {
        Fault::Io(error)
    }
}

impl Fault {
    fn named(self, name: &str, rate: u32) -> AudioError {
        let file = name.to_owned();
        match self {
            Fault::Io(error) => AudioError::Unreadable {
                file,
                reason: in_words(&error),
            },
            Fault::Bad(frame, value) => AudioError::BadSample {
                file,
                seconds: frame as f64 / f64::from(rate),
                given: if value.is_nan() {
                    "not a number".to_owned()
                } else {
                    format!("{value:.0e}")
                },
            },
            Fault::Rate(reason) => AudioError::Resampling {
                file,
                given: rate,
                reason,
            },
        }
    }
}

/// Hands the frames to `visit` at [`RATE`].
fn at_rate<R: Read + Seek>(
    samples: &mut Samples<R>,
    frames: Range<u64>,
    visit: &mut dyn FnMut(&[Vec<f32>]),
) -> Result<(), Fault> {
    let (rate, channels) = (samples.header().rate, usize::from(samples.header().channels));
    if rate == RATE {
        return samples.each(frames, |_, block| {
            visit(block);
            Ok(())
        });
    }
    let mut converter = Converter::new(rate, channels, frames.end - frames.start).map_err(Fault::Rate)?;
    samples.each(frames, |_, block| {
        converter.push(block, visit).map_err(Fault::Rate)
    })?;
    converter.finish(visit).map_err(Fault::Rate)
}

/// The frames between the times asked for.
fn part(frames: u64, rate: u32, options: &AudioOptions, name: &str) -> Result<Range<u64>, AudioError> {
    if frames == 0 {
        return Err(AudioError::NoSound {
            file: name.to_owned(),
        });
    }
    let seconds = frames as f64 / f64::from(rate);
    let from = options.from.map_or(0.0, |s| s.0);
    let to = options.to.map_or(seconds, |s| s.0.min(seconds));
    // `as` saturates: beyond the end becomes the end.
    let frame = |s: f64| ((s * f64::from(rate)).round() as u64).min(frames);
    let rule = if from.is_nan() || from < 0.0 {
        "the start must be 0 or later"
    } else if from >= seconds {
        "the start lies beyond the end of the recording"
    } else if !(options.to.is_none_or(|s| s.0 > from)) {
        "the end must come after the start"
    } else if frame(to) <= frame(from) {
        "not one sample lies in it"
    } else {
        return Ok(frame(from)..frame(to));
    };
    Err(AudioError::Part {
        file: name.to_owned(),
        from,
        to: options
            .to
            .map_or_else(|| "the end".to_owned(), |s| format!("{} s", s.0)),
        rule,
        seconds,
    })
}

/// SHA-256 of the whole file, in hexadecimal.
pub(super) fn digest<R: Read + Seek>(file: &mut R) -> io::Result<String> {
    file.rewind()?;
    let mut hasher = Sha256::new();
    io::copy(file, &mut hasher)?;
    Ok(hasher
        .finalize()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect())
}
