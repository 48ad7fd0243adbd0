//! Steps -> [`Cycle`]s: the figures that some voices repeat, how long they are, and how sure that is.

mod broken;
mod chance;
mod choose;
mod code;
mod figure;
mod guess;
mod home;
mod long;
mod price;
mod search;
mod settle;
mod streams;
mod stretch;
mod strokes;
mod verify;

use serde::{Deserialize, Serialize};

use crate::grid::{Grid, Placed};
use crate::names::{Limb, Voice};
use crate::options::CycleOptions;
use crate::units::{Bits, Seconds, Steps};
pub use broken::Broken;
pub use home::{BeatStep, Home, Round, Stair, Together, Way};
use search::Asked;
pub use settle::settle;
use strokes::Strokes;
pub use verify::{BadClaim, Claim, Relation, Unit, Verdict, Verification, verify};

/// One step of the figure on which something is struck.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FigureNote {
    /// Step within the cycle, from 1.
    pub step: u32,
    /// What is struck there.
    pub voices: Vec<Voice>,
    /// Which limb plays it, where known.
    pub limb: Option<Limb>,
}

/// Where a cycle's span begins or ends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Moment {
    /// Bar, from 1.
    pub bar: i64,
    /// Beat in the bar, from 1.
    pub beat: i64,
    /// Step in the beat, from 1.
    pub step: i64,
    /// Time from the start of the recording's file.
    pub time: Seconds,
}

/// What of its voices carries a figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Carrier {
    /// The strokes of each voice.
    #[default]
    Voices,
    /// The accents, on whichever drum they fall.
    Accents,
    /// All strokes together, on whichever drum they fall: the rhythm of the whole line.
    Line,
}

/// How a cycle that does not run freely starts anew.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Resolved {
    /// The cycle starts again every so many bars.
    pub every_bars: u32,
}

/// A figure that repeats.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cycle {
    /// Length in steps, rests counted.
    pub length_steps: u32,
    /// Struck notes in one cycle (steps with at least one stroke).
    pub length_notes: u32,
    /// Length in seconds at the median tempo.
    pub length_seconds: Seconds,
    /// It neither divides the bar nor is a multiple of it.
    pub crosses_bar: bool,
    /// What one cycle is.
    pub figure: Vec<FigureNote>,
    /// The voices that carry it.
    pub voices: Vec<Voice>,
    /// What of them carries it.
    #[serde(default)]
    pub carrier: Carrier,
    /// Where the first repeat starts.
    pub start: Moment,
    /// Where the last repeat ends.
    pub end: Moment,
    /// Repeats in the span.
    pub repeats: u32,
    /// Share of the figure's expected notes that are there, 0 to 1.
    pub kept: f64,
    /// The repeats that are not whole.
    pub broken: Vec<Broken>,
    /// Bits saved over the best bar-locked account of the same strokes.
    pub bits: Bits,
    /// How often shuffled music does as well, 0 to 1.
    pub chance: f64,
    /// Bars until cycle start and beat one meet again.
    pub home_bars: u32,
    /// Cycles until then.
    pub home_cycles: u32,
    /// How it restarts, when it does not run freely.
    pub resolved: Option<Resolved>,
    /// How sure it is: certain, likely or open.
    #[serde(default = "open")]
    pub grade: Verdict,
    /// How it comes home, step by step.
    #[serde(default)]
    pub home: Home,
}

/// The grade of figures from studies that were written before there were grades.
fn open() -> Verdict {
    Verdict::Open
}

/// One length that was tried and what it explains.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LengthTried {
    /// Length in steps.
    pub steps: u32,
    /// Bits that the best figure of this length saves; negative when it costs more than it explains.
    pub bits: Bits,
}

/// What the search found: the figures, best first, and every length tried.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Cycles {
    /// Figures that are certain or likely, best first.
    pub found: Vec<Cycle>,
    /// The figure that comes closest and is not proved: the best guess where nothing is, a second one beside others.
    pub open: Option<Cycle>,
    /// Every length tried, rising.
    pub lengths: Vec<LengthTried>,
    /// For each placed hit, in the same order: the index in `found` of the figure it belongs to.
    pub layer: Vec<Option<usize>>,
}

/// Searches every length from two steps to a quarter of the span for figures that explain their voices better than the bar does.
pub fn find(placed: &[Placed], grid: &Grid, options: &CycleOptions) -> Cycles {
    find_asked(placed, grid, options, None)
}

/// The same, one length being tried in any case: that of a claim.
fn find_asked(placed: &[Placed], grid: &Grid, options: &CycleOptions, length: Option<usize>) -> Cycles {
    let mut cycles = Cycles {
        layer: vec![None; placed.len()],
        ..Cycles::default()
    };
    let Some(mut strokes) = Strokes::new(placed, grid, &options.limbs) else {
        return cycles;
    };
    let asked = Asked {
        length,
        shuffles: options.shuffles,
    };
    let chosen = choose::choose(&mut strokes, asked);
    for (index, found) in chosen.found.iter().enumerate() {
        found.figure.claim(index, placed, &strokes, &mut cycles.layer);
        cycles
            .found
            .push(found.cycle(&strokes, grid, options.phrase_bars));
    }
    meet(&mut cycles.found, grid);
    cycles.open = chosen
        .open
        .map(|open| open.cycle(&strokes, grid, options.phrase_bars));
    cycles.lengths = chosen
        .lengths
        .iter()
        .map(|c| LengthTried {
            steps: c.turn.length as u32,
            bits: Bits(c.bits),
        })
        .collect();
    cycles
}

/// Tells each freely running figure of those that go on at the same time.
fn meet(figures: &mut [Cycle], grid: &Grid) {
    let free: Vec<(u32, f64, f64)> = figures
        .iter()
        .map(|c| match c.resolved {
            None => (c.length_steps, c.start.time.0, c.end.time.0),
            Some(_) => (0, 0.0, 0.0),
        })
        .collect();
    for (index, figure) in figures.iter_mut().enumerate() {
        let (length, from, to) = free[index];
        let others = free.iter().enumerate().filter(|(other, _)| *other != index);
        let at_once = others.filter(|(_, (_, start, end))| *start < to && from < *end);
        figure.home.together = at_once
            .filter_map(|(_, (other, _, _))| Together::of(length, *other, grid.steps_per_bar()))
            .collect();
    }
}

/// When a free-running cycle of `length` steps meets the bar of `bar` steps again: (cycles, bars).
/// Both are 0 when either length is.
pub fn home(length: Steps, bar: Steps) -> (u32, u32) {
    let (l, p) = (length.0.unsigned_abs(), bar.0.unsigned_abs());
    let (mut a, mut b) = (l, p);
    while b != 0 {
        (a, b) = (b, a % b);
    }
    if l == 0 || p == 0 {
        (0, 0)
    } else {
        ((p / a) as u32, (l / a) as u32)
    }
}

#[cfg(test)]
mod tests;
