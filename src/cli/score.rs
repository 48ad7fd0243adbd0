//! The written score of a study: staff pages, a PDF of them, MusicXML, MIDI.

use std::io::{self, Write};
use std::path::PathBuf;

use anyhow::Error;

use super::args::Bars;
use super::pages::{self, Pages};
use crate::notation::score::Score;
use crate::notation::{midi, musicxml, pdf, staff};
use crate::options::{Paper, ScoreOptions};
use crate::study::{Outbox, Study};

/// Writes the score of a study, or of some of its bars, or of a `suited` line, in files of their own.
pub(super) fn write(
    out: &Outbox,
    study: &Study,
    options: &ScoreOptions,
    bars: Option<Bars>,
    suited: &str,
) -> Result<Vec<PathBuf>, Error> {
    let score = Score::of(study, options.layout);
    let (score, suffix) = match bars {
        None => (score, suited.to_owned()),
        Some(bars) => (
            score.within(&(bars.first..=bars.last)),
            format!("{suited}{}", bars.suffix()),
        ),
    };
    let (mut pages, mut document) = (Pages::new(out, &suffix), pdf::Document::default());
    staff::draw_each(study, &score, options, |page| {
        document.add(&page.svg);
        pages.put(page);
    });
    let (named, mut files) = pages.done()?;
    let paper = match options.paper {
        Paper::A4 | Paper::Slip => "",
        Paper::Phone => "-phone",
    };
    if suffix.is_empty() {
        pages::clear(&out.folder().join("charts"), &staff::name(options), &named)?;
    }
    let mut put = |name: String, write: &mut dyn FnMut(&mut dyn Write) -> io::Result<()>| {
        out.put_by(&name, write)?;
        files.push(out.folder().join(name));
        Ok::<(), Error>(())
    };
    let name = options.layout.named("score");
    put(format!("{name}{paper}{suffix}.pdf"), &mut |out| {
        out.write_all(&std::mem::take(&mut document).finish())
    })?;
    put(format!("{name}{suffix}.musicxml"), &mut |out| {
        musicxml::write(study, &score, options.tempo, out)
    })?;
    put(format!("{name}{suffix}.mid"), &mut |out| {
        out.write_all(&midi::write(study, &score, options))
    })?;
    Ok(files)
}
