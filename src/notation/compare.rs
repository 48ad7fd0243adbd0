//! A written score held against a study: what was written and not heard, heard and not written, written on another
//! drum, or a step away; bar by bar, with how sure the recording is there.
//!
//! The score is laid on the study's steps where most of its notes meet a stroke of their voice: every scale that a
//! writer may have chosen (as it is, in half or in double time) and every shift are tried. Then each note is paired
//! once, the closest kind of match first.

use std::collections::BTreeMap;

use serde::Serialize;

use super::read::Written;
use crate::grid::Place;
use crate::names::Voice;
use crate::study::Study;
use crate::units::{Seconds, Steps};

/// Quarter notes of the score to one of the study's: as written, in half time, in double time.
const SCALES: [f64; 3] = [1.0, 0.5, 2.0];

/// A score that meets the recording in less than this share of its notes is not aligned at all.
const ALIGNED: f64 = 0.25;

/// More steps than hours of playing have: notes beyond are none.
const MOST_STEPS: f64 = 1e7;

/// Sureness that is called sure, and fairly sure.
const SURE: f64 = 0.8;
const FAIRLY: f64 = 0.5;

/// How sure the recording is at a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Sure {
    /// Plainly heard.
    Sure,
    /// Heard, with some doubt.
    Fairly,
    /// A guess: listen yourself.
    Unsure,
}

impl Sure {
    fn of(sure: f64) -> Sure {
        if sure >= SURE {
            Sure::Sure
        } else if sure >= FAIRLY {
            Sure::Fairly
        } else {
            Sure::Unsure
        }
    }

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Sure::Sure => "the recording is sure",
            Sure::Fairly => "the recording is fairly sure",
            Sure::Unsure => "the recording is unsure",
        }
    }
}

/// In what a score and a recording differ at a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum Difference {
    /// Written, but nothing like it is heard.
    NotHeard {
        /// As written.
        written: Voice,
    },
    /// Heard, but not written.
    NotWritten {
        /// As heard.
        heard: Voice,
    },
    /// Something else is heard there.
    OtherVoice {
        /// As written.
        written: Voice,
        /// As heard.
        heard: Voice,
    },
    /// The same is heard a step away.
    Moved {
        /// As written and heard.
        written: Voice,
        /// Steps by which it is heard later; negative: earlier.
        by: i64,
    },
}

/// One difference and where it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Spot {
    /// Where, as written; as heard where nothing is written.
    pub place: Place,
    /// What.
    #[serde(flatten)]
    pub difference: Difference,
    /// How sure the recording is there.
    pub sure: Sure,
}

/// One bar.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BarCompared {
    /// The study's bar.
    pub bar: i64,
    /// Notes that are as written.
    pub right: usize,
    /// The others.
    pub spots: Vec<Spot>,
}

/// A score against a recording.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Comparison {
    /// Where the score's beginning lies in the study.
    pub begins: Place,
    /// Quarter notes of the score to one of the study's.
    pub scale: f64,
    /// Notes that are as written, and of each kind of difference how many.
    pub right: usize,
    /// Written, not heard.
    pub not_heard: usize,
    /// Heard, not written.
    pub not_written: usize,
    /// Written on another drum.
    pub other_voice: usize,
    /// A step away.
    pub moved: usize,
    /// Every bar that the score covers.
    pub bars: Vec<BarCompared>,
    /// What was left out.
    pub warnings: Vec<String>,
}

/// Why the two cannot be held against each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CannotCompare {
    /// The study has no grid.
    #[error(
        "no grid was found in this recording, so nothing can be compared step by step; make the study with --tempo"
    )]
    NoGrid,
    /// Nothing fits.
    #[error(
        "the score fits nowhere on the recording; check that it is of this solo and that the study's meter and steps are right"
    )]
    NoFit,
}

/// Steps and voices, each with how often; what is heard also with how sure it is.
type Line = BTreeMap<(i64, Voice), f64>;

/// Holds a score against a study.
pub fn compare(written: &Written, study: &Study) -> Result<Comparison, CannotCompare> {
    compare_between(written, study, None, None)
}

/// The same, told only of what lies between two times in the recording; all of the score says where it lies.
pub fn compare_between(
    written: &Written,
    study: &Study,
    from: Option<Seconds>,
    to: Option<Seconds>,
) -> Result<Comparison, CannotCompare> {
    let grid = &study.grid;
    if grid.beats.len() < 2 || grid.steps_per_beat == 0 {
        return Err(CannotCompare::NoGrid);
    }
    let mut heard = Line::new();
    for stroke in &study.strokes {
        if let Some(step) = stroke.step {
            let sure = heard.entry((step.0, stroke.hit.voice)).or_insert(0.0);
            *sure = sure.max(stroke.hit.sure);
        }
    }
    let (scale, shift) = align(written, study, &heard).ok_or(CannotCompare::NoFit)?;
    let mut line = on_steps(written, study, scale, shift);
    let (Some(first), Some(last)) = (line.keys().next(), line.keys().next_back()) else {
        return Err(CannotCompare::NoFit);
    };
    let bar = i64::from(grid.steps_per_bar().max(1));
    let covered = first.0.div_euclid(bar) * bar..(last.0.div_euclid(bar) + 1) * bar;
    let steps = |time: Option<Seconds>| time.and_then(|time| grid.steps_at(time));
    let (from, to) = (steps(from).map(|s| s - 0.5), steps(to).map(|s| s + 0.5));
    let inside =
        |step: i64| from.is_none_or(|from| step as f64 >= from) && to.is_none_or(|to| step as f64 <= to);
    heard.retain(|(step, _), _| covered.contains(step) && inside(*step));
    line.retain(|(step, _), _| inside(*step));
    let mut found = Pairs {
        study,
        bar,
        bars: BTreeMap::new(),
    };
    found.pair(line, heard);
    let count = |is: fn(&Difference) -> bool| {
        let spots = found.bars.values().flat_map(|b| &b.spots);
        spots.filter(|s| is(&s.difference)).count()
    };
    Ok(Comparison {
        begins: grid.place_of(Steps(shift)),
        scale,
        right: found.bars.values().map(|b| b.right).sum(),
        not_heard: count(|d| matches!(d, Difference::NotHeard { .. })),
        not_written: count(|d| matches!(d, Difference::NotWritten { .. })),
        other_voice: count(|d| matches!(d, Difference::OtherVoice { .. })),
        moved: count(|d| matches!(d, Difference::Moved { .. })),
        bars: found.bars.into_values().collect(),
        warnings: written.warnings.clone(),
    })
}

/// Quarter notes in a beat that a player counts.
fn quarters_in_a_beat(study: &Study) -> f64 {
    let meter = study.grid.meter;
    let notes = f64::from(meter.count) / f64::from(meter.beats_per_bar().max(1));
    notes * 4.0 / f64::from(meter.unit.max(1))
}

/// The score's notes on the study's steps.
fn on_steps(written: &Written, study: &Study, scale: f64, shift: i64) -> Line {
    let steps = f64::from(study.grid.steps_per_beat) / quarters_in_a_beat(study) / scale;
    let place = |quarters: f64| (quarters * steps).round();
    let near = written
        .notes
        .iter()
        .filter(|n| place(n.quarters).abs() < MOST_STEPS);
    near.map(|n| ((place(n.quarters) as i64 + shift, n.voice), 1.0))
        .collect()
}

/// The scale and the shift in steps with which most notes of the score meet a stroke of their voice; of equals the
/// one whose bars meet, then the earliest. `None` when too few meet.
fn align(written: &Written, study: &Study, heard: &Line) -> Option<(f64, i64)> {
    let bar = i64::from(study.grid.steps_per_bar().max(1));
    let mut by_voice: BTreeMap<Voice, Vec<i64>> = BTreeMap::new();
    for (step, voice) in heard.keys() {
        by_voice.entry(*voice).or_default().push(*step);
    }
    let mut best: Option<(usize, bool, f64, i64)> = None;
    for scale in SCALES {
        let line = on_steps(written, study, scale, 0);
        let mut met: BTreeMap<i64, usize> = BTreeMap::new();
        for (step, voice) in line.keys() {
            for other in by_voice.get(voice).into_iter().flatten() {
                *met.entry(other.saturating_sub(*step)).or_default() += 1;
            }
        }
        for (shift, count) in met {
            let on_bar = shift.rem_euclid(bar) == 0;
            let better = best.is_none_or(|(most, was_on_bar, _, _)| (count, on_bar) > (most, was_on_bar));
            if better && count as f64 >= ALIGNED * line.len() as f64 {
                best = Some((count, on_bar, scale, shift));
            }
        }
    }
    best.map(|(_, _, scale, shift)| (scale, shift))
}

struct Pairs<'a> {
    study: &'a Study,
    bar: i64,
    bars: BTreeMap<i64, BarCompared>,
}

impl Pairs<'_> {
    /// Pairs notes and strokes, the closest kind of match first.
    fn pair(&mut self, mut written: Line, mut heard: Line) {
        let around = heard.clone();
        let near = |step: i64| {
            let here = around.range((step - 1, Voice::Kick)..(step + 2, Voice::Kick));
            let least = here.map(|(_, sure)| *sure).fold(f64::INFINITY, f64::min);
            // Where nothing at all is heard, nothing is what the recording is sure of.
            if least.is_finite() { least } else { 1.0 }
        };
        written.retain(|&(step, voice), _| {
            let same = heard.remove(&(step, voice)).is_some();
            self.bar_of(step).right += usize::from(same);
            !same
        });
        written.retain(|&(step, voice), _| {
            for by in [-1, 1] {
                if let Some(sure) = heard.remove(&(step + by, voice)) {
                    self.note(step, Difference::Moved { written: voice, by }, sure);
                    return false;
                }
            }
            true
        });
        written.retain(|&(step, voice), _| {
            let there = heard.range((step, Voice::Kick)..(step + 1, Voice::Kick)).next();
            let Some((&key, &sure)) = there else {
                return true;
            };
            heard.remove(&key);
            self.note(
                step,
                Difference::OtherVoice {
                    written: voice,
                    heard: key.1,
                },
                sure,
            );
            false
        });
        for (step, voice) in written.into_keys() {
            self.note(step, Difference::NotHeard { written: voice }, near(step));
        }
        for ((step, voice), sure) in heard {
            self.note(step, Difference::NotWritten { heard: voice }, sure);
        }
        for bar in self.bars.values_mut() {
            bar.spots.sort_by_key(|spot| spot.place);
        }
    }

    fn bar_of(&mut self, step: i64) -> &mut BarCompared {
        let bar = step.div_euclid(self.bar) + 1;
        self.bars.entry(bar).or_insert(BarCompared {
            bar,
            right: 0,
            spots: Vec::new(),
        })
    }

    fn note(&mut self, step: i64, difference: Difference, sure: f64) {
        let place = self.study.grid.place_of(Steps(step));
        let spot = Spot {
            place,
            difference,
            sure: Sure::of(sure),
        };
        self.bar_of(step).spots.push(spot);
    }
}

#[cfg(test)]
mod tests;
