//! One run of an attempt against the study: which strokes are there, which are missing, extra, on the wrong drum or in
//! the wrong order.
//!
//! In: a run with its fitted curve. Out: strokes with their lateness, and faults. What the ears have heard is paired with
//! what is expected; the [`Verdict`] on the sound itself, where there is sound, decides what is a fault.

use serde::Serialize;

use super::curve::Curve;
use super::follow::{family, kinship};
use super::judge::{Finding, Verdict};
use crate::names::{Layer, Limb, Voice};
use crate::voices::Hit;

/// A stroke that the study expects.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Expected {
    pub(super) step: i64,
    pub(super) voice: Voice,
    pub(super) limb: Option<Limb>,
    pub(super) layer: Option<Layer>,
    /// How loud it is in the study, dB under its loudest stroke.
    pub(super) level: f64,
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
/// Share of beats that carry a stroke too many when a metronome is heard, at least, and how much rarer such strokes are
/// between beats.
const TICKING: f64 = 0.35;
const RARER: f64 = 3.0;
/// How far from a beat a tick lies, at most (s).
const ON_BEAT: f64 = 0.035;

/// Which stroke of the attempt is which of the study's, by what the ears have heard.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Pairs {
    /// When each of the study's strokes should come, its voice's own lateness included.
    pub(super) due: Vec<f64>,
    /// For each of the study's strokes, the attempt's.
    pub(super) partner: Vec<Option<usize>>,
    /// Strokes of the attempt that belong to none, without a metronome's.
    pub(super) spare: Vec<usize>,
    /// A metronome was heard.
    pub(super) metronome: bool,
}

/// Pairs. `written` are the study's strokes in the run's range, by step; `hits` those of the attempt.
pub(super) fn pair(hits: &[Hit], written: &[Expected], curve: &Curve, per_beat: f64) -> Pairs {
    let due: Vec<f64> = written
        .iter()
        .map(|e| curve.time(e.step as f64) + curve.offset(e.voice))
        .collect();
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
            if off <= window(curve, expected.step) && alike(hit.voice, expected.voice) {
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
    let spare: Vec<usize> = (0..hits.len()).filter(|h| !taken[*h]).collect();
    let ticks = ticks(hits, &spare, curve, per_beat, written);
    Pairs {
        due,
        partner,
        spare: spare.into_iter().filter(|h| !ticks.contains(h)).collect(),
        metronome: !ticks.is_empty(),
    }
}

/// How far from where it should come a stroke may lie, seconds.
fn window(curve: &Curve, step: i64) -> f64 {
    let length = curve.time(step as f64 + 1.0) - curve.time(step as f64);
    WINDOW.min(SHARE * length).max(0.0)
}

/// The strokes that were struck at these times, those without a time left out.
pub(super) fn struck(written: &[Expected], times: &[Option<f64>], curve: &Curve) -> Vec<Struck> {
    written
        .iter()
        .zip(times)
        .filter_map(|(expected, time)| {
            let late = (*time)? - curve.time(expected.step as f64);
            Some(Struck {
                expected: *expected,
                late,
                off: late - curve.offset(expected.voice),
            })
        })
        .collect()
}

/// Voices that the ears may take for each other without the player having done anything wrong: the same metal struck
/// another way.
fn alike(heard: Voice, wanted: Voice) -> bool {
    heard == wanted || matches!(family(wanted), 0 | 3 | 4) && kinship(heard, wanted) > 0.0
}

/// The faults that a verdict on the sound amounts to, and how many strokes are in doubt.
pub(super) fn by_sound(written: &[Expected], verdict: &Verdict) -> (Vec<Deviation>, usize) {
    let mut added = verdict.added.clone();
    let mut found = Vec::new();
    for (expected, finding) in written.iter().zip(&verdict.findings) {
        if !finding.gone() {
            continue;
        }
        let (step, voice) = (expected.step, expected.voice);
        let instead = added
            .iter()
            .enumerate()
            .filter(|(_, a)| a.step == step)
            .max_by(|a, b| a.1.gain.total_cmp(&b.1.gain))
            .map(|(at, _)| at);
        found.push(match instead {
            Some(at) => Deviation::Wrong {
                step,
                wanted: voice,
                played: added.remove(at).voice,
            },
            None => Deviation::Missed { step, voice },
        });
    }
    found.extend(added.iter().map(|a| Deviation::Extra {
        step: a.step,
        voice: a.voice,
    }));
    found.sort_by_key(Deviation::step);
    let untold = verdict.findings.iter().filter(|f| **f == Finding::Untold).count();
    (slips(found), untold)
}

/// The faults that unpaired strokes amount to.
pub(super) fn by_ears(hits: &[Hit], written: &[Expected], pairs: &Pairs, curve: &Curve) -> Vec<Deviation> {
    let mut used = vec![false; hits.len()];
    let mut found = Vec::new();
    let missing = written.iter().zip(&pairs.due).zip(&pairs.partner);
    for ((expected, due), _) in missing.filter(|(_, partner)| partner.is_none()) {
        let (step, voice) = (expected.step, expected.voice);
        let off = |h: &usize| hits.get(*h).map_or(f64::INFINITY, |hit| (hit.time.0 - due).abs());
        let instead = pairs
            .spare
            .iter()
            .filter(|h| !used[**h] && off(h) <= window(curve, step))
            .min_by(|a, b| off(a).total_cmp(&off(b)));
        found.push(match instead.and_then(|h| Some((*h, hits.get(*h)?))) {
            Some((h, hit)) => {
                used[h] = true;
                Deviation::Wrong {
                    step,
                    wanted: voice,
                    played: hit.voice,
                }
            }
            None => Deviation::Missed { step, voice },
        });
    }
    let spare = pairs.spare.iter().filter(|h| !used[**h]);
    found.extend(spare.filter_map(|h| hits.get(*h)).map(|hit| Deviation::Extra {
        step: nearest_step(curve, hit.time.0, written),
        voice: hit.voice,
    }));
    found.sort_by_key(Deviation::step);
    slips(found)
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

/// The step that lies nearest to a time.
pub(super) fn nearest_step(curve: &Curve, time: f64, written: &[Expected]) -> i64 {
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
