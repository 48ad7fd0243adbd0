//! `overbar chart`: draw the charts of a study again, all of it or some bars.

use std::path::{Path, PathBuf};
use std::{fs, io};

use anyhow::{Error, anyhow};
use rayon::prelude::*;

use super::args::{Bars, ChartArgs, Picture};
use super::line::Suited;
use super::{print, score};
use crate::charts::{self, Chart, ChartKind};
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
        clear_pages(&out.folder().join("charts"), name, &charts)?;
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
        files.extend(write(out, &charts::draw(study, kind, range, paper), &suffix)?);
    }
    Ok(files)
}

/// Writes pages as they come and keeps no more of them than their names: those of hours would fill the memory.
pub(super) struct Pages<'a> {
    out: &'a Outbox<'a>,
    suffix: &'a str,
    named: Vec<Chart>,
    files: Result<Vec<PathBuf>, Error>,
}

impl<'a> Pages<'a> {
    pub(super) fn new(out: &'a Outbox, suffix: &'a str) -> Pages<'a> {
        Pages {
            out,
            suffix,
            named: Vec::new(),
            files: Ok(Vec::new()),
        }
    }

    /// After a page that could not be written no more are.
    pub(super) fn put(&mut self, page: Chart) {
        if let Ok(known) = &mut self.files {
            match write(self.out, std::slice::from_ref(&page), self.suffix) {
                Ok(more) => known.extend(more),
                Err(error) => self.files = Err(error),
            }
        }
        self.named.push(Chart {
            svg: String::new(),
            ..page
        });
    }

    /// The pages without what stands on them, and their files.
    pub(super) fn done(self) -> Result<(Vec<Chart>, Vec<PathBuf>), Error> {
        Ok((self.named, self.files?))
    }
}

fn write(out: &Outbox, charts: &[Chart], suffix: &str) -> Result<Vec<PathBuf>, Error> {
    let mut files = Vec::new();
    for chart in charts {
        let name = format!("charts/{}{suffix}.svg", chart.name);
        out.put(&name, chart.svg.as_bytes())?;
        files.push(out.folder().join(name));
    }
    Ok(files)
}

/// Removes `KIND-NN.svg` where this study has no page NN.
pub(super) fn clear_pages(folder: &Path, kind: &str, charts: &[Chart]) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        let stem = path
            .file_stem()
            .and_then(|stem| stem.to_str())
            .unwrap_or_default();
        let page = stem.strip_prefix(kind).and_then(|rest| rest.strip_prefix('-'));
        let is_page = page.is_some_and(|page| page.parse::<u32>().is_ok());
        let is_ours = is_page && path.extension().is_some_and(|ending| ending == "svg");
        if is_ours && charts.iter().all(|chart| chart.name != stem) {
            fs::remove_file(&path)?;
        }
    }
    Ok(())
}
