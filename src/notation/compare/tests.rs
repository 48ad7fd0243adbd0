//! Scores with known mistakes against a study whose strokes are known.

use super::{CannotCompare, Comparison, Difference, Sure, compare, compare_between};
use crate::grid::{Grid, Meter};
use crate::names::Voice;
use crate::notation::read::{Written, WrittenNote};
use crate::options::Options;
use crate::stickings::Stickings;
use crate::study::{RecordingFacts, Stroke, Study};
use crate::units::{Bpm, Decibels, Seconds, Steps};
use crate::voices::Hit;

/// Kick, hats and snare over twelve bars of sixteenths, the groove changing from bar to bar.
fn played() -> Vec<(i64, Voice)> {
    let bar = |b: i64| {
        [
            (0, Voice::Kick),
            (2, Voice::HatClosed),
            (4, Voice::Snare),
            (6 + b % 3, Voice::Kick),
            (10, Voice::HatClosed),
            (12, Voice::Snare),
            (13 + b % 2, Voice::HatClosed),
        ]
        .map(|(step, voice)| (16 * b + step, voice))
    };
    (0..12).flat_map(bar).collect()
}

fn study(strokes: &[(i64, Voice)], unsure: i64) -> Study {
    let grid = Grid {
        tempo: Bpm(120.0),
        meter: Meter::COMMON,
        steps_per_beat: 4,
        beats: (0..60).map(|b| Seconds(0.5 * f64::from(b))).collect(),
        ..Grid::none()
    };
    let stroke = |&(step, voice): &(i64, Voice)| Stroke {
        hit: Hit {
            time: grid.time_of(Steps(step)).unwrap(),
            voice,
            level: Decibels(-6.0),
            mark: None,
            grace: None,
            sure: if step == unsure { 0.2 } else { 0.9 },
        },
        step: Some(Steps(step)),
        place: Some(grid.place_of(Steps(step))),
        late: None,
        limb: None,
        layer: None,
    };
    Study {
        recording: RecordingFacts {
            file: String::new(),
            sha256: String::new(),
            seconds: Seconds(30.0),
            sample_rate: 44_100,
            channels: 1,
        },
        options: Options::default(),
        strokes: strokes.iter().map(stroke).collect(),
        grid,
        cycles: Vec::new(),
        open: None,
        lengths: Vec::new(),
        stickings: Stickings::default(),
        voices: Vec::new(),
        groups: Vec::new(),
        warnings: Vec::new(),
    }
}

/// The strokes of some bars written out, in quarters from the first of them, times `scale`.
fn written(strokes: &[(i64, Voice)], bars: std::ops::Range<i64>, scale: f64) -> Written {
    let inside = strokes
        .iter()
        .filter(|(step, _)| bars.contains(&step.div_euclid(16)));
    let notes = inside.map(|(step, voice)| WrittenNote {
        quarters: (step - 16 * bars.start) as f64 / 4.0 * scale,
        voice: *voice,
    });
    Written {
        notes: notes.collect(),
        ..Written::default()
    }
}

fn differences(found: &Comparison) -> Vec<(i64, i64, i64, Difference)> {
    let spots = found.bars.iter().flat_map(|b| &b.spots);
    spots
        .map(|s| (s.place.bar, s.place.beat, s.place.step, s.difference))
        .collect()
}

#[test]
fn a_right_score_agrees_in_every_note_wherever_it_begins_and_however_it_is_written() {
    let played = played();
    let study = study(&played, -1);
    for scale in [1.0, 0.5, 2.0] {
        for first in [0, 4] {
            let found = compare(&written(&played, first..first + 6, scale), &study).unwrap();
            assert_eq!(
                (found.right, differences(&found)),
                (42, vec![]),
                "{scale} {first}"
            );
            assert_eq!(
                (found.begins.bar, found.begins.beat, found.begins.step),
                (first + 1, 1, 1)
            );
            assert_eq!(found.scale, scale);
        }
    }
}

#[test]
fn a_part_of_the_recording_is_told_of_alone() {
    let played = played();
    let study = study(&played, -1);
    let score = written(&played, 0..12, 1.0);
    // Bars 3 and 4 are two seconds each, and a stroke may come a little early.
    let (from, to) = (Some(Seconds(4.0)), Some(Seconds(7.9)));
    let found = compare_between(&score, &study, from, to).unwrap();
    assert_eq!((found.right, differences(&found)), (14, vec![]));
    let bars: Vec<i64> = found.bars.iter().map(|bar| bar.bar).collect();
    assert_eq!(bars, [3, 4]);
    let nothing = compare_between(&score, &study, Some(Seconds(26.0)), None).unwrap();
    assert_eq!((nothing.right, nothing.not_heard), (0, 0));
}

#[test]
fn every_kind_of_mistake_is_told_with_its_place() {
    let played = played();
    let mut wrong = played.clone();
    wrong.retain(|s| *s != (4, Voice::Snare));
    wrong.push((7, Voice::Crash));
    for stroke in &mut wrong {
        match *stroke {
            (26, Voice::HatClosed) => *stroke = (26, Voice::Ride),
            (36, Voice::Snare) => *stroke = (37, Voice::Snare),
            _ => {}
        }
    }
    let found = compare(&written(&wrong, 0..12, 1.0), &study(&played, 4)).unwrap();
    assert_eq!(
        differences(&found),
        [
            (1, 2, 1, Difference::NotWritten { heard: Voice::Snare }),
            (
                1,
                2,
                4,
                Difference::NotHeard {
                    written: Voice::Crash
                }
            ),
            (
                2,
                3,
                3,
                Difference::OtherVoice {
                    written: Voice::Ride,
                    heard: Voice::HatClosed
                }
            ),
            (
                3,
                2,
                2,
                Difference::Moved {
                    written: Voice::Snare,
                    by: -1
                }
            ),
        ]
    );
    let counts = (found.not_written, found.not_heard, found.other_voice, found.moved);
    assert_eq!((found.right, counts), (played.len() - 3, (1, 1, 1, 1)));
    assert_eq!(found.bars[0].spots[0].sure, Sure::Unsure);
    assert_eq!(found.bars[1].spots[0].sure, Sure::Sure);
}

#[test]
fn what_cannot_be_compared_is_refused() {
    let played = played();
    let score = written(&played, 0..12, 1.0);
    let mut gridless = study(&played, -1);
    gridless.grid = Grid::none();
    assert_eq!(compare(&score, &gridless), Err(CannotCompare::NoGrid));
    assert_eq!(compare(&score, &study(&[], -1)), Err(CannotCompare::NoFit));
    let other: Vec<_> = (0..40).map(|n| (n * n % 97, Voice::Cowbell)).collect();
    assert_eq!(
        compare(&written(&other, 0..12, 1.0), &study(&played, -1)),
        Err(CannotCompare::NoFit)
    );
    let far = WrittenNote {
        quarters: 1e300,
        voice: Voice::Kick,
    };
    let _ = compare(
        &Written {
            notes: vec![far],
            ..Written::default()
        },
        &study(&played, -1),
    );
}
