//! One half of the stack: its title, columns, rows and strokes, and the lines from start to start.

use std::collections::BTreeSet;

use super::{ABOVE, LABELS, LANE, NARROWEST, Plan, Row, SPACE, Spots};
use crate::charts::page::home_sign;
use crate::charts::palette::{COUNT, FAINT, FIGURE, FIGURE_LIGHT, INK, NUMBER, QUIET, TOP, WORDS};
use crate::charts::score::Note;
use crate::charts::shapes::{self, Weight};
use crate::charts::svg::{Svg, Type, whole, width};
use crate::charts::words;
use crate::cycles::Cycle;
use crate::names::{Layer, Voice};

/// Columns at least this wide have room for all their numbers.
const ALL_NUMBERS: f64 = 44.0;

impl Plan<'_> {
    pub(super) fn wide(&self, steps: i64) -> i64 {
        whole(steps as f64 * self.step)
    }

    /// From the figure's half to the other: its columns, or its title where that is wider.
    pub(super) fn figure_wide(&self) -> i64 {
        let length = self.cycle.map_or(0, |cycle| i64::from(cycle.length_steps));
        self.wide(length).max(NARROWEST)
    }

    fn x(&self, left: i64, column: i64) -> i64 {
        left + whole((column as f64 + 0.5) * self.step)
    }

    pub(super) fn y(&self, row: usize) -> i64 {
        TOP + ABOVE + self.row_height() * row as i64
    }

    /// The half stacked at the figure's length.
    pub(super) fn figure_half(&self, svg: &mut Svg, left: i64, cycle: &Cycle, rows: &[Row]) {
        let length = i64::from(cycle.length_steps);
        let words = format!("{} a row", words::count(cycle.length_steps, "step"));
        let id = svg.id("by-figure");
        svg.open(&format!(r#"id="{id}" data-half="figure""#));
        self.half_title(svg, left, &words, "the figure stands in columns");
        let struck: BTreeSet<i64> = cycle.figure.iter().map(|note| i64::from(note.step)).collect();
        let all = self.step >= ALL_NUMBERS;
        let shown: Vec<i64> = if all {
            (1..=length).collect()
        } else {
            struck.iter().copied().collect()
        };
        let mut free = 0;
        let between = 8;
        for step in shown {
            let (x, wide) = (self.x(left, step - 1), width(&step.to_string(), COUNT));
            if x - wide / 2 < free {
                continue;
            }
            free = x + wide / 2 + between;
            let look = Type::size(COUNT).middle();
            let look = if struck.contains(&step) {
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
    pub(super) fn bar_half(&self, svg: &mut Svg, left: i64, rows: &[Row]) {
        let words = format!("{} steps: a bar a row", self.score.bar());
        let under = match self.cycle {
            Some(Cycle {
                resolved: Some(resolved),
                ..
            }) => format!("the same strokes, {}", words::anew(resolved)),
            Some(cycle) if cycle.crosses_bar => "the same strokes walk across the bar".to_owned(),
            Some(_) => "the same strokes".to_owned(),
            None => "no figure was found; the busiest voices, bar by bar".to_owned(),
        };
        let id = svg.id("by-bar");
        svg.open(&format!(r#"id="{id}" data-half="bar""#));
        self.half_title(svg, left, &words, &under);
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
        let largest = whole(self.step * 0.46).clamp(3, LANE / 2 - 1);
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
                    .filter(|n| self.lane_of(n) == Some(voice))
                {
                    if !added.contains(&note.step()) {
                        let at = (self.x(left, note.step() - row.from), y);
                        let place = self.score.place_words(note);
                        shapes::plain(svg, at, largest, note.stroke, self.weight(note), &place);
                    }
                }
                for step in added {
                    let title = format!("{} added, {}", voice.said(), self.score.place(step));
                    shapes::added(svg, (self.x(left, step - row.from), y), largest, voice, &title);
                }
                for (&(step, _), &by) in self
                    .moved
                    .range((row.from, Voice::Kick)..(row.to, Voice::Kick))
                    .filter(|(spot, _)| spot.1 == voice)
                {
                    let from = self.x(left, step - row.from);
                    let to = self.x(left, step + by - row.from);
                    let when = if by > 0 { "later" } else { "earlier" };
                    let title = format!("{} a step {when} than {}", voice.said(), self.score.place(step));
                    shapes::moved(svg, (from, y), to, largest, voice, &title);
                }
                for step in spots(&self.missing) {
                    let title = format!("{} missing, {}", voice.said(), self.score.place(step));
                    shapes::missing(svg, (self.x(left, step - row.from), y), largest, voice, &title);
                }
            }
        }
    }

    /// The lane of a stroke: its voice's, or that of the note in whose place it was struck on another drum.
    fn lane_of(&self, note: &Note) -> Option<Voice> {
        let voice = note.stroke.hit.voice;
        if self.lanes.contains(&voice) {
            return Some(voice);
        }
        let cycle = self
            .cycle
            .filter(|_| note.stroke.layer == Some(Layer::Ostinato))?;
        let after = self.repeats.partition_point(|repeat| repeat.from <= note.step());
        let repeat = self.repeats.get(after.checked_sub(1)?)?;
        let step = note.step() - repeat.from + 1;
        let here = cycle.figure.iter().find(|n| i64::from(n.step) == step)?;
        here.voices.first().copied()
    }

    fn weight(&self, note: &Note) -> Weight {
        match note.stroke.layer {
            _ if self.cycle.is_none() => Weight::Alone,
            Some(Layer::Ostinato) => Weight::Figure,
            _ => Weight::Solo,
        }
    }
}
