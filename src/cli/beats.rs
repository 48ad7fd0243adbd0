//! `--beats FILE`: beats that the player tapped or wrote down.

use std::fs;
use std::path::Path;

use anyhow::{Error, anyhow};

use crate::grid::read_beats;
use crate::units::Seconds;

/// The largest file that is read, in bytes: the beats of an hour need a hundredth of it.
const LARGEST: u64 = 4_000_000;

/// The beats of a file, in seconds from the beginning of the recording, rising. What is wrong with the file is told in
/// one line.
pub(super) fn read(file: &Path) -> Result<Vec<Seconds>, Error> {
    let name = file.display();
    let unreadable = |error| anyhow!("{name}: the beats cannot be read: {error}");
    if fs::metadata(file).map_err(unreadable)?.len() > LARGEST {
        return Err(anyhow!("{name}: too large to be a list of beats"));
    }
    let bytes = fs::read(file).map_err(unreadable)?;
    let text =
        String::from_utf8(bytes).map_err(|_| anyhow!("{name}: no text; write one time in seconds a line"))?;
    read_beats(&text).map_err(|error| anyhow!("{name}: {error}"))
}

#[cfg(test)]
mod tests {
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
