//! Where a cycle begins and stops: stretches of steps on which "as one cycle ago", or a known figure, foretells more
//! than the density around or the bar does.
//!
//! Stretches are proposed by counting phases in blocks and adding blocks up; the ends of one are then moved to the
//! largest sum of what a figure gains step by step, found in one pass (Bentley, CACM 27, 1984).

use super::code::{Room, Tally};
use super::price::{Saved, Work};
use super::search::{Against, Candidate, Search};
use super::streams::Stream;
use super::strokes::{Strokes, Turn, tally};

/// Gains are whole numbers of 1/256 bit, so that sums do not depend on their order.
const UNIT: i32 = 256;

/// Stretches begin at every quarter of their length.
const QUARTERS: usize = 4;

/// Bits that a stretch of a resolved cycle must seem to gain.
const PROMISING: f64 = 8.0;

/// A figure begins and ends with the music unless so much speaks against it, in 1/256 bit.
const SETTLED: i64 = 3 * 256;

/// Stretches of one turn that are looked at closely.
const TRIED: usize = 3;

/// Strokes on each phase up to the end of every block, one block's phases after the other's.
pub(super) struct Rows {
    length: usize,
    struck: Vec<u32>,
    seen: Vec<u32>,
}

impl Rows {
    /// For each phase how often it was struck, and how often it came by, from the start of block `from` to the start of
    /// block `to`.
    pub(super) fn between(&self, from: usize, to: usize) -> impl Iterator<Item = (u32, u32)> {
        let part = |block: usize| block * self.length..(block + 1) * self.length;
        let (low, high) = (part(from), part(to));
        let struck = self.struck[high.clone()].iter().zip(&self.struck[low.clone()]);
        let seen = self.seen[high].iter().zip(&self.seen[low]);
        struck.zip(seen).map(|((b, a), (d, c))| (b - a, d - c))
    }
}

impl Search<'_> {
    /// What each step costs without the cycle. A cycle that the bar can tell as well, because it starts anew with the
    /// bar or turns with it, is sought against the density alone; its price is then taken against the bar.
    fn foretold(&self, turn: Turn) -> &[Vec<i32>] {
        if self.with_bar(turn) {
            &self.near
        } else {
            &self.base
        }
    }

    /// The same, summed up to each step.
    fn paid(&self, turn: Turn) -> &[Vec<i64>] {
        if self.with_bar(turn) {
            &self.near_paid
        } else {
            &self.base_paid
        }
    }

    fn with_bar(&self, turn: Turn) -> bool {
        turn.round > 0 || !self.strokes.crosses(turn.length)
    }

    /// The stretches on which a cycle of this turn seems to gain most: the best of each length from the shortest that
    /// an ostinato lasts to twice, four times as long and so on, begun at every quarter of it.
    pub(super) fn propose(&self, turn: Turn) -> Vec<(usize, usize)> {
        let (from, to) = self.strokes.whole;
        let block = self.least(turn).div_ceil(QUARTERS).max(1);
        let blocks = (to - from).div_ceil(block);
        let sizes: Vec<usize> = std::iter::successors(Some(QUARTERS), |size| Some(2 * size))
            .take_while(|size| *size < 2 * blocks)
            .collect();
        let starts = |size: usize| (0..=blocks.saturating_sub(size)).step_by((size / QUARTERS).max(1));
        let mut gains: Vec<Vec<f64>> = sizes.iter().map(|s| vec![0.0; starts(*s).count()]).collect();
        let price = self.stream_price();
        for (index, stream) in self.streams() {
            if stream.voices.len() > 1 && turn.round > 0 {
                continue;
            }
            let edge = |block_at: usize| (from + block_at * block).min(to);
            let rows = self.rows(&stream.hit, turn, blocks, &edge);
            let paid = &self.paid(turn)[index];
            for (size, gains) in sizes.iter().zip(&mut gains) {
                for (start, gain) in starts(*size).zip(gains) {
                    let (a, b) = (start, (start + size).min(blocks));
                    let (low, high) = (edge(a), edge(b));
                    if stream.is_taken(low, high) {
                        continue;
                    }
                    let foretold = (paid[high] - paid[low]) as f64 / f64::from(UNIT);
                    // Where the steps cost next to nothing there is nothing to gain.
                    if foretold > price {
                        let cycle = self.codes.quick_of(rows.between(a, b));
                        *gain += (foretold - cycle - price).max(0.0);
                    }
                }
            }
        }
        let mut best: Vec<(f64, (usize, usize))> = Vec::new();
        for (size, gains) in sizes.iter().zip(&gains) {
            let top = starts(*size)
                .zip(gains)
                .max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0)));
            if let Some((start, gain)) = top {
                let edge = |block_at: usize| (from + block_at * block).min(to);
                best.push((*gain, (edge(start), edge((start + size).min(blocks)))));
            }
        }
        best.sort_by(|a, b| b.0.total_cmp(&a.0));
        // Resolved cycles have many more turns to try: only what promises something is looked at.
        best.retain(|(gain, _)| turn.round == 0 || *gain > PROMISING);
        best.into_iter().take(TRIED).map(|(_, span)| span).collect()
    }

    /// Strokes on each phase, counted up to the end of every block of steps.
    pub(super) fn rows(&self, hit: &[u8], turn: Turn, blocks: usize, edge: &dyn Fn(usize) -> usize) -> Rows {
        let mut rows = Rows {
            length: turn.length,
            struck: vec![0; turn.length],
            seen: vec![0; turn.length],
        };
        let mut block = Tally::default();
        let whole = (blocks + 1) * turn.length;
        rows.struck.reserve_exact(whole - turn.length);
        rows.seen.reserve_exact(whole - turn.length);
        for at in 0..blocks {
            tally(hit, (edge(at), edge(at + 1)), turn, &mut block);
            let start = at * turn.length;
            for (sums, more) in [(&mut rows.struck, &block.struck), (&mut rows.seen, &block.seen)] {
                sums.extend_from_within(start..);
                let row = sums.iter_mut().skip(start + turn.length);
                row.zip(more).for_each(|(sum, more)| *sum += more);
            }
        }
        rows
    }

    /// Moves the ends of a candidate's stretch to where its figure really begins and stops, while that saves bits.
    pub(super) fn refine(&self, candidate: Candidate, against: Against, work: &mut Work) -> Candidate {
        self.refine_again(candidate, against, work, &mut Saved::default())
    }

    /// The same for a turn of which some stretches were priced before.
    pub(super) fn refine_again(
        &self,
        candidate: Candidate,
        against: Against,
        work: &mut Work,
        saved: &mut Saved,
    ) -> Candidate {
        let mut best = candidate;
        for _ in 0..4 {
            let span = self.stretch(&best, self.inside());
            if span == best.span || !self.lasts(best.turn, span) {
                break;
            }
            let next = self.explain_again(best.turn, span, against, work, saved);
            if next.bits <= best.bits {
                break;
            }
            best = next;
        }
        best
    }

    /// Moves the ends of a candidate's stretch to where its figure most probably begins and stops. What the candidate
    /// saves stays what it was: saying the ends is paid for there already.
    pub(super) fn settle(&self, candidate: Candidate) -> Candidate {
        let span = self.stretch(&candidate, SETTLED);
        if self.lasts(candidate.turn, span) {
            Candidate { span, ..candidate }
        } else {
            candidate
        }
    }

    /// What it costs to say that an end is not that of the music, in 1/256 bit.
    fn inside(&self) -> i64 {
        let (from, to) = self.strokes.whole;
        (((to - from).max(1) as f64).log2() * f64::from(UNIT)) as i64
    }

    /// The stretch on which the candidate's own figure, with its own rates, gains most over the density around, of
    /// those that last long enough; an end inside the music costs so much.
    fn stretch(&self, candidate: &Candidate, inside: i64) -> (usize, usize) {
        let gains = self.gains(candidate);
        let (from, to) = self.strokes.whole;
        let least = self
            .least(candidate.turn)
            .saturating_sub(self.slack(candidate.turn))
            .max(1);
        let sums: Vec<i64> = std::iter::once(0)
            .chain(gains.iter().scan(0i64, |sum, gain| {
                *sum += i64::from(*gain);
                Some(*sum)
            }))
            .collect();
        let paid = |start: usize| sums[start] + if start > from { inside } else { 0 };
        let (mut low, mut best) = (from, (i64::MIN, candidate.span));
        for (end, sum) in sums.iter().enumerate().skip(from + least) {
            let start = end - least;
            if paid(start) < paid(low) {
                low = start;
            }
            let gain = sum - paid(low) - if end < to { inside } else { 0 };
            if gain > best.0 {
                best = (gain, (low, end));
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
        self.codes.mask(&counts, &mut Room::default())
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

/// Costs summed up to each step, the first sum being nothing.
pub(super) fn paid(costs: &[i32]) -> Vec<i64> {
    let mut sums = vec![0i64];
    for cost in costs {
        sums.push(sums.last().copied().unwrap_or(0) + i64::from(*cost));
    }
    sums
}
