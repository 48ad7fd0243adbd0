//! [`Strokes`] -> [`Candidate`]s: for each length, the stretch and the streams that a cycle of that length explains best.
//!
//! Three steps for each length. Stretches are proposed in which the cycle seems to tell more than the bar and the
//! density around. Each is priced whole: bits of the best account that turns with the bar, less the bits of the cycle,
//! less the price of saying which length, which stretch and which voices. Then its ends are moved while that saves bits.

use rayon::prelude::*;

use super::Carrier;
use super::code::Codes;
use super::long::long;
use super::price::{Saved, Work};
use super::streams::Stream;
use super::stretch::{base, near, paid};
use super::strokes::{Strokes, Turn};

/// A cycle comes round at least this often, and lasts at least as many bars.
pub(super) const LEAST: usize = 4;

/// Every length up to this, in steps, is looked at closely; of longer ones those that promise something.
pub(super) const LONGEST: usize = 64;

/// Rounds, in bars, after which a resolved cycle may start anew.
pub(super) const ROUNDS: [usize; 3] = [1, 2, 4];

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

/// What is asked of a search besides its best guess.
#[derive(Debug, Clone, Copy)]
pub(super) struct Asked {
    /// A length that is tried in any case.
    pub(super) length: Option<usize>,
    /// Shuffles that a figure's chance is counted over at most.
    pub(super) shuffles: u64,
}

/// Which streams may carry a figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Among {
    /// Voices, and voices taken together.
    Voices,
    /// Accents alone and the whole line: asked once no voice has a figure of its own left.
    Composed,
    /// Both, in shuffles that pay for all that was tried.
    All,
}

/// What a search needs at hand.
pub(super) struct Search<'a> {
    pub(super) strokes: &'a Strokes,
    pub(super) among: Among,
    pub(super) asked: Asked,
    pub(super) codes: Codes,
    /// Per stream, what each step gains at least when the local density and the bar foretell it, in 1/256 bit.
    pub(super) base: Vec<Vec<i32>>,
    /// The same when only the local density foretells it.
    pub(super) near: Vec<Vec<i32>>,
    /// Both summed up to each step.
    pub(super) base_paid: Vec<Vec<i64>>,
    pub(super) near_paid: Vec<Vec<i64>>,
    /// Every length that is looked at closely, rising.
    pub(super) lengths: Vec<usize>,
    /// How many lengths there are beyond those that are all looked at closely.
    pub(super) longer: usize,
    /// Lengths that turn with the bar: its divisors, itself, two and four bars.
    pub(super) locked: Vec<usize>,
    /// How many lengths fit, against what and with which round.
    pub(super) counts: Vec<((Against, usize), usize)>,
}

impl<'a> Search<'a> {
    /// Prepares tables for one recording.
    pub(super) fn new(strokes: &'a Strokes, among: Among, asked: Asked) -> Self {
        let bar = strokes.bar;
        let (lengths, longer) = lengths(strokes, asked.length);
        let mut locked: Vec<usize> = (1..=bar).filter(|d| bar.is_multiple_of(*d)).collect();
        locked.extend([2 * bar, 4 * bar]);
        let near: Vec<Vec<i32>> = strokes.streams.iter().map(|s| near(s, strokes)).collect();
        let base = strokes
            .streams
            .iter()
            .zip(&near)
            .map(|(s, near)| base(s, strokes, near))
            .collect::<Vec<_>>();
        Search {
            strokes,
            among,
            asked,
            codes: Codes::new((strokes.whole.1 + bar).max(4 * bar).max(LONGEST)),
            lengths,
            longer,
            base_paid: base.iter().map(|costs| paid(costs)).collect(),
            near_paid: near.iter().map(|costs| paid(costs)).collect(),
            base,
            near,
            locked,
            counts: Vec::new(),
        }
        .counted()
    }

    /// The same for other strokes of no more steps, for pricing alone: nothing is proposed from it.
    pub(super) fn pricing<'b>(&self, strokes: &'b Strokes) -> Search<'b> {
        let (lengths, longer) = lengths(strokes, None);
        Search {
            strokes,
            among: match self.among {
                Among::Voices => Among::Voices,
                Among::Composed | Among::All => Among::All,
            },
            asked: self.asked,
            lengths,
            longer,
            codes: self.codes.clone(),
            base: Vec::new(),
            near: Vec::new(),
            base_paid: Vec::new(),
            near_paid: Vec::new(),
            locked: self.locked.clone(),
            counts: Vec::new(),
        }
        .counted()
    }

    /// The streams that are searched, with their indices.
    pub(super) fn streams(&self) -> impl Iterator<Item = (usize, &'a Stream)> {
        let among = self.among;
        self.strokes
            .streams
            .iter()
            .enumerate()
            .filter(move |(_, s)| match among {
                Among::Voices => s.carrier == Carrier::Voices,
                Among::Composed => s.carrier != Carrier::Voices,
                Among::All => true,
            })
    }

    /// The most that any cycle like `turn` saves on `span`: of any length, with the same rounds.
    pub(super) fn most(&self, turn: Turn, span: (usize, usize), against: Against) -> f64 {
        let mut work = Work::default();
        let fits = |l: &usize| match against {
            Against::Density => !self.strokes.crosses(*l),
            Against::Bar => self.fits(*l, turn.round),
        };
        let longest = span.1.saturating_sub(span.0) / LEAST;
        let lengths = self.lengths.iter().copied();
        lengths
            .filter(|l| *l <= longest && fits(l))
            .map(|length| {
                self.explain(Turn { length, ..turn }, span, against, &mut work)
                    .bits
            })
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// The best candidate of a freely running cycle of each length that crosses the bar.
    pub(super) fn free(&self, known: &mut Vec<Saved>) -> Vec<Candidate> {
        let crossing = self.lengths.iter().copied().filter(|l| self.fits(*l, 0));
        self.all(crossing.map(Turn::free).collect(), Against::Bar, known)
    }

    /// The best candidate of each length that turns with the bar.
    pub(super) fn with_the_bar(&self, against: Against) -> Vec<Candidate> {
        let locked = self.lengths.iter().copied().filter(|l| !self.strokes.crosses(*l));
        self.all(locked.map(Turn::free).collect(), against, &mut Vec::new())
    }

    /// The best candidate of each length that crosses the bar and starts anew after a round of bars.
    pub(super) fn resolved(&self, known: &mut Vec<Saved>) -> Vec<Candidate> {
        let mut turns = Vec::new();
        for bars in ROUNDS {
            let round = bars * self.strokes.bar;
            for length in self.lengths.iter().copied().filter(|l| self.fits(*l, round)) {
                turns.extend((0..bars).map(|b| Turn {
                    length,
                    origin: b * self.strokes.bar,
                    round,
                }));
            }
        }
        self.all(turns, Against::Bar, known)
    }

    /// The best candidate of each turn. What earlier searches of the same turns have priced is in `known`.
    fn all(&self, turns: Vec<Turn>, against: Against, known: &mut Vec<Saved>) -> Vec<Candidate> {
        known.resize_with(turns.len(), Saved::default);
        let found: Vec<Option<Candidate>> = turns
            .par_iter()
            .zip(known)
            .map_init(Work::default, |work, (turn, saved)| {
                self.best(*turn, against, work, saved)
            })
            .collect();
        found.into_iter().flatten().collect()
    }

    /// The stretch on which this turn saves most; `None` when no stretch is long enough or nothing is explained.
    fn best(&self, turn: Turn, against: Against, work: &mut Work, saved: &mut Saved) -> Option<Candidate> {
        work.forget();
        let mut spans = self.propose(turn);
        if !spans.is_empty() && !spans.contains(&self.strokes.whole) {
            spans.push(self.strokes.whole);
        }
        let mut best: Option<Candidate> = None;
        for span in spans {
            if !self.lasts(turn, span) {
                continue;
            }
            let first = self.explain_again(turn, span, against, work, saved);
            let candidate = self.refine_again(first, against, work, saved);
            let better = best.as_ref().is_none_or(|b| candidate.bits > b.bits);
            if better && !candidate.parts.is_empty() {
                best = Some(candidate);
            }
        }
        best
    }

    /// The fewest steps that an ostinato of this turn lasts.
    pub(super) fn least(&self, turn: Turn) -> usize {
        (LEAST * turn.length)
            .max(LEAST * self.strokes.bar)
            .max(2 * turn.round)
    }

    /// The last repeat may stop on its last note, a little before its own end.
    pub(super) fn slack(&self, turn: Turn) -> usize {
        turn.length.min(self.strokes.bar) / 4
    }

    /// Whether a stretch holds enough repeats and bars to be called an ostinato.
    pub(super) fn lasts(&self, turn: Turn, (from, to): (usize, usize)) -> bool {
        to.saturating_sub(from) + self.slack(turn) >= self.least(turn)
    }

    /// Whether a cycle of this length crosses the bar and, where it starts anew, does not fill its rounds anyway.
    /// Fewer than two whole cycles in a round are a phrase with a different end, not a figure that resolves.
    pub(super) fn fits(&self, length: usize, round: usize) -> bool {
        let resolves = round == 0 || 2 * length <= round && !round.is_multiple_of(length);
        self.strokes.crosses(length) && resolves
    }
}

/// Every length worth a close look, rising, the one that was asked for among them; and how many more there are.
fn lengths(strokes: &Strokes, asked: Option<usize>) -> (Vec<usize>, usize) {
    let most = (strokes.whole.1 - strokes.whole.0) / LEAST;
    let (longer, count) = long(strokes);
    let mut lengths: Vec<usize> = (2..=most.min(LONGEST)).chain(longer).collect();
    lengths.extend(asked.filter(|l| (2..=most).contains(l)));
    lengths.sort_unstable();
    lengths.dedup();
    (lengths, count)
}
