//! The free line step by step: what is struck there, and what it costs to read it as this limb's stroke or that.

use super::Played;
use super::body::{Body, Limbs, mirrored};
use super::cell::{Hand, Symbol};
use super::chain::{HANDS, Pair};
use super::costs::{RESTED, moving};
use super::habits::Habits;
use super::limbs::{Shared, Work};
use crate::names::{Limb, Voice};

/// A step as the cell has it, in bits [=: one step in sixteen is otherwise].
const RIGHT: f64 = 0.1;
/// A stroke of the cell that is left out, or not heard, in bits [=: one stroke in eight]: a rest makes no other cell.
const LEFT_OUT: f64 = 3.0;
/// A stroke beside that of the cell, in bits [M]: a backbeat goes through whatever is played.
const ADDED: f64 = 4.0;
/// Any other step that is not as the cell has it.
const WRONG: f64 = 8.0;
/// A limb with no greater share of the strokes has strayed into the line [M].
const STRAY: f64 = 0.06;
/// That the hands stay on their drums where a cell begins, in bits: players move when something new begins [M].
const STAYED: f64 = 2.5;
/// A line's first cell begins at most so many steps before its first hit.
const LEAD: i64 = 8;
/// So many earlier steps are looked at for what a hand did last.
const BACK: usize = 8;
/// More steps than hours of playing have.
const MOST_STEPS: i64 = 1 << 20;

/// In a cell the hands have nothing to choose: the cell says it.
const CELL: Pair = Pair {
    chooses: false,
    ..HANDS
};

/// One of its strokes.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Stroke {
    time: f64,
    voice: Voice,
    at: (f64, f64),
    own: [f64; 4],
}

/// The free line.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Line {
    /// Its first step.
    pub(super) first: i64,
    /// So many steps before its first hit the music has begun: its first stroke may be missing.
    pub(super) lead: usize,
    /// The free hits on each of its steps.
    pub(super) hits: Vec<Vec<usize>>,
    /// Who plays on each step, by the best account.
    pub(super) played: Vec<Symbol>,
    /// The limbs it has.
    pub(super) hand: Hand,
    /// Every symbol in it, the rest among them, most frequent first.
    pub(super) symbols: Vec<Symbol>,
    /// What each step costs when it is simply written down, its strokes included.
    pub(super) plain: Vec<f32>,
    paid: Vec<f32>,
    strokes: Vec<Vec<Stroke>>,
    /// The drum that each hand struck last before each step, by the best account.
    before: Vec<[Option<Voice>; 2]>,
    /// How both hands go over the drums, where the line has both.
    habits: Option<Habits>,
}

/// The limbs that the line is made of; one that plays a stroke here and there is none of them.
fn main_limbs(played: &[Symbol]) -> Hand {
    let strokes = played.iter().filter(|symbol| !symbol.is_empty()).count();
    let main = |limb: &Limb| {
        let own = played.iter().filter(|symbol| symbol.has(*limb)).count();
        own as f64 > STRAY * strokes as f64
    };
    let limbs: Vec<Limb> = Limb::ALL.iter().copied().filter(main).collect();
    Hand::of(&[Symbol::of(&limbs)])
}

/// What the account pays for a hand that went from one stroke's drum to the next one's.
fn went(body: &Body, from: &Played, to: &Played) -> f64 {
    let [a, b] = [from, to].map(|hit| body.reach(hit.voice).at);
    let gap = to.time.0 - from.time.0;
    if gap < RESTED {
        moving((a.0 - b.0).hypot(a.1 - b.1), gap)
    } else {
        0.0
    }
}

impl Line {
    /// The line that the hits outside all figures make, as they are shared out.
    pub(super) fn of(work: &Work, shared: &Shared, habits: &Habits) -> Line {
        let free = || {
            let all = work
                .hits
                .iter()
                .enumerate()
                .filter(|(_, hit)| hit.figure.is_none());
            all.filter_map(|(at, hit)| Some((at, hit.step?.0)))
        };
        let (Some(first), Some(last)) = (free().map(|(_, s)| s).min(), free().map(|(_, s)| s).max()) else {
            return Line::default();
        };
        let begun = work.hits.iter().filter_map(|hit| Some(hit.step?.0)).min();
        let lead = first.saturating_sub(begun.unwrap_or(first)).clamp(0, LEAD);
        let first = first - lead;
        let length = last.saturating_sub(first).saturating_add(1).min(MOST_STEPS) as usize;
        let mut line = Line {
            first,
            lead: lead as usize,
            hits: vec![Vec::new(); length],
            played: vec![Limbs::default(); length],
            strokes: vec![Vec::new(); length],
            before: vec![[None; 2]; length],
            ..Line::default()
        };
        let mut paid = vec![0.0; length];
        // What the habits say of where hands go, instead of what the account pays for it.
        let mut instead = vec![0.0; length];
        let mut last: [Option<&Played>; 4] = [None; 4];
        let mut later: Vec<(usize, [Option<Voice>; 2])> = Vec::new();
        for (at, step) in free() {
            let step = (step - first) as usize;
            let Some(hit) = work.hits.get(at).filter(|_| step < length) else {
                continue;
            };
            line.hits[step].push(at);
            line.strokes[step].push(Stroke {
                time: hit.time.0,
                voice: hit.voice,
                at: work.body.reach(hit.voice).at,
                own: shared.own.get(at).copied().unwrap_or([WRONG; 4]),
            });
            paid[step] += shared.paid.get(at).copied().unwrap_or(0.0);
            if let Some(limb) = shared.limbs.get(at).copied().flatten() {
                line.played[step] = line.played[step].with(limb);
                if let Some(from) = last[limb as usize].filter(|_| Limbs::HANDS.has(limb)) {
                    let says = habits.bits(limb, Some(from.voice), hit.voice, false);
                    instead[step] += says - went(work.body, from, hit);
                }
                last[limb as usize] = Some(hit);
                let [right, left, ..] = last.map(|hit| Some(hit?.voice));
                later.push((step + 1, [right, left]));
            }
        }
        line.hand = main_limbs(&line.played);
        if Limbs::HANDS
            .list()
            .into_iter()
            .all(|hand| line.hand.limbs.has(hand))
        {
            line.habits = Some(habits.clone());
            paid.iter_mut()
                .zip(instead)
                .for_each(|(paid, instead)| *paid += instead);
        }
        let mut later = later.into_iter().peekable();
        let mut now = [None; 2];
        for (step, before) in line.before.iter_mut().enumerate() {
            while let Some((_, before)) = later.next_if(|(from, _)| *from <= step) {
                now = before;
            }
            *before = now;
        }
        line.count(&paid);
        line
    }

    /// As many stretches of `steps` steps, from all over the line, one after the other.
    pub(super) fn excerpt(&self, stretches: usize, steps: usize) -> Line {
        let begins = |n: usize| (self.len().saturating_sub(steps)) * n / stretches.saturating_sub(1).max(1);
        fn cut<T: Clone>(all: &[T], begins: &[usize], steps: usize) -> Vec<T> {
            let parts = begins
                .iter()
                .filter_map(|from| all.get(*from..(*from + steps).min(all.len())));
            parts.flatten().cloned().collect()
        }
        let begins: Vec<usize> = (0..stretches).map(begins).collect();
        Line {
            first: self.first,
            lead: self.lead.min(steps),
            hits: cut(&self.hits, &begins, steps),
            played: cut(&self.played, &begins, steps),
            hand: self.hand,
            symbols: self.symbols.clone(),
            plain: cut(&self.plain, &begins, steps),
            before: cut(&self.before, &begins, steps),
            habits: self.habits.clone(),
            paid: cut(&self.paid, &begins, steps),
            strokes: cut(&self.strokes, &begins, steps),
        }
    }

    /// Steps in it.
    pub(super) fn len(&self) -> usize {
        self.hits.len()
    }

    /// What each step costs when it is each of the symbols of a cell that has been going on: for every step one row
    /// of as many numbers as the cell has symbols.
    pub(super) fn costs(&self, cell: &[Symbol]) -> Vec<f32> {
        let rows = (0..self.len()).flat_map(|step| (0..cell.len()).map(move |phase| (step, phase)));
        rows.map(|(step, phase)| self.cost(step, cell, phase, BACK) as f32)
            .collect()
    }

    /// What each step costs more when the cell begins there with each of its symbols: what the hands did before was
    /// no part of it, but seldom does something new begin where they stay on their drums.
    pub(super) fn fresh(&self, cell: &[Symbol]) -> Vec<f32> {
        let rows = (0..self.len()).flat_map(|step| (0..cell.len()).map(move |phase| (step, phase)));
        rows.map(|(step, phase)| self.begins(step, cell, phase) as f32)
            .collect()
    }

    fn begins(&self, first: usize, cell: &[Symbol], phase: usize) -> f64 {
        let mut open: Vec<Limb> = Limbs::HANDS.list();
        open.retain(|limb| self.hand.limbs.has(*limb) && cell.iter().any(|symbol| symbol.has(*limb)));
        let stayed = STAYED / open.len().max(1) as f64;
        let before = self.before.get(first).copied().unwrap_or_default();
        let mut more = 0.0;
        for n in 0..cell.len().min(self.len() - first) {
            if open.is_empty() {
                break;
            }
            let (step, phase) = (first + n, (phase + n) % cell.len());
            more += self.cost(step, cell, phase, n) - self.cost(step, cell, phase, BACK);
            let Some(stroke) = self.strokes.get(step).and_then(|strokes| strokes.first()) else {
                continue;
            };
            open.retain(|limb| {
                let strikes = cell[phase].has(*limb);
                let last = before.get(*limb as usize).copied().flatten();
                if let Some(habits) = self.habits.as_ref().filter(|_| strikes) {
                    more += habits.bits(*limb, last, stroke.voice, true);
                } else if strikes && last == Some(stroke.voice) {
                    more += stayed;
                }
                !strikes
            });
        }
        more
    }

    /// What a step costs as a symbol of the cell that has gone on for at least `back` steps.
    fn cost(&self, step: usize, cell: &[Symbol], phase: usize, back: usize) -> f64 {
        let symbol = cell[phase];
        let strokes = self.strokes.get(step).map_or(&[][..], Vec::as_slice);
        let own = |stroke: &Stroke, limb: Limb| stroke.own[limb as usize];
        let cost = match (strokes, symbol.list().as_slice()) {
            ([], []) => RIGHT,
            ([], _) => LEFT_OUT,
            ([stroke], [limb]) => RIGHT + own(stroke, *limb) + self.since(step, cell, phase, *limb, back),
            ([a, b], [x, y]) => RIGHT + (own(a, *x) + own(b, *y)).min(own(a, *y) + own(b, *x)),
            ([stroke], [x, y]) => LEFT_OUT + own(stroke, *x).min(own(stroke, *y)),
            ([a, b], [limb]) => {
                let one = |cell: &Stroke, more: &Stroke| {
                    own(cell, *limb) + more.own.into_iter().fold(WRONG, f64::min)
                };
                ADDED + one(a, b).min(one(b, a))
            }
            _ => WRONG,
        };
        // Somebody else has played it, at what that cost.
        cost.min(WRONG + f64::from(self.paid[step]))
    }

    /// What a hand pays for what it did before, the cell having gone on for `back` steps.
    fn since(&self, step: usize, cell: &[Symbol], phase: usize, limb: Limb, back: usize) -> f64 {
        let Some(stroke) = self.strokes[step].first() else {
            return 0.0;
        };
        if !Limbs::HANDS.has(limb) {
            return 0.0;
        }
        let mut alone = true;
        for back in 1..=back.min(BACK).min(step) {
            let Some(before) = self.strokes[step - back].first() else {
                continue;
            };
            let gap = stroke.time - before.time;
            if gap >= RESTED && self.habits.is_none() {
                break;
            }
            let symbol = cell[(phase + BACK * cell.len() - back) % cell.len()];
            if symbol.has(limb) {
                // With two hands, to go to another drum is a choice: the other hand might have been there.
                let goes = (self.habits.as_ref()).map_or(0.0, |habits| {
                    habits.bits(limb, Some(before.voice), stroke.voice, false)
                });
                let run = if alone { 2 } else { 1 };
                let strains = if gap < RESTED {
                    CELL.next(gap, run, Some(before.at), stroke.at)
                } else {
                    0.0
                };
                return goes + strains;
            }
            alone &= !symbol.has(mirrored(limb));
        }
        0.0
    }

    fn count(&mut self, paid: &[f64]) {
        let mut counts: Vec<(Symbol, usize)> = vec![(Limbs::default(), 0)];
        for limb in self.hand.limbs.list() {
            counts.push((Limbs::of(&[limb]), 0));
        }
        for symbol in self.played.iter().skip(self.lead) {
            match counts.iter_mut().find(|(s, _)| s == symbol) {
                Some((_, count)) => *count += 1,
                None => counts.push((*symbol, 1)),
            }
        }
        counts.sort_by_key(|(symbol, count)| (std::cmp::Reverse(*count), *symbol));
        // Krichevsky and Trofimov's estimate of how often each comes.
        let all = (self.played.len() - self.lead) as f64 + 0.5 * counts.len() as f64;
        let bits = |count: usize| -((count as f64 + 0.5) / all).log2();
        let plain = |symbol: &Symbol| {
            let found = counts.iter().find(|(s, _)| s == symbol);
            found.map_or(0.0, |(_, count)| bits(*count)) as f32
        };
        self.paid = paid.iter().map(|paid| *paid as f32).collect();
        self.plain = self
            .played
            .iter()
            .map(plain)
            .zip(&self.paid)
            .map(|(bits, paid)| bits + paid)
            .collect();
        self.symbols = counts.into_iter().map(|(symbol, _)| symbol).collect();
    }
}
