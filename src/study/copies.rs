//! Dated copies of files that a player has edited, before they are replaced.

use std::fs::OpenOptions;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use super::error::StudyError;
use super::folder::read_if_there;
use crate::units::Seconds;

/// Copies a file beside itself under a name with the date, never over another copy. `None` if it is not there.
pub(super) fn dated_copy(file: &Path, now: SystemTime) -> Result<Option<PathBuf>, StudyError> {
    let Some(bytes) = read_if_there(file)? else {
        return Ok(None);
    };
    let stem = file.file_stem().unwrap_or_default().to_string_lossy();
    let extension = file.extension().unwrap_or_default().to_string_lossy();
    for count in 1.. {
        let again = if count == 1 {
            String::new()
        } else {
            format!("-{count}")
        };
        let copy = file.with_file_name(format!("{stem}.edited-{}{again}.{extension}", stamp(now)));
        let mut out = match OpenOptions::new().write(true).create_new(true).open(&copy) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => continue,
            opened => opened.map_err(StudyError::io("write", &copy))?,
        };
        let written = out.write_all(&bytes).and_then(|()| out.sync_all());
        if written.is_err() {
            let _ = std::fs::remove_file(&copy);
        }
        written.map_err(StudyError::io("write", &copy))?;
        return Ok(Some(copy));
    }
    Ok(None)
}

/// A moment, in seconds since 1970, as `2026-03-09`, in UTC.
pub fn date(since_1970: Seconds) -> String {
    let stamp = stamp(UNIX_EPOCH + Duration::from_secs(since_1970.0.clamp(0.0, 1e11) as u64));
    stamp.chars().take(10).collect()
}

/// A moment as `2026-03-09-174501`, in UTC.
fn stamp(moment: SystemTime) -> String {
    let seconds = moment
        .duration_since(UNIX_EPOCH)
        .map_or(0, |since| since.as_secs());
    // Days to a date of the Gregorian calendar, counted in 400-year cycles from 0000-03-01, so that the leap day
    // is a year's last [=].
    let days = seconds / 86_400 + 719_468;
    let (era, day) = (days / 146_097, days % 146_097);
    let year_of_era = (day - day / 1_460 + day / 36_524 - day / 146_096) / 365;
    let day_of_year = day - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let march_month = (5 * day_of_year + 2) / 153;
    let day_of_month = day_of_year - (153 * march_month + 2) / 5 + 1;
    let month = if march_month < 10 {
        march_month + 3
    } else {
        march_month - 9
    };
    let year = era * 400 + year_of_era + u64::from(month <= 2);
    let (hour, minute, second) = (seconds / 3_600 % 24, seconds / 60 % 60, seconds % 60);
    format!("{year:04}-{month:02}-{day_of_month:02}-{hour:02}{minute:02}{second:02}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_are_those_of_the_calendar() {
        let at = |seconds| stamp(UNIX_EPOCH + Duration::from_secs(seconds));
        // Leap day of a year divisible by 400, the day after one, the last second of a year [=: date -u].
        assert_eq!(at(0), "1970-01-01-000000");
        assert_eq!(at(951_782_400), "2000-02-29-000000");
        assert_eq!(at(1_709_251_199), "2024-02-29-235959");
        assert_eq!(at(1_709_251_200), "2024-03-01-000000");
        assert_eq!(at(1_798_761_599), "2026-12-31-235959");
    }

    #[test]
    fn a_copy_never_replaces_another() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("hits.tsv");
        let now = UNIX_EPOCH + Duration::from_secs(1_709_251_199);
        assert_eq!(dated_copy(&file, now).unwrap(), None);
        for text in ["one", "two", "three"] {
            std::fs::write(&file, text).unwrap();
            let copy = dated_copy(&file, now).unwrap().unwrap();
            assert_eq!(std::fs::read_to_string(copy).unwrap(), text);
        }
        let first = folder.path().join("hits.edited-2024-02-29-235959.tsv");
        assert_eq!(std::fs::read_to_string(first).unwrap(), "one");
    }
}
