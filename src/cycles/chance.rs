//! How often shuffled music does as well as a candidate: a permutation test that leaves the bar its own regularity.
//!
//! A freely running cycle is compared with the same bars in other orders: every groove survives that, a cycle that
//! crosses the bar does not. A resolved cycle starts anew with the bars, so it is compared with bars whose beats are
//! put in another order and begun elsewhere, all bars alike. A figure that turns with the bar is compared with bars
//! whose steps are put in any order, a random solo of the same density. In every shuffle the best of all lengths and all voice
//! sets counts, so that having tried many is paid for.

use rayon::prelude::*;

use super::home;
use super::search::{Against, Candidate, Search};
use super::streams::Stream;
use super::strokes::{Strokes, Turn};
use crate::units::Steps;

/// Shuffles in any case; with 99 the smallest chance that can show is 0.01. Where none of them does as well, more follow
/// until the least that can show is reached, or one does (Besag & Clifford, "Sequential Monte Carlo p-values",
/// Biometrika 78, 1991).
const SHUFFLES: u64 = 99;

/// Steps times lengths times streams, up to which a shuffle is so quickly looked through that more can follow.
const QUICK: usize = 400_000;

/// Where more than these of the first few do as well, it is plain that the music is not rare.
const FEW: u64 = 19;
const ENOUGH_TO_TELL: f64 = 4.0;

/// Bars that are enough to tell: of a longer stretch the first so many are shuffled.
const MOST_BARS: usize = 64;

/// A short stretch is shuffled together with the bars around it, up to so many in all.
const FEWEST_BARS: usize = 16;

/// A cycle that comes home within so many bars makes a pattern of so many bars, and few orders of those differ: it is
/// compared like a resolved one, with the beats of the whole pattern in other orders.
const FEW_BARS: usize = 3;

/// The share of shuffles, the music itself counted as one, in which some cycle saves as much as this one does.
pub(super) fn chance(candidate: &Candidate, search: &Search, strokes: &Strokes, against: Against) -> f64 {
    let bar = strokes.bar;
    let nearest = |step: usize| (step + bar / 2) / bar;
    let first = nearest(candidate.span.0);
    let bars = nearest(candidate.span.1).saturating_sub(first).min(MOST_BARS);
    let (low, high) = (nearest(strokes.whole.0), nearest(strokes.whole.1));
    if bars < 2 || low > first || high < first + bars {
        return 1.0;
    }
    let around = FEWEST_BARS.saturating_sub(bars).max(bars.min(FEWEST_BARS));
    let (from, to) = (
        first.saturating_sub(around).max(low),
        (first + bars + around).min(high),
    );
    let window = cut(strokes, candidate.span, from * bar, to * bar);
    let slot = ((first - from) * bar, (first - from + bars) * bar);
    let turn = Turn {
        origin: if candidate.turn.round == 0 {
            0
        } else {
            let round = candidate.turn.round;
            (candidate.turn.origin + round - from * bar % round) % round
        },
        ..candidate.turn
    };
    let pattern = pattern(turn, bar);
    let own = search.pricing(&window).most(turn, slot, against);
    let as_good = |seeds: std::ops::Range<u64>| {
        let shuffles = seeds.into_par_iter().filter(|seed| {
            let mut random = Random(seed.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15));
            let order = match against {
                Against::Density => steps_shuffled(bar, to - from, &mut random),
                Against::Bar if pattern == 0 => bars_shuffled(bar, to - from, &mut random),
                Against::Bar => beats_shuffled(strokes.beat, pattern, window.whole.1, &mut random),
            };
            let shuffled = reorder(&window, &order);
            search.pricing(&shuffled).most(turn, slot, against) >= own
        });
        shuffles.count() as f64
    };
    let some = as_good(0..FEW);
    if some > ENOUGH_TO_TELL {
        return (some + 1.0) / (FEW as f64 + 1.0);
    }
    let some = some + as_good(FEW..SHUFFLES);
    let most = search.asked.shuffles;
    let work = window.whole.1 * search.lengths.len() * window.streams.len();
    if some > 0.0 || most <= SHUFFLES || work > QUICK {
        return (some + 1.0) / (SHUFFLES as f64 + 1.0);
    }
    (as_good(SHUFFLES..most) + 1.0) / (most as f64 + 1.0)
}

/// The steps of the pattern that a cycle makes with the bar, when it is one of few bars; 0 otherwise.
fn pattern(turn: Turn, bar: usize) -> usize {
    let (_, bars) = home(Steps(turn.length as i64), Steps(bar as i64));
    match (turn.round, bars as usize) {
        (0, bars) if bars > FEW_BARS => 0,
        (0, bars) => bars * bar,
        (round, _) => round,
    }
}

/// Whether a cycle makes a pattern of a few bars.
pub(super) fn is_pattern(turn: Turn, bar: usize) -> bool {
    pattern(turn, bar) > 0
}

/// The strokes between two steps, without the streams that an earlier figure explains.
fn cut(strokes: &Strokes, span: (usize, usize), from: usize, to: usize) -> Strokes {
    let streams = strokes.streams.iter().filter(|s| !s.is_taken(span.0, span.1));
    let streams = streams.map(|s| Stream {
        voices: s.voices.clone(),
        carrier: s.carrier,
        hit: (from..to)
            .map(|step| s.hit.get(step).copied().unwrap_or(0))
            .collect(),
        taken: Vec::new(),
    });
    strokes.with(streams.collect(), to - from)
}

/// All streams with their steps in this order.
fn reorder(strokes: &Strokes, order: &[usize]) -> Strokes {
    let streams = strokes.streams.iter().map(|s| Stream {
        voices: s.voices.clone(),
        carrier: s.carrier,
        hit: order
            .iter()
            .map(|step| s.hit.get(*step).copied().unwrap_or(0))
            .collect(),
        taken: Vec::new(),
    });
    strokes.with(streams.collect(), strokes.whole.1)
}

/// The steps of so many bars with the bars in another order.
fn bars_shuffled(bar: usize, bars: usize, random: &mut Random) -> Vec<usize> {
    let mut order: Vec<usize> = (0..bars).collect();
    random.shuffle(&mut order);
    order.into_iter().flat_map(|b| b * bar..(b + 1) * bar).collect()
}

/// The steps of so many bars with every bar's own in another order.
fn steps_shuffled(bar: usize, bars: usize, random: &mut Random) -> Vec<usize> {
    let shuffled = |first: usize| {
        let mut order: Vec<usize> = (first..first + bar).collect();
        random.shuffle(&mut order);
        order
    };
    (0..bars).map(|b| b * bar).flat_map(shuffled).collect()
}

/// The steps with the beats of every round in another order and begun elsewhere, all rounds alike.
fn beats_shuffled(beat: usize, round: usize, steps: usize, random: &mut Random) -> Vec<usize> {
    let mut beats: Vec<usize> = (0..round / beat.max(1)).collect();
    random.shuffle(&mut beats);
    let inside: Vec<usize> = beats.into_iter().flat_map(|b| b * beat..(b + 1) * beat).collect();
    let shift = random.below(inside.len().max(1));
    (0..steps)
        .map(|step| {
            let phase = step % round;
            let to = inside.get((phase + shift) % round).copied().unwrap_or(phase);
            step - phase + to
        })
        .collect()
}

/// A small generator of random numbers (splitmix64: Steele, Lea & Flood, OOPSLA 2014), so that a study is the same
/// every time.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number below `end`.
    fn below(&mut self, end: usize) -> usize {
        (self.next() % end.max(1) as u64) as usize
    }

    /// Fisher and Yates.
    fn shuffle(&mut self, items: &mut [usize]) {
        for last in (1..items.len()).rev() {
            items.swap(last, self.below(last + 1));
        }
    }
}
