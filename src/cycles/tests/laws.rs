//! What must hold for any music: later music is the same music, order and doubled hits change nothing, nothing panics.

use proptest::prelude::*;
use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

use super::{free_line, grid, options, placed, repeat, search};
use crate::cycles::{Cycles, find};
use crate::grid::{Grid, Meter};
use crate::names::Voice;

fn music() -> Vec<super::Stroke> {
    let mut random = ChaCha8Rng::seed_from_u64(7);
    let mut strokes = repeat("AB.A.BA", (Voice::Snare2, Voice::HatFoot), 16, 16 * 9);
    strokes.extend(free_line(
        16 * 10,
        &[Voice::Snare, Voice::TomMid],
        Some(Voice::Kick),
        &mut random,
    ));
    strokes
}

#[test]
fn music_that_comes_two_bars_later_has_the_same_figures_two_bars_later() {
    let grid = grid(Meter::COMMON, 4, 16 * 14);
    let first = search(&music(), &grid);
    let later: Vec<_> = music().iter().map(|(s, v)| (s + 32, *v)).collect();
    let second = search(&later, &grid);
    assert!(!first.found.is_empty());
    assert_eq!(first.lengths, second.lengths);
    assert_eq!(first.layer, second.layer);
    for (a, b) in first.found.iter().zip(&second.found) {
        assert_eq!((a.start.bar + 2, a.end.bar + 2), (b.start.bar, b.end.bar));
        assert_eq!((a.bits, &a.figure, a.chance), (b.bits, &b.figure, b.chance));
    }
}

#[test]
fn the_order_of_hits_and_hits_heard_twice_change_nothing() {
    let grid = grid(Meter::COMMON, 4, 16 * 10);
    let mut strokes = music();
    let first = search(&strokes, &grid);
    strokes.extend(music().into_iter().step_by(5));
    strokes.shuffle(&mut ChaCha8Rng::seed_from_u64(8));
    let second = search(&strokes, &grid);
    assert_eq!((first.found, first.lengths), (second.found, second.lengths));
}

#[test]
fn the_same_music_gives_the_same_answer_on_one_thread_and_on_many() {
    let grid = grid(Meter::COMMON, 4, 16 * 10);
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let many = rayon::ThreadPoolBuilder::new().num_threads(5).build().unwrap();
    let answer = || search(&music(), &grid);
    assert_eq!(one.install(answer), many.install(answer));
}

#[test]
fn no_hits_and_no_grid_give_no_cycles() {
    assert_eq!(search(&[], &grid(Meter::COMMON, 4, 0)), Cycles::default());
    let strokes = music();
    let found = search(&strokes, &Grid::none());
    assert_eq!(found.layer.len(), strokes.len());
}

#[test]
fn a_few_strokes_repeat_nothing() {
    let grid = grid(Meter::COMMON, 4, 64);
    for count in 1..8 {
        let strokes: Vec<_> = (0..count).map(|n| (5 * n, Voice::Kick)).collect();
        assert!(search(&strokes, &grid).found.is_empty(), "{count}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn any_steps_on_any_grid_are_survived(
        steps in prop::collection::vec((prop_oneof![-40i64..200, any::<i64>()], 0usize..Voice::ALL.len()), 0..120),
        count in 0u32..33,
        unit in prop_oneof![Just(1u32), Just(4), Just(8)],
        per_beat in 0u32..50,
        beats in 0i64..20,
    ) {
        let mut grid = grid(Meter::COMMON, 4, 4 * beats);
        grid.meter = Meter { count, unit };
        grid.steps_per_beat = per_beat;
        let strokes: Vec<_> = steps.iter().map(|(s, v)| (*s, Voice::ALL[*v])).collect();
        let mut hits = placed(&[], &grid);
        for (step, voice) in strokes {
            let mut hit = placed(&[(0, voice)], &super::grid(Meter::COMMON, 4, 4));
            hit[0].step.0 = step;
            hits.extend(hit);
        }
        let found = find(&hits, &grid, &options());
        prop_assert_eq!(found.layer.len(), hits.len());
    }
}
