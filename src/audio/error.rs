//! What can be wrong with a sound file, each in one line: the file, what is wrong, what to do.

use std::io;

use crate::files::in_words;

/// Why a recording cannot be read or written.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AudioError {
    /// The file cannot be opened or reading it failed.
    #[error("{file}: {reason}; check the path and that you may read it")]
    Unreadable {
        /// The file.
        file: String,
        /// What the system says.
        reason: String,
    },
    /// A folder, a device, anything that is not a file.
    #[error("{file}: this is {kind}, not a recording; name one sound file")]
    NotAFile {
        /// The path given.
        file: String,
        /// What it is.
        kind: &'static str,
    },
    /// A sound file of another kind.
    #[error("{file}: this is {kind}, which is not read; convert the recording to WAV (16 or 24 bit) or FLAC")]
    OtherKind {
        /// The file.
        file: String,
        /// What it is.
        kind: &'static str,
    },
    /// The bytes are no sound file.
    #[error(
        "{file}: this is no sound file ({reason}); WAV, FLAC, MP3, AAC in MP4, Ogg Vorbis and AIFF are read: export the recording as WAV"
    )]
    NotSound {
        /// The file.
        file: String,
        /// What gives it away.
        reason: &'static str,
    },
    /// The header stops early or lacks a part.
    #[error("{file}: the WAV header is damaged ({reason}); export or copy the recording again")]
    DamagedHeader {
        /// The file.
        file: String,
        /// What is missing or contradictory.
        reason: String,
    },
    /// Samples stored in a way that is not read.
    #[error(
        "{file}: its samples are {coding}; WAV is read as PCM of 8 to 32 bit or float of 32 or 64 bit: convert it"
    )]
    Coding {
        /// The file.
        file: String,
        /// How the samples are stored.
        coding: String,
    },
    /// A sound file of a kind that is read, which is damaged or uses what is not read.
    #[error(
        "{file}: this {kind} cannot be read ({reason}); export the recording again, or convert it to WAV"
    )]
    Damaged {
        /// The file.
        file: String,
        /// What it is.
        kind: &'static str,
        /// What the decoder stumbled over.
        reason: String,
    },
    /// The disk has no room for the samples, or gives them back wrong.
    #[error(
        "{file}: the working file for its samples failed ({reason}); free some space where temporary files go, or set TMPDIR to a folder with more room"
    )]
    WorkingFile {
        /// The recording.
        file: String,
        /// What the system says.
        reason: String,
    },
    /// More channels than are read, or none.
    #[error("{file}: it has {given} channels; 1 to 8 are read: export it as stereo")]
    Channels {
        /// The file.
        file: String,
        /// The number in the header.
        given: u16,
    },
    /// A sample rate outside the range.
    #[error("{file}: its sample rate is {given} Hz; 8000 to 192000 Hz are read: export it at 44100 Hz")]
    Rate {
        /// The file.
        file: String,
        /// The number in the header.
        given: u32,
    },
    /// A header without a single sample.
    #[error("{file}: it holds no sound at all; record or export it again")]
    NoSound {
        /// The file.
        file: String,
    },
    /// A sample that is no number.
    #[error(
        "{file}: the sample at {seconds:.5} s is {given}, no sound; export the recording again as 24-bit PCM"
    )]
    BadSample {
        /// The file.
        file: String,
        /// Where the first one lies, from the start of the file.
        seconds: f64,
        /// Its value in words or digits.
        given: String,
    },
    /// The wanted part is empty or lies outside the recording.
    #[error("{file}: cannot take the part from {from} s to {to}: {rule}; the recording lasts {seconds:.2} s")]
    Part {
        /// The file.
        file: String,
        /// The start asked for.
        from: f64,
        /// The end asked for, in words.
        to: String,
        /// The rule broken.
        rule: &'static str,
        /// Length of the recording.
        seconds: f64,
    },
    /// Changing the sample rate failed.
    #[error(
        "{file}: the sample rate of {given} Hz cannot be changed to 44100 Hz ({reason}); export it at 44100 Hz"
    )]
    Resampling {
        /// The file.
        file: String,
        /// The file's rate.
        given: u32,
        /// What the resampler says.
        reason: String,
    },
    /// A sound file cannot be written.
    #[error("{file}: cannot be written ({reason}); check the folder, its permissions and the free space")]
    Unwritable {
        /// The file.
        file: String,
        /// What the system says.
        reason: String,
    },
}

/// A failed read of `file`.
pub(super) fn unreadable(file: &str, error: &io::Error) -> AudioError {
    AudioError::Unreadable {
        file: file.to_owned(),
        reason: in_words(error),
    }
}
