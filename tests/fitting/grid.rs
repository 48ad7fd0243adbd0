//! Fits the weights of a reading's marks to performances and invented parts whose grid is known, by maximum
//! likelihood of the true readings among all that are weighed (a log-linear model, gradient ascent with a quadratic
//! price on the weights). Seeded; prints the table for `src/grid/weights.rs`.
//!
//!     GROOVES=folder-of-the-groove-midi-dataset cargo test --release --lib fit_weights -- --ignored --nocapture
//!
//! Performances: Groove MIDI Dataset (Gillick, Roberts, Engel, Eck, Bamman, ICML 2019), CC BY 4.0: bar one is at time
//! 0, tempo and meter stand in its `info.csv`. As nearly all are in 4/4, beats are left out of or played twice in every bar of
//! some, which gives bars of 3, 5 and 7. Hits are degraded as a listener's are.

use std::path::Path;

use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::events::gather;
use super::invented::Part;
use super::reading::{MARKS, Marks, Reading};
use super::search::readings;
use crate::names::Voice;
use crate::options::GridOptions;
use crate::units::{Decibels, Seconds};
use crate::voices::Hit;

/// Hits with what is known of their grid.
struct Example {
    hits: Vec<Hit>,
    beats: Vec<f64>,
    downbeats: Vec<f64>,
}

/// Length of an excerpt in seconds.
const EXCERPT: f64 = 22.0;

#[test]
#[ignore = "takes minutes and the data set; run it to fit the weights anew"]
fn fit_weights() {
    let folder = std::env::var("GROOVES").expect("GROOVES names the data set's folder");
    let count: usize = std::env::var("EXAMPLES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(600);
    let mut dice = ChaCha8Rng::seed_from_u64(1);
    let grooves = grooves(Path::new(&folder));
    let mut sets = Vec::new();
    for i in 0..count {
        let example = if i % 3 == 2 {
            invented(&mut dice)
        } else {
            played(&grooves, &mut dice)
        };
        let Some(example) = example.filter(|e| e.hits.len() >= 40) else {
            continue;
        };
        let hits = degraded(example.hits.clone(), &mut dice);
        let set: Vec<(Marks, bool)> = readings(&gather(&hits), &GridOptions::default())
            .iter()
            .map(|r| (r.marks, right(r, &example)))
            .collect();
        sets.push(set);
    }
    if let Ok(path) = std::env::var("DUMP") {
        dump(&sets, Path::new(&path));
    }
    let reachable = sets.iter().filter(|s| s.iter().any(|(_, right)| *right)).count();
    println!(
        "{} examples, the truth is among the readings of {reachable}",
        sets.len()
    );
    let weights = ascend(&sets);
    println!("{:?}", weights.map(|w| (w * 100.0).round() / 100.0));
}

fn dump(sets: &[Vec<(Marks, bool)>], path: &Path) {
    let mut text = String::new();
    for (i, set) in sets.iter().enumerate() {
        for (marks, right) in set {
            let row: Vec<String> = marks.iter().map(|m| format!("{m:.4}")).collect();
            text += &format!("{i} {} {}\n", u8::from(*right), row.join(" "));
        }
    }
    std::fs::write(path, text).expect("the dump can be written");
}

/// Maximises the mean log share of the right readings.
fn ascend(sets: &[Vec<(Marks, bool)>]) -> Marks {
    let mut weights = super::weights::WEIGHTS;
    let (mut first, mut second) = ([0.0; MARKS], [0.0; MARKS]);
    for round in 1..=600 {
        let mut slope = weights.map(|w| -0.0005 * w);
        for set in sets.iter().filter(|s| s.iter().any(|(_, right)| *right)) {
            let score = |m: &Marks| m.iter().zip(&weights).map(|(a, b)| a * b).sum::<f64>();
            let scores: Vec<f64> = set.iter().map(|(m, _)| score(m)).collect();
            let top = scores.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let shares: Vec<f64> = scores.iter().map(|s| (s - top).exp()).collect();
            let all: f64 = shares.iter().sum();
            let right: f64 = shares
                .iter()
                .zip(set)
                .filter(|(_, (_, r))| *r)
                .map(|(s, _)| s)
                .sum::<f64>()
                + 1e-12;
            for (share, (marks, is_right)) in shares.iter().zip(set) {
                let pull = share * f64::from(*is_right) / right - share / all;
                for (s, m) in slope.iter_mut().zip(marks) {
                    *s += pull * m / sets.len() as f64;
                }
            }
        }
        // Adam (Kingma and Ba, ICLR 2015), because the marks differ in scale.
        for k in 0..MARKS {
            first[k] = 0.9 * first[k] + 0.1 * slope[k];
            second[k] = 0.99 * second[k] + 0.01 * slope[k] * slope[k];
            let (a, b) = (
                first[k] / (1.0 - 0.9f64.powi(round)),
                second[k] / (1.0 - 0.99f64.powi(round)),
            );
            weights[k] += 0.05 * a / (b.sqrt() + 1e-8);
        }
    }
    weights
}

/// Whether nine of ten beats and beats one of a reading are right, within 70 ms.
fn right(reading: &Reading, example: &Example) -> bool {
    let ones: Vec<f64> = reading
        .beats
        .iter()
        .skip(reading.first)
        .step_by(reading.bar)
        .copied()
        .collect();
    f_measure(&reading.beats, &example.beats) >= 0.9 && f_measure(&ones, &example.downbeats) >= 0.9
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
    let near = |t: &&f64| found.iter().any(|f| (f - **t).abs() <= 0.07);
    2.0 * truth.iter().filter(near).count() as f64 / (truth.len() + found.len()).max(1) as f64
}

/// A listener's hits: some missing, some added, some wrongly named, none quite in time.
fn degraded(mut hits: Vec<Hit>, dice: &mut ChaCha8Rng) -> Vec<Hit> {
    let (start, end) = (
        hits.first().map_or(0.0, |h| h.time.0),
        hits.last().map_or(1.0, |h| h.time.0),
    );
    let added = hits.len() / 30;
    hits.retain(|_| dice.random::<f64>() > 0.05);
    for hit in &mut hits {
        hit.time.0 +=
            0.003 * (dice.random::<f64>() + dice.random::<f64>() + dice.random::<f64>() - 1.5) * 2.0;
        hit.level.0 += dice.random_range(-2.0..2.0);
        if dice.random::<f64>() < 0.1 {
            hit.voice = *Voice::ALL.choose(dice).expect("there are voices");
        }
    }
    for _ in 0..added {
        let voice = *Voice::ALL.choose(dice).expect("there are voices");
        let time = Seconds(start + dice.random::<f64>() * (end - start));
        hits.push(Hit {
            time,
            voice,
            level: Decibels(-15.0),
            mark: None,
            grace: None,
            sure: 1.0,
        });
    }
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    hits
}

fn invented(dice: &mut ChaCha8Rng) -> Option<Example> {
    let bar = *[4, 4, 4, 4, 4, 4, 3, 3, 5, 7].choose(dice)?;
    let bpm = dice.random_range(75.0..165.0);
    let steps = if bpm < 105.0 {
        *[4, 6, 6, 3].choose(dice)?
    } else {
        *[4, 4, 4, 3].choose(dice)?
    };
    let bars = ((EXCERPT * bpm / 60.0 / bar as f64) as usize).max(2);
    let part = Part {
        bpm,
        bar,
        steps,
        bars,
        groove: dice.random::<f64>() < 0.25,
        ..Part::default()
    };
    let played = part.play(dice.random());
    Some(Example {
        hits: played.hits,
        beats: played.beats,
        downbeats: played.downbeats,
    })
}

/// A performance: hits, beats a minute, beats in a bar.
struct Groove {
    hits: Vec<Hit>,
    bpm: f64,
    bar: usize,
}

/// An excerpt of a performance, from anywhere in it; in a third of them every bar gets another number of beats.
fn played(grooves: &[Groove], dice: &mut ChaCha8Rng) -> Option<Example> {
    let groove = grooves.choose(dice)?;
    let beat = 60.0 / groove.bpm;
    // Where each beat of a bar comes from.
    let order: Vec<usize> = match (groove.bar, dice.random_range(0..12)) {
        (4, 0) => vec![0, 1, 2],
        (4, 1) => vec![0, 2, 3],
        (4, 2) => vec![0, 1, 2, 3, 2],
        (4, 3) => vec![0, 1, 2, 3, 1, 2, 3],
        (bar, _) => (0..bar).collect(),
    };
    let last = groove.hits.last()?.time.0;
    let bars = (last / beat / groove.bar as f64).ceil() as usize;
    let mut hits = Vec::new();
    let count = bars * order.len();
    for to in 0..count {
        let from = (to / order.len() * groove.bar + order[to % order.len()]) as f64 * beat;
        let inside = groove
            .hits
            .iter()
            .filter(|h| h.time.0 >= from - 0.2 * beat && h.time.0 < from + 0.8 * beat);
        hits.extend(inside.map(|h| Hit {
            time: Seconds(h.time.0 - from + to as f64 * beat),
            ..*h
        }));
    }
    let length = count as f64 * beat;
    let start = if dice.random::<f64>() < 0.3 {
        0.0
    } else {
        dice.random::<f64>() * (length - EXCERPT).max(0.0)
    };
    let inside = |t: f64| t >= start - 0.01 && t < start + EXCERPT;
    hits.retain(|h| inside(h.time.0));
    let times = |every: usize| {
        (0..=count)
            .step_by(every)
            .map(|i| i as f64 * beat)
            .filter(|t| inside(*t))
            .collect()
    };
    let end = hits.last()?.time.0;
    let mut beats: Vec<f64> = times(1);
    beats.retain(|t| *t <= end);
    Some(Example {
        beats,
        downbeats: times(order.len()),
        hits,
    })
}

/// All performances of at least 20 s.
fn grooves(folder: &Path) -> Vec<Groove> {
    let info = std::fs::read_to_string(folder.join("info.csv")).expect("info.csv can be read");
    let groove = |line: &str| {
        let columns: Vec<&str> = line.split(',').collect();
        let bpm: f64 = columns.get(4)?.parse().ok()?;
        let bar: usize = columns.get(6)?.split('-').next()?.parse().ok()?;
        let hits = midi_hits(&std::fs::read(folder.join(columns.get(7)?)).ok()?, bpm)?;
        let long = hits.last()?.time.0 - hits.first()?.time.0 >= 20.0;
        (long && columns.get(6)?.ends_with("-4")).then_some(Groove { hits, bpm, bar })
    };
    info.lines().skip(1).filter_map(groove).collect()
}

fn midi_hits(bytes: &[u8], bpm: f64) -> Option<Vec<Hit>> {
    let file = midly::Smf::parse(bytes).ok()?;
    let midly::Timing::Metrical(per_beat) = file.header.timing else {
        return None;
    };
    let tick = 60.0 / bpm / f64::from(per_beat.as_int());
    let mut hits = Vec::new();
    for track in &file.tracks {
        let mut now = 0.0;
        for event in track {
            now += f64::from(event.delta.as_int()) * tick;
            let midly::TrackEventKind::Midi {
                message: midly::MidiMessage::NoteOn { key, vel },
                ..
            } = event.kind
            else {
                continue;
            };
            if let Some(voice) = pad(key.as_int()).filter(|_| vel.as_int() > 0) {
                let level = 20.0 * (f64::from(vel.as_int()) / 127.0).log10();
                hits.push(Hit {
                    time: Seconds(now),
                    voice,
                    level: Decibels(level),
                    mark: None,
                    grace: None,
                    sure: 1.0,
                });
            }
        }
    }
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    Some(hits)
}

/// The voice of an electronic kit's pad, as the data set's notes give them.
fn pad(key: u8) -> Option<Voice> {
    Some(match key {
        36 => Voice::Kick,
        38 | 40 => Voice::Snare,
        37 => Voice::CrossStick,
        48 | 50 => Voice::TomHigh,
        45 | 47 => Voice::TomMid,
        43 | 58 => Voice::TomFloor,
        42 | 22 => Voice::HatClosed,
        46 | 26 => Voice::HatOpen,
        44 => Voice::HatFoot,
        49 | 55 => Voice::Crash,
        52 | 57 => Voice::Crash2,
        51 | 59 => Voice::Ride,
        53 => Voice::RideBell,
        _ => return None,
    })
}
