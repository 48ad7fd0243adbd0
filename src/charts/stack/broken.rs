//! The repeats that are not whole, told in words beside the stack.

use super::{GAP, LABELS, Plan, Row};
use crate::charts::palette::{A4, DOUBT, FOOT, MARGIN, WIDTH, WORDS};
use crate::charts::svg::{Svg, Type, width};
use crate::cycles::Broken;

/// Height of a line of words.
const ENTRY: i64 = 52;
/// The list takes at most so many lines from the rows when it has to stand under both halves.
const MOST: usize = 8;

/// Where the list stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    /// Under the figure's half, which is much the shorter.
    Left,
    /// Under the bar's half.
    Right,
    /// Under both.
    Below,
}

impl Plan<'_> {
    fn side(&self) -> Side {
        let bar = self.score.bar();
        let length = self.cycle.map_or(bar, |cycle| i64::from(cycle.length_steps));
        if length * 10 <= bar * 7 {
            Side::Right
        } else if bar * 10 <= length * 7 {
            Side::Left
        } else {
            Side::Below
        }
    }

    /// Height to keep free under the rows of both halves.
    pub(super) fn kept_for_broken(&self) -> i64 {
        let broken = self.cycle.map_or(0, |cycle| cycle.broken.len());
        match self.side() {
            Side::Below if broken > 0 => ENTRY * (broken.min(MOST) as i64 + 2),
            _ => 0,
        }
    }

    /// The broken repeats of this page in words.
    pub(super) fn tell_broken(&self, svg: &mut Svg, figure_rows: &[Row], bar_rows: &[Row]) {
        let Some(cycle) = self.cycle else {
            return;
        };
        let shown: Vec<&Broken> = cycle
            .broken
            .iter()
            .filter(|broken| {
                figure_rows
                    .iter()
                    .any(|row| row.number == i64::from(broken.repeat))
            })
            .collect();
        if shown.is_empty() {
            return;
        }
        let (x, room, rows) = match self.side() {
            Side::Left => (MARGIN, LABELS + self.figure_wide(), figure_rows.len()),
            Side::Right => {
                let x = MARGIN + LABELS + self.figure_wide() + GAP;
                (x, WIDTH - MARGIN - x, bar_rows.len())
            }
            Side::Below => (MARGIN, WIDTH - 2 * MARGIN, figure_rows.len().max(bar_rows.len())),
        };
        let mut y = self.y(rows) + 80;
        svg.text(x, y, Type::size(WORDS).bold().fill(DOUBT), "Not whole");
        let letters = (room / width("n", WORDS).max(1)).max(20) as usize;
        for (told, broken) in shown.iter().enumerate() {
            let lines = wrap(&broken.words(), letters);
            let after = y + ENTRY * lines.len() as i64;
            if after + ENTRY > A4 - FOOT && told + 1 < shown.len() || after > A4 - FOOT {
                let more = format!("and {} more, in study.json", shown.len() - told);
                svg.text(x, y + ENTRY, Type::size(WORDS), &more);
                break;
            }
            for line in lines {
                y += ENTRY;
                svg.text(x, y, Type::size(WORDS), &line);
            }
        }
    }
}

/// Words in lines of at most so many letters, later ones indented.
fn wrap(words: &str, letters: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in words.split(' ') {
        if !line.trim().is_empty() && line.chars().count() + 1 + word.chars().count() > letters {
            lines.push(std::mem::take(&mut line));
            // Spaces at the start of text collapse in SVG; this one stays.
            line.push('\u{2003}');
        }
        if !line.trim().is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    lines.push(line);
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrapped_lines_keep_every_word_and_stay_within_their_width() {
        let words = "repeat 7, from bar 4, beat 4, step 1: kick missing on its step 6";
        let lines = wrap(words, 24);
        assert!(lines.iter().all(|line| line.chars().count() <= 24), "{lines:?}");
        let joined: Vec<&str> = lines.iter().map(|line| line.trim()).collect();
        assert_eq!(joined.join(" "), words);
    }
}
