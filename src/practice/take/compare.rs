//! One run of an attempt against the study: which strokes are there, which are missing, extra, on the wrong drum or in
//! the wrong order.
//!
//! In: a run with its fitted curve. Out: strokes with their lateness, and faults. The ears make mistakes of their own, so
//! a fault is only one when the sound speaks for it: a stroke is missing when its drum is not heard at its place either
//! (against how well that drum is heard where it was struck, and where it was not), and a stroke is extra when it is
//! heard as surely as those that belong.

use std::collections::{HashMap, HashSet};

use serde::Serialize;

use super::curve::Curve;
use super::follow::{family, kinship};
use super::listen::Attempt;
use crate::names::{Layer, Limb, Voice};
use crate::units::Seconds;
use crate::voices::Hit;

/// A stroke that the study expects.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Expected {
    pub(super) step: i64,
    pub(super) voice: Voice,
    pub(super) limb: Option<Limb>,
    pub(super) layer: Option<Layer>,
    /// How sure the study itself is of it, 0 to 1.
    pub(super) sure: f64,
}

/// What is wrong in an attempt, by step from bar 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Deviation {
    /// Not there.
    Missed {
        /// Its step.
        step: i64,
        /// What should have been struck.
        voice: Voice,
    },
    /// There, though the study has nothing.
    Extra {
        /// The nearest step.
        step: i64,
        /// What was struck.
        voice: Voice,
    },
    /// Something else was struck.
    Wrong {
        /// Its step.
        step: i64,
        /// What should have been struck.
        wanted: Voice,
        /// What was struck.
        played: Voice,
    },
    /// Two strokes that follow each other have changed places.
    Slip {
        /// The step of the first.
        step: i64,
        /// What should have come first.
        first: Voice,
        /// What should have come second.
        second: Voice,
    },
}

impl Deviation {
    /// Its step.
    pub fn step(&self) -> i64 {
        match self {
            Deviation::Missed { step, .. }
            | Deviation::Extra { step, .. }
            | Deviation::Wrong { step, .. }
            | Deviation::Slip { step, .. } => *step,
        }
    }
}

/// A stroke that is there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Struck {
    pub(super) expected: Expected,
    /// Seconds after the fitted tempo, the voice's own offset included.
    pub(super) late: f64,
    /// The same without it.
    pub(super) off: f64,
}

/// What came of a run.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Compared {
    pub(super) struck: Vec<Struck>,
    pub(super) faults: Vec<Deviation>,
    /// Strokes of which it could not be heard whether they are there.
    pub(super) untold: usize,
    /// A metronome was heard and left out.
    pub(super) metronome: bool,
}

/// A stroke belongs to a place within this (s), and within this share of a step, whichever is smaller.
const WINDOW: f64 = 0.07;
const SHARE: f64 = 0.48;
/// How sure a stroke on a drum that the study does not have there must be.
const SURE: f64 = 0.55;
/// Share of beats that carry a stroke too many when a metronome is heard, at least, and how much rarer such strokes are
/// between beats.
const TICKING: f64 = 0.35;
const RARER: f64 = 3.0;
/// How far from a beat a tick lies, at most (s).
const ON_BEAT: f64 = 0.035;

/// Compares. `written` are the study's strokes in the run's range, by step; `hits` those of the attempt in its time.
pub(super) fn compare(
    attempt: &Attempt,
    hits: &[Hit],
    written: &[Expected],
    curve: &Curve,
    per_beat: f64,
) -> Compared {
    let due: Vec<f64> = written
        .iter()
        .map(|e| curve.time(e.step as f64) + curve.offset(e.voice))
        .collect();
    let step = |e: &Expected| curve.time(e.step as f64 + 1.0) - curve.time(e.step as f64);
    let window = |e: &Expected| WINDOW.min(SHARE * step(e)).max(0.0);
    let mut pairs: Vec<(u8, f64, usize, usize)> = Vec::new();
    for (w, (expected, due)) in written.iter().zip(&due).enumerate() {
        let near = hits.partition_point(|h| h.time.0 < due - WINDOW);
        for (h, hit) in hits
            .iter()
            .enumerate()
            .skip(near)
            .take_while(|(_, h)| h.time.0 <= due + WINDOW)
        {
            let off = (hit.time.0 - due).abs();
            let rank = if hit.voice == expected.voice { 0 } else { 1 };
            if off <= window(expected) && alike(hit.voice, expected.voice) {
                pairs.push((rank, off, w, h));
            }
        }
    }
    pairs.sort_by(|a, b| {
        a.0.cmp(&b.0)
            .then(a.1.total_cmp(&b.1))
            .then((a.2, a.3).cmp(&(b.2, b.3)))
    });
    let mut partner: Vec<Option<usize>> = vec![None; written.len()];
    let mut taken = vec![false; hits.len()];
    for (_, _, w, h) in pairs {
        if partner[w].is_none() && !taken[h] {
            (partner[w], taken[h]) = (Some(h), true);
        }
    }
    let mut out = Compared::default();
    for ((expected, partner), _) in written.iter().zip(&partner).zip(&due) {
        if let Some(hit) = partner.and_then(|h| hits.get(h)) {
            let late = hit.time.0 - curve.time(expected.step as f64);
            out.struck.push(Struck {
                expected: *expected,
                late,
                off: late - curve.offset(expected.voice),
            });
        }
    }
    let doubt = Doubt::of(attempt, written, &partner, &due, hits);
    let missing: Vec<usize> = (0..written.len()).filter(|w| partner[*w].is_none()).collect();
    let spare: Vec<usize> = (0..hits.len()).filter(|h| !taken[*h]).collect();
    let ticks = ticks(hits, &spare, curve, per_beat, written);
    out.metronome = !ticks.is_empty();
    let spare: Vec<usize> = spare.into_iter().filter(|h| !ticks.contains(h)).collect();
    let found = faults(attempt, hits, written, &due, &missing, &spare, &doubt, curve);
    (out.faults, out.untold) = told(found, written);
    out
}

/// Strokes of one kind, alone or under others, that seem to be missing more often than this are ones that the ears miss:
/// which of them are really missing cannot be told. So many may always be told, and more when most are gone.
const DEAF: f64 = 0.05;
const ALWAYS: usize = 2;
const GONE: f64 = 0.6;
/// A stroke of which the study is less sure than this is no fault when it is missing.
const WRITTEN_SURE: f64 = 0.4;

/// The faults that can be told, and how many strokes are in doubt instead.
fn told(found: Vec<Deviation>, written: &[Expected]) -> (Vec<Deviation>, usize) {
    let mut crowd: HashMap<i64, usize> = HashMap::new();
    written
        .iter()
        .for_each(|e| *crowd.entry(e.step).or_default() += 1);
    let kind = |step: i64, voice: Voice| (family(voice), crowd.get(&step).is_some_and(|n| *n > 1));
    let mut all: HashMap<(u8, bool), (usize, usize)> = HashMap::new();
    written
        .iter()
        .for_each(|e| all.entry(kind(e.step, e.voice)).or_default().0 += 1);
    let unsure = |step: i64, voice: Voice| {
        written
            .iter()
            .any(|e| e.step == step && e.voice == voice && e.sure < WRITTEN_SURE)
    };
    for fault in &found {
        if let Deviation::Missed { step, voice } = *fault
            && !unsure(step, voice)
        {
            all.entry(kind(step, voice)).or_default().1 += 1;
        }
    }
    let before = found.len();
    let can_tell = |fault: &Deviation| match *fault {
        Deviation::Missed { step, voice } => {
            let (written, missing) = all.get(&kind(step, voice)).copied().unwrap_or_default();
            let share = missing as f64 / written.max(1) as f64;
            !unsure(step, voice) && (missing <= ALWAYS || share <= DEAF || share >= GONE)
        }
        _ => true,
    };
    let faults: Vec<Deviation> = found.into_iter().filter(can_tell).collect();
    let untold = before - faults.len();
    (faults, untold)
}

/// Voices that the ears may take for each other without the player having done anything wrong: the same metal struck
/// another way.
fn alike(heard: Voice, wanted: Voice) -> bool {
    heard == wanted || matches!(family(wanted), 0 | 3 | 4) && kinship(heard, wanted) > 0.0
}

/// How well each kind of drum is heard where it was struck.
struct Doubt {
    /// By family: the evidence that tells struck from not struck, and how sure the strokes are.
    least: [f64; 6],
    sure: [f64; 6],
}

impl Doubt {
    fn of(
        attempt: &Attempt,
        written: &[Expected],
        partner: &[Option<usize>],
        due: &[f64],
        hits: &[Hit],
    ) -> Doubt {
        let mut doubt = Doubt {
            least: [0.5; 6],
            sure: [SURE; 6],
        };
        for kind in 0..6u8 {
            let own = |e: &Expected| family(e.voice) == kind;
            let there = written
                .iter()
                .zip(partner)
                .zip(due)
                .filter(|((e, p), _)| own(e) && p.is_some());
            let mut there: Vec<f64> = there
                .map(|((e, _), due)| attempt.evidence(e.voice, Seconds(*due)))
                .collect();
            let wanted: HashSet<i64> = written.iter().filter(|e| own(e)).map(|e| e.step).collect();
            // Where other drums are struck and this one is neither wanted nor heard.
            let silent = written.iter().zip(due).filter(|(e, due)| {
                !own(e)
                    && !wanted.contains(&e.step)
                    && !hits
                        .iter()
                        .any(|h| family(h.voice) == kind && (h.time.0 - **due).abs() < 0.05)
            });
            let sample = written.iter().find(|e| own(e)).map(|e| e.voice);
            let mut not: Vec<f64> = silent
                .filter_map(|(_, due)| Some(attempt.evidence(sample?, Seconds(*due))))
                .collect();
            there.sort_by(f64::total_cmp);
            not.sort_by(f64::total_cmp);
            let share =
                |sorted: &[f64], share: f64| sorted.get((sorted.len() as f64 * share) as usize).copied();
            let (weak, noise) = (
                share(&there, 0.02).unwrap_or(0.5),
                share(&not, 0.9).unwrap_or(0.05),
            );
            // Halfway, on a logarithmic scale, between the weakest that were struck and the loudest that were not.
            let level = (weak.max(1e-3) * noise.max(1e-3)).sqrt();
            let (index, sure) = (usize::from(kind), hits.iter().enumerate());
            let mut sure: Vec<f64> = sure
                .filter(|(h, hit)| family(hit.voice) == kind && partner.contains(&Some(*h)))
                .map(|(_, hit)| hit.sure)
                .collect();
            sure.sort_by(f64::total_cmp);
            if let (Some(least), Some(s)) = (doubt.least.get_mut(index), doubt.sure.get_mut(index)) {
                *least = level.clamp(0.02, 0.5);
                *s = share(&sure, 0.25).unwrap_or(SURE).clamp(SURE, 0.85);
            }
        }
        doubt
    }

    fn hears(&self, attempt: &Attempt, voice: Voice, time: f64) -> bool {
        let least = self.least.get(usize::from(family(voice))).copied().unwrap_or(0.5);
        attempt.evidence(voice, Seconds(time)) >= least
    }

    fn sure(&self, hit: &Hit) -> bool {
        hit.sure
            >= self
                .sure
                .get(usize::from(family(hit.voice)))
                .copied()
                .unwrap_or(SURE)
    }
}

/// Indices of strokes too many that are a metronome's: on most beats, and hardly anywhere else.
fn ticks(hits: &[Hit], spare: &[usize], curve: &Curve, per_beat: f64, written: &[Expected]) -> Vec<usize> {
    let (Some(first), Some(last)) = (written.first(), written.last()) else {
        return Vec::new();
    };
    let per_beat_steps = per_beat.max(1.0) as i64;
    let beats: Vec<f64> = (first.step..=last.step)
        .filter(|s| s.rem_euclid(per_beat_steps) == 0)
        .map(|s| curve.time(s as f64))
        .collect();
    let on_beat = |h: &usize| {
        hits.get(*h).is_some_and(|hit| {
            let near = beats.partition_point(|b| *b < hit.time.0 - ON_BEAT);
            beats.get(near).is_some_and(|b| (b - hit.time.0).abs() <= ON_BEAT)
        })
    };
    let on: Vec<usize> = spare.iter().copied().filter(on_beat).collect();
    let off = spare.len() - on.len();
    let rate = on.len() as f64 / beats.len().max(1) as f64;
    let between = off as f64 / (beats.len().max(1) as f64 * (per_beat - 1.0).max(1.0));
    if beats.len() >= 8 && rate >= TICKING && rate >= RARER * between {
        on
    } else {
        Vec::new()
    }
}

/// What is left unpaired, as faults.
#[allow(clippy::too_many_arguments, reason = "all of one comparison, used once")]
fn faults(
    attempt: &Attempt,
    hits: &[Hit],
    written: &[Expected],
    due: &[f64],
    missing: &[usize],
    spare: &[usize],
    doubt: &Doubt,
    curve: &Curve,
) -> Vec<Deviation> {
    let mut used = vec![false; hits.len()];
    let mut found = Vec::new();
    for &w in missing {
        let (Some(expected), Some(due)) = (written.get(w), due.get(w)) else {
            continue;
        };
        let step = curve.time(expected.step as f64 + 1.0) - curve.time(expected.step as f64);
        let window = WINDOW.min(SHARE * step);
        let instead = spare
            .iter()
            .filter(|h| !used[**h])
            .filter_map(|h| Some((*h, hits.get(*h)?)))
            .filter(|(_, hit)| (hit.time.0 - due).abs() <= window)
            .min_by(|a, b| (a.1.time.0 - due).abs().total_cmp(&(b.1.time.0 - due).abs()));
        // A wrong drum of the same kind sounds like the right one to the network.
        let same_kind = instead.is_some_and(|(_, hit)| family(hit.voice) == family(expected.voice));
        if !same_kind && doubt.hears(attempt, expected.voice, *due) {
            continue;
        }
        match instead.filter(|(_, hit)| doubt.sure(hit)) {
            Some((h, hit)) => {
                used[h] = true;
                found.push(Deviation::Wrong {
                    step: expected.step,
                    wanted: expected.voice,
                    played: hit.voice,
                });
            }
            // Something unsure instead: what it was cannot be told, that it was not the right one neither.
            None if instead.is_some() && same_kind => {}
            None => found.push(Deviation::Missed {
                step: expected.step,
                voice: expected.voice,
            }),
        }
    }
    for hit in spare
        .iter()
        .filter(|h| !used[**h])
        .filter_map(|h| hits.get(*h))
        .filter(|hit| doubt.sure(hit))
    {
        found.push(Deviation::Extra {
            step: nearest_step(curve, hit.time.0, written),
            voice: hit.voice,
        });
    }
    found.sort_by_key(Deviation::step);
    slips(found)
}

/// The step that lies nearest to a time.
fn nearest_step(curve: &Curve, time: f64, written: &[Expected]) -> i64 {
    let (low, high) = (
        written.first().map_or(0, |e| e.step),
        written.last().map_or(0, |e| e.step),
    );
    let (mut a, mut b) = (low - 1, high + 1);
    while b - a > 1 {
        let middle = (a + b) / 2;
        if curve.time(middle as f64) <= time {
            a = middle
        } else {
            b = middle
        }
    }
    if time - curve.time(a as f64) < curve.time(b as f64) - time {
        a
    } else {
        b
    }
}

/// Two wrong strokes close to each other that would be right the other way round are one slip of order.
fn slips(faults: Vec<Deviation>) -> Vec<Deviation> {
    let mut out: Vec<Deviation> = Vec::new();
    for fault in faults {
        let slip = match (out.last(), &fault) {
            (
                Some(Deviation::Wrong { step, wanted, played }),
                Deviation::Wrong {
                    step: next,
                    wanted: second,
                    played: then,
                },
            ) if next - step <= 2 && next > step && wanted == then && played == second => {
                Some(Deviation::Slip {
                    step: *step,
                    first: *wanted,
                    second: *second,
                })
            }
            _ => None,
        };
        match slip {
            Some(slip) => {
                out.pop();
                out.push(slip);
            }
            None => out.push(fault),
        }
    }
    out
}
