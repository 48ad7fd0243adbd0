//! What the tests of practice share: an invented solo of twenty bars over a figure of five sixteenths, as a study and as
//! sound.

use super::drums::{Character, Kit, Strike};
use crate::audio::Recording;
use crate::cycles::{Carrier, Cycle, Cycles, FigureNote, Home, Moment, Verdict, home};
use crate::grid::{Grid, Placed};
use crate::names::Voice;
use crate::options::Options;
use crate::study::{RecordingFacts, Study};
use crate::units::{Bits, Bpm, Decibels, Millis, Seconds, Steps};
use crate::voices::Hit;

/// Bars of the solo.
pub(super) const BARS: i64 = 20;
/// 4/4 at 120 from half a second on.
const BEAT: f64 = 0.5;
const START: f64 = 0.5;

fn grid() -> Grid {
    Grid {
        tempo: Bpm(120.0),
        steps_per_beat: 4,
        beats: (0..=BARS * 4).map(|b| Seconds(START + BEAT * b as f64)).collect(),
        sure: 1.0,
        ..Grid::none()
    }
}

/// Step and voice of every stroke: kick and foot hat in fives, snare and toms in a line that does not repeat.
fn strokes() -> Vec<(i64, Voice, bool)> {
    let mut strokes = Vec::new();
    for step in 0..BARS * 16 {
        match step % 5 {
            0 => strokes.push((step, Voice::Kick, true)),
            2 => strokes.push((step, Voice::HatFoot, true)),
            _ => {}
        }
        // A line that never comes round [=]: bits of the golden ratio's multiples.
        let share = (step as f64 * 0.618_033_988_7).fract();
        match share {
            s if s < 0.35 => strokes.push((step, Voice::Snare, false)),
            s if s < 0.5 => strokes.push((step, Voice::TomHigh, false)),
            s if s < 0.62 => strokes.push((step, Voice::TomFloor, false)),
            _ => {}
        }
    }
    strokes.sort();
    strokes
}

/// The study.
pub(super) fn study() -> Study {
    let grid = grid();
    let strokes = strokes();
    let hits: Vec<Hit> = strokes
        .iter()
        .map(|(step, voice, _)| Hit {
            time: grid.time_of(Steps(*step)).unwrap(),
            voice: *voice,
            level: Decibels(-3.0),
            mark: None,
            grace: None,
            sure: 0.9,
        })
        .collect();
    let placed: Vec<Placed> = strokes
        .iter()
        .zip(&hits)
        .map(|((step, ..), hit)| Placed {
            hit: *hit,
            step: Steps(*step),
            late: Millis(0.0),
        })
        .collect();
    let (home_cycles, home_bars) = home(Steps(5), Steps(16));
    let moment = |bar: i64| Moment {
        bar,
        beat: 1,
        step: 1,
        time: Seconds(0.0),
    };
    let note = |step, voice| FigureNote {
        step,
        voices: vec![voice],
        limb: None,
    };
    let cycle = Cycle {
        length_steps: 5,
        length_notes: 2,
        length_seconds: Seconds(0.625),
        crosses_bar: true,
        figure: vec![note(1, Voice::Kick), note(3, Voice::HatFoot)],
        voices: vec![Voice::Kick, Voice::HatFoot],
        start: moment(1),
        end: moment(BARS + 1),
        repeats: 64,
        kept: 1.0,
        broken: vec![],
        bits: Bits(200.0),
        chance: 0.0,
        home_bars,
        home_cycles,
        resolved: None,
        carrier: Carrier::Voices,
        grade: Verdict::Certain,
        home: Home::default(),
    };
    let cycles = Cycles {
        found: vec![cycle],
        layer: strokes.iter().map(|(.., figure)| figure.then_some(0)).collect(),
        ..Cycles::default()
    };
    let facts = RecordingFacts::from(&Default::default());
    Study::new(facts, Options::default(), &hits, grid, &placed, cycles, vec![])
}

/// The solo as sound, in stereo.
pub(super) fn recording() -> Recording {
    let grid = grid();
    let strikes: Vec<Strike> = strokes()
        .iter()
        .filter(|(step, ..)| *step < 8 * 16)
        .map(|(step, voice, _)| Strike {
            time: grid.time_of(Steps(*step)).unwrap(),
            voice: *voice,
            velocity: 0.8,
        })
        .collect();
    Recording::from_channels(&Kit::new(3, Character::PLAIN).render(&strikes, Seconds(18.0)))
}
