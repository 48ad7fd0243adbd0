//! A stroke -> the beat and the step of that beat in which it is written.
//!
//! In beats that are divided as the piece is, that is the row's own step. A beat that is divided otherwise has steps
//! of its own: the row's lateness was counted from one of them, so the time less the lateness says which.

use std::collections::BTreeMap;

use super::value::Beat;
use crate::grid::Grid;
use crate::study::Stroke;

/// A stroke so little before a beat, in beats, belongs to it, as where uneven beats are found \[M\].
const JUST_BEFORE: f64 = 0.04;
/// More beats than a day of playing has: a row or a beat that far out is a slip.
const MOST_BEATS: f64 = 200_000.0;

/// Where a stroke is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Spot {
    /// The beat, counted from 0 at bar 1; a pick-up is negative.
    pub(super) beat: i64,
    /// The step in it, from 0.
    pub(super) step: u32,
}

/// The grid as the score needs it.
#[derive(Debug)]
pub(super) struct Ruling<'a> {
    grid: &'a Grid,
    /// The beat of the meter.
    pub(super) beat: Beat,
    /// Steps in a beat of the piece that can be written.
    usual: u32,
    /// Steps in the beats that are divided otherwise, by beat.
    uneven: BTreeMap<i64, u32>,
}

impl<'a> Ruling<'a> {
    pub(super) fn of(grid: &'a Grid) -> Ruling<'a> {
        let beat = Beat::of(grid.meter);
        let uneven = grid.uneven.iter().map(|found| {
            let index = found.beat as i64 - grid.first_downbeat as i64;
            (index, beat.writable(found.steps))
        });
        Ruling {
            grid,
            beat,
            usual: beat.writable(grid.steps_per_beat),
            uneven: uneven.collect(),
        }
    }

    /// Steps in a beat.
    pub(super) fn steps(&self, beat: i64) -> u32 {
        self.uneven.get(&beat).copied().unwrap_or(self.usual)
    }

    /// Where a stroke is written; `None` when its time is no place on the grid.
    pub(super) fn spot(&self, stroke: &Stroke) -> Option<Spot> {
        let heard = self.grid.beats_at(stroke.hit.time)?;
        let settled = match stroke.late {
            Some(late) => self.grid.beats_at(stroke.hit.time - late.to_seconds())?,
            None => heard,
        };
        if !(heard.abs() < MOST_BEATS && settled.abs() < MOST_BEATS) {
            return None;
        }
        let beat = (settled + JUST_BEFORE).floor();
        if let Some(&steps) = self.uneven.get(&(beat as i64)) {
            let step = ((settled - beat) * f64::from(steps)).round().max(0.0);
            return Some(
                Spot {
                    beat: beat as i64,
                    step: 0,
                }
                .later(step as i64, steps),
            );
        }
        let per_beat = i64::from(self.grid.steps_per_beat.max(1));
        let nearest = || Some(self.grid.steps_at(stroke.hit.time)?.round() as i64);
        // A row that names another place than its time has been edited by hand: the time counts.
        let own = stroke.step.map(|step| step.0);
        let near = own.filter(|step| (*step as f64 / per_beat as f64 - heard).abs() < 1.0);
        let step = near.or_else(nearest)?;
        let (beat, inside) = (step.div_euclid(per_beat), step.rem_euclid(per_beat));
        let steps = self.steps(beat);
        let written = (inside as f64 * f64::from(steps) / per_beat as f64).round();
        Some(Spot { beat, step: 0 }.later(written as i64, steps))
    }
}

impl Spot {
    /// So many steps later, in a beat of that many.
    fn later(self, by: i64, steps: u32) -> Spot {
        let steps = i64::from(steps.max(1));
        Spot {
            beat: self.beat + by.div_euclid(steps),
            step: by.rem_euclid(steps) as u32,
        }
    }
}
