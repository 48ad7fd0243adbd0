//! [`Strokes`] -> [`Candidate`]s: for each length, the stretch and the streams that a cycle of that length explains best.
//!
//! Two steps. First, stretches are proposed: per stream and length, the stretch in which "struck now as one cycle
//! ago" beats what the bar and the density around tell, summed step by step (the largest sum of a run of numbers,
//! Bentley, CACM 27, 1984). Then each proposed stretch is priced whole: bits of the best account that turns with the
//! bar, less the bits of the cycle, less the price of saying which length, which stretch and which voices.

use std::collections::HashMap;

use rayon::prelude::*;

use super::code::{Codes, Tally};
use super::strokes::{Stream, Strokes, Turn, tally};

/// A cycle comes round at least this often, and lasts at least as many bars.
pub(super) const LEAST: usize = 4;

/// The longest cycle searched, in steps.
const LONGEST: usize = 64;

/// Rounds, in bars, after which a resolved cycle may start anew.
const ROUNDS: [usize; 3] = [1, 2, 4];

/// A stretch is proposed when "as one cycle ago" gains this many bits on it.
const PROPOSE: i32 = 10 * UNIT;

/// A stream carries a figure when it strikes at least this share of the figure's steps; less is an echo of one, such
/// as the strokes of a ride bell that were taken for the bow.
const MOSTLY: f64 = 0.5;

/// Gains are whole numbers of 1/256 bit, so that sums do not depend on their order.
const UNIT: i32 = 256;

/// Chance that a stroke comes again one cycle later, and that a stroke comes where none was.
const AGAIN: f64 = 0.8;
const ANEW: f64 = 0.12;

/// A stream that a cycle explains, and the bits it saves there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Part {
    /// Index of the stream.
    pub(super) stream: usize,
    /// Bits saved, this stream's own price paid.
    pub(super) bits: f64,
}

/// A cycle over a stretch of steps with the streams it explains.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Candidate {
    /// Length and starts.
    pub(super) turn: Turn,
    /// First step and the step after the last.
    pub(super) span: (usize, usize),
    /// The streams that save bits, most first.
    pub(super) parts: Vec<Part>,
    /// Bits saved in all, all prices paid; negative when nothing is explained.
    pub(super) bits: f64,
}

/// Against what a cycle is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Against {
    /// The best account that turns with the bar: for cycles that cross it.
    Bar,
    /// An even density: for figures that turn with the bar themselves.
    Density,
}

/// What a search needs at hand.
pub(super) struct Search<'a> {
    strokes: &'a Strokes,
    codes: Codes,
    /// Per stream, what each step gains at least when the local density and the bar foretell it, in 1/256 bit.
    base: Vec<Vec<i32>>,
    /// The same when only the local density foretells it.
    near: Vec<Vec<i32>>,
    /// Lengths that turn with the bar: its divisors, itself, two and four bars.
    locked: Vec<usize>,
}

impl<'a> Search<'a> {
    /// Prepares tables for one recording.
    pub(super) fn new(strokes: &'a Strokes) -> Self {
        let bar = strokes.bar;
        let mut locked: Vec<usize> = (1..=bar).filter(|d| bar.is_multiple_of(*d)).collect();
        locked.extend([2 * bar, 4 * bar]);
        let near: Vec<Vec<i32>> = strokes.streams.iter().map(|s| near(s, strokes)).collect();
        let base = strokes
            .streams
            .iter()
            .zip(&near)
            .map(|(s, near)| base(s, strokes, near));
        Search {
            strokes,
            codes: Codes::new((strokes.whole.1 + bar).max(4 * bar).max(LONGEST)),
            base: base.collect(),
            near,
            locked,
        }
    }

    /// The same for other strokes of no more steps, for pricing alone: nothing is proposed from it.
    pub(super) fn pricing<'b>(&self, strokes: &'b Strokes) -> Search<'b> {
        Search {
            strokes,
            codes: self.codes.clone(),
            base: Vec::new(),
            near: Vec::new(),
            locked: self.locked.clone(),
        }
    }

    /// The most that any cycle like `turn` saves on `span`: of any length, with the same rounds.
    pub(super) fn most(&self, turn: Turn, span: (usize, usize), against: Against) -> f64 {
        let mut work = Work::default();
        let fits = |l: &usize| match against {
            Against::Density => !self.strokes.crosses(*l),
            Against::Bar => self.fits(*l, turn.round),
        };
        (2..=(span.1.saturating_sub(span.0) / LEAST).min(LONGEST))
            .filter(fits)
            .map(|length| {
                self.explain(Turn { length, ..turn }, span, against, &mut work)
                    .bits
            })
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// Every length worth trying, rising.
    pub(super) fn lengths(&self) -> std::ops::RangeInclusive<usize> {
        let (from, to) = self.strokes.whole;
        2..=((to - from) / LEAST).min(LONGEST)
    }

    /// The best candidate of a freely running cycle of each length that crosses the bar.
    pub(super) fn free(&self) -> Vec<Candidate> {
        let crossing = self.lengths().filter(|l| self.fits(*l, 0));
        self.all(crossing.map(Turn::free).collect(), Against::Bar)
    }

    /// The best candidate of each length that turns with the bar.
    pub(super) fn with_the_bar(&self, against: Against) -> Vec<Candidate> {
        let locked = self.lengths().filter(|l| !self.strokes.crosses(*l));
        self.all(locked.map(Turn::free).collect(), against)
    }

    /// The best candidate of each length that crosses the bar and starts anew after a round of bars.
    pub(super) fn resolved(&self) -> Vec<Candidate> {
        let mut turns = Vec::new();
        for bars in ROUNDS {
            let round = bars * self.strokes.bar;
            for length in self.lengths().filter(|l| self.fits(*l, round)) {
                turns.extend((0..bars).map(|b| Turn {
                    length,
                    origin: b * self.strokes.bar,
                    round,
                }));
            }
        }
        self.all(turns, Against::Bar)
    }

    /// The best candidate of each turn.
    fn all(&self, turns: Vec<Turn>, against: Against) -> Vec<Candidate> {
        let found: Vec<Option<Candidate>> = turns
            .par_iter()
            .map_init(Work::default, |work, turn| self.best(*turn, against, work))
            .collect();
        found.into_iter().flatten().collect()
    }

    /// The stretch on which this turn saves most; `None` when no stretch is long enough.
    fn best(&self, turn: Turn, against: Against, work: &mut Work) -> Option<Candidate> {
        let mut spans = vec![self.strokes.whole];
        for (index, stream) in self.strokes.streams.iter().enumerate() {
            // Resolved cycles have many more turns to try, so only single voices propose stretches for them.
            if turn.round == 0 || stream.voices.len() == 1 {
                spans.extend(self.propose(index, turn));
            }
        }
        let mut tried: Vec<(usize, usize)> = Vec::new();
        let mut best: Option<Candidate> = None;
        for span in spans {
            if tried.contains(&span) || !self.lasts(turn, span) {
                continue;
            }
            tried.push(span);
            let candidate = self.explain(turn, span, against, work);
            if best.as_ref().is_none_or(|b| candidate.bits > b.bits) {
                best = Some(candidate);
            }
        }
        best
    }

    /// Whether a stretch holds enough repeats and bars to be called an ostinato.
    pub(super) fn lasts(&self, turn: Turn, (from, to): (usize, usize)) -> bool {
        let steps = to.saturating_sub(from);
        // The last repeat may stop on its last note, a little before its own end.
        let slack = turn.length.min(self.strokes.bar) / 4;
        let least = (LEAST * turn.length)
            .max(LEAST * self.strokes.bar)
            .max(2 * turn.round);
        steps + slack >= least
    }

    /// What each step costs without the cycle. A cycle that the bar can tell as well, because it starts anew with the
    /// bar or turns with it, is sought against the density alone; its price is then taken against the bar.
    fn foretold(&self, turn: Turn) -> &[Vec<i32>] {
        let with_bar = turn.round > 0 || !self.strokes.crosses(turn.length);
        if with_bar { &self.near } else { &self.base }
    }

    /// The stretch of a stream on which "as one cycle ago" gains most.
    fn propose(&self, index: usize, turn: Turn) -> Option<(usize, usize)> {
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

    /// Prices a cycle on a stretch: which streams it explains and how many bits that saves.
    pub(super) fn explain(
        &self,
        turn: Turn,
        span: (usize, usize),
        against: Against,
        work: &mut Work,
    ) -> Candidate {
        let price = ((self.strokes.streams.len() + 1) as f64).log2();
        let mut parts = Vec::new();
        for (index, stream) in self.strokes.streams.iter().enumerate() {
            if stream.is_taken(span.0, span.1) {
                continue;
            }
            tally(&stream.hit, span, turn, &mut work.cycle);
            let cycle = self.codes.bits(&work.cycle, &mut work.order);
            // No account to beat costs more than an even rate: most streams need no closer look.
            if self.codes.even(&work.cycle) + 2.0 <= cycle + price {
                continue;
            }
            let saved = self.account(index, span, against, work) - cycle - price;
            if saved > 0.0 && self.codes.struck_rate(&work.cycle, &mut work.order) >= MOSTLY {
                parts.push(Part {
                    stream: index,
                    bits: saved,
                });
            }
        }
        let parts = self.disjoint(parts);
        let bits = parts.iter().map(|p| p.bits).sum::<f64>() - self.price(turn, span, against);
        Candidate {
            turn,
            span,
            parts,
            bits,
        }
    }

    /// Bits of the account to beat for one stream.
    fn account(&self, index: usize, span: (usize, usize), against: Against, work: &mut Work) -> f64 {
        if let Some(bits) = work.known.get(&(index, span, against)) {
            return *bits;
        }
        let hit = &self.strokes.streams[index].hit;
        let mut least = f64::INFINITY;
        match against {
            Against::Density => {
                tally(hit, span, Turn::free(1), &mut work.bars);
                least = self.codes.bits(&work.bars, &mut work.order);
            }
            Against::Bar => {
                tally(hit, span, Turn::free(4 * self.strokes.bar), &mut work.bars);
                for &length in &self.locked {
                    work.bars.fold(length, &mut work.fold);
                    least = least.min(self.codes.bits(&work.fold, &mut work.order));
                }
            }
        }
        work.known.insert((index, span, against), least);
        least
    }

    /// Bits that a stream saves on its own over an even density, when it turns with the candidate.
    pub(super) fn regular(&self, candidate: &Candidate, stream: usize) -> f64 {
        let mut work = Work::default();
        tally(
            &self.strokes.streams[stream].hit,
            candidate.span,
            candidate.turn,
            &mut work.cycle,
        );
        self.codes.even(&work.cycle) - self.codes.bits(&work.cycle, &mut work.order)
    }

    /// Of streams that share voices, those that save most.
    fn disjoint(&self, mut parts: Vec<Part>) -> Vec<Part> {
        parts.sort_by(|a, b| b.bits.total_cmp(&a.bits));
        let mut kept: Vec<Part> = Vec::new();
        for part in parts {
            let voices = &self.strokes.streams[part.stream].voices;
            let clash = kept.iter().any(|k| {
                let other = &self.strokes.streams[k.stream].voices;
                voices.iter().any(|v| other.contains(v))
            });
            if !clash {
                kept.push(part);
            }
        }
        kept
    }

    /// Bits to say which length, whether and where it starts anew, and which stretch.
    fn price(&self, turn: Turn, span: (usize, usize), against: Against) -> f64 {
        let lengths = self.lengths().filter(|l| match against {
            Against::Density => !self.strokes.crosses(*l),
            Against::Bar => self.fits(*l, turn.round),
        });
        let length = (lengths.count().max(1) as f64).log2();
        let round = if turn.round == 0 {
            1.0
        } else {
            1.0 + ((ROUNDS.len() * (turn.round / self.strokes.bar)) as f64).log2()
        };
        let steps = (self.strokes.whole.1 - self.strokes.whole.0) as f64;
        let stretch = if span == self.strokes.whole {
            1.0
        } else {
            1.0 + 2.0 * steps.log2()
        };
        length + round + stretch
    }

    /// Whether a cycle of this length crosses the bar and, where it starts anew, does not fill its rounds anyway.
    /// Fewer than two whole cycles in a round are a phrase with a different end, not a figure that resolves.
    fn fits(&self, length: usize, round: usize) -> bool {
        let resolves = round == 0 || 2 * length <= round && !round.is_multiple_of(length);
        self.strokes.crosses(length) && resolves
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

/// Room that the search uses again and again.
#[derive(Debug, Default)]
pub(super) struct Work {
    cycle: Tally,
    bars: Tally,
    fold: Tally,
    order: Vec<u64>,
    known: HashMap<(usize, (usize, usize), Against), f64>,
}

/// Bits of an outcome that had this chance, in 1/256 bit.
fn bits(chance: f64) -> i32 {
    (-chance.log2() * f64::from(UNIT)).round() as i32
}

/// What every step of a stream costs when foretold by the density of the four bars around it.
fn near(stream: &Stream, strokes: &Strokes) -> Vec<i32> {
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
fn base(stream: &Stream, strokes: &Strokes, near: &[i32]) -> Vec<i32> {
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
