//! `overbar take`: how close did this attempt come, and what do all attempts say together?

use std::time::{SystemTime, UNIX_EPOCH};

use anyhow::Error;

use super::args::TakeArgs;
use super::print;
use super::progress::Progress;
use super::summary::row;
use crate::audio::{self, Recording};
use crate::charts::{self, Curve, Day, Fault, Lateness, TakePicture, TakeStroke};
use crate::files::shown;
use crate::options::{Options, TakeOptions};
use crate::practice::take::{self, Attempt, Entry, Take};
use crate::practice::{Passage, PracticeError, progress};
use crate::study::{self, PRACTICE, Study};
use crate::{Stage, units::Seconds};

pub(super) fn run(args: &TakeArgs) -> Result<(), Error> {
    let study = study::read(&args.study)?;
    let _lock = study::lock(&args.study)?;
    let (mut lines, mut mind) = (Vec::new(), Vec::new());
    let mut json = serde_json::Map::new();
    if let Some(file) = &args.recording {
        let recording = audio::read(file, &Options::default().audio)?;
        let (taken, entry) = measured(args, &study, &recording, &mut lines)?;
        recording.check()?;
        let (before, _) = take::read(&args.study)?;
        mind.extend(take::taken_before(&before, &entry).map(|before| {
            format!(
                "{} was taken before, on {}: it counts once, as it was measured now",
                entry.file,
                date(before)
            )
        }));
        take::append(&args.study, &entry)?;
        json.insert("faults".to_owned(), serde_json::to_value(&taken.faults)?);
        json.insert("unheard".to_owned(), taken.untold.into());
        json.insert("take".to_owned(), serde_json::to_value(&entry)?);
    }
    let (entries, warnings) = take::read(&args.study)?;
    let (fit, answer) = progress::answer(&entries);
    let words = progress::words(fit.as_ref(), &answer, entries.len());
    let curve = fit.filter(|_| answer.is_of_the_curve()).map(|fit| Curve {
        heights: (1..=entries.len()).map(|n| fit.at(n as f64)).collect(),
        asymptote: fit.errors[0]
            .is_finite()
            .then_some((fit.asymptote, fit.errors[0])),
    });
    let days: Vec<Day> = entries.iter().map(day).collect();
    let chart = charts::progress(&study, &days, curve.as_ref(), &words);
    study::write_file(
        &args.study,
        &format!("{PRACTICE}/progress.svg"),
        chart.svg.as_bytes(),
    )?;
    lines.push(row("progress", &words));
    mind.extend(warnings.into_iter().chain(study.warnings));
    lines.extend(mind.iter().map(|w| row("mind", w)));
    if args.talk.json {
        json.insert("takes".to_owned(), entries.len().into());
        json.insert("progress".to_owned(), words.into());
        json.insert("warnings".to_owned(), mind.into());
        return Ok(print(&[serde_json::Value::Object(json).to_string()])?);
    }
    if !args.talk.quiet {
        print(&lines)?;
    }
    Ok(())
}

/// Listens to an attempt, draws its picture, and says what came of it.
fn measured(
    args: &TakeArgs,
    study: &Study,
    recording: &Recording,
    lines: &mut Vec<String>,
) -> Result<(Take, Entry), Error> {
    let passage = match args.bars {
        Some(bars) => Passage::bars(study, bars.first, bars.last)?,
        None => Passage::whole(study)?,
    };
    let progress = Progress::new(args.talk);
    progress.show(Stage::Hits);
    let attempt = Attempt::of(recording);
    progress.show(Stage::Grid);
    let measured = take::measure(study, &passage, &attempt, &TakeOptions::default());
    let file = recording.source.file.clone();
    let taken = measured.map_err(|error| match error {
        PracticeError::NotFollowed { .. } => PracticeError::NotFollowed { file: file.clone() },
        other => other,
    })?;
    drop(progress);
    let next = take::next(&taken, &study.grid);
    for chart in charts::take(study, &picture(study, &taken, &file, &next)) {
        let name = format!("{PRACTICE}/{}.svg", chart.name);
        study::write_file(&args.study, &name, chart.svg.as_bytes())?;
    }
    lines.extend(
        take::lines(&taken, &study.grid)
            .iter()
            .map(|(name, words)| row(name, words)),
    );
    lines.extend(next.iter().map(|words| row("next", words)));
    lines.push(row(
        "look at",
        &shown(&args.study.join(PRACTICE).join("take.svg")),
    ));
    let now = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .map_or(0, |since| since.as_secs());
    let entry = Entry::of(&taken, &file, &recording.source.sha256, now);
    Ok((taken, entry))
}

fn picture(study: &Study, taken: &Take, file: &str, next: &[String]) -> TakePicture {
    let clean = taken.rounds.iter().filter(|r| r.clean).count();
    TakePicture {
        words: format!(
            "{file}: {:.1} bpm, {:.1} % of the original; {} of {} strokes wrong; {clean} of {} rounds to home clean",
            taken.tempo.0,
            taken.share * 100.0,
            taken.faults.len(),
            taken.written,
            taken.rounds.len()
        ),
        strokes: taken
            .struck
            .iter()
            .map(|s| TakeStroke {
                step: s.step,
                figure: s.figure,
                late: s.late.0,
            })
            .collect(),
        faults: taken
            .faults
            .iter()
            .map(|f| Fault {
                step: f.step(),
                words: take::fault(f, &study.grid),
            })
            .collect(),
        tempos: taken.tempos.iter().map(|(step, bpm)| (*step, bpm.0)).collect(),
        limbs: taken
            .limbs
            .iter()
            .map(|l| Lateness {
                name: take::name(l.who).to_owned(),
                late: l.late.0,
                spread: l.spread.0,
            })
            .collect(),
        rounds: taken.rounds.iter().map(|r| (r.from, r.to, r.clean)).collect(),
        next: next.to_vec(),
    }
}

/// The day on which a take was measured first.
fn date(entry: &Entry) -> String {
    study::date(Seconds(entry.at as f64))
}

fn day(entry: &Entry) -> Day {
    Day {
        date: date(entry),
        tempo: entry.tempo_share,
        clean: (entry.rounds > 0).then(|| entry.clean_rounds as f64 / entry.rounds as f64),
    }
}
