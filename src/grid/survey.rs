//! Many invented parts over all meters, subdivisions and tempi, and how many of them are read right. Seeded.

use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::invented::Part;
use super::laws::agreement;
use super::{Grid, find};
use crate::names::Voice;
use crate::options::GridOptions;
use crate::units::{Decibels, Seconds};
use crate::voices::Hit;

/// A part that hands can play: tempo, bar and subdivision by chance, with 6 ms looseness, a drift of 1 to 5 % and a
/// tenth of the hits missing; accents and a kick mark the bar.
fn any_part(dice: &mut ChaCha8Rng) -> Part {
    let (bpm, steps) = loop {
        let bpm: f64 = dice.random_range(50.0..220.0);
        let steps: usize = *[2, 3, 4, 5, 6, 7, 8].choose(dice).expect("a choice");
        // Eleven strokes a second is what two hands keep up (TRADE 7) [M].
        let rate = bpm / 60.0 * steps as f64;
        if (3.0..=11.0).contains(&rate) {
            break (bpm, steps);
        }
    };
    let bar = *[2, 3, 4, 4, 4, 5, 6, 7].choose(dice).expect("a choice");
    let drift = 1.0 + dice.random_range(0.01..0.05) * if dice.random() { 1.0 } else { -1.0 };
    Part {
        bpm,
        bar,
        steps,
        bars: (60 / bar).max(8),
        missing: 0.1,
        drift,
        groove: dice.random(),
        accents: (5.0, 2.0),
        ..Part::default()
    }
}

#[test]
fn parts_of_all_meters_subdivisions_and_tempi_are_read_right() {
    let mut dice = ChaCha8Rng::seed_from_u64(21);
    let (mut beats, mut steps, mut bars) = (0, 0, 0);
    for seed in 0..200 {
        let part = any_part(&mut dice);
        let truth = part.play(seed);
        let grid = find(&truth.hits, &GridOptions::default());
        let right = agreement(&grid.beats, &truth.beats) > 0.9;
        let on_bars = agreement(&grid.downbeats(), &truth.downbeats) > 0.9;
        let step = 60.0 / grid.tempo.0 / f64::from(grid.steps_per_beat);
        let true_step = 60.0 / part.bpm / part.steps as f64;
        let on_steps = (step / true_step - 1.0).abs() < 0.06;
        if !(right && on_bars && on_steps) {
            println!(
                "seed {seed}: {:.0} bpm, {} beats x {}, groove {}: read as {:.0}, {} x {}, sure {:.2}: beats {right}, steps {on_steps}, bars {on_bars}",
                part.bpm,
                part.bar,
                part.steps,
                part.groove,
                grid.tempo.0,
                grid.meter,
                grid.steps_per_beat,
                grid.sure
            );
        }
        beats += usize::from(right);
        steps += usize::from(on_steps);
        bars += usize::from(on_bars);
    }
    println!("beats {beats}, steps {steps}, bars {bars} of 200");
    assert!(beats >= 194 && steps >= 194 && bars >= 180);
}

/// Eighths on a ride with kick and back beat, the second of each pair late by `ratio`, with 5 ms looseness.
fn swung(bpm: f64, ratio: f64, seed: u64) -> Vec<Hit> {
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let beat = 60.0 / bpm;
    let mut hits = Vec::new();
    let mut strike = |beats: f64, voice: Voice, level: f64| {
        let loose = (0..12).map(|_| dice.random::<f64>()).sum::<f64>() - 6.0;
        hits.push(Hit {
            time: Seconds(0.5 + beats * beat + 0.005 * loose),
            voice,
            level: Decibels(level),
            mark: None,
            grace: None,
            sure: 1.0,
        });
    };
    // A minute or two: at 3 : 1 and 150 bpm 0.05 of the ratio is 1.3 ms, so the mean must be surer than that.
    for i in 0..192 {
        let at = f64::from(i);
        strike(at, Voice::Ride, -8.0);
        strike(at + ratio / (1.0 + ratio), Voice::Ride, -11.0);
        strike(at, if i % 2 == 0 { Voice::Kick } else { Voice::Snare }, -4.0);
    }
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    hits
}

#[test]
fn swing_is_measured_and_written_as_straight_steps() {
    for (i, ratio) in [1.0, 1.1, 1.25, 1.5, 1.75, 2.0, 2.25, 2.5, 2.75, 3.0]
        .into_iter()
        .enumerate()
    {
        for bpm in [96.0, 120.0, 150.0] {
            let grid = find(&swung(bpm, ratio, i as u64), &GridOptions::default());
            let found = grid.swing.map_or(1.0, |s| s.ratio);
            assert!((found - ratio).abs() <= 0.05, "{bpm} bpm, {ratio}: {grid:?}");
            assert!(
                (grid.tempo.0 / bpm - 1.0).abs() < 0.02,
                "{bpm} bpm, {ratio}: {}",
                grid.tempo.0
            );
            assert!(
                ratio < 1.1 || grid.steps_per_beat == 2,
                "{bpm} bpm, {ratio}: {grid:?}"
            );
        }
    }
}

#[test]
fn a_swung_piece_has_no_late_voices() {
    let hits = swung(120.0, 2.0, 3);
    let grid: Grid = find(&hits, &GridOptions::default());
    let placed = super::place(&hits, &grid);
    let off = placed.iter().filter(|p| p.late.0.abs() > 20.0).count();
    assert!(!placed.is_empty() && off == 0, "{off} of {}", placed.len());
}

#[test]
fn near_subdivisions_are_told_apart() {
    let mut wrong = Vec::new();
    for steps in [5, 6, 8] {
        for bpm in [70.0, 85.0, 100.0, 120.0, 140.0] {
            let part = Part {
                bpm,
                steps,
                loose: 0.008,
                groove: true,
                bars: 12,
                ..Part::default()
            };
            let grid = find(&part.play(steps as u64).hits, &GridOptions::default());
            let step = 60.0 / grid.tempo.0 / f64::from(grid.steps_per_beat);
            if (step * bpm * steps as f64 / 60.0 - 1.0).abs() > 0.03 {
                wrong.push((steps, bpm, grid.tempo.0, grid.steps_per_beat));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:?}");
}

#[test]
fn beats_that_are_divided_otherwise_are_listed() {
    let beat = 0.5;
    let mut hits = Vec::new();
    for i in 0..48 {
        let steps = if [10, 11, 29].contains(&i) { 3 } else { 4 };
        for k in 0..steps {
            let voice = match (k, i % 2) {
                (0, 0) => Voice::Kick,
                (0, _) => Voice::Snare,
                _ => Voice::HatClosed,
            };
            hits.push(Hit {
                time: Seconds(0.5 + beat * (f64::from(i) + f64::from(k) / f64::from(steps))),
                voice,
                level: Decibels(-6.0),
                mark: None,
                grace: None,
                sure: 1.0,
            });
        }
    }
    let grid = find(&hits, &GridOptions::default());
    let found: Vec<(f64, u32)> = grid
        .uneven
        .iter()
        .map(|u| ((grid.beats[u.beat].0 * 100.0).round() / 100.0, u.steps))
        .collect();
    assert_eq!(grid.steps_per_beat, 4);
    assert_eq!(found, [(5.5, 3), (6.0, 3), (15.0, 3)]);
    let late = super::place(&hits, &grid)
        .iter()
        .map(|p| p.late.0.abs())
        .fold(0.0, f64::max);
    assert!(late < 8.0, "{late}");
}

#[test]
fn tapped_beats_are_obeyed_and_carried_on() {
    let part = Part {
        groove: true,
        drift: 1.08,
        bars: 16,
        ..Part::default()
    };
    let truth = part.play(31);
    // Loose taps from the middle of the piece, every eighth one forgotten.
    let taps = truth.beats[16..40].iter().enumerate().filter(|(i, _)| i % 8 != 5);
    let beats = taps
        .map(|(i, t)| Seconds(t + 0.02 * f64::from(i as u32 * 7 % 5) - 0.04))
        .collect();
    let hints = GridOptions {
        beats,
        ..GridOptions::default()
    };
    let grid = find(&truth.hits, &hints);
    assert!(agreement(&grid.beats, &truth.beats) > 0.97, "{grid:?}");
}

#[test]
#[ignore = "tells how long ten minutes take"]
fn ten_minutes_are_read_in_so_long() {
    let part = Part {
        bpm: 120.0,
        bars: 300,
        ..Part::default()
    };
    let truth = part.play(3);
    let clock = std::time::Instant::now();
    let grid = find(&truth.hits, &GridOptions::default());
    println!(
        "{} hits in {:?}, {} beats",
        truth.hits.len(),
        clock.elapsed(),
        grid.beats.len()
    );
}
