//! [`Placed`] hits -> [`Strokes`]: for each stream of voices, which steps are struck.
//!
//! Step 0 is the first step of the bar in which the first stroke lies.

use super::Carrier;
use super::code::Tally;
use super::streams::{Stream, alike, composed, streams};
use crate::grid::{Grid, Placed};
use crate::names::{Limb, Mark, Voice};

/// More steps than hours of playing have: a grid that claims more is no grid.
const MOST_STEPS: i64 = 1 << 20;

/// More steps than any bar has.
const MOST_STEPS_IN_BAR: usize = 1024;

/// Fewer strokes than these repeat nothing four times.
pub(super) const FEWEST_STROKES: usize = 4;

/// The strokes of one voice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    /// The voice.
    pub(super) voice: Voice,
    /// 1 on every step that is struck.
    pub(super) hit: Vec<u8>,
    /// 1 on every step that is struck with an accent.
    pub(super) accent: Vec<u8>,
}

/// A voice whose strokes an earlier figure explains, and where.
pub(super) type Taken = (Voice, (usize, usize));

/// How a cycle turns: which phase of it a step is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Turn {
    /// Steps in a cycle, at least 1.
    pub(super) length: usize,
    /// A step on which a cycle starts.
    pub(super) origin: usize,
    /// It starts anew every so many steps from `origin`; 0 when it runs freely.
    pub(super) round: usize,
}

impl Turn {
    /// A cycle that runs freely from step 0.
    pub(super) fn free(length: usize) -> Self {
        Turn {
            length: length.max(1),
            origin: 0,
            round: 0,
        }
    }

    /// The phase of `step`, from 0.
    pub(super) fn phase(self, step: usize) -> usize {
        let cycle = if self.round == 0 { self.length } else { self.round };
        (step + cycle - self.origin % cycle) % cycle % self.length
    }

    /// Whether a cycle starts on `step`.
    pub(super) fn starts(self, step: usize) -> bool {
        self.phase(step) == 0
    }
}

/// Steps that are counted side by side, and the shortest stretch for which that pays.
const WIDE: usize = 128;
const LONG: usize = 4 * WIDE;

/// Counts the strokes on each phase of `turn` between two steps.
pub(super) fn tally(hit: &[u8], (from, to): (usize, usize), turn: Turn, into: &mut Tally) {
    into.clear(turn.length);
    let cycle = if turn.round == 0 { turn.length } else { turn.round };
    let inside = (from + cycle - turn.origin % cycle) % cycle;
    let rest = hit.get(from..to).unwrap_or_default();
    if cycle <= WIDE && rest.len() >= LONG {
        side_by_side(rest, inside, cycle, into);
    } else {
        row_by_row(rest, inside, cycle, into);
    }
}

/// Whole rows at a time, up to the next start of a cycle.
fn row_by_row(mut rest: &[u8], mut inside: usize, cycle: usize, into: &mut Tally) {
    let length = into.struck.len();
    while !rest.is_empty() {
        let phase = inside % length;
        let row = (length - phase).min(cycle - inside).min(rest.len());
        let (now, later) = rest.split_at(row);
        for (sum, &struck) in into.struck[phase..phase + row].iter_mut().zip(now) {
            *sum += u32::from(struck);
        }
        for sum in &mut into.seen[phase..phase + row] {
            *sum += 1;
        }
        inside = (inside + row) % cycle;
        rest = later;
    }
}

/// The same in rows of as many cycles as fit side by side, whose sums are plain ones over bytes.
fn side_by_side(rest: &[u8], inside: usize, cycle: usize, into: &mut Tally) {
    let length = into.struck.len();
    let wide = WIDE / cycle * cycle;
    let mut sums = [0u32; WIDE];
    // A byte holds the sum of so many rows.
    for rows in rest.chunks(255 * wide) {
        let mut few = [0u8; WIDE];
        for row in rows.chunks(wide) {
            few.iter_mut().zip(row).for_each(|(sum, struck)| *sum += struck);
        }
        sums.iter_mut()
            .zip(few)
            .for_each(|(sum, few)| *sum += u32::from(few));
    }
    for (at, sum) in sums.iter().enumerate().take(wide) {
        let phase = (inside + at) % cycle % length;
        into.struck[phase] += sum;
        into.seen[phase] += (rest.len() / wide + usize::from(at < rest.len() % wide)) as u32;
    }
}

/// All streams of a recording on one row of steps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Strokes {
    /// The grid's number of step 0 here.
    pub(super) first: i64,
    /// From the first struck step to just after the last.
    pub(super) whole: (usize, usize),
    /// Steps in a bar.
    pub(super) bar: usize,
    /// Steps in a beat.
    pub(super) beat: usize,
    /// Single voices first, then those heard as one.
    pub(super) streams: Vec<Stream>,
    /// Every voice's own row, rare ones too.
    rows: Vec<Row>,
    /// What earlier figures explain.
    taken: Vec<Taken>,
}

impl Strokes {
    /// Lays the hits out; `None` when they or the grid give nothing to search. `limbs` is what a player's kit says.
    pub(super) fn new(placed: &[Placed], grid: &Grid, limbs: &[(Voice, Limb)]) -> Option<Self> {
        let (bar, beat) = (grid.steps_per_bar() as usize, grid.steps_per_beat as usize);
        let low = placed.iter().map(|p| p.step.0).min()?;
        let high = placed.iter().map(|p| p.step.0).max()?;
        if bar == 0 || beat == 0 || bar > MOST_STEPS_IN_BAR || high.checked_sub(low)? >= MOST_STEPS {
            return None;
        }
        let first = low.checked_sub(low.rem_euclid(bar as i64))?;
        let whole = ((low - first) as usize, (high - first) as usize + 1);
        let mut rows: Vec<Row> = Vec::new();
        for p in placed {
            let step = (p.step.0 - first) as usize;
            let row = match rows.iter().position(|row| row.voice == p.hit.voice) {
                Some(row) => row,
                None => {
                    rows.push(Row {
                        voice: p.hit.voice,
                        hit: vec![0; whole.1],
                        accent: vec![0; whole.1],
                    });
                    rows.len() - 1
                }
            };
            rows[row].hit[step] = 1;
            rows[row].accent[step] |= u8::from(p.hit.mark == Some(Mark::Accent));
        }
        rows.sort_by_key(|row| row.voice);
        Some(Strokes {
            first,
            whole,
            bar,
            beat,
            streams: streams(&rows, limbs),
            rows,
            taken: Vec::new(),
        })
    }

    /// Other streams over the same bars and beats, from the first of so many steps to the last.
    pub(super) fn with(&self, streams: Vec<Stream>, steps: usize) -> Self {
        Strokes {
            first: self.first,
            whole: (0, steps),
            bar: self.bar,
            beat: self.beat,
            streams,
            rows: Vec::new(),
            taken: Vec::new(),
        }
    }

    /// Whether a voice that is easily taken for this one is struck on a step.
    pub(super) fn strikes_alike(&self, voice: Voice, step: usize) -> bool {
        let mut rows = self.rows.iter().filter(|row| alike(row.voice, voice));
        rows.any(|row| row.hit.get(step).is_some_and(|h| *h > 0))
    }

    /// Whether a voice is struck on a step as a stream means it: with an accent where accents alone count.
    pub(super) fn carries(&self, carrier: Carrier, voice: Voice, step: usize) -> bool {
        let row = self.rows.iter().find(|row| row.voice == voice);
        let strokes = row.map(|row| match carrier {
            Carrier::Accents => &row.accent,
            Carrier::Line | Carrier::Voices => &row.hit,
        });
        strokes.is_some_and(|hit| hit.get(step).is_some_and(|h| *h > 0))
    }

    /// A voice of this stream that is struck on this step.
    pub(super) fn voice_at(&self, stream: usize, step: usize) -> Option<Voice> {
        let Stream { voices, carrier, .. } = self.streams.get(stream)?;
        voices.iter().copied().find(|v| self.carries(*carrier, *v, step))
    }

    /// Takes what a figure explains, strokes of this stream on these steps, out of all streams.
    pub(super) fn take(&mut self, stream: usize, span: (usize, usize)) {
        let Some(explained) = self.streams.get(stream).cloned() else {
            return;
        };
        if explained.carrier == Carrier::Accents {
            // Where they fall is told; that the same drums are struck there and elsewhere is not.
            self.streams[stream].taken.push(span);
            return;
        }
        self.taken.extend(explained.voices.iter().map(|v| (*v, span)));
        for other in &mut self.streams {
            match other.carrier {
                Carrier::Voices if other.clashes(&explained) => other.taken.push(span),
                Carrier::Voices => {}
                Carrier::Line if explained.carrier == Carrier::Line => other.taken.push(span),
                // One that carries a figure already stays as that figure found it.
                carrier if other.taken.is_empty() => {
                    let rest = composed(&self.rows, carrier, &self.taken);
                    other.hit = rest.map_or_else(|| vec![0; other.hit.len()], |rest| rest.hit);
                }
                _ => {}
            }
        }
    }

    /// Whether a length neither divides the bar nor is a multiple of it.
    pub(super) fn crosses(&self, length: usize) -> bool {
        length > 0 && !self.bar.is_multiple_of(length) && !length.is_multiple_of(self.bar)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strokes_are_counted_the_same_row_by_row_and_side_by_side() {
        let hit: Vec<u8> = (0..70_000usize).map(|i| u8::from(i * i % 7 < 3)).collect();
        for (length, round) in [
            (1, 0),
            (3, 0),
            (7, 0),
            (64, 0),
            (128, 0),
            (5, 16),
            (11, 64),
            (16, 128),
        ] {
            for (from, to) in [(0, 70_000), (5, 1_000), (77, 40_003), (13, 540)] {
                let turn = Turn {
                    length,
                    origin: 9,
                    round,
                };
                let mut found = Tally::default();
                tally(&hit, (from, to), turn, &mut found);
                let mut plain = Tally::default();
                plain.clear(length);
                for (step, hit) in hit.iter().enumerate().take(to).skip(from) {
                    plain.struck[turn.phase(step)] += u32::from(*hit);
                    plain.seen[turn.phase(step)] += 1;
                }
                assert_eq!(found, plain, "{length} {round} {from} {to}");
            }
        }
    }
}
