//! [`Placed`] hits -> [`Strokes`]: for each stream of voices, which steps are struck.
//!
//! A stream is one voice, or several that an ear may mistake for one another taken as one. Step 0 is the first step
//! of the bar in which the first stroke lies.

use super::code::Tally;
use crate::grid::{Grid, Placed};
use crate::names::Voice;

/// More steps than hours of playing have: a grid that claims more is no grid.
const MOST_STEPS: i64 = 1 << 20;

/// More steps than any bar has.
const MOST_STEPS_IN_BAR: usize = 1024;

/// Fewer strokes than these repeat nothing four times.
const FEWEST_STROKES: usize = 4;

/// Voices that are easily taken for one another; each row may be heard as one stream.
const ALIKE: [&[Voice]; 7] = [
    &[Voice::Kick, Voice::KickLeft],
    &[Voice::Snare, Voice::Snare2, Voice::CrossStick],
    &[
        Voice::TomHigh,
        Voice::TomMid,
        Voice::TomLow,
        Voice::TomFloor,
        Voice::TomFloor2,
    ],
    &[Voice::HatClosed, Voice::HatOpen],
    &[Voice::HatClosed, Voice::HatOpen, Voice::HatFoot],
    &[Voice::Ride, Voice::RideBell, Voice::Cowbell],
    &[
        Voice::HatClosed,
        Voice::HatOpen,
        Voice::Ride,
        Voice::RideBell,
        Voice::Crash,
        Voice::Crash2,
        Voice::Splash,
        Voice::China,
        Voice::Cowbell,
    ],
];

/// Whether two voices are easily taken for one another.
pub(super) fn alike(a: Voice, b: Voice) -> bool {
    a == b || ALIKE.iter().any(|row| row.contains(&a) && row.contains(&b))
}

/// The steps that one voice, or several heard as one, are struck on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Stream {
    /// Its voices.
    pub(super) voices: Vec<Voice>,
    /// 1 on every step that is struck.
    pub(super) hit: Vec<u8>,
    /// Stretches that an earlier figure already explains.
    pub(super) taken: Vec<(usize, usize)>,
}

impl Stream {
    /// Whether a figure already explains more than a tenth of these steps.
    pub(super) fn is_taken(&self, from: usize, to: usize) -> bool {
        let covered: usize = self
            .taken
            .iter()
            .map(|&(a, b)| b.min(to).saturating_sub(a.max(from)))
            .sum();
        covered * 10 > to.saturating_sub(from)
    }
}

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
    single: Vec<(Voice, Vec<u8>)>,
}

impl Strokes {
    /// Lays the hits out; `None` when they or the grid give nothing to search.
    pub(super) fn new(placed: &[Placed], grid: &Grid) -> Option<Self> {
        let (bar, beat) = (grid.steps_per_bar() as usize, grid.steps_per_beat as usize);
        let low = placed.iter().map(|p| p.step.0).min()?;
        let high = placed.iter().map(|p| p.step.0).max()?;
        if bar == 0 || beat == 0 || bar > MOST_STEPS_IN_BAR || high.checked_sub(low)? >= MOST_STEPS {
            return None;
        }
        let first = low.checked_sub(low.rem_euclid(bar as i64))?;
        let whole = ((low - first) as usize, (high - first) as usize + 1);
        let mut single: Vec<(Voice, Vec<u8>)> = Vec::new();
        for p in placed {
            let step = (p.step.0 - first) as usize;
            let row = match single.iter().position(|(v, _)| *v == p.hit.voice) {
                Some(row) => row,
                None => {
                    single.push((p.hit.voice, vec![0; whole.1]));
                    single.len() - 1
                }
            };
            single[row].1[step] = 1;
        }
        single.sort_by_key(|(voice, _)| *voice);
        let mut streams: Vec<Stream> = single
            .iter()
            .map(|(voice, hit)| Stream {
                voices: vec![*voice],
                hit: hit.clone(),
                taken: Vec::new(),
            })
            .collect();
        let joined: Vec<Stream> = ALIKE.iter().filter_map(|row| join(&streams, row)).collect();
        for stream in joined {
            if streams.iter().all(|s| s.voices != stream.voices) {
                streams.push(stream);
            }
        }
        streams.retain(|s| s.hit.iter().filter(|h| **h > 0).count() >= FEWEST_STROKES);
        Some(Strokes {
            first,
            whole,
            bar,
            beat,
            streams,
            single,
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
            single: Vec::new(),
        }
    }

    /// Whether a voice is struck on a step.
    pub(super) fn strikes(&self, voice: Voice, step: usize) -> bool {
        let row = self.single.iter().find(|(v, _)| *v == voice);
        row.is_some_and(|(_, hit)| hit.get(step).is_some_and(|h| *h > 0))
    }

    /// Whether a voice that is easily taken for this one is struck on a step.
    pub(super) fn strikes_alike(&self, voice: Voice, step: usize) -> bool {
        let mut rows = self.single.iter().filter(|(v, _)| alike(*v, voice));
        rows.any(|(_, hit)| hit.get(step).is_some_and(|h| *h > 0))
    }

    /// A voice of this stream that is struck on this step.
    pub(super) fn voice_at(&self, stream: usize, step: usize) -> Option<Voice> {
        let voices = &self.streams.get(stream)?.voices;
        voices.iter().copied().find(|v| self.strikes(*v, step))
    }

    /// Whether a length neither divides the bar nor is a multiple of it.
    pub(super) fn crosses(&self, length: usize) -> bool {
        length > 0 && !self.bar.is_multiple_of(length) && !length.is_multiple_of(self.bar)
    }
}

/// Those streams of single voices that stand in `row` as one; `None` unless there are two or more.
fn join(streams: &[Stream], row: &[Voice]) -> Option<Stream> {
    let parts: Vec<&Stream> = streams
        .iter()
        .filter(|s| s.voices.iter().all(|v| row.contains(v)))
        .collect();
    let mut hit = parts.first()?.hit.clone();
    if parts.len() < 2 {
        return None;
    }
    for part in &parts[1..] {
        for (all, one) in hit.iter_mut().zip(&part.hit) {
            *all |= one;
        }
    }
    Some(Stream {
        voices: parts.iter().flat_map(|s| s.voices.clone()).collect(),
        hit,
        taken: Vec::new(),
    })
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
                for step in from..to {
                    plain.struck[turn.phase(step)] += u32::from(hit[step]);
                    plain.seen[turn.phase(step)] += 1;
                }
                assert_eq!(found, plain, "{length} {round} {from} {to}");
            }
        }
    }
}
