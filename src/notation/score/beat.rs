//! The strokes of one beat -> notes and rests that fill it, and their beams.
//!
//! In: on which steps something is struck. Out: notes that last until the next one as far as one value can, rests for
//! what is left, in the coarsest division that still has all of them; then beams, broken so that halves of the beat
//! show \[C\].

use super::value::{Division, Value};
use super::{Beam, Event};

/// A note or a rest within a beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Piece {
    /// Its first step.
    pub(super) at: u32,
    /// How many steps it lasts.
    pub(super) steps: u32,
    /// Its value.
    pub(super) value: Value,
    /// Whether it is a note.
    pub(super) struck: bool,
}

/// The largest number that divides both.
pub(super) fn common(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { common(b, a % b) }
}

/// The coarsest division of a beat of `steps` that has a step for each of the struck ones: by what to divide.
pub(crate) fn coarser(steps: u32, struck: &[u32]) -> u32 {
    struck.iter().fold(steps, |by, step| common(by, *step)).max(1)
}

/// Fills a divided beat; `struck` rises. Notes are never longer than a quarter (a dotted one where that is the beat).
pub(super) fn fill(division: Division, struck: &[u32]) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut at = 0;
    for (i, &step) in struck.iter().enumerate() {
        rests(division, at, step, &mut pieces);
        let next = struck.get(i + 1).copied().unwrap_or(division.steps);
        let piece = note(division, step, next.max(step + 1));
        at = step + piece.steps;
        pieces.push(piece);
    }
    rests(division, at, division.steps, &mut pieces);
    pieces
}

/// The note at a step: as long as leaves the fewest signs before the next one, begun on no weaker step than half of
/// its length.
fn note(division: Division, at: u32, next: u32) -> Piece {
    let fitting = (1..=next - at).rev().filter_map(|steps| {
        let value = division.value(steps).filter(|value| value.power >= 2)?;
        let plain = 1 << steps.trailing_zeros();
        let aligned = if value.dots > 0 {
            at.is_multiple_of(plain)
        } else {
            at.is_multiple_of((plain / 2).max(1))
        };
        aligned.then_some(Piece {
            at,
            steps,
            value,
            struck: true,
        })
    });
    let signs = |piece: &Piece| {
        let mut after = Vec::new();
        rests(division, at + piece.steps, next, &mut after);
        after.len()
    };
    let plain = Piece {
        at,
        steps: 1,
        value: Value {
            power: division.power,
            dots: 0,
        },
        struck: true,
    };
    // `min_by_key` keeps the first of equals: the longest.
    fitting.min_by_key(signs).unwrap_or(plain)
}

/// Rests from one step to another, each on a step that its length divides.
fn rests(division: Division, from: u32, to: u32, pieces: &mut Vec<Piece>) {
    let mut at = from;
    while at < to {
        let mut steps = 1 << (to - at).ilog2();
        while !at.is_multiple_of(steps) || division.value(steps).is_none() {
            steps /= 2;
            if steps <= 1 {
                steps = 1;
                break;
            }
        }
        let value = division.value(steps).unwrap_or(Value {
            power: division.power,
            dots: 0,
        });
        pieces.push(Piece {
            at,
            steps,
            value,
            struck: false,
        });
        at += steps;
    }
}

/// Whether the second and finer beams break before this step of a beat of plain quarters: sextuplets as 3+3, or as 2+2+2 when
/// accents say so; eight as 4+4, twelve as four threes.
pub(super) fn breaks(division: Division, dotted: bool, accents: &[u32], step: u32) -> bool {
    let group = match (dotted, division.steps) {
        (false, 6) => {
            let on = |steps: &[u32]| accents.iter().filter(|a| steps.contains(a)).count();
            if on(&[2, 4]) > on(&[3]) { 2 } else { 3 }
        }
        (false, 8) | (false, 16) | (true, 12) => 4,
        (false, 12) => 3,
        _ => return false,
    };
    step.is_multiple_of(group)
}

/// Beams the events of one group, given which of them begin a new part at the second and finer beams.
pub(super) fn beam(events: &mut [Event], breaks: &[bool]) {
    let beams: Vec<u32> = events
        .iter()
        .map(|event| {
            if event.heads.is_empty() {
                0
            } else {
                event.value.beams()
            }
        })
        .collect();
    // Rests inside stay under the first beam; those at the ends do not.
    let (Some(first), Some(last)) = (
        beams.iter().position(|b| *b > 0),
        beams.iter().rposition(|b| *b > 0),
    ) else {
        return;
    };
    let most = beams.iter().copied().max().unwrap_or(0);
    for level in 1..=most {
        let mut run: Vec<usize> = Vec::new();
        for i in first..=last {
            let (is_rest, own) = match (events.get(i), beams.get(i)) {
                (Some(event), Some(own)) => (event.heads.is_empty(), *own),
                _ => continue,
            };
            if is_rest && level == 1 {
                continue;
            }
            let broken = level > 1 && breaks.get(i).copied().unwrap_or(false);
            if broken || own < level {
                close(&mut run, events, level, (first, last));
            }
            if own >= level {
                run.push(i);
            }
        }
        close(&mut run, events, level, (first, last));
    }
}

/// Writes the beam of a run of events; a run of one gets a hook, or nothing where it stands alone.
fn close(run: &mut Vec<usize>, events: &mut [Event], level: u32, ends: (usize, usize)) {
    let mut put = |i: usize, beam: Beam| {
        // A note without the beams above has flags instead.
        if let Some(event) = events.get_mut(i).filter(|e| e.beams.len() + 1 == level as usize) {
            event.beams.push(beam);
        }
    };
    match run.as_slice() {
        [] => {}
        [_] if level == 1 => {}
        [one] => put(
            *one,
            if *one == ends.0 {
                Beam::HookRight
            } else {
                Beam::HookLeft
            },
        ),
        [first, inner @ .., last] => {
            put(*first, Beam::Begin);
            inner.iter().for_each(|i| put(*i, Beam::Through));
            put(*last, Beam::End);
        }
    }
    run.clear();
}
