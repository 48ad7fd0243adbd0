//! Toms told apart by their pitch.
//!
//! In: rows of features of all tom strokes. Out: which drum each stroke belongs to. Toms are named in the order of
//! their pitch, as far as the strokes fall into groups; bodies lie where TRADE 6 says [M].

use super::features;
use crate::names::Voice;

/// Groups of tom pitches lie at least this far apart, semitones.
const TOMS_APART: f32 = 2.5;
/// Width of the bump that each stroke adds to the density of pitches, semitones.
const SMOOTH: f32 = 0.9;
/// Share of the tom strokes, and number of them, that make a tom.
const TOM_SHARE: f32 = 0.06;
/// A floor tom's body lies under this pitch, Hz [M].
const FLOOR_UNDER: f32 = 105.0;
/// A low tom's body lies under this pitch where it is the only rack tom, Hz [M].
const HIGH_OVER: f32 = 170.0;

/// Names each tom stroke. `clean` says of each whether it was struck without a kick, whose body would hide its own.
pub(super) fn toms(rows: &[&[f32]], clean: &[bool]) -> Vec<Voice> {
    let pitches: Vec<f32> = rows
        .iter()
        .map(|row| semitones(features::body_pitch(row)))
        .collect();
    let mut sure: Vec<f32> = pitches
        .iter()
        .zip(clean)
        .filter(|(_, c)| **c)
        .map(|(p, _)| *p)
        .collect();
    if sure.is_empty() {
        sure.clone_from(&pitches);
    }
    let drums = peaks(&sure);
    let names = tom_names(&drums);
    let nearest = |pitch: f32| {
        let far = |drum: &f32| (drum - pitch).abs();
        let best = drums
            .iter()
            .zip(&names)
            .min_by(|a, b| far(a.0).total_cmp(&far(b.0)));
        best.map_or(Voice::TomMid, |(_, name)| *name)
    };
    pitches.iter().map(|p| nearest(*p)).collect()
}

/// Semitones over 1 Hz.
fn semitones(hertz: f32) -> f32 {
    12.0 * hertz.max(1.0).log2()
}

/// The pitches at which strokes crowd, high to low, in semitones.
fn peaks(pitches: &[f32]) -> Vec<f32> {
    let density = |at: f32| -> f32 {
        pitches
            .iter()
            .map(|p| (-((p - at) / SMOOTH).powi(2) / 2.0).exp())
            .sum()
    };
    let (from, steps) = (semitones(45.0), 200);
    let curve: Vec<(f32, f32)> = (0..steps)
        .map(|i| from + 0.25 * i as f32)
        .map(|at| (at, density(at)))
        .collect();
    let mut tops: Vec<(f32, f32)> = curve
        .windows(3)
        .filter_map(|w| match w {
            [a, b, c] if b.1 > a.1 && b.1 >= c.1 => Some(*b),
            _ => None,
        })
        .collect();
    tops.sort_by(|a, b| b.1.total_cmp(&a.1));
    let least = (TOM_SHARE * pitches.len() as f32).max(if pitches.len() > 3 { 1.5 } else { 0.5 });
    let mut kept: Vec<f32> = Vec::new();
    for (at, strokes) in tops {
        if strokes >= least && kept.iter().all(|k| (k - at).abs() >= TOMS_APART) && kept.len() < 5 {
            kept.push(at);
        }
    }
    kept.sort_by(|a, b| b.total_cmp(a));
    kept
}

/// Names for drums whose pitches stand high to low.
fn tom_names(drums: &[f32]) -> Vec<Voice> {
    use Voice::{TomFloor, TomFloor2, TomHigh, TomLow, TomMid};
    let under = |place: usize, hertz: f32| drums.get(place).is_some_and(|d| *d < semitones(hertz));
    match drums.len() {
        0 => vec![],
        1 if under(0, FLOOR_UNDER) => vec![TomFloor],
        1 if under(0, HIGH_OVER) => vec![TomMid],
        1 => vec![TomHigh],
        2 if under(1, FLOOR_UNDER) => vec![TomHigh, TomFloor],
        2 => vec![TomHigh, TomMid],
        3 if under(2, FLOOR_UNDER) => vec![TomHigh, TomMid, TomFloor],
        3 => vec![TomHigh, TomMid, TomLow],
        4 => vec![TomHigh, TomMid, TomLow, TomFloor],
        _ => vec![TomHigh, TomMid, TomLow, TomFloor, TomFloor2],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn toms_are_named_in_the_order_of_their_pitch() {
        let drums = [200.0f32, 150.0, 90.0].map(semitones);
        assert_eq!(
            tom_names(&drums),
            [Voice::TomHigh, Voice::TomMid, Voice::TomFloor]
        );
        assert_eq!(tom_names(&[semitones(80.0)]), [Voice::TomFloor]);
    }

    #[test]
    fn pitches_that_crowd_at_two_places_are_two_drums() {
        let pitches: Vec<f32> = (0..20)
            .map(|i| if i % 2 == 0 { 180.0 } else { 95.0 } + i as f32 * 0.3)
            .map(semitones)
            .collect();
        let drums = peaks(&pitches);
        assert_eq!(drums.len(), 2, "{drums:?}");
        assert!(
            (drums[0] - semitones(183.0)).abs() < 0.6 && (drums[1] - semitones(98.0)).abs() < 0.6,
            "{drums:?}"
        );
    }

    #[test]
    fn no_pitches_have_no_drums() {
        assert!(peaks(&[]).is_empty());
        assert!(toms(&[], &[]).is_empty());
    }
}
