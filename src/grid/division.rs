//! How a beat is divided: into even steps, or into pairs of a long and a short one when the playing swings.

use super::events::Event;

/// Steps per beat that are tried.
pub(super) const SUBDIVISIONS: [u32; 9] = [1, 2, 3, 4, 5, 6, 7, 8, 12];
/// Share of strokes that lie anywhere when steps are judged: ornaments, wrong hits.
const STRAY: f64 = 0.05;
/// Spreads of strokes around their steps that are tried, in seconds: from a steady hand to a loose one (TRADE 5) [M].
const SPREADS: [f64; 4] = [0.006, 0.010, 0.016, 0.024];

/// Steps in a beat, and where they lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Division {
    /// Steps in a beat.
    pub(super) steps: u32,
    /// Share of a pair of steps that the first one takes: 0.5 when they are even.
    pub(super) long: f64,
}

impl Division {
    /// Even steps.
    pub(super) fn even(steps: u32) -> Division {
        Division {
            steps: steps.max(1),
            long: 0.5,
        }
    }

    fn swings(self) -> bool {
        self.steps.is_multiple_of(2) && self.long != 0.5
    }

    /// The step nearest to `place`, a place in beats; steps count from beat 0.
    pub(super) fn nearest(self, place: f64) -> f64 {
        let steps = place * f64::from(self.steps);
        if !self.swings() {
            return steps.round();
        }
        let pair = (steps / 2.0).floor();
        let inside = steps / 2.0 - pair;
        2.0 * pair
            + match inside {
                x if x < self.long / 2.0 => 0.0,
                x if x < (1.0 + self.long) / 2.0 => 1.0,
                _ => 2.0,
            }
    }

    /// Where a step lies, in beats.
    pub(super) fn place(self, step: f64) -> f64 {
        straight_to_swung(step, self.steps, self.long) / f64::from(self.steps)
    }
}

/// Where straight step `step`, which may have a fraction, lies when the first of each pair of steps takes `long` of it.
pub(super) fn straight_to_swung(step: f64, steps: u32, long: f64) -> f64 {
    if long == 0.5 || !steps.is_multiple_of(2) {
        return step;
    }
    let pair = 2.0 * (step / 2.0).floor();
    let inside = step - pair;
    pair + if inside < 1.0 {
        inside * 2.0 * long
    } else {
        2.0 * (long + (inside - 1.0) * (1.0 - long))
    }
}

/// The inverse of [`straight_to_swung`].
pub(super) fn swung_to_straight(step: f64, steps: u32, long: f64) -> f64 {
    if long == 0.5 || !steps.is_multiple_of(2) {
        return step;
    }
    let pair = 2.0 * (step / 2.0).floor();
    let inside = (step - pair) / 2.0;
    pair + if inside < long {
        inside / long
    } else {
        1.0 + (inside - long) / (1.0 - long)
    }
}

/// The steps per beat that explain the places best, and the mean log density of the events with them; only `only` is
/// tried when it is given.
pub(super) fn subdivision(events: &[Event], places: &[f64], period: f64, only: Option<u32>) -> (u32, f64) {
    let tried = only.map_or(SUBDIVISIONS.to_vec(), |s| vec![s.max(1)]);
    let scored = tried
        .into_iter()
        .map(|steps| (steps, density(events, places, period, Division::even(steps)).0));
    scored.fold(
        (4, f64::NEG_INFINITY),
        |best, s| if s.1 > best.1 { s } else { best },
    )
}

/// Mean log density of the events on the steps of `division`, where 0 is "as often as anywhere", the price of the
/// steps taken off; and the spread of the strokes (s) that explains them best.
///
/// How often each step of the beat is struck is learned from the piece and paid for by half the logarithm of the
/// number of events for each step (Schwarz, Annals of Statistics 1978): that is the price of fineness.
pub(super) fn density(events: &[Event], places: &[f64], period: f64, division: Division) -> (f64, f64) {
    let count = division.steps as usize;
    let mut shares = vec![0.5; count];
    let mut strokes: Vec<(f64, f64, usize)> = Vec::with_capacity(events.len());
    for (event, place) in events.iter().zip(places) {
        let step = division.nearest(*place);
        let index = step.rem_euclid(count as f64) as usize % count;
        shares[index] += event.weight;
        strokes.push((event.weight, (place - division.place(step)) * period, index));
    }
    let weight: f64 = events.iter().map(|e| e.weight).sum::<f64>().max(1e-9);
    let sum: f64 = shares.iter().sum();
    let logs = |spread: f64| {
        let peak = (1.0 - STRAY) * period / (spread * (2.0 * std::f64::consts::PI).sqrt() * sum);
        let log = |(weight, off, index): &(f64, f64, usize)| {
            let z = off / spread;
            weight * (STRAY + peak * shares[*index] * (-0.5 * z * z).exp()).ln()
        };
        strokes.iter().map(log).sum::<f64>() / weight
    };
    let best = SPREADS.into_iter().map(|spread| (logs(spread), spread)).fold(
        (f64::NEG_INFINITY, SPREADS[0]),
        |best, s| {
            if s.0 > best.0 { s } else { best }
        },
    );
    let price = 0.5 * (f64::from(division.steps) - 1.0) * weight.max(2.0).ln() / weight;
    (best.0 - price, best.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn swung_and_straight_steps_are_each_others_inverse() {
        for (steps, long) in [(2, 2.0 / 3.0), (4, 0.58), (8, 0.75), (3, 0.6), (4, 0.5)] {
            for i in -40..40 {
                let step = f64::from(i) * 0.37;
                let back = swung_to_straight(straight_to_swung(step, steps, long), steps, long);
                assert!((back - step).abs() < 1e-9, "{steps} {long} {step} {back}");
            }
        }
    }

    #[test]
    fn the_nearest_step_is_as_near_as_any() {
        for (steps, long) in [(2, 2.0 / 3.0), (4, 0.58), (3, 0.5), (6, 0.5)] {
            let division = Division { steps, long };
            for i in -50..50 {
                let place = f64::from(i) * 0.0731;
                let off = |step: f64| (division.place(step) - place).abs();
                let nearest = division.nearest(place);
                for other in -60..60 {
                    assert!(off(nearest) <= off(f64::from(other)) + 1e-9);
                }
            }
        }
    }
}
