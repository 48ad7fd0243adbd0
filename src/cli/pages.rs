//! Pages of charts as files: `charts/KIND-NN.svg` in the study's folder.

use std::path::{Path, PathBuf};
use std::{fs, io};

use anyhow::Error;

use crate::charts::Chart;
use crate::study::Outbox;

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

/// Writes pages in files whose names end in `suffix`; gives their places.
pub(super) fn write(out: &Outbox, charts: &[Chart], suffix: &str) -> Result<Vec<PathBuf>, Error> {
    let mut files = Vec::new();
    for chart in charts {
        let name = format!("charts/{}{suffix}.svg", chart.name);
        out.put(&name, chart.svg.as_bytes())?;
        files.push(out.folder().join(name));
    }
    Ok(files)
}

/// Removes `KIND-NN.svg` where this study has no page NN.
pub(super) fn clear(folder: &Path, kind: &str, charts: &[Chart]) -> io::Result<()> {
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
