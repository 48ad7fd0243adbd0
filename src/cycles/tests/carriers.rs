//! What may carry a figure besides a voice: accents, the whole line, a limb of the player's kit; and long figures.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{Stroke, crossing, free_line, grid, options, placed, repeat, search};
use crate::cycles::{Carrier, Cycles, Verdict, find};
use crate::grid::{Grid, Meter};
use crate::names::{Limb, Mark, Voice};
use crate::options::CycleOptions;

const DRUMS: [Voice; 4] = [Voice::Snare, Voice::TomHigh, Voice::TomMid, Voice::TomFloor];

fn any(drums: &[Voice], random: &mut ChaCha8Rng) -> Voice {
    drums[random.random_range(0..drums.len())]
}

/// Strokes of which some are accents.
fn accented(strokes: &[Stroke], grid: &Grid, is_accent: impl Fn(i64) -> bool) -> Cycles {
    let mut placed = placed(strokes, grid);
    for p in &mut placed {
        p.hit.mark = is_accent(p.step.0).then_some(Mark::Accent);
    }
    find(&placed, grid, &options())
}

#[test]
fn accents_that_repeat_over_even_strokes_on_any_drum_are_a_figure() {
    let grid = grid(Meter::COMMON, 4, 16 * 12);
    let mut random = ChaCha8Rng::seed_from_u64(21);
    let strokes: Vec<Stroke> = (0..16 * 12).map(|s| (s, any(&DRUMS, &mut random))).collect();
    let found = accented(&strokes, &grid, |step| [0, 3, 5].contains(&(step % 7)));
    let cycle = crossing(&found)[0];
    assert_eq!((cycle.length_steps, cycle.length_notes), (7, 3));
    assert_eq!((cycle.carrier, cycle.grade), (Carrier::Accents, Verdict::Certain));
    for (stroke, layer) in strokes.iter().zip(&found.layer) {
        assert_eq!(layer.is_some(), [0, 3, 5].contains(&(stroke.0 % 7)), "{stroke:?}");
    }
}

#[test]
fn accents_at_will_are_no_figure() {
    let grid = grid(Meter::COMMON, 4, 16 * 12);
    let mut random = ChaCha8Rng::seed_from_u64(22);
    let strokes: Vec<Stroke> = (0..16 * 12).map(|s| (s, any(&DRUMS, &mut random))).collect();
    let accents: Vec<bool> = strokes.iter().map(|_| random.random_bool(0.3)).collect();
    let found = accented(&strokes, &grid, |step| accents[step as usize]);
    assert!(crossing(&found).is_empty());
}

#[test]
fn a_rhythm_that_wanders_over_the_drums_is_a_figure_of_the_whole_line() {
    let grid = grid(Meter::COMMON, 4, 16 * 12);
    let mut random = ChaCha8Rng::seed_from_u64(23);
    let rhythm = repeat("A.AA.A...", (Voice::Snare, Voice::Snare), 0, 16 * 12);
    let strokes: Vec<Stroke> = rhythm.iter().map(|s| (s.0, any(&DRUMS, &mut random))).collect();
    let found = search(&strokes, &grid);
    let cycle = crossing(&found)[0];
    assert_eq!((cycle.length_steps, cycle.carrier), (9, Carrier::Line));
    assert!(cycle.voices.len() == 4 && cycle.kept == 1.0);
}

#[test]
fn a_hand_that_the_kit_names_is_heard_as_one_line_whatever_it_strikes() {
    let grid = grid(Meter::COMMON, 4, 16 * 12);
    let mut random = ChaCha8Rng::seed_from_u64(24);
    let left = [Voice::Snare2, Voice::Cowbell];
    let rhythm = repeat("A.AA.A.", (Voice::Snare, Voice::Snare), 0, 16 * 12);
    let mut strokes: Vec<Stroke> = rhythm.iter().map(|s| (s.0, any(&left, &mut random))).collect();
    strokes.extend(free_line(16 * 12, &DRUMS, Some(Voice::Kick), &mut random));
    let limbs = |voices: &[Voice]| CycleOptions {
        limbs: voices.iter().map(|v| (*v, Limb::LeftHand)).collect(),
        ..options()
    };
    let bits = |options: &CycleOptions| {
        let found = find(&placed(&strokes, &grid), &grid, options);
        let seven = crossing(&found)
            .into_iter()
            .find(|c| c.length_steps == 7)
            .cloned();
        seven.map_or(0.0, |c| c.bits.0)
    };
    let (told, untold) = (bits(&limbs(&left)), bits(&options()));
    assert!(
        told > 40.0 && told > untold + 20.0,
        "{told} with the kit, {untold} without"
    );
}

#[test]
fn figures_longer_than_those_that_are_all_tried_are_found() {
    for length in [75, 110, 150] {
        let mut random = ChaCha8Rng::seed_from_u64(length as u64);
        let steps = 16 * 48;
        let letters: String = (0..length)
            .map(|_| ['.', '.', 'A', 'B'][random.random_range(0..4)])
            .collect();
        let grid = grid(Meter::COMMON, 4, steps);
        let mut strokes = repeat(&letters, (Voice::Snare2, Voice::HatFoot), 0, steps);
        strokes.retain(|_| !random.random_bool(0.05));
        strokes.extend(free_line(steps, &DRUMS, Some(Voice::Kick), &mut random));
        let found = search(&strokes, &grid);
        let first = crossing(&found).first().map(|c| i64::from(c.length_steps));
        assert_eq!(first, Some(length));
    }
}
