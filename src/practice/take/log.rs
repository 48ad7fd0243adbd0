//! `takes.jsonl` of a study's folder: one take a line, added at the end and never rewritten.
//!
//! A line is written in one piece and brought to the disk. A run that was killed may leave half a line: the next take
//! begins a new one, and reading leaves out what is no take, with a warning that names the line.

use std::fs::OpenOptions;
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::{Deviation, Take, words};
use crate::files;
use crate::study::TAKES;

/// More bytes than a life of practice fills.
const MOST_BYTES: u64 = 64 << 20;
/// What a line says it is.
const FORMAT: &str = "overbar-take";

/// One take as it is kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// `overbar-take`.
    pub format: String,
    /// 1.
    pub version: u32,
    /// When it was measured, seconds since 1970 (UTC).
    pub at: u64,
    /// The attempt's file name.
    pub file: String,
    /// SHA-256 of the attempt's file.
    pub sha256: String,
    /// First and last step that was played, from bar 1, by pass.
    pub passes: Vec<(i64, i64)>,
    /// Broken-off beginnings.
    pub false_starts: usize,
    /// Share of the original's tempo.
    pub tempo_share: f64,
    /// Mean tempo.
    pub tempo_bpm: f64,
    /// How much faster the end is, as a share.
    pub drift: f64,
    /// Standard deviation around the fitted tempo, ms.
    pub steadiness_ms: f64,
    /// Strokes in the study.
    pub strokes: usize,
    /// Missing.
    pub missed: usize,
    /// Too many.
    pub extra: usize,
    /// On the wrong drum.
    pub wrong: usize,
    /// Out of order.
    pub slips: usize,
    /// Whole rounds to home.
    pub rounds: usize,
    /// Those that were clean.
    pub clean_rounds: usize,
    /// Lateness of limbs or voices, ms.
    pub late_ms: Vec<(String, f64)>,
}

impl Entry {
    /// A take as it is kept.
    pub fn of(take: &Take, file: &str, sha256: &str, at: u64) -> Entry {
        let count = |wanted: fn(&Deviation) -> bool| take.faults.iter().filter(|f| wanted(f)).count();
        let rounded = |x: f64, by: f64| (x * by).round() / by;
        Entry {
            format: FORMAT.to_owned(),
            version: 1,
            at,
            file: file.to_owned(),
            sha256: sha256.to_owned(),
            passes: take.passes.clone(),
            false_starts: take.false_starts,
            tempo_share: rounded(take.share, 1e5),
            tempo_bpm: rounded(take.tempo.0, 1e3),
            drift: rounded(take.drift, 1e4),
            steadiness_ms: rounded(take.steadiness.0, 1e2),
            strokes: take.written,
            missed: count(|f| matches!(f, Deviation::Missed { .. })),
            extra: count(|f| matches!(f, Deviation::Extra { .. })),
            wrong: count(|f| matches!(f, Deviation::Wrong { .. })),
            slips: count(|f| matches!(f, Deviation::Slip { .. })),
            rounds: take.rounds.len(),
            clean_rounds: take.rounds.iter().filter(|r| r.clean).count(),
            late_ms: take
                .limbs
                .iter()
                .map(|l| (words::name(l.who).to_owned(), rounded(l.late.0, 1e2)))
                .collect(),
        }
    }
}

impl Entry {
    /// Whether both are of one attempt: the same file, and steps in common.
    fn is_again(&self, other: &Entry) -> bool {
        let meets = |(from, to): &(i64, i64)| other.passes.iter().any(|(a, b)| a <= to && from <= b);
        self.sha256 == other.sha256 && self.passes.iter().any(meets)
    }
}

/// The take among these that was of the same attempt as a new one.
pub fn taken_before<'a>(entries: &'a [Entry], new: &Entry) -> Option<&'a Entry> {
    entries.iter().find(|entry| entry.is_again(new))
}

/// Adds a take to the end of the study's log.
pub fn append(folder: &Path, entry: &Entry) -> io::Result<()> {
    let mut line = serde_json::to_string(entry)?;
    line.push('\n');
    let mut file = OpenOptions::new()
        .read(true)
        .append(true)
        .create(true)
        .open(folder.join(TAKES))?;
    // Half a line of a killed run is left as it is; the take begins a line of its own.
    if file.metadata()?.len() > 0 {
        let mut last = [0u8];
        file.seek(SeekFrom::End(-1))?;
        file.read_exact(&mut last)?;
        if last != *b"\n" {
            line.insert(0, '\n');
        }
    }
    file.write_all(line.as_bytes())?;
    file.sync_all()
}

/// The takes of a study, in the order in which they were made, and a warning for each line that is none. An attempt that
/// was measured more than once counts once, at its first place and as it was measured last.
pub fn read(folder: &Path) -> io::Result<(Vec<Entry>, Vec<String>)> {
    let bytes = match files::read(&folder.join(TAKES), MOST_BYTES) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok((Vec::new(), Vec::new())),
        Err(error) => return Err(error),
    };
    let (mut entries, mut warnings) = (Vec::<Entry>::new(), Vec::new());
    for (number, line) in String::from_utf8_lossy(&bytes)
        .lines()
        .enumerate()
        .filter(|(_, l)| !l.trim().is_empty())
    {
        match serde_json::from_str::<Entry>(line) {
            Ok(entry) if entry.format == FORMAT && entry.tempo_share.is_finite() => {
                match entries.iter_mut().find(|known| known.is_again(&entry)) {
                    Some(known) => {
                        *known = Entry {
                            at: known.at,
                            ..entry
                        }
                    }
                    None => entries.push(entry),
                }
            }
            _ => warnings.push(format!(
                "{TAKES}, line {}: no take that this program knows; it is left out",
                number + 1
            )),
        }
    }
    Ok((entries, warnings))
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    #[test]
    fn takes_are_added_and_never_rewritten_and_half_a_line_hurts_no_other() {
        let folder = tempfile::tempdir().unwrap();
        let entry = Entry::of(&Take::default(), "a.wav", "00", 7);
        append(folder.path(), &entry).unwrap();
        let before = fs::read(folder.path().join(TAKES)).unwrap();
        let mut half = before.clone();
        half.extend_from_slice(&before[..30]);
        fs::write(folder.path().join(TAKES), &half).unwrap();
        append(
            folder.path(),
            &Entry {
                at: 8,
                ..entry.clone()
            },
        )
        .unwrap();
        let after = fs::read(folder.path().join(TAKES)).unwrap();
        assert!(after.starts_with(&half));
        let (entries, warnings) = read(folder.path()).unwrap();
        assert_eq!(entries.iter().map(|e| e.at).collect::<Vec<_>>(), [7, 8]);
        assert_eq!(entries[0], entry);
        assert!(
            warnings.len() == 1 && warnings[0].contains("line 2"),
            "{warnings:?}"
        );
    }

    #[test]
    fn an_attempt_counts_once_however_often_it_is_measured() {
        let folder = tempfile::tempdir().unwrap();
        let entry = |sha256: &str, at: u64, passes: &[(i64, i64)], missed: usize| Entry {
            passes: passes.to_vec(),
            missed,
            ..Entry::of(&Take::default(), "a.wav", sha256, at)
        };
        let (first, other) = (entry("aa", 1, &[(0, 63)], 5), entry("bb", 2, &[(0, 63)], 4));
        let again = entry("aa", 3, &[(16, 64)], 2);
        let elsewhere = entry("aa", 4, &[(80, 95)], 0);
        assert_eq!(
            taken_before(&[other.clone(), first.clone()], &again),
            Some(&first)
        );
        assert_eq!(taken_before(&[other.clone(), first.clone()], &elsewhere), None);
        for take in [&first, &other, &again, &elsewhere] {
            append(folder.path(), take).unwrap();
        }
        let (entries, warnings) = read(folder.path()).unwrap();
        assert_eq!(entries, [Entry { at: 1, ..again }, other, elsewhere]);
        assert!(warnings.is_empty());
        let lines = fs::read_to_string(folder.path().join(TAKES))
            .unwrap()
            .lines()
            .count();
        assert_eq!(lines, 4, "all are kept");
    }

    #[test]
    fn a_folder_without_takes_has_none() {
        let folder = tempfile::tempdir().unwrap();
        assert_eq!(read(folder.path()).unwrap(), (vec![], vec![]));
    }
}
