//! Events and beat tracks -> readings: which pulse is the beat, how many beats make a bar, where bar one is, and
//! how much of the belief each reading has.
//!
//! A reading is scored by a weighted sum of what can be heard in it ([`Marks`]); the shares are the exponentials of
//! the scores (a log-linear model), so that the weights can be fitted to performances whose grid is known.

use super::events::{Event, KINDS, Kind};
use super::smooth;
use super::track::Track;
use super::weights::WEIGHTS;

/// Steps per beat that are tried.
pub(super) const SUBDIVISIONS: [u32; 9] = [1, 2, 3, 4, 5, 6, 7, 8, 12];
/// Beats per bar that are tried.
pub(super) const BARS: std::ops::RangeInclusive<usize> = 2..=7;
/// Places in a beat that are compared from bar to bar.
const BINS: usize = 12;
/// How near a stroke must be to count as on the beat or on its half, in beats.
const NEAR: f64 = 0.09;

/// One way to hear the piece.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Reading {
    /// Beat times in seconds.
    pub(super) beats: Vec<f64>,
    /// Median length of a beat in seconds.
    pub(super) period: f64,
    /// Steps in a beat.
    pub(super) steps: u32,
    /// Beats in a bar.
    pub(super) bar: usize,
    /// Which beat begins the first whole bar.
    pub(super) first: usize,
    /// What is heard in it.
    pub(super) marks: Marks,
}

/// Number of [`Marks`].
pub(super) const MARKS: usize = 106;
/// What can be heard in a reading, each about 0 to 1 or -1 to 1.
pub(super) type Marks = [f64; MARKS];

impl Reading {
    /// Its score: differences are log odds.
    pub(super) fn score(&self) -> f64 {
        self.marks.iter().zip(&WEIGHTS).map(|(m, w)| m * w).sum()
    }

    /// Mean log density of the strokes on its steps; 0 or less is no better than scattered.
    pub(super) fn fit(&self) -> f64 {
        self.marks[0]
    }

    /// The beat nearest to `time`.
    pub(super) fn nearest_beat(&self, time: f64) -> usize {
        nearest(&self.beats, time)
    }

    /// Whether beat number `index` is a beat one.
    pub(super) fn is_one(&self, index: usize) -> bool {
        index % self.bar == self.first % self.bar
    }
}

/// What is struck on every beat of a track begun `shift` beats later.
pub(super) struct Pulse {
    /// Where each event lies, in beats.
    places: Vec<f64>,
    beats: Vec<f64>,
    /// Per beat and kind: struck on the beat.
    on: Vec<[f64; KINDS]>,
    /// Per beat and kind: struck on the half after it.
    half: Vec<[f64; KINDS]>,
    /// Per beat: how far the stroke on it stands out, and 1 where there is one.
    accent: Vec<(f64, f64)>,
    /// Per beat: kick and snare on its four quarters.
    quarters: Vec<[[f64; 4]; 2]>,
    /// What is heard whatever the bars are.
    common: [f64; 10],
    /// Per beat: whether anything was struck at all in it.
    lively: Vec<bool>,
    /// Likeness of beats that lie 1, 2, … 16 apart.
    likeness: [f64; 17],
    steps: u32,
    fit: f64,
    rate: f64,
    pub(super) period: f64,
}

/// The readings' pulses of one track: the track itself and the same begun on one of its parts.
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

impl Pulse {
    /// Listens to `events` with these beats; `steps` is the number of steps per beat, or found.
    pub(super) fn new(events: &[Event], beats: Vec<f64>, steps: Option<u32>) -> Pulse {
        let places = smooth::places(events, &beats);
        let count = beats.len();
        let period = median(beats.windows(2).map(|w| w[1] - w[0]).collect());
        let (found, fit) = subdivision(events, &places, period, steps);
        let mut pulse = Pulse {
            on: vec![[0.0; KINDS]; count],
            half: vec![[0.0; KINDS]; count],
            accent: vec![(0.0, 0.0); count],
            common: [0.0; 10],
            quarters: vec![[[0.0; 4]; 2]; count],
            lively: vec![false; count],
            likeness: [0.0; 17],
            steps: found,
            fit,
            rate: 0.0,
            period,
            places,
            beats,
        };
        let mut patterns = vec![[0.0; BINS * 4]; count];
        for (event, place) in events.iter().zip(&pulse.places) {
            let near = |at: f64| (place - at).abs() < NEAR;
            let (beat, inside) = (place.round(), place.floor());
            let index = |x: f64| (x >= 0.0).then_some(x as usize).filter(|i| *i < count);
            if let Some(i) = index(beat).filter(|_| near(beat)) {
                raise(&mut pulse.on[i], &event.struck);
                pulse.accent[i].0 += event.accent;
                pulse.accent[i].1 += 1.0;
            }
            if let Some(i) = index(inside).filter(|_| near(inside + 0.5)) {
                raise(&mut pulse.half[i], &event.struck);
            }
            let quarter = (place * 4.0).round();
            if let Some(i) = index((quarter / 4.0).floor()).filter(|_| (place - quarter / 4.0).abs() < NEAR) {
                for (row, kind) in [Kind::Kick, Kind::Snare].into_iter().enumerate() {
                    let struck = &mut pulse.quarters[i][row][quarter as usize % 4];
                    *struck = struck.max(event.struck[kind as usize]);
                }
            }
            let bin = (place * BINS as f64).round();
            if let Some(i) = index((bin / BINS as f64).floor()) {
                pulse.lively[i] = true;
                add_pattern(&mut patterns[i], bin as usize % BINS, event);
            }
        }
        let lively = pulse.lively.iter().filter(|l| **l).count();
        pulse.rate = events.len() as f64 / lively.max(1) as f64;
        pulse.likeness = likeness(&patterns);
        pulse.common = pulse.on_the_beat(events);
        pulse
    }

    /// How much of what is struck lies on the beats, by kind, on the halves, and how accents favour the beats.
    fn on_the_beat(&self, events: &[Event]) -> [f64; 10] {
        let mut sums = [[1e-9; 3]; KINDS];
        let (mut on, mut off) = ((0.0, 1e-9), (0.0, 1e-9));
        for (event, place) in events.iter().zip(&self.places) {
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

    /// The beat nearest to `time`.
    pub(super) fn nearest_beat(&self, time: f64) -> usize {
        nearest(&self.beats, time)
    }

    /// The reading with bars of `bar` beats that begin on beat `first`, `first + bar`, …
    pub(super) fn reading(&self, events: &[Event], bar: usize, first: usize) -> Reading {
        let marks = self.marks(events, bar, first);
        Reading {
            beats: self.beats.clone(),
            period: self.period,
            steps: self.steps,
            bar,
            first,
            marks,
        }
    }

    fn marks(&self, events: &[Event], bar: usize, first: usize) -> Marks {
        let mut marks = [0.0; MARKS];
        let bpm = 60.0 / self.period;
        let octaves = (bpm / 110.0).log2();
        let set = [
            self.fit,
            octaves,
            octaves * octaves,
            (bpm / 170.0).log2().max(0.0),
            (70.0 / bpm).log2().max(0.0),
            self.rate.ln(),
            self.rate.ln().powi(2),
            f64::from(self.steps.is_multiple_of(3)),
            f64::from(self.steps == 5 || self.steps == 7),
        ];
        marks[..9].copy_from_slice(&set);
        self.struck_marks(&mut marks[9..41], bar, first);
        self.bar_marks(&mut marks[41..49], events, bar, first);
        if (2..=7).contains(&bar) {
            marks[49 + bar - 2] = 1.0;
        }
        marks[55..65].copy_from_slice(&self.common);
        marks[65..68].copy_from_slice(&self.last_beat_marks(bar, first));
        self.accent_marks(&mut marks[68..70], bar, first);
        if bar == 4 {
            self.four_marks(&mut marks[70..106], first);
        }
        marks
    }

    /// How often each kind is struck on beat one, on the back beats, on other beats and on the half.
    fn struck_marks(&self, marks: &mut [f64], bar: usize, first: usize) {
        let mut sums = [[0.0; 4]; KINDS];
        let mut counts = [0.0; 4];
        let mut add = |place: usize, struck: &[f64; KINDS]| {
            counts[place] += 1.0;
            for (sum, s) in sums.iter_mut().zip(struck) {
                sum[place] += s;
            }
        };
        for i in (0..self.beats.len()).filter(|i| self.lively[*i]) {
            let inside = (i + bar * 8 - first % bar) % bar;
            let place = if inside == 0 {
                0
            } else if bar.is_multiple_of(2) && inside % 2 == 1 {
                1
            } else {
                2
            };
            add(place, &self.on[i]);
            add(3, &self.half[i]);
        }
        for (kind, sum) in sums.iter().enumerate() {
            for place in 0..4 {
                marks[kind * 4 + place] = sum[place] / f64::max(counts[place], 1.0);
            }
        }
    }

    /// How surely accents favour beat one: the difference of the means over its standard error, and summed.
    fn accent_marks(&self, marks: &mut [f64], bar: usize, first: usize) {
        let mut sums = [(1e-9, 0.0); 2];
        for (i, (accent, count)) in self.accent.iter().enumerate() {
            let one = usize::from((i + bar * 8 - first % bar).is_multiple_of(bar));
            sums[one].0 += count;
            sums[one].1 += accent;
        }
        let [(others, other), (ones, one)] = sums;
        let difference = one / ones - other / others;
        marks[0] = difference / (1.0 / (ones + 1.0) + 1.0 / (others + 1.0)).sqrt() / 4.0;
        marks[1] = difference * ones / 10.0;
    }

    /// In bars of four: how kick and snare on each quarter of each beat, and crashes on each beat, stand out against
    /// the same place in the other beats.
    fn four_marks(&self, marks: &mut [f64], first: usize) {
        let mut sums = [[0.0; 9]; 4];
        let mut counts = [1e-9; 4];
        for i in (0..self.beats.len()).filter(|i| self.lively[*i]) {
            let beat = (i + 32 - first % 4) % 4;
            counts[beat] += 1.0;
            let quarters = self.quarters[i].iter().flatten();
            for (sum, struck) in sums[beat]
                .iter_mut()
                .zip(quarters.chain([&self.on[i][Kind::Crash as usize]]))
            {
                *sum += struck;
            }
        }
        for place in 0..9 {
            let rates: [f64; 4] = std::array::from_fn(|beat| sums[beat][place] / counts[beat]);
            let mean = rates.iter().sum::<f64>() / 4.0;
            for (mark, rate) in marks[place * 4..].iter_mut().zip(rates) {
                *mark = rate - mean;
            }
        }
    }

    /// Whether the last beat of the bar has more toms and snares and fewer kicks than the others: fills end bars.
    fn last_beat_marks(&self, bar: usize, first: usize) -> [f64; 3] {
        let mut sums = [[0.0; 3]; 2];
        let mut counts = [1e-9; 2];
        for i in (0..self.beats.len()).filter(|i| self.lively[*i]) {
            let last = usize::from((i + bar * 8 - first % bar) % bar == bar - 1);
            counts[last] += 1.0;
            for (sum, kind) in sums[last].iter_mut().zip([Kind::Tom, Kind::Snare, Kind::Kick]) {
                *sum += self.on[i][kind as usize] + self.half[i][kind as usize];
            }
        }
        std::array::from_fn(|k| sums[1][k] / counts[1] - sums[0][k] / counts[0])
    }

    /// What tells bar from bar: crashes and accents on beat one, what repeats bar by bar, a start on one.
    fn bar_marks(&self, marks: &mut [f64], events: &[Event], bar: usize, first: usize) {
        let is_one = |i: usize| (i + bar * 8 - first % bar).is_multiple_of(bar);
        let (mut crashes, mut crashes_on_one, mut crashes_on_beat) = (0.0, 0.0, 0.0);
        for event in events {
            crashes += event.struck[Kind::Crash as usize];
        }
        let (mut ones, mut one_accent, mut other_accent, mut kick_crash) =
            (0.0, (0.0, 1e-9), (0.0, 1e-9), 0.0);
        for i in (0..self.beats.len()).filter(|i| self.lively[*i]) {
            let crash = self.on[i][Kind::Crash as usize];
            crashes_on_beat += crash;
            if is_one(i) {
                ones += 1.0;
                crashes_on_one += crash;
                kick_crash += crash * self.on[i][Kind::Kick as usize];
                one_accent.0 += self.accent[i].0;
                one_accent.1 += self.accent[i].1;
            } else {
                other_accent.0 += self.accent[i].0;
                other_accent.1 += self.accent[i].1;
            }
        }
        let some = |n: f64| n / (n + 1.0);
        marks[0] = some(crashes) * crashes_on_one / f64::max(crashes, 1.0);
        marks[1] = some(crashes) * crashes_on_beat / f64::max(crashes, 1.0);
        marks[2] = kick_crash / f64::max(ones, 1.0);
        marks[3] = one_accent.0 / one_accent.1 - other_accent.0 / other_accent.1;
        let like = |lag: usize| self.likeness.get(lag).copied().unwrap_or(0.0);
        let others = (1..=8).filter(|l| l % bar != 0);
        let (sum, count) = others.fold((0.0, 0.0), |(s, n), l| (s + like(l), n + 1.0));
        marks[4] = like(bar) - sum / f64::max(count, 1.0);
        marks[5] = like(2 * bar) - like(bar);
        marks[6] = self.likeness[1];
        let start = self.places.first().map_or(0.0, |p| p.round());
        let on_start = self.places.first().is_some_and(|p| (p - start).abs() < NEAR);
        marks[7] = f64::from(on_start && start >= 0.0 && is_one(start as usize));
    }
}

/// Share of strokes that lie anywhere when steps are judged: ornaments, wrong hits.
const STRAY: f64 = 0.05;

/// The steps per beat that explain the places best, and the mean log density of the events with them.
///
/// How often each step of the beat is struck is learned from the piece and paid for by half the logarithm of the
/// number of events for each step (Schwarz, Annals of Statistics 1978): that is the price of fineness.
fn subdivision(events: &[Event], places: &[f64], period: f64, only: Option<u32>) -> (u32, f64) {
    let tried = only.map_or(SUBDIVISIONS.to_vec(), |s| vec![s.max(1)]);
    let scored = tried
        .into_iter()
        .map(|steps| (steps, step_density(events, places, period, steps)));
    scored.fold(
        (4, f64::NEG_INFINITY),
        |best, s| if s.1 > best.1 { s } else { best },
    )
}

fn step_density(events: &[Event], places: &[f64], period: f64, steps: u32) -> f64 {
    let grain = f64::from(steps);
    let nearest = |place: &f64| (place * grain).round();
    let mut shares = vec![0.5; steps as usize];
    for (event, place) in events.iter().zip(places) {
        shares[nearest(place).rem_euclid(grain) as usize] += event.weight;
    }
    let weight: f64 = events.iter().map(|e| e.weight).sum::<f64>().max(1e-9);
    let sum: f64 = shares.iter().sum();
    let logs = |spread: f64| {
        let width = spread / period;
        let peak = (1.0 - STRAY) / (width * (2.0 * std::f64::consts::PI).sqrt() * sum);
        let log = |(event, place): (&Event, &f64)| {
            let step = nearest(place);
            let z = (place - step / grain) / width;
            let share = shares[step.rem_euclid(grain) as usize];
            event.weight * (STRAY + peak * share * (-0.5 * z * z).exp()).ln()
        };
        events.iter().zip(places).map(log).sum::<f64>() / weight
    };
    let best = [0.006, 0.010, 0.016, 0.024]
        .into_iter()
        .map(logs)
        .fold(f64::NEG_INFINITY, f64::max);
    best - 0.5 * (grain - 1.0) * weight.max(2.0).ln() / weight
}

fn raise(to: &mut [f64; KINDS], struck: &[f64; KINDS]) {
    for (t, s) in to.iter_mut().zip(struck) {
        *t = t.max(*s);
    }
}

fn add_pattern(pattern: &mut [f64; BINS * 4], bin: usize, event: &Event) {
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

/// Correlation of beats that lie 1, 2, … 16 apart, each place in the beat compared with its own mean.
fn likeness(patterns: &[[f64; BINS * 4]]) -> [f64; 17] {
    let count = patterns.len().max(1) as f64;
    let mut mean = [0.0; BINS * 4];
    for pattern in patterns {
        for (m, p) in mean.iter_mut().zip(pattern) {
            *m += p / count;
        }
    }
    let off = |i: usize, k: usize| patterns[i][k] - mean[k];
    let mut result = [0.0; 17];
    for (lag, likeness) in result.iter_mut().enumerate().skip(1) {
        let (mut both, mut each) = (0.0, 1e-9);
        for i in 0..patterns.len().saturating_sub(lag) {
            for k in 0..BINS * 4 {
                let (a, b) = (off(i, k), off(i + lag, k));
                both += a * b;
                each += 0.5 * (a * a + b * b);
            }
        }
        *likeness = both / each;
    }
    result
}

/// The index of the beat nearest to `time`; 0 when there are none.
fn nearest(beats: &[f64], time: f64) -> usize {
    let after = beats.partition_point(|b| *b < time);
    let off = |i: usize| beats.get(i).map_or(f64::INFINITY, |b| (b - time).abs());
    let before = after.saturating_sub(1);
    if off(before) <= off(after) { before } else { after }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(1.0)
}
