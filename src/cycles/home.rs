//! A figure's length and the bar's -> where each cycle starts, what falls on beat one, when they meet again, and how
//! to make them meet sooner: plain arithmetic [=] on steps.

use serde::{Deserialize, Serialize};

use super::home;
use crate::grid::{Grid, Place};
use crate::units::{Seconds, Steps};

/// Bars of the staircase that are written out at most; a round that is longer goes on in the same way.
const MOST_BARS: i64 = 128;

/// Lengths of a phrase, in bars, that ways to resolve are told for beside the player's own.
const SHORT_PHRASES: [u32; 3] = [1, 2, 4];

/// A place in a bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct BeatStep {
    /// Beat in the bar, from 1.
    pub beat: i64,
    /// Step in the beat, from 1.
    pub step: i64,
}

/// One bar of the staircase.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stair {
    /// The bar.
    pub bar: i64,
    /// Where in it cycles start.
    pub starts: Vec<BeatStep>,
    /// The step of the figure that falls on its beat one, from 1; none before the figure begins.
    pub step_on_one: Option<u32>,
    /// The note of the figure that falls there, counted from 1 among its struck ones; none where it rests.
    pub note_on_one: Option<u32>,
}

/// A way to come home with a phrase: its last cycle is cut or lengthened.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Way {
    /// Bars of the phrase, counted from a bar that begins with a cycle.
    pub phrase_bars: u32,
    /// Whole cycles before the changed one.
    pub whole_cycles: u32,
    /// Steps of the changed cycle; 0 where the phrase is home without a change.
    pub last_steps: u32,
    /// Steps to add to it; negative: to drop from it.
    pub change: i64,
    /// Where the changed cycle starts: bar of the phrase, beat and step.
    pub at: Place,
}

/// Another figure that goes on at the same time, and when the pair is home.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Together {
    /// Steps in a cycle of the other figure.
    pub length_steps: u32,
    /// After so many steps both start together again.
    pub steps: u32,
    /// Cycles of this figure until then.
    pub cycles: u32,
    /// Cycles of the other one until then.
    pub other_cycles: u32,
    /// Bars until both and beat one meet.
    pub bars: u32,
}

impl Together {
    /// Of two lengths and the bar's; none where one of them is nothing.
    pub fn of(length: u32, other: u32, bar: u32) -> Option<Together> {
        let (cycles, other_cycles) = home(Steps(i64::from(length)), Steps(i64::from(other)));
        let steps = cycles.checked_mul(length).filter(|steps| *steps > 0)?;
        let (_, bars) = home(Steps(i64::from(steps)), Steps(i64::from(bar)));
        (bars > 0).then_some(Together {
            length_steps: other,
            steps,
            cycles,
            other_cycles,
            bars,
        })
    }
}

/// How a figure comes home.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Home {
    /// Bars, cycles and time at the median tempo from one meeting of cycle start and beat one to the next.
    pub bars: u32,
    /// Cycles in a round.
    pub cycles: u32,
    /// A round at the median tempo.
    pub seconds: Seconds,
    /// When they meet, within the figure's stretch.
    pub times: Vec<Seconds>,
    /// Bars of the player's phrase.
    pub phrase_bars: u32,
    /// Bars after which cycle, bar and phrase all meet.
    pub with_phrase_bars: u32,
    /// Where cycles start, bar by bar, for one round or as much of it as the figure lasts.
    pub stairs: Vec<Stair>,
    /// Ways to come home with phrases of one, two and four bars and with the player's own.
    pub ways: Vec<Way>,
    /// Other figures that go on at the same time.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub together: Vec<Together>,
}

/// What the arithmetic needs to know of a figure.
#[derive(Debug, Clone, Copy)]
pub struct Round<'a> {
    /// Steps in a cycle.
    pub length: u32,
    /// Struck steps of the figure, from 1, rising.
    pub struck: &'a [u32],
    /// The step on which the first cycle starts, and the one after the last.
    pub span: (Steps, Steps),
    /// It starts anew every so many bars, counted from this step.
    pub anew: Option<(u32, Steps)>,
}

impl Home {
    /// How a figure comes home on a grid, against phrases of so many bars. Nothing for a figure or a bar of no length.
    pub fn of(round: &Round, grid: &Grid, phrase_bars: u32) -> Home {
        let (length, bar) = (i64::from(round.length), i64::from(grid.steps_per_bar()));
        if length == 0 || bar == 0 {
            return Home::default();
        }
        let (cycles, bars) = home(Steps(length), Steps(bar));
        let beat = if grid.tempo.0 > 0.0 {
            grid.tempo.beat()
        } else {
            Seconds(0.0)
        };
        let step = beat * (1.0 / f64::from(grid.steps_per_beat.max(1)));
        let phrase_bars = phrase_bars.max(1);
        let (with_phrase, _) = home(Steps(i64::from(phrase_bars)), Steps(i64::from(bars)));
        let mut phrases: Vec<u32> = SHORT_PHRASES.into_iter().chain([phrase_bars]).collect();
        phrases.sort_unstable();
        phrases.dedup();
        Home {
            bars,
            cycles,
            seconds: step * (f64::from(cycles) * length as f64),
            times: round
                .meetings(bar)
                .filter_map(|at| grid.time_of(Steps(at)))
                .collect(),
            phrase_bars,
            with_phrase_bars: phrase_bars.saturating_mul(with_phrase),
            stairs: round.stairs(i64::from(bars), grid),
            ways: phrases.into_iter().map(|p| way(length, p, grid)).collect(),
            together: Vec::new(),
        }
    }
}

impl Round<'_> {
    /// The figure's step on a step of the grid, from 0; none outside its stretch.
    fn phase(&self, step: i64, bar: i64) -> Option<i64> {
        if step < self.span.0.0 || step >= self.span.1.0 {
            return None;
        }
        let length = i64::from(self.length);
        match self.anew {
            Some((bars, from)) => {
                let round = (i64::from(bars) * bar).max(1);
                (step - from.0).rem_euclid(round).checked_rem(length)
            }
            None => (step - self.span.0.0).checked_rem_euclid(length),
        }
    }

    /// Steps on which a cycle and a bar begin together.
    fn meetings(&self, bar: i64) -> impl Iterator<Item = i64> {
        let first = self.span.0.0.div_euclid(bar) * bar;
        let bars = ((self.span.1.0 - first) / bar + 1).clamp(0, 1 << 20);
        (0..bars)
            .map(move |b| first + b * bar)
            .filter(move |s| self.phase(*s, bar) == Some(0))
    }

    fn stairs(&self, bars: i64, grid: &Grid) -> Vec<Stair> {
        let bar = i64::from(grid.steps_per_bar());
        let first = self.span.0.0.div_euclid(bar);
        let last = (self.span.1.0 - 1).div_euclid(bar) + 1;
        // A figure that begins inside a bar needs one bar more to show its whole round.
        let inside = i64::from(self.span.0.0.rem_euclid(bar) > 0);
        let wanted = match self.anew {
            Some((every, _)) => i64::from(every),
            None => bars + inside,
        };
        let shown = wanted.min(last - first).clamp(0, MOST_BARS);
        let stair = |b: i64| {
            let from = b * bar;
            let starts = (from..from + bar).filter(|s| self.phase(*s, bar) == Some(0));
            let step_on_one = self.phase(from, bar).and_then(|p| u32::try_from(p + 1).ok());
            let note = step_on_one.and_then(|step| self.struck.iter().position(|s| *s == step));
            Stair {
                bar: b + 1,
                starts: starts.map(|s| beat_step(grid.place_of(Steps(s)))).collect(),
                step_on_one,
                note_on_one: note.map(|n| n as u32 + 1),
            }
        };
        (first..first + shown).map(stair).collect()
    }
}

fn beat_step(place: Place) -> BeatStep {
    BeatStep {
        beat: place.beat,
        step: place.step,
    }
}

/// How cycles of `length` steps fill a phrase with the smaller change: the last one cut, or lengthened.
fn way(length: i64, phrase_bars: u32, grid: &Grid) -> Way {
    let steps = i64::from(phrase_bars) * i64::from(grid.steps_per_bar());
    let (cycles, rest) = (steps / length, steps % length);
    // A rest of up to half a cycle is added to the last cycle; a longer one is a cycle of its own, cut.
    let (whole, last) = match (cycles, rest) {
        (_, 0) => (cycles, 0),
        (0, rest) => (0, rest),
        (_, rest) if 2 * rest <= length && rest < length - rest => (cycles - 1, length + rest),
        (_, rest) => (cycles, rest),
    };
    Way {
        phrase_bars,
        whole_cycles: whole as u32,
        last_steps: last as u32,
        change: if last == 0 { 0 } else { last - length },
        at: grid.place_of(Steps(whole * length)),
    }
}
