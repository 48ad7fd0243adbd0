//! One run at a time on a study: a lock that the system takes away when the run ends, however it ends.

use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};

use super::error::StudyError;

/// Holds a study's folder; while it lives, no other run writes there.
#[derive(Debug)]
pub struct Lock {
    _held: Option<File>,
    /// Folders that were made for it, the innermost first.
    made: Vec<PathBuf>,
}

/// Takes the study in `folder` for this run alone. The folder is made if it is not there, and taken away again if
/// nothing is written to it.
pub fn lock(folder: &Path) -> Result<Lock, StudyError> {
    let missing = folder
        .ancestors()
        .take_while(|path| !path.as_os_str().is_empty() && !path.exists());
    let made = missing.map(Path::to_owned).collect();
    fs::create_dir_all(folder).map_err(StudyError::io("make the folder", folder))?;
    let mut lock = Lock { _held: None, made };
    let Ok(file) = open(folder) else {
        return Ok(lock);
    };
    match file.try_lock() {
        Ok(()) => lock._held = Some(file),
        Err(TryLockError::WouldBlock) => {
            return Err(StudyError::AtWork {
                folder: folder.to_owned(),
            });
        }
        // Some file systems know no locks; a study there is still better than none.
        Err(TryLockError::Error(_)) => {}
    }
    Ok(lock)
}

/// Unix locks the folder itself, so that nothing is left behind.
#[cfg(unix)]
fn open(folder: &Path) -> std::io::Result<File> {
    File::open(folder)
}

#[cfg(not(unix))]
fn open(folder: &Path) -> std::io::Result<File> {
    File::create(folder.join(".overbar.lock"))
}

impl Drop for Lock {
    fn drop(&mut self) {
        // Only empty folders can be removed so; that one is not empty is what is hoped for.
        self.made
            .iter()
            .take_while(|folder| fs::remove_dir(folder).is_ok())
            .count();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_study_is_held_by_one_at_a_time() {
        let place = tempfile::tempdir().unwrap();
        let folder = place.path().join("a/b");
        let first = lock(&folder).unwrap();
        let said = lock(&folder).unwrap_err().to_string();
        assert!(said.contains("another run is at work"), "{said}");
        drop(first);
        assert!(
            !place.path().join("a").exists(),
            "nothing was written, nothing is left"
        );
        let second = lock(&folder).unwrap();
        fs::write(folder.join("hits.tsv"), "").unwrap();
        drop(second);
        assert!(folder.join("hits.tsv").exists());
        lock(&folder).unwrap();
    }
}
