//! The bars of a score -> lines of music: how many bars, or which part of one, stand on a line.
//!
//! How much a line holds depends on the grid and the paper alone, so recordings of any length are drawn at one scale.

use crate::notation::score::{Bar, Score, Ticks};
use crate::options::Paper;

/// Silence of so many bars and more is told in words.
const SILENT: usize = 4;

/// A part of a bar on a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Piece {
    /// Which of the score's bars.
    pub(super) bar: usize,
    /// From here, from the start of the bar.
    pub(super) from: Ticks,
    /// Up to here.
    pub(super) to: Ticks,
}

/// A line.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Row {
    /// Music, and which share of a full line it is.
    Music(Vec<Piece>, f64),
    /// From this bar to that one nothing is struck.
    Silent(i64, i64),
}

/// Steps that a line holds at most, unless one beat has more: on A4 two bars of sixteenth-triplets.
fn most_steps(paper: Paper) -> u32 {
    match paper {
        Paper::A4 | Paper::Slip => 48,
        Paper::Phone => 16,
    }
}

/// How many bars a line holds, and how many beats of a bar where a bar takes several lines.
fn measure(score: &Score, paper: Paper) -> (usize, u32) {
    let per_beat = score.grid.steps_per_beat.max(1);
    let beats = score.beat.per_bar;
    let (steps, most) = (per_beat * beats, most_steps(paper));
    if steps <= most {
        // One, two or four bars: phrases then begin at the left.
        let bars = match (paper, most / steps) {
            (Paper::A4 | Paper::Slip, 4..) => 4,
            (_, 2..) => 2,
            _ => 1,
        };
        return (bars, beats);
    }
    let lines = steps.div_ceil(most).min(beats);
    (1, beats.div_ceil(lines))
}

/// Cuts the bars of a score into lines.
pub(super) fn rows(score: &Score, paper: Paper) -> Vec<Row> {
    let (per_row, beats) = measure(score, paper);
    let full = score.beat.ticks().0 * i64::from(beats) * per_row as i64;
    let mut rows = Vec::new();
    let mut at = 0;
    while let Some(bar) = score.bars.get(at) {
        let silent = score
            .bars
            .iter()
            .skip(at)
            .take_while(|bar| is_silent(bar))
            .count();
        if silent >= SILENT {
            let last = score
                .bars
                .get(at + silent - 1)
                .map_or(bar.number, |bar| bar.number);
            rows.push(Row::Silent(bar.number, last));
            at += silent;
            continue;
        }
        // A pick-up has a line of its own, so that bar 1 begins one.
        let most = if bar.number <= 0 { 1 } else { per_row };
        let run = score.bars.iter().skip(at).take(most);
        let count = run.take_while(|bar| !begins_silence(score, bar)).count().max(1);
        let pieces: Vec<Piece> = (at..at + count).flat_map(|bar| cut(score, bar, beats)).collect();
        if per_row > 1 {
            rows.push(music(pieces, full));
        } else {
            rows.extend(pieces.into_iter().map(|piece| music(vec![piece], full)));
        }
        at += count;
    }
    rows
}

/// A line of these pieces where a full one is so long.
fn music(pieces: Vec<Piece>, full: i64) -> Row {
    let long: i64 = pieces.iter().map(|piece| (piece.to - piece.from).0).sum();
    Row::Music(pieces, (long as f64 / full.max(1) as f64).min(1.0))
}

fn is_silent(bar: &Bar) -> bool {
    bar.lines.iter().flatten().all(|event| event.heads.is_empty())
}

/// Whether a long silence begins at this bar.
fn begins_silence(score: &Score, bar: &Bar) -> bool {
    let from = score.bars.partition_point(|other| other.beat < bar.beat);
    score
        .bars
        .iter()
        .skip(from)
        .take_while(|bar| is_silent(bar))
        .count()
        >= SILENT
}

/// A bar in parts of so many beats.
fn cut(score: &Score, bar: usize, beats: u32) -> Vec<Piece> {
    let Some(found) = score.bars.get(bar) else {
        return Vec::new();
    };
    let (length, part) = (
        score.length(found).0,
        score.beat.ticks().0 * i64::from(beats.max(1)),
    );
    let mut pieces = Vec::new();
    let mut from = 0;
    while from < length {
        let to = (from + part).min(length);
        pieces.push(Piece {
            bar,
            from: Ticks(from),
            to: Ticks(to),
        });
        from = to;
    }
    pieces
}

/// A line that is too full, as lines of one piece each.
pub(super) fn split(pieces: &[Piece], share: f64) -> Vec<Row> {
    let long: i64 = pieces.iter().map(|piece| (piece.to - piece.from).0).sum();
    let full = long as f64 / share.max(0.01);
    let most = pieces
        .iter()
        .map(|piece| (piece.to - piece.from).0)
        .max()
        .unwrap_or(1);
    let one = |piece: &Piece| {
        Row::Music(
            vec![*piece],
            ((piece.to - piece.from).0 as f64 / full.min(most as f64)).min(1.0),
        )
    };
    pieces.iter().map(one).collect()
}
