//! Strokes in their beats -> swing: whether pairs of eighths or of sixteenths are played long and short, and in which
//! ratio.

use serde::{Deserialize, Serialize};

use super::division::{Division, density};
use super::events::Event;
use super::smooth::places;

/// Strokes off the beat that a ratio needs.
const FEWEST: usize = 8;
/// A pair is swung from this ratio on; nearer to 1 it is straight, and a voice's own lateness explains as much [M].
const LEAST: f64 = 1.05;
/// The first note of a pair takes at most this share of it: a little over 3 : 1.
const LONGEST: f64 = 0.77;

/// Pairs of steps that are played long and short.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Swing {
    /// How long the first step of a pair is, the second being 1.
    pub ratio: f64,
    /// Standard deviation of the ratio from pair to pair.
    pub spread: f64,
}

impl Swing {
    /// Share of a pair that the first step takes.
    pub fn long(self) -> f64 {
        self.ratio / (1.0 + self.ratio)
    }
}

/// The swing that explains the strokes better than `plain` steps do, with the steps per beat that a player would write:
/// 2 for swung eighths, 4 for swung sixteenths. Only `only` steps per beat are tried when it is given.
pub(super) fn swing(
    events: &[Event],
    beats: &[f64],
    period: f64,
    plain: u32,
    only: Option<u32>,
) -> Option<(u32, Swing)> {
    let places = places(events, beats);
    let plain = density(events, &places, period, Division::even(plain)).0;
    let weight: f64 = events.iter().map(|e| e.weight).sum::<f64>().max(2.0);
    let price = 0.5 * weight.ln() / weight;
    let tried = [2, 4]
        .into_iter()
        .filter(|steps| only.is_none_or(|only| only == *steps));
    tried
        .filter_map(|steps| Some((steps, ratio(&places, steps)?)))
        .filter(|(_, swing)| swing.ratio >= LEAST)
        .map(|(steps, swing)| {
            let long = swing.long();
            (
                density(events, &places, period, Division { steps, long }).0 - price,
                steps,
                swing,
            )
        })
        .filter(|(fit, ..)| *fit > plain)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, steps, swing)| (steps, swing))
}

/// The ratio that the second strokes of pairs have, by the median of where they lie; each pair is measured by itself
/// for the spread.
pub(super) fn ratio(places: &[f64], steps: u32) -> Option<Swing> {
    let pairs = f64::from(steps) / 2.0;
    let mut seconds: Vec<f64> = places
        .iter()
        .map(|p| (p * pairs).rem_euclid(1.0))
        .filter(|x| (0.4..=LONGEST + 0.08).contains(x))
        .collect();
    if seconds.len() < FEWEST {
        return None;
    }
    seconds.sort_by(f64::total_cmp);
    let long = seconds[seconds.len() / 2];
    let near: Vec<f64> = seconds
        .iter()
        .copied()
        .filter(|x| (x - long).abs() < 0.1)
        .collect();
    let count = near.len().max(1) as f64;
    let mean = near.iter().sum::<f64>() / count;
    let variance = near.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / count;
    (mean <= LONGEST).then(|| Swing {
        ratio: mean / (1.0 - mean),
        // The slope of the ratio at this share.
        spread: variance.sqrt() / (1.0 - mean).powi(2),
    })
}
