//! Events and a row of beats -> what is struck in every beat, in the beat's own time: strokes on it, after it, on its
//! half and before the next; accents, crashes, fills, and how alike beats are that lie some beats apart.

use std::sync::Arc;

use super::division::subdivision;
use super::events::{Event, KINDS, Kind};
use super::smooth;

/// Places in a beat that are compared from beat to beat.
const BINS: usize = 12;
/// Rows of drums that are compared: kick, snare and toms, crashes, the rest.
const ROWS: usize = 4;
/// How near a stroke must be to count as on the beat or on its half, in beats.
pub(super) const NEAR: f64 = 0.09;
/// Beats apart that are compared, at most.
const LAGS: usize = 16;

/// What is heard in one beat, each about 0 to 1 or -1 to 1: see [`Pulse::listen`].
pub(super) type Heard = [f64; HEARD];
/// Number of values of [`Heard`].
pub(super) const HEARD: usize = 27;
/// Where the on-beat kinds begin in [`Heard`], and single values.
pub(super) const ON_KICK: usize = Kind::Kick as usize;
/// A crash on the beat.
pub(super) const ON_CRASH: usize = Kind::Crash as usize;
const ACCENT: usize = 8;
const ANY: usize = 9;
const KICKS: usize = 10;
const SNARES: usize = 13;
const HANDS: usize = 16;
const TOMS: usize = 19;
const SNARE_COUNT: usize = 20;
const DENSITY: usize = 21;
const LOUDNESS: usize = 22;
const KICK_CRASH: usize = 23;
const AFTER_FILL: usize = 24;
const UNLIKE: usize = 25;
const ARRIVAL: usize = 26;

/// Kinds of drums and, last, how far the strokes stand out, by the twelfth of the beat on which they fall; what falls
/// between two is shared out.
pub(super) type Pattern = [f32; PATTERN];
/// Number of values of [`Pattern`].
pub(super) const PATTERN: usize = BINS * (KINDS + 1);

/// What is struck on every beat of a row of beats.
pub(super) struct Pulse {
    /// Beat times in seconds.
    pub(super) beats: Arc<[f64]>,
    /// Median length of a beat in seconds.
    pub(super) period: f64,
    /// Steps in a beat.
    pub(super) steps: u32,
    /// Mean log density of the strokes on its steps.
    pub(super) fit: f64,
    /// Moments struck per beat that has any.
    pub(super) rate: f64,
    /// Per beat: what is struck where in it.
    pub(super) patterns: Vec<Pattern>,
    /// Per beat: what is heard in it.
    pub(super) heard: Vec<Heard>,
    /// Per beat: whether anything was struck at all in it.
    pub(super) lively: Vec<bool>,
    /// Likeness of beats that lie 1, 2, … 16 apart.
    pub(super) likeness: [f64; LAGS + 1],
    /// How much of what is struck lies on the beats and halves, by kind, and how accents favour the beats.
    pub(super) common: [f64; 10],
    /// Where the first stroke lies, in beats.
    pub(super) start: f64,
}

impl Pulse {
    /// Listens to `events` with these beats; `steps` is the number of steps per beat, or found.
    pub(super) fn new(events: &[Event], beats: Vec<f64>, steps: Option<u32>) -> Pulse {
        let places = smooth::places(events, &beats);
        let period = median(beats.windows(2).map(|w| w[1] - w[0]).collect());
        let (steps, fit) = subdivision(events, &places, period, steps);
        let start = places.first().copied().unwrap_or(0.0);
        let mut pulse = Pulse {
            period,
            steps,
            fit,
            rate: 0.0,
            patterns: patterns(events, &places, beats.len()),
            heard: vec![[0.0; HEARD]; beats.len()],
            lively: vec![false; beats.len()],
            likeness: [0.0; LAGS + 1],
            common: on_the_beat(events, &places),
            start,
            beats: beats.into(),
        };
        let patterns = pulse.listen(events, &places);
        let lively = pulse.lively.iter().filter(|l| **l).count();
        pulse.rate = events.len() as f64 / lively.max(1) as f64;
        pulse.likeness = likeness(&patterns);
        pulse.finish(&patterns);
        pulse
    }

    /// Sorts the strokes into the beats; gives each beat's pattern for comparison.
    fn listen(&mut self, events: &[Event], places: &[f64]) -> Vec<[f64; BINS * ROWS]> {
        let count = self.heard.len();
        let mut patterns = vec![[0.0; BINS * ROWS]; count];
        let mut last = f64::NEG_INFINITY;
        for (event, place) in events.iter().zip(places) {
            let bin = (place * BINS as f64).round();
            if let Some(pattern) = index(bin / BINS as f64).and_then(|i| patterns.get_mut(i)) {
                add_pattern(pattern, bin as usize % BINS, event);
            }
            let on = (place - place.round()).abs() < NEAR;
            let beat = if on { place.round() } else { place.floor() };
            let Some(heard) = index(beat).and_then(|i| self.heard.get_mut(i)) else {
                continue;
            };
            if let Some(lively) = index(beat).and_then(|i| self.lively.get_mut(i)) {
                *lively = true;
            }
            let struck = |kind: Kind| event.struck[kind as usize];
            if on {
                for (value, struck) in heard.iter_mut().zip(event.struck) {
                    *value = value.max(struck);
                }
                heard[ACCENT] = event.accent / 2.0;
                heard[ANY] = 1.0;
                heard[ARRIVAL] = f64::from(place - last > 0.55);
            } else {
                let inside = place - beat;
                let third = usize::from(inside > 0.5 - NEAR) + usize::from(inside > 0.5 + NEAR);
                let hand = struck(Kind::Hat).max(struck(Kind::Ride));
                for (row, value) in [
                    (KICKS, struck(Kind::Kick)),
                    (SNARES, struck(Kind::Snare)),
                    (HANDS, hand),
                ] {
                    heard[row + third] = heard[row + third].max(value);
                }
            }
            heard[TOMS] += struck(Kind::Tom) / 4.0;
            heard[SNARE_COUNT] += struck(Kind::Snare) / 4.0;
            heard[DENSITY] += 0.125;
            heard[LOUDNESS] += event.accent / 8.0;
            last = *place;
        }
        patterns
    }

    /// What needs the beat before.
    fn finish(&mut self, patterns: &[[f64; BINS * ROWS]]) {
        for heard in &mut self.heard {
            heard[KICK_CRASH] = heard[ON_KICK] * heard[ON_CRASH];
        }
        for i in 1..self.heard.len() {
            let fill = (self.heard[i - 1][TOMS] + self.heard[i - 1][SNARE_COUNT]).min(1.0);
            self.heard[i][AFTER_FILL] = fill * self.heard[i][ON_CRASH];
            self.heard[i][UNLIKE] = unlike(&patterns[i - 1], &patterns[i]);
        }
    }

    /// The beat nearest to `time`.
    pub(super) fn nearest_beat(&self, time: f64) -> usize {
        nearest(&self.beats, time)
    }
}

fn patterns(events: &[Event], places: &[f64], beats: usize) -> Vec<Pattern> {
    let mut patterns = vec![[0.0; PATTERN]; beats];
    for (event, place) in events.iter().zip(places) {
        let twelfth = place * BINS as f64;
        let over = twelfth - twelfth.floor();
        for (bin, share) in [(twelfth.floor(), 1.0 - over), (twelfth.floor() + 1.0, over)] {
            let Some(bin) = index(bin) else { continue };
            let Some(pattern) = patterns.get_mut(bin / BINS) else {
                continue;
            };
            let kinds = event.struck.iter().chain([&event.accent]);
            let cells = pattern.iter_mut().skip(bin % BINS * (KINDS + 1));
            cells
                .zip(kinds)
                .for_each(|(cell, value)| *cell += (share * value) as f32);
        }
    }
    patterns
}

fn index(beat: f64) -> Option<usize> {
    (beat >= 0.0).then_some(beat as usize)
}

/// How much of what is struck lies on the beats, by kind, on the halves, and how accents favour the beats.
fn on_the_beat(events: &[Event], places: &[f64]) -> [f64; 10] {
    let mut sums = [[1e-9; 3]; KINDS];
    let (mut on, mut off) = ((0.0, 1e-9), (0.0, 1e-9));
    for (event, place) in events.iter().zip(places) {
        let inside = place - place.round();
        let on_beat = inside.abs() < NEAR;
        let on_half = (inside.abs() - 0.5).abs() < NEAR;
        for (sum, struck) in sums.iter_mut().zip(event.struck) {
            sum[0] += struck;
            sum[1] += struck * f64::from(on_beat);
            sum[2] += struck * f64::from(on_half);
        }
        let side = if on_beat { &mut on } else { &mut off };
        side.0 += event.accent;
        side.1 += 1.0;
    }
    let share = |kinds: &[Kind], which: usize| {
        let sum = |w: usize| kinds.iter().map(|k| sums[*k as usize][w]).sum::<f64>();
        sum(which) / (sum(0) + 2.0)
    };
    let hands = [Kind::Hat, Kind::Ride];
    [
        share(&[Kind::Kick], 1),
        share(&[Kind::Kick], 2),
        share(&[Kind::Snare], 1),
        share(&[Kind::Snare], 2),
        share(&hands, 1),
        share(&hands, 2),
        share(&[Kind::Tom], 1),
        share(&[Kind::Foot], 1),
        on.0 / on.1 - off.0 / off.1,
        on.1 / (on.1 + off.1),
    ]
}

fn add_pattern(pattern: &mut [f64; BINS * ROWS], bin: usize, event: &Event) {
    for (kind, struck) in event.struck.iter().enumerate() {
        let row = match kind {
            k if k == Kind::Kick as usize => 0,
            k if k == Kind::Snare as usize || k == Kind::Tom as usize => 1,
            k if k == Kind::Crash as usize => 2,
            _ => 3,
        };
        pattern[row * BINS + bin] += struck;
    }
}

/// 0 for equal patterns, 1 for patterns that share no stroke.
fn unlike(a: &[f64; BINS * ROWS], b: &[f64; BINS * ROWS]) -> f64 {
    let dot = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(p, q)| p * q).sum::<f64>();
    1.0 - dot(a, b) / (dot(a, a) * dot(b, b)).sqrt().max(1e-6)
}

/// Correlation of beats that lie 1, 2, … 16 apart, each place in the beat compared with its own mean.
fn likeness(patterns: &[[f64; BINS * ROWS]]) -> [f64; LAGS + 1] {
    let count = patterns.len().max(1) as f64;
    let mut mean = [0.0; BINS * ROWS];
    for pattern in patterns {
        for (m, p) in mean.iter_mut().zip(pattern) {
            *m += p / count;
        }
    }
    let off: Vec<[f64; BINS * ROWS]> = patterns
        .iter()
        .map(|p| std::array::from_fn(|k| p[k] - mean[k]))
        .collect();
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
    let own: Vec<f64> = off.iter().map(|o| dot(o, o)).collect();
    let mut result = [0.0; LAGS + 1];
    for (lag, likeness) in result.iter_mut().enumerate().skip(1) {
        let (mut both, mut each) = (0.0, 1e-9);
        for i in 0..off.len().saturating_sub(lag) {
            both += dot(&off[i], &off[i + lag]);
            each += 0.5 * (own[i] + own[i + lag]);
        }
        *likeness = both / each;
    }
    result
}

/// The index of the beat nearest to `time`; 0 when there are none.
pub(super) fn nearest(beats: &[f64], time: f64) -> usize {
    let after = beats.partition_point(|b| *b < time);
    let off = |i: usize| beats.get(i).map_or(f64::INFINITY, |b| (b - time).abs());
    let before = after.saturating_sub(1);
    if off(before) <= off(after) { before } else { after }
}

pub(super) fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(1.0)
}
