//! `overbar chart`: draw the charts of a study again, all of it or some bars.

use std::path::PathBuf;

use anyhow::{Error, anyhow};
use rayon::prelude::*;

use super::args::{Bars, ChartArgs, Picture};
use super::line::Suited;
use super::pages::{self, Pages};
use super::{print, score};
use crate::charts::{self, ChartKind};
use crate::files::shown;
use crate::options::Paper;
use crate::practice::{Passage, PracticeError};
use crate::study::{self, Outbox, Study};

pub(super) fn run(args: &ChartArgs) -> Result<(), Error> {
    let study = study::read(&args.study)?;
    check(args, &study)?;
    let _lock = study::lock(&args.study)?;
    let Suited {
        study,
        suffix,
        mut mind,
    } = match args.limbs {
        None => args.suits.suit(study, &args.study)?,
        Some(pair) => Suited {
            study: study.between(pair.0),
            suffix: pair.suffix(),
            mind: Vec::new(),
        },
    };
    let one;
    let kinds: &[ChartKind] = match args.chart {
        None if args.limbs.is_some() => &[ChartKind::Solo, ChartKind::Learn, ChartKind::Cells],
        None => &ChartKind::ALL,
        Some(Picture::Staff) => &[],
        Some(Picture::Chart(kind)) => {
            one = [kind];
            &one
        }
    };
    let paper = args.score.options().paper;
    let staff = args.chart == Some(Picture::Staff) || (args.chart.is_none() && args.limbs.is_none());
    let files = study::write_many(&args.study, |out| {
        let mut files = match args.bars {
            None if suffix.is_empty() => draw(out, &study, kinds, paper)?,
            bars => draw_beside(out, &study, kinds, &suffix, (bars, paper))?,
        };
        if staff {
            let options = args.score.options();
            files.extend(score::write(out, &study, &options, args.bars, &suffix)?);
        }
        Ok::<_, Error>(files)
    })?;
    let files: Vec<String> = files.iter().map(|file| shown(file)).collect();
    mind.extend(study.warnings);
    if args.talk.json {
        let json = serde_json::json!({ "charts": files, "warnings": mind });
        return Ok(print(&[json.to_string()])?);
    }
    if !args.talk.quiet {
        print(&files)?;
        print(&mind)?;
    }
    Ok(())
}

/// Bars must be bars of the study, and of a chart that can be drawn of some.
fn check(args: &ChartArgs, study: &Study) -> Result<(), Error> {
    let Some(bars) = args.bars else {
        return Ok(());
    };
    if let Some(Picture::Chart(kind)) = args.chart
        && kind.is_of_the_whole()
    {
        return Err(anyhow!(
            "the {kind} chart is of the whole recording; leave --bars out"
        ));
    }
    match Passage::bars(study, bars.first, bars.last) {
        Err(outside @ PracticeError::Outside { .. }) => Err(outside.into()),
        _ => Ok(()),
    }
}

/// Draws charts of the whole study and clears away pages that a longer one has left.
pub(super) fn draw(
    out: &Outbox,
    study: &Study,
    kinds: &[ChartKind],
    paper: Paper,
) -> Result<Vec<PathBuf>, Error> {
    let each = kinds.par_iter().map(|&kind| {
        let mut pages = Pages::new(out, "");
        charts::draw_each(study, kind, None, paper, &mut |page| pages.put(page));
        let (charts, files) = pages.done()?;
        let phone = format!("{kind}-phone");
        let is_phone = charts.iter().any(|chart| chart.name.starts_with(&phone));
        let name = if is_phone { &phone } else { kind.name() };
        pages::clear(&out.folder().join("charts"), name, &charts)?;
        Ok(files)
    });
    let files: Result<Vec<Vec<PathBuf>>, Error> = each.collect();
    Ok(files?.concat())
}

/// Draws in files of their own, whose names end in `suffix`: some bars only, or a line that suits the player.
fn draw_beside(
    out: &Outbox,
    study: &Study,
    kinds: &[ChartKind],
    suffix: &str,
    (bars, paper): (Option<Bars>, Paper),
) -> Result<Vec<PathBuf>, Error> {
    let mut files = Vec::new();
    let suffix = format!("{suffix}{}", bars.map_or_else(String::new, Bars::suffix));
    for &kind in kinds
        .iter()
        .filter(|kind| bars.is_none() || !kind.is_of_the_whole())
    {
        let range = bars.map(|bars| bars.first..=bars.last);
        files.extend(pages::write(
            out,
            &charts::draw(study, kind, range, paper),
            &suffix,
        )?);
    }
    Ok(files)
}
