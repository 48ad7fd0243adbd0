//! Attempts as lists of strokes with mistakes that are known, without the ears' own: all of them are told and nothing
//! else.

use super::*;
use crate::audio::Recording;
use crate::practice::drums::{Character, Kit, Strike};
use crate::practice::examples::{BARS, study};
use crate::units::Decibels;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// How the study is played.
#[derive(Clone, Copy)]
struct Playing {
    /// Share of the tempo, and how much slower the end is, as a share.
    speed: f64,
    drift: f64,
    /// How late the left foot is, s.
    foot: f64,
    /// Standard deviation of every stroke, s.
    loose: f64,
    from: i64,
    to: i64,
}

const PLAIN: Playing = Playing {
    speed: 0.58,
    drift: 0.0,
    foot: 0.0,
    loose: 0.004,
    from: 0,
    to: BARS * 16,
};

fn time(playing: &Playing, step: i64) -> f64 {
    let (x, n) = ((step - playing.from) as f64, (playing.to - playing.from) as f64);
    0.125 / playing.speed * (x + playing.drift * (x * x / (2.0 * n) - x / 2.0)) + 3.0
}

fn hit(time: f64, voice: Voice) -> Hit {
    Hit {
        time: Seconds(time),
        voice,
        level: Decibels(-3.0),
        mark: None,
        grace: None,
        sure: 0.9,
    }
}

fn play(study: &Study, playing: &Playing, seed: u64) -> Vec<Hit> {
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let own = study
        .strokes
        .iter()
        .filter_map(|s| Some((s.step?.0, s.hit.voice)));
    own.filter(|(step, _)| (playing.from..playing.to).contains(step))
        .map(|(step, voice)| {
            let foot = if voice == Voice::HatFoot {
                playing.foot
            } else {
                0.0
            };
            let loose: f64 = (0..12).map(|_| dice.random_range(-0.5..0.5)).sum::<f64>() * playing.loose;
            hit(time(playing, step) + foot + loose, voice)
        })
        .collect()
}

fn taken(study: &Study, mut hits: Vec<Hit>) -> Take {
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    let attempt = Attempt {
        hits,
        ..Attempt::default()
    };
    measure(
        study,
        &Passage::whole(study).unwrap(),
        &attempt,
        &TakeOptions::default(),
    )
    .unwrap()
}

fn left_foot(take: &Take) -> f64 {
    take.limbs
        .iter()
        .find(|l| l.who == Who::Limb(Limb::LeftFoot))
        .unwrap()
        .late
        .0
}

#[test]
fn a_clean_take_has_no_faults_and_every_round_is_clean() {
    let study = study();
    for (speed, seed) in [(0.3, 1), (0.58, 2), (1.0, 3), (1.2, 4)] {
        let take = taken(&study, play(&study, &Playing { speed, ..PLAIN }, seed));
        assert_eq!(take.faults, [], "{speed}");
        assert!(
            (take.share / speed - 1.0).abs() < 0.003,
            "{speed}: {}",
            take.share
        );
        assert_eq!(
            take.rounds.iter().filter(|r| r.clean).count(),
            4,
            "{speed}: {:?}",
            take.rounds
        );
        assert_eq!((take.false_starts, take.passes.len()), (0, 1));
        assert!((take.steadiness.0 - 4.0).abs() < 1.0, "{}", take.steadiness.0);
        assert_eq!(take.changes.0, take.changes.1);
    }
}

#[test]
fn every_planted_fault_is_told_and_no_other() {
    let study = study();
    for seed in 0..8 {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        let playing = Playing {
            foot: 0.018,
            drift: 0.05,
            ..PLAIN
        };
        let mut hits = play(&study, &playing, seed);
        let mut planted = Vec::new();
        for place in 0..9 {
            let at = 20 + place * (hits.len() - 60) / 9 + dice.random_range(0..8);
            let step = study
                .strokes
                .iter()
                .filter_map(|s| Some((s.step?.0, s.hit.voice)))
                .min_by(|a, b| {
                    let off = |s: &(i64, Voice)| {
                        (time(&playing, s.0) - hits[at].time.0).abs()
                            + f64::from(u8::from(s.1 != hits[at].voice))
                    };
                    off(a).total_cmp(&off(b))
                });
            let (step, voice) = step.unwrap();
            match place % 3 {
                0 => {
                    hits.remove(at);
                    planted.push(Deviation::Missed { step, voice });
                }
                1 => {
                    hits[at].voice = Voice::Cowbell;
                    planted.push(Deviation::Wrong {
                        step,
                        wanted: voice,
                        played: Voice::Cowbell,
                    });
                }
                _ => {
                    hits.push(hit(time(&playing, step), Voice::CrossStick));
                    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
                    planted.push(Deviation::Extra {
                        step,
                        voice: Voice::CrossStick,
                    });
                }
            }
        }
        planted.sort_by_key(Deviation::step);
        let take = taken(&study, hits);
        assert_eq!(take.faults, planted, "seed {seed}");
        assert!(
            (left_foot(&take) - 18.0).abs() < 2.0,
            "seed {seed}: {}",
            left_foot(&take)
        );
        assert!((take.drift + 0.0366).abs() < 0.01, "seed {seed}: {}", take.drift);
    }
}

#[test]
fn by_its_sound_an_attempt_tells_what_was_planted_and_nothing_else() {
    let study = study();
    let playing = Playing {
        speed: 0.8,
        foot: 0.018,
        loose: 0.003,
        to: 10 * 16,
        ..PLAIN
    };
    let mut hits = play(&study, &playing, 21);
    let step_of = |hit: &Hit| ((hit.time.0 - 3.0) * 0.8 / 0.125).round() as i64;
    let place = |hits: &[Hit], voice: Voice, from: i64| {
        let mut own = hits.iter().enumerate();
        own.find(|(_, h)| h.voice == voice && step_of(h) >= from)
            .unwrap()
            .0
    };
    let mut planted = Vec::new();
    let at = place(&hits, Voice::Snare, 30);
    planted.push(Deviation::Missed {
        step: step_of(&hits.remove(at)),
        voice: Voice::Snare,
    });
    let at = place(&hits, Voice::Snare, 60);
    hits[at].voice = Voice::TomHigh;
    planted.push(Deviation::Wrong {
        step: step_of(&hits[at]),
        wanted: Voice::Snare,
        played: Voice::TomHigh,
    });
    let at = place(&hits, Voice::Kick, 90);
    planted.push(Deviation::Missed {
        step: step_of(&hits.remove(at)),
        voice: Voice::Kick,
    });
    let at = place(&hits, Voice::TomFloor, 120);
    let step = step_of(&hits[at]);
    hits.push(hit(hits[at].time.0, Voice::Snare));
    planted.push(Deviation::Extra {
        step,
        voice: Voice::Snare,
    });
    let strikes: Vec<Strike> = hits
        .iter()
        .map(|h| Strike {
            time: h.time,
            voice: h.voice,
            velocity: 0.7,
        })
        .collect();
    let sound = Kit::new(5, Character::DRY).render(&strikes, Seconds(time(&playing, playing.to) + 1.0));
    let attempt = Attempt::of(&Recording::from_channels(&sound));
    let take = measure(
        &study,
        &Passage::whole(&study).unwrap(),
        &attempt,
        &TakeOptions::default(),
    )
    .unwrap();
    assert_eq!(take.faults, planted);
    assert!((left_foot(&take) - 18.0).abs() < 2.0, "{}", left_foot(&take));
    assert!((take.share / 0.8 - 1.0).abs() < 0.005, "{}", take.share);
}

#[test]
fn two_strokes_in_each_others_place_are_one_slip() {
    let study = study();
    let mut hits = play(&study, &Playing { loose: 0.0, ..PLAIN }, 5);
    // A snare and, a step later, a tom, both alone in their line.
    let solo: Vec<(usize, i64)> = hits
        .iter()
        .enumerate()
        .filter(|(_, h)| matches!(h.voice, Voice::Snare | Voice::TomFloor))
        .map(|(i, h)| (i, ((h.time.0 - 3.0) / 0.125 * 0.58).round() as i64))
        .collect();
    let pair = solo
        .windows(2)
        .skip(40)
        .find(|w| w[1].1 == w[0].1 + 1 && hits[w[0].0].voice != hits[w[1].0].voice)
        .unwrap();
    let (a, b) = (pair[0].0, pair[1].0);
    let (first, second) = (hits[a].voice, hits[b].voice);
    (hits[a].voice, hits[b].voice) = (second, first);
    let take = taken(&study, hits);
    assert_eq!(
        take.faults,
        [Deviation::Slip {
            step: pair[0].1,
            first,
            second
        }]
    );
}

#[test]
fn an_attempt_may_begin_anywhere_and_after_a_false_start() {
    let study = study();
    let playing = Playing {
        from: 7 * 16 + 6,
        to: 15 * 16,
        ..PLAIN
    };
    let mut hits = play(&study, &playing, 9);
    let false_start: Vec<Hit> = hits
        .iter()
        .take(14)
        .map(|h| hit(h.time.0 - 8.0, h.voice))
        .collect();
    hits.iter_mut().for_each(|h| h.time.0 += 6.0);
    hits.extend(false_start.iter().map(|h| hit(h.time.0 + 6.0, h.voice)));
    let take = taken(&study, hits);
    assert_eq!(
        (take.faults.len(), take.false_starts, take.passes.len()),
        (0, 1, 1),
        "{:?}",
        take.faults
    );
    let (from, to) = take.passes[0];
    assert!(
        (from - playing.from).abs() <= 2 && (to - playing.to).abs() <= 4,
        "{from} {to}"
    );
}

#[test]
fn a_metronome_is_left_out() {
    let study = study();
    let mut hits = play(&study, &PLAIN, 11);
    hits.extend((0..BARS * 4).map(|beat| hit(time(&PLAIN, beat * 4), Voice::Other)));
    let take = taken(&study, hits);
    assert_eq!(take.faults, []);
    assert!(take.metronome);
}

#[test]
fn other_names_for_the_same_drums_are_no_faults() {
    let study = study();
    let mut hits = play(&study, &PLAIN, 13);
    for hit in &mut hits {
        hit.voice = match hit.voice {
            Voice::TomFloor => Voice::TomLow,
            Voice::TomHigh => Voice::TomMid,
            Voice::HatFoot => Voice::HatClosed,
            other => other,
        };
    }
    assert_eq!(taken(&study, hits).faults, []);
}

#[test]
fn two_times_through_are_two_passes() {
    let study = study();
    let playing = Playing { to: 10 * 16, ..PLAIN };
    let mut hits = play(&study, &playing, 15);
    let again: Vec<Hit> = hits
        .iter()
        .map(|h| hit(h.time.0 + time(&playing, 164), h.voice))
        .collect();
    hits.extend(again);
    let take = taken(&study, hits);
    assert_eq!((take.passes.len(), take.faults.len()), (2, 0));
}

#[test]
fn a_round_that_was_begun_late_is_no_round() {
    let study = study();
    let rounds = |from: i64, to: i64| {
        let playing = Playing { from, to, ..PLAIN };
        taken(&study, play(&study, &playing, 5)).rounds
    };
    let all = rounds(0, BARS * 16);
    let first = all.first().unwrap();
    assert_eq!(rounds(first.to - 16, BARS * 16).len(), all.len() - 1);
    assert_eq!(rounds(first.to - 16, first.to + 16), []);
    // Why a round was not clean is told.
    let loose = Playing { loose: 0.02, ..PLAIN };
    let take = taken(&study, play(&study, &loose, 5));
    assert!(take.rounds.iter().any(|r| r.far > 0 && !r.clean));
    let said = lines(&take, &study.grid);
    let (_, said) = said.iter().find(|(name, _)| *name == "rounds").unwrap();
    assert!(said.contains("too far from"), "{said}");
}

#[test]
fn what_follows_nothing_is_refused() {
    let study = study();
    let passage = Passage::whole(&study).unwrap();
    for hits in [
        vec![],
        vec![hit(1.0, Voice::Snare)],
        (0..40)
            .map(|i| hit(f64::from(i * i) * 0.01, Voice::China))
            .collect(),
    ] {
        let attempt = Attempt {
            hits,
            ..Attempt::default()
        };
        assert!(matches!(
            measure(&study, &passage, &attempt, &TakeOptions::default()),
            Err(PracticeError::NotFollowed { .. })
        ));
    }
}

#[test]
fn what_to_work_on_is_three_sentences() {
    let study = study();
    let take = taken(&study, play(&study, &Playing { foot: 0.03, ..PLAIN }, 17));
    let next = next(&take, &study.grid);
    assert_eq!(next.len(), 3);
    assert!(
        next[0].contains("left foot lies") && next[0].contains("ms behind"),
        "{next:?}"
    );
    assert!((left_foot(&take) - 30.0).abs() < 2.0);
    assert!(!lines(&take, &study.grid).is_empty());
}
