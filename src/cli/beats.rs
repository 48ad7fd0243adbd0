//! `--beats FILE`: beats that the player tapped or wrote down.

use std::path::Path;

use anyhow::{Error, anyhow};

use crate::files::{self, in_words, shown};
use crate::grid::read_beats;
use crate::units::Seconds;

/// The largest file that is read, in bytes: the beats of an hour need a hundredth of it.
const LARGEST: u64 = 4 << 20;

/// The beats of a file, in seconds from the beginning of the recording, rising. What is wrong with the file is told in
/// one line.
pub(super) fn read(file: &Path) -> Result<Vec<Seconds>, Error> {
    let name = shown(file);
    let bytes = files::read(file, LARGEST)
        .map_err(|error| anyhow!("{name}: the beats cannot be read: {}", in_words(&error)))?;
    let text =
        String::from_utf8(bytes).map_err(|_| anyhow!("{name}: no text; write one time in seconds a line"))?;
    read_beats(&text).map_err(|error| anyhow!("{name}: {error}"))
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    #[test]
    fn a_file_of_beats_is_read_and_a_bad_one_refused_with_its_line() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("beats.txt");
        let said = |bytes: &[u8]| {
            fs::write(&path, bytes).unwrap();
            read(&path).map_err(|error| error.to_string())
        };
        assert_eq!(said(b"0.5\n1.0\n"), Ok(vec![Seconds(0.5), Seconds(1.0)]));
        assert!(said(b"0.5\nx\n").unwrap_err().contains("beats.txt: line 2"));
        assert!(said(&[0xff, 0xfe, 0x00]).unwrap_err().contains("no text"));
        assert!(
            read(Path::new("no such file"))
                .unwrap_err()
                .to_string()
                .contains("cannot be read")
        );
    }
}
