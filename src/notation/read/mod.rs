//! A written drum score in a file -> its notes: where in quarter notes, and which voice.
//!
//! In: bytes of a Standard MIDI File (MIDI Manufacturers Association, 1996) or of a MusicXML score (W3C Music Notation
//! Community Group, MusicXML 4.0, 2021; partwise, not compressed). Out: [`Written`]. Repeat signs are not played out
//! and grace notes are left out; the warnings say so.

mod midi;
mod musicxml;
#[cfg(test)]
mod tests;
mod voices;

use std::path::{Path, PathBuf};

use crate::files::{self, in_words, shown};
use crate::grid::Meter;
use crate::names::Voice;

/// More bytes than any score of drums has.
const MOST_BYTES: u64 = 64 << 20;

/// A note of a score.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WrittenNote {
    /// Where it stands, in quarter notes from the beginning of the score.
    pub quarters: f64,
    /// What is struck.
    pub voice: Voice,
}

/// A score as far as it can be held against a recording.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Written {
    /// Its notes, by place.
    pub notes: Vec<WrittenNote>,
    /// Its first meter, where it states one.
    pub meter: Option<Meter>,
    /// What was left out.
    pub warnings: Vec<String>,
}

/// Why a score cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ScoreError {
    /// The file cannot be read.
    #[error(
        "{}: the score cannot be read: {}; check the path and that you may read it",
        shown(file),
        in_words(source)
    )]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// It is neither kind of file.
    #[error(
        "{}: {reason}; give a MIDI file (.mid) or uncompressed MusicXML (.musicxml)",
        shown(file)
    )]
    Unknown {
        /// The file.
        file: PathBuf,
        /// What it looks like instead.
        reason: &'static str,
    },
    /// It is one of them, but broken.
    #[error("{}: {reason}; export it anew from the program that wrote it", shown(file))]
    Broken {
        /// The file.
        file: PathBuf,
        /// What is wrong with it, and where.
        reason: String,
    },
    /// It has no notes.
    #[error("{}: no drum notes in it", shown(file))]
    Empty {
        /// The file.
        file: PathBuf,
    },
}

/// Reads a score.
pub fn read(file: &Path) -> Result<Written, ScoreError> {
    let unreadable = |source| ScoreError::Unreadable {
        file: file.to_owned(),
        source,
    };
    parse(&files::read(file, MOST_BYTES).map_err(unreadable)?, file)
}

/// Reads a score from its bytes; `file` is its name for messages.
pub fn parse(bytes: &[u8], file: &Path) -> Result<Written, ScoreError> {
    let file = file.to_owned();
    let text = std::str::from_utf8(bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes));
    let read = match (bytes, text) {
        ([b'M', b'T', b'h', b'd', ..], _) => midi::read(bytes),
        ([b'P', b'K', ..], _) => {
            let reason = "this looks like compressed MusicXML";
            return Err(ScoreError::Unknown { file, reason });
        }
        (_, Ok(text)) if text.trim_start().starts_with('<') => musicxml::read(text),
        _ => {
            let reason = "neither MIDI nor MusicXML in UTF-8";
            return Err(ScoreError::Unknown { file, reason });
        }
    };
    let mut written = match read {
        Ok(written) => written,
        Err(reason) => return Err(ScoreError::Broken { file, reason }),
    };
    written
        .notes
        .sort_by(|a, b| a.quarters.total_cmp(&b.quarters).then(a.voice.cmp(&b.voice)));
    written.notes.dedup();
    if written.notes.is_empty() {
        return Err(ScoreError::Empty { file });
    }
    Ok(written)
}
