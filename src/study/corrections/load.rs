//! A study's folder -> the corrections it holds, before a new study is made.

use std::path::{Path, PathBuf};

use super::super::document::{self, Document};
use super::super::error::StudyError;
use super::super::folder::{read_if_there, sha256};
use super::super::kit_file;
use super::super::sheet::Sheet;
use super::super::{HITS, KIT, RecordingFacts, STUDY};
use crate::units::Seconds;

/// Recordings whose lengths differ by less are taken for two files of the same sound, such as a WAV and its MP3,
/// which pads a few frames of 26 ms at most [M].
const SAME_LENGTH: Seconds = Seconds(0.1);

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
    /// what the player should know if it is not the one that was studied before. Another file of the same length may be the
    /// same sound saved anew: the corrections are kept.
    pub fn check_recording(&self, recording: &RecordingFacts) -> Result<Option<String>, StudyError> {
        let Some(before) = self
            .recording
            .as_ref()
            .filter(|before| before.sha256 != recording.sha256)
        else {
            return Ok(None);
        };
        if self.corrections.is_empty() {
            return Ok(Some(format!(
                "the folder held the study of another recording ({}), without edits of yours: it was replaced",
                before.file
            )));
        }
        let apart = (before.seconds - recording.seconds).0.abs();
        if apart > SAME_LENGTH.0 {
            return Err(StudyError::OtherRecording {
                folder: self.folder.clone(),
                other: before.file.clone(),
            });
        }
        Ok(Some(format!(
            "{} is not the file that was studied before ({}), but as long: your edits were kept by their times",
            recording.file, before.file
        )))
    }
}
