//! Looks for figures in rows of strokes, for checks from outside and for surveys.
//!
//!     figures < ROWS.json
//!     cargo run --release --example figures -- FOLDER
//!
//! In, as JSON on standard input: a list of {meter: [n, d], steps_per_beat, rows: {voice: "x..x.", …}}. Out, as JSON: for
//! each {first: the length of the best figure or 0, grade, lengths: [[steps, bits], …]}.
//!
//! With a folder of MIDI files instead, played parts named like `7_funk_95_beat_4-4.mid` whose first bar begins at 0 (as
//! those of the Groove MIDI Dataset: Gillick et al., ICML 2019): every part of eight bars and more is laid on sixteenths or
//! on sixteenth-triplets, whichever its strokes lie nearer to, and every figure that crosses the bar is told.

#![allow(clippy::print_stdout, reason = "it is what the program is for")]

use std::collections::BTreeMap;
use std::error::Error;
use std::io;
use std::path::{Path, PathBuf};

use overbar::cycles::{self, Cycles};
use overbar::grid::{Grid, Meter, Placed};
use overbar::names::Voice;
use overbar::notation::read;
use overbar::options::CycleOptions;
use overbar::units::{Bpm, Decibels, Millis, Seconds, Steps};
use overbar::voices::Hit;
use serde::Deserialize;

#[derive(Deserialize)]
struct Music {
    meter: Meter,
    steps_per_beat: u32,
    rows: BTreeMap<Voice, String>,
}

/// Bars that a played part needs for an ostinato.
const BARS: i64 = 8;

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

fn rows() -> Result<(), Box<dyn Error>> {
    let all: Vec<Music> = serde_json::from_reader(io::stdin().lock())?;
    let told = all.iter().map(|music| {
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
            "lengths": found.lengths.iter().map(|l| (l.steps, l.bits)).collect::<Vec<_>>(),
        })
    });
    serde_json::to_writer(io::stdout().lock(), &told.collect::<Vec<_>>())?;
    Ok(())
}

fn parts(folder: &Path, into: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            parts(&path, into)?;
        } else if path.extension().is_some_and(|e| e == "mid") {
            into.push(path);
        }
    }
    into.sort();
    Ok(())
}

/// The meter that a part's name ends with.
fn meter(part: &Path) -> Option<Meter> {
    let name = part.file_stem()?.to_str()?;
    name.rsplit('_').next()?.replace('-', "/").parse().ok()
}

fn played(folder: &Path) -> Result<(), Box<dyn Error>> {
    let mut files = Vec::new();
    parts(folder, &mut files)?;
    let (mut long, mut certain, mut likely) = (0, 0, 0);
    for file in &files {
        let Some(meter) = meter(file) else { continue };
        let notes = read::read(file)?.notes;
        let quarter = f64::from(meter.unit) / 4.0;
        let beats: Vec<f64> = notes
            .iter()
            .map(|n| n.quarters * quarter * f64::from(meter.beats_per_bar()) / f64::from(meter.count))
            .collect();
        let off = |per: f64| {
            beats
                .iter()
                .map(|b| (b * per - (b * per).round()).abs() / per.sqrt())
                .sum::<f64>()
        };
        let per: u32 = if off(6.0) * 1.2 < off(4.0) { 6 } else { 4 };
        let bar = i64::from(per * meter.beats_per_bar());
        let strokes: Vec<(i64, Voice)> = beats
            .iter()
            .zip(&notes)
            .map(|(beat, note)| ((beat * f64::from(per)).round() as i64, note.voice))
            .collect();
        if strokes.iter().map(|s| s.0).max().unwrap_or(0) < BARS * bar {
            continue;
        }
        long += 1;
        for cycle in find(meter, per, &strokes).found.iter().filter(|c| c.crosses_bar) {
            certain += usize::from(cycle.grade == cycles::Verdict::Certain);
            likely += usize::from(cycle.grade == cycles::Verdict::Likely);
            let voices: Vec<&str> = cycle.voices.iter().map(|v| v.name()).collect();
            let figure: Vec<u32> = cycle.figure.iter().map(|n| n.step).collect();
            println!(
                "{}: {} of {} steps in bars of {bar}, steps {figure:?} of {}, bar {} to {}, {:.0} % there, {:.0} bits, chance {:.3}",
                file.file_name().unwrap_or_default().to_string_lossy(),
                cycle.grade.name(),
                cycle.length_steps,
                voices.join(" and "),
                cycle.start.bar,
                cycle.end.bar,
                100.0 * cycle.kept,
                cycle.bits.0,
                cycle.chance
            );
        }
    }
    println!(
        "{} parts, {long} of {BARS} bars and more: {certain} certain, {likely} likely",
        files.len()
    );
    Ok(())
}

fn main() -> Result<(), Box<dyn Error>> {
    match std::env::args_os().nth(1) {
        Some(folder) => played(Path::new(&folder)),
        None => rows(),
    }
}
