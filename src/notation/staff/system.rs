//! One line of music with all that belongs to it: bar numbers and times, brackets over the figure, staves, who plays, the
//! count.
//!
//! In: a row of the score. Out: marks with heights from the row's top, and how high it is.

use std::collections::BTreeMap;

use super::count::syllable;
use super::glyphs;
use super::ink::{Ink, SPACE};
use super::notes::{self, Placed, head_width, need};
use super::rows::Piece;
use super::space::{Need, Spacing};
use crate::charts::palette::{COUNT, FIGURE, INK, QUIET, SMALL, WORDS};
use crate::charts::svg::Type;
use crate::names::{Limb, Mark, Voice};
use crate::notation::letters;
use crate::notation::score::{Line, Repeat, Score, Ticks};
use crate::options::CountHabit;

/// Figures that get a row of brackets each.
const MOST_FIGURES: usize = 2;
/// Height of the bar numbers, of a row of brackets, of a row of letters.
const NUMBERS: f64 = 46.0;
const BRACKETS: f64 = 50.0;
const LETTERS: f64 = 31.0;
/// Between staves and letters, and from a row to the next.
const GAP: f64 = 10.0;
const BELOW: f64 = 26.0;
/// The height of a staff.
const STAFF: f64 = 4.0 * SPACE;

/// What all rows share.
pub(super) struct Look<'a> {
    pub(super) score: &'a Score<'a>,
    pub(super) count: CountHabit,
    /// From where to where the staves reach.
    pub(super) left: f64,
    pub(super) right: f64,
    /// Whether both feet play the kick, so that it must be told which.
    pub(super) feet: bool,
}

/// A row, ready to be put on a page.
pub(super) struct System {
    parts: Vec<(Ink, f64)>,
    pub(super) height: f64,
    /// Whether more stands on it than it has room for.
    pub(super) too_full: bool,
}

impl System {
    /// Draws it with its top at `y`.
    pub(super) fn put(&self, svg: &mut crate::charts::svg::Svg, y: f64) {
        self.parts.iter().for_each(|(ink, at)| ink.put(svg, y + at));
    }

    pub(super) fn glyphs(&self) -> impl Iterator<Item = (&'static str, bool)> {
        self.parts.iter().flat_map(|(ink, _)| ink.glyphs())
    }
}

/// A syllable under the staff.
struct Said {
    at: Ticks,
    words: String,
    begins: bool,
    struck: bool,
}

impl Look<'_> {
    /// Lays a row out; `first` says that it is the first, which bears the meter.
    pub(super) fn system(&self, pieces: &[Piece], share: f64, first: bool) -> System {
        let said = self.said(pieces);
        let mut needs: BTreeMap<Ticks, Need> = BTreeMap::new();
        for line in 0..self.score.lines.len() {
            for placed in self.events(pieces, line) {
                needs.entry(placed.0).or_default().and(need(placed.1));
            }
        }
        for one in &said {
            let words = 0.5 * letters::width(&one.words, SMALL as f64, one.begins);
            needs.entry(one.at).or_default().and(Need {
                words,
                ..Need::default()
            });
        }
        let begins =
            self.left + glyphs::width("clef", SPACE) + 14.0 + if first { self.meter_width() } else { 0.0 };
        let (spacing, too_full) = Spacing::of(self.score, pieces, &needs, (begins, self.right), share);
        let staves = self
            .score
            .lines
            .iter()
            .map(|line| line.staff() + 1)
            .max()
            .unwrap_or(1);
        let mut parts = Vec::new();
        let figures = self.score.figures.len().min(MOST_FIGURES);
        let mut y = NUMBERS + BRACKETS * figures as f64;
        parts.push((self.above(pieces, &spacing), 0.0));
        let top = parts.len();
        for staff in 0..staves {
            let mut ink = self.staff(pieces, &spacing, staff, first);
            let top = y + GAP - ink.top;
            let down = self.letters(&mut ink, pieces, &spacing, staff);
            y = top + down;
            parts.push((ink, top));
        }
        if self.count != CountHabit::None {
            y += LETTERS + 6.0;
            let mut ink = Ink::default();
            self.syllables(&mut ink, &said, &spacing);
            parts.push((ink, y));
        }
        let mut bars = Ink::default();
        let tops: Vec<f64> = parts.iter().skip(top).take(staves).map(|(_, y)| *y).collect();
        self.bar_lines(&mut bars, pieces, &spacing, &tops);
        parts.push((bars, 0.0));
        System {
            parts,
            height: y + BELOW,
            too_full,
        }
    }

    /// The events of a line of the score on this row, with their places.
    fn events<'a>(
        &'a self,
        pieces: &'a [Piece],
        line: usize,
    ) -> impl Iterator<Item = (Ticks, &'a crate::notation::score::Event<'a>, usize)> {
        pieces.iter().enumerate().flat_map(move |(i, piece)| {
            let bar = self.score.bars.get(piece.bar);
            let events = bar
                .and_then(|bar| bar.lines.get(line))
                .map(Vec::as_slice)
                .unwrap_or_default();
            let start = bar.map(|bar| self.score.start(bar)).unwrap_or_default();
            let inside = events
                .iter()
                .filter(move |event| event.at >= piece.from && event.at < piece.to);
            inside.map(move |event| (start + event.at, event, i))
        })
    }

    fn meter_width(&self) -> f64 {
        let meter = self.score.grid.meter;
        let wide = |number: u32| number_width("time", number);
        wide(meter.count).max(wide(meter.unit)) + 12.0
    }

    /// Lines, clef, meter and notes of a staff.
    fn staff(&self, pieces: &[Piece], spacing: &Spacing, staff: usize, first: bool) -> Ink {
        let mut ink = Ink::staff();
        let end = spacing.ends.last().copied().unwrap_or(self.right);
        for line in 0..5 {
            let y = f64::from(line) * SPACE;
            ink.line((self.left, y), (end, y), INK, 2);
        }
        let clef = glyphs::width("clef", SPACE);
        ink.glyph("clef", (self.left + 6.0, 2.0 * SPACE), false, String::new());
        if first {
            let meter = self.score.grid.meter;
            let middle = self.left + clef + 12.0 + 0.5 * self.meter_width();
            number(&mut ink, "time", meter.count, (middle, SPACE));
            number(&mut ink, "time", meter.unit, (middle, 3.0 * SPACE));
        }
        let here: Vec<(usize, Line)> = self
            .score
            .lines
            .iter()
            .copied()
            .enumerate()
            .filter(|(_, line)| line.staff() == staff)
            .collect();
        for (number, line) in &here {
            let placed: Vec<Placed> = self
                .events(pieces, *number)
                .map(|(at, event, piece)| Placed {
                    event,
                    at,
                    bar: self.bar_span(spacing, piece),
                })
                .collect();
            notes::line(&mut ink, *line, here.len() == 1, &placed, spacing);
        }
        ink
    }

    /// From where to where a piece's notes reach.
    fn bar_span(&self, spacing: &Spacing, piece: usize) -> (f64, f64) {
        let to = spacing.ends.get(piece).copied().unwrap_or(self.right);
        let from = piece.checked_sub(1).and_then(|i| spacing.ends.get(i)).copied();
        (from.unwrap_or(self.left + 40.0), to)
    }

    fn bar_lines(&self, ink: &mut Ink, pieces: &[Piece], spacing: &Spacing, tops: &[f64]) {
        let (Some(first), Some(last)) = (tops.first(), tops.last()) else {
            return;
        };
        let (top, bottom) = (*first, last + STAFF);
        if tops.len() > 1 {
            ink.line((self.left, top), (self.left, bottom), INK, 3);
        }
        for (piece, x) in pieces.iter().zip(&spacing.ends) {
            let Some(bar) = self.score.bars.get(piece.bar) else {
                continue;
            };
            if piece.to < self.score.length(bar) {
                continue;
            }
            if piece.bar + 1 == self.score.bars.len() {
                ink.line((x - 10.0, top), (x - 10.0, bottom), INK, 2);
                ink.line((x - 2.0, top), (x - 2.0, bottom), INK, 7);
            } else {
                ink.line((*x, top), (*x, bottom), INK, 3);
            }
        }
    }

    /// Bar numbers with their times, and brackets over the figures.
    fn above(&self, pieces: &[Piece], spacing: &Spacing) -> Ink {
        let mut ink = Ink::default();
        for (i, piece) in pieces
            .iter()
            .enumerate()
            .filter(|(_, piece)| piece.from == Ticks(0))
        {
            let Some(bar) = self.score.bars.get(piece.bar) else {
                continue;
            };
            let x = if i == 0 {
                self.left
            } else {
                self.bar_span(spacing, i).0 + 8.0
            };
            let number = bar.number.to_string();
            let wide = letters::width(&number, WORDS as f64, true);
            ink.text((x, 34.0), Type::size(WORDS).bold(), WORDS, number);
            ink.text(
                (x + wide + 14.0, 34.0),
                Type::size(SMALL).fill(QUIET),
                SMALL,
                bar.time.clock(),
            );
        }
        for (row, figure) in self.score.figures.iter().take(MOST_FIGURES).enumerate() {
            let y = NUMBERS + BRACKETS * row as f64 + 42.0;
            self.brackets(&mut ink, &figure.repeats, spacing, y);
        }
        ink
    }

    fn brackets(&self, ink: &mut Ink, repeats: &[Repeat], spacing: &Spacing, y: f64) {
        let Some((from, to)) = spacing.span() else {
            return;
        };
        let first = repeats.partition_point(|repeat| repeat.to <= from);
        for repeat in repeats.iter().skip(first).take_while(|repeat| repeat.from < to) {
            let begins = repeat.from >= from;
            let left = spacing.x(repeat.from.max(from)) - if begins { 2.0 } else { 12.0 };
            let right = if repeat.to < to {
                spacing.x(repeat.to) - 10.0
            } else {
                spacing.ends.last().copied().unwrap_or(self.right)
            };
            ink.line((left, y), (right.max(left), y), FIGURE, 4);
            if begins {
                ink.line((left, y - 2.0), (left, y + 14.0), FIGURE, 4);
            }
            let number = if begins {
                repeat.number.to_string()
            } else {
                format!("({})", repeat.number)
            };
            let wide = letters::width(&number, COUNT as f64, true);
            if wide + 4.0 < right - left {
                ink.text(
                    (left, y - 8.0),
                    Type::size(COUNT).bold().fill(FIGURE),
                    COUNT,
                    number,
                );
            }
            if repeat.home && begins {
                ink.house((left + wide + 32.0, y - 16.0));
            }
        }
    }

    /// Who plays, under a staff: right hands, left hands, feet where it must be told. Gives how far down all reaches.
    fn letters(&self, ink: &mut Ink, pieces: &[Piece], spacing: &Spacing, staff: usize) -> f64 {
        let mut rows: [BTreeMap<Ticks, (&str, bool)>; 3] = Default::default();
        for (number, line) in self
            .score
            .lines
            .iter()
            .enumerate()
            .filter(|(_, line)| line.staff() == staff)
        {
            for (at, event, _) in self.events(pieces, number) {
                for head in &event.heads {
                    let accent = head.is(Mark::Accent);
                    let (row, letter) = match head.stroke.limb {
                        Some(Limb::RightHand) => (0, "R"),
                        Some(Limb::LeftHand) => (1, "L"),
                        Some(Limb::RightFoot | Limb::LeftFoot) if *line == Line::All && !self.feet => {
                            (2, "F")
                        }
                        Some(Limb::RightFoot) if self.feet => (2, "RF"),
                        Some(Limb::LeftFoot) if self.feet && head.voice() != Voice::HatFoot => (2, "LF"),
                        _ => continue,
                    };
                    if let Some(row) = rows.get_mut(row) {
                        row.entry(at).or_insert((letter, accent)).1 |= accent;
                    }
                }
            }
        }
        let mut y = ink.bottom.max(STAFF) + GAP;
        for row in rows.iter().filter(|row| !row.is_empty()) {
            y += LETTERS;
            for (at, (letter, accent)) in row {
                let look = Type::size(SMALL).middle();
                let look = if *accent { look.bold() } else { look };
                ink.text((spacing.x(*at) + 0.5 * head_width(), y), look, SMALL, *letter);
            }
        }
        y
    }

    /// What is said at every step of the row.
    fn said(&self, pieces: &[Piece]) -> Vec<Said> {
        let mut said = Vec::new();
        if self.count == CountHabit::None {
            return said;
        }
        let struck: std::collections::BTreeSet<Ticks> = (0..self.score.lines.len())
            .flat_map(|line| self.events(pieces, line))
            .filter(|(_, event, _)| !event.heads.is_empty())
            .map(|(at, ..)| at)
            .collect();
        let beat = self.score.beat.ticks().0;
        for piece in pieces {
            let Some(bar) = self.score.bars.get(piece.bar) else {
                continue;
            };
            let start = self.score.start(bar);
            for number in piece.from.0 / beat..piece.to.0 / beat {
                let from = start + Ticks(beat * number);
                let steps = self.score.steps_in(bar.beat + number);
                let here: Vec<i64> = struck
                    .range(from..from + Ticks(beat))
                    .map(|at| (at.0 - from.0) * i64::from(steps) / beat)
                    .collect();
                let counted = self.counted(steps, &here);
                let first_beat = (bar.beat + number).rem_euclid(i64::from(self.score.beat.per_bar)) + 1;
                for step in 0..counted {
                    let at = from + Ticks(beat * i64::from(step) / i64::from(counted));
                    let words = match self.count {
                        CountHabit::Figure => self.step_of_figure(at),
                        habit => syllable(habit, first_beat, step, counted, self.score.beat.value.dots > 0),
                    };
                    // What begins stands out: the beat, or the figure.
                    let begins = match self.count {
                        CountHabit::Figure => words == "1",
                        _ => step == 0,
                    };
                    said.push(Said {
                        at,
                        words,
                        begins,
                        struck: struck.contains(&at),
                    });
                }
            }
        }
        said
    }

    /// Into how many steps a beat is counted: as few as have all that is struck in it; by the figure, all.
    fn counted(&self, steps: u32, struck: &[i64]) -> u32 {
        if self.count == CountHabit::Figure {
            return steps;
        }
        let struck: Vec<u32> = struck.iter().map(|step| *step as u32).collect();
        let counted = steps / crate::notation::score::coarser(steps, &struck);
        // In threes even where only the first or the last is struck: the pulse is what is counted.
        counted.max(1)
    }

    /// The step of the first figure that stands at a place.
    fn step_of_figure(&self, at: Ticks) -> String {
        let repeats = self
            .score
            .figures
            .first()
            .map(|figure| figure.repeats.as_slice())
            .unwrap_or_default();
        let after = repeats.partition_point(|repeat| repeat.from <= at);
        let here = after
            .checked_sub(1)
            .and_then(|i| repeats.get(i))
            .filter(|repeat| at < repeat.to);
        let step = self.score.beat.ticks().0 / i64::from(self.score.grid.steps_per_beat.max(1));
        here.map(|repeat| ((at - repeat.from).0 / step.max(1) + 1).to_string())
            .unwrap_or_default()
    }

    fn syllables(&self, ink: &mut Ink, said: &[Said], spacing: &Spacing) {
        for one in said.iter().filter(|one| !one.words.is_empty()) {
            let look = Type::size(SMALL).middle();
            let look = if one.begins { look.bold() } else { look };
            let look = if one.struck || one.begins {
                look
            } else {
                look.fill(QUIET)
            };
            ink.text(
                (spacing.x(one.at) + 0.5 * head_width(), 0.0),
                look,
                SMALL,
                one.words.clone(),
            );
        }
    }
}

fn number_width(kind: &str, number: u32) -> f64 {
    let digits = number.to_string();
    digits
        .chars()
        .map(|c| glyphs::width(&format!("{kind}_{c}"), SPACE) + 1.0)
        .sum()
}

/// A number in glyphs, its middle at a place.
fn number(ink: &mut Ink, kind: &str, number: u32, (middle, y): (f64, f64)) {
    let mut x = middle - 0.5 * number_width(kind, number);
    for c in number.to_string().chars() {
        let name = format!("{kind}_{c}");
        ink.glyph(&name, (x, y), false, String::new());
        x += glyphs::width(&name, SPACE) + 1.0;
    }
}
