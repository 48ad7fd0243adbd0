//! Makes the practice that the judge of readings is fitted to: performances and invented parts whose grid is known,
//! every row of beats that the program would weigh for them, and which of them are right. Seeded; every third
//! performance and every third invented part is marked as held out. `fit.py` beside it reads the file.
//!
//!     GROOVES=folder-of-the-groove-midi-dataset PRACTICE=file cargo test --release --lib make_practice -- --ignored

mod parts;

use std::io::Write;
use std::path::Path;

use rayon::prelude::*;

use super::events::gather;
use super::pulse::Pulse;
use super::reading::{BARS, Bars, pulse_marks};
use super::search::rows;
use super::smooth::places;
use crate::options::GridOptions;
use parts::{Example, Groove, example, grooves};

/// Kinds of material, told apart when the result is measured.
const KINDS: [&str; 4] = ["played", "played, altered", "invented groove", "invented solo"];

fn number(name: &str, usual: usize) -> usize {
    std::env::var(name)
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(usual)
}

#[test]
#[ignore = "takes minutes and the data set; run it to fit the judge anew"]
fn make_practice() {
    let folder = std::env::var("GROOVES").expect("GROOVES names the data set's folder");
    let path = std::env::var("PRACTICE").expect("PRACTICE names the file to write");
    let grooves = grooves(Path::new(&folder));
    let first = number("FIRST", 0);
    let file = std::fs::File::create(path).expect("the practice can be written");
    let file = std::sync::Mutex::new(std::io::BufWriter::new(file));
    let make = |seed: usize| {
        let (bytes, reached) = practice(&grooves, seed as u64)?;
        let mut file = file.lock().expect("no writer failed");
        file.write_all(&bytes).expect("the practice can be written");
        Some(reached)
    };
    let reached: Vec<u8> = (first..first + number("EXAMPLES", 3000))
        .into_par_iter()
        .filter_map(make)
        .collect();
    let count = |level: u8| reached.iter().filter(|r| **r >= level).count();
    println!(
        "{} examples; right beats are among the readings of {}, right bars too of {}",
        count(0),
        count(1),
        count(2)
    );
}

/// One example: whole numbers for its seed, events, rows of beats, whether it is held out and its kind; the events;
/// then for every row its beats, steps, marks and places, and for every reading its marks and how right it is. All
/// little-endian, 32 bits each. Also how right its best reading is.
fn practice(grooves: &[Groove], seed: u64) -> Option<(Vec<u8>, u8)> {
    let example = example(grooves, seed)?;
    let events = gather(&example.hits);
    let rows = rows(&events, &GridOptions::default());
    let pulses: Vec<Pulse> = rows
        .into_iter()
        .map(|beats| Pulse::new(&events, beats, None))
        .collect();
    let held_out = example
        .source
        .map_or(seed.is_multiple_of(3), |s| s.is_multiple_of(3));
    let kind = KINDS.iter().position(|k| *k == example.kind).unwrap_or(0);
    let head = [
        seed as usize,
        events.len(),
        pulses.len(),
        usize::from(held_out),
        kind,
    ];
    let mut bytes: Vec<u8> = head.iter().flat_map(|n| (*n as u32).to_le_bytes()).collect();
    let struck = events.iter().flat_map(|e| e.struck.into_iter().chain([e.accent]));
    bytes.extend(struck.flat_map(|x| (x as f32).to_le_bytes()));
    let mut best = 0;
    for pulse in &pulses {
        bytes.extend(
            [pulse.beats.len() as u32, pulse.steps]
                .iter()
                .flat_map(|n| n.to_le_bytes()),
        );
        let mut values = pulse_marks(pulse);
        values.extend(places(&events, &pulse.beats).iter().map(|p| *p as f32));
        values.extend(pulse.lively.iter().map(|l| f32::from(u8::from(*l))));
        values.extend(pulse.heard.iter().flatten().map(|h| *h as f32));
        let beats = f_measure(&pulse.beats, &example.beats) >= 0.9;
        for bar in BARS {
            let bars = Bars::new(pulse, bar);
            for first in 0..bar {
                let right = if beats {
                    1 + u8::from(ones_right(pulse, bar, first, &example))
                } else {
                    0
                };
                best = best.max(right);
                values.extend(bars.marks(first));
                values.push(f32::from(right));
            }
        }
        bytes.extend(values.iter().flat_map(|x| x.to_le_bytes()));
    }
    Some((bytes, best))
}

/// Whether nine of ten beats one are right within 70 ms.
fn ones_right(pulse: &Pulse, bar: usize, first: usize, example: &Example) -> bool {
    let ones: Vec<f64> = pulse.beats.iter().skip(first).step_by(bar).copied().collect();
    f_measure(&ones, &example.downbeats) >= 0.9
}

fn f_measure(found: &[f64], truth: &[f64]) -> f64 {
    let (Some(start), Some(end)) = (truth.first(), truth.last()) else {
        return 0.0;
    };
    let found: Vec<f64> = found
        .iter()
        .copied()
        .filter(|t| *t > start - 0.1 && *t < end + 0.1)
        .collect();
    let near = |t: &&f64| {
        let i = found.partition_point(|f| *f < **t - 0.07);
        found.get(i).is_some_and(|f| *f <= **t + 0.07)
    };
    2.0 * truth.iter().filter(near).count() as f64 / (truth.len() + found.len()).max(1) as f64
}
