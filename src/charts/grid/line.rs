//! One line of the grid chart: rulings, numbers, starts of the figure, strokes.

use super::{ABOVE, NAMES, Plan, ROW};
use crate::charts::page::{home_sign, start_sign};
use crate::charts::palette::{FAINT, FIGURE_LIGHT, INK, MARGIN, NUMBER, QUIET, RULE, STROKE, WORDS};
use crate::charts::score::{Note, is_home};
use crate::charts::shapes::{self, Weight};
use crate::charts::svg::{Svg, Type, whole, width};
use crate::names::Layer;

impl Plan<'_> {
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
    pub(super) fn line(&self, svg: &mut Svg, top: i64, from: i64, to: i64) {
        let score = &self.score;
        let id = svg.id(&format!("bar-{}", score.bar_of(from)));
        svg.open(&format!(
            r#"id="{id}" data-bars="{} {}" data-steps="{from} {to}" fill="none""#,
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
                voice.said(),
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
}
