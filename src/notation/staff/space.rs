//! Where on a line each place of the music stands: in proportion to time, but never so near that two things touch.
//!
//! In: every place with the room that it needs left and right of its note and in the rows of words below. Out: across in
//! tenths of a millimetre. Each gap is the larger of its need and of its share of the line; the share is found so
//! that the line is full.

use std::collections::BTreeMap;

use super::rows::Piece;
use crate::notation::score::{Score, Ticks};

/// From a bar line to the first note after it, and from the last note's own room to the bar line.
const LEAD: f64 = 16.0;
const TAIL: f64 = 8.0;
/// Between two things.
const APART: f64 = 4.0;

/// The room that a place needs, from the left edge of a head.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Need {
    /// To the left.
    pub(super) left: f64,
    /// To the right.
    pub(super) right: f64,
    /// Half the width of its words, which are centred.
    pub(super) words: f64,
}

impl Need {
    /// The room of both.
    pub(super) fn and(&mut self, other: Need) {
        self.left = self.left.max(other.left);
        self.right = self.right.max(other.right);
        self.words = self.words.max(other.words);
    }
}

/// Places on a line.
#[derive(Debug, Default)]
pub(super) struct Spacing {
    /// Places from the start of bar 1, and where they stand.
    places: Vec<(Ticks, f64)>,
    /// The right edge of every piece.
    pub(super) ends: Vec<f64>,
}

/// One gap: from a place to the next.
struct Gap {
    from: Ticks,
    long: f64,
    least: f64,
    /// Room before it: after a bar line.
    before: f64,
    /// Whether a piece ends with it.
    ends: bool,
}

impl Spacing {
    /// Spaces a line from `left` to `right`, as far as its share of it goes; also says whether it is too full.
    pub(super) fn of(
        score: &Score,
        pieces: &[Piece],
        needs: &BTreeMap<Ticks, Need>,
        (left, right): (f64, f64),
        share: f64,
    ) -> (Spacing, bool) {
        let gaps = gaps(score, pieces, needs);
        let wide = |by: f64| -> f64 {
            gaps.iter()
                .map(|gap| gap.before + gap.least.max(by * gap.long))
                .sum()
        };
        let room = (right - left) * share;
        let (mut low, mut high) = (0.0, 1e6);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if wide(middle) > room {
                high = middle
            } else {
                low = middle
            }
        }
        let least = wide(0.0);
        let squeeze = if least > right - left {
            (right - left) / least
        } else {
            1.0
        };
        let mut spacing = Spacing::default();
        let mut x = left;
        for gap in &gaps {
            x += gap.before * squeeze;
            spacing.places.push((gap.from, x));
            x += gap.least.max(low * gap.long) * squeeze;
            if gap.ends {
                spacing.ends.push(x);
            }
        }
        if let Some(end) = pieces
            .last()
            .and_then(|piece| Some(score.start(score.bars.get(piece.bar)?) + piece.to))
        {
            spacing.places.push((end, x));
        }
        (spacing, squeeze < 1.0)
    }

    /// Where a place stands; between known ones in proportion.
    pub(super) fn x(&self, at: Ticks) -> f64 {
        let after = self.places.partition_point(|(place, _)| *place <= at);
        let before = after.checked_sub(1).and_then(|i| self.places.get(i));
        match (before, self.places.get(after)) {
            (Some((from, x)), Some((to, end))) => {
                x + (end - x) * (at.0 - from.0) as f64 / (to.0 - from.0).max(1) as f64
            }
            (Some((_, x)), None) | (None, Some((_, x))) => *x,
            (None, None) => 0.0,
        }
    }

    /// From where to where the line reaches.
    pub(super) fn span(&self) -> Option<(Ticks, Ticks)> {
        Some((self.places.first()?.0, self.places.last()?.0))
    }
}

fn gaps(score: &Score, pieces: &[Piece], needs: &BTreeMap<Ticks, Need>) -> Vec<Gap> {
    let unit = score.beat.ticks().0 as f64;
    let mut gaps = Vec::new();
    for piece in pieces {
        let Some(bar) = score.bars.get(piece.bar) else {
            continue;
        };
        let (from, to) = (score.start(bar) + piece.from, score.start(bar) + piece.to);
        let mut inside: Vec<(Ticks, Need)> = needs.range(from..to).map(|(at, need)| (*at, *need)).collect();
        if inside.first().is_none_or(|(at, _)| *at > from) {
            inside.insert(0, (from, Need::default()));
        }
        for (i, (at, need)) in inside.iter().enumerate() {
            let next = inside.get(i + 1);
            let least = match next {
                Some((_, next)) => (need.right + next.left + APART).max(need.words + next.words + APART),
                None => need.right + TAIL,
            };
            gaps.push(Gap {
                from: *at,
                long: (next.map_or(to, |(at, _)| *at) - *at).0 as f64 / unit,
                least,
                before: if i == 0 { LEAD + need.left } else { 0.0 },
                ends: next.is_none(),
            });
        }
    }
    gaps
}
