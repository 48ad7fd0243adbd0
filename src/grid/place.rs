//! [`Hit`]s and [`Grid`] -> [`Placed`] hits: each on its step, by the cheapest path through all of them.
//!
//! A hit's lateness is not judged alone. A group that rushes or drags does so together, and a limb has a constant
//! offset of its own (TRADE 5), so the path pays for lateness beyond the voice's own and for changes of it; it keeps
//! the order of the hits, and two hits of one voice take two steps unless the first is a grace stroke.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::Grid;
use super::events::TOGETHER;
use super::uneven::JUST_BEFORE;
use crate::names::Voice;
use crate::units::{Millis, Seconds, Steps};
use crate::voices::Hit;

/// A grace stroke comes at most this long (s) before its main stroke (TRADE 5) [M].
const GRACE: f64 = 0.05;
/// Spread of a hit around its step, in steps: what a whole step is divided by before it is squared.
const LATE: f64 = 0.18;
/// Spread of the change of lateness from one hit to the next, in steps.
const CHANGE: f64 = 0.14;

/// A place in the music: all three count from 1, and bar 0 or less is a pick-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Place {
    /// Bar.
    pub bar: i64,
    /// Beat in the bar.
    pub beat: i64,
    /// Step in the beat.
    pub step: i64,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "bar {}, beat {}, step {}", self.bar, self.beat, self.step)
    }
}

/// A hit on its step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// The hit.
    pub hit: Hit,
    /// Its step.
    pub step: Steps,
    /// How late it comes after its step; negative is early.
    pub late: Millis,
}

/// Hits that are struck together, with the voices that may not share a step with the next ones.
struct Chord {
    /// Where it lies, in steps, its voices' own offsets taken off.
    place: f64,
    time: f64,
    voices: Vec<Voice>,
    /// How many hits it has.
    hits: usize,
}

/// Puts each hit on its step by a smooth path, keeping the order of `hits`, which must be sorted by time. Empty when
/// the grid has no beats. Lateness is counted from the grid, offsets of single voices included.
pub fn place(hits: &[Hit], grid: &Grid) -> Vec<Placed> {
    let Some(places) = hits
        .iter()
        .map(|h| grid.steps_at(h.time))
        .collect::<Option<Vec<f64>>>()
    else {
        return Vec::new();
    };
    let offsets = offsets(hits, &places);
    let chords = chords(hits, &places, &offsets);
    let steps = path(&chords);
    let each = chords
        .iter()
        .zip(steps)
        .flat_map(|(chord, step)| std::iter::repeat_n(step, chord.hits));
    let placed = |(hit, step): (&Hit, i64)| {
        let step = Steps(step);
        let late = grid
            .own_step(hit.time)
            .or_else(|| grid.time_of(step))
            .map_or(Millis(0.0), |t| (hit.time - t).to_millis());
        Placed {
            hit: *hit,
            step,
            late,
        }
    };
    hits.iter().zip(each).map(placed).collect()
}

impl Grid {
    /// In a beat that is divided otherwise than the piece, the time of the step there that is nearest to `time`.
    fn own_step(&self, time: Seconds) -> Option<Seconds> {
        if self.uneven.is_empty() {
            return None;
        }
        let place = self.beats_at(time)?;
        // As when such beats are found, a stroke just before a beat belongs to it.
        let beat = (place + JUST_BEFORE).floor();
        let index = beat + self.first_downbeat as f64;
        let found = self
            .uneven
            .binary_search_by(|u| (u.beat as f64).total_cmp(&index));
        let steps = f64::from(self.uneven.get(found.ok()?)?.steps);
        self.time_at(beat + ((place - beat) * steps).round() / steps)
    }
}

/// Each voice's usual distance from the nearest step, in steps; 0 for voices too rare to tell.
fn offsets(hits: &[Hit], places: &[f64]) -> Vec<(Voice, f64)> {
    let offset = |voice: &Voice| {
        let own = hits.iter().zip(places).filter(|(h, _)| h.voice == *voice);
        let mut off: Vec<f64> = own.map(|(_, p)| p - p.round()).collect();
        off.sort_by(f64::total_cmp);
        let median = if off.len() < 8 { 0.0 } else { off[off.len() / 2] };
        (*voice, median.clamp(-0.25, 0.25))
    };
    Voice::ALL.iter().map(offset).collect()
}

fn chords(hits: &[Hit], places: &[f64], offsets: &[(Voice, f64)]) -> Vec<Chord> {
    let mut chords: Vec<Chord> = Vec::new();
    let mut begun = f64::NEG_INFINITY;
    for (hit, place) in hits.iter().zip(places) {
        let own = offsets
            .iter()
            .find(|(v, _)| *v == hit.voice)
            .map_or(0.0, |(_, o)| *o);
        let place = place - own;
        match chords.last_mut() {
            Some(chord) if hit.time.0 - begun <= TOGETHER && !chord.voices.contains(&hit.voice) => {
                chord.place += (place - chord.place) / (chord.hits + 1) as f64;
                chord.hits += 1;
                chord.voices.push(hit.voice);
            }
            _ => {
                begun = hit.time.0;
                chords.push(Chord {
                    place,
                    time: begun,
                    voices: vec![hit.voice],
                    hits: 1,
                });
            }
        }
    }
    chords
}

/// Steps around a chord that it may take.
const REACH: i64 = 3;

/// The cheapest steps, never falling, and rising where a voice comes back.
fn path(chords: &[Chord]) -> Vec<i64> {
    let wide = (2 * REACH + 1) as usize;
    let nearest = |c: &Chord| c.place.round() as i64;
    let mut costs = vec![0.0; wide];
    let mut from: Vec<Vec<usize>> = Vec::with_capacity(chords.len());
    for (i, chord) in chords.iter().enumerate() {
        let before = i.checked_sub(1).and_then(|b| chords.get(b));
        let mut next = vec![f64::INFINITY; wide];
        let mut back = vec![0; wide];
        for (k, (cost, came)) in next.iter_mut().zip(&mut back).enumerate() {
            let step = nearest(chord) + k as i64 - REACH;
            let late = chord.place - step as f64;
            let own = (late / LATE).powi(2);
            let Some(before) = before else {
                *cost = own;
                continue;
            };
            for (j, so_far) in costs.iter().enumerate() {
                let step_before = nearest(before) + j as i64 - REACH;
                let sum = so_far + own + joining(before, chord, step_before, step);
                if sum < *cost {
                    (*cost, *came) = (sum, j);
                }
            }
        }
        costs = next;
        from.push(back);
    }
    let Some((mut k, _)) = costs.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1)) else {
        return Vec::new();
    };
    let mut steps = Vec::with_capacity(chords.len());
    for (chord, back) in chords.iter().zip(&from).rev() {
        steps.push(nearest(chord) + k as i64 - REACH);
        k = back[k];
    }
    steps.reverse();
    steps
}

/// Price of going from one chord on its step to the next: infinite against the order.
fn joining(a: &Chord, b: &Chord, from: i64, to: i64) -> f64 {
    let again = b.voices.iter().any(|v| a.voices.contains(v)) && b.time - a.time > GRACE;
    if to < from || (to == from && again) {
        return f64::INFINITY;
    }
    let change = (b.place - to as f64) - (a.place - from as f64);
    // Lateness drifts: over a longer gap a change is less of a surprise.
    let gap = (b.place - a.place).max(1.0);
    (change / CHANGE).powi(2) / gap
}
