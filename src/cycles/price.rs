//! What a cycle on a stretch of steps saves, in bits.
//!
//! Bits of the best account that turns with the bar, less the bits of the cycle, summed over the streams that the
//! cycle explains, less the price of saying which length, which stretch and which streams (minimum description
//! length: Rissanen, Automatica 14, 1978; Grünwald, The Minimum Description Length Principle, 2007).

use std::collections::HashMap;

use super::Carrier;
use super::code::{Room, Tally};
use super::search::{Against, Candidate, LEAST, LONGEST, Part, ROUNDS, Search};
use super::strokes::{Turn, tally};

/// A stream carries a figure when it strikes at least this share of the figure's steps; less is an echo of one, such
/// as the strokes of a ride bell that were taken for the bow.
const MOSTLY: f64 = 0.5;

/// Bits to say that a figure is one of accents or of the whole line, or goes over several voices: few are [M].
pub(super) const COMPOSED: f64 = 4.0;

/// Bits by which the quick price of a figure may exceed the exact one.
const QUICK: f64 = 12.0;

/// Places at which a stretch is cut in two, at most.
const SEAMS: usize = 32;

/// Accounts worth keeping at hand.
const KNOWN: usize = 10_000;

/// Room that the search uses again and again.
#[derive(Debug, Default)]
pub(super) struct Work {
    pub(super) cycle: Tally,
    pub(super) bars: Tally,
    pub(super) fold: Tally,
    pub(super) room: Room,
    known: HashMap<(usize, (usize, usize), Against), f64>,
}

/// What a cycle of one turn saves on stretches that were priced: for each stream, where it was asked.
pub(super) type Saved = HashMap<(usize, usize), Vec<Option<f64>>>;

impl Work {
    /// Forgets accounts once they are many, so that memory does not grow with the number of lengths tried.
    pub(super) fn forget(&mut self) {
        if self.known.len() > KNOWN {
            self.known.clear();
        }
    }
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
        let saves = |index: usize| self.saves(index, turn, span, against, work);
        self.explain_by(turn, span, against, saves)
    }

    /// The same for a turn of which some stretches were priced before.
    pub(super) fn explain_again(
        &self,
        turn: Turn,
        span: (usize, usize),
        against: Against,
        work: &mut Work,
        saved: &mut Saved,
    ) -> Candidate {
        let saved = saved.entry(span).or_default();
        saved.resize(self.strokes.streams.len(), None);
        let saves =
            |index: usize| *saved[index].get_or_insert_with(|| self.saves(index, turn, span, against, work));
        self.explain_by(turn, span, against, saves)
    }

    /// The same by what the cycle saves on each stream.
    fn explain_by(
        &self,
        turn: Turn,
        span: (usize, usize),
        against: Against,
        mut saves: impl FnMut(usize) -> f64,
    ) -> Candidate {
        let mut parts = Vec::new();
        for (index, stream) in self.streams() {
            if stream.is_taken(span.0, span.1) {
                continue;
            }
            let bits = saves(index);
            if bits > 0.0 {
                parts.push(Part { stream: index, bits });
            }
        }
        if parts.len() > 1
            || parts
                .iter()
                .any(|p| self.strokes.streams[p.stream].carrier != Carrier::Voices)
        {
            parts = self.disjoint(parts);
        }
        let bits = parts.iter().map(|p| p.bits).sum::<f64>() - self.price(turn, span, against);
        Candidate {
            turn,
            span,
            parts,
            bits,
        }
    }

    /// Bits that a cycle saves on one stream, the stream's price paid; 0 where it explains nothing.
    fn saves(
        &self,
        index: usize,
        turn: Turn,
        span: (usize, usize),
        against: Against,
        work: &mut Work,
    ) -> f64 {
        let price = self.stream_price();
        tally(&self.strokes.streams[index].hit, span, turn, &mut work.cycle);
        // No account to beat costs more than an even rate: most streams need no closer look.
        let even = self.codes.even(&work.cycle) + 2.0;
        if even + QUICK <= self.codes.quick(&work.cycle) + price {
            return 0.0;
        }
        let cycle = self.codes.bits(&work.cycle, &mut work.room);
        if even <= cycle + price || self.codes.struck_rate(&work.cycle, &work.room) < MOSTLY {
            return 0.0;
        }
        (self.account(index, span, against, work) - cycle - price).max(0.0)
    }

    /// Bits that a cycle counted so saves on one stream, less than nothing where it costs more than it explains; none
    /// where the stream is not struck mostly on the figure's steps.
    pub(super) fn saves_counted(
        &self,
        index: usize,
        span: (usize, usize),
        counts: &Tally,
        work: &mut Work,
    ) -> Option<f64> {
        let cycle = self.codes.bits(counts, &mut work.room);
        let mostly = self.codes.struck_rate(counts, &work.room) >= MOSTLY;
        mostly.then(|| self.account(index, span, Against::Bar, work) - cycle)
    }

    /// Bits to say that a stream has a part in it.
    pub(super) fn stream_price(&self) -> f64 {
        ((self.streams().count() + 1) as f64).log2()
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
                least = self.codes.bits(&work.bars, &mut work.room);
            }
            Against::Bar => {
                tally(hit, span, Turn::free(4 * self.strokes.bar), &mut work.bars);
                for &length in &self.locked {
                    work.bars.fold(length, &mut work.fold);
                    least = least.min(self.codes.bits(&work.fold, &mut work.room));
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
        self.codes.even(&work.cycle) - self.codes.bits(&work.cycle, &mut work.room)
    }

    /// Of streams that share voices, those that save most; accents or the whole line in their place where those save
    /// more than all that they displace.
    fn disjoint(&self, parts: Vec<Part>) -> Vec<Part> {
        let of = |part: &Part| &self.strokes.streams[part.stream];
        let (plain, composed): (Vec<Part>, Vec<Part>) = parts
            .into_iter()
            .partition(|part| of(part).carrier == Carrier::Voices);
        let mut kept = self.apart(plain);
        for part in composed {
            let displaced = kept.iter().filter(|k| of(k).clashes(of(&part)));
            if part.bits - COMPOSED > displaced.map(|k| k.bits).sum::<f64>() {
                kept.retain(|k| !of(k).clashes(of(&part)));
                kept.push(Part {
                    bits: part.bits - COMPOSED,
                    ..part
                });
            }
        }
        kept
    }

    /// Of streams that share voices, those that save most.
    pub(super) fn apart(&self, mut parts: Vec<Part>) -> Vec<Part> {
        parts.sort_by(|a, b| b.bits.total_cmp(&a.bits));
        let mut kept: Vec<Part> = Vec::new();
        for part in parts {
            let stream = &self.strokes.streams[part.stream];
            let clash = kept
                .iter()
                .any(|k| self.strokes.streams[k.stream].clashes(stream));
            if !clash {
                kept.push(part);
            }
        }
        kept
    }

    /// Bits to say which length, whether and where it starts anew, and which stretch.
    fn price(&self, turn: Turn, span: (usize, usize), against: Against) -> f64 {
        let known = self.counts.iter().find(|(of, _)| *of == (against, turn.round));
        let fitting = || known.map_or_else(|| self.count(against, turn.round), |(_, count)| *count);
        // Where there are longer lengths than those that are all tried, half of all figures have one of them.
        let (count, half) = match (self.longer, turn.length > LONGEST) {
            (0, _) => (fitting(), 0.0),
            (_, false) => (fitting(), 1.0),
            (longer, true) => (longer, 1.0),
        };
        let length = (count.max(1) as f64).log2() + half;
        let round = if turn.round == 0 {
            1.0
        } else {
            1.0 + ((ROUNDS.len() * (turn.round / self.strokes.bar)) as f64).log2()
        };
        length + round + self.ends(span)
    }

    /// How many lengths fit, of those that are all tried.
    fn count(&self, against: Against, round: usize) -> usize {
        let fits = |l: &usize| match against {
            Against::Density => !self.strokes.crosses(*l),
            Against::Bar => self.fits(*l, round),
        };
        let (from, to) = self.strokes.whole;
        (2..=((to - from) / LEAST).min(LONGEST)).filter(fits).count()
    }

    /// The same for all that is ever asked.
    pub(super) fn counted(mut self) -> Self {
        let rounds = ROUNDS.map(|bars| (Against::Bar, bars * self.strokes.bar));
        let all = rounds
            .into_iter()
            .chain([(Against::Bar, 0), (Against::Density, 0)]);
        self.counts = all
            .map(|(against, round)| ((against, round), self.count(against, round)))
            .collect();
        self
    }

    /// Bits to say where a stretch begins and ends.
    fn ends(&self, span: (usize, usize)) -> f64 {
        let (from, to) = self.strokes.whole;
        self.ends_between(span, to - from)
    }

    /// The same where it does so at one of so many places.
    pub(super) fn ends_between(&self, span: (usize, usize), places: usize) -> f64 {
        let (from, to) = self.strokes.whole;
        // Half of all figures begin with the music, and half end with it; the others do so anywhere.
        let inside = 1.0 + (places.max(1) as f64).log2();
        let begins = if span.0 == from { 1.0 } else { inside };
        begins + if span.1 == to { 1.0 } else { inside }
    }

    /// Where a candidate's stretch falls best into two, and the bits by which one figure throughout is cheaper than
    /// one before and another after: much for a figure that stays, less than nothing for cells strung together.
    pub(super) fn seam(&self, candidate: &Candidate, work: &mut Work) -> (usize, f64) {
        let (turn, (from, to)) = (candidate.turn, candidate.span);
        let stride = turn.length.max((to - from).div_ceil(SEAMS));
        let cuts: Vec<usize> = (from..to).step_by(stride).skip(1).collect();
        let mut apart = vec![0.0; cuts.len()];
        let mut left = Tally::default();
        for part in &candidate.parts {
            let hit = &self.strokes.streams[part.stream].hit;
            tally(hit, candidate.span, turn, &mut work.cycle);
            let one = self.codes.bits(&work.cycle, &mut work.room);
            for (cut, apart) in cuts.iter().zip(&mut apart) {
                tally(hit, (from, *cut), turn, &mut left);
                let before = self.codes.bits(&left, &mut work.room);
                tally(hit, (*cut, to), turn, &mut left);
                *apart += before + self.codes.bits(&left, &mut work.room) - one;
            }
        }
        let least = cuts.into_iter().zip(apart).min_by(|a, b| a.1.total_cmp(&b.1));
        least.unwrap_or((to, f64::INFINITY))
    }

    /// The same for a stretch cut into equal pieces: the bits by which one figure is cheaper than the cheapest row of
    /// figures, one for each piece.
    pub(super) fn pieces(&self, candidate: &Candidate, work: &mut Work) -> f64 {
        let (turn, (from, to)) = (candidate.turn, candidate.span);
        let mut least = f64::INFINITY;
        for pieces in [3, 4, 6, 8, 12] {
            if (to - from) < 2 * turn.length * pieces {
                break;
            }
            let edge = |piece: usize| from + (to - from) * piece / pieces;
            let mut apart = 0.0;
            for part in &candidate.parts {
                let hit = &self.strokes.streams[part.stream].hit;
                tally(hit, candidate.span, turn, &mut work.cycle);
                apart -= self.codes.bits(&work.cycle, &mut work.room);
                for piece in 0..pieces {
                    tally(hit, (edge(piece), edge(piece + 1)), turn, &mut work.cycle);
                    apart += self.codes.bits(&work.cycle, &mut work.room);
                }
            }
            least = least.min(apart);
        }
        least
    }
}
