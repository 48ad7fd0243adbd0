//! Readings -> how much each is believed, which one is chosen, and which others come close.

use std::sync::Arc;

use super::reading::{BARS, Reading};
use super::{Meter, Rival};
use crate::units::Bpm;

/// A rival is told from this share on.
const TOLD: f64 = 0.02;
/// One that is the same music, counted twice or half as fast, is told from this share on.
const SAME: f64 = 0.002;
/// Most rivals that are told.
const MOST: usize = 6;
/// The tempo in beats a minute that players count most, and the spread around it in octaves [M].
const USUAL_TEMPO: f64 = 112.0;
const TEMPO_SPREAD: f64 = 0.4;
/// Log odds, beside what practice has, of bars of four, and of quintuplets or septuplets all through a piece: more music
/// for drum set is in four than practice has **[C]**, and less in fives and sevens. How much was chosen on recordings
/// and invented parts [M].
const FOUR: f64 = 0.5;
const FIVE: f64 = -1.5;
/// How often music for drum set has bars of so many beats, over how often practice has **[C]** [M].
const USUAL_BARS: [(usize, f64); 6] = [(2, 0.2), (3, 0.5), (4, 1.0), (5, 0.2), (6, 0.3), (7, 0.3)];
/// So many of the best readings may be chosen.
const LIKELY: usize = 40;

/// A reading's log odds: what the judge says of what is heard, and what is likely before anything is heard. The judge
/// is fitted to practice in which rare things are common, so that it knows them; this puts the balance right.
fn score(reading: &Reading) -> f64 {
    let octaves = (60.0 / reading.period / USUAL_TEMPO).log2();
    let bar = if reading.bar == 4 { FOUR } else { 0.0 };
    let steps = if matches!(reading.steps, 5 | 7) { FIVE } else { 0.0 };
    reading.score + bar + steps - 0.5 * (octaves / TEMPO_SPREAD).powi(2)
}

/// Readings with their shares of the belief.
pub(super) struct Belief {
    /// Best first.
    readings: Vec<(f64, Reading)>,
}

impl Belief {
    pub(super) fn new(readings: Vec<Reading>) -> Belief {
        let top = readings.iter().map(score).fold(f64::NEG_INFINITY, f64::max);
        let mut readings: Vec<(f64, Reading)> = readings
            .into_iter()
            .map(|r| ((score(&r) - top).exp(), r))
            .collect();
        let sum: f64 = readings.iter().map(|(share, _)| share).sum();
        for (share, _) in &mut readings {
            *share /= sum;
        }
        readings.sort_by(|a, b| b.0.total_cmp(&a.0));
        Belief { readings }
    }

    /// The best reading of the beats that are believed most, whatever their bars.
    pub(super) fn best(&self) -> Option<&Reading> {
        let mut beats: Vec<(f64, &Reading)> = Vec::new();
        for (share, reading) in &self.readings {
            let known = beats.len();
            match beats.iter_mut().find(|(_, r)| same_beats(r, reading)) {
                Some((sum, _)) => *sum += share,
                // Readings come best first: what is this far down adds nothing that counts.
                None if known < LIKELY => beats.push((*share, reading)),
                None => {}
            }
        }
        let most = beats.iter().map(|(sum, _)| *sum).fold(0.0, f64::max);
        let (_, likely) = beats.iter().find(|(sum, _)| *sum >= most)?;
        let own: Vec<&Reading> = self
            .readings
            .iter()
            .map(|(_, r)| r)
            .filter(|r| same_beats(r, likely))
            .take(LIKELY)
            .collect();
        let bars = (own.iter().copied()).max_by(|a, b| self.share_of(a).total_cmp(&self.share_of(b)))?;
        // Readings come best first: many that are hardly believed share the bars of the best one, slips and all.
        own.into_iter().find(|r| same_bars(r, bars))
    }

    /// The best reading of the bar length that is believed most, whichever beat is beat one. Here counts how often
    /// music has bars of each length ([`USUAL_BARS`]), as little may be left to hear.
    pub(super) fn likeliest_bars(&self) -> Option<&Reading> {
        let share = |bar: usize| {
            let usual = USUAL_BARS
                .iter()
                .find(|(b, _)| *b == bar)
                .map_or(0.0, |(_, s)| *s);
            usual * self.share(|r| r.bar == bar)
        };
        let bar = BARS.max_by(|a, b| share(*a).total_cmp(&share(*b)))?;
        self.readings.iter().map(|(_, r)| r).find(|r| r.bar == bar)
    }

    pub(super) fn share(&self, holds: impl Fn(&Reading) -> bool) -> f64 {
        self.readings
            .iter()
            .filter(|(_, r)| holds(r))
            .map(|(share, _)| share)
            .sum()
    }

    pub(super) fn share_of(&self, reading: &Reading) -> f64 {
        self.share(|r| same_bars(r, reading)).min(1.0)
    }

    /// Readings whose bars differ from those of `chosen`, those with the same bars taken together, best first.
    pub(super) fn rivals(&self, chosen: &Reading) -> Vec<Rival> {
        let mut found: Vec<(f64, &Reading)> = Vec::new();
        let told = self.readings.iter().take_while(|(share, _)| *share > TOLD / 20.0);
        for (share, reading) in told.filter(|(_, r)| !same_bars(r, chosen)) {
            match found.iter_mut().find(|(_, r)| same_bars(r, reading)) {
                Some((sum, _)) => *sum += share,
                None => found.push((*share, reading)),
            }
        }
        found.sort_by(|a, b| b.0.total_cmp(&a.0));
        let rival = |(share, r): &(f64, &Reading)| Rival {
            tempo_bpm: Bpm(60.0 / r.period),
            meter: meter_of(r),
            steps_per_beat: r.steps,
            share: *share,
        };
        found
            .iter()
            .filter(|(share, r)| *share >= TOLD || (*share >= SAME && same_music(r, chosen)))
            .take(MOST)
            .map(rival)
            .collect()
    }
}

/// The signature that a player would write over a reading.
pub(super) fn meter_of(reading: &Reading) -> Meter {
    let bar = reading.bar as u32;
    let bpm = 60.0 / reading.period;
    match bar {
        2 if reading.steps.is_multiple_of(3) => Meter { count: 6, unit: 8 },
        5 | 7 if bpm > 190.0 => Meter { count: bar, unit: 8 },
        _ => Meter { count: bar, unit: 4 },
    }
}

/// Whether two readings have the same steps under beats that are twice or half as long.
fn same_music(a: &Reading, b: &Reading) -> bool {
    let beats = a.period / b.period;
    let steps = beats * f64::from(b.steps) / f64::from(a.steps);
    (steps - 1.0).abs() < 0.03 && [0.5, 2.0].iter().any(|times| (beats / times - 1.0).abs() < 0.03)
}

/// Whether two readings have the same beats.
fn same_beats(a: &Reading, b: &Reading) -> bool {
    if Arc::ptr_eq(&a.beats, &b.beats) {
        return true;
    }
    let near = |time: f64| {
        let nearest = b.beats.get(b.nearest_beat(time));
        nearest.is_some_and(|t| (t - time).abs() < 0.15 * a.period)
    };
    // Three beats inside the piece: near both ends beats are mere extensions.
    let inside = [1, 2, 3].map(|quarter| a.beats.get(a.beats.len() * quarter / 4));
    (b.period / a.period - 1.0).abs() < 0.03 && inside.into_iter().flatten().all(|t| near(*t))
}

/// Whether two readings have the same beat and the same bars.
fn same_bars(a: &Reading, b: &Reading) -> bool {
    let period = a.period;
    if a.bar != b.bar || (b.period / period - 1.0).abs() > 0.03 {
        return false;
    }
    // A beat one in the middle of the piece: near both ends beats are mere extensions.
    let middle = a.beats.len() / 2;
    let one = middle.checked_sub((middle + a.bar - a.first % a.bar) % a.bar);
    let Some(time) = one.and_then(|one| a.beats.get(one)) else {
        return false;
    };
    let same = b.nearest_beat(*time);
    b.is_one(same)
        && b.beats
            .get(same)
            .is_some_and(|t| (t - time).abs() < 0.15 * period)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Beats of 0.65 s, of which the first eight are `early` long.
    fn reading(score: f64, early: f64, period: f64) -> Reading {
        let beats = (0..40).map(|i| 0.65 * f64::from(i.max(8)) + early * f64::from(i.min(8) - 8));
        Reading {
            beats: beats.collect(),
            period,
            steps: 6,
            fit: 1.0,
            bar: 4,
            first: 0,
            score,
        }
    }

    #[test]
    fn readings_that_slip_do_not_stand_for_the_bars_they_share() {
        let right = reading(8.0, 0.65, 0.65);
        // Nearly as long as the first one's beats, and as the second one's: together these two have the larger share.
        let slipping = reading(-15.0, 0.58, 0.634);
        let other = reading(-15.0, 0.58, 0.618);
        let belief = Belief::new(vec![slipping, other, right.clone()]);
        assert_eq!(belief.best(), Some(&right));
    }
}
