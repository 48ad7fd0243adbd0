//! What holds for every recording: known grids are found, and changes of the hits change the grid accordingly.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::invented::{Invented, Part};
use super::{Grid, Meter, Placed, find, place};
use crate::names::Voice;
use crate::options::GridOptions;
use crate::units::{Bpm, Decibels, Seconds, Steps};
use crate::voices::Hit;

fn found(part: &Part, seed: u64) -> (Invented, Grid) {
    let invented = part.play(seed);
    let grid = find(&invented.hits, &GridOptions::default());
    (invented, grid)
}

fn hit(time: f64, voice: Voice) -> Hit {
    Hit {
        time: Seconds(time),
        voice,
        level: Decibels(-6.0),
        mark: None,
        grace: None,
        sure: 1.0,
    }
}

/// Share of `truth` that has one of `times` within 30 ms, and of `times` within the truth's stretch that are near.
pub(super) fn agreement(times: &[Seconds], truth: &[f64]) -> f64 {
    let (start, end) = (truth[0] - 0.05, truth[truth.len() - 1] + 0.05);
    let times: Vec<f64> = times
        .iter()
        .map(|t| t.0)
        .filter(|t| (start..=end).contains(t))
        .collect();
    let near = truth
        .iter()
        .filter(|t| times.iter().any(|x| (x - **t).abs() < 0.03))
        .count();
    2.0 * near as f64 / (truth.len() + times.len()) as f64
}

#[test]
fn grooves_of_many_tempi_and_meters_are_found() {
    let mut right = 0;
    let parts = [
        (76.0, 4, 4),
        (90.0, 4, 3),
        (104.0, 4, 4),
        (116.0, 4, 4),
        (120.0, 3, 4),
        (132.0, 4, 4),
        (140.0, 3, 2),
        (112.0, 5, 4),
        (96.0, 4, 6),
        (150.0, 4, 2),
    ];
    for (bpm, bar, steps) in parts {
        let bars = 40 / bar;
        let part = Part {
            bpm,
            bar,
            steps,
            bars,
            missing: 0.1,
            groove: true,
            ..Part::default()
        };
        let (truth, grid) = found(&part, (bpm * 10.0) as u64);
        let beats = agreement(&grid.beats, &truth.beats);
        let bars = agreement(&grid.downbeats(), &truth.downbeats);
        println!(
            "{bpm} {bar} beats x {steps}: {} {}, beats {beats:.2}, bars {bars:.2}",
            grid.tempo.0, grid.meter
        );
        right += usize::from(beats > 0.9 && bars > 0.9);
    }
    assert!(right >= 8, "{right} of 10");
}

#[test]
fn beats_follow_a_tempo_that_rises_by_a_fifth() {
    let part = Part {
        drift: 1.2,
        bars: 24,
        groove: true,
        ..Part::default()
    };
    let (truth, grid) = found(&part, 5);
    assert!(agreement(&grid.beats, &truth.beats) > 0.97, "{grid:?}");
}

#[test]
fn beats_go_on_through_a_pause_of_two_bars() {
    let part = Part {
        bars: 16,
        groove: true,
        ..Part::default()
    };
    let mut truth = part.play(6);
    let (from, to) = (truth.downbeats[8] - 0.05, truth.downbeats[10] - 0.05);
    truth.hits.retain(|h| h.time.0 < from || h.time.0 > to);
    let grid = find(&truth.hits, &GridOptions::default());
    assert!(agreement(&grid.beats, &truth.beats) > 0.95, "{grid:?}");
    assert!(agreement(&grid.downbeats(), &truth.downbeats) > 0.95, "{grid:?}");
}

#[test]
fn later_hits_give_the_same_grid_later() {
    let part = Part {
        groove: true,
        ..Part::default()
    };
    let (truth, grid) = found(&part, 7);
    let later: Vec<Hit> = truth
        .hits
        .iter()
        .map(|h| Hit {
            time: h.time + Seconds(3.21),
            ..*h
        })
        .collect();
    let moved = find(&later, &GridOptions::default());
    assert!(!grid.beats.is_empty() && grid.beats.len() == moved.beats.len());
    for (a, b) in grid.beats.iter().zip(&moved.beats) {
        assert!((b.0 - a.0 - 3.21).abs() < 0.002, "{a:?} {b:?}");
    }
}

#[test]
fn slower_hits_give_a_slower_tempo() {
    let part = Part {
        groove: true,
        ..Part::default()
    };
    let (truth, grid) = found(&part, 8);
    let slower: Vec<Hit> = truth
        .hits
        .iter()
        .map(|h| Hit {
            time: h.time * 1.07,
            ..*h
        })
        .collect();
    let slow = find(&slower, &GridOptions::default());
    assert!(
        (grid.tempo.0 / slow.tempo.0 - 1.07).abs() < 0.007,
        "{:?} {:?}",
        grid.tempo,
        slow.tempo
    );
}

#[test]
fn louder_hits_change_nothing() {
    let (truth, grid) = found(&Part::default(), 9);
    let louder: Vec<Hit> = truth
        .hits
        .iter()
        .map(|h| Hit {
            level: h.level + Decibels(-7.0),
            ..*h
        })
        .collect();
    let loud = find(&louder, &GridOptions::default());
    assert!(!grid.beats.is_empty() && grid.beats.len() == loud.beats.len());
    for (a, b) in grid.beats.iter().zip(&loud.beats) {
        assert!((a.0 - b.0).abs() < 1e-6, "{a:?} {b:?}");
    }
}

#[test]
fn silence_and_a_few_hits_have_no_grid_and_say_why() {
    for hits in [vec![], vec![hit(1.0, Voice::Kick), hit(1.5, Voice::Snare)]] {
        let grid = find(&hits, &GridOptions::default());
        assert!(grid.beats.is_empty() && grid.warnings.len() == 1, "{grid:?}");
        assert_eq!(place(&hits, &grid), vec![]);
    }
}

#[test]
fn scattered_hits_have_no_grid() {
    for seed in 0..6 {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        let mut hits: Vec<Hit> = (0..150)
            .map(|_| {
                hit(
                    dice.random_range(0.0..30.0),
                    [Voice::Kick, Voice::Snare][dice.random_range(0..2)],
                )
            })
            .collect();
        hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
        let grid = find(&hits, &GridOptions::default());
        assert!(
            grid.beats.is_empty(),
            "seed {seed}: {} sure {}",
            grid.tempo.0,
            grid.sure
        );
    }
}

#[test]
fn odd_hits_do_not_panic() {
    let odd = [f64::NAN, f64::INFINITY, -5.0, 0.0, 0.0, 1e-9, 3.0, 1e7];
    let hits: Vec<Hit> = odd.iter().map(|t| hit(*t, Voice::Kick)).collect();
    let grid = find(&hits, &GridOptions::default());
    place(&hits, &grid);
}

#[test]
fn hints_are_obeyed_even_against_the_recording() {
    let part = Part {
        groove: true,
        ..Part::default()
    };
    let truth = part.play(10);
    let meter = Some(Meter { count: 3, unit: 4 });
    let grid = find(
        &truth.hits,
        &GridOptions {
            meter,
            ..GridOptions::default()
        },
    );
    assert_eq!(grid.meter, Meter { count: 3, unit: 4 });
    let grid = find(
        &truth.hits,
        &GridOptions {
            tempo: Some(Bpm(60.0)),
            ..GridOptions::default()
        },
    );
    assert!((grid.tempo.0 / 60.0 - 1.0).abs() < 0.05, "{:?}", grid.tempo);
    let grid = find(
        &truth.hits,
        &GridOptions {
            steps_per_beat: Some(3),
            ..GridOptions::default()
        },
    );
    assert_eq!(grid.steps_per_beat, 3);
    let downbeat = Seconds(truth.beats[6]);
    let grid = find(
        &truth.hits,
        &GridOptions {
            downbeat: Some(downbeat),
            ..GridOptions::default()
        },
    );
    assert!(
        grid.downbeats().iter().any(|d| (d.0 - downbeat.0).abs() < 0.07),
        "{:?}",
        grid.downbeats()
    );
    assert!(!grid.warnings.is_empty());
}

#[test]
fn hits_placed_exactly_on_steps_come_back_to_them() {
    let (_, grid) = found(
        &Part {
            groove: true,
            ..Part::default()
        },
        11,
    );
    let steps: Vec<i64> = (-3..100).filter(|s| s % 7 != 2).collect();
    let hits: Vec<Hit> = steps
        .iter()
        .filter_map(|s| grid.time_of(Steps(*s)))
        .map(|t| hit(t.0, Voice::Snare))
        .collect();
    let placed: Vec<i64> = place(&hits, &grid).iter().map(|p| p.step.0).collect();
    assert_eq!(placed, steps);
}

#[test]
fn a_rushed_group_keeps_its_order_and_no_voice_takes_a_step_twice() {
    let grid = Grid {
        beats: (0..20).map(|i| Seconds(0.5 * f64::from(i))).collect(),
        ..Grid::none()
    };
    // Sixteenths that rush by up to 70 ms, more than half a step, and come back.
    let early = |i: f64| 0.07 * (-((i - 20.0) / 6.0f64).powi(2)).exp();
    let hits: Vec<Hit> = (0..40)
        .map(|i| hit(0.125 * f64::from(i) - early(f64::from(i)), Voice::Snare))
        .collect();
    let placed: Vec<Placed> = place(&hits, &grid);
    assert_eq!(
        placed.iter().map(|p| p.step.0).collect::<Vec<_>>(),
        (0..40).collect::<Vec<_>>()
    );
}

#[test]
fn a_voice_that_always_comes_late_keeps_its_steps_and_its_lateness() {
    let grid = Grid {
        beats: (0..20).map(|i| Seconds(0.5 * f64::from(i))).collect(),
        ..Grid::none()
    };
    let mut hits: Vec<Hit> = Vec::new();
    for i in 0..30 {
        hits.push(hit(0.125 * f64::from(i), Voice::Kick));
        hits.push(hit(0.125 * f64::from(i) + 0.03, Voice::Snare));
    }
    for pair in place(&hits, &grid).chunks(2) {
        assert_eq!(pair[0].step, pair[1].step);
        assert!((pair[1].late.0 - 30.0).abs() < 1.0);
    }
}
