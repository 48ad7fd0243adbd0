//! Prices in bits: what it costs to write down which steps of a voice are struck.
//!
//! In: how often each phase of a length was struck and how often it came by. Out: bits. Two codes compete, and the
//! cheaper one counts: a rate of its own for every phase, learned on the way (Krichevsky & Trofimov, IEEE Trans.
//! Inform. Theory 27, 1981), or a figure, whose phases are struck at one rate and the others at another, the rates said
//! first. Which phases they are nobody knows, so every figure has its share in the second code's probability (a
//! Bayesian mixture; Rissanen, Automatica 14, 1978). Phases are independent once the rates are said, so the sum over
//! all figures is a product over phases: no search, nothing missed.

use std::sync::{Arc, LazyLock};

use pulp::{Arch, Simd, WithSimd};

/// How often the phases of some length were struck.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Tally {
    /// Strokes on each phase.
    pub(super) struck: Vec<u32>,
    /// How often each phase came by.
    pub(super) seen: Vec<u32>,
}

impl Tally {
    /// No phases struck yet.
    pub(super) fn clear(&mut self, length: usize) {
        self.struck.clear();
        self.struck.resize(length, 0);
        self.seen.clear();
        self.seen.resize(length, 0);
    }

    /// The same strokes counted over a length that divides this one.
    pub(super) fn fold(&self, length: usize, into: &mut Tally) {
        into.clear(length);
        for (phase, (&struck, &seen)) in self.struck.iter().zip(&self.seen).enumerate() {
            into.struck[phase % length] += struck;
            into.seen[phase % length] += seen;
        }
    }

    /// How many phases there are of each kind: struck so often of so many times.
    fn kinds(&self, into: &mut Vec<(u32, u32, f64)>) {
        into.clear();
        for (&struck, &seen) in self.struck.iter().zip(&self.seen) {
            match into.iter_mut().find(|k| k.0 == struck && k.1 == seen) {
                Some(kind) => kind.2 += 1.0,
                None => into.push((struck, seen, 1.0)),
            }
        }
    }
}

/// Rates at which the phases of a figure, and those beside it, may be struck; close together where a little matters.
pub(super) const RATES: [f64; 10] = [0.01, 0.04, 0.1, 0.19, 0.32, 0.5, 0.7, 0.86, 0.95, 0.99];

/// Shares of its phases that a figure may strike.
pub(super) const SHARES: [f64; 2] = [0.25, 0.6];

/// Pairs of rates with a share.
const WAYS: usize = RATES.len() * (RATES.len() - 1) / 2 * SHARES.len();

/// One way to play a figure: logarithms of its two rates, of resting at them, and of its share.
#[derive(Debug, Clone, Copy)]
struct Way {
    /// log2 of being struck, of not being struck, and of being such a phase: on the figure, beside it.
    on: [f64; 3],
    off: [f64; 3],
}

impl Way {
    /// log2 of the probabilities of `struck` in `seen` when the phase is the figure's, and when it is not.
    fn both(&self, struck: u32, seen: u32) -> (f64, f64) {
        let (k, rest) = (f64::from(struck), f64::from(seen - struck));
        let of = |[yes, no, share]: [f64; 3]| share + k * yes + rest * no;
        (of(self.on), of(self.off))
    }

    /// log2 of the probability of `struck` in `seen`, whichever the phase is.
    fn either(&self, struck: u32, seen: u32) -> f64 {
        let (on, off) = self.both(struck, seen);
        let (more, less) = if on > off { (on, off) } else { (off, on) };
        // Beyond this the smaller one is lost in rounding.
        if more - less > 34.0 {
            more
        } else {
            more + (1.0 + (less - more).exp2()).log2()
        }
    }
}

/// Repeats for which every price is kept ready.
const READY: usize = 48;

/// Bits that sums of bits may be off by rounding, at most.
const ROUNDING: f64 = 0.01;

struct Ready {
    ways: Vec<Way>,
    /// The six logarithms of every way, those of one kind side by side.
    logs: [[f64; WAYS]; 6],
    /// Prices of k strokes in n by every way, for n up to [`READY`], one after the other.
    prices: Vec<f64>,
}

impl Ready {
    /// Prices of `struck` in `seen` by every way, where they are kept.
    #[inline(always)]
    fn row(&self, struck: u32, seen: u32) -> Option<&[f64]> {
        let index = (seen as usize * (seen as usize + 1) / 2 + struck as usize) * WAYS;
        self.prices
            .get(index..index + WAYS)
            .filter(|_| seen as usize <= READY)
    }

    /// What the kinds cost by one way.
    #[inline(always)]
    fn cost(&self, way: usize, kinds: &[(u32, u32, f64)]) -> f64 {
        kinds.iter().fold(0.0, |sum, &(struck, seen, count)| {
            let price = match self.row(struck, seen) {
                Some(row) => row[way],
                None => self.ways[way].either(struck, seen),
            };
            sum - count * price
        })
    }
}

static READY_PRICES: LazyLock<Ready> = LazyLock::new(|| {
    let mut ways = Vec::with_capacity(WAYS);
    for (at, off) in RATES.iter().enumerate() {
        for on in &RATES[at + 1..] {
            for share in SHARES {
                ways.push(Way {
                    on: [on.log2(), (1.0 - on).log2(), share.log2()],
                    off: [off.log2(), (1.0 - off).log2(), (1.0 - share).log2()],
                });
            }
        }
    }
    let kinds = (0..=READY as u32).flat_map(|n| (0..=n).map(move |k| (k, n)));
    let prices = kinds.flat_map(|(k, n)| ways.iter().map(move |w| w.either(k, n)).collect::<Vec<_>>());
    let log = |which: usize| -> [f64; WAYS] {
        std::array::from_fn(|way| match which {
            0..3 => ways[way].on[which],
            _ => ways[way].off[which - 3],
        })
    };
    Ready {
        prices: prices.collect(),
        logs: std::array::from_fn(log),
        ways: ways.clone(),
    }
});

/// Adds what `count` phases of one kind cost by every way, or at most: the likelier of figure and rest alone, where
/// both together are no table's. Gives by how many bits at most that is too much.
#[inline(always)]
fn add(costs: &mut [f64; WAYS], ready: &Ready, (struck, seen, count): (u32, u32, f64)) -> f64 {
    if let Some(row) = ready.row(struck, seen) {
        costs
            .iter_mut()
            .zip(row)
            .for_each(|(sum, cost)| *sum -= count * cost);
        return 0.0;
    }
    let (k, rest) = (f64::from(struck), f64::from(seen - struck));
    let [yes, no, share, yes_off, no_off, share_off] = &ready.logs;
    for way in 0..WAYS {
        let on = share[way] + k * yes[way] + rest * no[way];
        let off = share_off[way] + k * yes_off[way] + rest * no_off[way];
        costs[way] -= count * if on > off { on } else { off };
    }
    count
}

/// Room that prices are worked out in.
#[derive(Debug, Clone, Default)]
pub(super) struct Room {
    kinds: Vec<(u32, u32, f64)>,
    costs: Vec<f64>,
}

/// Phases that are struck so often, in halves of how often they come by and counted so many times, are the figure's.
const PARTS: [i32; 3] = [3, 5, 8];

/// Phases, strokes and how often they came by: all of them, and those that are the figure's by each of [`PARTS`].
#[derive(Default)]
struct Counts {
    phases: i32,
    all: i32,
    seen: i32,
    on: [i32; 3],
    on_seen: [i32; 3],
    notes: [i32; 3],
}

/// Counts phases that are struck so often of so many times, with the widest instructions that there are.
struct Counting<I>(I);

impl<I: Iterator<Item = (u32, u32)>> WithSimd for Counting<I> {
    type Output = Counts;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> Counts {
        let mut counts = Counts::default();
        for (k, n) in self.0 {
            let (k, n) = (k as i32, n as i32);
            counts.phases += 1;
            counts.all += k;
            counts.seen += n;
            for (at, part) in PARTS.iter().enumerate() {
                // All ones or none, without a branch, so that many phases are looked at in one instruction.
                let struck = -(i32::from(part * k >= 2 * n) & i32::from(n > 0));
                counts.on[at] += struck & k;
                counts.on_seen[at] += struck & n;
                counts.notes[at] -= struck;
            }
        }
        counts
    }
}

/// Tables for code lengths of up to a fixed number of steps.
#[derive(Debug, Clone)]
pub(super) struct Codes {
    /// log2 of Γ(k + 1/2) / Γ(1/2).
    half: Arc<[f64]>,
    /// log2 of k!.
    whole: Arc<[f64]>,
}

impl Codes {
    /// Tables that serve any stretch of up to `steps` steps.
    pub(super) fn new(steps: usize) -> Self {
        let (mut half, mut whole) = (vec![0.0; steps + 2], vec![0.0; steps + 2]);
        for k in 1..steps + 2 {
            half[k] = half[k - 1] + (k as f64 - 0.5).log2();
            whole[k] = whole[k - 1] + (k as f64).log2();
        }
        Codes {
            half: half.into(),
            whole: whole.into(),
        }
    }

    /// Bits for a row of `seen` steps of which `struck` are struck, at a rate learned on the way.
    pub(super) fn rate(&self, struck: u32, seen: u32) -> f64 {
        let (struck, seen) = (struck as usize, seen as usize);
        self.whole[seen] - self.half[struck] - self.half[seen - struck]
    }

    /// Bits for all strokes of a tally by the cheaper of the two codes.
    pub(super) fn bits(&self, tally: &Tally, room: &mut Room) -> f64 {
        let each: f64 = tally
            .struck
            .iter()
            .zip(&tally.seen)
            .map(|(&k, &n)| self.rate(k, n))
            .sum();
        each.min(self.figure(tally, room)) + 1.0
    }

    /// About the same, for proposals: the likeliest figure written out, phases of a third or more being struck.
    pub(super) fn quick(&self, tally: &Tally) -> f64 {
        let phases = tally.struck.iter().zip(&tally.seen);
        self.quick_of(phases.map(|(&k, &n)| (k, n)))
    }

    /// The same for phases struck so often of so many times.
    pub(super) fn quick_of(&self, tally: impl Iterator<Item = (u32, u32)>) -> f64 {
        let Counts {
            phases,
            all,
            seen,
            on,
            on_seen,
            notes,
        } = Arch::new().dispatch(Counting(tally));
        let whole = |count: i32| self.whole[count as usize];
        let rate = |struck: i32, seen: i32| self.rate(struck as u32, seen as u32);
        let least = (0..PARTS.len()).map(|at| {
            whole(phases) - whole(notes[at]) - whole(phases - notes[at])
                + rate(on[at], on_seen[at])
                + rate(all - on[at], seen - on_seen[at])
        });
        least.fold(f64::INFINITY, f64::min) + 2.0
    }

    /// Bits for all strokes of a tally when every phase is struck at the same rate.
    pub(super) fn even(&self, tally: &Tally) -> f64 {
        self.rate(tally.struck.iter().sum(), tally.seen.iter().sum())
    }

    /// Bits by every figure, played the way that costs least, that way being said first.
    fn figure(&self, tally: &Tally, room: &mut Room) -> f64 {
        weigh(tally, room);
        room.costs.iter().copied().fold(f64::INFINITY, f64::min) + (WAYS as f64).log2()
    }

    /// The figure that explains a tally best: which phases are struck.
    pub(super) fn mask(&self, tally: &Tally, room: &mut Room) -> Vec<bool> {
        weigh(tally, room);
        self.mask_as_weighed(tally, room)
    }

    /// The same when this tally was the last one weighed in `room`.
    fn mask_as_weighed(&self, tally: &Tally, room: &Room) -> Vec<bool> {
        let ways = READY_PRICES.ways.iter().zip(&room.costs);
        let Some((way, _)) = ways.min_by(|a, b| a.1.total_cmp(b.1)) else {
            return vec![false; tally.struck.len()];
        };
        let phases = tally.struck.iter().zip(&tally.seen);
        phases
            .map(|(&k, &n)| {
                let (on, off) = way.both(k, n);
                on > off
            })
            .collect()
    }

    /// The share of struck steps on the phases that the best figure strikes; 0 when it strikes none. The tally is the
    /// last one whose [`Codes::bits`] were worked out in `room`.
    pub(super) fn struck_rate(&self, tally: &Tally, room: &Room) -> f64 {
        let mask = self.mask_as_weighed(tally, room);
        let (mut hits, mut steps) = (0u32, 0u32);
        for (phase, _) in mask.iter().enumerate().filter(|(_, on)| **on) {
            hits += tally.struck[phase];
            steps += tally.seen[phase];
        }
        f64::from(hits) / f64::from(steps.max(1))
    }
}

/// Works out in `room` what a tally costs by every way that may be the cheapest; without end by the others.
fn weigh(tally: &Tally, room: &mut Room) {
    tally.kinds(&mut room.kinds);
    Arch::new().dispatch(Adding {
        kinds: &room.kinds,
        costs: &mut room.costs,
    });
}

/// Adds what all kinds of phases cost, with the widest instructions that there are.
struct Adding<'a> {
    kinds: &'a [(u32, u32, f64)],
    costs: &'a mut Vec<f64>,
}

impl WithSimd for Adding<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let ready = &*READY_PRICES;
        let mut most = [0.0; WAYS];
        let add = |slack: f64, kind: &(u32, u32, f64)| slack + add(&mut most, ready, *kind);
        let slack = self.kinds.iter().fold(0.0, add);
        let least = most.iter().copied().fold(f64::INFINITY, f64::min);
        self.costs.clear();
        self.costs.extend(most.iter().enumerate().map(|(way, &most)| {
            if slack == 0.0 {
                most
            } else if most - slack > least + ROUNDING {
                f64::INFINITY
            } else {
                ready.cost(way, self.kinds)
            }
        }));
    }
}
