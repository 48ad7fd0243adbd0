//! The study's folder: checked before long work, written so that a killed run leaves a whole study, read back.
//!
//! `hits.tsv` and `study.json` belong together. Both are written beside their places under other names and brought to
//! the disk, and `kit.toml` with them, which is renamed first; then `hits.tsv` is renamed, then `study.json`. A run that dies between the two leaves the new
//! `study.json` whole under its other name, where [`super::document::load`] finds it: no row of the program's own is
//! ever taken for an edit.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use sha2::{Digest, Sha256};

use super::copies::dated_copy;
use super::corrections::Loaded;
use super::document::{self, Document};
use super::error::StudyError;
use super::sheet::{Row, Sheet};
use super::write_sheet::sheet_text;
use super::{HITS, KIT, STUDY, Stroke, Study, kit_file};
use crate::files;
use crate::grid::Grid;
use crate::units::{Decibels, Steps};
use crate::voices::Hit;

/// More bytes than any file of a study has: hours of strokes take a hundredth of it.
const MOST_BYTES: u64 = 256 << 20;

/// Bytes that are gathered before they go to the disk.
const BUFFER: usize = 1 << 16;

/// What writing a study has left on the disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Saved {
    /// Dated copies of files that a player had edited.
    pub copies: Vec<PathBuf>,
    /// The text of `study.json`.
    pub json: String,
    /// The text of `hits.tsv`.
    pub hits: String,
    /// Its SHA-256, hexadecimal.
    pub digest: String,
}

/// Whether a study can be written to `folder`: it is a folder of a study, or empty, or can be made. To be asked
/// before long work. Nothing is left behind, nothing in the folder is changed.
pub fn check_destination(folder: &Path) -> Result<(), StudyError> {
    let named = folder.ancestors().map(|path| {
        if path.as_os_str().is_empty() {
            Path::new(".")
        } else {
            path
        }
    });
    let existing = named
        .into_iter()
        .find(|path| path.exists())
        .unwrap_or(Path::new("."));
    if !existing.is_dir() {
        return Err(StudyError::NotAFolder {
            path: existing.to_owned(),
        });
    }
    if existing == folder {
        refuse_strangers(folder)?;
    }
    let probe = tempfile::tempfile_in(existing);
    probe.map(|_| ()).map_err(StudyError::io("write here", existing))
}

fn refuse_strangers(folder: &Path) -> Result<(), StudyError> {
    let is_study = [HITS, STUDY].iter().any(|name| {
        let file = folder.join(name);
        file.exists() || part_of(&file).exists()
    });
    let mut names = Vec::new();
    for entry in fs::read_dir(folder).map_err(StudyError::io("read", folder))? {
        let entry = entry.map_err(StudyError::io("read", folder))?;
        names.push(entry.file_name().to_string_lossy().into_owned());
    }
    // Hidden files are the system's or a version control's, not somebody's work.
    names.retain(|name| !name.starts_with('.'));
    match names.into_iter().min() {
        Some(example) if !is_study => Err(StudyError::Strangers {
            folder: folder.to_owned(),
            example,
        }),
        _ => Ok(()),
    }
}

/// Writes `hits.tsv` and `study.json`. `loaded` is what [`super::corrections::load`] found in the folder, with its
/// corrections applied to the study. Files that a player edited are copied first; if `hits.tsv` has changed since it
/// was loaded, nothing is written.
pub fn write(folder: &Path, study: &Study, loaded: &Loaded) -> Result<Saved, StudyError> {
    fs::create_dir_all(folder).map_err(StudyError::io("make the folder", folder))?;
    let (hits_file, study_file) = (folder.join(HITS), folder.join(STUDY));
    if read_if_there(&hits_file)?.as_deref().map(sha256) != loaded.seen {
        return Err(StudyError::EditedMeanwhile { file: hits_file });
    }
    let kit_path = folder.join(KIT);
    if kit_file::digest(&kit_path)? != loaded.kit.sha256 {
        return Err(StudyError::EditedMeanwhile { file: kit_path });
    }
    let corrections = &loaded.corrections;
    let own = corrections.own(&study.strokes);
    let hits = sheet_text(&study.strokes, &own, &corrections.columns, &corrections.comments);
    let kit = (loaded.kit.text.is_some() || !study.groups.is_empty())
        .then(|| kit_file::text(loaded.kit.text.as_deref(), &study.groups, corrections.body()));
    let kit_sha256 = kit.as_deref().map(|kit| sha256(kit.as_bytes()));
    let digest = sha256(hits.as_bytes());
    let document = Document::of(study, corrections, digest.clone(), kit_sha256);
    let json = document.text().map_err(|error| StudyError::Broken {
        file: study_file.clone(),
        reason: error.to_string(),
    })?;
    settle(folder)?;
    let mut parts = vec![(&hits_file, hits.as_bytes()), (&study_file, json.as_bytes())];
    parts.extend(kit.as_deref().map(|kit| (&kit_path, kit.as_bytes())));
    let mut copies = Vec::new();
    let ready = parts
        .iter()
        .try_for_each(|(file, bytes)| write_part(file, |out| out.write_all(bytes)))
        .and_then(|()| copy_all(&loaded.copy_first, &mut copies));
    if ready.is_err() {
        // Nothing has its name yet: all is as it was once these are gone. See `settle` for the order.
        let begun = [&study_file, &hits_file, &kit_path].map(|file| part_of(file));
        for path in begun.iter().chain(&copies) {
            let _ = fs::remove_file(path);
        }
    }
    ready?;
    if kit.is_some() {
        rename_part(&kit_path)?;
    }
    rename_part(&hits_file)?;
    rename_part(&study_file)?;
    sync(folder)?;
    Ok(Saved {
        copies,
        json,
        hits,
        digest,
    })
}

/// Makes dated copies of files, and notes where.
fn copy_all(files: &[PathBuf], copies: &mut Vec<PathBuf>) -> Result<(), StudyError> {
    for file in files {
        copies.extend(dated_copy(file, SystemTime::now())?);
    }
    Ok(())
}

/// Brings the folder into one of its two whole states: finishes a writing that was killed between its renames, and
/// clears away one that was killed before.
fn settle(folder: &Path) -> Result<(), StudyError> {
    let (hits_file, study_file) = (folder.join(HITS), folder.join(STUDY));
    if document::half_renamed(folder)?.is_some() {
        rename_part(&study_file)?;
        sync(folder)?;
    }
    // In this order: a part of study.json alone would count as half renamed.
    for part in [&study_file, &hits_file, &folder.join(KIT)].map(|file| part_of(file)) {
        if part.exists() {
            fs::remove_file(&part).map_err(StudyError::io("remove", &part))?;
            sync(folder)?;
        }
    }
    Ok(())
}

/// Writes another file of the study, such as `charts/grid.svg`, beside its place and renames it, so that the file of
/// that name is always whole. `name` is relative to the study's folder.
pub fn write_file(folder: &Path, name: &str, bytes: &[u8]) -> Result<(), StudyError> {
    write_file_by(folder, name, |out| out.write_all(bytes))
}

/// The same for a file that `write` writes bit by bit, so that it is never in memory whole.
pub fn write_file_by(
    folder: &Path,
    name: &str,
    write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), StudyError> {
    let file = folder.join(name);
    let parent = file.parent().unwrap_or(folder);
    fs::create_dir_all(parent).map_err(StudyError::io("make the folder", parent))?;
    write_part(&file, write)?;
    rename_part(&file)?;
    sync(parent)
}

/// Reads the study in `folder`. Rows edited since the last run are read as they stand, with a warning.
pub fn read(folder: &Path) -> Result<Study, StudyError> {
    let document = document::load(folder)?;
    let file = folder.join(HITS);
    let bytes = read_if_there(&file)?.ok_or_else(|| StudyError::NoStudy {
        folder: folder.to_owned(),
        missing: HITS,
    })?;
    let sheet = Sheet::read(&bytes, &file, Some(document.recording.seconds))?;
    let edited = sha256(&bytes) != document.written.sha256;
    let mut study = document.into_study(|grid| sheet.rows.iter().map(|row| stroke(row, grid)).collect());
    if edited {
        let warning =
            "was edited since the last run: run `overbar study` on the recording again to take the edits up";
        study.warnings.push(format!("{HITS} {warning}"));
    }
    Ok(study)
}

fn stroke(row: &Row, grid: &Grid) -> Stroke {
    let place = row.place.filter(|_| !grid.beats.is_empty());
    let (per_beat, per_bar) = (i64::from(grid.steps_per_beat), i64::from(grid.steps_per_bar()));
    Stroke {
        hit: Hit {
            time: row.time.seconds(),
            voice: row.voice,
            level: row.level.unwrap_or(Decibels(0.0)),
            mark: row.mark.flatten(),
            grace: row.grace.flatten().map(|grace| grace.seconds().to_millis()),
            // A row that states no doubt is one that a player has typed.
            sure: row.sure.unwrap_or(1.0),
        },
        step: place.map(|p| Steps((p.bar - 1) * per_bar + (p.beat - 1) * per_beat + p.step - 1)),
        place,
        late: row.late,
        limb: row.limb.flatten(),
        layer: row.layer.flatten(),
    }
}

/// SHA-256 in hexadecimal.
pub(super) fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

/// The bytes of a file, or `None` if there is no such file.
pub(super) fn read_if_there(file: &Path) -> Result<Option<Vec<u8>>, StudyError> {
    match files::read(file, MOST_BYTES) {
        Ok(bytes) => Ok(Some(bytes)),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(StudyError::io("read", file)(error)),
    }
}

/// The name under which a file is written before it is renamed.
pub(super) fn part_of(file: &Path) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(".part");
    PathBuf::from(name)
}

fn write_part(file: &Path, write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> Result<(), StudyError> {
    let part = part_of(file);
    let written = begin_part(file, write)?.sync_all();
    if written.is_err() {
        let _ = fs::remove_file(&part);
    }
    written.map_err(StudyError::io("write", &part))
}

/// Writes a file under its other name, which it bears until it has been brought to the disk.
pub(super) fn begin_part(
    file: &Path,
    write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<File, StudyError> {
    let part = part_of(file);
    let written = File::create(&part).and_then(|out| {
        let mut out = BufWriter::with_capacity(BUFFER, out);
        write(&mut out)?;
        out.into_inner().map_err(io::IntoInnerError::into_error)
    });
    if written.is_err() {
        let _ = fs::remove_file(&part);
    }
    written.map_err(StudyError::io("write", &part))
}

pub(super) fn rename_part(file: &Path) -> Result<(), StudyError> {
    fs::rename(part_of(file), file).map_err(StudyError::io("replace", file))
}

/// Brings the names in a folder to the disk.
pub(super) fn sync(folder: &Path) -> Result<(), StudyError> {
    // Other systems cannot open a folder, and need not.
    if cfg!(unix) {
        let synced = File::open(folder).and_then(|folder| folder.sync_all());
        synced.map_err(StudyError::io("write to", folder))?;
    }
    Ok(())
}
