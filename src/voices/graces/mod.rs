//! [`Hit`]s -> the same, each flam and drag one hit with its mark and the time of its grace stroke.
//!
//! Every stroke on a drum that hands play is looked at closely (`fine`) for pairs of attacks (`pairs`), and listened to
//! twice as finely ([`Sharp`]); a sum of small decision trees fitted by `tests/fitting/flams.py` says which are a grace
//! stroke and its main stroke. A drag is one
//! with two soft strokes. The hit's time is the main stroke's.

mod fine;
mod pairs;

use rayon::prelude::*;

use crate::audio::Recording;
use crate::hits::decide::Trees;
use crate::listen::{Heard, Sharp};
use crate::names::{Mark, Voice};
use crate::units::{Decibels, Millis, Seconds};
use crate::voices::Hit;

use pairs::{Gallery, Moment};
pub use pairs::{NUMBERS, Pair};

/// Log odds from which on a pair is a flam: measured, one plain stroke in a hundred is taken for one, and 63 to 80
/// flams of a hundred are marked on drums in rooms.
const LEAST: f32 = -0.3;
/// The same where a band plays along, whose notes begin near strokes.
const LEAST_IN_MIX: f32 = 5.0;

/// Pairs whose times differ by this in sum, at most, and whose log odds by this, are one flam.
const SAME: Millis = Millis(16.0);
const CLOSE: f32 = 2.5;

/// Hits this near to one of a pair's attacks are of that stroke.
const OF_IT: Millis = Millis(8.0);

/// Nearer or further apart than this (TRADE 5 [M]) two strokes are no flam.
const NARROWEST: Millis = Millis(12.0);
const WIDEST: Millis = Millis(50.0);

/// The first grace stroke of a drag begins 50 to 110 ms before the main one (TRADE 5 [M]).
const DRAG: (Millis, Millis) = (Millis(45.0), Millis(110.0));

/// The two grace strokes of a drag lie about as far from each other as the second from the main one: least and most
/// ratio of the two gaps [M].
const EVEN: (f64, f64) = (0.6, 1.7);

/// A flam or a drag.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Grace {
    /// The stroke by which it was found.
    hit: usize,
    /// When its (last) grace stroke begins.
    grace: Seconds,
    /// When its main stroke begins.
    main: Seconds,
    /// How much louder the main stroke is than the drum usually, dB.
    over: f64,
    /// Log odds.
    odds: f32,
}

/// Makes one hit of each flam and each drag; `mix`: a band plays along. `hits` are sorted by time, and so is the result.
pub(super) fn joined(recording: &Recording, sharp: &Sharp, hits: Vec<Hit>, mix: bool) -> Vec<Hit> {
    let least = if mix { LEAST_IN_MIX } else { LEAST };
    let graces = found(recording, sharp, &hits, least);
    let usual = usual_levels(&hits);
    let mut joined = hits.clone();
    let mut gone = vec![false; hits.len()];
    for grace in &graces {
        let Some(struck) = hits.get(grace.hit) else {
            continue;
        };
        let near = |hit: &Hit, time: Seconds| (hit.time - time).0.abs() <= OF_IT.to_seconds().0;
        let between = |hit: &Hit| hit.time >= grace.grace && hit.time <= grace.main;
        for (at, hit) in hits.iter().enumerate().filter(|(_, hit)| !gone_far(hit, grace)) {
            let of_it = near(hit, grace.grace) || near(hit, grace.main) || between(hit);
            if at != grace.hit && of_it && is_skin(hit.voice) {
                gone[at] = true;
            } else if at != grace.hit && hit.time == struck.time {
                // What was struck together was found together, by the first sound of the grace stroke.
                joined[at].time = grace.main;
            }
        }
        let main = &mut joined[grace.hit];
        main.time = grace.main;
        main.mark = Some(Mark::Flam);
        main.grace = Some((grace.main - grace.grace).to_millis());
        // Heard from the grace stroke on, the level was not the main stroke's.
        if (struck.time - grace.main).0.abs() > OF_IT.to_seconds().0 {
            main.level = Decibels(
                (usual[struck.voice as usize] + grace.over)
                    .min(0.0)
                    .max(struck.level.0),
            );
        }
    }
    for grace in &graces {
        drag(grace, &hits, &mut joined, &mut gone);
    }
    let left = joined.into_iter().zip(gone).filter(|(_, gone)| !gone);
    let mut left: Vec<Hit> = left.map(|(hit, _)| hit).collect();
    left.sort_by(|a, b| a.time.0.total_cmp(&b.time.0).then(a.voice.cmp(&b.voice)));
    left
}

/// Whether a hit lies far from the pair.
fn gone_far(hit: &Hit, grace: &Grace) -> bool {
    hit.time < grace.grace - Seconds(0.02) || hit.time > grace.main + Seconds(0.02)
}

/// Makes a drag of a flam before whose grace stroke lies one more, alone of its kind: a third would be a roll.
fn drag(grace: &Grace, hits: &[Hit], joined: &mut [Hit], gone: &mut [bool]) {
    let gap = (grace.main - grace.grace).to_millis();
    let same = |hit: &Hit| is_skin(hit.voice);
    let before = |from: Seconds, most: Millis| {
        let close = from - most.to_seconds();
        let own = hits.iter().enumerate().rev();
        own.filter(move |(_, hit)| same(hit) && hit.time >= close && hit.time <= from - Seconds(0.015))
            .map(|(at, hit)| (at, *hit))
            .collect::<Vec<_>>()
    };
    let [(at, first)] = before(grace.grace, Millis(DRAG.1.0 - gap.0))[..] else {
        return;
    };
    let whole = (grace.main - first.time).to_millis();
    let ratio = (grace.grace - first.time).to_millis().0 / gap.0;
    let third = before(first.time, Millis(1.5 * gap.0));
    let soft = joined[grace.hit].level.0 - first.level.0 >= SOFTER;
    let fits = (DRAG.0.0..=DRAG.1.0).contains(&whole.0) && (EVEN.0..=EVEN.1).contains(&ratio);
    if fits && soft && third.is_empty() && first.mark.is_none() && !gone[at] {
        gone[at] = true;
        joined[grace.hit].mark = Some(Mark::Drag);
        joined[grace.hit].grace = Some(whole);
    }
}

/// A grace stroke is at least so much softer than its main stroke, dB (TRADE 5 [M]).
const SOFTER: f64 = 6.0;

/// The median level of each voice, in the order of [`Voice::ALL`].
fn usual_levels(hits: &[Hit]) -> Vec<f64> {
    let of = |voice: &Voice| {
        let own = hits.iter().filter(|hit| hit.voice == *voice);
        f64::from(pairs::median(own.map(|hit| hit.level.0 as f32).collect()))
    };
    Voice::ALL.iter().map(of).collect()
}

/// Every flam of log odds `least` or more, the surest first where two claim the same strokes, then in order.
fn found(recording: &Recording, sharp: &Sharp, hits: &[Hit], least: f32) -> Vec<Grace> {
    let trees = Trees::read(include_str!("trees.txt"));
    let likeliest = |(hit, pairs): (usize, Vec<Pair>)| {
        let judged: Vec<(&Pair, f32)> = (pairs.iter())
            .map(|pair| (pair, trees.log_odds(&pair.numbers)))
            .collect();
        let (best, odds) = *judged.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
        // Of the readings of one flam, the one whose attacks are clearest has the right times.
        let same = |pair: &Pair| {
            let off = (pair.grace - best.grace).0.abs() + (pair.main - best.main).0.abs();
            off <= SAME.to_seconds().0
        };
        let as_good = judged
            .iter()
            .filter(|(pair, own)| same(pair) && *own >= odds - CLOSE);
        let (pair, _) = as_good.max_by(|a, b| a.0.rise.total_cmp(&b.0.rise))?;
        let gap = (pair.main - pair.grace).to_millis();
        (odds >= least && gap >= NARROWEST && gap <= WIDEST).then_some(Grace {
            hit,
            grace: pair.grace,
            main: pair.main,
            over: pair.over,
            odds,
        })
    };
    // Judged one by one, as the pairs of hours would fill the memory.
    let gallery = Gallery::of(recording, hits);
    let each = each_pairs(recording, sharp, &gallery, hits);
    let mut all: Vec<Grace> = each.filter_map(likeliest).collect();
    all.sort_by(|a, b| b.odds.total_cmp(&a.odds).then(a.hit.cmp(&b.hit)));
    let mut kept: Vec<Grace> = Vec::new();
    for grace in all {
        let apart = |other: &Grace| {
            grace.main < other.grace - Seconds(0.01) || grace.grace > other.main + Seconds(0.01)
        };
        if kept.iter().all(apart) {
            kept.push(grace);
        }
    }
    kept.sort_by_key(|grace| grace.hit);
    kept
}

/// Whether grace strokes are looked for on it: drums that hands play [C].
fn is_skin(voice: Voice) -> bool {
    matches!(
        voice,
        Voice::Snare
            | Voice::Snare2
            | Voice::TomHigh
            | Voice::TomMid
            | Voice::TomLow
            | Voice::TomFloor
            | Voice::TomFloor2
    )
}

/// Every pair of attacks around every skin stroke, stroke by stroke: what the decision is fitted to. `hits` are sorted by time.
pub fn pairs(recording: &Recording, heard: &Heard, hits: &[Hit]) -> Vec<(usize, Vec<Pair>)> {
    let gallery = Gallery::of(recording, hits);
    let sharp = Sharp::listen(recording, heard);
    each_pairs(recording, &sharp, &gallery, hits).collect()
}

fn each_pairs<'a>(
    recording: &'a Recording,
    sharp: &'a Sharp,
    gallery: &'a Gallery,
    hits: &'a [Hit],
) -> impl ParallelIterator<Item = (usize, Vec<Pair>)> + 'a {
    (0..hits.len())
        .into_par_iter()
        .filter(|at| hits.get(*at).is_some_and(|hit| is_skin(hit.voice)))
        .filter_map(|at| Some((at, Moment::of(recording, sharp, gallery, hits, at)?.pairs())))
}
