//! Enters the pipeline at the limbs, with the true hits of annotated solos, and prints how many limbs and cells come out
//! right: `cargo run --release --example stickings -- CLIP.json …`.
//!
//! A clip's `hits` are [time, voice, velocity, layer, limb, step]; `cycles` lie between times; `stickings` are
//! [name, permutation, first step, step after the last] with names `three` to `six`.

#![allow(clippy::print_stdout, reason = "it is what the program is for")]

use std::error::Error;

use overbar::cycles::{Carrier, Cycle, Home, Moment, Resolved, Verdict};
use overbar::grid::{Grid, Meter};
use overbar::options::StickingOptions;
use overbar::stickings::{Found, Played, find};
use overbar::units::{Bits, Bpm, Seconds, Steps};
use serde_json::Value;

/// Velocities from here on are accents.
const ACCENT: f64 = 104.0;

struct Clip {
    grid: Grid,
    cycles: Vec<Cycle>,
    hits: Vec<(Played, String)>,
    planted: Vec<(i64, i64, i64)>,
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_default()
}

fn read(file: &str) -> Result<Clip, Box<dyn Error>> {
    let truth: Value = serde_json::from_str(&std::fs::read_to_string(file)?)?;
    let whole = |value: &Value| value.as_u64().unwrap_or(4) as u32;
    let steps: Vec<f64> = list(&truth["steps"]).iter().map(number).collect();
    let grid = Grid {
        tempo: Bpm(number(&truth["bpm"])),
        meter: Meter {
            count: whole(&truth["meter"][0]),
            unit: whole(&truth["meter"][1]),
        },
        steps_per_beat: whole(&truth["steps_per_beat"]),
        beats: list(&truth["beats"])
            .iter()
            .map(|beat| Seconds(number(beat)))
            .collect(),
        ..Grid::none()
    };
    let nearest = |time: f64| {
        let apart = |a: &usize, b: &usize| (steps[*a] - time).abs().total_cmp(&(steps[*b] - time).abs());
        (0..steps.len()).min_by(apart).unwrap_or(0) as i64
    };
    let moment = |step: i64| {
        let place = grid.place_of(Steps(step));
        Moment {
            bar: place.bar,
            beat: place.beat,
            step: place.step,
            time: grid.time_of(Steps(step)).unwrap_or_default(),
        }
    };
    let cycle = |planted: &Value| Cycle {
        length_steps: whole(&planted["steps"]),
        length_notes: whole(&planted["notes"]),
        length_seconds: Seconds(number(&planted["seconds"])),
        crosses_bar: planted["crosses_bar"] == true,
        figure: Vec::new(),
        voices: Vec::new(),
        start: moment(nearest(number(&planted["start"]))),
        end: moment(nearest(number(&planted["end"])) + 1),
        repeats: 1,
        kept: 1.0,
        broken: Vec::new(),
        bits: Bits(0.0),
        chance: 0.0,
        home_bars: 1,
        home_cycles: 1,
        carrier: Carrier::Voices,
        grade: Verdict::Certain,
        home: Home::default(),
        resolved: planted["resets_every_bars"].as_u64().map(|bars| Resolved {
            every_bars: bars as u32,
        }),
    };
    let cycles: Vec<Cycle> = list(&truth["cycles"]).iter().map(cycle).collect();
    let mut hits = Vec::new();
    for hit in list(&truth["hits"]) {
        let limb = hit[4].as_str().unwrap_or_default().to_owned();
        // Of two figures the first is the left side's.
        let figure = usize::from(cycles.len() > 1 && limb.starts_with('R'));
        let played = Played {
            time: Seconds(number(&hit[0])),
            step: hit[5].as_i64().map(Steps),
            voice: hit[1].as_str().unwrap_or_default().parse()?,
            accent: number(&hit[2]) >= ACCENT,
            figure: (hit[3] == "ostinato").then_some(figure),
            pinned: None,
        };
        hits.push((played, limb));
    }
    hits.sort_by(|a, b| a.0.time.0.total_cmp(&b.0.time.0));
    let length = |name: &Value| match name.as_str() {
        Some("three") => 3,
        Some("four") => 4,
        Some("five") => 5,
        _ => 6,
    };
    let planted = list(&truth["stickings"]).iter().map(|planted| {
        let step = |at: usize| planted[at].as_i64().unwrap_or_default();
        (length(&planted[0]), step(2), step(3))
    });
    Ok(Clip {
        planted: planted.collect(),
        grid,
        cycles,
        hits,
    })
}

/// Steps of planted cells on which a cell of the same length was found, begun on the same steps, and all of them.
fn cells(clip: &Clip, found: &Found) -> (usize, usize, usize) {
    let cells = &found.stickings.vocabulary;
    let runs: Vec<(i64, [i64; 2])> = cells
        .iter()
        .flat_map(|cell| cell.r#where.iter().map(|run| (i64::from(cell.steps), run.steps)))
        .collect();
    let (mut long, mut begun, mut all) = (0, 0, 0);
    for (length, from, to) in &clip.planted {
        for step in *from..*to {
            all += 1;
            let here = runs
                .iter()
                .find(|(own, [a, b])| own == length && (*a..*b).contains(&step));
            long += usize::from(here.is_some());
            begun += usize::from(here.is_some_and(|(_, [a, _])| (a - from) % length == 0));
        }
    }
    (long, begun, all)
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut sums = [0; 5];
    for file in std::env::args().skip(1) {
        let clip = read(&file)?;
        let hits: Vec<Played> = clip.hits.iter().map(|(hit, _)| *hit).collect();
        let found = find(&hits, &clip.cycles, &clip.grid, &StickingOptions::default());
        let same = |(limb, (_, truth)): &(&Option<_>, &(Played, String))| {
            limb.is_some_and(|limb: overbar::names::Limb| limb.name() == truth)
        };
        let right = found.limbs.iter().zip(&clip.hits).filter(same).count();
        let (long, begun, steps) = cells(&clip, &found);
        let letters: Vec<&str> = found
            .stickings
            .vocabulary
            .iter()
            .map(|cell| cell.cell.as_str())
            .collect();
        println!(
            "{file}: limbs {right} of {}, cells {long} ({begun} begun right) of {steps} steps: {}",
            hits.len(),
            letters.join(", ")
        );
        for (sum, value) in sums.iter_mut().zip([right, hits.len(), long, begun, steps]) {
            *sum += value;
        }
    }
    let [right, hits, long, begun, steps] = sums.map(|sum| sum as f64);
    println!(
        "limbs {:.3}, cells {:.3}, begun right {:.3}",
        right / hits,
        long / steps,
        begun / steps
    );
    Ok(())
}
