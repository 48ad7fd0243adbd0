//! What a cycle on a stretch of steps saves, in bits.
//!
//! Bits of the best account that turns with the bar, less the bits of the cycle, summed over the streams that the
//! cycle explains, less the price of saying which length, which stretch and which streams (minimum description
//! length: Rissanen, Automatica 14, 1978; Grünwald, The Minimum Description Length Principle, 2007).

use std::collections::HashMap;

use super::code::Tally;
use super::search::{Against, Candidate, Part, ROUNDS, Search};
use super::strokes::{Turn, tally};

/// A stream carries a figure when it strikes at least this share of the figure's steps; less is an echo of one, such
/// as the strokes of a ride bell that were taken for the bow.
const MOSTLY: f64 = 0.5;

/// Room that the search uses again and again.
#[derive(Debug, Default)]
pub(super) struct Work {
    pub(super) cycle: Tally,
    pub(super) bars: Tally,
    pub(super) fold: Tally,
    pub(super) order: Vec<u64>,
    known: HashMap<(usize, (usize, usize), Against), f64>,
}

impl Search<'_> {
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
}
