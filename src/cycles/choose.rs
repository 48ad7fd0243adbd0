//! [`Candidate`]s -> [`Figure`]s: which of them are figures beyond doubt, one after the other.
//!
//! A false ostinato is worse than none. A figure must save bits over the bar after all prices, most of its notes must
//! be there, and shuffled music must hardly ever do as well. What it explains is then taken away, and the rest is
//! searched again: two figures may go on at once in different voices, or one after the other in the same.

use super::chance::{chance, is_pattern};
use super::figure::Figure;
use super::guess::Guess;
use super::price::Work;
use super::search::{Against, Among, Asked, Candidate, Part, Search};
use super::strokes::{Strokes, Turn};
use super::{Carrier, Cycle, Verdict};
use crate::grid::Grid;
use crate::names::Voice;

/// Bits that a figure saves over the best account without it, less what a row of figures in its place would save over
/// it, to be likely and to be certain: for one that comes and goes, as cells that a free line strings together do now
/// and then; for one that goes through most of the music, which no cell does; and for a resolved one that goes
/// through, which repeats with its bars, so that all it can save is the price of a longer figure [=, tests].
const IN_PART: (f64, f64) = (30.0, 60.0);
const THROUGH: (f64, f64) = (8.0, 40.0);
const RESOLVED: (f64, f64) = (4.0, 20.0);

/// A figure goes through when it lasts for this share of the music.
const MOST_OF_IT: f64 = 0.8;

/// Shuffled music may do as well this often at most.
const RARE: f64 = 0.05;
const RARE_PATTERN: f64 = 0.1;

/// A figure is there throughout: so much of it in every quarter of its stretch. Several cells strung together are not.
const KEPT_THROUGHOUT: f64 = 0.6;

/// Where the bar alone tells as much, the figure must be cleaner: kept and exact, harmonic mean.
const CLEAN: f64 = 0.87;
const FAIRLY_CLEAN: f64 = 0.75;
const PLENTY: f64 = 60.0;

/// A figure that turns with the bar is worth telling when it comes round this often.
const MANY: usize = 8;

/// Two lengths save about as much when they differ by less than this.
const ABOUT: f64 = 2.0;

/// Bits over an even density that a partner saves at least.
const PARTNER_BITS: f64 = 20.0;

/// A voice that keeps time with a figure, of another limb, is part of it when its own notes hold this well.
const PARTNER: f64 = 0.75;

/// More figures at once or in turn than a listener could follow.
const MOST: usize = 6;

/// Candidates looked at closely in each round.
const CLOSELY: usize = 8;

/// A figure, how often shuffled music does as well, and its grade.
#[derive(Clone)]
pub(super) struct Found {
    pub(super) figure: Figure,
    chance: f64,
    grade: Verdict,
}

impl Found {
    /// The cycle as players and files see it.
    pub(super) fn cycle(&self, strokes: &Strokes, grid: &Grid, phrase_bars: u32) -> Cycle {
        let mut cycle = self.figure.cycle(strokes, grid, self.chance, self.grade);
        cycle.home = self.figure.home(&cycle, strokes, grid, phrase_bars);
        cycle
    }
}

/// What [`choose`] gives.
pub(super) struct Chosen {
    /// Figures that are certain or likely: those that cross the bar first, each kind in the order of their bits.
    pub(super) found: Vec<Found>,
    /// The best one that is not; after others only one that saves bits at all.
    pub(super) open: Option<Found>,
    /// The first search's best candidate of each length.
    pub(super) lengths: Vec<Candidate>,
}

/// Finds one figure after the other.
pub(super) fn choose(strokes: &mut Strokes, asked: Asked) -> Chosen {
    let mut found: Vec<Found> = Vec::new();
    let (mut lengths, mut open) = (Vec::new(), None);
    // What was priced stays so: a figure that is found takes streams away and changes no other.
    let (mut free_known, mut resolved_known) = (Vec::new(), Vec::new());
    while found.len() < MOST {
        let search = Search::new(strokes, Among::Voices, asked);
        let free = search.free(&mut free_known);
        if found.is_empty() {
            lengths = [free.clone(), search.with_the_bar(Against::Bar)].concat();
        }
        let candidates = [closely(free), closely(search.resolved(&mut resolved_known))].concat();
        let next = first_good(candidates, &search, strokes, Against::Bar);
        match next {
            Some(next) if next.grade != Verdict::Open => {
                take(&next.figure, strokes);
                found.push(next);
            }
            other => {
                let guess = likeliest(&search, strokes);
                if let Some(guess) = guess.as_ref().filter(|guess| guess.grade != Verdict::Open) {
                    take(&guess.figure, strokes);
                    found.push(guess.clone());
                    continue;
                }
                let bits = |found: &Found| found.figure.bits;
                // A cycle that starts anew stays the closest where it saves bits, or more than the likeliest free one.
                let most = guess.as_ref().map_or(f64::NEG_INFINITY, bits).min(0.0);
                open = match other {
                    Some(other) if other.figure.turn.round > 0 && bits(&other) > most => Some(other),
                    other => guess.or(other),
                };
                open = open.filter(|open| found.is_empty() || bits(open) > 0.0);
                break;
            }
        }
    }
    if let Some(next) = composed(&found, strokes, asked) {
        if next.grade == Verdict::Open {
            open = open.filter(|o| o.figure.bits > 0.0).or(Some(next));
        } else {
            take(&next.figure, strokes);
            found.push(next);
        }
    }
    found.sort_by(|a, b| b.figure.bits.total_cmp(&a.figure.bits));
    let search = Search::new(strokes, Among::Voices, asked);
    let mut locked = closely(search.with_the_bar(Against::Density));
    locked.iter_mut().for_each(|c| part_over_the_bar(c, &search));
    let next = first_good(locked, &search, strokes, Against::Density);
    if let Some(next) = next.filter(|next| next.grade != Verdict::Open) {
        take(&next.figure, strokes);
        found.push(next);
    }
    lengths.sort_by_key(|c| c.turn.length);
    Chosen { found, open, lengths }
}

/// The best guess where no figure is proved: the length for which all stretches and voices together tell most, figures
/// twice as long being half as frequent [M].
fn likeliest(search: &Search, strokes: &Strokes) -> Option<Found> {
    let longest = search.lengths.last().copied().unwrap_or(2) as f64;
    // The shares of all lengths are one together; that it runs freely is one bit.
    let price = |g: &Guess| (g.candidate.turn.length as f64 * longest.ln()).log2() + 1.0;
    let told = |g: &Guess| g.told - price(g);
    let guesses = search.guesses();
    let best = guesses.iter().max_by(|a, b| told(a).total_cmp(&told(b)))?;
    let found = first_good(vec![best.candidate.clone()], search, strokes, Against::Bar)?;
    let bits = found.figure.bits.max(told(best));
    Some(Found {
        figure: Figure { bits, ..found.figure },
        ..found
    })
}

/// A figure that is home within a few bars turns with as many: where a part of it that crosses the bar tells the same
/// strokes in fewer bits, that is the figure.
fn part_over_the_bar(candidate: &mut Candidate, search: &Search) {
    let length = candidate.turn.length;
    let crossing = (2..length).filter(|d| length.is_multiple_of(*d) && search.strokes.crosses(*d));
    let mut work = Work::default();
    let parts = crossing.map(|d| search.explain(Turn::free(d), candidate.span, Against::Density, &mut work));
    let best = parts.max_by(|a, b| a.bits.total_cmp(&b.bits));
    if let Some(part) = best.filter(|part| part.bits > candidate.bits) {
        *candidate = part;
    }
}

/// A figure of accents, or of the whole line, in what the figures of single voices leave; nothing when it saves no
/// bits, or when it is one of those figures again.
fn composed(found: &[Found], strokes: &Strokes, asked: Asked) -> Option<Found> {
    let search = Search::new(strokes, Among::Composed, asked);
    let again = |c: &Candidate| {
        let mut same = found.iter().filter(|f| f.figure.turn.length == c.turn.length);
        same.any(|f| f.figure.span.0 < c.span.1 && c.span.0 < f.figure.span.1)
    };
    let mut candidates = search.free(&mut Vec::new());
    candidates.retain(|c| c.bits > 0.0 && !again(c));
    first_good(closely(candidates), &search, strokes, Against::Bar)
}

/// The best few of the candidates.
fn closely(mut candidates: Vec<Candidate>) -> Vec<Candidate> {
    candidates.sort_by(|a, b| b.bits.total_cmp(&a.bits));
    candidates.truncate(CLOSELY);
    candidates
}

/// The candidate with most bits that is likely at least; else the one with most bits, which is open.
fn first_good(
    mut candidates: Vec<Candidate>,
    search: &Search,
    strokes: &Strokes,
    against: Against,
) -> Option<Found> {
    candidates.sort_by(|a, b| b.bits.total_cmp(&a.bits));
    shorter_first(&mut candidates);
    let mut open: Option<Found> = None;
    let mut refused: Vec<Candidate> = Vec::new();
    for c in candidates {
        // What is no figure running freely is not one that resolves either.
        if c.turn.round > 0 && refused.iter().any(|r| share(r, &c, strokes)) {
            continue;
        }
        // Nor is a multiple of it that tells no more.
        if refused
            .iter()
            .any(|r| is_multiple(&c, r) && c.bits < r.bits + ABOUT && share(r, &c, strokes))
        {
            continue;
        }
        let candidate = match against {
            Against::Bar => partner(shortest(c, search, strokes), search, strokes),
            Against::Density => c,
        };
        let candidate = search.settle(candidate);
        let figure = Figure::of(&candidate, search, strokes);
        let (grade, chance) = grade(&figure, &candidate, search, strokes, against);
        let found = Found {
            figure,
            chance,
            grade,
        };
        if grade != Verdict::Open {
            return Some(found);
        }
        if candidate.bits > 0.0 {
            refused.push(candidate);
        }
        open = open.or(Some(found));
    }
    open
}

/// How sure a figure is, and how often shuffled music does as well (1 where that was not asked).
fn grade(
    figure: &Figure,
    candidate: &Candidate,
    search: &Search,
    strokes: &Strokes,
    against: Against,
) -> (Verdict, f64) {
    let resolved = candidate.turn.round > 0;
    let (likely, certain) = match (goes_through(candidate.span, strokes), resolved) {
        (false, _) => IN_PART,
        (true, false) => THROUGH,
        (true, true) => RESOLVED,
    };
    let mut work = Work::default();
    let stays = search
        .seam(candidate, &mut work)
        .1
        .min(search.pieces(candidate, &mut work));
    let shown = candidate.bits + stays.min(0.0);
    let clean = clean(figure, strokes);
    let holds = figure.weakest_quarter(strokes) >= KEPT_THROUGHOUT
        && match against {
            Against::Bar => !resolved || clean >= FAIRLY_CLEAN,
            Against::Density => {
                let repeats = (figure.span.1 - figure.span.0) / candidate.turn.length;
                clean >= FAIRLY_CLEAN && repeats >= MANY && candidate.bits >= PLENTY
            }
        };
    if shown < likely || !holds {
        return (Verdict::Open, 1.0);
    }
    let chance = chance(candidate, search, strokes, against);
    let few_orders = is_pattern(candidate.turn, strokes.bar) && clean >= CLEAN;
    if chance > if few_orders { RARE_PATTERN } else { RARE } {
        (Verdict::Open, chance)
    } else if shown >= certain && !(against == Against::Density && strokes.crosses(candidate.turn.length)) {
        (Verdict::Certain, chance)
    } else {
        (Verdict::Likely, chance)
    }
}

/// Of lengths that save about as much, the shorter comes first where it divides the longer: a multiple explains what
/// its part explains, and strokes at will now and then fit it a little better.
fn shorter_first(candidates: &mut Vec<Candidate>) {
    let Some(best) = candidates.first().cloned() else {
        return;
    };
    let shorter = candidates
        .iter()
        .position(|c| is_multiple(&best, c) && c.bits >= best.bits - ABOUT);
    if let Some(index) = shorter {
        let shorter = candidates.remove(index);
        candidates.insert(0, shorter);
    }
}

/// Whether a candidate is several whole cycles of another.
fn is_multiple(long: &Candidate, short: &Candidate) -> bool {
    let (long, short) = (long.turn, short.turn);
    short.length < long.length && long.length.is_multiple_of(short.length) && short.round == long.round
}

/// Whether a stretch is most of the music.
fn goes_through(span: (usize, usize), strokes: &Strokes) -> bool {
    let steps = |(from, to): (usize, usize)| (to - from) as f64;
    steps(span) >= MOST_OF_IT * steps(strokes.whole)
}

/// How well a figure's notes and its voices' strokes agree: the harmonic mean of the share of its notes that are there
/// and the share of its voices' strokes that are its own.
fn clean(figure: &Figure, strokes: &Strokes) -> f64 {
    let (kept, exact) = figure.holds(strokes);
    2.0 * kept * exact / (kept + exact).max(f64::MIN_POSITIVE)
}

/// A length that two figures share, such as 60 for one of 12 and one of 10, is no figure of its own: where lengths that
/// divide it explain its streams so much better that a figure more pays, the one of those that saves most is meant.
fn shortest(candidate: Candidate, search: &Search, strokes: &Strokes) -> Candidate {
    let length = candidate.turn.length;
    let mut work = Work::default();
    let parts: f64 = candidate.parts.iter().map(|p| p.bits).sum();
    let price = parts - candidate.bits;
    let mut own: Vec<(usize, Part)> = candidate.parts.iter().map(|p| (length, *p)).collect();
    for shorter in (2..length).filter(|d| length.is_multiple_of(*d) && strokes.crosses(*d)) {
        let turn = Turn {
            length: shorter,
            ..candidate.turn
        };
        let part = search.explain(turn, candidate.span, Against::Bar, &mut work);
        for p in part.parts {
            match own.iter_mut().find(|(_, q)| q.stream == p.stream) {
                Some(best) if p.bits > best.1.bits => *best = (shorter, p),
                _ => {}
            }
        }
    }
    let saves = |length: usize| -> f64 {
        let parts = own.iter().filter(|(l, _)| *l == length);
        parts.map(|(_, p)| p.bits).sum()
    };
    let mut lengths: Vec<usize> = own.iter().map(|(l, _)| *l).collect();
    lengths.sort_unstable();
    lengths.dedup();
    let gain = own.iter().map(|(_, p)| p.bits).sum::<f64>() - parts;
    let most = lengths
        .iter()
        .copied()
        .max_by(|a, b| saves(*a).total_cmp(&saves(*b)));
    match most {
        Some(most) if gain > price * (lengths.len() - 1) as f64 && lengths != [length] => {
            let bits = saves(most) - price;
            let kept = own.iter().filter(|(l, _)| *l == most);
            let part = Candidate {
                turn: Turn {
                    length: most,
                    ..candidate.turn
                },
                parts: kept.map(|(_, p)| *p).collect(),
                bits,
                ..candidate.clone()
            };
            if bits >= PARTNER_BITS {
                search.refine(part, Against::Bar, &mut work)
            } else {
                candidate
            }
        }
        _ => candidate,
    }
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
        .filter(|(_, s)| s.carrier == Carrier::Voices && s.voices.len() == 1)
        .filter(|(_, s)| !s.is_taken(candidate.span.0, candidate.span.1))
        .filter(|(_, s)| !s.voices.iter().any(|v| own.contains(v)))
        .filter_map(|(stream, _)| {
            let bits = search.regular(&candidate, stream);
            let part = Part { stream, bits: 0.0 };
            let alone = Candidate {
                parts: vec![part],
                ..candidate.clone()
            };
            let (kept, exact) = Figure::of(&alone, search, strokes).holds(strokes);
            (bits >= PARTNER_BITS && kept >= PARTNER && exact >= PARTNER).then_some((part, bits))
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
        strokes.take(line.stream, figure.span);
    }
}
