//! Two snares struck at once -> when each of them was: limbs that strike together do not meet to the millisecond.
//!
//! In: a [`Recording`] and hits, some of them a stroke on both snares at one time. Out: each at its own time. What one
//! drum sounds like when it is struck alone is heard from the recording: the mean waveform of its first 30 ms, each
//! stroke shifted to where it fits best. A stroke on both is then the sum of the two at the shifts at which they
//! explain the most of it (least squares; a matched filter, D. O. North, RCA report PTR-6C, 1943, for two signals).

use rayon::prelude::*;

use super::super::Hit;
use crate::audio::{RATE, Recording};
use crate::names::Voice;
use crate::units::Seconds;

/// The drums' bodies and the lower part of their wires are looked at: under it kicks sound, over it hats. Passes of a
/// mean over so many samples leave out what lies above and below: 3.7 kHz, 160 Hz.
const HIGH: usize = 6;
const LOW: usize = 138;
/// One sample in so many is kept.
const KEPT: usize = 4;
/// Samples that are kept a second.
const PER_SECOND: f64 = RATE as f64 / KEPT as f64;
/// Length of a drum's portrait, and how much of it lies before the stroke, in kept samples: 30 ms, 3 ms.
const LENGTH: usize = 330;
const BEFORE: usize = 33;
/// How far from the time at which a stroke was heard it is looked for, in kept samples: for a portrait 6 ms, of a
/// stroke on both 20 ms.
const NEAR: usize = 66;
const FAR: usize = 220;
/// Strokes in a portrait, at least and at most, and how often they are fitted to each other.
const STROKES: (usize, usize) = (5, 40);
const ROUNDS: usize = 4;
/// Other strokes that are no pedal hats lie at least so far from the strokes of a portrait, if there are enough.
const ALONE: Seconds = Seconds(0.04);
/// Share of a stroke that both must explain together.
const EXPLAINED: f64 = 0.3;

/// Gives both hits of a stroke on two snares their own times; the result is sorted by time.
pub(in crate::voices) fn part(recording: &Recording, hits: &mut [Hit]) {
    let both: Vec<(usize, usize)> = (hits.iter().enumerate())
        .filter(|(_, hit)| hit.voice == Voice::Snare)
        .filter_map(|(at, hit)| {
            let around = hits.iter().enumerate();
            let second = around
                .skip(at + 1)
                .take_while(|(_, other)| other.time == hit.time);
            let second = second.filter(|(_, other)| other.voice == Voice::Snare2);
            second.map(|(other, _)| (at, other)).next()
        })
        .collect();
    if both.is_empty() {
        return;
    }
    let (Some(first), Some(second)) = (
        portrait(recording, hits, Voice::Snare),
        portrait(recording, hits, Voice::Snare2),
    ) else {
        return;
    };
    let times: Vec<Option<[Seconds; 2]>> = both
        .par_iter()
        .map(|(at, _)| apart(recording, hits.get(*at)?.time, [&first, &second]))
        .collect();
    for ((first, second), times) in both.into_iter().zip(times) {
        if let Some([one, other]) = times {
            hits[first].time = one;
            hits[second].time = other;
        }
    }
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0).then(a.voice.cmp(&b.voice)));
}

/// The mean waveform of a drum, of unit energy; `None` where it is struck alone too seldom.
fn portrait(recording: &Recording, hits: &[Hit], voice: Voice) -> Option<Vec<f64>> {
    let free = |hit: &&Hit, without: &dyn Fn(Voice) -> bool| {
        let from = hits.partition_point(|h| h.time < hit.time - ALONE);
        let near = hits.iter().skip(from).take_while(|h| h.time < hit.time + ALONE);
        !near.into_iter().any(|h| h != *hit && without(h.voice))
    };
    let own = |without: &dyn Fn(Voice) -> bool| -> Vec<Seconds> {
        let own = hits.iter().filter(|hit| hit.voice == voice && free(hit, without));
        own.map(|hit| hit.time).collect()
    };
    let mut times = own(&|other| other != Voice::HatFoot);
    if times.len() < STROKES.0 {
        times = own(&|other| matches!(other, Voice::Snare | Voice::Snare2));
    }
    if times.len() < STROKES.0 {
        return None;
    }
    let every = times.len().div_ceil(STROKES.1);
    let heard: Vec<Vec<f64>> = (times.iter().step_by(every))
        .map(|time| waveform(recording, *time, NEAR))
        .collect();
    // The stroke that fits the others best is the first portrait.
    let alone = |wave: &Vec<f64>| unit(wave.get(NEAR..NEAR + LENGTH).unwrap_or_default().to_vec());
    let fits = |portrait: &[f64]| -> f64 { heard.iter().map(|wave| best(wave, portrait).1).sum() };
    let candidates: Vec<(f64, Vec<f64>)> = (heard.par_iter())
        .map(alone)
        .map(|portrait| (fits(&portrait), portrait))
        .collect();
    let first = candidates.into_iter().max_by(|a, b| a.0.total_cmp(&b.0));
    let mut portrait = first.map(|(_, portrait)| portrait)?;
    for _ in 0..ROUNDS {
        let mut sum = vec![0.0; LENGTH];
        for wave in &heard {
            let (shift, fit) = best(wave, &portrait);
            let part = wave.get(shift..shift + LENGTH).unwrap_or_default();
            let size = energy(part).sqrt().max(f64::MIN_POSITIVE);
            sum.iter_mut().zip(part).for_each(|(s, x)| *s += fit * x / size);
        }
        portrait = unit(sum);
    }
    Some(portrait)
}

/// The shift at which a portrait fits a waveform best, and how well: 1 is wholly.
fn best(wave: &[f64], portrait: &[f64]) -> (usize, f64) {
    let fits = wave.windows(LENGTH).map(|part| {
        let size = energy(part).sqrt();
        if size > 0.0 {
            dot(part, portrait) / size
        } else {
            0.0
        }
    });
    fits.enumerate()
        .fold((0, 0.0), |best, next| if next.1 > best.1 { next } else { best })
}

/// When each of two drums was struck around `time`.
fn apart(recording: &Recording, time: Seconds, portraits: [&[f64]; 2]) -> Option<[Seconds; 2]> {
    let wave = waveform(recording, time, FAR);
    let fits = portraits
        .map(|portrait| -> Vec<f64> { wave.windows(LENGTH).map(|part| dot(part, portrait)).collect() });
    let [first, second] = &fits;
    let mut most = (0.0, 0, 0);
    for lag in -(FAR as isize)..=FAR as isize {
        let like = overlap(portraits, lag).clamp(-0.99, 0.99);
        for (at, a) in first.iter().enumerate() {
            let Some(other) = at.checked_add_signed(lag) else {
                continue;
            };
            let Some(b) = second.get(other) else { continue };
            // What both explain: least squares for two signals that are alike by `like`.
            let explained = (a * a + b * b - 2.0 * like * a * b) / (1.0 - like * like);
            // Drums only add their strokes.
            let adds = a - like * b > 0.0 && b - like * a > 0.0;
            if adds && explained > most.0 {
                most = (explained, at, other);
            }
        }
    }
    let (explained, one, other) = most;
    let at = |shift: usize| time + Seconds((shift as f64 - FAR as f64) / PER_SECOND);
    (explained > EXPLAINED * energy(&wave)).then(|| [at(one), at(other)])
}

/// How alike two portraits are when the second begins `lag` later.
fn overlap([first, second]: [&[f64]; 2], lag: isize) -> f64 {
    let late = lag.unsigned_abs();
    let (early, late) = if lag >= 0 {
        (first.get(late..), second)
    } else {
        (second.get(late..), first)
    };
    dot(early.unwrap_or_default(), late)
}

/// The sound around a stroke as portraits know it: `reach` kept samples more on both sides.
fn waveform(recording: &Recording, time: Seconds, reach: usize) -> Vec<f64> {
    let begin = ((time - recording.start).0 * f64::from(RATE)).round() as isize;
    let begin = begin - ((BEFORE + reach) * KEPT) as isize;
    let margin = 2 * (HIGH + LOW);
    let kept = LENGTH + 2 * reach;
    let mut samples = vec![0.0f32; kept * KEPT + 2 * margin];
    recording.read_mono(begin - margin as isize, &mut samples);
    let samples: Vec<f64> = samples.into_iter().map(f64::from).collect();
    let smooth = mean(&mean(&samples, HIGH), HIGH);
    let slow = mean(&mean(&smooth, LOW), LOW);
    let band = smooth.iter().zip(slow).map(|(x, low)| x - low);
    band.skip(margin).step_by(KEPT).take(kept).collect()
}

/// The running mean over `length` samples around each.
fn mean(samples: &[f64], length: usize) -> Vec<f64> {
    let sums: Vec<f64> = std::iter::once(0.0)
        .chain(samples.iter().scan(0.0, |sum, x| {
            *sum += x;
            Some(*sum)
        }))
        .collect();
    let sum = |n: usize| sums.get(n.min(samples.len())).copied().unwrap_or(0.0);
    (0..samples.len())
        .map(|n| (sum(n + length - length / 2) - sum(n.saturating_sub(length / 2))) / length as f64)
        .collect()
}

fn unit(mut wave: Vec<f64>) -> Vec<f64> {
    let size = energy(&wave).sqrt().max(f64::MIN_POSITIVE);
    wave.iter_mut().for_each(|x| *x /= size);
    wave
}

fn energy(wave: &[f64]) -> f64 {
    dot(wave, wave)
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Decibels;

    fn hit(time: f64, voice: Voice) -> Hit {
        Hit {
            time: Seconds(time),
            voice,
            level: Decibels(-6.0),
            mark: None,
            grace: None,
            sure: 0.9,
        }
    }

    /// A recording of two drums, each a body and a rattle of its own, and the hits that are heard in it: both drums alone
    /// eight times each, then both at once, `gap` apart and heard as one.
    fn played(gaps: &[f64]) -> (Recording, Vec<Hit>) {
        let mut sound = vec![0.0f32; RATE as usize * (10 + gaps.len())];
        let mut strike = |time: f64, body: f64, rattle: f64, level: f64| {
            let from = (time * f64::from(RATE)).round() as usize;
            for (n, x) in sound.iter_mut().skip(from).take(8000).enumerate() {
                let t = n as f64 / f64::from(RATE);
                let wave = (body * t * std::f64::consts::TAU).sin() * (-t * 25.0).exp()
                    + 0.5 * (rattle * t * std::f64::consts::TAU).sin() * (-t * 60.0).exp();
                *x += (level * wave) as f32;
            }
        };
        let mut hits = Vec::new();
        for n in 0..8 {
            let time = 0.5 + 0.5 * f64::from(n);
            strike(time, 190.0, 1_370.0, 0.3 + 0.02 * f64::from(n));
            strike(time + 0.25, 330.0, 2_110.0, 0.25);
            hits.extend([hit(time, Voice::Snare), hit(time + 0.25, Voice::Snare2)]);
        }
        for (n, gap) in gaps.iter().enumerate() {
            let time = 5.0 + 0.5 * n as f64;
            strike(time, 190.0, 1_370.0, 0.3);
            strike(time + gap, 330.0, 2_110.0, 0.2);
            let heard = time + gap.min(0.0) + 0.002;
            hits.extend([hit(heard, Voice::Snare), hit(heard, Voice::Snare2)]);
        }
        (Recording::from_channels(&[sound]), hits)
    }

    #[test]
    fn each_of_two_snares_has_its_time() {
        let gaps = [0.006, -0.006, 0.012, -0.012, 0.003, -0.003];
        let (recording, mut hits) = played(&gaps);
        part(&recording, &mut hits);
        for (n, gap) in gaps.iter().enumerate() {
            let time = 5.0 + 0.5 * n as f64;
            let of = |voice: Voice| {
                let near = hits
                    .iter()
                    .find(|h| h.voice == voice && (h.time.0 - time).abs() < 0.1);
                near.map_or(f64::NAN, |h| h.time.0)
            };
            let found = of(Voice::Snare2) - of(Voice::Snare);
            assert!((found - gap).abs() < 0.001, "{gap}: {found}");
        }
        assert!(hits.is_sorted_by(|a, b| a.time <= b.time));
    }

    #[test]
    fn hits_that_are_alone_stay_as_they_are() {
        let (recording, mut hits) = played(&[]);
        let before = hits.clone();
        part(&recording, &mut hits);
        assert_eq!(hits, before);
        part(&recording, &mut []);
        let mut few = vec![hit(1.0, Voice::Snare), hit(1.0, Voice::Snare2)];
        let before = few.clone();
        part(&recording, &mut few);
        assert_eq!(few, before);
    }
}
