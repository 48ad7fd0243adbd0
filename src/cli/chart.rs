//! `overbar chart`: draw the charts of a study again, all of it or some bars.

use std::path::{Path, PathBuf};
use std::{fs, io};

use anyhow::Error;
use rayon::prelude::*;

use super::args::{Bars, ChartArgs, Picture};
use super::{print, score};
use crate::charts::{self, Chart, ChartKind};
use crate::files::shown;
use crate::study::{self, Study};

pub(super) fn run(args: &ChartArgs) -> Result<(), Error> {
    let study = study::read(&args.study)?;
    let _lock = study::lock(&args.study)?;
    let one;
    let kinds: &[ChartKind] = match args.chart {
        None => &ChartKind::ALL,
        Some(Picture::Staff) => &[],
        Some(Picture::Chart(kind)) => {
            one = [kind];
            &one
        }
    };
    let mut files = match args.bars {
        None => draw(&args.study, &study, kinds)?,
        Some(bars) => draw_bars(&args.study, &study, kinds, bars)?,
    };
    if !matches!(args.chart, Some(Picture::Chart(_))) {
        files.extend(score::write(
            &args.study,
            &study,
            &args.score.options(),
            args.bars,
        )?);
    }
    let files: Vec<String> = files.iter().map(|file| shown(file)).collect();
    if args.talk.json {
        let json = serde_json::json!({ "charts": files, "warnings": study.warnings });
        return Ok(print(&[json.to_string()])?);
    }
    if !args.talk.quiet {
        print(&files)?;
        print(&study.warnings)?;
    }
    Ok(())
}

/// Draws charts of the whole study and clears away pages that a longer one has left.
pub(super) fn draw(folder: &Path, study: &Study, kinds: &[ChartKind]) -> Result<Vec<PathBuf>, Error> {
    let each = kinds.par_iter().map(|&kind| {
        let charts = charts::draw(study, kind, None);
        let files = write(folder, &charts, "")?;
        clear_pages(&folder.join("charts"), kind.name(), &charts)?;
        Ok(files)
    });
    let files: Result<Vec<Vec<PathBuf>>, Error> = each.collect();
    Ok(files?.concat())
}

/// Draws some bars only, in files of their own.
fn draw_bars(folder: &Path, study: &Study, kinds: &[ChartKind], bars: Bars) -> Result<Vec<PathBuf>, Error> {
    let suffix = bars.suffix();
    let mut files = Vec::new();
    for &kind in kinds.iter().filter(|kind| !kind.is_of_the_whole()) {
        files.extend(write(
            folder,
            &charts::draw(study, kind, Some(bars.first..=bars.last)),
            &suffix,
        )?);
    }
    Ok(files)
}

pub(super) fn write(folder: &Path, charts: &[Chart], suffix: &str) -> Result<Vec<PathBuf>, Error> {
    let mut files = Vec::new();
    for chart in charts {
        let name = format!("charts/{}{suffix}.svg", chart.name);
        study::write_file(folder, &name, chart.svg.as_bytes())?;
        files.push(folder.join(name));
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
