//! [`Score`] -> staff pages as SVG: percussion clef, stems, beams by beat, tuplets, signs, who plays, the count, brackets over
//! the figure, home, bar numbers with clock times, doubts, and always a legend.
//!
//! In: a study, its score, paper and count. Out: pages for a music stand, or one column for a phone, in the palette and
//! the type of the other charts. Drawn by own code: no engraving library in Rust is kept up, and those in other
//! languages would be the only thing a user must install. The outlines are those of an engraving font.

mod count;
mod glyphs;
mod ink;
mod legend;
mod notes;
mod page;
mod rows;
mod space;
mod system;
#[cfg(test)]
mod tests;

use crate::charts::Chart;
use crate::charts::palette::{A4, MARGIN, WIDTH};
use crate::names::{Limb, Voice};
use crate::notation::score::Score;
use crate::options::{Paper, ScoreOptions};
use crate::study::Study;
use legend::Legend;
use page::Frame;
use rows::{Row, rows, split};
use system::{Look, System};

/// The name of the pages.
pub const NAME: &str = "staff";

/// Width and margin of a phone's column, and the most that a page of it holds, in tenths of a millimetre.
const PHONE: (i64, i64, i64) = (1000, 40, 5000);

/// The most that a slip holds.
const LONGEST: i64 = 10 * A4;

/// A row, laid out.
enum Laid {
    Music(System),
    Silent(i64, i64),
}

/// Height of a row of silence.
const SILENCE: f64 = 90.0;

impl Laid {
    fn height(&self) -> f64 {
        match self {
            Laid::Music(system) => system.height,
            Laid::Silent(..) => SILENCE,
        }
    }
}

/// Draws the pages of a score; always at least one.
pub fn draw(study: &Study, score: &Score, options: &ScoreOptions) -> Vec<Chart> {
    let mut pages = Vec::new();
    draw_each(study, score, options, |page| pages.push(page));
    pages
}

/// Draws the pages of a score one after the other, so that those of hours need not all be in memory.
pub fn draw_each(study: &Study, score: &Score, options: &ScoreOptions, mut visit: impl FnMut(Chart)) {
    let (width, margin, most) = match options.paper {
        Paper::A4 => (WIDTH, MARGIN, A4),
        Paper::Slip => (WIDTH, MARGIN, LONGEST),
        Paper::Phone => PHONE,
    };
    let sides = (margin as f64, (width - margin) as f64);
    let look = Look {
        score,
        count: options.count,
        left: sides.0,
        right: sides.1,
        feet: both_feet(study),
    };
    let legend = Legend::of(study, score, options, sides);
    let frame = Frame {
        study,
        score,
        width,
        margin,
        most,
        legend,
        whole: options.paper == Paper::A4,
    };
    let pages = deal(measured(&look, options.paper), frame.room());
    let count = pages.len();
    let name = name(options);
    for (number, page) in (1..).zip(pages) {
        let page: Vec<Laid> = page.iter().map(|row| row.lay_out(&look)).collect();
        visit(Chart {
            name: format!("{name}-{number:02}"),
            svg: frame.page(&page, (number, count)),
        });
    }
}

/// How the names of the pages begin.
pub fn name(options: &ScoreOptions) -> String {
    let name = options.layout.named(NAME);
    match options.paper {
        Paper::A4 | Paper::Slip => name,
        Paper::Phone => format!("{name}-phone"),
    }
}

/// Whether both feet play kicks.
fn both_feet(study: &Study) -> bool {
    let kick = |voice| matches!(voice, Voice::Kick | Voice::KickLeft);
    study
        .strokes
        .iter()
        .any(|s| kick(s.hit.voice) && s.limb == Some(Limb::LeftFoot))
}

/// A row and the room that it takes. It is laid out once to measure it and again on its page, as all rows of hours laid
/// out at once would fill the memory.
struct Measured {
    row: Row,
    /// Whether it is the first, which bears the meter.
    first: bool,
    height: f64,
}

impl Measured {
    /// With whether it is too full.
    fn of(look: &Look, row: Row, first: bool) -> (Measured, bool) {
        let mut measured = Measured {
            row,
            first,
            height: 0.0,
        };
        let laid = measured.lay_out(look);
        measured.height = laid.height();
        (measured, matches!(laid, Laid::Music(system) if system.too_full))
    }

    fn lay_out(&self, look: &Look) -> Laid {
        match &self.row {
            Row::Silent(from, to) => Laid::Silent(*from, *to),
            Row::Music(pieces, share) => Laid::Music(look.system(pieces, *share, self.first)),
        }
    }
}

/// Measures every row; one that is too full for its bars gets a row for each.
fn measured(look: &Look, paper: Paper) -> Vec<Measured> {
    let mut all: Vec<Measured> = Vec::new();
    for row in rows(look.score, paper) {
        let (whole, too_full) = Measured::of(look, row, all.is_empty());
        match &whole.row {
            Row::Music(pieces, share) if too_full && pieces.len() > 1 => {
                for part in split(pieces, *share) {
                    let first = all.is_empty();
                    all.push(Measured::of(look, part, first).0);
                }
            }
            _ => all.push(whole),
        }
    }
    all
}

/// Deals rows out to pages.
fn deal(rows: Vec<Measured>, room: f64) -> Vec<Vec<Measured>> {
    let mut pages = Vec::new();
    let (mut page, mut used) = (Vec::new(), 0.0);
    for row in rows {
        if used + row.height > room && !page.is_empty() {
            pages.push(std::mem::take(&mut page));
            used = 0.0;
        }
        used += row.height;
        page.push(row);
    }
    pages.push(page);
    pages
}
