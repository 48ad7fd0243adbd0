//! A page: heading, rows, legend.

use super::Laid;
use super::ink::define;
use super::legend::Legend;
use crate::charts::palette::{INK, NUMBER, QUIET, TITLE, WORDS};
use crate::charts::svg::{Svg, Type, whole};
use crate::charts::words;
use crate::notation::letters;
use crate::notation::score::Score;
use crate::study::Study;

/// From the legend to the foot of the page.
const FOOT: f64 = 60.0;
/// The heading's lines: the title, then the others.
const FIRST: i64 = 115;
const SECOND: i64 = 180;
const LINE: i64 = 56;

/// What all pages of a study share.
pub(super) struct Frame<'a> {
    pub(super) study: &'a Study,
    pub(super) score: &'a Score<'a>,
    pub(super) width: i64,
    pub(super) margin: i64,
    /// The height of a page, or the most of it.
    pub(super) most: i64,
    pub(super) legend: Legend,
    /// Whether pages are as high as their paper, whatever stands on them.
    pub(super) whole: bool,
}

impl Frame<'_> {
    /// Room for rows on a page.
    pub(super) fn room(&self) -> f64 {
        self.most as f64 - self.top() - FOOT - self.legend.height
    }

    /// Where the rows begin.
    fn top(&self) -> f64 {
        self.rule() as f64 + 48.0
    }

    /// The line under the heading.
    fn rule(&self) -> i64 {
        SECOND + LINE * (self.heading().len() as i64 - 1) + 30
    }

    /// The heading's lines under the title: source, grid, figure; each on as many lines as it needs.
    fn heading(&self) -> Vec<(String, Type)> {
        let source = words::source(self.study, usize::MAX);
        let statements = [
            (source, Type::size(WORDS).fill(QUIET), false),
            (words::grid_statement(&self.study.grid), Type::size(WORDS), false),
            (
                words::figure(self.study.cycles.first()),
                Type::size(WORDS).bold(),
                true,
            ),
        ];
        let room = (self.width - 2 * self.margin) as f64;
        let lines = |(words, look, bold): (String, Type, bool)| {
            let lines = letters::wrap(&words, WORDS as f64, bold, room);
            lines.into_iter().map(move |line| (line, look))
        };
        statements.into_iter().flat_map(lines).collect()
    }

    /// Draws a page.
    pub(super) fn page(&self, rows: &[Laid], page: (usize, usize)) -> String {
        let used: f64 = rows.iter().map(Laid::height).sum::<f64>().max(200.0);
        let height = if self.whole {
            self.most
        } else {
            whole(self.top() + used + self.legend.height + FOOT)
        };
        let mut svg = self.open(height, page);
        let systems = rows.iter().filter_map(|row| match row {
            Laid::Music(system) => Some(system),
            Laid::Silent(..) => None,
        });
        let drawn = systems.clone().flat_map(|system| system.glyphs());
        define(&mut svg, drawn.chain(self.legend.glyphs()));
        let mut y = self.top();
        for row in rows {
            match row {
                Laid::Music(system) => system.put(&mut svg, y),
                Laid::Silent(from, to) => {
                    let words = format!("bars {from} to {to}: nothing struck");
                    svg.text(self.margin, whole(y) + 56, Type::size(WORDS).fill(QUIET), &words);
                }
            }
            y += row.height();
        }
        if rows.is_empty() {
            self.nothing(&mut svg);
        }
        self.legend
            .put(&mut svg, height as f64 - FOOT - self.legend.height);
        svg.finish()
    }

    /// Why there are no notes.
    fn nothing(&self, svg: &mut Svg) {
        let words = if self.score.is_part {
            "Nothing is written in these bars."
        } else if self.study.strokes.is_empty() {
            "Nothing was struck in this recording."
        } else {
            "No beat was found: tap it and give it with --beats, then notes can be written."
        };
        let room = (self.width - 2 * self.margin) as f64;
        let words = letters::fit(words, NUMBER as f64, true, room);
        svg.text(
            self.margin,
            whole(self.top()) + 70,
            Type::size(NUMBER).bold(),
            &words,
        );
    }

    /// The heading.
    fn open(&self, height: i64, (page, pages): (usize, usize)) -> Svg {
        let title = words::title(self.study);
        let chart = if pages > 1 {
            format!("Staff, page {page} of {pages}")
        } else {
            "Staff".to_owned()
        };
        let room = (self.width - 2 * self.margin) as f64;
        let bars = match (self.score.bars.first(), self.score.bars.last()) {
            (Some(first), Some(last)) => format!("bars {} to {}", first.number, last.number),
            _ => "no bars".to_owned(),
        };
        let desc = format!(
            "Staff notation of {bars}, {}, page {page} of {pages}. Each note says in words what is struck, where and when.",
            words::clock_span(self.study)
        );
        let name = format!("staff-{page:02}");
        let mut svg = Svg::new(&name, (self.width, height), &format!("{title}: {chart}"), &desc);
        let right = self.width - self.margin;
        let corner = letters::width(&chart, WORDS as f64, false);
        let (size, beside) = if self.whole {
            (TITLE, corner + 40.0)
        } else {
            (NUMBER, corner + 20.0)
        };
        svg.text(
            self.margin,
            FIRST,
            Type::size(size).bold(),
            &letters::fit(&title, size as f64, true, room - beside),
        );
        svg.text(right, FIRST, Type::size(WORDS).end(), &chart);
        for (i, (words, look)) in self.heading().into_iter().enumerate() {
            svg.text(self.margin, SECOND + LINE * i as i64, look, &words);
        }
        let rule = self.rule();
        svg.line((self.margin, rule), (right, rule), INK, 4);
        svg
    }
}
