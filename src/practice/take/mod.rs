//! An attempt, measured against the study.
//!
//! In: a study, the part of it that was to be played, and an [`Attempt`]. Out: a [`Take`]: the tempo reached, how steady,
//! what was missing, extra, wrong or out of order, how late every limb and every step of the figure came, and how many
//! rounds to home were clean. The attempt may begin anywhere, more than once, at any tempo (`follow`); its tempo may
//! drift (`curve`), which is told apart from lateness.

mod compare;
mod curve;
mod ears;
mod explain;
mod follow;
mod judge;
mod listen;
mod log;
mod measure;
mod sounding;
mod spectrum;
mod view;
mod words;

#[cfg(test)]
mod tests;

pub use compare::Deviation;
pub use listen::Attempt;
pub use log::{Entry, append, read, taken_before};
pub use words::{fault, lines, name, next};

use super::PracticeError;
use super::passage::{Passage, per_bar, step_of};
use crate::names::{Limb, Voice};
use crate::options::TakeOptions;
use crate::study::Study;
use crate::units::{Bpm, Millis, Seconds, Steps};
use crate::voices::Hit;
use compare::{Compared, Expected, Pairs, Struck};
use curve::{Curve, Point};
use follow::{Moment, Run};

/// Whose lateness is told: a limb where it is known, else what it strikes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Who {
    /// A limb.
    Limb(Limb),
    /// A drum or cymbal.
    Voice(Voice),
}

/// How late somebody comes as a rule.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Late {
    /// Who.
    pub who: Who,
    /// The median, after the fitted tempo; negative is early.
    pub late: Millis,
    /// Half of the strokes lie within so much of it.
    pub spread: Millis,
    /// Strokes it is taken from.
    pub strokes: usize,
}

/// One stroke of the attempt that belongs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    /// Its step from bar 1.
    pub step: i64,
    /// What was struck.
    pub voice: Voice,
    /// It belongs to the figure.
    pub figure: bool,
    /// After the fitted tempo.
    pub late: Millis,
}

/// A round to home.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Round {
    /// Its first step.
    pub from: i64,
    /// The step after its last.
    pub to: i64,
    /// Strokes that are there but too far from their place.
    pub far: usize,
    /// Nothing missing, extra, wrong or out of order, and every stroke near its place.
    pub clean: bool,
}

/// What was measured in an attempt.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Take {
    /// Steps that were played, by pass.
    pub passes: Vec<(i64, i64)>,
    /// Times the player began and stopped before the first pass.
    pub false_starts: usize,
    /// Share of the original's tempo.
    pub share: f64,
    /// Tempo reached, mean.
    pub tempo: Bpm,
    /// How much faster (or, negative, slower) the end is than the beginning, as a share.
    pub drift: f64,
    /// Tempo from beat to beat: (step, bpm).
    pub tempos: Vec<(i64, Bpm)>,
    /// Spread of the strokes around the fitted tempo, each limb's own lateness allowed for: standard deviation.
    pub steadiness: Millis,
    /// Strokes that the study has in what was played.
    pub written: usize,
    /// Strokes that are there.
    pub struck: Vec<Stroke>,
    /// What is wrong, by step.
    pub faults: Vec<Deviation>,
    /// Strokes of which it could not be heard whether they are there.
    pub untold: usize,
    /// Lateness of limbs.
    pub limbs: Vec<Late>,
    /// Lateness of each step of the figure: (step from 1, lateness, strokes).
    pub figure_steps: Vec<(u32, Millis, usize)>,
    /// Changes of the solo from beat to beat, and at how many of them the figure stood.
    pub changes: (usize, usize),
    /// Rounds to home that were played whole.
    pub rounds: Vec<Round>,
    /// A metronome was heard and left out.
    pub metronome: bool,
}

/// Strokes of one moment lie within this (s).
const TOGETHER: f64 = 0.025;
/// A run that earns less than this share of the best one is no pass.
const PASS: f64 = 0.5;
/// A false start has at least so many strokes, and its silence lasts so long (s).
const STARTED: usize = 2;
const SILENCE: f64 = 0.8;

/// Measures an attempt at a passage of a study.
pub fn measure(
    study: &Study,
    passage: &Passage,
    attempt: &Attempt,
    options: &TakeOptions,
) -> Result<Take, PracticeError> {
    per_bar(&study.grid)?;
    let not_followed = || PracticeError::NotFollowed {
        file: "this recording".to_owned(),
    };
    let written = expected(study, passage);
    let (begin, end) = passage.times(&study.grid)?;
    let step = (end - begin).0 / ((passage.to - passage.from).0.max(1)) as f64;
    let played = moments(attempt.hits.iter().map(|h| (h.time.0, h.voice)), TOGETHER);
    let steps = moments(written.iter().map(|e| (e.step as f64, e.voice)), 0.0);
    let runs = follow::runs(&played, &steps, step, options.speeds);
    let most = runs.iter().map(|r| r.score).fold(0.0, f64::max);
    let (passes, others): (Vec<Run>, Vec<Run>) = runs.into_iter().partition(|r| r.score >= PASS * most);
    let mut take = Take::default();
    let mut parts = Vec::new();
    for run in &passes {
        parts.extend(Part::of(study, attempt, run, &played, &steps, &written));
    }
    if parts.is_empty() {
        return Err(not_followed());
    }
    take.false_starts = false_starts(&played, &passes, &others);
    measure::gather(&mut take, study, &parts, options);
    Ok(take)
}

/// One pass, fitted and compared.
struct Part {
    curve: Curve,
    compared: Compared,
    written: Vec<Expected>,
    /// First and last step.
    steps: (i64, i64),
}

impl Part {
    fn of(
        study: &Study,
        attempt: &Attempt,
        run: &Run,
        played: &[Moment],
        steps: &[Moment],
        written: &[Expected],
    ) -> Option<Part> {
        let per_beat = f64::from(study.grid.steps_per_beat);
        let (first, last) = (run.pairs.first()?, run.pairs.last()?);
        let (from, to) = (steps.get(first.1)?.at as i64, steps.get(last.1)?.at as i64);
        let (begin, end) = (played.get(first.0)?.at, played.get(last.0)?.at);
        // The search has paired moments; their strokes are the points of the curve.
        let mut points = Vec::new();
        for (i, j) in &run.pairs {
            let (Some(here), Some(there)) = (played.get(*i), steps.get(*j)) else {
                continue;
            };
            points.extend(
                there
                    .voices
                    .iter()
                    .filter(|v| here.voices.contains(v))
                    .map(|v| Point {
                        time: here.at,
                        step: there.at,
                        voice: *v,
                    }),
            );
        }
        let own: Vec<Expected> = written
            .iter()
            .filter(|e| (from..=to).contains(&e.step))
            .copied()
            .collect();
        let near: Vec<Hit> = attempt
            .hits
            .iter()
            .filter(|h| (begin - 0.1..=end + 0.1).contains(&h.time.0))
            .copied()
            .collect();
        let rough = Curve::fit(&points, per_beat)?;
        let hits = renamed(&near, &own, &rough);
        // Once more with every stroke at its own time.
        let first_look = compare::pair(&hits, &own, &rough, per_beat);
        let times = |pairs: &Pairs| -> Vec<Option<f64>> {
            let of = |partner: &Option<usize>| Some(hits.get((*partner)?)?.time.0);
            pairs.partner.iter().map(of).collect()
        };
        let curve = refit(&own, &times(&first_look), &rough, per_beat)?;
        let pairs = compare::pair(&hits, &own, &curve, per_beat);
        let mut compared = Compared {
            metronome: pairs.metronome,
            ..Compared::default()
        };
        let times = if attempt.sound.is_empty() {
            compared.faults = compare::by_ears(&hits, &own, &pairs, &curve);
            times(&pairs)
        } else {
            let heard = sounding::heard(attempt, &hits, &own, &pairs, &curve, per_beat);
            (compared.faults, compared.untold) = compare::by_sound(&own, &heard.verdict);
            heard.times
        };
        let curve = refit(&own, &times, &curve, per_beat)?;
        compared.struck = compare::struck(&own, &times, &curve);
        Some(Part {
            curve,
            compared,
            written: own,
            steps: (from, to),
        })
    }
}

/// The curve through the strokes at these times.
fn refit(written: &[Expected], times: &[Option<f64>], before: &Curve, per_beat: f64) -> Option<Curve> {
    let points: Vec<Point> = compare::struck(written, times, before)
        .iter()
        .map(|s| point(s, before))
        .collect();
    Curve::fit(&points, per_beat)
}

fn point(struck: &Struck, curve: &Curve) -> Point {
    let step = struck.expected.step as f64;
    Point {
        time: curve.time(step) + struck.late,
        step,
        voice: struck.expected.voice,
    }
}

/// The study's strokes of a passage, by step; two of one voice on one step count once.
fn expected(study: &Study, passage: &Passage) -> Vec<Expected> {
    let own = study.strokes.iter().filter_map(|s| Some((s, s.step?)));
    let mut all: Vec<Expected> = own
        .filter(|(_, step)| passage.holds(*step))
        .map(|(stroke, step)| Expected {
            step: step.0,
            voice: stroke.hit.voice,
            limb: stroke.limb,
            layer: stroke.layer,
            level: stroke.hit.level.0,
        })
        .collect();
    all.sort_by_key(|e| (e.step, e.voice));
    all.dedup_by_key(|e| (e.step, e.voice));
    all
}

/// Strokes gathered into moments: those within `together` of the first.
fn moments(strokes: impl Iterator<Item = (f64, Voice)>, together: f64) -> Vec<Moment> {
    let mut all: Vec<Moment> = Vec::new();
    for (at, voice) in strokes {
        match all.last_mut() {
            Some(moment) if at - moment.at <= together => moment.voices.push(voice),
            _ => all.push(Moment {
                at,
                voices: vec![voice],
            }),
        }
    }
    all
}

/// The attempt's strokes with the study's names: on another kit the ears may call the same drum otherwise. A name is
/// changed, within its kind, when most of its strokes fall where the study has that other one.
fn renamed(hits: &[Hit], written: &[Expected], curve: &Curve) -> Vec<Hit> {
    let due: Vec<f64> = written.iter().map(|e| curve.time(e.step as f64)).collect();
    let mut names: Vec<(Voice, Voice)> = Vec::new();
    for &heard in Voice::ALL {
        let mut count = vec![0usize; Voice::ALL.len()];
        let mut all = 0;
        for hit in hits.iter().filter(|h| h.voice == heard) {
            let near = due.partition_point(|d| *d < hit.time.0 - 0.04);
            let here = written
                .iter()
                .zip(&due)
                .skip(near)
                .take_while(|(_, d)| **d <= hit.time.0 + 0.04);
            let kin: Vec<Voice> = here
                .map(|(e, _)| e.voice)
                .filter(|v| follow::family(*v) == follow::family(heard))
                .collect();
            all += usize::from(!kin.is_empty());
            for voice in &kin {
                count[Voice::ALL.iter().position(|v| v == voice).unwrap_or(0)] += 1;
            }
        }
        let best = Voice::ALL
            .iter()
            .zip(&count)
            .max_by_key(|(v, n)| (**n, **v == heard));
        if let Some((best, n)) = best.filter(|(best, n)| **best != heard && **n * 3 > all * 2 && all >= 4) {
            let _ = n;
            names.push((heard, *best));
        }
    }
    let name = |voice: Voice| {
        names
            .iter()
            .find(|(heard, _)| *heard == voice)
            .map_or(voice, |n| n.1)
    };
    hits.iter()
        .map(|h| Hit {
            voice: name(h.voice),
            ..*h
        })
        .collect()
}

/// Beginnings before the first pass that were broken off: shorter runs, or strokes that follow nothing and are followed
/// by silence. One drum struck evenly is a count-in.
fn false_starts(played: &[Moment], passes: &[Run], others: &[Run]) -> usize {
    let begins = |run: &Run| run.pairs.first().map_or(0, |p| p.0);
    let Some(first) = passes.iter().map(begins).min() else {
        return 0;
    };
    let before = played.get(..first).unwrap_or_default();
    let mut groups: Vec<Vec<&Moment>> = Vec::new();
    for moment in before {
        match groups.last_mut() {
            Some(group) if group.last().is_some_and(|last| moment.at - last.at < SILENCE) => {
                group.push(moment)
            }
            _ => groups.push(vec![moment]),
        }
    }
    let starts = played.get(first).map_or(0.0, |m| m.at);
    let broken_off = |group: &&Vec<&Moment>| {
        let count_in = group.len() <= 8
            && group
                .windows(2)
                .all(|w| matches!(w, [a, b] if a.voices.len() == 1 && a.voices == b.voices));
        let ends = group.last().map_or(0.0, |m| m.at);
        group.len() >= STARTED && !count_in && starts - ends >= SILENCE
    };
    let followed = others.iter().filter(|r| begins(r) < first).count();
    groups.iter().filter(broken_off).count().max(followed)
}

/// Where the figure starts and how long it and its round home are, in steps.
fn figure(study: &Study) -> Option<(i64, i64, i64)> {
    let cycle = study.cycles.first()?;
    let length = i64::from(cycle.length_steps);
    let bar = i64::from(study.grid.steps_per_bar());
    let bars = match &cycle.resolved {
        Some(resolved) => resolved.every_bars,
        None => cycle.home_bars,
    };
    (length > 0).then(|| {
        (
            step_of(&cycle.start, &study.grid).0,
            length,
            i64::from(bars.max(1)) * bar,
        )
    })
}

/// Seconds of the original between two steps.
fn original(study: &Study, from: i64, to: i64) -> Option<Seconds> {
    Some(study.grid.time_of(Steps(to))? - study.grid.time_of(Steps(from))?)
}
