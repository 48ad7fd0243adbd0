//! `overbar study`: from a recording to its study folder.

use std::path::Path;

use anyhow::Error;

use super::args::StudyArgs;
use super::make::{USUAL, make, name_of};
use super::progress::Progress;
use super::summary::row;
use super::{index, many, print, summary};

pub(super) fn run(args: &StudyArgs) -> Result<(), Error> {
    let [recording] = args.recordings.as_slice() else {
        return many::run(args);
    };
    let folder = args
        .out
        .clone()
        .unwrap_or_else(|| Path::new(USUAL).join(name_of(recording)));
    let progress = Progress::new(args.talk);
    let made = make(recording, &folder, args, |stage| progress.show(stage))?;
    drop(progress);
    let beside = index::refresh(folder.parent().unwrap_or(&folder));
    if args.talk.json {
        return Ok(print(&[made.saved.json.trim_end().to_owned()])?);
    }
    if !args.talk.quiet {
        let mut lines = summary::lines(&made.study, &folder);
        lines.extend(made.notes);
        lines.extend(beside.iter().map(|words| row("mind", words)));
        print(&lines)?;
    }
    Ok(())
}
