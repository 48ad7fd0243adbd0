//! A study's folder -> the corrections it holds, before a new study is made.

use std::fs;
use std::path::{Path, PathBuf};

use super::super::document::{self, Document};
use super::super::error::StudyError;
use super::super::folder::{read_if_there, sha256};
use super::super::kit_file;
use super::super::sheet::Sheet;
use super::super::{HITS, KIT, Kin, PRACTICE, RecordingFacts, STUDY, TAKES};

/// What a folder holds of the player's, and what has to be known of it when it is written again.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Loaded {
    /// The player's corrections, new ones included.
    pub corrections: super::Corrections,
    /// What the player should know about the folder as it was found.
    pub warnings: Vec<String>,
    folder: PathBuf,
    /// Digest of `hits.tsv` as it was found; `None` if there was none.
    pub(in crate::study) seen: Option<String>,
    /// `kit.toml` as it was found.
    pub(in crate::study) kit: kit_file::Found,
    /// Files that must not be replaced without a copy of them.
    pub(in crate::study) copy_first: Vec<PathBuf>,
    /// The recording that was studied before.
    recording: Option<RecordingFacts>,
}

/// Reads the corrections from a study's folder, and takes up what was edited in `hits.tsv` since it was written.
/// A folder that is not there yet has none. Nothing is written.
pub fn load(folder: &Path) -> Result<Loaded, StudyError> {
    let hits_file = folder.join(HITS);
    let hits = read_if_there(&hits_file)?;
    let (kit, said) = kit_file::load(folder)?;
    let seen = hits.as_deref().map(sha256);
    let mut loaded = Loaded {
        folder: folder.to_owned(),
        seen: seen.clone(),
        kit,
        ..Loaded::default()
    };
    let document = document::load(folder);
    let (was, written) = document
        .as_ref()
        .map_or_else(|_| Default::default(), Document::kit);
    if loaded.kit.sha256 != written {
        loaded
            .copy_first
            .extend(loaded.kit.sha256.is_some().then(|| folder.join(KIT)));
    }
    match (document, hits) {
        (Ok(document), None) => {
            loaded.warnings.push(format!(
                "{HITS} was gone and is made anew; edits of earlier runs are kept"
            ));
            loaded.corrections = document.corrections;
            loaded.recording = Some(document.recording);
        }
        (Ok(document), Some(hits)) => {
            if seen.as_deref() == Some(document.written.sha256.as_str()) {
                loaded.corrections = document.corrections;
            } else {
                let Document {
                    corrections, written, ..
                } = document;
                let sheet = Sheet::read(&hits, &hits_file, Some(document.recording.seconds))?;
                loaded.corrections = corrections.merge(&written.rows, &sheet);
                loaded.copy_first.push(hits_file);
            }
            loaded.recording = Some(document.recording);
        }
        (Err(StudyError::NoStudy { .. }), None) => {}
        (Err(error @ (StudyError::NoStudy { .. } | StudyError::Broken { .. })), hits) => {
            if let StudyError::Broken { file, .. } = &error {
                loaded.copy_first.push(file.clone());
            }
            let mut warning = format!("{STUDY} could not be read");
            if let Some(hits) = hits {
                loaded.corrections.unsorted = Some(Sheet::read(&hits, &hits_file, None)?);
                loaded.copy_first.push(hits_file);
                warning += &format!("; whatever {HITS} says otherwise than this run counts as your edit");
            }
            loaded.warnings.push(warning);
        }
        (Err(error), _) => return Err(error),
    }
    loaded.corrections.kit.kit = said.groups;
    loaded.corrections.kit.body = said.body;
    loaded.corrections.kit.was = was;
    Ok(loaded)
}

impl Loaded {
    /// Whether the folder's study may be replaced by one of this recording, its corrections put onto it: `Ok` with
    /// what the player should know if it is not the one that was studied before. A folder in which the player has worked
    /// belongs to its recording. Another file of the same length may be the same sound saved anew: all is kept.
    pub fn check_recording(&self, recording: &RecordingFacts) -> Result<Option<String>, StudyError> {
        let Some(before) = &self.recording else {
            return Ok(None);
        };
        let kin = recording.kin(before);
        let held = self.held();
        match (kin, held.is_empty()) {
            (Kin::Same, _) => Ok(None),
            (_, true) => Ok(Some(format!(
                "the folder held the study of another recording ({}), without any work of yours: it was replaced",
                before.file
            ))),
            (Kin::AsLong, false) => Ok(Some(format!(
                "{} is not the file that was studied before ({}), but as long: your {} were kept{}",
                recording.file,
                before.file,
                listed(&held),
                if held.contains(&EDITS) {
                    ", edits by their times"
                } else {
                    ""
                }
            ))),
            (Kin::Other, false) => Err(StudyError::OtherRecording {
                folder: self.folder.clone(),
                other: before.file.clone(),
                held: listed(&held),
            }),
        }
    }

    /// What of the player's work lies in the folder.
    fn held(&self) -> Vec<&'static str> {
        let has_files = |name| {
            let mut files = fs::read_dir(self.folder.join(name)).into_iter().flatten();
            files.any(|file| file.is_ok())
        };
        let held = [
            (EDITS, !self.corrections.is_empty()),
            ("takes", self.folder.join(TAKES).exists()),
            ("practice sheets", has_files(PRACTICE)),
        ];
        held.into_iter()
            .filter(|(_, is_there)| *is_there)
            .map(|(name, _)| name)
            .collect()
    }
}

/// What a player's corrections are called.
const EDITS: &str = "edits";

/// `edits`, `edits and takes`, `edits, takes and practice sheets`.
fn listed(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}
