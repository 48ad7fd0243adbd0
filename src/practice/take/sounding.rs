//! One run of an attempt by its own sound: what is in it, and when each stroke was struck.
//!
//! The sound is explained by the expected strokes ([`Explanation`]), each stroke's time is where its own voice's sound fits
//! best, and what no such explanation tells is how long after its frame a voice begins to sound. That is taken from
//! strokes that nothing else was struck with: there the ears time the attack on the waveform.

use super::compare::{self, Expected, Pairs};
use super::curve::{Curve, median};
use super::ears;
use super::explain::{Explanation, Note};
use super::judge::{self, Finding, Place, Verdict};
use super::listen::Attempt;
use crate::names::Voice;
use crate::voices::Hit;

/// What was heard in a run.
pub(super) struct Heard {
    pub(super) verdict: Verdict,
    /// When each of the study's strokes was struck; `None` where it is gone or lies too deep to be timed.
    pub(super) times: Vec<Option<f64>>,
}

/// So many strokes of a voice alone decide about when it begins to sound.
const ALONE: usize = 4;
/// Nothing else is due within this (s) of a stroke that is alone.
const APART: f64 = 0.05;
/// A stroke further than this (s) from the nearest step has a place of its own.
const BETWEEN: f64 = 0.03;
/// Where ears and explanation differ by more than this (s) in the median, the explanation does not tell the time: what
/// rings on has no sharp place.
const TIGHT: f64 = 0.0025;
/// A stroke heard less clearly than this share of what is usual for its voice is not timed.
const CLEAR: f64 = 0.1;

/// Listens to a run.
pub(super) fn heard(
    attempt: &Attempt,
    hits: &[Hit],
    written: &[Expected],
    pairs: &Pairs,
    curve: &Curve,
    per_beat: f64,
) -> Heard {
    let sound = &attempt.sound;
    let mut due: Vec<(Voice, i64, f64)> = written
        .iter()
        .zip(&pairs.due)
        .map(|(e, due)| (e.voice, e.step, sound.frame(*due)))
        .collect();
    let (first, last) = (
        written.first().map_or(0, |e| e.step),
        written.last().map_or(0, |e| e.step),
    );
    if pairs.metronome {
        let beats = (first..=last).filter(|s| s.rem_euclid(per_beat.max(1.0) as i64) == 0);
        due.extend(beats.map(|s| (TICK, s, sound.frame(curve.time(s as f64)))));
    }
    let mut all = Explanation::of(sound, &due);
    let mut places: Vec<Place> = (first..=last)
        .map(|step| Place {
            step,
            frame: sound.frame(curve.time(step as f64)),
        })
        .collect();
    places.extend(
        pairs
            .spare
            .iter()
            .filter_map(|h| hits.get(*h))
            .map(|hit| (compare::nearest_step(curve, hit.time.0, written), hit.time.0))
            .filter(|(step, time)| (time - curve.time(*step as f64)).abs() > BETWEEN)
            .map(|(step, time)| Place {
                step,
                frame: sound.frame(time),
            }),
    );
    let levels: Vec<f64> = written.iter().map(|e| e.level).collect();
    let mut verdict = judge::judge(&mut all, &places, &levels);
    let odds: Vec<f32> = written
        .iter()
        .zip(&pairs.due)
        .map(|(e, due)| ears::likely(&attempt.heard, e.voice, *due))
        .collect();
    ears::believe(&mut verdict, hits, written, pairs, &odds);
    let times = times(&all, &verdict, hits, pairs, written.len());
    Heard { verdict, times }
}

/// The name under which a metronome takes part in the explanation.
const TICK: Voice = Voice::Other;

/// A stroke that nothing else was struck with, by its own: the ears' time and the explanation's.
struct Alone {
    written: usize,
    source: usize,
    ears: f64,
    fitted: f64,
}

fn times(
    all: &Explanation,
    verdict: &Verdict,
    hits: &[Hit],
    pairs: &Pairs,
    written: usize,
) -> Vec<Option<f64>> {
    let notes: Vec<&Note> = all
        .notes
        .iter()
        .filter(|n| n.written.is_some_and(|w| w < written))
        .collect();
    let alone: Vec<Alone> = notes
        .iter()
        .filter_map(|n| {
            let w = n.written?;
            let hit = hits.get((*pairs.partner.get(w)?)?)?;
            let due = *pairs.due.get(w)?;
            let mut others = pairs.due.iter().enumerate().filter(|(other, _)| *other != w);
            let with = others.any(|(_, time)| (time - due).abs() <= APART);
            let added = verdict.added.iter().any(|a| a.step == n.step);
            (!with && !added).then_some(Alone {
                written: w,
                source: n.source,
                ears: hit.time.0,
                fitted: all.time(n),
            })
        })
        .collect();
    // How long after its frame a voice begins to sound, and how well that is known.
    let delays: Vec<Option<(f64, f64)>> = (0..all.sources.len())
        .map(|source| {
            let own = alone.iter().filter(|a| a.source == source);
            let off: Vec<f64> = own.map(|a| a.ears - a.fitted).collect();
            let middle = median(off.clone());
            let loose = median(off.iter().map(|o| (o - middle).abs()).collect());
            (off.len() >= ALONE).then_some((middle, loose))
        })
        .collect();
    // Where a voice is never alone, its attack against those of voices that are.
    let against = delays.iter().enumerate().filter_map(|(source, delay)| {
        let (delay, loose) = (*delay)?;
        (loose <= TIGHT).then(|| delay - all.delay(source))
    });
    let usual = median(against.collect());
    let mut times = vec![None; written];
    for (source, delay) in delays.iter().enumerate() {
        let (delay, loose) = delay.unwrap_or_else(|| (all.delay(source) + usual, 0.0));
        if loose > TIGHT {
            continue;
        }
        let own = || notes.iter().filter(|n| n.source == source);
        let clear = CLEAR * median(own().map(|n| n.clear).collect());
        for note in own().filter(|n| n.clear > clear.max(0.0)) {
            let time = note.written.and_then(|w| times.get_mut(w));
            time.into_iter().for_each(|t| *t = Some(all.time(note) + delay));
        }
    }
    for stroke in &alone {
        if let Some(time) = times.get_mut(stroke.written) {
            *time = Some(stroke.ears);
        }
    }
    for (time, finding) in times.iter_mut().zip(&verdict.findings) {
        if *finding != Finding::There {
            *time = None;
        }
    }
    times
}
