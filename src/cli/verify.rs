//! `overbar verify`: is the figure as long as somebody says?

use anyhow::Error;

use super::args::VerifyArgs;
use super::print;
use super::summary::row;
use crate::cycles::{self, Verdict, Verification};
use crate::grid::{Placed, subdivision};
use crate::study::{self, Study};

pub(super) fn run(args: &VerifyArgs) -> Result<(), Error> {
    let study = study::read(&args.study)?;
    let found = cycles::verify(&placed(&study), &study.grid, &study.options.cycles, args.length);
    if args.talk.json {
        return Ok(print(&[serde_json::to_string_pretty(&found)?])?);
    }
    if !args.talk.quiet {
        print(&lines(&study, &found))?;
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
    let steps = subdivision(study.grid.meter, study.grid.steps_per_beat);
    let verdict = match found.verdict {
        Verdict::Certain => "certain: it is",
        Verdict::Likely => "likely: it is, as far as can be heard",
        Verdict::Open => "open: the recording does not decide it",
        Verdict::Contradicted => "contradicted: the recording says otherwise",
    };
    let mut lines = vec![
        row(
            "claim",
            &format!(
                "the figure is {} steps long, on {steps}",
                found.claim.length_steps
            ),
        ),
        row("verdict", verdict),
    ];
    lines.extend(found.reasons.iter().map(|reason| row("because", reason)));
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
