//! Events -> beats near a given tempo: the likeliest beat times (s), by a Viterbi search over where each beat
//! begins and how long it lasts.
//!
//! The states are those of the bar pointer of Krebs, Böck and Widmer (ISMIR 2015): a place in the beat that advances
//! at a tempo, with the tempo changing only from beat to beat. As only struck moments say anything, a whole beat is
//! scored at once from the events inside it. Events score by the density of strokes over the beat that a [`Feel`] expects, relative to strokes anywhere,
//! so that tracks of different tempo and feel can be compared.

use std::ops::RangeInclusive;

use pulp::{Arch, Simd, WithSimd};

use super::events::Event;
use super::way::{Prices, Way, prices};

/// Frames in a beat of the tempo asked for.
const FRAMES: usize = 48;
/// Event times are kept to this part of a frame.
const FINE: usize = 4;
/// Price (nats) of changing the length of the beat by a factor of e; Krebs et al. use 100 on audio. Hits say more
/// per beat than audio frames and players lean on single beats, so less.
const CHANGE: f64 = 60.0;
/// The same for players who keep to a click.
const STEADY_CHANGE: f64 = 400.0;
/// Spread of strokes around their places in seconds: professional drummers' is about 10 ms (TRADE 5) [P: Fujii 2011].
const SPREAD: f64 = 0.011;
/// Share of strokes that lie anywhere: ornaments, wrong hits.
const STRAY: f64 = 0.08;

/// Frames after which the beats so far are settled, so that memory does not grow with the recording: 680 beats. All
/// ways that are still open have been one for long by then.
const KEPT: usize = 1 << 15;

/// Lengths whose scores are added up side by side.
const SIDE: usize = 4;

/// How a beat is divided, and how often its parts are struck.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Feel {
    /// Halves, quarters and eighths of a beat.
    Even,
    /// Thirds and sixths.
    Triplet,
    /// Fifths.
    Five,
    /// Sevenths.
    Seven,
}

impl Feel {
    pub(super) const ALL: [Feel; 4] = [Feel::Even, Feel::Triplet, Feel::Five, Feel::Seven];

    /// The finest division that it knows.
    pub(super) fn parts(self) -> usize {
        match self {
            Feel::Even => 8,
            Feel::Triplet => 6,
            Feel::Five => 5,
            Feel::Seven => 7,
        }
    }

    /// Share of the strokes on each part; the beat itself takes the most [M].
    fn shares(self) -> &'static [f64] {
        match self {
            Feel::Even => &[0.36, 0.02, 0.15, 0.02, 0.26, 0.02, 0.15, 0.02],
            Feel::Triplet => &[0.34, 0.07, 0.18, 0.07, 0.22, 0.12],
            Feel::Five => &[0.36, 0.16, 0.16, 0.16, 0.16],
            Feel::Seven => &[0.28, 0.12, 0.12, 0.12, 0.12, 0.12, 0.12],
        }
    }

    /// Log density of strokes at `phase` (0 to 1) of a beat of `period` seconds, where 0 is "as often as anywhere".
    fn log_density(self, phase: f64, period: f64) -> f64 {
        let width = SPREAD / period;
        let mut density = STRAY;
        for (part, share) in self.shares().iter().enumerate() {
            let place = part as f64 / self.parts() as f64;
            let off = (phase - place).abs();
            let z = off.min(1.0 - off) / width;
            density +=
                (1.0 - STRAY) * share * (-0.5 * z * z).exp() / (width * (2.0 * std::f64::consts::PI).sqrt());
        }
        density.ln()
    }
}

/// How firmly the beats hold their tempo.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hold {
    /// They follow a player who leans on single beats.
    Loose,
    /// They follow one who keeps to a click, and are not drawn away by a passage that hides the beat.
    Firm,
}

impl Hold {
    /// Price (nats) of changing the length of the beat by a factor of e.
    fn price(self) -> f64 {
        match self {
            Hold::Loose => CHANGE,
            Hold::Firm => STEADY_CHANGE,
        }
    }
}

/// Beats that fit the events.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Track {
    /// Beat times in seconds, at least two; the first is at or before the first event, the last after the last.
    pub(super) beats: Vec<f64>,
    /// The division it was followed with.
    pub(super) feel: Feel,
    /// Mean log density over the events, price of tempo changes taken off.
    pub(super) fit: f64,
}

impl Track {
    /// Median length of a beat in seconds.
    pub(super) fn period(&self) -> f64 {
        let mut lengths: Vec<f64> = self.beats.windows(2).map(|w| w[1] - w[0]).collect();
        lengths.sort_by(f64::total_cmp);
        lengths.get(lengths.len() / 2).copied().unwrap_or(1.0)
    }
}

/// The tables that one search needs: tempi as whole numbers of frames, and what an event scores at each.
struct Search<'a, const N: usize> {
    events: &'a [Event],
    /// Where each event lies, in parts of a frame from the origin.
    places: Vec<usize>,
    /// Shortest beat in frames.
    shortest: usize,
    /// The score at each part of a frame since the beat began, for every length; nothing beyond its end. Rows are
    /// filled up to whole [`SIDE`]s.
    density: Vec<f64>,
    /// How many lengths there are.
    count: usize,
    /// For each way to hold the tempo, the price of going from one length to another.
    prices: [Prices; N],
    /// Frames over which the ways to the beats are remembered before they are settled.
    kept: usize,
}

impl<const N: usize> Search<'_, N> {
    /// What the events inside a beat of each length score that begins at `frame`; `from` is the first event at or
    /// after `frame`.
    #[inline(always)]
    fn score(&self, frame: usize, from: usize, scores: &mut [f64]) {
        let (start, row) = (frame * FINE, scores.len());
        let (scores, _) = scores.as_chunks_mut::<SIDE>();
        scores.fill([0.0; SIDE]);
        for (place, event) in self.places[from..].iter().zip(&self.events[from..]) {
            let at = (place - start) * row;
            let Some(density) = self.density.get(at..at + row) else {
                break;
            };
            for (scores, density) in scores.iter_mut().zip(density.as_chunks::<SIDE>().0) {
                for side in 0..SIDE {
                    scores[side] += density[side] * event.weight;
                }
            }
        }
    }
}

/// Finds the beats that fit `events` best with beats of `period` seconds, each within the factor `1 ± range` of it, for
/// each way to hold the tempo. None with no events or a period that is no positive number.
pub(super) fn follow<const N: usize>(
    events: &[Event],
    period: f64,
    range: f64,
    feel: Feel,
    holds: [Hold; N],
) -> Vec<Track> {
    let (Some(first), Some(last)) = (events.first(), events.last()) else {
        return Vec::new();
    };
    if !(period > 0.0 && period.is_finite()) {
        return Vec::new();
    }
    let frame = period / FRAMES as f64;
    let shortest = ((FRAMES as f64 * (1.0 - range)).round() as usize).max(2);
    let longest = ((FRAMES as f64 * (1.0 + range)).round() as usize).max(shortest);
    let origin = first.time - longest as f64 * frame;
    let place = |time: f64| ((time - origin) / frame * FINE as f64).round() as usize;
    let lengths = shortest..=longest;
    let change = |a: usize, b: usize| (b as f64 / a as f64).ln().abs();
    let count = longest - shortest + 1;
    let price = |hold: Hold| prices(count, |a, b| hold.price() * change(shortest + a, shortest + b));
    let search = Search {
        events,
        places: events.iter().map(|e| place(e.time)).collect(),
        shortest,
        density: densities(lengths, frame, feel),
        count,
        prices: holds.map(price),
        kept: KEPT,
    };
    let found = Arch::new().dispatch(Viterbi {
        search: &search,
        first: place(first.time) / FINE,
        last: place(last.time) / FINE,
    });
    let weight: f64 = events.iter().map(|e| e.weight).sum();
    let track = |(frames, score): (Vec<usize>, f64)| Track {
        beats: frames.iter().map(|f| origin + *f as f64 * frame).collect(),
        feel,
        fit: score / weight.max(1e-9),
    };
    found
        .into_iter()
        .map(track)
        .filter(|t| t.beats.len() >= 2)
        .collect()
}

fn densities(lengths: RangeInclusive<usize>, frame: f64, feel: Feel) -> Vec<f64> {
    let part = |i: usize, frames: usize| {
        let count = frames * FINE;
        if i < count {
            feel.log_density(i as f64 / count as f64, frames as f64 * frame)
        } else {
            0.0
        }
    };
    let more = room(lengths.clone().count()) - lengths.clone().count();
    (0..lengths.end() * FINE)
        .flat_map(|i| {
            let row = lengths.clone().map(move |frames| part(i, frames));
            row.chain(std::iter::repeat_n(0.0, more))
        })
        .collect()
}

/// Room for so many lengths in whole [`SIDE`]s.
fn room(count: usize) -> usize {
    count.next_multiple_of(SIDE)
}

/// [`viterbi`], with the widest instructions that there are.
struct Viterbi<'a, const N: usize> {
    search: &'a Search<'a, N>,
    first: usize,
    last: usize,
}

impl<const N: usize> WithSimd for Viterbi<'_, N> {
    type Output = Vec<(Vec<usize>, f64)>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Self::Output {
        viterbi(simd, self.search, self.first, self.last)
    }
}

/// Beat frames of the best path and its score for each way to hold the tempo: the first beat begins at or before frame
/// `first`, the last ends after frame `last`. What the events score is worked out once for all.
#[inline(always)]
fn viterbi<S: Simd, const N: usize>(
    simd: S,
    search: &Search<N>,
    first: usize,
    last: usize,
) -> Vec<(Vec<usize>, f64)> {
    let (shortest, count) = (search.shortest, search.count);
    let mut ways: [Way; N] = std::array::from_fn(|_| Way::new(shortest, count, first, search.kept));
    let mut scores = vec![0.0; room(count)];
    let mut event = 0;
    for frame in 0..=last {
        while search.places.get(event).is_some_and(|p| *p < frame * FINE) {
            event += 1;
        }
        search.score(frame, event, &mut scores);
        for (way, prices) in ways.iter_mut().zip(&search.prices) {
            way.reach(simd, frame, prices);
            if frame + shortest + count <= last + 1 {
                way.go_on(&scores);
                continue;
            }
            for (length, score) in scores.iter().enumerate().take(count) {
                let so_far = way.arrived(length);
                if so_far == f32::NEG_INFINITY {
                    continue;
                }
                let (score, next) = (f64::from(so_far) + score, frame + shortest + length);
                if next > last {
                    way.ends(frame, length, score);
                } else {
                    way.go_on_by(length, score);
                }
            }
        }
        if frame > first && frame + shortest + count <= last {
            ways.iter_mut().for_each(|way| way.settle(frame + 1));
        }
    }
    ways.into_iter().map(Way::finish).collect()
}

#[cfg(test)]
mod tests {
    use super::super::way::REACH;
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// The best score over all rows of beats, by trying every one of them.
    fn try_all(search: &Search<1>, frame: usize, before: Option<usize>, last: usize) -> f64 {
        let event = search
            .places
            .iter()
            .position(|p| *p >= frame * FINE)
            .unwrap_or(search.places.len());
        let mut best = f64::NEG_INFINITY;
        let mut scores = vec![0.0; room(search.count)];
        search.score(frame, event, &mut scores);
        for (length, own) in scores.iter().enumerate().take(search.count) {
            let near = |b: usize| {
                search.prices[0]
                    .get((b + REACH).checked_sub(length)?)?
                    .get(length)
            };
            let price = before.map_or(0.0, |b| f64::from(*near(b).unwrap_or(&f32::INFINITY)));
            let score = own - price;
            let next = frame + search.shortest + length;
            let rest = if next > last {
                0.0
            } else {
                try_all(search, next, Some(length), last)
            };
            best = best.max(score + rest);
        }
        best
    }

    #[test]
    fn the_search_scores_as_high_as_trying_every_row_of_beats() {
        for seed in 0..40 {
            let mut dice = ChaCha8Rng::seed_from_u64(seed);
            let last = dice.random_range(20..34);
            let first = dice.random_range(0..5);
            let mut places: Vec<usize> = (0..7)
                .map(|_| dice.random_range(first * FINE..=last * FINE))
                .collect();
            places.extend([first * FINE, last * FINE]);
            places.sort_unstable();
            let event = Event {
                time: 0.0,
                weight: 0.7,
                struck: Default::default(),
                accent: 0.0,
            };
            let events = vec![event; places.len()];
            let price = |a: usize, b: usize| CHANGE * ((4 + b) as f64 / (4 + a) as f64).ln().abs() / 30.0;
            let search = Search {
                events: &events,
                places,
                shortest: 4,
                density: densities(4..=8, 0.05, Feel::Even),
                count: 5,
                prices: [prices(5, price)],
                kept: KEPT,
            };
            let (beats, score) = viterbi(pulp::Scalar, &search, first, last).remove(0);
            let oracle = (0..=first)
                .map(|f| try_all(&search, f, None, last))
                .fold(f64::NEG_INFINITY, f64::max);
            assert!((score - oracle).abs() < 1e-3, "seed {seed}: {score} {oracle}");
            assert!(
                beats.windows(2).all(|w| (4..=8).contains(&(w[1] - w[0]))),
                "seed {seed}: {beats:?}"
            );
        }
    }

    #[test]
    fn beats_that_are_settled_on_the_way_are_those_of_the_whole() {
        let event = |place: usize| Event {
            time: 0.1 * place as f64,
            weight: 1.0,
            struck: Default::default(),
            accent: 0.0,
        };
        for seed in 0..10 {
            let mut dice = ChaCha8Rng::seed_from_u64(seed);
            let mut places: Vec<usize> = (0..600).map(|_| dice.random_range(40..40_000)).collect();
            places.sort_unstable();
            let events: Vec<Event> = places.iter().map(|p| event(*p)).collect();
            // 200 beats are kept here, a third of what is kept of a recording.
            let found = [4096, usize::MAX].map(|kept| {
                let price = |a: usize, b: usize| 2.0 * ((16 + b) as f64 / (16 + a) as f64).ln().abs();
                let search = Search {
                    events: &events,
                    places: places.clone(),
                    shortest: 16,
                    density: densities(16..=24, 0.02, Feel::Even),
                    count: 9,
                    prices: [prices(9, price)],
                    kept,
                };
                viterbi(pulp::Scalar, &search, places[0] / FINE, places[599] / FINE).remove(0)
            });
            let [(few, score), (all, best)] = found;
            assert_eq!(few, all, "seed {seed}");
            assert!((score - best).abs() < 1e-6, "seed {seed}: {score} {best}");
        }
    }

    #[test]
    fn a_feel_shares_out_all_strokes() {
        for feel in Feel::ALL {
            let sum: f64 = feel.shares().iter().sum();
            assert!(
                (sum - 1.0).abs() < 1e-9 && feel.shares().len() == feel.parts(),
                "{feel:?}: {sum}"
            );
        }
    }
}
