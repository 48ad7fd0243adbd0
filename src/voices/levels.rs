//! Strokes -> how loud each is in its voice's own band, and which stand out as accents or ghosts.
//!
//! In: rows of features. Out: levels in decibels and marks. A stroke's level is what its class's own band rose by
//! (TRADE: kick and toms by their bodies, snare by body and wires, hats above 5 kHz, cymbals above 2.8 kHz [M]), so that a
//! kick under a crash is not as loud as the crash.

use super::classes::Class;
use super::features;
use crate::names::Mark;
use crate::units::Decibels;

/// Strokes of one voice from which accents and ghosts are told apart.
const FEWEST: usize = 12;
/// Ghost notes lie at least this far under the louder strokes of their voice, dB [M].
const GHOST_UNDER: f64 = 12.0;
/// Accents lie at least this far over the plain strokes of their voice, dB [M].
const ACCENT_OVER: f64 = 6.0;

/// The level of one stroke over the recording's reference.
pub(super) fn level(row: &[f32], class: Class) -> Decibels {
    let rise = match class {
        Class::Kick => features::low_rise(row, 0..5),
        Class::Tom => features::low_rise(row, 1..12),
        Class::Snare | Class::CrossStick => features::attack_rise(row, 0..22),
        Class::Hat | Class::HatOpen | Class::HatFoot => features::attack_rise(row, 16..26),
        Class::Cymbal | Class::RideBell | Class::Crash => features::attack_rise(row, 12..26),
    };
    Decibels(10.0 * f64::from(rise.max(1e-7)).log10())
}

/// Marks for the strokes of one voice, from their levels: where they fall into two groups, the softer one of many is
/// ghosts if it lies far enough below, and the louder one, if it is the smaller, accents.
pub(super) fn marks(levels: &[f64], ghosts: bool) -> Vec<Option<Mark>> {
    let none = vec![None; levels.len()];
    if levels.len() < FEWEST {
        return none;
    }
    let (split, low, high) = halves(levels);
    let loud = levels.iter().filter(|l| **l > split).count();
    let apart = high - low;
    let (above, below) = if ghosts && apart >= GHOST_UNDER {
        (None, Some(Mark::Ghost))
    } else if apart >= ACCENT_OVER && loud * 2 < levels.len() {
        (Some(Mark::Accent), None)
    } else {
        return none;
    };
    levels
        .iter()
        .map(|l| if *l > split { above } else { below })
        .collect()
}

/// Two groups with the least spread within them (Otsu, IEEE Trans. Systems, Man and Cybernetics 9, 1979): the level
/// between them and the mean of each.
fn halves(levels: &[f64]) -> (f64, f64, f64) {
    let mut sorted = levels.to_vec();
    sorted.sort_by(f64::total_cmp);
    let total: f64 = sorted.iter().sum();
    let count = sorted.len() as f64;
    let mut best = (f64::NEG_INFINITY, 0.0, 0.0, 0.0);
    let mut below = 0.0;
    for (index, pair) in sorted.windows(2).enumerate() {
        let [a, b] = [pair.first(), pair.last()].map(|x| x.copied().unwrap_or(0.0));
        below += a;
        let under = (index + 1) as f64;
        let (low, high) = (below / under, (total - below) / (count - under));
        let between = under * (count - under) * (high - low).powi(2);
        if between > best.0 {
            best = (between, (a + b) / 2.0, low, high);
        }
    }
    (best.1, best.2, best.3)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn soft_snare_strokes_far_under_the_others_are_ghosts() {
        let levels: Vec<f64> = (0..20)
            .map(|i| if i % 3 == 0 { -4.0 } else { -22.0 } + f64::from(i) * 0.05)
            .collect();
        for (level, mark) in levels.iter().zip(marks(&levels, true)) {
            assert_eq!(mark, (*level < -10.0).then_some(Mark::Ghost));
        }
    }

    #[test]
    fn a_few_strokes_over_the_rest_are_accents() {
        let levels: Vec<f64> = (0..20).map(|i| if i % 4 == 0 { -1.0 } else { -9.0 }).collect();
        let marks = marks(&levels, false);
        assert_eq!(marks.iter().filter(|m| **m == Some(Mark::Accent)).count(), 5);
    }

    #[test]
    fn even_strokes_bear_no_mark() {
        let levels: Vec<f64> = (0..40).map(|i| -6.0 + f64::from(i % 5)).collect();
        assert!(marks(&levels, true).iter().all(Option::is_none));
    }
}
