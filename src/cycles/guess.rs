//! The likeliest length where no figure is proved: what speaks for each length, summed over stretches and voices.
//!
//! Where a figure shows only in part, no one stretch and no one voice tells its length; many that overlap do. Every length
//! over the bar is weighed on all stretches between a few places, each voice having a part in the figure or none, and
//! what they tell is added up as probabilities (a Bayesian mixture; Rissanen, Automatica 14, 1978).

use rayon::prelude::*;

use super::code::Tally;
use super::price::{COMPOSED, Work};
use super::search::{Against, Candidate, Part, Search};
use super::stretch::Rows;
use super::strokes::Turn;

/// Stretches begin and end at so many places; a third more or less makes no difference [=, the survey].
const PLACES: usize = 24;

/// A stream that costs so many bits more than it saves tells nothing.
const NOTHING: f64 = -20.0;

/// What speaks for one length.
pub(super) struct Guess {
    /// The stretch and the streams that tell most of it.
    pub(super) candidate: Candidate,
    /// Bits that all stretches and streams tell together.
    pub(super) told: f64,
}

/// A stretch, what its streams tell, and what it costs to say it.
struct Weighed {
    span: (usize, usize),
    parts: Vec<Part>,
    price: f64,
}

impl Weighed {
    fn told(&self) -> f64 {
        self.parts.iter().map(|p| p.bits).sum()
    }
}

impl Search<'_> {
    /// What speaks for each freely running length over the bar.
    pub(super) fn guesses(&self) -> Vec<Guess> {
        let crossing = self.lengths.iter().copied().filter(|l| self.fits(*l, 0));
        let turns: Vec<Turn> = crossing.map(Turn::free).collect();
        let guess = |work: &mut Work, turn: &Turn| self.guess(*turn, work);
        let guesses: Vec<Option<Guess>> = turns.par_iter().map_init(Work::default, guess).collect();
        guesses.into_iter().flatten().collect()
    }

    fn guess(&self, turn: Turn, work: &mut Work) -> Option<Guess> {
        work.forget();
        let weighed = self.weighed(turn, work);
        // A stretch that tells nothing adds nothing: only what is beyond that counts.
        let each = weighed
            .iter()
            .map(|w| (w.told() - w.price).exp2() - (-w.price).exp2());
        let told = each.sum::<f64>().max(f64::MIN_POSITIVE).log2();
        let net = |w: &Weighed| w.told() - w.price;
        let best = weighed.into_iter().max_by(|a, b| net(a).total_cmp(&net(b)))?;
        let (span, mut parts) = (best.span, best.parts);
        parts.sort_by(|a, b| b.bits.total_cmp(&a.bits));
        // Streams that more likely have a part in it than not; one in any case.
        let likely = parts.iter().filter(|p| p.bits > 1.0).count();
        parts.truncate(likely.max(1));
        let bits = self.explain(turn, span, Against::Bar, work).bits;
        Some(Guess {
            candidate: Candidate {
                turn,
                span,
                parts,
                bits,
            },
            told,
        })
    }

    /// Every stretch long enough for this turn, with the streams that may have a part in it.
    fn weighed(&self, turn: Turn, work: &mut Work) -> Vec<Weighed> {
        let (from, to) = self.strokes.whole;
        let places = (to - from).clamp(1, PLACES);
        let edge = |place: usize| from + (to - from) * place / places;
        let rows: Vec<(usize, Rows)> = self
            .streams()
            .map(|(index, stream)| (index, self.rows(&stream.hit, turn, places, &edge)))
            .collect();
        let mut weighed = Vec::new();
        for (a, b) in (0..places).flat_map(|a| (a + 1..=places).map(move |b| (a, b))) {
            let span = (edge(a), edge(b));
            if self.lasts(turn, span) {
                let each = rows.iter().filter_map(|(index, rows)| {
                    let saved = self.saved_between(*index, rows, (a, b), span, work)?;
                    // That it has a part in the figure or none is one choice, whichever is the case.
                    let bits = (1.0 + saved.exp2()).log2();
                    Some(Part { stream: *index, bits })
                });
                weighed.push(Weighed {
                    span,
                    parts: self.apart(each.collect()),
                    price: self.ends_between(span, places),
                });
            }
        }
        weighed
    }

    /// Bits that a cycle saves on one stream between two places, the stream's price paid; none where that tells nothing.
    fn saved_between(
        &self,
        index: usize,
        rows: &Rows,
        (a, b): (usize, usize),
        span: (usize, usize),
        work: &mut Work,
    ) -> Option<f64> {
        let stream = &self.strokes.streams[index];
        if stream.is_taken(span.0, span.1) {
            return None;
        }
        let mut counts = Tally::default();
        (counts.struck, counts.seen) = rows.between(a, b).unzip();
        let joined = if stream.voices.len() > 1 { COMPOSED } else { 0.0 };
        let price = self.stream_price() + joined;
        Some(self.saves_counted(index, span, &counts, work)? - price).filter(|saved| *saved > NOTHING)
    }
}
