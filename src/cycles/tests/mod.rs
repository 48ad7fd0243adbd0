//! Cycles from steps that are known exactly: invented lines, degraded the way listening degrades them.

mod carriers;
mod claims;
mod figures;
mod home;
mod invented;
mod laws;
mod oracle;
mod published;
mod suites;
#[allow(clippy::print_stdout, reason = "tells what was measured")]
mod survey;

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::{Cycle, Cycles, find};
use crate::grid::{Grid, Meter, Placed};
use crate::names::Voice;
use crate::options::CycleOptions;
use crate::units::{Bpm, Decibels, Millis, Seconds, Steps};
use crate::voices::Hit;

/// One stroke: its step and its voice.
pub(super) type Stroke = (i64, Voice);

/// The tempo of every grid here; nothing may depend on it.
const TEMPO: f64 = 110.0;

/// An even grid of so many steps.
pub(super) fn grid(meter: Meter, per_beat: u32, steps: i64) -> Grid {
    let beat = Bpm(TEMPO).beat().0;
    let beats = steps.max(0) / i64::from(per_beat) + 2;
    Grid {
        tempo: Bpm(TEMPO),
        meter,
        steps_per_beat: per_beat,
        beats: (0..beats).map(|b| Seconds(0.5 + b as f64 * beat)).collect(),
        ..Grid::none()
    }
}

/// Strokes on such a grid.
pub(super) fn placed(strokes: &[Stroke], grid: &Grid) -> Vec<Placed> {
    let place = |&(step, voice): &Stroke| Placed {
        hit: Hit {
            time: grid.time_of(Steps(step)).unwrap_or_default(),
            voice,
            level: Decibels(-6.0),
            mark: None,
            grace: None,
            sure: 1.0,
        },
        step: Steps(step),
        late: Millis(0.0),
    };
    strokes.iter().map(place).collect()
}

/// The usual options, with fewer shuffles than usual: they take most of the time.
pub(super) fn options() -> CycleOptions {
    CycleOptions {
        shuffles: 99,
        ..CycleOptions::default()
    }
}

/// What is found in these strokes.
pub(super) fn search(strokes: &[Stroke], grid: &Grid) -> Cycles {
    find(&placed(strokes, grid), grid, &options())
}

/// Those that cross the bar.
pub(super) fn crossing(cycles: &Cycles) -> Vec<&Cycle> {
    cycles.found.iter().filter(|c| c.crosses_bar).collect()
}

/// A figure in letters: `A` and `B` are the two voices, `*` both, anything else a rest; repeated from one step to another.
pub(super) fn repeat(figure: &str, (a, b): (Voice, Voice), from: i64, to: i64) -> Vec<Stroke> {
    let letters = figure.as_bytes();
    let voices = |letter: u8| match letter {
        b'A' => vec![a],
        b'B' => vec![b],
        b'*' => vec![a, b],
        _ => Vec::new(),
    };
    (from..to)
        .flat_map(|step| {
            let letter = letters[(step - from) as usize % letters.len()];
            voices(letter).into_iter().map(move |v| (step, v))
        })
        .collect()
}

/// A free line of short cells: each begun from one of its notes, on drums of its own, three to seven times, and some
/// strokes left out. `F` is the foot, which may be silent.
pub(super) fn free_line(
    steps: i64,
    hands: &[Voice],
    foot: Option<Voice>,
    random: &mut ChaCha8Rng,
) -> Vec<Stroke> {
    const CELLS: [&[&[u8]]; 4] = [
        &[b"RLF", b"RFF", b"RLL"],
        &[b"RLRF", b"RFFR", b"RLFF", b"RRFF"],
        &[b"RLRLF", b"RLLRF", b"RFRFF"],
        &[b"RLRLFF", b"RLLRFF", b"RLRRFF", b"RFRRFR"],
    ];
    let pool: Vec<&[u8]> = CELLS.iter().map(|c| c[random.random_range(0..c.len())]).collect();
    let (mut line, mut step) = (Vec::new(), 0);
    while step < steps {
        let cell = pool[random.random_range(0..pool.len())];
        let start = random.random_range(0..cell.len());
        let drums: Vec<Voice> = cell
            .iter()
            .map(|_| hands[random.random_range(0..hands.len())])
            .collect();
        for _ in 0..random.random_range(3..8) {
            for (note, drum) in drums.iter().enumerate() {
                let voice = if cell[(note + start) % cell.len()] == b'F' {
                    foot
                } else {
                    Some(*drum)
                };
                if step < steps && !random.random_bool(0.05) {
                    line.extend(voice.map(|v| (step, v)));
                }
                step += 1;
            }
        }
    }
    line
}
