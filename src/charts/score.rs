//! The study as the drawn charts need it: strokes at positions in steps, cut into lines of bars.
//!
//! In: the study and which bars are wanted. Out: [`Note`]s and [`Line`]s. How many steps a line holds depends on the
//! grid alone, so recordings of any length are drawn at one scale. A recording without a grid is ruled by the clock:
//! its beats are seconds, its bars last four.

use std::ops::RangeInclusive;

use super::words::can_rule;
use crate::cycles::{Cycle, Moment};
use crate::grid::{Grid, Meter, Place};
use crate::names::Voice;
use crate::study::{Stroke, Study};
use crate::units::{Bpm, Seconds, Steps};

/// A line holds at most so many steps, unless one beat has more: two bars of sixteenth-triplets.
pub(crate) const LINE_STEPS: i64 = 48;
/// Silence longer than so many lines is told in words instead of drawn.
const SILENT_LINES: i64 = 2;
/// No place lies further out than this many steps: an edited file may name any.
const FAR: i64 = 1_000_000_000;

/// A stroke and where it stands.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Note<'a> {
    /// Position in steps from the start of bar 1; a fraction only where the stroke has no step.
    pub(crate) at: f64,
    /// The stroke.
    pub(crate) stroke: &'a Stroke,
}

impl Note<'_> {
    /// The step it stands in.
    pub(crate) fn step(&self) -> i64 {
        self.at.floor() as i64
    }
}

/// Strokes on a ruling.
#[derive(Debug, Clone)]
pub(crate) struct Score<'a> {
    /// The grid, or a ruling by the clock.
    pub(crate) grid: Grid,
    /// Whether it is ruled by the clock.
    pub(crate) by_clock: bool,
    /// Every stroke, by position.
    pub(crate) notes: Vec<Note<'a>>,
}

/// A line of the grid chart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Line {
    /// From this step up to but not including that one.
    Steps(i64, i64),
    /// From this bar to that bar nothing is struck.
    Silent(i64, i64),
}

impl<'a> Score<'a> {
    /// Puts every stroke of the study on its grid.
    pub(crate) fn of(study: &'a Study) -> Self {
        let by_clock = !can_rule(&study.grid);
        let grid = if by_clock {
            clock_grid()
        } else {
            study.grid.clone()
        };
        let mut notes: Vec<Note> = study
            .strokes
            .iter()
            .filter_map(|stroke| {
                let step = if by_clock { None } else { stroke.step };
                let at = match step {
                    Some(step) => step.0.clamp(-FAR, FAR) as f64,
                    None => grid.steps_at(stroke.hit.time)?.clamp(-FAR as f64, FAR as f64),
                };
                at.is_finite().then_some(Note { at, stroke })
            })
            .collect();
        notes.sort_by(|a, b| a.at.total_cmp(&b.at));
        Score {
            grid,
            by_clock,
            notes,
        }
    }

    /// Steps in a beat.
    pub(crate) fn beat(&self) -> i64 {
        i64::from(self.grid.steps_per_beat)
    }

    /// Steps in a bar.
    pub(crate) fn bar(&self) -> i64 {
        i64::from(self.grid.steps_per_bar())
    }

    /// The bar in which a step lies.
    pub(crate) fn bar_of(&self, step: i64) -> i64 {
        step.div_euclid(self.bar()) + 1
    }

    /// The first step of a bar.
    pub(crate) fn bar_start(&self, bar: i64) -> i64 {
        bar.saturating_sub(1).saturating_mul(self.bar())
    }

    /// The step of a moment.
    pub(crate) fn step_of(&self, moment: &Moment) -> i64 {
        self.bar_start(moment.bar.clamp(-FAR, FAR))
            .saturating_add(
                moment
                    .beat
                    .clamp(-FAR, FAR)
                    .saturating_sub(1)
                    .saturating_mul(self.beat()),
            )
            .saturating_add(moment.step.clamp(-FAR, FAR) - 1)
            .clamp(-FAR, FAR)
    }

    /// Where a step is, as a player names it; by the clock it is just a time, told elsewhere.
    pub(crate) fn place(&self, step: i64) -> Place {
        self.grid.place_of(Steps(step))
    }

    /// A note's place in words.
    pub(crate) fn place_words(&self, note: &Note) -> String {
        if self.by_clock {
            "no beat found".to_owned()
        } else {
            self.place(note.step()).to_string()
        }
    }

    /// Clock time of a step.
    pub(crate) fn clock(&self, step: i64) -> String {
        self.grid.time_of(Steps(step)).unwrap_or_default().clock()
    }

    /// The notes from one step up to but not including another.
    pub(crate) fn between(&self, from: i64, to: i64) -> &[Note<'a>] {
        let first = self.notes.partition_point(|note| note.step() < from);
        let after = self.notes.partition_point(|note| note.step() < to);
        self.notes.get(first..after).unwrap_or_default()
    }

    /// The notes in the wanted bars.
    pub(crate) fn within(&self, bars: Option<&RangeInclusive<i64>>) -> &[Note<'a>] {
        match bars {
            None => &self.notes,
            Some(bars) => {
                let after = bars.end().clamp(&-FAR, &FAR).saturating_add(1);
                self.between(
                    self.bar_start(*bars.start().clamp(&-FAR, &FAR)),
                    self.bar_start(after),
                )
            }
        }
    }

    /// Voices that these notes strike, in the order of the rows: cymbals on top, kick at the bottom.
    pub(crate) fn voices(notes: &[Note]) -> Vec<Voice> {
        let mut voices: Vec<Voice> = Voice::ALL
            .iter()
            .copied()
            .filter(|&voice| notes.iter().any(|note| note.stroke.hit.voice == voice))
            .collect();
        voices.reverse();
        voices
    }

    /// How many bars a line holds, or how many steps of a bar when a bar takes several lines.
    fn measure(&self, most: i64) -> (i64, i64) {
        // One, two or four bars: phrases then begin at the left.
        let bars = match most / self.bar() {
            4.. => 4,
            2 | 3 => 2,
            _ => 1,
        };
        let piece = if self.bar() <= most {
            self.bar()
        } else {
            (most / self.beat()).max(1) * self.beat()
        };
        (bars, piece)
    }

    /// Steps in a full line that holds at most so many.
    pub(crate) fn line_steps(&self, most: i64) -> i64 {
        let (bars, piece) = self.measure(most);
        bars * piece
    }

    /// The lines that show the wanted bars, of at most so many steps.
    pub(crate) fn lines(&self, bars: Option<&RangeInclusive<i64>>, most: i64) -> Vec<Line> {
        let mut struck: Vec<i64> = self
            .within(bars)
            .iter()
            .map(|note| self.bar_of(note.step()))
            .collect();
        struck.dedup();
        let (Some(&first), Some(&last)) = (struck.first(), struck.last()) else {
            return Vec::new();
        };
        let (per_line, piece) = self.measure(most);
        let mut lines = Vec::new();
        let mut bar = first;
        while bar <= last {
            let next_struck = struck
                .get(struck.partition_point(|&b| b < bar))
                .copied()
                .unwrap_or(last);
            if next_struck - bar >= per_line * SILENT_LINES {
                lines.push(Line::Silent(bar, next_struck - 1));
                bar = next_struck;
            }
            // A pick-up has a line of its own, so that bar 1 begins one.
            let edge = if bar <= 0 { 0 } else { last };
            let until = (bar + per_line - 1).min(edge).min(last);
            self.cut(
                self.bar_start(bar),
                self.bar_start(until + 1),
                piece * per_line,
                &mut lines,
            );
            bar = until + 1;
        }
        lines
    }

    /// Cuts steps into lines of at most `most` steps.
    fn cut(&self, from: i64, to: i64, most: i64, lines: &mut Vec<Line>) {
        let mut at = from;
        while at < to {
            let end = (at + most.max(1)).min(to);
            lines.push(Line::Steps(at, end));
            at = end;
        }
    }
}

/// A ruling by the clock: a beat a second.
fn clock_grid() -> Grid {
    Grid {
        tempo: Bpm(60.0),
        meter: Meter::COMMON,
        steps_per_beat: 8,
        beats: vec![Seconds(0.0), Seconds(1.0)],
        ..Grid::none()
    }
}

/// One repeat of the figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Repeat {
    /// Which one, from 1.
    pub(crate) number: u32,
    /// Its first step.
    pub(crate) from: i64,
    /// The step after its last.
    pub(crate) to: i64,
}

/// Where every repeat of a cycle lies. One that starts anew every few bars is cut there, and so is the last one where
/// the figure ends; a study without a usable end says how many whole repeats there are instead.
pub(crate) fn repeats(cycle: &Cycle, score: &Score) -> Vec<Repeat> {
    /// More repeats than any recording holds.
    const MOST: u32 = 20_000;
    let length = i64::from(cycle.length_steps);
    if length == 0 || score.by_clock {
        return Vec::new();
    }
    let start = score.step_of(&cycle.start);
    let end = match score.step_of(&cycle.end) {
        end if end > start => end,
        _ => start + length * i64::from(cycle.repeats.min(MOST)),
    };
    let block = match &cycle.resolved {
        Some(resolved) if resolved.every_bars > 0 => i64::from(resolved.every_bars) * score.bar(),
        _ => i64::MAX / 2,
    };
    let mut all = Vec::new();
    let mut from = start;
    for number in 1..=MOST {
        if from >= end {
            break;
        }
        let into_block = (from - start) % block;
        let to = (from + length).min(from - into_block + block).min(end);
        all.push(Repeat { number, from, to });
        from = to;
    }
    all
}

/// Whether this repeat comes home: a figure that crosses the bar starts on beat one again. One that starts anew with
/// every bar never leaves.
pub(crate) fn is_home(cycle: &Cycle, score: &Score, repeat: &Repeat) -> bool {
    let stays = cycle
        .resolved
        .as_ref()
        .is_some_and(|resolved| resolved.every_bars <= 1);
    cycle.crosses_bar && !stays && repeat.number > 1 && repeat.from.rem_euclid(score.bar()) == 0
}
