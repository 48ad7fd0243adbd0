//! A slow and obvious second way to the same bits: every probability multiplied stroke by stroke, every figure summed.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::super::code::{Codes, RATES, Room, SHARES, Tally};
use super::super::price::Work;
use super::super::search::{Against, Among, Asked, Search};
use super::super::strokes::{Strokes, Turn};
use super::{Stroke, grid, placed, repeat};
use crate::grid::Meter;
use crate::names::Voice;

const ASKED: Asked = Asked {
    length: None,
    shuffles: 99,
};

/// Bits of a row of steps at a rate learned on the way: each step's chance is (strokes of its kind so far + 1/2) over
/// (steps so far + 1).
fn learned(row: impl Iterator<Item = bool>) -> f64 {
    let (mut counts, mut bits) = ([0.5f64, 0.5], 0.0);
    for struck in row {
        let kind = usize::from(struck);
        bits -= (counts[kind] / (counts[0] + counts[1])).log2();
        counts[kind] += 1.0;
    }
    bits
}

/// Bits of all steps by the cheaper of: a rate learned for each phase; every figure there is with its share, played at
/// the pair of rates that costs least, stroke by stroke.
fn slow_bits(row: &[bool], length: usize) -> f64 {
    let of = |phase: usize| {
        row.iter()
            .enumerate()
            .filter(move |(s, _)| s % length == phase)
            .map(|(_, b)| *b)
    };
    let each: f64 = (0..length).map(|p| learned(of(p))).sum();
    let mut ways = Vec::new();
    for (at, off) in RATES.iter().enumerate() {
        for on in &RATES[at + 1..] {
            ways.extend(SHARES.map(|share| (*on, *off, share)));
        }
    }
    let cost = |&(on, off, share): &(f64, f64, f64)| {
        let figures = (0u32..1 << length).map(|mask| {
            let is_on = |phase: usize| mask >> phase & 1 == 1;
            let said: f64 = (0..length)
                .map(|p| if is_on(p) { share } else { 1.0 - share })
                .product();
            let played: f64 = row
                .iter()
                .enumerate()
                .map(|(step, struck)| {
                    let rate = if is_on(step % length) { on } else { off };
                    if *struck { rate } else { 1.0 - rate }
                })
                .product();
            said * played
        });
        -figures.sum::<f64>().log2()
    };
    let best = ways.iter().map(cost).fold(f64::INFINITY, f64::min) + (ways.len() as f64).log2();
    each.min(best) + 1.0
}

fn row_of(strokes: &[Stroke], voice: Voice, steps: usize) -> Vec<bool> {
    (0..steps).map(|s| strokes.contains(&(s as i64, voice))).collect()
}

#[test]
fn bits_are_those_of_every_figure_tried_stroke_by_stroke() {
    let codes = Codes::new(200);
    let mut random = ChaCha8Rng::seed_from_u64(11);
    for length in 1..=9 {
        for _ in 0..6 {
            // Whole cycles, so that all phases come by equally often.
            let rate = random.random_range(0.05..0.95);
            let row: Vec<bool> = (0..length * random.random_range(1..8))
                .map(|_| random.random_bool(rate))
                .collect();
            let mut tally = Tally::default();
            let hit: Vec<u8> = row.iter().map(|b| u8::from(*b)).collect();
            super::super::strokes::tally(&hit, (0, hit.len()), Turn::free(length), &mut tally);
            let fast = codes.bits(&tally, &mut Room::default());
            let slow = slow_bits(&row, length);
            assert!(
                (fast - slow).abs() < 1e-9,
                "length {length}: {fast} and {slow} for {row:?}"
            );
        }
    }
}

/// The best crossing length on all steps and what it saves, by trying everything.
fn slow_winner(strokes: &[Stroke], voices: &[Voice], bar: usize, steps: usize) -> (usize, f64) {
    let streams = voices.len() as f64;
    let rows: Vec<Vec<bool>> = voices.iter().map(|v| row_of(strokes, *v, steps)).collect();
    let crosses = |l: usize| !bar.is_multiple_of(l) && !l.is_multiple_of(bar);
    let lengths: Vec<usize> = (2..=steps / 4).filter(|l| crosses(*l)).collect();
    let locked: Vec<usize> = (1..=4 * bar)
        .filter(|d| bar.is_multiple_of(*d) || *d == 2 * bar || *d == 4 * bar)
        .collect();
    // The length, that it runs freely, and that it begins and ends with the music.
    let price = (lengths.len() as f64).log2() + 3.0;
    let saved = |length: usize| {
        let each = |row: &Vec<bool>| {
            let account = locked
                .iter()
                .map(|d| slow_bits(row, *d))
                .fold(f64::INFINITY, f64::min);
            (account - slow_bits(row, length) - (streams + 1.0).log2()).max(0.0)
        };
        rows.iter().map(each).sum::<f64>() - price
    };
    lengths
        .into_iter()
        .map(|l| (l, saved(l)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap()
}

#[test]
fn the_winner_on_small_inputs_is_that_of_trying_everything() {
    // A bar of three steps and at most thirty-six steps keep every figure countable.
    let meter = Meter { count: 3, unit: 4 };
    let mut random = ChaCha8Rng::seed_from_u64(12);
    let voices = [Voice::Snare, Voice::Kick];
    for figure in ["AB.A", "A.BBA", "ABBA.", "AB.", "A.B.AA.B", "*..A", "AB.BAAB"] {
        let steps = 4 * figure.len().max(3) * 2;
        let steps = (steps - steps % (3 * figure.len()) + 3 * figure.len()).min(44) as i64;
        let mut strokes = repeat(figure, (voices[0], voices[1]), 0, steps);
        strokes.retain(|_| !random.random_bool(0.05));
        strokes.extend([(0, voices[0]), (steps - 1, voices[0])]);
        let grid = grid(meter, 1, steps);
        let laid = Strokes::new(&placed(&strokes, &grid), &grid, &[]).unwrap();
        let search = Search::new(&laid, Among::Voices, ASKED);
        let mut work = Work::default();
        let fast = search
            .lengths
            .iter()
            .copied()
            .filter(|l| laid.crosses(*l))
            .map(|l| {
                (
                    l,
                    search
                        .explain(Turn::free(l), laid.whole, Against::Bar, &mut work)
                        .bits,
                )
            })
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap();
        let slow = slow_winner(&strokes, &voices, 3, steps as usize);
        assert_eq!(fast.0, slow.0, "{figure}: {fast:?} and {slow:?}");
        assert!((fast.1 - slow.1).abs() < 1e-9, "{figure}: {fast:?} and {slow:?}");
    }
}

#[test]
fn no_other_stretch_saves_much_more_than_the_one_chosen() {
    let mut random = ChaCha8Rng::seed_from_u64(13);
    for (figure, from, to) in [("AB.A.", 16, 112), ("AAB.AB.", 32, 128), ("AB.ABBA.B", 0, 96)] {
        let steps = 16 * 9;
        let grid = grid(Meter::COMMON, 4, steps);
        let mut strokes = repeat(figure, (Voice::Snare2, Voice::HatFoot), from, to);
        strokes.extend(super::free_line(
            steps,
            &[Voice::TomHigh],
            Some(Voice::Kick),
            &mut random,
        ));
        let laid = Strokes::new(&placed(&strokes, &grid), &grid, &[]).unwrap();
        let search = Search::new(&laid, Among::Voices, ASKED);
        let turn = Turn::free(figure.len());
        let chosen = search
            .free(&mut Vec::new())
            .into_iter()
            .find(|c| c.turn == turn)
            .unwrap();
        let chosen = search.refine(chosen, Against::Bar, &mut Work::default());
        let mut work = Work::default();
        let all = (0..laid.whole.1).flat_map(|a| (a..=laid.whole.1).map(move |b| (a, b)));
        let best = all
            .filter(|span| search.lasts(turn, *span))
            .map(|span| search.explain(turn, span, Against::Bar, &mut work).bits)
            .fold(f64::NEG_INFINITY, f64::max);
        assert!(chosen.bits > best - 3.0, "{figure}: {} of {best}", chosen.bits);
    }
}
