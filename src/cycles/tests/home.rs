//! The staircase and the ways to resolve: the published-by-hand table of five over twenty-four [=], and laws.

use super::grid;
use crate::cycles::{Home, Round};
use crate::grid::Meter;
use crate::units::Steps;

fn round(length: u32, struck: &[u32], steps: i64) -> Round<'_> {
    Round {
        length,
        struck,
        span: (Steps(0), Steps(steps)),
        anew: None,
    }
}

#[test]
fn five_on_sixteenth_triplets_walks_down_the_staircase_one_step_a_cycle() {
    let grid = grid(Meter::COMMON, 6, 24 * 8);
    let home = Home::of(&round(5, &[1, 2, 3, 4, 5], 24 * 8), &grid, 8);
    let told: Vec<String> = home
        .stairs
        .iter()
        .map(|s| {
            let starts: Vec<String> = s
                .starts
                .iter()
                .map(|p| format!("{}.{}", p.beat, p.step))
                .collect();
            starts.join(" ")
        })
        .collect();
    assert_eq!(
        told,
        [
            "1.1 1.6 2.5 3.4 4.3",
            "1.2 2.1 2.6 3.5 4.4",
            "1.3 2.2 3.1 3.6 4.5",
            "1.4 2.3 3.2 4.1 4.6",
            "1.5 2.4 3.3 4.2"
        ]
    );
    let on_one: Vec<Option<u32>> = home.stairs.iter().map(|s| s.note_on_one).collect();
    assert_eq!(on_one, [Some(1), Some(5), Some(4), Some(3), Some(2)]);
    assert_eq!((home.bars, home.cycles, home.with_phrase_bars), (5, 24, 40));
    assert!((home.seconds.0 - 20.0 * grid.tempo.beat().0).abs() < 1e-9);
    // One bar as 5+5+5+5+4 [C].
    let bar = &home.ways[0];
    assert_eq!(
        (bar.phrase_bars, bar.whole_cycles, bar.last_steps, bar.change),
        (1, 4, 4, -1)
    );
    // Eight bars of 24 are 38 cycles and two steps more: the last cycle has seven.
    let eight = home.ways.iter().find(|w| w.phrase_bars == 8).unwrap();
    assert_eq!((eight.whole_cycles, eight.last_steps, eight.change), (37, 7, 2));
}

#[test]
fn every_way_fills_its_phrase_and_changes_half_a_cycle_at_most() {
    for length in 2..40 {
        for (meter, per_beat) in [
            (Meter::COMMON, 4),
            (Meter::COMMON, 6),
            (Meter { count: 7, unit: 8 }, 3),
        ] {
            let grid = grid(meter, per_beat, 1000);
            let home = Home::of(&round(length, &[1], 1000), &grid, 8);
            for way in &home.ways {
                let bar = grid.steps_per_bar();
                let last = if way.last_steps == 0 { 0 } else { way.last_steps };
                assert_eq!(
                    way.whole_cycles * length + last,
                    way.phrase_bars * bar,
                    "{length}: {way:?}"
                );
                let short = length > way.phrase_bars * bar;
                assert!(
                    short || 2 * way.change.unsigned_abs() <= u64::from(length),
                    "{length}: {way:?}"
                );
            }
        }
    }
}

#[test]
fn a_note_that_rests_on_beat_one_is_none() {
    let grid = grid(Meter::COMMON, 4, 16 * 8);
    let home = Home::of(&round(5, &[1, 3], 16 * 8), &grid, 8);
    let on_one: Vec<_> = home
        .stairs
        .iter()
        .map(|s| (s.step_on_one, s.note_on_one))
        .collect();
    // Sixteen is one more than three fives: beat one moves one step on in the figure from bar to bar.
    let expected = [(1, Some(1)), (2, None), (3, Some(2)), (4, None), (5, None)];
    assert_eq!(on_one, expected.map(|(step, note)| (Some(step), note)));
}

#[test]
fn no_length_is_never_home() {
    assert_eq!(
        Home::of(&round(0, &[], 10), &grid(Meter::COMMON, 4, 16), 8),
        Home::default()
    );
}
