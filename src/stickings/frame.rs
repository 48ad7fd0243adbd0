//! Where a figure lies: its steps, and which step of the figure a step of the music is.

use crate::cycles::Cycle;
use crate::grid::Grid;
use crate::units::Steps;

/// A figure's place on the grid.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame {
    /// Its length in steps, at least 1.
    pub length: i64,
    /// Its first step.
    pub start: i64,
    /// The step after its last.
    pub end: i64,
    /// It starts anew after so many steps.
    pub every: Option<i64>,
}

impl Frame {
    /// The place of a cycle that was found on this grid.
    pub fn of(cycle: &Cycle, grid: &Grid) -> Frame {
        let step = |at: &crate::cycles::Moment| {
            let bars = at
                .bar
                .saturating_sub(1)
                .saturating_mul(i64::from(grid.steps_per_bar()));
            let beats = at
                .beat
                .saturating_sub(1)
                .saturating_mul(i64::from(grid.steps_per_beat));
            bars.saturating_add(beats)
                .saturating_add(at.step.saturating_sub(1))
        };
        let bar = i64::from(grid.steps_per_bar());
        Frame {
            length: i64::from(cycle.length_steps).max(1),
            start: step(&cycle.start),
            end: step(&cycle.end),
            every: (cycle.resolved.as_ref())
                .map(|resolved| i64::from(resolved.every_bars) * bar)
                .filter(|steps| *steps > 0),
        }
    }

    /// Whether a step lies in it.
    pub fn holds(&self, step: Steps) -> bool {
        (self.start..self.end).contains(&step.0)
    }

    /// Which step of the figure it is, from 0.
    pub fn phase(&self, step: Steps) -> i64 {
        let since = step.0.saturating_sub(self.start);
        let since = self.every.map_or(since, |every| since.rem_euclid(every));
        since.rem_euclid(self.length)
    }
}
