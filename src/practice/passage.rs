//! Which part of a study is practised, in steps, and what the grid says of it.
//!
//! In: a study and bars or repeats of the figure as a player counts them. Out: the first step and the step after the
//! last, and where its beats, bars and starts of the figure fall.

use super::error::PracticeError;
use crate::cycles::{Cycle, Moment};
use crate::grid::Grid;
use crate::study::Study;
use crate::units::{Seconds, Steps};

/// No study reaches further out than this, whatever an edited file says.
const FAR: i64 = 10_000_000;

/// A stretch of steps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Passage {
    /// Its first step.
    pub from: Steps,
    /// The step after its last.
    pub to: Steps,
}

/// A place at which something is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Count {
    /// A beat.
    Beat,
    /// The first beat of a bar.
    Bar,
    /// The figure starts.
    Cycle,
}

impl Passage {
    /// Everything from the first struck bar to the end of the last one.
    pub fn whole(study: &Study) -> Result<Passage, PracticeError> {
        let bar = per_bar(&study.grid)?;
        let steps = study
            .strokes
            .iter()
            .filter_map(|s| Some(s.step?.0.clamp(-FAR, FAR)));
        match (steps.clone().min(), steps.max()) {
            (Some(first), Some(last)) => Ok(Passage {
                from: Steps(first.div_euclid(bar) * bar),
                to: Steps((last.div_euclid(bar) + 1) * bar),
            }),
            _ => Err(PracticeError::NoGrid),
        }
    }

    /// Some bars, counted from 1, both ends included.
    pub fn bars(study: &Study, first: i64, last: i64) -> Result<Passage, PracticeError> {
        let (bar, whole) = (per_bar(&study.grid)?, Passage::whole(study)?);
        let (lowest, highest) = (whole.from.0.div_euclid(bar) + 1, whole.to.0.div_euclid(bar));
        if first > last || first < lowest || last > highest {
            return Err(PracticeError::Outside {
                asked: format!("bars {first} to {last}"),
                known: format!("bars {lowest} to {highest}"),
            });
        }
        Ok(Passage {
            from: Steps((first - 1) * bar),
            to: Steps(last * bar),
        })
    }

    /// Some repeats of the figure, counted from 1, both ends included.
    pub fn repeats(study: &Study, first: i64, last: i64) -> Result<Passage, PracticeError> {
        per_bar(&study.grid)?;
        let repeats = study
            .cycles
            .first()
            .map(|c| repeats(c, &study.grid))
            .unwrap_or_default();
        let at = |number: i64| usize::try_from(number - 1).ok().and_then(|n| repeats.get(n));
        if repeats.is_empty() {
            return Err(PracticeError::NoFigure);
        }
        match (at(first), at(last)) {
            (Some(a), Some(b)) if first <= last => Ok(Passage {
                from: a.from,
                to: b.to,
            }),
            _ => Err(PracticeError::Outside {
                asked: format!("repeats {first} to {last}"),
                known: format!("repeats 1 to {}", repeats.len()),
            }),
        }
    }

    /// Whether a step lies in it.
    pub fn holds(&self, step: Steps) -> bool {
        (self.from..self.to).contains(&step)
    }

    /// When it begins and ends in the recording.
    pub fn times(&self, grid: &Grid) -> Result<(Seconds, Seconds), PracticeError> {
        let at = |step| grid.time_of(step).ok_or(PracticeError::NoGrid);
        Ok((at(self.from)?, at(self.to)?))
    }

    /// Every beat, bar and start of the figure in it, by step.
    pub fn counts(&self, study: &Study) -> Vec<(Steps, Count)> {
        let Ok(bar) = per_bar(&study.grid) else {
            return Vec::new();
        };
        let beat = i64::from(study.grid.steps_per_beat.max(1));
        let mut counts: Vec<(Steps, Count)> = (self.from.0..self.to.0)
            .filter(|step| step.rem_euclid(beat) == 0)
            .map(|step| {
                (
                    Steps(step),
                    if step.rem_euclid(bar) == 0 {
                        Count::Bar
                    } else {
                        Count::Beat
                    },
                )
            })
            .collect();
        let starts = study
            .cycles
            .first()
            .map(|c| repeats(c, &study.grid))
            .unwrap_or_default();
        counts.extend(
            starts
                .iter()
                .map(|r| (r.from, Count::Cycle))
                .filter(|(step, _)| self.holds(*step)),
        );
        counts.sort();
        counts
    }
}

/// Steps in a bar of a grid that has beats.
pub(super) fn per_bar(grid: &Grid) -> Result<i64, PracticeError> {
    let bar = i64::from(grid.steps_per_bar());
    if bar > 0 && grid.beats.len() > 1 {
        Ok(bar)
    } else {
        Err(PracticeError::NoGrid)
    }
}

/// The step of a moment.
pub(super) fn step_of(moment: &Moment, grid: &Grid) -> Steps {
    let (beat, bar) = (i64::from(grid.steps_per_beat), i64::from(grid.steps_per_bar()));
    let near = |n: i64| n.clamp(-FAR, FAR);
    Steps((near(moment.bar) - 1) * bar + (near(moment.beat) - 1) * beat + near(moment.step) - 1)
}

/// Every repeat of a figure; one that starts anew every few bars is cut there, the last one where the figure ends.
pub(super) fn repeats(cycle: &Cycle, grid: &Grid) -> Vec<Passage> {
    /// More repeats than any recording holds.
    const MOST: usize = 20_000;
    let length = i64::from(cycle.length_steps);
    let (start, end) = (step_of(&cycle.start, grid).0, step_of(&cycle.end, grid).0);
    let block = match &cycle.resolved {
        Some(resolved) if resolved.every_bars > 0 => {
            i64::from(resolved.every_bars) * i64::from(grid.steps_per_bar())
        }
        _ => i64::MAX / 4,
    };
    let mut all = Vec::new();
    let mut from = start;
    while length > 0 && block > 0 && from < end && all.len() < MOST {
        let anew = from - (from - start) % block + block;
        let to = (from + length).min(anew).min(end);
        all.push(Passage {
            from: Steps(from),
            to: Steps(to),
        });
        from = to;
    }
    all
}
