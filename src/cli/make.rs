//! A recording -> its study, written in its folder: what `overbar study` does for each of its recordings.

use std::path::{Path, PathBuf};

use anyhow::{Error, anyhow};

use super::args::StudyArgs;
use super::summary::row;
use super::{beats, chart, page, score};
use crate::audio::Recording;
use crate::charts::ChartKind;
use crate::files::shown;
use crate::options::{Paper, ScoreOptions};
use crate::study::{RecordingFacts, Saved, Study, corrections};
use crate::units::Seconds;
use crate::{Stage, audio, study, study_of};

/// A study that has been written, and what the player should know of how.
pub(super) struct Made {
    pub(super) study: Study,
    pub(super) saved: Saved,
    pub(super) notes: Vec<String>,
}

/// Makes the study of one recording in `folder`.
pub(super) fn make(
    recording: &Path,
    folder: &Path,
    args: &StudyArgs,
    show: impl Fn(Stage),
) -> Result<Made, Error> {
    let mut options = args.hints.options(args.fast);
    if let Some(file) = &args.hints.beats {
        options.grid.beats = beats::read(file)?;
    }
    let kit = match &args.kit {
        Some(file) => Some((file.clone(), study::read_kit(file)?)),
        None => None,
    };
    audio::check_file(recording)?;
    study::check_destination(folder)?;
    let _lock = study::lock(folder)?;
    let mut loaded = corrections::load(folder)?;
    if let Some((file, kit)) = kit {
        loaded.corrections.start_from(file, kit);
    }
    show(Stage::Read);
    // Reading goes on one core; what needs nothing of the recording is made on another.
    let (recording, drums) = rayon::join(|| audio::read(recording, &options.audio), page::drums);
    let recording = recording?;
    check_downbeat(&recording, options.grid.downbeat)?;
    let other_recording = loaded.check_recording(&(&recording.source).into())?;
    let mut study = study_of(&recording, &options, &mut loaded.corrections, &show);
    recording.check()?;
    study.warnings.extend(other_recording);
    show(Stage::Write);
    let saved = study::write(folder, &study, &loaded)?;
    let most = Seconds(f64::from(args.page_sound) * 60.0);
    let sound = study::write_many(folder, |out| {
        let (drawn, scored) = rayon::join(
            || chart::draw(out, &study, &ChartKind::ALL, Paper::A4),
            || score::write(out, &study, &ScoreOptions::default(), None, ""),
        );
        drawn?;
        scored?;
        page::write_sound(out, &study, &recording, &drums, most)
    })?;
    let page = page::write(folder, &study, &saved, &sound)?;
    let minded = loaded.warnings.iter().chain(&page);
    let mut notes: Vec<String> = minded.map(|w| row("mind", w)).collect();
    let kit = loaded.corrections.kit_lines();
    notes.extend(kit.iter().map(|line| row("kit", line)));
    notes.extend(loaded.corrections.kept().line().map(|line| row("kept", &line)));
    let copied = |copy: &PathBuf| format!("what you had edited is also in {}", shown(copy));
    notes.extend(saved.copies.iter().map(|copy| row("copied", &copied(copy))));
    Ok(Made { study, saved, notes })
}

/// No beat of the music can fall where there is none of it.
fn check_downbeat(recording: &Recording, downbeat: Option<Seconds>) -> Result<(), Error> {
    let RecordingFacts { file, seconds, .. } = (&recording.source).into();
    match downbeat {
        Some(time) if time > seconds => Err(anyhow!(
            "{file}: --downbeat {} lies beyond its end; the recording lasts {:.2} s",
            time.0,
            seconds.0
        )),
        _ => Ok(()),
    }
}

/// The folder for studies that nobody has named another for.
pub(super) const USUAL: &str = "output";

/// What a study folder is called after its recording.
pub(super) fn name_of(recording: &Path) -> &Path {
    Path::new(recording.file_stem().unwrap_or(recording.as_os_str()))
}
