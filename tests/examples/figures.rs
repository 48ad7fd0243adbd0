//! Looks for figures in rows of strokes, for checks from outside and for surveys.
//!
//! In, as JSON on standard input: a list of {meter: [n, d], steps_per_beat, rows: {voice: "x..x.", …}}. Out, as JSON: for
//! each {first: the length of the best figure or 0, grade, crossing: [the figures that cross the bar, as in study.json]}.

use std::collections::BTreeMap;
use std::error::Error;
use std::io;

use overbar::cycles::{self, Cycles};
use overbar::grid::{Grid, Meter, Placed};
use overbar::names::Voice;
use overbar::options::CycleOptions;
use overbar::units::{Bpm, Decibels, Millis, Seconds, Steps};
use overbar::voices::Hit;
use rayon::prelude::*;
use serde::Deserialize;

#[derive(Deserialize)]
struct Music {
    meter: Meter,
    steps_per_beat: u32,
    rows: BTreeMap<Voice, String>,
}

fn find(meter: Meter, steps_per_beat: u32, strokes: &[(i64, Voice)]) -> Cycles {
    let beat = Bpm(120.0).beat();
    let last = strokes.iter().map(|s| s.0).max().unwrap_or(0);
    let grid = Grid {
        tempo: Bpm(120.0),
        meter,
        steps_per_beat,
        beats: (0..last / i64::from(steps_per_beat.max(1)) + 3)
            .map(|b| Seconds(b as f64 * beat.0))
            .collect(),
        ..Grid::none()
    };
    let place = |&(step, voice): &(i64, Voice)| Placed {
        hit: Hit {
            time: grid.time_of(Steps(step)).unwrap_or_default(),
            voice,
            level: Decibels(0.0),
            mark: None,
            grace: None,
            sure: 1.0,
        },
        step: Steps(step),
        late: Millis(0.0),
    };
    let mut placed: Vec<Placed> = strokes.iter().map(place).collect();
    placed.sort_by(|a, b| a.step.0.cmp(&b.step.0).then(a.hit.voice.cmp(&b.hit.voice)));
    cycles::find(&placed, &grid, &CycleOptions::default())
}

fn tell(music: &Music) -> serde_json::Value {
    let strokes: Vec<(i64, Voice)> = music
        .rows
        .iter()
        .flat_map(|(voice, row)| {
            let struck = row.bytes().enumerate().filter(|(_, letter)| *letter == b'x');
            struck.map(|(step, _)| (step as i64, *voice))
        })
        .collect();
    let found = find(music.meter, music.steps_per_beat, &strokes);
    let first = found.found.first().or(found.open.as_ref());
    serde_json::json!({
        "first": first.map_or(0, |c| c.length_steps),
        "grade": first.map(|c| c.grade),
        "crossing": found.found.iter().filter(|c| c.crosses_bar).collect::<Vec<_>>(),
    })
}

fn main() -> Result<(), Box<dyn Error>> {
    let all: Vec<Music> = serde_json::from_reader(io::stdin().lock())?;
    let told: Vec<serde_json::Value> = all.par_iter().map(tell).collect();
    serde_json::to_writer(io::stdout().lock(), &told)?;
    Ok(())
}
