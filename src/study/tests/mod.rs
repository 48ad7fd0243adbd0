//! The study's folder as a player meets it: written, edited, read, killed in between, in other hands.

mod edits;
mod killed;
mod nonsense;
mod refusals;
mod round_trip;

use std::fs;
use std::path::{Path, PathBuf};

use super::corrections::{Kept, load};
use super::examples::{edit, facts, full_study, hit, rows, run, run_part, text};
use super::folder::{part_of, sha256};
use super::*;
use crate::names::Mark;

fn program() -> Vec<Hit> {
    let names = [
        (1.0, Voice::Kick),
        (1.5, Voice::Snare),
        (1.5, Voice::HatClosed),
        (2.0, Voice::Kick),
        (2.5, Voice::Snare),
    ];
    names.iter().map(|(time, voice)| hit(*time, *voice)).collect()
}

fn studied() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    run(folder.path(), &program()).unwrap();
    folder
}

/// The names in a folder, sorted.
fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// Every file of a folder with what is in it.
fn everything(folder: &Path) -> Vec<(String, String)> {
    let read = |name: String| (name.clone(), fs::read_to_string(folder.join(name)).unwrap());
    names(folder).into_iter().map(read).collect()
}

fn row(time: &str, voice: &str) -> (String, String) {
    (time.to_owned(), voice.to_owned())
}
