//! `overbar verify`: is the figure as long as somebody says, and is it played as somebody wrote it?

use std::path::Path;

use anyhow::{Error, bail};

use super::args::VerifyArgs;
use super::print;
use super::summary::row;
use crate::cycles::{self, Claim, Unit, Verdict, Verification};
use crate::files::shown;
use crate::grid::{Placed, subdivision};
use crate::names::Voice;
use crate::notation::compare::{Comparison, Difference, Spot, compare_between};
use crate::notation::read;
use crate::options::CycleOptions;
use crate::study::{self, Study};

pub(super) fn run(args: &VerifyArgs) -> Result<(), Error> {
    if let (Some(from), Some(to)) = (args.from, args.to)
        && from >= to
    {
        bail!(
            "cannot look from {} s to {} s: the end must come after the start",
            from.0,
            to.0
        );
    }
    let study = study::read(&args.study)?;
    if let Some(length) = args.length {
        let claim = Claim {
            voices: args.voices.clone(),
            from: args.from,
            to: args.to,
            ..Claim::new(length, args.unit, &study.grid)?
        };
        let named = study
            .groups
            .iter()
            .filter_map(|group| Some((group.voice, group.limb?)));
        let options = CycleOptions {
            limbs: named.collect(),
            ..study.options.cycles.clone()
        };
        let found = cycles::verify(&placed(&study), &study.grid, &options, &claim);
        tell(
            args,
            || serde_json::to_string_pretty(&found),
            || lines(&study, &found),
        )?;
    }
    if let Some(score) = &args.score {
        let mut covered = study.clone();
        let voice = |voice: Voice| args.voices.is_empty() || args.voices.contains(&voice);
        covered.strokes.retain(|stroke| voice(stroke.hit.voice));
        let mut written = read::read(score)?;
        written.notes.retain(|note| voice(note.voice));
        let found = compare_between(&written, &covered, args.from, args.to)?;
        tell(
            args,
            || serde_json::to_string_pretty(&found),
            || compared(score, &found),
        )?;
    }
    Ok(())
}

/// Broken repeats that are told; the others stand in JSON.
const BROKEN: usize = 5;

fn tell(
    args: &VerifyArgs,
    json: impl FnOnce() -> serde_json::Result<String>,
    lines: impl FnOnce() -> Vec<String>,
) -> Result<(), Error> {
    if args.talk.json {
        print(&[json()?])?;
    } else if !args.talk.quiet {
        print(&lines())?;
    }
    Ok(())
}

/// The strokes of the study on their steps, as the search for figures takes them.
fn placed(study: &Study) -> Vec<Placed> {
    let place = |stroke: &study::Stroke| {
        Some(Placed {
            hit: stroke.hit,
            step: stroke.step?,
            late: stroke.late?,
        })
    };
    study.strokes.iter().filter_map(place).collect()
}

fn lines(study: &Study, found: &Verification) -> Vec<String> {
    let claim = &found.claim;
    let steps = subdivision(study.grid.meter, study.grid.steps_per_beat);
    let verdict = match found.verdict {
        Verdict::Certain => "certain: it is",
        Verdict::Likely => "likely: it is, as far as can be heard",
        Verdict::Open => "open: the recording does not decide it",
        Verdict::Contradicted => "contradicted: the recording says otherwise",
    };
    let mut said = format!("the figure is {} {} long", claim.length, claim.unit.name());
    match claim.unit {
        Unit::Steps => said += &format!(", on {steps}"),
        Unit::Beats => said += &format!(": {} steps on {steps}", claim.length_steps),
        Unit::Notes => {}
    }
    if !claim.voices.is_empty() {
        let names: Vec<&str> = claim.voices.iter().map(|v| v.said()).collect();
        said += &format!(", in {}", names.join(" and "));
    }
    let mut lines = vec![row("claim", &said), row("verdict", verdict)];
    lines.extend(found.reasons.iter().map(|reason| row("because", reason)));
    if let Some(chance) = found.chance {
        lines.push(row("chance", &super::summary::chance(chance)));
    }
    for broken in found.broken.iter().take(BROKEN) {
        lines.push(row("broken", &broken.words()));
    }
    if let Some(more) = found.broken.len().checked_sub(BROKEN).filter(|more| *more > 0) {
        lines.push(row("", &format!("and {more} more, with --json")));
    }
    let rivals: Vec<String> = found
        .rivals
        .iter()
        .map(|rival| format!("{} steps ({:.0} bits)", rival.steps, rival.bits.0))
        .collect();
    if !rivals.is_empty() {
        lines.push(row("others", &rivals.join(", ")));
    }
    lines.extend(study.warnings.iter().map(|warning| row("mind", warning)));
    lines
}

/// A score against the recording, bar by bar.
fn compared(score: &Path, found: &Comparison) -> Vec<String> {
    let scale = match found.scale {
        s if s < 1.0 => ", written in double note values",
        s if s > 1.0 => ", written in half note values",
        _ => "",
    };
    let mut lines = vec![
        row(
            "score",
            &format!("{} begins at {}{scale}", shown(score), found.begins),
        ),
        row(
            "agree",
            &format!(
                "{} notes; {} written but not heard, {} heard but not written, {} on another drum, {} a step away",
                found.right, found.not_heard, found.not_written, found.other_voice, found.moved
            ),
        ),
    ];
    for bar in &found.bars {
        let words = match bar.spots.len() {
            0 => format!("{} notes, as written", bar.right),
            n => format!("{} notes as written, {n} not", bar.right),
        };
        lines.push(row(&format!("bar {}", bar.bar), &words));
        lines.extend(bar.spots.iter().map(|spot| row("", &difference(spot))));
    }
    lines.extend(found.warnings.iter().map(|warning| row("mind", warning)));
    lines
}

fn difference(spot: &Spot) -> String {
    let at = format!("beat {}, step {}", spot.place.beat, spot.place.step);
    let what = match spot.difference {
        Difference::NotHeard { written } => format!("{} written, not heard", written.said()),
        Difference::NotWritten { heard } => format!("{} heard, not written", heard.said()),
        Difference::OtherVoice { written, heard } => {
            format!("{} written, {} heard", written.said(), heard.said())
        }
        Difference::Moved { written, by: 1.. } => format!("{} heard a step later", written.said()),
        Difference::Moved { written, .. } => format!("{} heard a step earlier", written.said()),
    };
    format!("{at}: {what} ({})", spot.sure.words())
}
