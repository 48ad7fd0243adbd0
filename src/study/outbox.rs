//! Many files of a study -> its folder, brought to the disk side by side.
//!
//! Until a file is on the disk some milliseconds pass in which nobody works, and several at once hardly take longer
//! than one. So whoever makes files hands them over and makes the next, while threads of their own wait for the disk.
//! Each file gets its name once it is there, as with [`super::write_file`].

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Mutex, PoisonError};
use std::thread;

use super::error::StudyError;
use super::folder::{begin_part, part_of, rename_part, sync};

/// Files that are brought to the disk at once, and that wait for it at most.
const AT_ONCE: usize = 8;
const WAITING: usize = 64;

/// A file that was written under its other name, and the place that is to be its own.
type Sent = (File, PathBuf);

/// Takes the files of one study.
#[derive(Debug)]
pub struct Outbox<'a> {
    folder: &'a Path,
    sent: SyncSender<Sent>,
}

impl Outbox<'_> {
    /// The study's folder.
    pub fn folder(&self) -> &Path {
        self.folder
    }

    /// Takes a file; `name` is relative to the study's folder.
    pub fn put(&self, name: &str, bytes: &[u8]) -> Result<(), StudyError> {
        self.put_by(name, |out| out.write_all(bytes))
    }

    /// The same for a file that `write` writes bit by bit, so that it is never in memory whole.
    pub fn put_by(
        &self,
        name: &str,
        write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) -> Result<(), StudyError> {
        let file = self.folder.join(name);
        let parent = file.parent().unwrap_or(self.folder);
        fs::create_dir_all(parent).map_err(StudyError::io("make the folder", parent))?;
        let part = begin_part(&file, write)?;
        // Somebody takes files for as long as there is an outbox.
        let _ = self.sent.send((part, file));
        Ok(())
    }
}

/// Does `work`, and brings all files that it puts into the outbox to the disk before it is done.
pub fn write_many<T, E: From<StudyError>>(
    folder: &Path,
    work: impl FnOnce(&Outbox) -> Result<T, E>,
) -> Result<T, E> {
    let (sent, taken) = sync_channel(WAITING);
    let taken = Mutex::new(taken);
    let (done, carried) = thread::scope(|scope| {
        let carriers: Vec<_> = (0..AT_ONCE).map(|_| scope.spawn(|| carry(&taken))).collect();
        let done = work(&Outbox { folder, sent });
        let carried: Vec<_> = carriers
            .into_iter()
            .filter_map(|carrier| carrier.join().ok())
            .collect();
        (done, carried)
    });
    let done = done?;
    let mut folders = BTreeSet::new();
    for own in carried {
        folders.extend(own?);
    }
    folders.iter().try_for_each(|folder| sync(folder))?;
    Ok(done)
}

/// Brings file after file to the disk until there will be no more; the folders they lie in, or the first fault.
fn carry(taken: &Mutex<Receiver<Sent>>) -> Result<BTreeSet<PathBuf>, StudyError> {
    let mut folders = Ok(BTreeSet::new());
    loop {
        let next = taken.lock().unwrap_or_else(PoisonError::into_inner).recv();
        let Ok((part, file)) = next else {
            return folders;
        };
        match (carry_one(&part, &file), &mut folders) {
            (Ok(()), Ok(folders)) => folders.extend(file.parent().map(Path::to_owned)),
            (Err(fault), Ok(_)) => folders = Err(fault),
            (_, Err(_)) => {}
        }
    }
}

fn carry_one(part: &File, file: &Path) -> Result<(), StudyError> {
    if let Err(error) = part.sync_all() {
        let path = part_of(file);
        let _ = fs::remove_file(&path);
        return Err(StudyError::io("write", &path)(error));
    }
    rename_part(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_has_its_name_when_the_work_is_done() {
        let folder = tempfile::tempdir().unwrap();
        let put = |out: &Outbox| {
            (0..200).try_for_each(|n| out.put(&format!("charts/{n}.svg"), format!("{n}").as_bytes()))
        };
        write_many(folder.path(), put).unwrap();
        for n in 0..200 {
            let text = fs::read_to_string(folder.path().join(format!("charts/{n}.svg"))).unwrap();
            assert_eq!(text, n.to_string());
        }
        assert_eq!(fs::read_dir(folder.path().join("charts")).unwrap().count(), 200);
    }

    #[test]
    fn a_file_that_cannot_get_its_name_is_told() {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir_all(folder.path().join("page.html/inside")).unwrap();
        let done = write_many(folder.path(), |out| {
            out.put("a.txt", b"a")?;
            out.put("page.html", b"b")
        });
        let said: StudyError = done.unwrap_err();
        assert!(said.to_string().contains("page.html"), "{said}");
        assert!(folder.path().join("a.txt").exists());
    }
}
