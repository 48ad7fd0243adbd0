//! Which stroke of the attempt is which step of the study: wherever it starts, at whatever tempo, however it drifts.
//!
//! In: the moments of the attempt and of the study, each with its voices. Out: runs, the stretches of the attempt that
//! follow the study, as pairs of moments. A run is the best path through both (local alignment as in **[P: T. F. Smith,
//! M. S. Waterman, "Identification of common molecular subsequences", Journal of Molecular Biology 147, 1981]**): a pair
//! earns by its voices, a moment left out costs, and so does time that strays from the tempo of the path so far. The
//! search begins from many tempos, because a path cannot tell its tempo before it has gone some way.

use rayon::prelude::*;

use crate::names::Voice;

/// Strokes together.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Moment {
    /// Seconds in the attempt, steps in the study.
    pub(super) at: f64,
    /// What is struck.
    pub(super) voices: Vec<Voice>,
}

/// A stretch of the attempt that follows the study.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Run {
    /// Indices of moments that belong together: in the attempt, in the study.
    pub(super) pairs: Vec<(usize, usize)>,
    /// What it earned.
    pub(super) score: f64,
}

/// At most so many moments are left out between two pairs, less one.
const SKIPS: usize = 5;
/// What a moment left out costs: in the attempt (a metronome may add many), in the study.
const EXTRA: f64 = 0.25;
const MISSED: f64 = 0.5;
/// Time may stray by this (s) from the path's tempo without much cost, and costs at most so much: a stop.
const STRAY: f64 = 0.035;
const STOP: f64 = 5.0;
/// The path's tempo follows over about so many steps.
const FOLLOWS: f64 = 12.0;
/// From one tempo tried to the next.
const TEMPOS: f64 = 0.04;
/// So many moments of the attempt decide about the tempo.
const LISTENED: usize = 240;
/// How many tempos are followed to the end.
const TRIED: usize = 3;
/// A run earns at least this, and beginning again elsewhere costs it.
const LEAST: f64 = 8.0;

/// How well two moments agree: 1 when all voices are the same, -1 when none is, so that a path through the wrong place
/// loses more than it earns.
fn agree(played: &[Voice], written: &[Voice]) -> f64 {
    let best = |voice: &Voice| played.iter().map(|p| kinship(*p, *voice)).fold(0.0, f64::max);
    let sum: f64 = written.iter().map(best).sum();
    let most = played.len().max(written.len()).max(1) as f64;
    2.0 * sum / most - 1.0
}

/// 1 for the same voice, less for one that is easily taken for it.
pub(super) fn kinship(a: Voice, b: Voice) -> f64 {
    if a == b {
        1.0
    } else if family(a) == family(b) {
        0.6
    } else {
        0.0
    }
}

/// Voices that sound alike.
pub(super) fn family(voice: Voice) -> u8 {
    use Voice::*;
    match voice {
        Kick | KickLeft => 0,
        Snare | Snare2 | CrossStick => 1,
        TomHigh | TomMid | TomLow | TomFloor | TomFloor2 => 2,
        HatClosed | HatOpen | HatFoot => 3,
        Ride | RideBell | Crash | Crash2 | Splash | China => 4,
        Cowbell | Other => 5,
    }
}

/// Every run of `played` (by seconds) along `written` (by steps), in the order of the attempt. `step` is the original's
/// length of a step; `speeds` the slowest and the fastest share of its speed.
pub(super) fn runs(played: &[Moment], written: &[Moment], step: f64, speeds: (f64, f64)) -> Vec<Run> {
    let mut open = vec![(0, played.len())];
    let mut found: Vec<Run> = Vec::new();
    while let Some((from, to)) = open.pop() {
        let part = played.get(from..to).unwrap_or_default();
        let mut begin = from;
        let own = best(part, written, step, speeds);
        let any = !own.is_empty();
        for mut run in own {
            run.pairs.iter_mut().for_each(|pair| pair.0 += from);
            if let (Some(first), Some(last)) = (run.pairs.first(), run.pairs.last()) {
                open.push((begin, first.0));
                begin = last.0 + 1;
            }
            found.push(run);
        }
        if any {
            open.push((begin, to));
        }
    }
    found.sort_by_key(|run| run.pairs.first().copied());
    found
}

/// The best runs of a part of the attempt, one after the other, from the tempo that lets them earn most.
fn best(played: &[Moment], written: &[Moment], step: f64, (slow, fast): (f64, f64)) -> Vec<Run> {
    let count = ((fast / slow).ln() / TEMPOS).ceil().max(0.0) as usize;
    let tempos: Vec<f64> = (0..=count)
        .map(|k| step / (slow * (k as f64 * TEMPOS).exp()))
        .collect();
    // The busiest part says most about the tempo.
    let middle = played.len().saturating_sub(LISTENED) / 2;
    let listened = played
        .get(middle..played.len().min(middle + LISTENED))
        .unwrap_or_default();
    let mut tried: Vec<(f64, f64)> = tempos
        .par_iter()
        .map(|tempo| {
            (
                earned(&path(listened, written, *tempo, (step / fast, step / slow))),
                *tempo,
            )
        })
        .collect();
    tried.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.total_cmp(&b.1)));
    tried.truncate(TRIED);
    let paths: Vec<Vec<Run>> = tried
        .par_iter()
        .map(|(_, tempo)| path(played, written, *tempo, (step / fast, step / slow)))
        .collect();
    let best = paths
        .into_iter()
        .reduce(|a, b| if earned(&b) > earned(&a) { b } else { a });
    let mut runs = best.unwrap_or_default();
    runs.retain(|run| run.score >= LEAST);
    runs
}

/// What runs earned together, the beginning again paid.
fn earned(runs: &[Run]) -> f64 {
    runs.iter().map(|run| run.score - LEAST).sum()
}

/// The best way to a pair.
#[derive(Clone, Copy)]
struct Cell {
    score: f32,
    /// Seconds a step along the path so far.
    tempo: f32,
    /// Where the pair before lies.
    before: Before,
}

#[derive(Clone, Copy, PartialEq)]
enum Before {
    /// The path begins here.
    Nothing,
    /// So many moments back, in the attempt and in the study.
    Near(u8, u8),
    /// Anywhere earlier in the attempt: the player began again elsewhere. The index of that cell.
    Elsewhere(u32),
}

/// The best path from a tempo (seconds a step), which must stay within `bounds`, cut into runs where the player begins
/// again.
fn path(played: &[Moment], written: &[Moment], tempo: f64, bounds: (f64, f64)) -> Vec<Run> {
    let wide = written.len();
    let nothing = Cell {
        score: f32::NEG_INFINITY,
        tempo: tempo as f32,
        before: Before::Nothing,
    };
    let mut cells = vec![nothing; played.len() * wide];
    let mut top: Option<(f32, usize)> = None;
    for (i, here) in played.iter().enumerate() {
        let earlier = top;
        for (j, there) in written.iter().enumerate() {
            let earned = agree(&here.voices, &there.voices);
            let mut cell = begun(earned as f32, nothing, earlier);
            for di in 1..=SKIPS.min(i) {
                for dj in 1..=SKIPS.min(j) {
                    let Some(before) = cells.get((i - di) * wide + j - dj).filter(|c| c.score > 0.0) else {
                        continue;
                    };
                    let (Some(a), Some(b)) = (played.get(i - di), written.get(j - dj)) else {
                        continue;
                    };
                    let (score, tempo) = join(before, here.at - a.at, there.at - b.at, bounds);
                    let score = score + earned - EXTRA * (di - 1) as f64 - MISSED * (dj - 1) as f64;
                    if score as f32 > cell.score {
                        cell = Cell {
                            score: score as f32,
                            tempo: tempo as f32,
                            before: Before::Near(di as u8, dj as u8),
                        };
                    }
                }
            }
            if top.is_none_or(|(most, _)| cell.score > most) {
                top = Some((cell.score, i * wide + j));
            }
            if let Some(slot) = cells.get_mut(i * wide + j) {
                *slot = cell;
            }
        }
    }
    back_from(top, &cells, wide)
}

/// What going on from a pair is worth, and the tempo afterwards.
fn join(before: &Cell, seconds: f64, steps: f64, (fastest, slowest): (f64, f64)) -> (f64, f64) {
    let tempo = f64::from(before.tempo);
    let stray = (seconds - tempo * steps).abs() / STRAY;
    let cost = (0.5 * stray * stray).min(STOP);
    let tempo = if stray < 3.0 && steps > 0.0 {
        let share = steps / (steps + FOLLOWS);
        (tempo + share * (seconds / steps - tempo)).clamp(fastest, slowest)
    } else {
        tempo
    };
    (f64::from(before.score) - cost, tempo)
}

/// A path that begins here: as the first, or after the best one so far.
fn begun(earned: f32, nothing: Cell, earlier: Option<(f32, usize)>) -> Cell {
    let first = Cell {
        score: earned,
        ..nothing
    };
    match earlier {
        Some((score, at)) if score > LEAST as f32 => Cell {
            score: score - LEAST as f32 + earned,
            before: Before::Elsewhere(u32::try_from(at).unwrap_or(u32::MAX)),
            ..nothing
        },
        _ => first,
    }
}

/// The runs that lead to the best cell, in the order of the attempt.
fn back_from(top: Option<(f32, usize)>, cells: &[Cell], wide: usize) -> Vec<Run> {
    let mut runs = Vec::new();
    let mut run = Run::default();
    let mut next = top.map(|(_, at)| at);
    let mut end = top.map_or(0.0, |(score, _)| f64::from(score));
    while let Some((at, cell)) = next.and_then(|at| Some((at, cells.get(at)?))) {
        run.pairs.push((at / wide, at % wide));
        next = match cell.before {
            Before::Near(di, dj) => Some(at - usize::from(di) * wide - usize::from(dj)),
            Before::Elsewhere(other) => {
                let other = other as usize;
                let before = cells.get(other).map_or(0.0, |cell| f64::from(cell.score));
                run.score = end - before + LEAST;
                runs.push(std::mem::take(&mut run));
                end = before;
                Some(other)
            }
            Before::Nothing => None,
        };
    }
    run.score = end;
    runs.push(run);
    runs.iter_mut().for_each(|run| run.pairs.reverse());
    runs.reverse();
    runs
}
