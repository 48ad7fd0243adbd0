//! Pulses -> readings: bars of every length that begin on every beat, with what can be heard in each.
//!
//! A reading is judged by its beats and its marks; the shares are the exponentials of the scores, so that the judge can be
//! fitted to performances whose grid is known.

use std::sync::Arc;

use super::division::SUBDIVISIONS;
use super::judge::Opinion;
use super::pulse::{HEARD, Heard, NEAR, ON_CRASH, Pulse, nearest};
use super::track::Track;

/// Beats per bar that are tried.
pub(super) const BARS: std::ops::RangeInclusive<usize> = 2..=7;

/// One way to hear the piece.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Reading {
    /// Beat times in seconds.
    pub(super) beats: Arc<[f64]>,
    /// Median length of a beat in seconds.
    pub(super) period: f64,
    /// Steps in a beat.
    pub(super) steps: u32,
    /// Mean log density of the strokes on its steps; 0 or less is no better than scattered.
    pub(super) fit: f64,
    /// Beats in a bar.
    pub(super) bar: usize,
    /// Which beat begins the first whole bar.
    pub(super) first: usize,
    /// Its score: differences are log odds.
    pub(super) score: f64,
}

/// Number of marks of a row of beats, whatever its bars are.
pub(super) const PULSE_MARKS: usize = 8 + SUBDIVISIONS.len() + HEARD + 8 + 10 + 1;
/// A beat one this soon after the first stroke, in beats, begins the recording.
const SOON: f64 = 0.85;
/// Number of marks of bars.
pub(super) const BAR_MARKS: usize = 5 * HEARD + 6;

impl Reading {
    /// The beat nearest to `time`.
    pub(super) fn nearest_beat(&self, time: f64) -> usize {
        nearest(&self.beats, time)
    }

    /// Whether beat number `index` is a beat one.
    pub(super) fn is_one(&self, index: usize) -> bool {
        index % self.bar == self.first % self.bar
    }
}

/// The track's beats, each begun `shift` beats later.
pub(super) fn shifted(track: &Track, shift: f64) -> Vec<f64> {
    let lead = track
        .beats
        .first()
        .zip(track.beats.get(1))
        .map(|(a, b)| a - (b - a) * (1.0 - shift));
    let inner = track.beats.windows(2).map(|w| w[0] + (w[1] - w[0]) * shift);
    let tail = track.beats.iter().rev().take(2).collect::<Vec<_>>();
    let end = match tail.as_slice() {
        [last, before] => Some(*last + (*last - *before) * shift),
        _ => None,
    };
    if shift == 0.0 {
        track.beats.clone()
    } else {
        lead.into_iter().chain(inner).chain(end).collect()
    }
}

/// What is heard in bars of some length, by the place of the beat in the bar.
pub(super) struct Bars<'a> {
    pulse: &'a Pulse,
    bar: usize,
    /// Per place in the bar (beat number modulo `bar`): the sum of what is heard, and how many beats.
    sums: Vec<(Heard, f64)>,
    all: (Heard, f64),
}

impl<'a> Bars<'a> {
    /// Gathers the beats of `pulse` by their place in bars of `bar` beats.
    pub(super) fn new(pulse: &'a Pulse, bar: usize) -> Bars<'a> {
        let mut sums = vec![([0.0; HEARD], 0.0); bar];
        for (i, (heard, lively)) in pulse.heard.iter().zip(&pulse.lively).enumerate() {
            if *lively {
                add(&mut sums[i % bar], heard);
            }
        }
        Bars {
            pulse,
            bar,
            all: total(sums.iter()),
            sums,
        }
    }

    /// The reading whose bars begin on beat `first`, `first + bar`, …
    pub(super) fn reading(&self, first: usize, opinion: &Opinion) -> Reading {
        Reading {
            beats: Arc::clone(&self.pulse.beats),
            period: self.pulse.period,
            steps: self.pulse.steps,
            fit: self.pulse.fit,
            bar: self.bar,
            first,
            score: opinion.score(self.bar, first, &self.marks(first)),
        }
    }

    /// What is heard in these bars, each about 0 to 1 or -1 to 1.
    pub(super) fn marks(&self, first: usize) -> Vec<f32> {
        let mut marks: Vec<f32> = Vec::with_capacity(BAR_MARKS);
        let bar = self.bar;
        let even = bar.is_multiple_of(2);
        let one = self.part(first, |place| place == 0);
        marks.extend(self.contrast(&one).map(|(d, _)| d as f32));
        marks.extend(self.contrast(&one).map(|(_, z)| z as f32));
        for part in [
            self.part(first, |place| place + 1 == bar),
            self.part(first, |place| even && bar > 2 && place == bar / 2),
            self.part(first, |place| even && place % 2 == 1),
        ] {
            marks.extend(self.contrast(&part).map(|(d, _)| d as f32));
        }
        let some = |n: f64| n / (n + 1.0);
        let (crashes, crashes_on_one) = (self.all.0[ON_CRASH], one.0[ON_CRASH]);
        let like = |lag: usize| self.pulse.likeness.get(lag).copied().unwrap_or(0.0);
        let others = (1..=8).filter(|l: &usize| !l.is_multiple_of(bar));
        let (sum, count) = others.fold((0.0, 0.0), |(s, n), l| (s + like(l), n + 1.0));
        // Recordings are begun, or cut, on beat one or a moment before it: how far it is from the first stroke to the
        // first beat one.
        let lead = (first as f64 - self.pulse.start).rem_euclid(bar as f64);
        let on = lead < NEAR || lead > bar as f64 - NEAR;
        marks.extend([
            (some(crashes) * crashes_on_one / f64::max(crashes, 1.0)) as f32,
            some(crashes) as f32,
            (like(bar) - sum / f64::max(count, 1.0)) as f32,
            (like(2 * bar) - like(bar)) as f32,
            f32::from(u8::from(on)),
            f32::from(u8::from(!on && lead < SOON)),
        ]);
        marks
    }

    /// The beats whose place in bars that begin on `first` is among `places`.
    fn part(&self, first: usize, places: impl Fn(usize) -> bool) -> (Heard, f64) {
        let bar = self.bar;
        let chosen = (0..bar).filter(|place| places(*place));
        total(chosen.filter_map(|place| self.sums.get((place + first) % bar)))
    }

    /// How `part` differs from the other beats, as it is and over its standard error, were each value scattered by 0.5.
    fn contrast(&self, part: &(Heard, f64)) -> [(f64, f64); HEARD] {
        let (own, rest) = (part.1, self.all.1 - part.1);
        if own < 0.5 || rest < 0.5 {
            return [(0.0, 0.0); HEARD];
        }
        let error = 0.5 * (1.0 / own + 1.0 / rest).sqrt();
        std::array::from_fn(|k| {
            let difference = part.0[k] / own - (self.all.0[k] - part.0[k]) / rest;
            (difference, (difference / error / 4.0).tanh())
        })
    }
}

fn add(sum: &mut (Heard, f64), heard: &Heard) {
    sum.1 += 1.0;
    for (s, h) in sum.0.iter_mut().zip(heard) {
        *s += h;
    }
}

fn total<'a>(sums: impl Iterator<Item = &'a (Heard, f64)>) -> (Heard, f64) {
    sums.fold(([0.0; HEARD], 0.0), |mut all, (heard, count)| {
        add(&mut all, heard);
        all.1 += count - 1.0;
        all
    })
}

/// What is heard whatever the bars are, each about 0 to 1 or -1 to 1; [`PULSE_MARKS`] of them.
pub(super) fn pulse_marks(pulse: &Pulse) -> Vec<f32> {
    let bpm = 60.0 / pulse.period;
    let octaves = (bpm / 110.0).log2();
    let lively = pulse.lively.iter().filter(|l| **l).count().max(1) as f64;
    let mut marks: Vec<f64> = vec![
        pulse.fit,
        octaves,
        octaves * octaves,
        (bpm / 170.0).log2().max(0.0),
        (70.0 / bpm).log2().max(0.0),
        pulse.rate.ln(),
        pulse.rate.ln().powi(2),
        lively.ln() - 3.5,
    ];
    marks.extend(SUBDIVISIONS.map(|steps| f64::from(steps == pulse.steps)));
    marks.extend((0..HEARD).map(|k| pulse.heard.iter().map(|h| h[k]).sum::<f64>() / lively));
    marks.extend(pulse.likeness.iter().skip(1).take(8));
    marks.extend(pulse.common);
    marks.push(sway(&pulse.beats));
    marks.into_iter().map(|m| m as f32).collect()
}

/// How far the tempo strays, as the standard deviation of the logarithm of the beats' lengths: readings whose beats slip
/// from one part of the beat to another stray more than the player does.
fn sway(beats: &[f64]) -> f64 {
    let lengths: Vec<f64> = beats.windows(2).map(|w| (w[1] - w[0]).max(1e-6).ln()).collect();
    let count = lengths.len().max(1) as f64;
    let mean = lengths.iter().sum::<f64>() / count;
    (lengths.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / count).sqrt()
}
