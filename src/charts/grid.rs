//! The solo bar by bar: one ruled line a voice, strokes as shapes on it, the figure solid and the solo hollow.
//!
//! In: the study and which bars. Out: pages of A4. Bar lines stand between bars and beat lines run through the
//! strokes that fall on the beat, as a player counts; marks above the lines show where the figure starts.

mod line;

use std::ops::RangeInclusive;

use super::page::{Heading, Key, legend, open};
use super::palette::{A4, DOUBT, FOOT, MARGIN, NUMBER, QUIET, SURE, TOP, WIDTH, WORDS};
use super::score::{LINE_STEPS, Line, Note, Repeat, Score, is_home, repeats};
use super::shapes::Weight;
use super::svg::{Svg, Type};
use super::words;
use super::{Chart, ChartKind};
use crate::names::{Layer, Mark, Voice};
use crate::study::Study;

/// Width of the names of the voices.
const NAMES: i64 = 240;
/// Height of a voice's row.
const ROW: i64 = 56;
/// Above the rows: bar and beat numbers, then starts of the figure.
const ABOVE: i64 = 100;
/// Below the rows.
const BELOW: i64 = 34;
/// Height of a line that tells of silence.
const SILENCE: i64 = 90;
/// Steps are never drawn wider than this, so that a bar of few steps still looks like one.
const WIDEST: f64 = 100.0;
/// Height of an entry in the list of unsure places, and of its heading.
const ENTRY: i64 = 56;

/// Draws the grid chart.
pub(super) fn draw(study: &Study, bars: Option<&RangeInclusive<i64>>, put: &mut dyn FnMut(Chart)) {
    let score = Score::of(study);
    let rows = Score::voices(&score.notes);
    let plan = Plan {
        step: ((WIDTH - 2 * MARGIN - NAMES) as f64 / score.line_steps(LINE_STEPS) as f64).min(WIDEST),
        repeats: study
            .cycles
            .first()
            .map(|cycle| repeats(cycle, &score))
            .unwrap_or_default(),
        study,
        rows,
        score,
    };
    let pages = plan.pages(bars);
    let (count, keys) = (pages.len(), plan.keys());
    for (i, page) in pages.iter().enumerate() {
        put(Chart {
            name: format!("{}-{:02}", ChartKind::Grid, i + 1),
            svg: plan.page(page, (i + 1, count), &keys),
        });
    }
}

/// What stands on a page.
#[derive(Debug, Default)]
struct PageContent {
    lines: Vec<Line>,
    /// Unsure places listed here, by position in `unsure`.
    unsure: Vec<String>,
    /// Why there is nothing to draw.
    nothing: Option<String>,
}

struct Plan<'a> {
    study: &'a Study,
    score: Score<'a>,
    rows: Vec<Voice>,
    repeats: Vec<Repeat>,
    /// Width of a step.
    step: f64,
}

impl Plan<'_> {
    fn height(&self, line: &Line) -> i64 {
        match line {
            Line::Steps(..) => ABOVE + ROW * self.rows.len() as i64 + BELOW,
            Line::Silent(..) => SILENCE,
        }
    }

    /// Lines and the list of unsure places, dealt out to pages.
    fn pages(&self, bars: Option<&RangeInclusive<i64>>) -> Vec<PageContent> {
        let room = A4 - TOP - FOOT;
        let mut pages = Vec::new();
        let mut page = PageContent::default();
        let mut used = 0;
        for line in self.score.lines(bars, LINE_STEPS) {
            let height = self.height(&line);
            if used + height > room && !page.lines.is_empty() {
                pages.push(std::mem::take(&mut page));
                used = 0;
            }
            used += height;
            page.lines.push(line);
        }
        if page.lines.is_empty() {
            page.nothing = Some(match bars {
                Some(bars) => format!("Nothing is struck in bars {} to {}.", bars.start(), bars.end()),
                None => "Nothing was struck in this recording.".to_owned(),
            });
        }
        let unsure = self.unsure(bars);
        if !unsure.is_empty() && used + ENTRY * (unsure.len() as i64 / 2 + 3) > room {
            pages.push(std::mem::take(&mut page));
        }
        page.unsure = unsure;
        pages.push(page);
        pages
    }

    /// The unsure places in words, by time; when there are more than a page holds, how many more.
    fn unsure(&self, bars: Option<&RangeInclusive<i64>>) -> Vec<String> {
        let most = 2 * ((A4 - TOP - FOOT) / ENTRY - 4) as usize;
        let unsure: Vec<&Note> = self
            .score
            .within(bars)
            .iter()
            .filter(|note| note.stroke.hit.sure < SURE)
            .collect();
        let mut entries: Vec<String> = unsure
            .iter()
            .take(most)
            .map(|note| {
                let hit = &note.stroke.hit;
                let voice = hit.voice.said();
                let clock = hit.time.clock();
                if self.score.by_clock {
                    format!("{clock}: {voice}?")
                } else {
                    format!("{}: {voice}? ({clock})", self.score.place(note.step()))
                }
            })
            .collect();
        if unsure.len() > most {
            entries.push(format!("and {} more, in hits.tsv", unsure.len() - most));
        }
        entries
    }

    fn page(&self, content: &PageContent, page: (usize, usize), keys: &[Key]) -> String {
        let heading = Heading {
            chart: "Grid",
            page,
            desc: self.describe(content),
            height: A4,
        };
        let mut svg = open(self.study, &heading);
        let mut y = TOP;
        for line in &content.lines {
            match *line {
                Line::Steps(from, to) => self.line(&mut svg, y, from, to),
                Line::Silent(from, to) => {
                    let words = if self.score.by_clock {
                        let (a, b) = (self.score.bar_start(from), self.score.bar_start(to + 1));
                        format!(
                            "{} to {}: nothing struck",
                            self.score.clock(a),
                            self.score.clock(b)
                        )
                    } else {
                        format!("bars {from} to {to}: nothing struck")
                    };
                    svg.text(MARGIN + NAMES, y + 50, Type::size(WORDS).fill(QUIET), &words);
                }
            }
            y += self.height(line);
        }
        if let Some(nothing) = &content.nothing {
            svg.text(MARGIN, y + 60, Type::size(NUMBER).bold(), nothing);
        }
        self.list_unsure(&mut svg, y, &content.unsure);
        legend(&mut svg, A4, keys);
        svg.finish()
    }

    fn describe(&self, content: &PageContent) -> String {
        let steps: Vec<(i64, i64)> = content
            .lines
            .iter()
            .filter_map(|line| match *line {
                Line::Steps(from, to) => Some((from, to)),
                Line::Silent(..) => None,
            })
            .collect();
        let (Some(&(from, _)), Some(&(_, to))) = (steps.first(), steps.last()) else {
            return "No strokes on this page.".to_owned();
        };
        format!(
            "Bars {} to {}, {} to {}. One ruled line for each voice: {}. {} strokes.",
            self.score.bar_of(from),
            self.score.bar_of(to - 1),
            self.score.clock(from),
            self.score.clock(to),
            words::voices(&self.rows),
            self.score.between(from, to).len(),
        )
    }

    fn list_unsure(&self, svg: &mut Svg, top: i64, unsure: &[String]) {
        if unsure.is_empty() {
            return;
        }
        svg.text(
            MARGIN,
            top + 70,
            Type::size(NUMBER).bold().fill(DOUBT),
            "? Listen again",
        );
        let half = unsure.len().div_ceil(2);
        for (i, words) in unsure.iter().enumerate() {
            let (column, row) = ((i / half) as i64, (i % half) as i64);
            let x = MARGIN + column * (WIDTH - 2 * MARGIN) / 2;
            svg.text(x, top + 70 + ENTRY * (row + 1), Type::size(WORDS), words);
        }
    }

    /// The legend: only what this study has.
    fn keys(&self) -> Vec<Key> {
        let notes = &self.score.notes;
        let mut keys = Vec::new();
        let Some(&voice) = self.rows.last() else {
            return keys;
        };
        if let Some(cycle) = self.study.cycles.first() {
            let shown = cycle.voices.iter().copied().max().unwrap_or(voice);
            let free = notes.iter().find(|n| n.stroke.layer != Some(Layer::Ostinato));
            keys.push(Key::Figure(shown));
            keys.extend(free.map(|n| Key::Solo(n.stroke.hit.voice)));
            keys.push(Key::Level(shown, Weight::Figure));
        } else {
            keys.push(Key::Level(voice, Weight::Alone));
        }
        for &mark in Mark::ALL {
            if notes.iter().any(|n| n.stroke.hit.mark == Some(mark)) {
                keys.push(Key::Mark(mark));
            }
        }
        if notes.iter().any(|n| n.stroke.hit.sure < SURE) {
            keys.push(Key::Doubt);
        }
        if !self.repeats.is_empty() {
            keys.push(Key::Start);
        }
        if self
            .study
            .cycles
            .first()
            .is_some_and(|c| self.repeats.iter().any(|r| is_home(c, &self.score, r)))
        {
            keys.push(Key::Home);
        }
        keys
    }
}
