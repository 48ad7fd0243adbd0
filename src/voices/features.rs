//! What is heard around an onset: log band energies of what rang before it, of its attack, its body and its tail.
//!
//! In: a [`Recording`] and its [`Onset`]s. Out: one row of [`FEATURES`] numbers an onset. Band energies are common
//! logarithms (1.0 is 10 dB) over the recording's own reference, so that a louder copy gives the same rows. Short
//! windows follow attack and decay, long ones tell the low drums apart; the last part of a row says how this
//! recording sounds on average, so that a row can be read against its own kit and room.
//!
//! Bands evenly spaced on a mel-like scale as in Stevens, Volkmann & Newman, JASA 8 (1937), here only as a warping.

use std::ops::Range;

use rayon::prelude::*;

use crate::audio::power::{Powers, Room};
use crate::audio::{RATE, Recording};
use crate::hits::Onset;
use crate::units::Seconds;

/// Samples of a short window: 23 ms.
const SHORT: usize = 1024;
/// Samples of a long window: 93 ms, which parts 40 Hz from 60 Hz.
const LONG: usize = 4096;
/// Where short windows begin, seconds after the onset: one before it, then attack, body and tail.
const SHORT_STARTS: [f64; 7] = [-0.0275, -0.002, 0.010, 0.030, 0.060, 0.110, 0.180];
/// Where long windows begin, seconds after the onset: before it, on it, behind its attack.
const LONG_STARTS: [f64; 3] = [-0.097, -0.003, 0.040];
/// Bands of a short window, 60 Hz to 18 kHz.
const SHORT_BANDS: usize = 26;
/// Lowest and highest edge of the short windows' bands, Hz.
const SHORT_RANGE: (f64, f64) = (60.0, 18_000.0);
/// Where their spacing turns from even in Hz to even in octaves, Hz.
const SHORT_CORNER: f64 = 700.0;
/// Bands of a long window, 30 Hz to 1.3 kHz.
const LONG_BANDS: usize = 24;
/// Lowest and highest edge of the long windows' bands, Hz.
const LONG_RANGE: (f64, f64) = (30.0, 1_300.0);
/// Where their spacing turns from even in Hz to even in octaves, Hz.
const LONG_CORNER: f64 = 150.0;
/// Where the long windows begin in a row.
const LONG_AT: usize = SHORT_STARTS.len() * SHORT_BANDS;
/// Length of the part of a row that is read from the sound around its onset.
const SOUND: usize = LONG_AT + LONG_STARTS.len() * LONG_BANDS;
/// The windows whose mean over the recording is its portrait: attack, tail and low body.
const PORTRAIT: [(usize, usize); 3] = [
    (SHORT_BANDS, SHORT_BANDS),
    (4 * SHORT_BANDS, SHORT_BANDS),
    (LONG_AT + LONG_BANDS, LONG_BANDS),
];
/// Length of the portrait.
const PORTRAIT_LEN: usize = 2 * SHORT_BANDS + LONG_BANDS;
/// Numbers in a row: sound, gaps to both neighbours, portrait.
pub const FEATURES: usize = SOUND + 2 + PORTRAIT_LEN;
/// What lies this far (a power ratio, 70 dB) under the reference counts as silence.
const FLOOR: f32 = 1e-7;
/// Longest gap between onsets that makes a difference, seconds.
const LONGEST_GAP: f64 = 1.0;

/// Band energies of windows of one length.
struct Bands {
    transform: Powers,
    /// First bin and weights of each band.
    bands: Vec<(usize, Vec<f32>)>,
}

impl Bands {
    /// `count` overlapping triangles from `low` to `high` Hz, evenly spaced on ln(1 + f / `corner`).
    fn new(length: usize, count: usize, low: f64, high: f64, corner: f64) -> Self {
        let warp = |f: f64| (1.0 + f / corner).ln();
        let step = (warp(high) - warp(low)) / (count + 1) as f64;
        let bin_hz = f64::from(RATE) / length as f64;
        let triangle = |band: usize| {
            let centre = warp(low) + step * (band + 1) as f64;
            // A band is never narrower than the spacing of the bins around its centre.
            let reach = step.max(warp(corner * centre.exp_m1() + bin_hz) - centre);
            let weights: Vec<(usize, f32)> = (0..=length / 2)
                .map(|bin| (bin, 1.0 - (warp(bin as f64 * bin_hz) - centre).abs() / reach))
                .filter(|(_, weight)| *weight > 0.0)
                .map(|(bin, weight)| (bin, weight as f32))
                .collect();
            let first = weights.first().map_or(0, |(bin, _)| *bin);
            (first, weights.into_iter().map(|(_, weight)| weight).collect())
        };
        let turn = std::f64::consts::TAU / length as f64;
        Bands {
            transform: Powers::new(
                length,
                (0..length)
                    .map(|i| ((0.5 - 0.5 * (turn * i as f64).cos()) * 2.0 / length as f64) as f32)
                    .collect(),
            ),
            bands: (0..count).map(triangle).collect(),
        }
    }

    /// The power in each band of a window that begins with the first of some samples.
    fn powers(&self, samples: &[f32], room: &mut Room, out: &mut [f32]) {
        let powers = self.transform.of(samples, room);
        for ((first, weights), power) in self.bands.iter().zip(out) {
            let bins = powers.get(*first..).unwrap_or_default().iter().zip(weights);
            *power = bins.map(|(bin, weight)| bin * weight).sum();
        }
    }
}

/// The rows of all onsets, in their order: see the module's head.
pub fn rows(recording: &Recording, onsets: &[Onset]) -> Vec<Vec<f32>> {
    let short = Bands::new(SHORT, SHORT_BANDS, SHORT_RANGE.0, SHORT_RANGE.1, SHORT_CORNER);
    let long = Bands::new(LONG, LONG_BANDS, LONG_RANGE.0, LONG_RANGE.1, LONG_CORNER);
    let rooms = || (short.transform.room(), long.transform.room());
    let mut rows: Vec<Vec<f32>> = onsets
        .par_iter()
        .map_init(rooms, |(brief, wide), onset| {
            let time = (onset.time - recording.start).0;
            let mut row = vec![0.0; FEATURES];
            let (shorts, longs) = row.split_at_mut(LONG_AT);
            let at = |start: f64| ((time + start) * f64::from(RATE)).round() as isize;
            let (first, last) = (at(LONG_STARTS[0]), at(SHORT_STARTS[SHORT_STARTS.len() - 1]));
            let mut samples = vec![0.0f32; last.abs_diff(first) + SHORT];
            recording.read_mono(first, &mut samples);
            let from = |start: f64| samples.get(at(start).abs_diff(first)..).unwrap_or_default();
            for (out, start) in shorts.chunks_exact_mut(SHORT_BANDS).zip(SHORT_STARTS) {
                short.powers(from(start), brief, out);
            }
            for (out, start) in longs.chunks_exact_mut(LONG_BANDS).zip(LONG_STARTS) {
                long.powers(from(start), wide, out);
            }
            row
        })
        .collect();
    let reference = reference(&rows);
    for row in &mut rows {
        for power in row.iter_mut().take(SOUND) {
            *power = (*power / reference + FLOOR).log10();
        }
    }
    let portrait = portrait(&rows);
    for (index, row) in rows.iter_mut().enumerate() {
        let time = |i: usize| onsets.get(i).map(|o| o.time);
        let before = index.checked_sub(1).and_then(time);
        row[SOUND] = gap(before, time(index));
        row[SOUND + 1] = gap(time(index), time(index + 1));
        row[SOUND + 2..].copy_from_slice(&portrait);
    }
    rows
}

/// The power of the attacks at the 90th percentile: loud, but no single stroke decides it.
fn reference(rows: &[Vec<f32>]) -> f32 {
    let mut attacks: Vec<f32> = rows
        .iter()
        .map(|row| row[SHORT_BANDS..2 * SHORT_BANDS].iter().sum())
        .collect();
    attacks.sort_by(f32::total_cmp);
    let loud = attacks.get(attacks.len() * 9 / 10).copied().unwrap_or(0.0);
    loud.max(f32::MIN_POSITIVE * 1e10)
}

/// The mean of the portrait's windows over all rows.
fn portrait(rows: &[Vec<f32>]) -> [f32; PORTRAIT_LEN] {
    let mut mean = [0.0; PORTRAIT_LEN];
    for row in rows {
        let parts = PORTRAIT.iter().flat_map(|(at, len)| &row[*at..at + len]);
        mean.iter_mut().zip(parts).for_each(|(m, x)| *m += x);
    }
    mean.iter_mut().for_each(|m| *m /= rows.len().max(1) as f32);
    mean
}

/// The logarithm of the gap between two onsets; a missing neighbour is as far as it can be.
fn gap(from: Option<Seconds>, to: Option<Seconds>) -> f32 {
    let gap = match (from, to) {
        (Some(from), Some(to)) => (to - from).0.clamp(0.01, LONGEST_GAP),
        _ => LONGEST_GAP,
    };
    gap.log10() as f32
}

/// The bands of the long window number `window` of a row.
fn long_window(row: &[f32], window: usize) -> &[f32] {
    let at = LONG_AT + window * LONG_BANDS;
    row.get(at..at + LONG_BANDS).unwrap_or_default()
}

/// The bands of the short window number `window` of a row.
fn short_window(row: &[f32], window: usize) -> &[f32] {
    let at = window * SHORT_BANDS;
    row.get(at..at + SHORT_BANDS).unwrap_or_default()
}

/// The power that `bands` rose by from `before` to `after`, over the reference; never negative.
fn rise(before: &[f32], after: &[f32], bands: Range<usize>) -> f32 {
    let powers = before.iter().zip(after).skip(bands.start).take(bands.len());
    powers
        .map(|(b, a)| (10f32.powf(*a) - 10f32.powf(*b)).max(0.0))
        .sum()
}

/// The power that some low bands (45 to 1,200 Hz) rose by with the onset, over the recording's reference.
pub(super) fn low_rise(row: &[f32], bands: Range<usize>) -> f32 {
    rise(long_window(row, 0), long_window(row, 1), bands)
}

/// The power that some bands (156 Hz to 16 kHz) rose by with the attack, over the recording's reference.
pub(super) fn attack_rise(row: &[f32], bands: Range<usize>) -> f32 {
    rise(short_window(row, 0), short_window(row, 1), bands)
}

/// Hz at `place` on the scale of the long windows' bands (0.0 is the centre of the lowest).
fn long_hertz(place: f32) -> f32 {
    let warp = |f: f32| (1.0 + f / LONG_CORNER as f32).ln();
    let (low, high) = (warp(LONG_RANGE.0 as f32), warp(LONG_RANGE.1 as f32));
    LONG_CORNER as f32 * (low + (high - low) * (place + 1.0) / (LONG_BANDS + 1) as f32).exp_m1()
}

/// The pitch of a tom's body, Hz: the strongest rise between 80 and 400 Hz on the attack; behind it the next strokes
/// sound already.
pub(super) fn body_pitch(row: &[f32]) -> f32 {
    strongest(row, 1, 2..13)
}

/// The pitch of a snare's body, Hz, between 120 and 430 Hz on the attack, as it is short (TRADE 6 [M]).
pub(super) fn snare_pitch(row: &[f32]) -> f32 {
    strongest(row, 1, 4..14)
}

/// The pitch of a kick's body, Hz, between 40 and 120 Hz (TRADE 6 [M]).
pub(super) fn kick_pitch(row: &[f32]) -> f32 {
    strongest(row, 1, 0..4)
}

/// The strongest rise among some low bands in a long window, Hz, with a parabola through its neighbours.
fn strongest(row: &[f32], window: usize, bands: Range<usize>) -> f32 {
    let (before, body) = (long_window(row, 0), long_window(row, window));
    let rises: Vec<f32> = (0..LONG_BANDS)
        .map(|b| rise(before, body, b..b + 1).max(1e-7).ln())
        .collect();
    let tops = rises.iter().enumerate().skip(bands.start).take(bands.len());
    let top = tops
        .max_by(|a, b| a.1.total_cmp(b.1))
        .map_or(bands.start, |(band, _)| band);
    let at = |band: usize| rises.get(band).copied().unwrap_or(0.0);
    let below = top.checked_sub(1).map_or(1e-7f32.ln(), at);
    let (a, b, c) = (below, at(top), at(top + 1));
    let bend = a - 2.0 * b + c;
    let offset = if bend < 0.0 {
        (0.5 * (a - c) / bend).clamp(-0.5, 0.5)
    } else {
        0.0
    };
    long_hertz(top as f32 + offset)
}

/// Hz at `place` on the scale of the short windows' bands (0.0 is the centre of the lowest).
fn short_hertz(place: f32) -> f32 {
    let warp = |f: f32| (1.0 + f / SHORT_CORNER as f32).ln();
    let (low, high) = (warp(SHORT_RANGE.0 as f32), warp(SHORT_RANGE.1 as f32));
    SHORT_CORNER as f32 * (low + (high - low) * (place + 1.0) / (SHORT_BANDS + 1) as f32).exp_m1()
}

/// The centre of gravity of what the attack adds, amplitudes on the bands' scale, Hz.
pub(super) fn brightness(row: &[f32]) -> f32 {
    let band = |b: usize| (b as f32, attack_rise(row, b..b + 1).sqrt());
    let (weighted, total) = (0..SHORT_BANDS)
        .map(band)
        .fold((0.0, 0.0), |(w, t), (place, sound)| {
            (w + place * sound, t + sound)
        });
    if total > 0.0 {
        short_hertz(weighted / total)
    } else {
        0.0
    }
}

/// The time in which a stroke falls by 20 dB, seconds (0.01 to 4), by what it still adds 10 and 110 ms after its onset.
pub(super) fn ring(row: &[f32]) -> f32 {
    let added =
        |window: usize| rise(short_window(row, 0), short_window(row, window), 0..SHORT_BANDS).max(FLOOR);
    let fallen = 10.0 * (added(2) / added(5)).log10();
    (20.0 * (SHORT_STARTS[5] - SHORT_STARTS[2]) as f32 / fallen.max(0.1)).clamp(0.01, 4.0)
}

/// What a stroke adds to what rang before it: in the short bands over the first 50 ms, in the mean, and in the low
/// bands. A tenth of what rang is the least that counts as added.
pub(super) fn added(row: &[f32]) -> Vec<f32> {
    let windows = [1, 2, 3].map(|n| short_window(row, n));
    let mean = |band: usize| windows.iter().filter_map(|w| w.get(band)).sum::<f32>() / windows.len() as f32;
    let now = (0..SHORT_BANDS)
        .map(mean)
        .chain(long_window(row, 1).iter().copied());
    let before = short_window(row, 0).iter().chain(long_window(row, 0));
    now.zip(before)
        .map(|(now, before)| {
            let rang = 10f32.powf(*before);
            ((10f32.powf(now) - rang).max(0.1 * rang) + FLOOR).log10()
        })
        .collect()
}

/// Numbers in a [`stroke`].
pub(super) const STROKE: usize = 2 * SHORT_BANDS + 2 * LONG_BANDS;

/// What a stroke adds to what rang before, whatever its level: short bands over the first 50 ms and 60 ms after its
/// onset, low bands on its attack and behind it; all against the mean of its attack between 300 Hz and 9 kHz.
pub(super) fn stroke(row: &[f32]) -> Vec<f32> {
    let over = |before: &[f32], now: &[f32]| -> Vec<f32> {
        let added = |(before, now): (&f32, &f32)| {
            let rang = 10f32.powf(*before);
            ((10f32.powf(*now) - rang).max(0.1 * rang) + FLOOR).log10()
        };
        before.iter().zip(now).map(added).collect()
    };
    let [first, second, third, tail] = [1, 2, 3, 4].map(|n| over(short_window(row, 0), short_window(row, n)));
    let attack = first
        .iter()
        .zip(second)
        .zip(third)
        .map(|((a, b), c)| (a + b + c) / 3.0);
    let mut stroke: Vec<f32> = attack.collect();
    let heard = stroke.get(4..22).unwrap_or_default();
    let level = heard.iter().sum::<f32>() / heard.len().max(1) as f32;
    stroke.extend(tail);
    stroke.extend(
        [1, 2]
            .map(|n| over(long_window(row, 0), long_window(row, n)))
            .concat(),
    );
    stroke.iter_mut().for_each(|x| *x -= level);
    stroke
}

/// The level of an attack below 9 kHz, dB over the recording's reference.
pub(super) fn loudness(row: &[f32]) -> f32 {
    let power = |n: usize| {
        short_window(row, n)
            .iter()
            .take(22)
            .map(|x| 10f32.powf(*x))
            .sum::<f32>()
    };
    10.0 * (power(1) + power(2)).max(FLOOR).log10()
}
