//! The proof of a length: the same steps stacked at L per row, where the figure stands in straight columns, beside
//! them stacked by the bar, where it walks in diagonals.
//!
//! In: the study and which bars. Out: pages of A4. Both halves have the same steps, columns of one width and rows of
//! one height; lines join the starts of the figure. Repeats that are not whole show what is missing, added or moved.

mod broken;
mod half;

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

use super::page::{Heading, Key, legend, open};
use super::palette::{A4, FOOT, MARGIN, NUMBER, TOP, WIDTH};
use super::score::{Note, Repeat, Score, is_home, repeats};
use super::shapes::Weight;
use super::svg::Type;
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
const LANE: i64 = 28;
const SPACE: i64 = 8;
/// Steps are never drawn wider than this.
const WIDEST: f64 = 62.0;
/// The figure's half is at least this wide, for its title.
const NARROWEST: i64 = 230;
/// Without a figure, the bars are stacked for so many of the busiest voices.
const BUSIEST: usize = 3;

/// More bars than any recording holds: an edited study may name any place.
const MOST_BARS: usize = 20_000;

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
    /// By how many steps later the notes that are not where they belong are struck.
    moved: BTreeMap<(i64, Voice), i64>,
    /// Width of a step.
    step: f64,
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
    let (count, keys) = (pages.len(), plan.keys());
    pages
        .iter()
        .enumerate()
        .map(|(i, (figure_rows, bar_rows))| Chart {
            name: if i == 0 {
                ChartKind::Stack.to_string()
            } else {
                format!("{}-{:02}", ChartKind::Stack, i + 1)
            },
            svg: plan.page(figure_rows, bar_rows, (i + 1, count), &keys),
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
        let mut step = (room as f64 / columns.max(1) as f64).min(WIDEST);
        if cycle.is_some_and(|cycle| f64::from(cycle.length_steps) * step < NARROWEST as f64) {
            step = step.min((room - NARROWEST) as f64 / score.bar().max(1) as f64);
        }
        let mut plan = Plan {
            study,
            step,
            score,
            cycle,
            lanes,
            repeats,
            missing: Spots::new(),
            added: Spots::new(),
            moved: BTreeMap::new(),
        };
        for broken in cycle.iter().flat_map(|cycle| &cycle.broken) {
            let Some(from) = plan.repeat_start(broken.repeat) else {
                continue;
            };
            let at = |&(step, voice): &(u32, Voice)| (from + i64::from(step) - 1, voice);
            plan.missing.extend(broken.missing.iter().map(at));
            plan.added.extend(broken.added.iter().map(at));
            let moved = broken.moved.iter();
            plan.moved
                .extend(moved.map(|&(step, voice, by)| (at(&(step, voice)), by)));
        }
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
        let room = A4 - TOP - FOOT - ABOVE - self.kept_for_broken();
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
        let wanted = |repeat: &&Repeat| {
            let (first, last) = (self.score.bar_of(repeat.from), self.score.bar_of(repeat.to - 1));
            bars.is_none_or(|bars| first <= *bars.end() && last >= *bars.start())
        };
        self.repeats
            .iter()
            .filter(wanted)
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
                let bars = self.score.bar_of(first.from)..=self.score.bar_of(last.to - 1);
                bars.take(MOST_BARS).collect()
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

    fn page(&self, figure_rows: &[Row], bar_rows: &[Row], page: (usize, usize), keys: &[Key]) -> String {
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
            left += self.figure_wide() + GAP + LABELS;
        }
        if self.score.by_clock {
            let words = "No beat was found, so there is nothing to stack.";
            svg.text(MARGIN, TOP + 70, Type::size(NUMBER).bold(), words);
        } else {
            self.bar_half(&mut svg, left, bar_rows);
        }
        if figure_rows.is_empty() && bar_rows.is_empty() && !self.score.by_clock {
            let words = "Nothing to stack in these bars.";
            svg.text(MARGIN, self.y(0) + 70, Type::size(NUMBER).bold(), words);
        }
        self.tell_broken(&mut svg, figure_rows, bar_rows);
        legend(&mut svg, A4, keys);
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
                let voice = note.stroke.hit.voice;
                note.stroke.layer != Some(Layer::Ostinato)
                    && self.lanes.contains(&voice)
                    && !self.added.contains(&(note.step(), voice))
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
        if !self.moved.is_empty() {
            keys.push(Key::Moved(voice));
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
