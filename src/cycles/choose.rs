//! [`Candidate`]s -> [`Figure`]s: which of them are figures beyond doubt, one after the other.
//!
//! A false ostinato is worse than none. A figure must save bits over the bar after all prices, most of its notes must
//! be there, and shuffled music must hardly ever do as well. What it explains is then taken away, and the rest is
//! searched again: two figures may go on at once in different voices, or one after the other in the same.

use super::chance::{chance, is_pattern};
use super::figure::Figure;
use super::price::Work;
use super::search::{Against, Candidate, Part, Search};
use super::strokes::{Strokes, Turn};
use crate::names::Voice;

/// A cycle that comes and goes must save so many bits over the best account that turns with the bar: cells that a
/// free line strings together reach about as much over a few bars [=, tests].
const ENOUGH: f64 = 20.0;

/// One that goes through most of the recording needs less: no cell does that.
const ENOUGH_THROUGH: f64 = 7.0;
const THROUGH: f64 = 0.8;

/// A resolved cycle repeats with its bars, so all it can save is the price of a longer figure.
const ENOUGH_RESOLVED: f64 = 4.0;

/// Shuffled music may do as well this often at most; where only the beats of a few bars can change places, so that few
/// shuffles differ, a little more often if the figure is clean.
const RARE: f64 = 0.05;
const RARE_PATTERN: f64 = 0.1;

/// A figure of which less than this is there is no figure.
const KEPT: f64 = 0.6;

/// A figure is there throughout: so much of it in every quarter of its stretch. Several cells strung together are not.
const KEPT_THROUGHOUT: f64 = 0.6;

/// The same for a figure that comes and goes, which has more chances to look like one.
const KEPT_IN_PART: f64 = 0.78;

/// Where the bar alone tells as much, the figure must be cleaner: kept and exact, harmonic mean.
const CLEAN: f64 = 0.87;

/// A figure that saves less than this must be cleaner than one beyond all doubt.
const PLENTY: f64 = 60.0;
const FAIRLY_CLEAN: f64 = 0.75;

/// A figure that turns with the bar is worth telling when it comes round this often.
const MANY: usize = 8;

/// Two lengths save about as much when they differ by less than this.
const ABOUT: f64 = 6.0;

/// A voice that keeps time with a figure, of another limb, is part of it when its own notes hold this well.
const PARTNER: f64 = 0.75;

/// More figures at once or in turn than a listener could follow.
const MOST: usize = 6;

/// Candidates looked at closely in each round.
const CLOSELY: usize = 8;

/// A figure and how often shuffled music does as well.
pub(super) type Found = (Figure, f64);

/// All figures, those that cross the bar first, each kind in the order of their bits; and the first search's best
/// candidate of each length.
pub(super) fn choose(strokes: &mut Strokes) -> (Vec<Found>, Vec<Candidate>) {
    let mut found: Vec<Found> = Vec::new();
    let mut lengths = Vec::new();
    while found.len() < MOST {
        let search = Search::new(strokes);
        let free = search.free();
        if found.is_empty() {
            lengths = [free.clone(), search.with_the_bar(Against::Bar)].concat();
        }
        let mut candidates = closely(free, &search, Against::Bar);
        candidates.extend(closely(search.resolved(), &search, Against::Bar));
        let Some(next) = first_good(candidates, &search, strokes, Against::Bar) else {
            break;
        };
        take(&next.0, strokes);
        found.push(next);
    }
    found.sort_by(|a, b| b.0.bits.total_cmp(&a.0.bits));
    let search = Search::new(strokes);
    let locked = closely(search.with_the_bar(Against::Density), &search, Against::Density);
    if let Some(next) = first_good(locked, &search, strokes, Against::Density) {
        take(&next.0, strokes);
        found.push(next);
    }
    lengths.sort_by_key(|c| c.turn.length);
    (found, lengths)
}

/// The best few of the candidates with the ends of their stretches settled.
fn closely(mut candidates: Vec<Candidate>, search: &Search, against: Against) -> Vec<Candidate> {
    candidates.sort_by(|a, b| b.bits.total_cmp(&a.bits));
    candidates.truncate(CLOSELY);
    candidates
        .into_iter()
        .map(|c| search.refine(c, against))
        .collect()
}

/// The candidate with most bits that is a figure beyond doubt.
fn first_good(
    mut candidates: Vec<Candidate>,
    search: &Search,
    strokes: &Strokes,
    against: Against,
) -> Option<Found> {
    candidates.sort_by(|a, b| b.bits.total_cmp(&a.bits));
    shorter_first(&mut candidates);
    let mut refused: Vec<Candidate> = Vec::new();
    candidates.into_iter().find_map(|c| {
        // What is no figure running freely is not one that resolves either.
        if c.turn.round > 0 && refused.iter().any(|r| share(r, &c, strokes)) {
            return None;
        }
        if c.bits < enough(&c, strokes) {
            return None;
        }
        let candidate = match against {
            Against::Bar => partner(shortest(c, search, strokes), search, strokes),
            Against::Density => c,
        };
        let figure = Figure::of(&candidate, search, strokes);
        if !holds(&figure, &candidate, strokes, against) {
            refused.push(candidate);
            return None;
        }
        let chance = chance(&candidate, search, strokes, against);
        let few_orders = is_pattern(candidate.turn, strokes.bar) && clean(&figure, strokes) >= CLEAN;
        let rare = if few_orders { RARE_PATTERN } else { RARE };
        if chance > rare {
            refused.push(candidate);
            return None;
        }
        Some((figure, chance))
    })
}

/// Of lengths that save about as much, the shorter comes first where it divides the longer: a multiple explains what
/// its part explains, and strokes at will now and then fit it a little better.
fn shorter_first(candidates: &mut Vec<Candidate>) {
    let Some(best) = candidates.first().cloned() else {
        return;
    };
    let shorter = candidates.iter().position(|c| {
        let (long, short) = (best.turn, c.turn);
        short.length < long.length
            && long.length.is_multiple_of(short.length)
            && short.round == long.round
            && c.bits >= best.bits - ABOUT
    });
    if let Some(index) = shorter {
        let shorter = candidates.remove(index);
        candidates.insert(0, shorter);
    }
}

/// The bits that a candidate must save.
fn enough(candidate: &Candidate, strokes: &Strokes) -> f64 {
    if candidate.turn.round > 0 {
        ENOUGH_RESOLVED
    } else if goes_through(candidate, strokes) {
        ENOUGH_THROUGH
    } else {
        ENOUGH
    }
}

/// Whether a candidate lasts for most of the recording.
fn goes_through(candidate: &Candidate, strokes: &Strokes) -> bool {
    let steps = |(from, to): (usize, usize)| (to - from) as f64;
    steps(candidate.span) >= THROUGH * steps(strokes.whole)
}

/// Whether enough of a figure is there, and for long enough.
fn holds(figure: &Figure, candidate: &Candidate, strokes: &Strokes, against: Against) -> bool {
    let (kept, clean) = (figure.holds(strokes).0, clean(figure, strokes));
    let throughout = if goes_through(candidate, strokes) {
        KEPT_THROUGHOUT
    } else {
        KEPT_IN_PART
    };
    if figure.weakest_quarter(strokes) < throughout {
        return false;
    }
    let repeats = (figure.span.1 - figure.span.0) / candidate.turn.length;
    match against {
        Against::Bar if candidate.turn.round > 0 => clean >= CLEAN,
        Against::Bar if candidate.bits < PLENTY => clean >= FAIRLY_CLEAN,
        Against::Bar => kept >= KEPT,
        Against::Density => clean >= FAIRLY_CLEAN && repeats >= MANY && candidate.bits >= PLENTY,
    }
}

/// How well a figure's notes and its voices' strokes agree: the harmonic mean of the share of its notes that are there
/// and the share of its voices' strokes that are its own.
fn clean(figure: &Figure, strokes: &Strokes) -> f64 {
    let (kept, exact) = figure.holds(strokes);
    2.0 * kept * exact / (kept + exact).max(f64::MIN_POSITIVE)
}

/// A length that two figures share, such as 60 for one of 12 and one of 10, is no figure of its own: where a length
/// that divides it explains some of the streams so much better that a figure of their own pays, that figure is meant.
fn shortest(candidate: Candidate, search: &Search, strokes: &Strokes) -> Candidate {
    let length = candidate.turn.length;
    let mut work = Work::default();
    let parts: f64 = candidate.parts.iter().map(|p| p.bits).sum();
    let price = parts - candidate.bits;
    for shorter in (2..length).filter(|d| length.is_multiple_of(*d) && strokes.crosses(*d)) {
        let turn = Turn {
            length: shorter,
            ..candidate.turn
        };
        let mut part = search.explain(turn, candidate.span, Against::Bar, &mut work);
        let mut gain = 0.0;
        part.parts.retain(|p| {
            let before = candidate
                .parts
                .iter()
                .find(|q| q.stream == p.stream)
                .map_or(f64::INFINITY, |q| q.bits);
            gain += (p.bits - before).max(0.0);
            p.bits >= before
        });
        part.bits = part.parts.iter().map(|p| p.bits).sum::<f64>() - price;
        if gain > price && part.bits >= ENOUGH {
            return search.refine(part, Against::Bar);
        }
    }
    candidate
}

/// A figure in one voice may have a partner of another limb whose own share repeats within the bar, such as a kick on
/// every beat: it turns with the figure, but saves nothing over the bar. It belongs to the figure all the same.
fn partner(mut candidate: Candidate, search: &Search, strokes: &Strokes) -> Candidate {
    let [only] = candidate.parts.as_slice() else {
        return candidate;
    };
    let own: Vec<_> = strokes.streams[only.stream].voices.clone();
    let best = strokes
        .streams
        .iter()
        .enumerate()
        .filter(|(_, s)| !s.is_taken(candidate.span.0, candidate.span.1) && s.voices.len() == 1)
        .filter(|(_, s)| !s.voices.iter().any(|v| own.contains(v)))
        .filter_map(|(stream, _)| {
            let bits = search.regular(&candidate, stream);
            let part = Part { stream, bits: 0.0 };
            let alone = Candidate {
                parts: vec![part],
                ..candidate.clone()
            };
            let (kept, exact) = Figure::of(&alone, search, strokes).holds(strokes);
            (bits >= ENOUGH && kept >= PARTNER && exact >= PARTNER).then_some((part, bits))
        })
        .max_by(|a, b| a.1.total_cmp(&b.1));
    candidate.parts.extend(best.map(|(part, _)| part));
    candidate
}

/// Whether two candidates share a voice where both last.
fn share(a: &Candidate, b: &Candidate, strokes: &Strokes) -> bool {
    let voices = |c: &Candidate| -> Vec<Voice> {
        c.parts
            .iter()
            .flat_map(|p| strokes.streams[p.stream].voices.clone())
            .collect()
    };
    let together = a.span.0 < b.span.1 && b.span.0 < a.span.1;
    together && voices(a).iter().any(|v| voices(b).contains(v))
}

/// Takes the streams of a figure, and all that share their voices, out of the search where the figure lasts.
fn take(figure: &Figure, strokes: &mut Strokes) {
    for line in &figure.lines {
        let voices = strokes.streams[line.stream].voices.clone();
        for stream in strokes
            .streams
            .iter_mut()
            .filter(|s| s.voices.iter().any(|v| voices.contains(v)))
        {
            stream.taken.push(figure.span);
        }
    }
}
