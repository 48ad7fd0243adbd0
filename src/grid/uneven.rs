//! Strokes on the chosen grid -> the beats that are divided otherwise than the piece.
//!
//! Each beat's strokes are weighed under every subdivision; a path through the beats pays for a finer division and
//! for every change, so that one loose stroke does not make a quintuplet.

use super::division::{Division, SUBDIVISIONS};

/// Price (nats) of leaving the piece's subdivision or coming back to it [M].
const CHANGE: f64 = 3.0;
/// Price of a step more in a beat, per stroke: a stroke has so many more places to be near by chance.
const FINER: f64 = 1.0;
/// Steps that come faster than this (s) are no steps that hands play: one hand alone reaches 10 strokes a second,
/// two some 20 (TRADE 7) [M].
const FASTEST: f64 = 0.045;
/// Share of strokes that lie anywhere.
const STRAY: f64 = 0.02;
/// A stroke so many beats before a beat belongs to it.
pub(super) const JUST_BEFORE: f64 = 0.04;
/// Fewer strokes than this beside the usual steps of a beat do not show another subdivision: one may be a grace stroke.
const FEWEST: usize = 2;
/// A stroke is beside a step when it is more than so many spreads away.
const BESIDE: f64 = 3.0;
/// The least spread of a player's strokes in seconds (TRADE 5) [P: Fujii 2011].
const STEADIEST: f64 = 0.008;

/// A beat that is divided otherwise than the piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnevenBeat {
    /// Which of the grid's beats, from 0.
    pub beat: usize,
    /// Steps in it.
    pub steps: u32,
}

/// The beats whose strokes, at `places` in beats, lie on other steps than those of `usual`; `spread` is how far strokes
/// lie from their steps in seconds.
pub(super) fn uneven(places: &[f64], beats: &[f64], usual: Division, spread: f64) -> Vec<UnevenBeat> {
    let mut inside: Vec<Vec<f64>> = vec![Vec::new(); beats.len()];
    for place in places {
        let beat = (place + JUST_BEFORE).floor();
        if let Some(strokes) = (beat >= 0.0)
            .then_some(beat as usize)
            .and_then(|b| inside.get_mut(b))
        {
            strokes.push(place - beat);
        }
    }
    let divisions: Vec<Division> = std::iter::once(usual)
        .chain(
            SUBDIVISIONS
                .into_iter()
                .filter(|s| !usual.steps.is_multiple_of(*s))
                .map(Division::even),
        )
        .collect();
    let period = |i: usize| match (beats.get(i), beats.get(i + 1)) {
        (Some(a), Some(b)) => b - a,
        _ => beats.windows(2).last().map_or(0.5, |w| w[1] - w[0]),
    };
    let costs: Vec<Vec<f64>> = inside
        .iter()
        .enumerate()
        .map(|(i, strokes)| {
            divisions
                .iter()
                .map(|d| cost(strokes, *d, period(i), spread))
                .collect()
        })
        .collect();
    let path = cheapest(&costs, divisions.len());
    let spread = spread.max(STEADIEST);
    let beside = |beat: usize| {
        let off = |place: &&f64| {
            (*place - usual.place(usual.nearest(**place))).abs() * period(beat) > BESIDE * spread
        };
        inside
            .get(beat)
            .map_or(0, |strokes| strokes.iter().filter(off).count())
    };
    path.into_iter()
        .enumerate()
        .filter(|(beat, chosen)| *chosen > 0 && beside(*beat) >= FEWEST)
        .filter_map(|(beat, chosen)| divisions.get(chosen).map(|d| UnevenBeat { beat, steps: d.steps }))
        .collect()
}

/// Minus the log density of a beat's strokes on a division.
fn cost(strokes: &[f64], division: Division, period: f64, spread: f64) -> f64 {
    let steps = f64::from(division.steps);
    if period / steps < FASTEST && division.steps > 4 {
        return f64::INFINITY;
    }
    let width = spread.max(STEADIEST) / period.max(1e-6);
    let peak = 1.0 / (width * (2.0 * std::f64::consts::PI).sqrt());
    let each = strokes.iter().map(|place| {
        let off = (place - division.place(division.nearest(*place))) / width;
        -(STRAY + (1.0 - STRAY) * peak * (-0.5 * off * off).exp() / steps.powf(FINER)).ln()
    });
    each.sum()
}

/// The cheapest choice for every beat: number 0 is the usual one.
fn cheapest(costs: &[Vec<f64>], count: usize) -> Vec<usize> {
    let mut so_far = vec![0.0f64; count];
    let mut from: Vec<Vec<usize>> = Vec::with_capacity(costs.len());
    for own in costs {
        let best = (0..count)
            .min_by(|a, b| so_far[*a].total_cmp(&so_far[*b]))
            .unwrap_or(0);
        let step = |k: usize| {
            let change = if best == 0 || k == 0 { CHANGE } else { 2.0 * CHANGE };
            if so_far[best] + change < so_far[k] {
                (so_far[best] + change, best)
            } else {
                (so_far[k], k)
            }
        };
        let steps: Vec<(f64, usize)> = (0..count).map(step).collect();
        so_far = steps.iter().zip(own).map(|((sum, _), own)| sum + own).collect();
        from.push(steps.into_iter().map(|(_, came)| came).collect());
    }
    let mut k = (0..count)
        .min_by(|a, b| so_far[*a].total_cmp(&so_far[*b]))
        .unwrap_or(0);
    let mut path = Vec::with_capacity(costs.len());
    for back in from.iter().rev() {
        path.push(k);
        k = back[k];
    }
    path.reverse();
    path
}
