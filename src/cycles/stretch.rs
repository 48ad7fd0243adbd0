//! Where a cycle begins and stops: stretches of steps on which "as one cycle ago", or a known figure, foretells more
//! than the density around or the bar does.
//!
//! Gains are summed step by step; the stretch with the largest sum is found in one pass (Bentley, CACM 27, 1984).

use super::code::Tally;
use super::price::Work;
use super::search::{Against, Candidate, Search};
use super::strokes::{Stream, Strokes, Turn, tally};

/// Gains are whole numbers of 1/256 bit, so that sums do not depend on their order.
const UNIT: i32 = 256;

/// A stretch is proposed when "as one cycle ago" gains this many bits on it.
const PROPOSE: i32 = 10 * UNIT;

/// Chance that a stroke comes again one cycle later, and that a stroke comes where none was.
const AGAIN: f64 = 0.8;
const ANEW: f64 = 0.12;

impl Search<'_> {
    /// What each step costs without the cycle. A cycle that the bar can tell as well, because it starts anew with the
    /// bar or turns with it, is sought against the density alone; its price is then taken against the bar.
    fn foretold(&self, turn: Turn) -> &[Vec<i32>] {
        let with_bar = turn.round > 0 || !self.strokes.crosses(turn.length);
        if with_bar { &self.near } else { &self.base }
    }

    /// The stretch of a stream on which "as one cycle ago" gains most.
    pub(super) fn propose(&self, index: usize, turn: Turn) -> Option<(usize, usize)> {
        let (stream, base) = (self.strokes.streams.get(index)?, self.foretold(turn).get(index)?);
        let costs = [bits(1.0 - ANEW), bits(1.0 - AGAIN), bits(ANEW), bits(AGAIN)];
        let (mut sum, mut start) = (0i32, self.strokes.whole.0);
        let mut best = (0i32, 0usize, 0usize);
        for (from, to, lag) in turn.looks_back(self.strokes.whole) {
            let then = &stream.hit[from - lag..to - lag];
            let now = stream.hit[from..to].iter().zip(then).zip(&base[from..to]);
            for (offset, ((&now, &then), &cost)) in now.enumerate() {
                sum += cost - costs[usize::from(now << 1 | then)];
                if sum <= 0 {
                    (sum, start) = (0, from + offset + 1);
                } else if sum > best.0 {
                    best = (sum, start, from + offset + 1);
                }
            }
        }
        let (gain, from, to) = best;
        let from = from.saturating_sub(turn.length).max(self.strokes.whole.0);
        (gain >= PROPOSE).then_some((from, to))
    }

    /// Moves the ends of a candidate's stretch to where its figure really begins and stops, while that saves bits.
    pub(super) fn refine(&self, candidate: Candidate, against: Against) -> Candidate {
        let mut work = Work::default();
        let mut best = candidate;
        for _ in 0..4 {
            let mut better = false;
            for span in [self.stretch(&best), self.strokes.whole] {
                if span == best.span || !self.lasts(best.turn, span) {
                    continue;
                }
                let next = self.explain(best.turn, span, against, &mut work);
                if next.bits > best.bits {
                    (best, better) = (next, true);
                }
            }
            if !better {
                break;
            }
        }
        best
    }

    /// The stretch on which the candidate's own figure, with its own rates, gains most over the density around.
    fn stretch(&self, candidate: &Candidate) -> (usize, usize) {
        let gains = self.gains(candidate);
        let (mut sum, mut start, mut best) = (0i32, 0, (0i32, candidate.span));
        for (step, gain) in gains.iter().enumerate() {
            sum += gain;
            if sum <= 0 {
                (sum, start) = (0, step + 1);
            } else if sum > best.0 {
                best = (sum, (start.max(self.strokes.whole.0), step + 1));
            }
        }
        best.1
    }

    /// Per step, what the candidate's figure gains over the density around it, in 1/256 bit.
    pub(super) fn gains(&self, candidate: &Candidate) -> Vec<i32> {
        let mut sums = vec![0i32; self.strokes.whole.1];
        for part in &candidate.parts {
            let stream = &self.strokes.streams[part.stream];
            let figure = self.figure(candidate, part.stream);
            let (on, off) = self.rates(candidate, &figure, &stream.hit);
            let costs = [bits(1.0 - off), bits(off), bits(1.0 - on), bits(on)];
            for (step, sum) in sums.iter_mut().enumerate() {
                let struck = usize::from(figure[candidate.turn.phase(step)]);
                *sum += self.foretold(candidate.turn)[part.stream][step]
                    - costs[struck << 1 | usize::from(stream.hit[step])];
            }
        }
        sums
    }

    /// Which phases of the candidate a stream strikes.
    pub(super) fn figure(&self, candidate: &Candidate, stream: usize) -> Vec<bool> {
        let mut counts = Tally::default();
        tally(
            &self.strokes.streams[stream].hit,
            candidate.span,
            candidate.turn,
            &mut counts,
        );
        self.codes.mask(&counts)
    }

    /// How often a stream strikes on the steps of its figure, and beside them.
    fn rates(&self, candidate: &Candidate, figure: &[bool], hit: &[u8]) -> (f64, f64) {
        let mut counts = [[0.5; 2]; 2];
        for step in candidate.span.0..candidate.span.1 {
            let struck = usize::from(figure[candidate.turn.phase(step)]);
            counts[struck][usize::from(hit[step] > 0)] += 1.0;
        }
        let rate = |[no, yes]: [f64; 2]| yes / (no + yes);
        (rate(counts[1]), rate(counts[0]))
    }
}

/// Bits of an outcome that had this chance, in 1/256 bit.
fn bits(chance: f64) -> i32 {
    (-chance.log2() * f64::from(UNIT)).round() as i32
}

/// What every step of a stream costs when foretold by the density of the four bars around it.
pub(super) fn near(stream: &Stream, strokes: &Strokes) -> Vec<i32> {
    let (from, to) = strokes.whole;
    let mut before = vec![0u32; to + 1];
    for step in 0..to {
        before[step + 1] = before[step] + u32::from(stream.hit[step]);
    }
    let cost = |step: usize| {
        let (a, b) = (
            step.saturating_sub(2 * strokes.bar).max(from),
            (step + 2 * strokes.bar).min(to),
        );
        expect(
            before[b].saturating_sub(before[a]),
            b.saturating_sub(a) as u32,
            stream.hit[step],
        )
    };
    (0..to).map(cost).collect()
}

/// The same, or what it costs when foretold by the bar's own steps, whichever foretells the whole stream better.
pub(super) fn base(stream: &Stream, strokes: &Strokes, near: &[i32]) -> Vec<i32> {
    let (from, to) = strokes.whole;
    let mut by_bar = Tally::default();
    tally(&stream.hit, strokes.whole, Turn::free(strokes.bar), &mut by_bar);
    let barred: Vec<i32> = (0..to)
        .map(|step| {
            let phase = step % strokes.bar;
            expect(by_bar.struck[phase], by_bar.seen[phase], stream.hit[step])
        })
        .collect();
    let total = |costs: &[i32]| costs.iter().skip(from).map(|c| i64::from(*c)).sum::<i64>();
    // A rate per step of the bar is learned from the same strokes: half a bit per doubling of the bars each.
    let bars = ((to - from) as f64 / strokes.bar as f64).max(2.0);
    let learned = (0.5 * bars.log2() * strokes.bar as f64 * f64::from(UNIT)) as i64;
    if total(&barred) + learned < total(near) {
        barred
    } else {
        near.to_vec()
    }
}

/// What a step costs, struck or not, where `struck` of `seen` such steps are struck.
fn expect(struck: u32, seen: u32, hit: u8) -> i32 {
    let rate = ((f64::from(struck) + 0.5) / (f64::from(seen) + 1.0)).clamp(0.02, 0.98);
    bits(if hit > 0 { rate } else { 1.0 - rate })
}
