//! Laws of the score: nothing is lost, nothing is doubled, bars are full.

use std::collections::BTreeSet;

use proptest::prelude::*;
use proptest::test_runner::RngSeed;

use super::*;
use crate::charts::sample::{self, TEN_OVER_SIXTEEN};
use crate::grid::{Meter, UnevenBeat};
use crate::units::{Decibels, Steps};
use crate::voices::Hit;

const LAYOUTS: [ScoreLayout; 3] = [
    ScoreLayout::HandsFeet,
    ScoreLayout::OneVoice,
    ScoreLayout::FigureSolo,
];

/// A stroke exactly on the step that lies so many beats after bar 1, in a beat of so many steps.
fn stroke(grid: &Grid, beats: f64, voice: Voice) -> Stroke {
    let time = grid.time_at(beats).unwrap();
    let step = Steps(grid.steps_at(time).unwrap().round() as i64);
    Stroke {
        hit: Hit {
            time,
            voice,
            level: Decibels(-6.0),
            mark: None,
            grace: None,
            sure: 0.9,
        },
        step: Some(step),
        place: Some(grid.place_of(step)),
        late: None,
        limb: None,
        layer: None,
    }
}

/// A study with these strokes: beats after bar 1, and voices.
pub(crate) fn study_of(meter: [u32; 2], steps: u32, strokes: &[(f64, Voice)]) -> Study {
    let mut study = sample::study(&sample::Score {
        bars: 2,
        meter: Meter::from(meter),
        steps_per_beat: steps,
        length: 0,
    });
    let grid = study.grid.clone();
    study.strokes = strokes
        .iter()
        .map(|(at, voice)| stroke(&grid, *at, *voice))
        .collect();
    study
}

/// The first bar of a line in short: value, dots, what is struck.
fn line(study: &Study, number: usize) -> String {
    let score = Score::of(study, ScoreLayout::HandsFeet);
    let letters = ["w", "h", "q", "8", "16", "32", "64"];
    let word = |event: &Event| {
        let value = letters.get(event.value.power as usize).unwrap();
        let dots = ".".repeat(event.value.dots as usize);
        let rest = if event.heads.is_empty() { "r" } else { "" };
        let beams: String = event
            .beams
            .iter()
            .map(|beam| match beam {
                Beam::Begin => '[',
                Beam::Through => '-',
                Beam::End => ']',
                Beam::HookRight => '>',
                Beam::HookLeft => '<',
            })
            .collect();
        let tuplet = event
            .tuplet
            .map_or(String::new(), |(r, _)| format!("/{}", r.actual));
        format!("{rest}{value}{dots}{tuplet}{beams}")
    };
    score.bars[0].lines[number]
        .iter()
        .map(word)
        .collect::<Vec<_>>()
        .join(" ")
}

/// Every row is in the score once, as a head or as the grace of one; bars are full; tuplets are whole.
fn check(study: &Study, layout: ScoreLayout) {
    let score = Score::of(study, layout);
    let mut rows = BTreeSet::new();
    let mut once = |row: usize| assert!(rows.insert(row), "row {row} is written twice");
    for bar in &score.bars {
        assert_eq!(bar.lines.len(), score.lines.len());
        for events in &bar.lines {
            let mut at = Ticks(0);
            let mut open = false;
            for event in events {
                assert_eq!(event.at, at, "a gap in bar {}", bar.number);
                at += event.length;
                let plain = event.value.ticks().0;
                let written = match event.tuplet {
                    Some((r, _)) => plain * i64::from(r.normal) / i64::from(r.actual),
                    None => plain,
                };
                assert!(event.whole_bar || written == event.length.0, "{event:?}");
                match event.tuplet.map(|(_, edge)| edge) {
                    Some(Edge::First) => assert!(!std::mem::replace(&mut open, true)),
                    Some(Edge::Inner) => assert!(open),
                    Some(Edge::Last) => assert!(std::mem::replace(&mut open, false)),
                    None => assert!(!open),
                }
                for head in &event.heads {
                    once(head.row);
                    head.graces
                        .iter()
                        .filter_map(|grace| grace.row)
                        .for_each(&mut once);
                }
            }
            assert!(!open);
            assert_eq!(at, score.length(bar), "bar {} is not full", bar.number);
        }
    }
    assert_eq!(rows.len() + score.left_out, study.strokes.len());
    for pair in score.bars.windows(2) {
        assert_eq!(pair[0].beat + i64::from(pair[0].beats), pair[1].beat);
    }
}

#[test]
fn notes_last_until_the_next_one_and_rests_fill_the_rest() {
    let snare = |beats: &[f64]| -> Vec<(f64, Voice)> { beats.iter().map(|b| (*b, Voice::Snare)).collect() };
    let four = study_of([4, 4], 4, &snare(&[0.0, 0.25, 0.75, 1.0, 2.25, 2.5]));
    assert_eq!(line(&four, 0), "16[> 8- 16]< q r16 16[> 8] rq");
    let triplets = study_of(
        [4, 4],
        6,
        &snare(&[0.0, 1.0 / 3.0, 2.0 / 3.0, 1.0, 1.5, 2.0 + 1.0 / 6.0]),
    );
    assert_eq!(line(&triplets, 0), "8/3[ 8/3- 8/3] 8[ 8] r16/6 8./6 r8/6 rq");
}

#[test]
fn sextuplets_break_their_second_beam_in_the_middle_or_where_accents_say_so() {
    let six: Vec<(f64, Voice)> = (0..6).map(|i| (f64::from(i) / 6.0, Voice::Snare)).collect();
    let mut study = study_of([4, 4], 6, &six);
    assert_eq!(line(&study, 0), "16/6[[ 16/6-- 16/6-] 16/6-[ 16/6-- 16/6]] rq rh");
    study.strokes[2].hit.mark = Some(Mark::Accent);
    study.strokes[4].hit.mark = Some(Mark::Accent);
    assert_eq!(line(&study, 0), "16/6[[ 16/6-] 16/6-[ 16/6-] 16/6-[ 16/6]] rq rh");
}

#[test]
fn compound_meters_count_dotted_quarters_and_short_beats_are_beamed_in_twos_and_three() {
    let hats =
        |beats: &[f64]| -> Vec<(f64, Voice)> { beats.iter().map(|b| (*b, Voice::HatClosed)).collect() };
    let third = 1.0 / 3.0;
    let six = study_of([6, 8], 3, &hats(&[0.0, third, 2.0 * third, 1.0]));
    assert_eq!(line(&six, 0), "8[ 8- 8] q.");
    let seven = study_of([7, 8], 1, &hats(&[0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0]));
    assert_eq!(line(&seven, 0), "8[ 8] 8[ 8] 8[ 8- 8]");
}

#[test]
fn hands_and_feet_are_written_apart_and_an_empty_line_rests_for_the_bar() {
    let study = study_of([4, 4], 4, &[(0.0, Voice::Snare), (4.0, Voice::Kick)]);
    assert_eq!(
        (line(&study, 0).as_str(), line(&study, 1).as_str()),
        ("q rq rh", "rw")
    );
}

#[test]
fn a_pick_up_is_as_short_as_it_can_be_and_bears_the_number_0() {
    let mut study = study_of([4, 4], 4, &[(0.0, Voice::Snare)]);
    study.grid.first_downbeat = 2;
    let grid = study.grid.clone();
    study.strokes = vec![stroke(&grid, -1.0, Voice::Snare), stroke(&grid, 0.0, Voice::Kick)];
    let score = Score::of(&study, ScoreLayout::HandsFeet);
    let bars: Vec<(i64, u32)> = score.bars.iter().map(|bar| (bar.number, bar.beats)).collect();
    assert_eq!(bars, [(0, 1), (1, 4)]);
    check(&study, ScoreLayout::HandsFeet);
}

#[test]
fn a_beat_that_is_divided_otherwise_is_written_in_its_own_steps() {
    let strokes: Vec<(f64, Voice)> = (0..5).map(|i| (1.0 + f64::from(i) / 5.0, Voice::Snare)).collect();
    let mut study = study_of([4, 4], 4, &strokes);
    study.grid.uneven = vec![UnevenBeat { beat: 1, steps: 5 }];
    assert_eq!(line(&study, 0), "rq 16/5[[ 16/5-- 16/5-- 16/5-- 16/5]] rh");
    check(&study, ScoreLayout::OneVoice);
}

#[test]
fn two_strokes_of_a_voice_on_one_step_are_a_grace_note_and_its_main_note() {
    let mut study = study_of([4, 4], 4, &[(0.0, Voice::Snare), (0.05, Voice::Snare)]);
    study.strokes[1].step = Some(Steps(0));
    let score = Score::of(&study, ScoreLayout::HandsFeet);
    let head = &score.bars[0].lines[0][0].heads[0];
    assert_eq!((head.row, head.graces[0].row), (1, Some(0)));
    check(&study, ScoreLayout::HandsFeet);
}

#[test]
fn every_stroke_of_an_invented_solo_is_written_once_and_every_bar_is_full() {
    let study = sample::study(&TEN_OVER_SIXTEEN);
    for layout in LAYOUTS {
        check(&study, layout);
    }
    let score = Score::of(&study, ScoreLayout::HandsFeet);
    assert_eq!(score.left_out, 0);
    let starts: Vec<i64> = score.figures[0]
        .repeats
        .iter()
        .take(3)
        .map(|r| r.from.0 / (QUARTER.0 / 4))
        .collect();
    assert_eq!(starts, [0, 10, 20]);
    assert_eq!(score.figures[0].repeats.iter().filter(|r| r.home).count(), 3);
}

#[test]
fn a_study_without_a_beat_has_no_bars() {
    let score_bars = Score::of(&sample::empty(), ScoreLayout::HandsFeet).bars.len();
    assert_eq!(score_bars, 0);
}

proptest! {
    #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(7), cases: 60, ..ProptestConfig::default() })]

    #[test]
    fn whatever_the_rows_say_each_is_written_at_most_once_and_bars_are_full(
        meter in prop::sample::select(vec![[4, 4], [3, 4], [6, 8], [7, 8], [2, 2], [5, 16], [1, 1], [12, 8], [3, 7]]),
        steps in 1u32..=17,
        uneven in prop::collection::vec((0usize..9, 0u32..=128), 0..4),
        first in 0usize..4,
        rows in prop::collection::vec((0.0f64..6.0, prop::sample::select(Voice::ALL.to_vec()), -40i64..40, -60.0f64..60.0), 0..40),
    ) {
        let mut study = study_of(meter, steps, &[]);
        study.grid.first_downbeat = first;
        study.grid.uneven = uneven.into_iter().map(|(beat, steps)| UnevenBeat { beat, steps }).collect();
        study.strokes = rows.into_iter().map(|(time, voice, step, late)| Stroke {
            hit: Hit { time: Seconds(time), voice, level: Decibels(-3.0), mark: None, grace: None, sure: 0.5 },
            step: (step % 3 != 0).then_some(Steps(step)),
            place: None,
            late: (step % 2 != 0).then_some(Millis(late)),
            limb: None,
            layer: None,
        }).collect();
        study.strokes.sort_by(|a, b| a.hit.time.0.total_cmp(&b.hit.time.0));
        for layout in LAYOUTS {
            check(&study, layout);
        }
    }
}
