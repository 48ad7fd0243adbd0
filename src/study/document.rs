//! `study.json`: everything in a study but its rows, and what the program needs to know its own last writing by.
//!
//! The schema beside this file says what each key means; the times of `hits.tsv` are not repeated but for the rows
//! as they were written, by which edits are found.

use std::collections::BTreeMap;
use std::path::Path;

use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::corrections::{Corrections, Written};
use super::error::StudyError;
use super::folder::{part_of, read_if_there};
use super::{GroupFacts, HITS, RecordingFacts, STUDY, Stroke, Study, VoiceCount, layout};
use crate::cycles::{Cycle, LengthTried, Moment};
use crate::grid::{Grid, Lateness, Meter, Rival, Swing, UnevenBeat, lateness};
use crate::names::Voice;
use crate::options::Options;
use crate::stickings::Stickings;
use crate::units::{Bpm, Seconds};

const FORMAT: &str = "overbar-study";
const VERSION: u64 = 1;

/// More steps in a beat, or beats in a bar, than any notation has.
const MOST_STEPS: u32 = 128;

/// More bars, or steps in a cycle, than any recording has.
const MOST: u64 = 1_000_000;

/// The file as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Document {
    format: String,
    version: u64,
    pub(super) recording: RecordingFacts,
    hints: Hints,
    grid: GridFacts,
    cycles: Vec<Cycle>,
    #[serde(default)]
    open: Option<Cycle>,
    lengths: Vec<LengthTried>,
    stickings: Stickings,
    voices: Vec<VoiceCount>,
    #[serde(default)]
    groups: Vec<GroupFacts>,
    warnings: Vec<String>,
    pub(super) corrections: Corrections,
    pub(super) written: Writing,
}

/// The last writing of `hits.tsv`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Writing {
    /// SHA-256 of its bytes, hexadecimal.
    pub(super) sha256: String,
    /// SHA-256 of `kit.toml` as it was written with it.
    #[serde(default)]
    pub(super) kit_sha256: Option<String>,
    /// Its rows, as far as a player may edit them.
    pub(super) rows: Vec<Written>,
}

/// What the player told; `null` is "find it".
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Hints {
    tempo_bpm: Option<Bpm>,
    meter: Option<Meter>,
    steps_per_beat: Option<u32>,
    downbeat: Option<Seconds>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    beats: Vec<Seconds>,
    from: Option<Seconds>,
    to: Option<Seconds>,
    mix: bool,
    #[serde(default = "eight")]
    phrase_bars: u32,
}

/// The phrase of studies that were written before it could be told.
fn eight() -> u32 {
    Options::default().cycles.phrase_bars
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct GridFacts {
    tempo_bpm: Bpm,
    meter: Meter,
    steps_per_beat: u32,
    beats: Vec<Seconds>,
    downbeats: Vec<Seconds>,
    sure: f64,
    rivals: Vec<Rival>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    swing: Option<Swing>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    uneven: Vec<Uneven>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    lateness: Vec<Lateness>,
}

/// A beat that is divided otherwise than the piece.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Uneven {
    bar: i64,
    beat: i64,
    time: Seconds,
    steps_per_beat: u32,
}

impl Document {
    /// The document of a study whose `hits.tsv` has this digest.
    pub(super) fn of(
        study: &Study,
        corrections: &Corrections,
        sha256: String,
        kit_sha256: Option<String>,
    ) -> Document {
        Document {
            format: FORMAT.to_owned(),
            version: VERSION,
            recording: study.recording.clone(),
            hints: Hints::of(&study.options),
            grid: GridFacts::of(study),
            cycles: study.cycles.clone(),
            open: study.open.clone(),
            lengths: study.lengths.clone(),
            stickings: study.stickings.clone(),
            voices: study.voices.clone(),
            groups: study.groups.clone(),
            warnings: study.warnings.clone(),
            corrections: corrections.clone(),
            written: Writing {
                sha256,
                kit_sha256,
                rows: study.strokes.iter().map(Written::of).collect(),
            },
        }
    }

    /// The voices that the groups bore where it was not their own, and the digest of the kit file.
    pub(super) fn kit(&self) -> (BTreeMap<Voice, Voice>, Option<String>) {
        let renamed = self.groups.iter().filter(|facts| facts.voice != facts.group);
        let was = renamed.map(|facts| (facts.group, facts.voice)).collect();
        (was, self.written.kit_sha256.clone())
    }

    /// The study, with the strokes that `hits.tsv` holds.
    pub(super) fn into_study(self, strokes: impl FnOnce(&Grid) -> Vec<Stroke>) -> Study {
        let grid = self.grid.into_grid();
        Study {
            recording: self.recording,
            options: self.hints.into_options(),
            strokes: strokes(&grid),
            grid,
            cycles: self.cycles,
            open: self.open,
            lengths: self.lengths,
            stickings: self.stickings,
            voices: self.voices,
            groups: self.groups,
            warnings: self.warnings,
        }
    }

    /// What no stage of this program would write and none could work with.
    fn fault(&self) -> Option<&'static str> {
        let GridFacts {
            meter,
            steps_per_beat,
            beats,
            swing,
            uneven,
            ..
        } = &self.grid;
        let rising = beats.is_sorted_by(|a, b| a < b);
        let far = |moment: &Moment| {
            [moment.bar, moment.beat, moment.step]
                .iter()
                .any(|n| n.unsigned_abs() > MOST)
        };
        let short = |cycle: &Cycle| cycle.length_steps == 0 || u64::from(cycle.length_steps) > MOST;
        let faults = [
            (
                !(1..=MOST_STEPS).contains(steps_per_beat),
                "grid.steps_per_beat is out of range",
            ),
            (
                ![meter.count, meter.unit]
                    .iter()
                    .all(|n| (1..=MOST_STEPS).contains(n)),
                "grid.meter is out of range",
            ),
            (!rising, "grid.beats do not rise"),
            (
                swing.is_some_and(|s| !(0.1..=10.0).contains(&s.ratio)),
                "grid.swing.ratio is out of range",
            ),
            (
                uneven
                    .iter()
                    .any(|u| !(1..=MOST_STEPS).contains(&u.steps_per_beat)),
                "the steps of a beat in grid.uneven are out of range",
            ),
            (
                self.cycles.iter().chain(&self.open).any(short),
                "the length of a cycle is out of range",
            ),
            (
                self.cycles
                    .iter()
                    .chain(&self.open)
                    .any(|c| far(&c.start) || far(&c.end)),
                "the place of a cycle is out of range",
            ),
        ];
        faults.iter().find(|(is_so, _)| *is_so).map(|(_, reason)| *reason)
    }

    /// The text of the file. Rows become values one by one: as values those of hours would fill the memory.
    pub(super) fn text(mut self) -> Result<String, serde_json::Error> {
        let rows = std::mem::take(&mut self.written.rows);
        let value = rounded(&self)?;
        let mut fault = Ok(());
        let text = layout::text(
            &value,
            Some(layout::Long {
                key: "rows",
                items: &mut rows
                    .iter()
                    .map_while(|row| rounded(row).map_err(|error| fault = Err(error)).ok()),
            }),
        );
        fault.map(|()| text)
    }
}

fn rounded(thing: &impl Serialize) -> Result<Value, serde_json::Error> {
    let mut value = serde_json::to_value(thing)?;
    layout::round(&mut value);
    Ok(value)
}

/// Reads the document of the study in `folder`.
///
/// A run that was killed between its two renames has left the new `hits.tsv` and, still under its other name, the
/// `study.json` that belongs to it: that one counts then.
pub(super) fn load(folder: &Path) -> Result<Document, StudyError> {
    if let Some(document) = half_renamed(folder)? {
        return Ok(document);
    }
    let file = folder.join(STUDY);
    match read_if_there(&file)? {
        Some(bytes) => parse(&bytes, &file),
        None => Err(StudyError::NoStudy {
            folder: folder.to_owned(),
            missing: STUDY,
        }),
    }
}

/// The `study.json` that waits for its name where `hits.tsv` has already got its own: both are written whole before
/// the first is renamed.
pub(super) fn half_renamed(folder: &Path) -> Result<Option<Document>, StudyError> {
    let part = part_of(&folder.join(STUDY));
    if part_of(&folder.join(HITS)).exists() {
        return Ok(None);
    }
    Ok(read_if_there(&part)?.and_then(|bytes| parse(&bytes, &part).ok()))
}

fn parse(bytes: &[u8], file: &Path) -> Result<Document, StudyError> {
    let broken = |error: serde_json::Error| StudyError::Broken {
        file: file.to_owned(),
        reason: error.to_string(),
    };
    let value: Value = serde_json::from_slice(bytes).map_err(broken)?;
    let format = value.get("format").unwrap_or(&Value::Null);
    if format != FORMAT {
        return Err(StudyError::OtherFormat {
            file: file.to_owned(),
            found: if format.is_null() {
                "not stated".to_owned()
            } else {
                format.to_string()
            },
        });
    }
    match value.get("version").and_then(Value::as_u64) {
        Some(found) if found > VERSION => Err(StudyError::Newer {
            file: file.to_owned(),
            found,
            known: VERSION,
        }),
        _ => {
            let document: Document = serde_json::from_value(value).map_err(broken)?;
            match document.fault() {
                Some(reason) => Err(StudyError::Broken {
                    file: file.to_owned(),
                    reason: reason.to_owned(),
                }),
                None => Ok(document),
            }
        }
    }
}

impl Hints {
    fn of(options: &Options) -> Hints {
        Hints {
            tempo_bpm: options.grid.tempo,
            meter: options.grid.meter,
            steps_per_beat: options.grid.steps_per_beat,
            downbeat: options.grid.downbeat,
            beats: options.grid.beats.clone(),
            from: options.audio.from,
            to: options.audio.to,
            mix: options.hits.mix,
            phrase_bars: options.cycles.phrase_bars,
        }
    }

    fn into_options(self) -> Options {
        let mut options = Options::default();
        options.grid.tempo = self.tempo_bpm;
        options.grid.meter = self.meter;
        options.grid.steps_per_beat = self.steps_per_beat;
        options.grid.downbeat = self.downbeat;
        options.grid.beats = self.beats;
        options.audio.from = self.from;
        options.audio.to = self.to;
        options.hits.mix = self.mix;
        options.cycles.phrase_bars = self.phrase_bars;
        options.voices.mix = self.mix;
        options
    }
}

impl GridFacts {
    fn of(study: &Study) -> GridFacts {
        let grid = &study.grid;
        let bar = i64::from(grid.meter.beats_per_bar().max(1));
        let uneven = |found: &UnevenBeat| {
            let index = found.beat as i64 - grid.first_downbeat as i64;
            Some(Uneven {
                bar: index.div_euclid(bar) + 1,
                beat: index.rem_euclid(bar) + 1,
                time: *grid.beats.get(found.beat)?,
                steps_per_beat: found.steps,
            })
        };
        let late = |s: &Stroke| Some((s.hit.voice, s.late?));
        GridFacts {
            tempo_bpm: grid.tempo,
            meter: grid.meter,
            steps_per_beat: grid.steps_per_beat,
            beats: grid.beats.clone(),
            downbeats: grid.downbeats(),
            sure: grid.sure,
            rivals: grid.rivals.clone(),
            swing: grid.swing,
            uneven: grid.uneven.iter().filter_map(uneven).collect(),
            lateness: lateness(&study.strokes.iter().filter_map(late).collect::<Vec<_>>()),
        }
    }

    /// The grid; its warnings are among those of the study.
    fn into_grid(self) -> Grid {
        let first = self.downbeats.first();
        let uneven = |found: &Uneven| {
            let beat = self.beats.partition_point(|beat| *beat < found.time);
            (beat < self.beats.len()).then_some(UnevenBeat {
                beat,
                steps: found.steps_per_beat,
            })
        };
        Grid {
            uneven: self.uneven.iter().filter_map(uneven).collect(),
            swing: self.swing,
            tempo: self.tempo_bpm,
            meter: self.meter,
            steps_per_beat: self.steps_per_beat,
            first_downbeat: first.map_or(self.beats.len(), |first| {
                self.beats.partition_point(|beat| beat < first)
            }),
            beats: self.beats,
            sure: self.sure,
            rivals: self.rivals,
            warnings: Vec::new(),
        }
    }
}
