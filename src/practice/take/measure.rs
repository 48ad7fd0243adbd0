//! The passes of an attempt -> the figures of a [`Take`].

use super::compare::{Deviation, Struck};
use super::curve::median;
use super::{Late, Part, Round, Stroke, Take, Who, figure, original};
use crate::names::{Layer, Limb, Voice};
use crate::options::TakeOptions;
use crate::study::Study;
use crate::units::{Bpm, Millis, Seconds};

/// Without a figure a round is so many bars.
const BARS: i64 = 4;

/// Fills a take from its passes.
pub(super) fn gather(take: &mut Take, study: &Study, parts: &[Part], options: &TakeOptions) {
    let (mut own, mut theirs, mut beats) = (0.0, 0.0, 0.0);
    let per_beat = i64::from(study.grid.steps_per_beat.max(1));
    for part in parts {
        let (from, to) = part.steps;
        let length = part.curve.time(to as f64) - part.curve.time(from as f64);
        if let Some(seconds) = original(study, from, to) {
            own += length;
            theirs += seconds.0;
            beats += (to - from) as f64 / per_beat as f64;
        }
        take.passes.push(part.steps);
        take.written += part.written.len();
        take.untold += part.compared.untold;
        take.metronome |= part.compared.metronome;
        take.faults.extend(part.compared.faults.iter().copied());
        take.struck.extend(part.compared.struck.iter().map(stroke));
        take.tempos.extend(tempos(part, per_beat));
        take.rounds.extend(rounds(study, part, options));
        let (changes, stood) = changes(part, per_beat, options);
        take.changes.0 += changes;
        take.changes.1 += stood;
    }
    take.share = theirs / f64::max(own, 1e-9);
    take.tempo = Bpm(60.0 * beats / f64::max(own, 1e-9));
    take.drift = drift(study, parts);
    let off: Vec<f64> = struck(parts).map(|s| s.off).collect();
    take.steadiness = Seconds(spread(&off)).to_millis();
    take.limbs = limbs(parts);
    take.figure_steps = figure_steps(study, parts);
}

fn struck(parts: &[Part]) -> impl Iterator<Item = &Struck> {
    parts.iter().flat_map(|p| &p.compared.struck)
}

fn stroke(struck: &Struck) -> Stroke {
    Stroke {
        step: struck.expected.step,
        voice: struck.expected.voice,
        figure: struck.expected.layer == Some(Layer::Ostinato),
        late: Seconds(struck.late).to_millis(),
    }
}

/// Standard deviation, with what lies wildly off held back: found times have outliers of their own.
fn spread(off: &[f64]) -> f64 {
    let middle = median(off.to_vec());
    let usual = median(off.iter().map(|o| (o - middle).abs()).collect()) * 1.4826;
    let held: Vec<f64> = off
        .iter()
        .map(|o| (o - middle).clamp(-4.0 * usual, 4.0 * usual))
        .collect();
    (held.iter().map(|o| o * o).sum::<f64>() / held.len().max(1) as f64).sqrt()
}

fn tempos(part: &Part, per_beat: i64) -> Vec<(i64, Bpm)> {
    let (from, to) = part.steps;
    let beats = (from..=to - per_beat).step_by(per_beat as usize);
    beats
        .map(|s| {
            (
                s,
                Bpm::of_beat(Seconds(
                    part.curve.time((s + per_beat) as f64) - part.curve.time(s as f64),
                )),
            )
        })
        .filter(|(_, bpm)| bpm.0.is_finite() && bpm.0 > 0.0)
        .collect()
}

/// By what share the last quarter of the longest pass is faster than the first, against the original.
fn drift(study: &Study, parts: &[Part]) -> f64 {
    let Some(longest) = parts.iter().max_by_key(|p| p.steps.1 - p.steps.0) else {
        return 0.0;
    };
    let (from, to) = longest.steps;
    let quarter = (to - from) / 4;
    let share = |a: i64, b: i64| {
        let own = longest.curve.time(b as f64) - longest.curve.time(a as f64);
        original(study, a, b).map_or(1.0, |o| o.0 / own.max(1e-9))
    };
    if quarter < 1 {
        return 0.0;
    }
    share(to - quarter, to) / share(from, from + quarter) - 1.0
}

/// The limb of a stroke where it is known, or else the pedal's foot, or else its voice.
fn who(struck: &Struck) -> Who {
    match (struck.expected.limb, struck.expected.voice) {
        (Some(limb), _) => Who::Limb(limb),
        (None, Voice::Kick) => Who::Limb(Limb::RightFoot),
        (None, Voice::KickLeft | Voice::HatFoot) => Who::Limb(Limb::LeftFoot),
        (None, voice) => Who::Voice(voice),
    }
}

fn limbs(parts: &[Part]) -> Vec<Late> {
    let mut all: Vec<(Who, f64)> = struck(parts).map(|s| (who(s), s.late)).collect();
    all.sort_by_key(|a| a.0);
    let same = all.chunk_by(|a, b| a.0 == b.0);
    same.filter_map(|group| {
        let late: Vec<f64> = group.iter().map(|g| g.1).collect();
        let middle = median(late.clone());
        Some(Late {
            who: group.first()?.0,
            late: Seconds(middle).to_millis(),
            spread: Seconds(median(late.iter().map(|l| (l - middle).abs()).collect())).to_millis(),
            strokes: late.len(),
        })
    })
    .collect()
}

fn figure_steps(study: &Study, parts: &[Part]) -> Vec<(u32, Millis, usize)> {
    let Some((start, length, _)) = figure(study) else {
        return Vec::new();
    };
    let own = |s: &&Struck| s.expected.layer == Some(Layer::Ostinato);
    let mut all: Vec<(i64, f64)> = struck(parts)
        .filter(own)
        .map(|s| ((s.expected.step - start).rem_euclid(length), s.late))
        .collect();
    all.sort_by_key(|(step, _)| *step);
    let same = all.chunk_by(|a, b| a.0 == b.0);
    same.filter_map(|group| {
        let late = median(group.iter().map(|g| g.1).collect());
        Some((
            group.first()?.0 as u32 + 1,
            Seconds(late).to_millis(),
            group.len(),
        ))
    })
    .collect()
}

/// Beats in which the solo does something else than in the beat before, and those of them in which every stroke of the
/// figure is there, near its place.
fn changes(part: &Part, per_beat: i64, options: &TakeOptions) -> (usize, usize) {
    let beat = |step: i64| step.div_euclid(per_beat);
    let (first, last) = (beat(part.steps.0), beat(part.steps.1));
    let solo = |b: i64| -> Vec<(i64, Voice)> {
        let own = part
            .written
            .iter()
            .filter(|e| e.layer == Some(Layer::Solo) && beat(e.step) == b);
        own.map(|e| (e.step.rem_euclid(per_beat), e.voice)).collect()
    };
    let (mut changes, mut stood) = (0, 0);
    let mut before = solo(first);
    for b in first + 1..=last {
        let now = solo(b);
        let figure = part
            .written
            .iter()
            .filter(|e| e.layer == Some(Layer::Ostinato) && beat(e.step) == b)
            .count();
        if now != before && figure > 0 {
            let there = part.compared.struck.iter().filter(|s| {
                s.expected.layer == Some(Layer::Ostinato)
                    && beat(s.expected.step) == b
                    && s.off.abs() <= near(part, s.expected.step, options)
            });
            changes += 1;
            stood += usize::from(there.count() == figure || !faulty(part, b, per_beat));
        }
        before = now;
    }
    (changes, stood)
}

/// Whether a fault on a voice of the figure lies in a beat.
fn faulty(part: &Part, b: i64, per_beat: i64) -> bool {
    let figure = |voice: Voice, step: i64| {
        part.written
            .iter()
            .any(|e| e.step == step && e.voice == voice && e.layer == Some(Layer::Ostinato))
    };
    let late = part.compared.struck.iter().any(|s| {
        s.expected.step.div_euclid(per_beat) == b
            && s.expected.layer == Some(Layer::Ostinato)
            && s.off.abs() > 2.0 * 0.025
    });
    late || part
        .compared
        .faults
        .iter()
        .filter(|f| f.step().div_euclid(per_beat) == b)
        .any(|fault| match fault {
            Deviation::Missed { step, voice } => figure(*voice, *step),
            Deviation::Wrong { step, wanted, .. } => figure(*wanted, *step),
            Deviation::Slip { step, first, .. } => figure(*first, *step),
            Deviation::Extra { .. } => false,
        })
}

/// How far from its place a clean stroke may lie, seconds.
fn near(part: &Part, step: i64, options: &TakeOptions) -> f64 {
    let length = part.curve.time(step as f64 + 1.0) - part.curve.time(step as f64);
    options.clean.0.min(options.clean_share * length)
}

/// The rounds to home that lie whole in a pass.
fn rounds(study: &Study, part: &Part, options: &TakeOptions) -> Vec<Round> {
    let bar = i64::from(study.grid.steps_per_bar().max(1));
    let (start, length) = match figure(study) {
        Some((start, _, home)) => (start, home),
        None => (0, BARS * bar),
    };
    let (from, to) = part.steps;
    // A pass begins and ends on a stroke, not on the first and last step of a bar.
    let written = |steps: std::ops::Range<i64>| {
        let mut own = study.strokes.iter().filter_map(|stroke| stroke.step);
        own.any(|step| steps.contains(&step.0))
    };
    let reached = |step: i64| step <= to + 1 || !written(to + 1..step);
    let first = start + (from - start).div_euclid(length) * length;
    let begins = |step: i64| step >= from || !written(step..from);
    let mut all = Vec::new();
    let mut at = first;
    while at < to {
        let end = at + length;
        if begins(at) && at + length - bar <= to && reached(end) {
            let inside = |step: i64| (at..end).contains(&step);
            let faults = part.compared.faults.iter().any(|f| inside(f.step()));
            let struck = part.compared.struck.iter();
            let far = struck
                .filter(|s| inside(s.expected.step) && s.off.abs() > near(part, s.expected.step, options))
                .count();
            all.push(Round {
                from: at,
                to: end,
                far,
                clean: !faults && far == 0,
            });
        }
        at = end;
    }
    all
}
