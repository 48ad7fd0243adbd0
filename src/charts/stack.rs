//! The proof of a length: the same steps stacked at L per row, where the figure stands in straight columns, beside
//! them stacked by the bar, where it walks in diagonals.
//!
//! In: the study and which bars. Out: pages of A4. Both halves have the same steps, columns of one width and rows of
//! one height; lines join the starts of the figure. Repeats that are not whole show what is missing or added.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use super::page::{Heading, Key, home_sign, legend, open};
use super::palette::{
    A4, COUNT, DOUBT, FAINT, FIGURE, FIGURE_LIGHT, FOOT, INK, MARGIN, NUMBER, QUIET, STROKE, TOP, WIDTH,
    WORDS,
};
use super::score::{Note, Repeat, Score, is_home, repeats};
use super::shapes::{self, Weight};
use super::svg::{Svg, Type, shorten, whole};
use super::words;
use super::{Chart, ChartKind};
use crate::cycles::Cycle;
use crate::names::{Layer, Voice};
use crate::study::Study;

/// Width of the row labels: which repeat or bar, and its clock time.
const LABELS: i64 = 220;
/// Between the halves, with room for the signs of home.
const GAP: i64 = 100;
/// Above the rows: what the half is, and its columns' numbers.
const ABOVE: i64 = 175;
/// Height of one voice within a row, and the space between rows.
const LANE: i64 = 29;
const SPACE: i64 = 12;
/// Steps are never drawn wider than this.
const WIDEST: f64 = 62.0;
/// Height of a line that tells of a broken repeat, and how many a page has room for.
const ENTRY: i64 = 54;
const ENTRIES: usize = 6;
/// Without a figure, the bars are stacked for so many of the busiest voices.
const BUSIEST: usize = 3;

/// A row: some steps under the first one's label.
#[derive(Debug, Clone, Copy)]
struct Row {
    number: i64,
    from: i64,
    to: i64,
    home: bool,
}

/// What is broken, as steps from bar 1 and voices.
type Spots = BTreeSet<(i64, Voice)>;

struct Plan<'a> {
    study: &'a Study,
    score: Score<'a>,
    cycle: Option<&'a Cycle>,
    /// Voices shown, from the top.
    lanes: Vec<Voice>,
    repeats: Vec<Repeat>,
    missing: Spots,
    added: Spots,
    /// Width of a step.
    step: f64,
    /// Lines kept for broken repeats.
    entries: usize,
}

/// Draws the stack.
pub(super) fn draw(study: &Study, bars: Option<&RangeInclusive<i64>>) -> Vec<Chart> {
    let score = Score::of(study);
    let cycle = study
        .cycles
        .first()
        .filter(|cycle| cycle.length_steps > 0 && !score.by_clock);
    let plan = Plan::new(study, score, cycle);
    let pages = plan.pages(bars);
    let count = pages.len();
    pages
        .iter()
        .enumerate()
        .map(|(i, (figure_rows, bar_rows))| Chart {
            name: if i == 0 {
                ChartKind::Stack.to_string()
            } else {
                format!("{}-{:02}", ChartKind::Stack, i + 1)
            },
            svg: plan.page(figure_rows, bar_rows, (i + 1, count)),
        })
        .collect()
}

impl<'a> Plan<'a> {
    fn new(study: &'a Study, score: Score<'a>, cycle: Option<&'a Cycle>) -> Self {
        let repeats = cycle.map(|cycle| repeats(cycle, &score)).unwrap_or_default();
        let mut lanes = match cycle {
            Some(cycle) => cycle.voices.clone(),
            None => busiest(&score.notes),
        };
        lanes.sort_unstable_by(|a, b| b.cmp(a));
        lanes.dedup();
        let columns = i64::from(cycle.map_or(0, |cycle| cycle.length_steps)) + score.bar();
        let room = WIDTH - 2 * MARGIN - 2 * LABELS - GAP;
        let mut plan = Plan {
            study,
            step: (room as f64 / columns.max(1) as f64).min(WIDEST),
            score,
            cycle,
            lanes,
            repeats,
            missing: Spots::new(),
            added: Spots::new(),
            entries: 0,
        };
        for broken in cycle.iter().flat_map(|cycle| &cycle.broken) {
            let Some(from) = plan.repeat_start(broken.repeat) else {
                continue;
            };
            let at = |&(step, voice): &(u32, Voice)| (from + i64::from(step) - 1, voice);
            plan.missing.extend(broken.missing.iter().map(at));
            plan.added.extend(broken.added.iter().map(at));
        }
        plan.entries = cycle.map_or(0, |cycle| cycle.broken.len()).min(ENTRIES);
        plan
    }

    fn repeat_start(&self, number: u32) -> Option<i64> {
        let index = usize::try_from(number).ok()?.checked_sub(1)?;
        self.repeats.get(index).map(|repeat| repeat.from)
    }

    fn row_height(&self) -> i64 {
        LANE * self.lanes.len() as i64 + SPACE
    }

    /// The rows of both halves, dealt out to pages that show the same steps on both.
    fn pages(&self, bars: Option<&RangeInclusive<i64>>) -> Vec<(Vec<Row>, Vec<Row>)> {
        let (figure_rows, bar_rows) = (self.figure_rows(bars), self.bar_rows(bars));
        let room = A4
            - TOP
            - FOOT
            - ABOVE
            - if self.entries > 0 {
                ENTRY * (self.entries as i64 + 2)
            } else {
                0
            };
        let most = (room / self.row_height()).max(1) as usize;
        let (mut left, mut right) = (figure_rows.as_slice(), bar_rows.as_slice());
        let mut pages = Vec::new();
        while !left.is_empty() || !right.is_empty() {
            let until = [left.get(most), right.get(most)]
                .into_iter()
                .flatten()
                .map(|row| row.from)
                .min();
            let until = until.unwrap_or(i64::MAX);
            let (now, later) = left.split_at(left.partition_point(|row| row.from < until).min(most));
            let (bars_now, bars_later) =
                right.split_at(right.partition_point(|row| row.from < until).min(most));
            if now.is_empty() && bars_now.is_empty() {
                break;
            }
            pages.push((now.to_vec(), bars_now.to_vec()));
            (left, right) = (later, bars_later);
        }
        if pages.is_empty() {
            pages.push((Vec::new(), Vec::new()));
        }
        pages
    }

    fn figure_rows(&self, bars: Option<&RangeInclusive<i64>>) -> Vec<Row> {
        let wanted = |step: i64| bars.is_none_or(|bars| bars.contains(&self.score.bar_of(step)));
        self.repeats
            .iter()
            .filter(|repeat| wanted(repeat.from) || wanted(repeat.to - 1))
            .map(|repeat| Row {
                number: i64::from(repeat.number),
                from: repeat.from,
                to: repeat.to,
                home: self
                    .cycle
                    .is_some_and(|cycle| is_home(cycle, &self.score, repeat)),
            })
            .collect()
    }

    /// The bars that the figure spans; without a figure, those in which its lanes are struck.
    fn bar_rows(&self, bars: Option<&RangeInclusive<i64>>) -> Vec<Row> {
        if self.score.by_clock {
            return Vec::new();
        }
        let mut numbers: Vec<i64> = match (self.repeats.first(), self.repeats.last()) {
            (Some(first), Some(last)) => {
                (self.score.bar_of(first.from)..=self.score.bar_of(last.to - 1)).collect()
            }
            _ => self
                .score
                .notes
                .iter()
                .map(|note| self.score.bar_of(note.step()))
                .collect(),
        };
        numbers.dedup();
        let homes: BTreeSet<i64> = self
            .figure_rows(None)
            .iter()
            .filter(|row| row.home)
            .map(|row| row.from)
            .collect();
        numbers
            .into_iter()
            .filter(|bar| bars.is_none_or(|bars| bars.contains(bar)))
            .map(|bar| {
                let from = self.score.bar_start(bar);
                Row {
                    number: bar,
                    from,
                    to: from + self.score.bar(),
                    home: homes.contains(&from),
                }
            })
            .collect()
    }

    fn page(&self, figure_rows: &[Row], bar_rows: &[Row], page: (usize, usize)) -> String {
        let heading = Heading {
            chart: "Stack",
            page,
            desc: self.describe(figure_rows, bar_rows),
            height: A4,
        };
        let mut svg = open(self.study, &heading);
        let mut left = MARGIN + LABELS;
        if let Some(cycle) = self.cycle {
            self.figure_half(&mut svg, left, cycle, figure_rows);
            left += self.wide(i64::from(cycle.length_steps)) + GAP + LABELS;
        }
        if self.score.by_clock {
            let words = "No beat was found, so there is nothing to stack.";
            svg.text(MARGIN, TOP + 70, Type::size(NUMBER).bold(), words);
        } else {
            self.bar_half(&mut svg, left, bar_rows);
        }
        self.tell_broken(&mut svg, figure_rows, figure_rows.len().max(bar_rows.len()));
        legend(&mut svg, A4, &self.keys());
        svg.finish()
    }

    fn describe(&self, figure_rows: &[Row], bar_rows: &[Row]) -> String {
        match self.cycle {
            Some(cycle) => format!(
                "Left: {} rows of {} steps, one a repeat; the figure stands in columns. Right: {} bars of {} steps, \
                 the same strokes.",
                figure_rows.len(),
                cycle.length_steps,
                bar_rows.len(),
                self.score.bar()
            ),
            None => format!("No figure was found. {} bars under each other.", bar_rows.len()),
        }
    }

    fn wide(&self, steps: i64) -> i64 {
        whole(steps as f64 * self.step)
    }

    fn x(&self, left: i64, column: i64) -> i64 {
        left + whole((column as f64 + 0.5) * self.step)
    }

    fn y(&self, row: usize) -> i64 {
        TOP + ABOVE + self.row_height() * row as i64
    }

    /// The half stacked at the figure's length.
    fn figure_half(&self, svg: &mut Svg, left: i64, cycle: &Cycle, rows: &[Row]) {
        let length = i64::from(cycle.length_steps);
        let words = format!("{} a row", words::count(cycle.length_steps, "step"));
        svg.open(r#"data-half="figure""#);
        self.half_title(svg, left, &words, "the figure stands in columns");
        let struck: BTreeSet<i64> = cycle.figure.iter().map(|note| i64::from(note.step)).collect();
        let every = whole((46.0 / self.step).ceil()).max(1);
        let mut free = 0;
        for step in 1..=length {
            let (is_struck, x) = (struck.contains(&step), self.x(left, step - 1));
            if x < free || !(is_struck || (step - 1) % every == 0 && every == 1) {
                continue;
            }
            free = x + 40;
            let look = Type::size(COUNT).middle();
            let look = if is_struck {
                look.bold().fill(FIGURE)
            } else {
                look.fill(QUIET)
            };
            svg.text(x, TOP + ABOVE - 16, look, &step.to_string());
        }
        self.rulings(svg, left, length, rows);
        if !rows.is_empty() {
            let x = self.x(left, 0);
            svg.line((x, self.y(0)), (x, self.y(rows.len())), FIGURE_LIGHT, 6);
        }
        self.strokes(svg, left, rows);
        svg.close();
    }

    /// The half stacked by the bar.
    fn bar_half(&self, svg: &mut Svg, left: i64, rows: &[Row]) {
        let words = format!("{} steps: a bar a row", self.score.bar());
        let under = match self.cycle {
            Some(cycle) if cycle.crosses_bar => "the same strokes walk",
            Some(_) => "the same strokes",
            None => "no figure was found; the busiest voices, bar by bar",
        };
        svg.open(r#"data-half="bar""#);
        self.half_title(svg, left, &words, under);
        for column in (0..self.score.bar()).step_by(self.score.beat().max(1) as usize) {
            let x = self.x(left, column);
            let beat = column / self.score.beat().max(1) + 1;
            svg.text(
                x,
                TOP + ABOVE - 16,
                Type::size(COUNT).fill(QUIET).middle(),
                &beat.to_string(),
            );
            if !rows.is_empty() {
                svg.line((x, self.y(0)), (x, self.y(rows.len())), FAINT, 3);
            }
        }
        self.rulings(svg, left, self.score.bar(), rows);
        self.threads(svg, left, rows);
        self.strokes(svg, left, rows);
        svg.close();
    }

    fn half_title(&self, svg: &mut Svg, left: i64, words: &str, under: &str) {
        let x = left - LABELS;
        svg.text(x, TOP + 50, Type::size(NUMBER).bold(), words);
        svg.text(x, TOP + 104, Type::size(WORDS).fill(QUIET), under);
    }

    /// Row lines, numbers and clock times.
    fn rulings(&self, svg: &mut Svg, left: i64, columns: i64, rows: &[Row]) {
        let right = left + self.wide(columns);
        for (i, row) in rows.iter().enumerate() {
            let y = self.y(i);
            let (colour, weight) = if row.home { (INK, 4) } else { (FAINT, 2) };
            svg.line((left, y), (right, y), colour, weight);
            let base = y + self.row_height() / 2 + 13;
            svg.text(
                left - 150,
                base,
                Type::size(COUNT).bold().end(),
                &row.number.to_string(),
            );
            svg.text(
                left - 20,
                base,
                Type::size(COUNT).fill(QUIET).end(),
                &self.score.clock(row.from),
            );
            if row.home {
                home_sign(svg, right + 40, y + 2);
            }
        }
        if !rows.is_empty() {
            let (top, low) = (self.y(0), self.y(rows.len()));
            svg.line((left, low), (right, low), FAINT, 2);
            svg.line((left, top), (left, low), INK, 4);
            svg.line((right, top), (right, low), INK, 4);
        }
    }

    /// Lines from each start of the figure to the nearest one in the next bar.
    fn threads(&self, svg: &mut Svg, left: i64, rows: &[Row]) {
        let Some(cycle) = self.cycle else {
            return;
        };
        let starts = |row: &Row| -> Vec<i64> {
            let first = self.repeats.partition_point(|repeat| repeat.from < row.from);
            let inside = self
                .repeats
                .iter()
                .skip(first)
                .take_while(|repeat| repeat.from < row.to);
            inside.map(|repeat| repeat.from - row.from).collect()
        };
        let middle = self.row_height() / 2;
        for (i, (row, next)) in rows.iter().zip(rows.iter().skip(1)).enumerate() {
            let below = starts(next);
            for column in starts(row) {
                let nearest = below.iter().copied().min_by_key(|c| (c - column).abs());
                if let Some(to) =
                    nearest.filter(|to| 2 * (to - column).abs() <= i64::from(cycle.length_steps))
                {
                    let (a, b) = (self.x(left, column), self.x(left, to));
                    svg.line(
                        (a, self.y(i) + middle),
                        (b, self.y(i + 1) + middle),
                        FIGURE_LIGHT,
                        6,
                    );
                }
            }
        }
    }

    fn strokes(&self, svg: &mut Svg, left: i64, rows: &[Row]) {
        let largest = STROKE.0.min(whole(self.step * 0.46)).min(LANE / 2 + 1).max(3);
        for (i, row) in rows.iter().enumerate() {
            for (lane, &voice) in self.lanes.iter().enumerate() {
                let y = self.y(i) + SPACE / 2 + LANE * lane as i64 + LANE / 2;
                let spots = |spots: &Spots| -> Vec<i64> {
                    let inside = spots.range((row.from, Voice::Kick)..(row.to, Voice::Kick));
                    inside.filter(|spot| spot.1 == voice).map(|spot| spot.0).collect()
                };
                let added = spots(&self.added);
                for note in self
                    .score
                    .between(row.from, row.to)
                    .iter()
                    .filter(|n| n.stroke.hit.voice == voice)
                {
                    if !added.contains(&note.step()) {
                        let at = (self.x(left, note.step() - row.from), y);
                        let place = self.score.place_words(note);
                        shapes::plain(svg, at, largest, note.stroke, self.weight(note), &place);
                    }
                }
                for step in added {
                    let title = format!("{} added, {}", words::voice(voice), self.score.place(step));
                    shapes::added(svg, (self.x(left, step - row.from), y), largest, voice, &title);
                }
                for step in spots(&self.missing) {
                    let title = format!("{} missing, {}", words::voice(voice), self.score.place(step));
                    shapes::missing(
                        svg,
                        (self.x(left, step - row.from), y),
                        largest - 2,
                        voice,
                        &title,
                    );
                }
            }
        }
    }

    fn weight(&self, note: &Note) -> Weight {
        match note.stroke.layer {
            _ if self.cycle.is_none() => Weight::Alone,
            Some(Layer::Ostinato) => Weight::Figure,
            _ => Weight::Solo,
        }
    }

    /// The broken repeats of this page in words.
    fn tell_broken(&self, svg: &mut Svg, rows: &[Row], deepest: usize) {
        let Some(cycle) = self.cycle else {
            return;
        };
        let shown: Vec<_> = cycle
            .broken
            .iter()
            .filter(|broken| rows.iter().any(|row| row.number == i64::from(broken.repeat)))
            .collect();
        if shown.is_empty() {
            return;
        }
        let mut y = self.y(deepest) + 80;
        svg.text(MARGIN, y, Type::size(WORDS).bold().fill(DOUBT), "Not whole");
        let more = shown.len() > ENTRIES;
        let told = if more { ENTRIES - 1 } else { ENTRIES };
        for broken in shown.iter().take(told) {
            y += ENTRY;
            let part = |spots: &[(u32, Voice)], what: &str| {
                spots
                    .iter()
                    .map(|(step, voice)| format!("{} {what} on its step {step}", words::voice(*voice)))
                    .collect::<Vec<_>>()
            };
            let mut parts = part(&broken.missing, "missing");
            parts.extend(part(&broken.added, "added"));
            let words = format!(
                "repeat {} from {}: {}",
                broken.repeat,
                broken.start,
                parts.join(", ")
            );
            svg.text(MARGIN, y, Type::size(WORDS), &shorten(&words, 92));
        }
        if more {
            let words = format!("and {} more, in study.json", shown.len() - told);
            svg.text(MARGIN, y + ENTRY, Type::size(WORDS), &words);
        }
    }

    fn keys(&self) -> Vec<Key> {
        let weight = if self.cycle.is_some() {
            Weight::Figure
        } else {
            Weight::Alone
        };
        let mut keys: Vec<Key> = self
            .lanes
            .iter()
            .map(|&voice| Key::Voice(voice, weight))
            .collect();
        let Some(&voice) = self.lanes.last() else {
            return keys;
        };
        if self.cycle.is_some() {
            let free = |note: &&Note| {
                note.stroke.layer != Some(Layer::Ostinato) && self.lanes.contains(&note.stroke.hit.voice)
            };
            keys.extend(
                self.score
                    .notes
                    .iter()
                    .find(free)
                    .map(|n| Key::Solo(n.stroke.hit.voice)),
            );
            keys.push(Key::Thread);
        }
        if !self.missing.is_empty() {
            keys.push(Key::Missing(voice));
        }
        if !self.added.is_empty() {
            keys.push(Key::Added(voice));
        }
        if self.figure_rows(None).iter().any(|row| row.home) {
            keys.push(Key::Home);
        }
        keys
    }
}

/// The busiest voices.
fn busiest(notes: &[Note]) -> Vec<Voice> {
    let mut voices = Score::voices(notes);
    let strokes = |voice: Voice| notes.iter().filter(|note| note.stroke.hit.voice == voice).count();
    voices.sort_by_cached_key(|&voice| std::cmp::Reverse(strokes(voice)));
    voices.truncate(BUSIEST);
    voices
}
