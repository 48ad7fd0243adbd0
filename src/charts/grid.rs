//! The solo bar by bar: one ruled line a voice, strokes as shapes on it, the figure solid and the solo hollow.
//!
//! In: the study and which bars. Out: pages of A4. Bar lines stand between bars and beat lines run through the
//! strokes that fall on the beat, as a player counts; marks above the lines show where the figure starts.

use std::ops::RangeInclusive;

use super::page::{Heading, Key, home_sign, legend, open, start_sign};
use super::palette::{
    A4, DOUBT, FAINT, FIGURE_LIGHT, FOOT, INK, MARGIN, NUMBER, QUIET, RULE, STROKE, SURE, TOP, WIDTH, WORDS,
};
use super::score::{Line, Note, Repeat, Score, is_home, repeats};
use super::shapes::{self, Weight};
use super::svg::{Svg, Type, whole, width};
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
pub(super) fn draw(study: &Study, bars: Option<&RangeInclusive<i64>>) -> Vec<Chart> {
    let score = Score::of(study);
    let rows = Score::voices(&score.notes);
    let plan = Plan {
        step: ((WIDTH - 2 * MARGIN - NAMES) as f64 / score.line_steps() as f64).min(WIDEST),
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
    let count = pages.len();
    pages
        .iter()
        .enumerate()
        .map(|(i, page)| Chart {
            name: format!("{}-{:02}", ChartKind::Grid, i + 1),
            svg: plan.page(page, (i + 1, count)),
        })
        .collect()
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
        for line in self.score.lines(bars) {
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
                let voice = words::voice(hit.voice);
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

    fn page(&self, content: &PageContent, page: (usize, usize)) -> String {
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
        legend(&mut svg, A4, &self.keys());
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

    /// Where a stroke stands on the line that begins at `from`: in the middle of its step, or at its very time.
    fn x(&self, from: i64, at: f64) -> i64 {
        let middle = if self.score.by_clock { 0.0 } else { 0.5 };
        MARGIN + NAMES + whole((at - from as f64 + middle) * self.step)
    }

    /// Left edge of a step on the line that begins at `from`.
    fn edge(&self, from: i64, at: i64) -> i64 {
        MARGIN + NAMES + whole((at - from) as f64 * self.step)
    }

    fn row_y(&self, top: i64, row: usize) -> i64 {
        top + ABOVE + ROW * row as i64 + ROW / 2
    }

    /// One line: rulings, numbers, starts of the figure, strokes.
    fn line(&self, svg: &mut Svg, top: i64, from: i64, to: i64) {
        let score = &self.score;
        svg.open(&format!(
            r#"data-bars="{} {}" data-steps="{from} {to}" fill="none""#,
            score.bar_of(from),
            score.bar_of(to - 1)
        ));
        self.rulings(svg, top, from, to);
        svg.close();
        svg.open(r#"stroke="none""#);
        svg.text(
            MARGIN + NAMES - 24,
            top + 44,
            Type::size(WORDS).fill(QUIET).end(),
            &score.clock(from),
        );
        for (row, &voice) in self.rows.iter().enumerate() {
            svg.text(
                MARGIN + NAMES - 24,
                self.row_y(top, row) + 14,
                Type::size(WORDS).end(),
                words::voice(voice),
            );
        }
        self.numbers(svg, top, from, to);
        svg.close();
        self.starts(svg, top, from, to);
        self.strokes(svg, top, from, to);
    }

    fn rulings(&self, svg: &mut Svg, top: i64, from: i64, to: i64) {
        let (left, right) = (self.edge(from, from), self.edge(from, to));
        let (high, low) = (top + ABOVE, top + ABOVE + ROW * self.rows.len() as i64);
        for step in from..to {
            let x = self.x(from, step as f64);
            if step.rem_euclid(self.score.beat()) == 0 {
                svg.line((x, high - 4), (x, low), FAINT, 3);
            } else {
                svg.line((x, low - 4), (x, low + 8), RULE, 2);
            }
        }
        for row in 0..self.rows.len() {
            let y = self.row_y(top, row);
            svg.line((left, y), (right, y), RULE, 2);
        }
        for step in from..=to {
            if step.rem_euclid(self.score.bar()) == 0 {
                let x = self.edge(from, step);
                svg.line((x, high), (x, low), INK, 5);
            }
        }
    }

    /// Bar numbers at the bars, beat numbers at the beats.
    fn numbers(&self, svg: &mut Svg, top: i64, from: i64, to: i64) {
        let y = top + 44;
        for step in from..to {
            let place = self.score.place(step);
            if place.step != 1 {
                continue;
            }
            let x = self.x(from, step as f64);
            if self.score.by_clock && place.beat == 1 {
                // The clock time of the line already says it.
            } else if self.score.by_clock {
                let clock = (place.bar - 1) * 4 + place.beat - 1;
                svg.text(
                    x,
                    y,
                    Type::size(WORDS).fill(QUIET).middle(),
                    &format!("{clock} s"),
                );
            } else if place.beat == 1 {
                svg.text(
                    self.edge(from, step),
                    y,
                    Type::size(NUMBER).bold(),
                    &place.bar.to_string(),
                );
            } else {
                svg.text(
                    x,
                    y,
                    Type::size(WORDS).fill(QUIET).middle(),
                    &place.beat.to_string(),
                );
            }
        }
    }

    /// Where the figure starts, and where it comes home.
    fn starts(&self, svg: &mut Svg, top: i64, from: i64, to: i64) {
        let Some(cycle) = self.study.cycles.first() else {
            return;
        };
        let low = top + ABOVE + ROW * self.rows.len() as i64;
        let first = self.repeats.partition_point(|repeat| repeat.from < from);
        for repeat in self
            .repeats
            .iter()
            .skip(first)
            .take_while(|repeat| repeat.from < to)
        {
            let x = self.x(from, repeat.from as f64);
            svg.line((x, top + ABOVE - 16), (x, low), FIGURE_LIGHT, 4);
            start_sign(svg, x, top + ABOVE - 40, repeat.number);
            if is_home(cycle, &self.score, repeat) {
                let number = self.score.bar_of(repeat.from).to_string();
                let x = self.edge(from, repeat.from) + width(&number, NUMBER) + 42;
                home_sign(svg, x, top + 28);
            }
        }
    }

    fn strokes(&self, svg: &mut Svg, top: i64, from: i64, to: i64) {
        let largest = STROKE.0.min(whole(self.step * 0.46)).max(3);
        for (row, &voice) in self.rows.iter().enumerate() {
            let y = self.row_y(top, row);
            let mut last = None;
            let mut aside = 0;
            for note in self
                .score
                .between(from, to)
                .iter()
                .filter(|n| n.stroke.hit.voice == voice)
            {
                // Two strokes of one voice on one step stand side by side, both to be seen.
                aside = if last == Some(note.step()) { aside + 10 } else { 0 };
                last = Some(note.step());
                let x = self.x(from, note.at) + aside;
                let weight = self.weight(note);
                shapes::stroke(
                    svg,
                    (x, y),
                    largest,
                    note.stroke,
                    weight,
                    &self.score.place_words(note),
                );
            }
        }
    }

    fn weight(&self, note: &Note) -> Weight {
        match note.stroke.layer {
            _ if self.study.cycles.is_empty() => Weight::Alone,
            Some(Layer::Ostinato) => Weight::Figure,
            _ => Weight::Solo,
        }
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
