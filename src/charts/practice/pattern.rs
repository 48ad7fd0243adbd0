//! A pattern to practise, on a ruling that begins on beat one of a bar, and how it is drawn: a ruled row a voice, the
//! figure solid, the rest hollow, the sticking beneath.

use crate::charts::page::start_sign;
use crate::charts::palette::{COUNT, FAINT, FIGURE_LIGHT, INK, MARGIN, QUIET, RULE, WIDTH, WORDS};
use crate::charts::shapes::{self, Weight};
use crate::charts::svg::{Svg, Type, whole};
use crate::names::{Limb, Voice};

/// One note of a pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PatternNote {
    /// Step from the pattern's beginning, from 0.
    pub step: u32,
    /// What is struck.
    pub voice: Voice,
    /// Which limb, where known.
    pub limb: Option<Limb>,
    /// It belongs to the figure.
    pub figure: bool,
}

/// A pattern that begins on beat one.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Pattern {
    /// Its length in steps.
    pub steps: u32,
    /// Steps in a beat.
    pub per_beat: u32,
    /// Steps in a bar.
    pub per_bar: u32,
    /// Its notes, by step.
    pub notes: Vec<PatternNote>,
    /// Steps on which the figure starts.
    pub starts: Vec<u32>,
}

/// Height of a row, above the rows, and below them with the sticking.
const ROW: i64 = 44;
const ABOVE: i64 = 82;
const BELOW: i64 = 46;
/// Width of the voices' names.
const NAMES: i64 = 210;
/// Steps on a line, at most, and how wide a step is at most.
const LINE: u32 = 48;
const WIDEST: f64 = 58.0;
/// Half the width of a stroke.
const STROKE: i64 = 16;

impl Pattern {
    /// Its voices from the top row down.
    fn rows(&self) -> Vec<Voice> {
        let has = |voice: &&Voice| self.notes.iter().any(|note| note.voice == **voice);
        Voice::ALL.iter().rev().filter(has).copied().collect()
    }

    /// Steps on one line: whole bars where they fit, else whole beats.
    fn line(&self) -> u32 {
        let (beat, bar) = (self.per_beat.max(1), self.per_bar.max(1));
        let unit = if bar <= LINE { bar } else { beat };
        ((LINE / unit).max(1) * unit).min(self.steps.max(1))
    }

    fn has_limbs(&self) -> bool {
        self.notes.iter().any(|note| note.limb.is_some())
    }

    fn line_height(&self) -> i64 {
        let below = if self.has_limbs() { BELOW } else { BELOW / 2 };
        ABOVE + ROW * self.rows().len() as i64 + below
    }

    /// Height of the drawing with at most `lines` lines.
    pub(super) fn height(&self, lines: u32) -> i64 {
        self.line_height() * i64::from(self.steps.div_ceil(self.line()).min(lines))
    }

    /// How many steps are drawn with at most `lines` lines.
    pub(super) fn drawn(&self, lines: u32) -> u32 {
        self.steps.min(self.line().saturating_mul(lines))
    }

    /// Draws it below `top` on at most `lines` lines.
    pub(super) fn draw(&self, svg: &mut Svg, top: i64, lines: u32) {
        let line = self.line();
        for (i, from) in (0..self.drawn(lines)).step_by(line as usize).enumerate() {
            self.draw_line(
                svg,
                top + self.line_height() * i as i64,
                from,
                (from + line).min(self.steps),
            );
        }
    }

    fn draw_line(&self, svg: &mut Svg, top: i64, from: u32, to: u32) {
        let rows = self.rows();
        let wide = ((WIDTH - 2 * MARGIN - NAMES) as f64 / f64::from(self.line().max(1))).min(WIDEST);
        let edge = |step: u32| MARGIN + NAMES + whole(f64::from(step - from) * wide);
        let middle = |step: u32| edge(step) + whole(wide / 2.0);
        let (high, low) = (top + ABOVE, top + ABOVE + ROW * rows.len() as i64);
        for step in from..to {
            let beat = step % self.per_beat.max(1) == 0;
            let (colour, reach) = if beat { (FAINT, high) } else { (RULE, low - 6) };
            svg.line((middle(step), reach), (middle(step), low), colour, 3);
            if beat {
                let number = step % self.per_bar.max(1) / self.per_beat.max(1) + 1;
                let look = if number == 1 {
                    Type::size(COUNT).bold()
                } else {
                    Type::size(COUNT).fill(QUIET)
                };
                svg.text(middle(step), top + 34, look.middle(), &number.to_string());
            }
        }
        for step in from..=to {
            if step % self.per_bar.max(1) == 0 || step == self.steps {
                svg.line((edge(step), high), (edge(step), low), INK, 5);
            }
        }
        for (row, &voice) in rows.iter().enumerate() {
            let y = high + ROW * row as i64 + ROW / 2;
            svg.line((edge(from), y), (edge(to), y), RULE, 2);
            svg.text(MARGIN + NAMES - 20, y + 12, Type::size(COUNT).end(), voice.said());
        }
        for (number, &start) in self
            .starts
            .iter()
            .enumerate()
            .filter(|(_, s)| (from..to).contains(*s))
        {
            svg.line((middle(start), high - 12), (middle(start), low), FIGURE_LIGHT, 4);
            start_sign(svg, middle(start), high - 34, number as u32 + 1);
        }
        let radius = STROKE.min(whole(wide * 0.42)).max(5);
        for note in self.notes.iter().filter(|n| (from..to).contains(&n.step)) {
            let row = rows.iter().position(|v| *v == note.voice).unwrap_or(0) as i64;
            let weight = if note.figure { Weight::Figure } else { Weight::Solo };
            shapes::example(
                svg,
                (middle(note.step), high + ROW * row + ROW / 2),
                radius,
                note.voice,
                weight,
            );
        }
        self.sticking(svg, low + 38, from, to, &middle);
    }

    /// The limbs under the steps: hands as R and L, feet as F.
    fn sticking(&self, svg: &mut Svg, y: i64, from: u32, to: u32, middle: &dyn Fn(u32) -> i64) {
        for step in from..to {
            let here = self
                .notes
                .iter()
                .filter(|n| n.step == step && (!n.figure || self.only_figure()));
            let letters: String = here.filter_map(|n| n.limb).map(letter).collect();
            if !letters.is_empty() {
                svg.text(middle(step), y, Type::size(COUNT).middle(), &letters);
            }
        }
        if self.has_limbs() {
            svg.text(
                MARGIN + NAMES - 20,
                y,
                Type::size(COUNT).fill(QUIET).end(),
                "sticking",
            );
        }
    }

    fn only_figure(&self) -> bool {
        self.notes.iter().all(|n| n.figure)
    }
}

fn letter(limb: Limb) -> char {
    match limb {
        Limb::RightHand => 'R',
        Limb::LeftHand => 'L',
        Limb::RightFoot | Limb::LeftFoot => 'F',
    }
}

/// Height of words broken into lines of at most `most` letters.
pub(super) fn broken(words: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// Writes words in lines of at most `most` letters below `y`; gives back where the next line would stand.
pub(super) fn write(svg: &mut Svg, x: i64, y: i64, look: Type, words: &str, most: usize) -> i64 {
    let mut y = y;
    for line in broken(words, most) {
        svg.text(x, y, look, &line);
        y += LEADING;
    }
    y
}

/// From one line of words to the next.
pub(super) const LEADING: i64 = WORDS + 12;
