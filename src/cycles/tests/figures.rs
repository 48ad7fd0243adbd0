//! Single figures: published rudiments, figures that enter late, two at once, resolved ones, partners.

use super::{crossing, free_line, grid, repeat, search};
use crate::cycles::{Resolved, home};
use crate::grid::Meter;
use crate::names::Voice;
use crate::units::Steps;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

const HANDS: (Voice, Voice) = (Voice::Snare, Voice::TomFloor);
const LEFT_SIDE: (Voice, Voice) = (Voice::Snare2, Voice::HatFoot);
const DRUMS: [Voice; 3] = [Voice::TomHigh, Voice::TomMid, Voice::Crash];

/// Plain arithmetic [=]: cycles and bars until a cycle of L steps meets the bar of P steps again.
#[test]
fn a_cycle_comes_home_when_the_table_says_so() {
    let table = [
        (3, [(8, 1), (16, 3), (4, 1)]),
        (5, [(24, 5), (16, 5), (12, 5)]),
        (7, [(24, 7), (16, 7), (12, 7)]),
        (9, [(8, 3), (16, 9), (4, 3)]),
        (10, [(12, 5), (8, 5), (6, 5)]),
        (11, [(24, 11), (16, 11), (12, 11)]),
        (14, [(12, 7), (8, 7), (6, 7)]),
        (15, [(8, 5), (16, 15), (4, 5)]),
        (18, [(4, 3), (8, 9), (2, 3)]),
        (20, [(6, 5), (4, 5), (3, 5)]),
    ];
    for (length, row) in table {
        for (bar, expected) in [24, 16, 12].into_iter().zip(row) {
            assert_eq!(
                home(Steps(length), Steps(bar)),
                expected,
                "{length} steps in bars of {bar}"
            );
        }
    }
    assert_eq!(home(Steps(0), Steps(16)), (0, 0));
}

/// Stickings of rudiments 16, 17 and 19 and their lengths: Percussive Arts Society, 40 International Drum Rudiments,
/// 1984 [P]. Right hand on one drum, left hand on another, in bars that they cross.
#[test]
fn paradiddles_are_found_with_their_published_lengths() {
    for (name, sticking, length, per_beat) in [
        ("triple paradiddle", "ABABABAABABABABB", 16, 3),
        ("double paradiddle", "ABABAABABABB", 12, 4),
        ("single paradiddle-diddle", "ABAABB", 6, 4),
    ] {
        let steps = 12 * 4 * i64::from(per_beat);
        let grid = grid(Meter::COMMON, per_beat, steps);
        let found = search(&repeat(sticking, HANDS, 0, steps), &grid);
        let lengths: Vec<u32> = found.found.iter().map(|c| c.length_steps).collect();
        assert_eq!(lengths, [length], "{name}");
        assert!(found.found[0].crosses_bar && found.found[0].kept == 1.0, "{name}");
    }
}

#[test]
fn a_figure_is_told_with_its_notes_its_span_and_its_way_home() {
    let grid = grid(Meter::COMMON, 6, 24 * 12);
    let mut random = ChaCha8Rng::seed_from_u64(1);
    let mut strokes = repeat("AB.A.B.A..", LEFT_SIDE, 24 * 2, 24 * 9);
    strokes.extend(free_line(24 * 12, &DRUMS, Some(Voice::Kick), &mut random));
    strokes.sort();
    let found = search(&strokes, &grid);
    let cycle = crossing(&found)[0];
    assert_eq!((cycle.length_steps, cycle.length_notes), (10, 5));
    assert_eq!((cycle.start.bar, cycle.start.beat, cycle.start.step), (3, 1, 1));
    assert_eq!(cycle.end.bar, 10);
    assert_eq!((cycle.home_cycles, cycle.home_bars), (12, 5));
    // The seventeenth repeat has all its notes: only its last two steps, rests, are cut.
    assert_eq!(cycle.repeats, 17);
    let notes: Vec<(u32, Voice)> = cycle.figure.iter().map(|n| (n.step, n.voices[0])).collect();
    let (a, b) = LEFT_SIDE;
    assert_eq!(notes, [(1, a), (2, b), (4, a), (6, b), (8, a)]);
    assert!((cycle.length_seconds.0 - 10.0 * grid.tempo.beat().0 / 6.0).abs() < 1e-9);
    for ((_, voice), layer) in strokes.iter().zip(&found.layer) {
        assert_eq!(*layer == Some(0), *voice == a || *voice == b);
    }
}

#[test]
fn a_repeat_that_is_not_whole_is_told_with_what_it_lacks_and_has_besides() {
    let grid = grid(Meter::COMMON, 4, 160);
    let mut strokes = repeat("AB.A.", LEFT_SIDE, 0, 160);
    strokes.retain(|s| *s != (23, Voice::Snare2));
    strokes.push((42, Voice::HatFoot));
    let found = search(&strokes, &grid);
    let broken = &found.found[0].broken;
    assert_eq!(broken.len(), 2);
    assert_eq!(
        (broken[0].repeat, broken[0].missing.as_slice()),
        (5, &[(4, Voice::Snare2)][..])
    );
    assert_eq!(
        (broken[1].repeat, broken[1].added.as_slice()),
        (9, &[(3, Voice::HatFoot)][..])
    );
    assert_eq!(broken[0].start.to_string(), "bar 2, beat 2, step 1");
}

#[test]
fn a_note_struck_a_step_away_is_moved_and_neither_missing_nor_added() {
    let grid = grid(Meter::COMMON, 4, 160);
    let mut strokes = repeat("AB..A.B", LEFT_SIDE, 0, 154);
    // Step 5 of the fourth repeat comes a step later, step 1 of the ninth a step earlier, in the eighth repeat.
    for (at, by) in [(3 * 7 + 4, 1), (8 * 7, -1)] {
        let note = strokes.iter_mut().find(|s| **s == (at, Voice::Snare2)).unwrap();
        note.0 += by;
    }
    let found = search(&strokes, &grid);
    let told: Vec<_> = found.found[0]
        .broken
        .iter()
        .map(|b| (b.repeat, &b.moved))
        .collect();
    assert_eq!(
        told,
        [
            (4, &vec![(5, Voice::Snare2, 1)]),
            (9, &vec![(1, Voice::Snare2, -1)])
        ]
    );
    let rest = found.found[0].broken.iter();
    assert!(rest.clone().all(|b| b.missing.is_empty() && b.added.is_empty()));
}

#[test]
fn two_figures_at_once_are_told_apart_and_not_as_the_length_they_share() {
    // 60 steps hold 5 cycles of one and 6 of the other: a single figure would be five times as long.
    let steps = 16 * 40;
    let grid = grid(Meter::COMMON, 4, steps);
    let mut strokes = repeat("ABABAABABABB", (Voice::Snare, Voice::Kick), 0, steps);
    strokes.extend(repeat("ABBAB.ABAB", LEFT_SIDE, 0, steps));
    let found = search(&strokes, &grid);
    let mut lengths: Vec<u32> = found.found.iter().map(|c| c.length_steps).collect();
    lengths.sort_unstable();
    assert_eq!(lengths, [10, 12]);
}

/// The taught form 5+5+5+5+4 on sixteenth-triplets [C].
#[test]
fn a_figure_cut_to_start_anew_every_bar_is_told_as_resolved() {
    let grid = grid(Meter::COMMON, 6, 24 * 10);
    let mut random = ChaCha8Rng::seed_from_u64(2);
    let mut strokes: Vec<_> = (0..10)
        .flat_map(|bar| repeat("AB*.B", LEFT_SIDE, bar * 24, bar * 24 + 24))
        .collect();
    strokes.extend(free_line(24 * 10, &DRUMS, Some(Voice::Kick), &mut random));
    let found = search(&strokes, &grid);
    let cycle = crossing(&found)[0];
    assert_eq!(cycle.length_steps, 5);
    assert_eq!(cycle.resolved, Some(Resolved { every_bars: 1 }));
}

#[test]
fn a_kick_on_every_beat_belongs_to_the_figure_of_the_other_foot() {
    let grid = grid(Meter::COMMON, 3, 12 * 12);
    let mut random = ChaCha8Rng::seed_from_u64(3);
    let mut strokes = repeat("AB.ABBA.B", (Voice::Kick, Voice::HatFoot), 0, 12 * 12);
    strokes.extend(free_line(12 * 12, &DRUMS, None, &mut random));
    let found = search(&strokes, &grid);
    let cycle = crossing(&found)[0];
    assert_eq!(
        (cycle.length_steps, cycle.voices.as_slice()),
        (9, &[Voice::Kick, Voice::HatFoot][..])
    );
}

#[test]
fn a_figure_of_half_a_bar_is_told_but_does_not_cross_the_bar() {
    let grid = grid(Meter::COMMON, 4, 16 * 10);
    let mut random = ChaCha8Rng::seed_from_u64(4);
    let mut strokes = repeat("ABAABABB", LEFT_SIDE, 0, 16 * 10);
    strokes.extend(free_line(16 * 10, &DRUMS, Some(Voice::Kick), &mut random));
    let found = search(&strokes, &grid);
    assert_eq!(found.found.len(), 1);
    assert_eq!(
        (found.found[0].length_steps, found.found[0].crosses_bar),
        (8, false)
    );
}

#[test]
fn one_voice_in_two_figures_one_after_the_other_has_both() {
    let grid = grid(Meter::COMMON, 4, 16 * 20);
    let mut strokes = repeat("AB.A.", LEFT_SIDE, 0, 16 * 10);
    strokes.extend(repeat("AB.ABB.", LEFT_SIDE, 16 * 10, 16 * 20));
    let found = search(&strokes, &grid);
    let mut spans: Vec<_> = found
        .found
        .iter()
        .map(|c| (c.start.bar, c.length_steps))
        .collect();
    spans.sort_unstable();
    assert_eq!(spans, [(1, 5), (11, 7)]);
}
