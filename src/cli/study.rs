//! `overbar study`: from a recording to its study folder.

use std::path::{Path, PathBuf};

use anyhow::Error;

use super::args::StudyArgs;
use super::progress::Progress;
use super::{beats, chart, print, summary};
use crate::charts::ChartKind;
use crate::study::corrections;
use crate::{Stage, audio, study, study_of};

pub(super) fn run(args: &StudyArgs) -> Result<(), Error> {
    let folder = args.out.clone().unwrap_or_else(|| usual_folder(&args.recording));
    let mut options = args.hints.options(args.fast);
    if let Some(file) = &args.hints.beats {
        options.grid.beats = beats::read(file)?;
    }
    study::check_destination(&folder)?;
    let mut loaded = corrections::load(&folder)?;
    if let Some(file) = &args.kit {
        loaded
            .corrections
            .start_from(file.clone(), study::read_kit(file)?);
    }
    let progress = Progress::new(args.talk);
    progress.show(Stage::Read);
    let recording = audio::read(&args.recording, &options.audio)?;
    let other_recording = loaded.check_recording(&(&recording.source).into())?;
    let mut study = study_of(&recording, &options, &mut loaded.corrections, |stage| {
        progress.show(stage)
    });
    study.warnings.extend(other_recording);
    progress.show(Stage::Write);
    let saved = study::write(&folder, &study, &loaded)?;
    chart::draw(&folder, &study, &ChartKind::ALL)?;
    drop(progress);
    if args.talk.json {
        return Ok(print(&[saved.json.trim_end().to_owned()])?);
    }
    if !args.talk.quiet {
        let mut lines = summary::lines(&study, &folder);
        lines.extend(
            loaded
                .warnings
                .iter()
                .map(|warning| summary::row("mind", warning)),
        );
        let kit = loaded.corrections.kit_lines();
        lines.extend(kit.iter().map(|line| summary::row("kit", line)));
        lines.extend(
            loaded
                .corrections
                .kept()
                .line()
                .map(|line| summary::row("kept", &line)),
        );
        lines.extend(saved.copies.iter().map(|copy| {
            summary::row(
                "copied",
                &format!("what you had edited is also in {}", copy.display()),
            )
        }));
        print(&lines)?;
    }
    Ok(())
}

/// `output/` and the recording's name, without its ending.
fn usual_folder(recording: &Path) -> PathBuf {
    Path::new("output").join(recording.file_stem().unwrap_or(recording.as_os_str()))
}
