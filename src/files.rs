//! What all who open files share: only real files of a bearable size are read, and every path is shown on one line.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;

/// The bytes of the file at `path`, which may have at most `most` of them. Folders, pipes and devices are refused
/// before they can make anybody wait.
pub fn read(path: &Path, most: u64) -> io::Result<Vec<u8>> {
    let facts = fs::metadata(path)?;
    if !facts.is_file() {
        return Err(io::Error::other(if facts.is_dir() {
            "this is a folder, not a file"
        } else {
            "this is a device or a pipe, not a file"
        }));
    }
    let mut bytes = Vec::new();
    File::open(path)?.take(most + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most {
        return Err(io::Error::other(format!(
            "the file is larger than {} MB, which none of its kind is",
            most >> 20
        )));
    }
    Ok(bytes)
}

/// A path as it is told to a player: always one line, whatever its name is made of.
pub fn shown(path: &Path) -> String {
    one_line(&path.to_string_lossy())
}

/// The same text with ends of lines and other signs that steer a terminal written out, such as `\n`.
pub fn one_line(text: &str) -> String {
    let mut line = String::with_capacity(text.len());
    for letter in text.chars() {
        if letter.is_control() {
            line.extend(letter.escape_default());
        } else {
            line.push(letter);
        }
    }
    line
}

/// The system's words for what went wrong, without its number.
pub fn in_words(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => "there is no such file".to_owned(),
        io::ErrorKind::PermissionDenied => "this is not permitted".to_owned(),
        io::ErrorKind::StorageFull => "the disk is full".to_owned(),
        _ => {
            let text = error.to_string();
            text.split(" (os error").next().unwrap_or_default().to_owned()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_any_letters_take_one_line() {
        assert_eq!(
            one_line("take \"3\"\n\t\u{1b}[2J é"),
            "take \"3\"\\n\\t\\u{1b}[2J é"
        );
        assert_eq!(shown(Path::new("a\rb")), "a\\rb");
    }

    #[test]
    fn only_files_of_a_bearable_size_are_read() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("file");
        fs::write(&path, [7; 10]).unwrap();
        assert_eq!(read(&path, 10).unwrap(), [7; 10]);
        assert!(read(&path, 9).unwrap_err().to_string().contains("larger"));
        assert!(
            read(folder.path(), 9)
                .unwrap_err()
                .to_string()
                .contains("a folder")
        );
        if cfg!(unix) {
            let said = read(Path::new("/dev/zero"), 9).unwrap_err().to_string();
            assert!(said.contains("a device"), "{said}");
        }
    }
}
