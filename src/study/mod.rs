//! The study: plain values of everything that was found, and its folder on disk.
//!
//! `hits.tsv` holds the rows, which a player may edit; `study.json` all the rest. [`corrections`] finds what was
//! edited and keeps it from run to run; [`write()`] and [`read()`] keep the two files together.

mod adapt;
mod build;
mod cells;
mod copies;
pub mod corrections;
mod document;
mod error;
mod folder;
mod kit_file;
mod layout;
mod limbs;
mod lock;
mod outbox;
mod pairs;
mod row;
mod sheet;
mod tick;
mod write_sheet;

#[cfg(test)]
mod examples;
#[cfg(test)]
mod schema_check;
#[cfg(test)]
mod tests;

pub use adapt::Moved;
pub use copies::date;
pub use error::{BadCell, StudyError};
pub use folder::{Saved, check_destination, read, write, write_file, write_file_by};
pub use kit_file::{KitFile, read_body, read_kit};
pub use lock::{Lock, lock};
pub use outbox::{Outbox, write_many};

use serde::{Deserialize, Serialize};

use crate::cycles::{Cycle, LengthTried};
use crate::grid::{Grid, Place};
use crate::names::{Layer, Limb, Voice};
use crate::options::Options;
use crate::stickings::Stickings;
use crate::units::{Millis, Seconds, Steps};
use crate::voices::{Hit, Timbre};

/// The JSON Schema (draft 2020-12) of `study.json`.
pub const SCHEMA: &str = include_str!("study.schema.json");

const HITS: &str = "hits.tsv";
const STUDY: &str = "study.json";
const KIT: &str = "kit.toml";
/// What is known of every attempt, in a study's folder.
pub const TAKES: &str = "takes.jsonl";
/// Where practice material lies in a study's folder.
pub const PRACTICE: &str = "practice";

/// Recordings whose lengths differ by less are taken for two files of the same sound, such as a WAV and its MP3,
/// which pads a few frames of 26 ms at most [M].
const SAME_LENGTH: Seconds = Seconds(0.1);

/// The recording a study was made of.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RecordingFacts {
    /// File name without its folder.
    pub file: String,
    /// SHA-256 of the file, hexadecimal.
    pub sha256: String,
    /// Length of the whole file.
    pub seconds: Seconds,
    /// Samples a second in the file.
    pub sample_rate: u32,
    /// Channels in the file.
    pub channels: u16,
}

/// How one recording stands to another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kin {
    /// The same bytes.
    Same,
    /// Another file of the same length: it may be the same sound saved anew.
    AsLong,
    /// Another recording.
    Other,
}

impl RecordingFacts {
    /// How this recording stands to another.
    pub fn kin(&self, other: &RecordingFacts) -> Kin {
        if self.sha256 == other.sha256 {
            Kin::Same
        } else if (self.seconds - other.seconds).0.abs() <= SAME_LENGTH.0 {
            Kin::AsLong
        } else {
            Kin::Other
        }
    }
}

/// One row of the study: a stroke with its place and what is known of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Stroke {
    /// Time, voice, level, mark, sure.
    pub hit: Hit,
    /// Step on the grid, if there is a grid.
    pub step: Option<Steps>,
    /// The same as bar, beat and step.
    pub place: Option<Place>,
    /// How late it comes after its step.
    pub late: Option<Millis>,
    /// Which limb.
    pub limb: Option<Limb>,
    /// Which line.
    pub layer: Option<Layer>,
}

/// How often a voice strikes, and where to hear it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VoiceCount {
    /// The voice.
    pub voice: Voice,
    /// Its strokes.
    pub hits: usize,
    /// Up to five times at which it is heard well.
    pub example_times: Vec<Seconds>,
}

/// A group of strokes that sound alike, and what the player calls it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GroupFacts {
    /// Its name: the voice that the program takes it for.
    pub group: Voice,
    /// The voice that its strokes bear.
    pub voice: Voice,
    /// The limb that plays it, where the player has said so.
    pub limb: Option<Limb>,
    /// The player's note.
    pub note: String,
    /// Its strokes, but for those that the player has renamed one by one.
    pub hits: usize,
    /// Up to five times at which it is heard well.
    pub example_times: Vec<Seconds>,
    /// Its sound.
    #[serde(flatten)]
    pub sound: Timbre,
}

/// Everything that was found in a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Study {
    /// The recording.
    pub recording: RecordingFacts,
    /// What the player told.
    pub options: Options,
    /// Every stroke, by time.
    pub strokes: Vec<Stroke>,
    /// The grid.
    pub grid: Grid,
    /// Figures, best first.
    pub cycles: Vec<Cycle>,
    /// The figure that comes closest without being proved.
    pub open: Option<Cycle>,
    /// Every length tried.
    pub lengths: Vec<LengthTried>,
    /// Who plays what, and the cells of the free line.
    pub stickings: Stickings,
    /// Voices with their counts.
    pub voices: Vec<VoiceCount>,
    /// The groups of strokes that were heard, as [`corrections::Corrections::groups`] gives them.
    pub groups: Vec<GroupFacts>,
    /// What the player should know.
    pub warnings: Vec<String>,
}
