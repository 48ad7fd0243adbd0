//! What can be wrong with a study's folder, each in words that say what to do.

use std::fmt;
use std::io;
use std::path::PathBuf;

use crate::files::{in_words, shown};

/// Bad cells that one message lists; a file of nonsense need not fill the terminal.
const LISTED: usize = 20;

/// A cell of `hits.tsv` that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BadCell {
    /// Line in the file, from 1.
    pub line: usize,
    /// The column's name.
    pub column: String,
    /// What stands there.
    pub value: String,
    /// What is wrong with it and what would do.
    pub remedy: String,
}

/// Why a study's folder was refused. Nothing was written or lost when one of these comes back.
#[derive(Debug, thiserror::Error)]
pub enum StudyError {
    /// Cells that cannot be read, in the order of the file.
    #[error("{}", list(file, cells))]
    BadCells {
        /// The file.
        file: PathBuf,
        /// The cells, at least one.
        cells: Vec<BadCell>,
    },
    /// No line names the columns `time` and `voice`.
    #[error(
        "{}: no line names the columns time and voice, separated by tabs; put the header row back, or move the file away to have it made anew",
        shown(file)
    )]
    NoHeader {
        /// The file.
        file: PathBuf,
    },
    /// A column's name stands twice in the header row.
    #[error(
        "{}, line {line}: the column {column} stands twice; rename or remove one",
        shown(file)
    )]
    ColumnTwice {
        /// The file.
        file: PathBuf,
        /// Line of the header row, from 1.
        line: usize,
        /// The column.
        column: String,
    },
    /// The file is not UTF-8 text.
    #[error(
        "{}, line {line}: not UTF-8 text; save the file again as UTF-8 (Unicode)",
        shown(file)
    )]
    NotText {
        /// The file.
        file: PathBuf,
        /// The first line that cannot be read, from 1.
        line: usize,
    },
    /// A kit file cannot be read.
    #[error("{}{}: {reason}", shown(file), line.map_or_else(String::new, |line| format!(", line {line}")))]
    BadKit {
        /// The file.
        file: PathBuf,
        /// Line in the file, from 1; `None` where it is about the whole file.
        line: Option<usize>,
        /// What is wrong and what would do.
        reason: String,
    },
    /// `study.json` cannot be read.
    #[error(
        "{}: {reason}; run `overbar study` on the recording again to have it made anew",
        shown(file)
    )]
    Broken {
        /// The file.
        file: PathBuf,
        /// What the reader stumbled over.
        reason: String,
    },
    /// `study.json` is some other program's file.
    #[error(
        "{}: its format is {found}, not \"overbar-study\"; choose another folder with --out",
        shown(file)
    )]
    OtherFormat {
        /// The file.
        file: PathBuf,
        /// The format it states.
        found: String,
    },
    /// `study.json` was written by a newer version of this program.
    #[error(
        "{}: written in version {found} of the study format, this program knows version {known}; use a newer overbar",
        shown(file)
    )]
    Newer {
        /// The file.
        file: PathBuf,
        /// The version it states.
        found: u64,
        /// The version that this program reads.
        known: u64,
    },
    /// There is no study in the folder.
    #[error(
        "{}: no study here ({missing} is missing); make one with `overbar study RECORDING`",
        shown(folder)
    )]
    NoStudy {
        /// The folder.
        folder: PathBuf,
        /// The file that is missing.
        missing: &'static str,
    },
    /// The destination is a file.
    #[error("{}: is a file, not a folder; choose another place with --out", shown(path))]
    NotAFolder {
        /// What is in the way.
        path: PathBuf,
    },
    /// The destination holds files that are no study.
    #[error(
        "{}: holds other files (such as {example}) and no study; choose an empty or new folder with --out",
        shown(folder)
    )]
    Strangers {
        /// The folder.
        folder: PathBuf,
        /// One of the files.
        example: String,
    },
    /// The folder holds what a player has done with another recording.
    #[error(
        "{}: holds your {held} of another recording ({other}); choose another folder with --out, or move this one away",
        shown(folder)
    )]
    OtherRecording {
        /// The folder.
        folder: PathBuf,
        /// File name of the recording studied before.
        other: String,
        /// What lies there, as in "your edits and takes".
        held: String,
    },
    /// Somebody wrote `hits.tsv` while the study was being made.
    #[error(
        "{}: changed while the study was being made, so nothing was written; run it again to take the changes up",
        shown(file)
    )]
    EditedMeanwhile {
        /// The file.
        file: PathBuf,
    },
    /// Another run is at work in the folder.
    #[error(
        "{}: another run is at work on this study; wait until it has ended, then run this again",
        shown(folder)
    )]
    AtWork {
        /// The folder.
        folder: PathBuf,
    },
    /// The system refused to read or write.
    #[error(
        "{}: cannot {doing}: {}; check the place, its permissions and the free space",
        shown(path),
        in_words(source)
    )]
    Io {
        /// What was tried, as in "cannot …".
        doing: &'static str,
        /// The file or folder.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
    },
}

impl StudyError {
    /// Wraps the system's reason with what was tried on which path; to be used with `map_err`.
    pub(super) fn io(doing: &'static str, path: &std::path::Path) -> impl FnOnce(io::Error) -> StudyError {
        let path = path.to_owned();
        move |source| StudyError::Io { doing, path, source }
    }
}

impl fmt::Display for BadCell {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let BadCell {
            line,
            column,
            value,
            remedy,
        } = self;
        write!(f, "line {line}, {column}: {value:?} {remedy}")
    }
}

fn list(file: &std::path::Path, cells: &[BadCell]) -> String {
    let mut lines: Vec<String> = cells
        .iter()
        .take(LISTED)
        .map(|cell| format!("{}, {cell}", shown(file)))
        .collect();
    if cells.len() > LISTED {
        lines.push(format!("and {} more like these", cells.len() - LISTED));
    }
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bad_cells_take_one_line_each_and_the_rest_is_counted() {
        let cell = |line| BadCell {
            line,
            column: "voice".into(),
            value: "snair".into(),
            remedy: "is unknown".into(),
        };
        let error = StudyError::BadCells {
            file: "hits.tsv".into(),
            cells: (1..=23).map(cell).collect(),
        };
        let lines: Vec<String> = error.to_string().lines().map(str::to_owned).collect();
        assert_eq!(lines.len(), 21);
        assert_eq!(lines[0], "hits.tsv, line 1, voice: \"snair\" is unknown");
        assert_eq!(lines[20], "and 3 more like these");
    }
}
