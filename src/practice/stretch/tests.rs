//! Laws of the stretch, and figures on tones and strokes whose places are known.

use super::*;
use crate::names::Voice;
use crate::practice::drums::{Character, Kit, Strike};
use crate::units::Seconds;

const SPEEDS_TRIED: [f64; 5] = [0.3, 0.5, 0.6, 0.7, 0.85];

fn tone(hz: f64, seconds: f64) -> Vec<f32> {
    (0..(seconds * f64::from(RATE)) as usize)
        .map(|i| (0.5 * (std::f64::consts::TAU * hz * i as f64 / f64::from(RATE)).sin()) as f32)
        .collect()
}

/// Two seconds of sixteenth-triplets at 120 on four drums, and where they are struck.
fn strokes() -> (Vec<Vec<f32>>, Vec<usize>) {
    let voices = [Voice::Snare, Voice::Kick, Voice::TomMid, Voice::HatClosed];
    let strikes: Vec<Strike> = (0..24)
        .map(|i| Strike {
            time: Seconds(0.1 + f64::from(i) / 12.0),
            voice: voices[i as usize % voices.len()],
            velocity: 0.9,
        })
        .collect();
    let sound = Kit::new(5, Character::DRY).render(&strikes, Seconds(2.4));
    (sound, strikes.iter().map(|s| s.time.to_sample(RATE)).collect())
}

#[test]
fn at_full_speed_nothing_changes() {
    let (sound, attacks) = strokes();
    assert_eq!(stretch(&sound, &attacks, 1.0), sound);
}

#[test]
fn the_length_is_that_of_the_source_over_the_speed() {
    let (sound, attacks) = strokes();
    for speed in SPEEDS_TRIED {
        let slow = stretch(&sound, &attacks, speed);
        assert!(
            slow.iter()
                .all(|channel| channel.len() == moved(sound[0].len(), speed)),
            "{speed}"
        );
    }
}

#[test]
fn every_attack_is_copied_sample_by_sample_to_its_place() {
    let (sound, attacks) = strokes();
    for speed in SPEEDS_TRIED {
        let slow = stretch(&sound, &attacks, speed);
        for &attack in &attacks {
            let (from, to) = (attack, attack + samples(20));
            let moved = moved(attack, speed);
            for (channel, slow) in sound.iter().zip(&slow) {
                assert_eq!(
                    channel[from..to],
                    slow[moved..moved + to - from],
                    "{speed}, {attack}"
                );
            }
        }
    }
}

#[test]
fn faster_sound_is_shorter_and_its_attacks_begin_as_they_did() {
    let (sound, attacks) = strokes();
    for speed in [1.05, 1.1] {
        let fast = stretch(&sound, &attacks, speed);
        assert!(
            fast.iter()
                .all(|channel| channel.len() == moved(sound[0].len(), speed)),
            "{speed}"
        );
        for &attack in &attacks {
            let (from, to, moved) = (attack, attack + samples(20), moved(attack, speed));
            for (channel, fast) in sound.iter().zip(&fast) {
                assert_eq!(
                    channel[from..to],
                    fast[moved..moved + to - from],
                    "{speed}, {attack}"
                );
            }
        }
    }
}

#[test]
fn faster_sound_with_attacks_side_by_side_has_no_jump() {
    let source = tone(200.0, 1.0);
    let steepest = |sound: &[f32]| sound.windows(2).map(|w| (w[1] - w[0]).abs()).fold(0.0, f32::max);
    // Attacks so near that their copies meet.
    let attacks: Vec<usize> = (0..35).map(|i| samples(10) + i * samples(27)).collect();
    let fast = &stretch(std::slice::from_ref(&source), &attacks, 1.1)[0];
    let (before, after) = (steepest(&source), steepest(fast));
    // A fade over 2 ms between two places of a wave of this height adds at most its height over the fade.
    assert!(
        after < before + 1.0 / FADE as f32 * 3.0,
        "{before} became {after}"
    );
}

#[test]
fn silence_stays_silent_and_odd_input_does_no_harm() {
    assert_eq!(stretch(&[], &[], 0.5), Vec::<Vec<f32>>::new());
    assert_eq!(stretch(&[vec![]], &[4], 0.5), [Vec::<f32>::new()]);
    assert!(
        stretch(&[vec![0.0; 999]], &[0, 0, 1, 998, 5000], 0.3)[0]
            .iter()
            .all(|s| *s == 0.0)
    );
    for speed in [f64::NAN, -1.0, 0.0, 7.0] {
        assert!(!stretch(&[vec![0.1; 100], vec![0.2; 90]], &[50], speed)[1].is_empty());
    }
}

#[test]
fn equal_channels_stay_equal_and_a_silent_one_stays_silent() {
    let (sound, attacks) = strokes();
    let slow = stretch(
        &[sound[0].clone(), sound[0].clone(), vec![0.0; sound[0].len()]],
        &attacks,
        0.5,
    );
    assert_eq!(slow[0], slow[1]);
    assert!(slow[2].iter().all(|s| *s == 0.0));
}

#[test]
fn louder_sound_is_stretched_alike() {
    let (sound, attacks) = strokes();
    let louder: Vec<Vec<f32>> = sound
        .iter()
        .map(|c| c.iter().map(|s| s * 2.0).collect())
        .collect();
    let (one, two) = (stretch(&sound, &attacks, 0.6), stretch(&louder, &attacks, 0.6));
    let off = one[0]
        .iter()
        .zip(&two[0])
        .map(|(a, b)| (2.0 * a - b).abs())
        .fold(0.0, f32::max);
    assert!(off < 1e-5, "{off}");
}

#[test]
fn a_steady_tone_keeps_its_level_and_its_pitch() {
    for hz in [110.0, 441.0, 3000.0] {
        let source = tone(hz, 2.0);
        for speed in SPEEDS_TRIED {
            let slow = &stretch(std::slice::from_ref(&source), &[22_050], speed)[0];
            let inner = &slow[8000..slow.len() - 8000];
            let rms = (inner.iter().map(|s| s * s).sum::<f32>() / inner.len() as f32).sqrt();
            assert!(
                (20.0 * (rms / 0.353_55).log10()).abs() < 0.5,
                "{hz} Hz at {speed}: {rms}"
            );
            let crossings = inner.windows(2).filter(|w| w[0] < 0.0 && w[1] >= 0.0).count() as f64;
            let heard = crossings / (inner.len() as f64 / f64::from(RATE));
            // A count of crossings is exact to one.
            assert!((heard - hz).abs() < 1.5, "{hz} Hz at {speed}: {heard}");
        }
    }
}

#[test]
fn strokes_that_nobody_listed_are_found_and_listed_ones_are_not_found_again() {
    let (sound, attacks) = strokes();
    let listed: Vec<usize> = attacks.iter().copied().step_by(2).collect();
    let more = more_attacks(&sound, &listed);
    let hidden: Vec<usize> = attacks.iter().copied().skip(1).step_by(2).collect();
    let found = hidden
        .iter()
        .filter(|h| more.iter().any(|m| m.abs_diff(**h) < samples(4)))
        .count();
    assert!(found * 10 >= hidden.len() * 9, "{found} of {}", hidden.len());
    assert!(
        more.iter()
            .all(|m| listed.iter().all(|l| l.abs_diff(*m) >= samples(20)))
    );
}
