//! `overbar study` of several recordings: a study each, side by side, a table of them all, a page that leads to them.
//!
//! A recording that is refused stops none of the others. At most [`BESIDE`] are worked on at once, so that memory
//! does not grow with their number.

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use anyhow::{Error, anyhow};
use serde_json::{Value, json};

use super::args::StudyArgs;
use super::index::{cells, figure};
use super::make::{USUAL, make, name_of};
use super::summary::row;
use super::{index, print};
use crate::files::shown;

/// Recordings worked on at once, at most.
const BESIDE: usize = 4;

/// What came of one recording: its row of the table and its facts for other programs.
type Outcome = Result<([String; 4], Value), String>;

pub(super) fn run(args: &StudyArgs) -> Result<(), Error> {
    let parent = args.out.clone().unwrap_or_else(|| PathBuf::from(USUAL));
    let folders: Vec<PathBuf> = args
        .recordings
        .iter()
        .map(|recording| parent.join(name_of(recording)))
        .collect();
    for (at, folder) in folders.iter().enumerate() {
        if folders.iter().take(at).any(|other| other == folder) {
            return Err(anyhow!(
                "{}: the studies of two recordings would both go there; rename one, or study them one by one with --out",
                shown(folder)
            ));
        }
    }
    let outcomes = all(args, &folders);
    let mut refused = Vec::new();
    for (recording, outcome) in args.recordings.iter().zip(&outcomes) {
        if let Err(reason) = outcome {
            refused.push((recording, reason));
        }
    }
    let (page, mind) = index::write(&parent)?;
    if args.talk.json {
        let studies: Vec<&Value> = outcomes.iter().flatten().map(|(_, facts)| facts).collect();
        let refused: Vec<Value> = refused
            .iter()
            .map(|(recording, reason)| json!({ "recording": shown(recording), "error": reason }))
            .collect();
        let value =
            json!({ "studies": studies, "refused": refused, "index": shown(&page), "warnings": mind });
        print(&[value.to_string()])?;
    } else if !args.talk.quiet {
        print(&table(args, &outcomes))?;
        print(&[format!("\nall of them: {}", shown(&page))])?;
        print(&mind.iter().map(|words| row("mind", words)).collect::<Vec<_>>())?;
    }
    match refused.len() {
        0 => Ok(()),
        some => Err(anyhow!(
            "{some} of {} recordings refused:\n{}",
            outcomes.len(),
            refused
                .iter()
                .map(|(_, reason)| format!("error: {reason}"))
                .collect::<Vec<_>>()
                .join("\n")
        )),
    }
}

/// Every recording's outcome, in their order.
fn all(args: &StudyArgs, folders: &[PathBuf]) -> Vec<Outcome> {
    let next = AtomicUsize::new(0);
    let outcomes: Mutex<Vec<Option<Outcome>>> = Mutex::new(vec![None; folders.len()]);
    let work = || {
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let (Some(recording), Some(folder)) = (args.recordings.get(at), folders.get(at)) else {
                return;
            };
            let outcome = one(args, recording, folder);
            if let Ok(mut all) = outcomes.lock()
                && let Some(place) = all.get_mut(at)
            {
                *place = Some(outcome);
            }
        }
    };
    let cores = thread::available_parallelism().map_or(1, |n| n.get());
    thread::scope(|scope| {
        for _ in 1..cores.min(BESIDE).min(folders.len()) {
            scope.spawn(work);
        }
        work();
    });
    let lost = || Err("its work was broken off; run it again".to_owned());
    let outcomes = outcomes.into_inner().unwrap_or_default();
    outcomes
        .into_iter()
        .map(|outcome| outcome.unwrap_or_else(lost))
        .collect()
}

fn one(args: &StudyArgs, recording: &Path, folder: &Path) -> Outcome {
    let made = make(recording, folder, args, |_| {}).map_err(|error| error.to_string())?;
    let facts = json!({
        "recording": shown(recording),
        "folder": shown(folder),
        "hits": made.study.strokes.len(),
        "grid": made.study.grid.statement(),
        "figure": figure(&made.study),
        "warnings": made.study.warnings,
    });
    Ok((cells(&made.study), facts))
}

fn table(args: &StudyArgs, outcomes: &[Outcome]) -> Vec<String> {
    let heads = ["recording", "length", "hits", "grid", "repeats"].map(str::to_owned);
    let mut rows = vec![heads.to_vec()];
    for (recording, outcome) in args.recordings.iter().zip(outcomes) {
        let mut row = vec![shown(Path::new(
            recording.file_name().unwrap_or(recording.as_os_str()),
        ))];
        match outcome {
            Ok((cells, _)) => row.extend(cells.iter().cloned()),
            Err(_) => row.push("refused".to_owned()),
        }
        rows.push(row);
    }
    let width = |column: usize| {
        let cells = rows.iter().filter_map(|row| row.get(column));
        cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..heads.len()).map(width).collect();
    let line = |row: &Vec<String>| {
        let padded = row
            .iter()
            .zip(&widths)
            .map(|(cell, width)| format!("{cell:<width$}"));
        padded.collect::<Vec<_>>().join("  ").trim_end().to_owned()
    };
    rows.iter().map(line).collect()
}
