//! [`Hit`](crate::voices::Hit)s -> [`Grid`]: tempo curve, beats, bars, subdivision, and each hit's step.

mod events;

mod way;

mod track;

mod smooth;

mod division;

mod pulse;

mod judge;

mod reading;

mod search;

mod tapped;

mod belief;

mod swing;

mod uneven;

mod find;

mod place;

mod lateness;

mod words;

#[cfg(test)]
mod invented;

#[cfg(test)]
#[allow(
    clippy::print_stdout,
    reason = "tells what was measured when a law fails or a fit is run"
)]
mod laws;

#[cfg(test)]
#[allow(
    clippy::print_stdout,
    reason = "tells what was measured when a law fails or a fit is run"
)]
mod survey;

#[cfg(test)]
#[allow(clippy::print_stdout, reason = "says what was made")]
#[path = "../../tests/fitting/grid/practice.rs"]
mod practice;

pub use find::{bars_anew, find};
pub use lateness::{Lateness, lateness};
pub use place::{Place, Placed, place};
pub use swing::Swing;
pub use tapped::{BadBeats, read_beats};
pub use uneven::UnevenBeat;
pub use words::subdivision;

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::units::{Bpm, Seconds, Steps};

/// Beats in a bar and the note value that the signature names, as written: 4/4, 7/8, 12/8.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(into = "[u32; 2]", from = "[u32; 2]")]
pub struct Meter {
    /// The upper number.
    pub count: u32,
    /// The lower number.
    pub unit: u32,
}

impl Meter {
    /// Four quarters.
    pub const COMMON: Meter = Meter { count: 4, unit: 4 };

    /// Beats a player counts in a bar: in 6/8, 9/8 and 12/8 the beat is a dotted quarter, else the lower number's note.
    pub fn beats_per_bar(self) -> u32 {
        if self.unit == 8 && self.count > 3 && self.count.is_multiple_of(3) {
            self.count / 3
        } else {
            self.count
        }
    }
}

impl From<Meter> for [u32; 2] {
    fn from(meter: Meter) -> Self {
        [meter.count, meter.unit]
    }
}

impl From<[u32; 2]> for Meter {
    fn from([count, unit]: [u32; 2]) -> Self {
        Meter { count, unit }
    }
}

impl fmt::Display for Meter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.count, self.unit)
    }
}

/// A meter that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is no meter; write beats over note, such as 4/4 or 7/8")]
pub struct BadMeter(String);

impl FromStr for Meter {
    type Err = BadMeter;

    fn from_str(text: &str) -> Result<Self, BadMeter> {
        let bad = || BadMeter(text.to_owned());
        let (count, unit) = text.split_once('/').ok_or_else(bad)?;
        let count: u32 = count.trim().parse().map_err(|_| bad())?;
        let unit: u32 = unit.trim().parse().map_err(|_| bad())?;
        if (1..=32).contains(&count) && [1, 2, 4, 8, 16].contains(&unit) {
            Ok(Meter { count, unit })
        } else {
            Err(bad())
        }
    }
}

/// Another reading of the same hits that comes close.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Rival {
    /// Its tempo.
    pub tempo_bpm: Bpm,
    /// Its meter.
    pub meter: Meter,
    /// Its subdivision.
    pub steps_per_beat: u32,
    /// Its share of the belief, 0 to 1; the chosen reading and all rivals sum to at most 1.
    pub share: f64,
}

/// The grid of a recording. A recording without a grid has no beats.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    /// Median tempo.
    pub tempo: Bpm,
    /// Meter.
    pub meter: Meter,
    /// Steps in a beat.
    pub steps_per_beat: u32,
    /// Every beat, rising.
    pub beats: Vec<Seconds>,
    /// Which of `beats` is the first beat of bar 1; the beats before it are a pick-up (bar 0).
    pub first_downbeat: usize,
    /// Beats that are divided into other steps than `steps_per_beat`, rising.
    pub uneven: Vec<UnevenBeat>,
    /// Pairs of steps that are played long and short; `None` when they are even.
    pub swing: Option<Swing>,
    /// How sure the reading is, 0 to 1.
    pub sure: f64,
    /// Readings that come close, best first.
    pub rivals: Vec<Rival>,
    /// What a player should know about it.
    pub warnings: Vec<String>,
}

impl Grid {
    /// A grid without beats, for a recording in which none can be heard.
    pub fn none() -> Self {
        Grid {
            tempo: Bpm(0.0),
            meter: Meter::COMMON,
            steps_per_beat: 4,
            beats: Vec::new(),
            first_downbeat: 0,
            uneven: Vec::new(),
            swing: None,
            sure: 0.0,
            rivals: Vec::new(),
            warnings: Vec::new(),
        }
    }

    /// Steps in a bar.
    pub fn steps_per_bar(&self) -> u32 {
        self.meter.beats_per_bar() * self.steps_per_beat
    }

    /// The first beat of every bar, rising.
    pub fn downbeats(&self) -> Vec<Seconds> {
        let bar = self.meter.beats_per_bar().max(1) as usize;
        self.beats
            .iter()
            .skip(self.first_downbeat)
            .step_by(bar)
            .copied()
            .collect()
    }

    /// When `step` falls: between beats in proportion, or long and short where the playing swings; before the first
    /// and after the last beat at the tempo there. `None` with fewer than two beats.
    pub fn time_of(&self, step: Steps) -> Option<Seconds> {
        let swung = division::straight_to_swung(step.0 as f64, self.steps_per_beat, self.long());
        self.time_at(swung / f64::from(self.steps_per_beat))
    }

    /// Share of a pair of steps that the first one takes.
    fn long(&self) -> f64 {
        self.swing.map_or(0.5, Swing::long)
    }

    /// When the music is `beats` beats after the first beat of bar 1. `None` with fewer than two beats.
    pub fn time_at(&self, beats: f64) -> Option<Seconds> {
        let last = self.beats.len().checked_sub(2)?;
        let beats = beats + self.first_downbeat as f64;
        let index = (beats.floor().max(0.0) as usize).min(last);
        let (a, b) = (self.beats[index], self.beats[index + 1]);
        Some(a + (b - a) * (beats - index as f64))
    }

    /// Where `time` falls, in steps with a fraction; the inverse of [`Grid::time_of`].
    pub fn steps_at(&self, time: Seconds) -> Option<f64> {
        let steps = self.beats_at(time)? * f64::from(self.steps_per_beat);
        Some(division::swung_to_straight(
            steps,
            self.steps_per_beat,
            self.long(),
        ))
    }

    /// Where `time` falls, in beats after the first beat of bar 1; the inverse of [`Grid::time_at`].
    pub fn beats_at(&self, time: Seconds) -> Option<f64> {
        let last = self.beats.len().checked_sub(2)?;
        let after = self.beats.partition_point(|b| *b <= time);
        let index = after.saturating_sub(1).min(last);
        let (a, b) = (self.beats[index], self.beats[index + 1]);
        Some(index as f64 + (time - a).0 / (b - a).0 - self.first_downbeat as f64)
    }

    /// The bar, beat and step that a player would name.
    pub fn place_of(&self, step: Steps) -> Place {
        let (per_beat, per_bar) = (i64::from(self.steps_per_beat), i64::from(self.steps_per_bar()));
        let inside = step.0.rem_euclid(per_bar);
        Place {
            bar: step.0.div_euclid(per_bar) + 1,
            beat: inside / per_beat + 1,
            step: inside % per_beat + 1,
        }
    }
}
