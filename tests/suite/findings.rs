//! What the command finds on recordings whose truth is known, and on sounds in which there is nothing to find.

use std::f64::consts::TAU;

use overbar::units::Seconds;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;

use crate::desk::{
    DEMO, RATE, demo, json, moments, overbar, recording, rows, study, times, truth, write_wav,
};
use crate::score;

/// Cycles of a study that cross the bar line.
fn crossing(study: &Value) -> Vec<&Value> {
    let cycles = study["cycles"].as_array().unwrap();
    cycles.iter().filter(|c| c["crosses_bar"] == true).collect()
}

/// What a study must say of a solo over one figure that runs freely.
struct Played {
    meter: [u32; 2],
    steps_per_beat: u32,
    tempo: f64,
    length: u32,
    home_bars: u32,
    home_cycles: u32,
}

fn assert_found(study: &Value, played: &Played, truth: &Value) {
    let grid = &study["grid"];
    assert_eq!(grid["meter"], serde_json::json!(played.meter));
    assert_eq!(grid["steps_per_beat"], played.steps_per_beat);
    let tempo = grid["tempo_bpm"].as_f64().unwrap();
    assert!((tempo / played.tempo - 1.0).abs() < 0.02, "{tempo} bpm");
    let cycles = study["cycles"].as_array().unwrap();
    assert_eq!(crossing(study).len(), 1, "one figure was played: {cycles:?}");
    let best = &cycles[0];
    assert_eq!(best["length_steps"], played.length);
    assert_eq!(best["home_bars"], played.home_bars);
    assert_eq!(best["home_cycles"], played.home_cycles);
    assert_eq!(best["resolved"], Value::Null, "it runs freely");
    let planted = &truth["cycles"][0];
    let bar = 60.0 / played.tempo * f64::from(played.meter[0]);
    for end in ["start", "end"] {
        let (found, there) = (
            best[end]["time"].as_f64().unwrap(),
            planted[end].as_f64().unwrap(),
        );
        assert!(
            (found - there).abs() < bar,
            "{end} at {found} s, played to be at {there} s"
        );
    }
}

#[test]
fn the_demo_has_ten_steps_on_sixteenths_and_is_home_after_five_bars() {
    // 10 against 16: home after 16 / gcd(10, 16) = 8 cycles = 10 / 2 = 5 bars [=].
    let played = Played {
        meter: [4, 4],
        steps_per_beat: 4,
        tempo: 116.0,
        length: 10,
        home_bars: 5,
        home_cycles: 8,
    };
    assert_found(&json(&demo().join("study.json")), &played, &truth(DEMO));
}

#[test]
fn seven_triplets_in_three_quarters_are_home_after_seven_bars() {
    // 7 against 9: home after 9 cycles = 7 bars [=].
    let played = Played {
        meter: [3, 4],
        steps_per_beat: 3,
        tempo: 132.0,
        length: 7,
        home_bars: 7,
        home_cycles: 9,
    };
    let folder = tempfile::tempdir().unwrap();
    let study = study(&recording("harbour-steps"), &folder.path().join("study"), &[]);
    assert_found(&study, &played, &truth("harbour-steps"));
}

#[test]
fn the_demo_s_hits_and_beats_are_where_they_were_played() {
    let truth = truth(DEMO);
    let played = truth["hits"]
        .as_array()
        .unwrap()
        .iter()
        .map(|h| Seconds(h[0].as_f64().unwrap()));
    let heard = rows(demo());
    let column = heard[0].iter().position(|name| name == "time").unwrap();
    let heard = heard[1..].iter().map(|row| Seconds(row[column].parse().unwrap()));
    let hits = score::onsets(
        &moments(played.collect()),
        &moments(heard.collect()),
        Seconds(0.02),
    );
    assert!(hits.f > 0.95, "hits at 20 ms: {hits:?}");
    let grid = &json(&demo().join("study.json"))["grid"];
    for (what, at_least) in [("beats", 0.97), ("downbeats", 0.97)] {
        let found = score::beats(&times(&truth[what]), &times(&grid[what]));
        assert!(found.f > at_least, "{what}: {found:?}");
    }
}

/// Rank correlation (Spearman, American Journal of Psychology 15, 1904) of two values that belong together.
fn agreement(pairs: &[(f64, f64)]) -> f64 {
    let ranks = |value: fn(&(f64, f64)) -> f64| -> Vec<f64> {
        let of = |x: f64| {
            let (below, same) = pairs.iter().fold((0.0, 0.0), |(below, same), pair| {
                let y = value(pair);
                (
                    below + f64::from(u8::from(y < x)),
                    same + f64::from(u8::from(y == x)),
                )
            });
            below + same / 2.0
        };
        pairs.iter().map(|pair| of(value(pair))).collect()
    };
    let (a, b) = (ranks(|p| p.0), ranks(|p| p.1));
    let mean = pairs.len() as f64 / 2.0;
    let dot = |x: &[f64], y: &[f64]| -> f64 { x.iter().zip(y).map(|(p, q)| (p - mean) * (q - mean)).sum() };
    dot(&a, &b) / (dot(&a, &a) * dot(&b, &b)).sqrt()
}

#[test]
fn levels_follow_the_strength_of_the_strokes() {
    let heard = rows(demo());
    let column = |name: &str| heard[0].iter().position(|n| n == name).unwrap();
    let (time, voice, level) = (column("time"), column("voice"), column("level"));
    let number = |row: &[String], column: usize| row[column].parse::<f64>().unwrap();
    let played = truth(DEMO);
    // What rings longest under everything else, and what is often covered by it, agrees least.
    for (name, at_least) in [
        ("snare", 0.85),
        ("snare_2", 0.5),
        ("kick", 0.45),
        ("hat_foot", 0.6),
    ] {
        let strokes = played["hits"].as_array().unwrap().iter().filter(|h| h[1] == name);
        let pairs: Vec<(f64, f64)> = strokes
            .filter_map(|stroke| {
                let at = stroke[0].as_f64().unwrap();
                let off = |row: &[String]| (number(row, time) - at).abs();
                let near = heard[1..]
                    .iter()
                    .filter(|row| row[voice] == name && off(row) < 0.025);
                let row = near.min_by(|a, b| off(a).total_cmp(&off(b)))?;
                Some((stroke[2].as_f64().unwrap(), number(row, level)))
            })
            .collect();
        let found = agreement(&pairs);
        assert!(
            pairs.len() > 15 && found > at_least,
            "{name}: {found:.2} over {}",
            pairs.len()
        );
    }
}

#[test]
fn a_solo_without_a_figure_has_none() {
    let folder = tempfile::tempdir().unwrap();
    let study = study(&recording("salt-road"), &folder.path().join("study"), &[]);
    assert!(crossing(&study).is_empty(), "{}", study["cycles"]);
    let hits: u64 = study["voices"]
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v["hits"].as_u64().unwrap())
        .sum();
    assert!(hits > 100, "only {hits} hits: nothing was searched");
}

#[test]
fn sounds_without_music_have_no_figure_and_are_no_error() {
    let mut noise = ChaCha8Rng::seed_from_u64(7);
    let seconds = |n: u32| 0..n * RATE;
    let sounds: [(&str, Vec<f64>); 5] = [
        ("silence", seconds(12).map(|_| 0.0).collect()),
        (
            "noise",
            seconds(12).map(|_| noise.random_range(-0.5..0.5)).collect(),
        ),
        (
            "click",
            seconds(8).map(|i| if i == RATE { 0.9 } else { 0.0 }).collect(),
        ),
        (
            "tone",
            seconds(8)
                .map(|i| 0.5 * (TAU * 220.0 * f64::from(i) / f64::from(RATE)).sin())
                .collect(),
        ),
        ("one sample", vec![0.5]),
    ];
    let folder = tempfile::tempdir().unwrap();
    for (name, samples) in sounds {
        let file = folder.path().join(format!("{name}.wav"));
        write_wav(&file, samples);
        let study = study(&file, &folder.path().join(name), &[]);
        assert_eq!(study["cycles"], serde_json::json!([]), "{name}");
        if name == "silence" {
            assert_eq!(study["voices"], serde_json::json!([]), "{name}");
        }
    }
}

#[test]
fn hints_are_obeyed() {
    let folder = tempfile::tempdir().unwrap();
    let flags = ["--meter", "3/4", "--steps", "3", "--from", "2", "--to", "14"];
    let study = study(&recording(DEMO), &folder.path().join("study"), &flags);
    let grid = &study["grid"];
    assert_eq!(grid["meter"], serde_json::json!([3, 4]));
    assert_eq!(grid["steps_per_beat"], 3);
    let heard = rows(&folder.path().join("study"));
    let column = heard[0].iter().position(|name| name == "time").unwrap();
    let out_of_range = heard[1..]
        .iter()
        .filter(|row| !(2.0..=14.0).contains(&row[column].parse().unwrap()));
    assert_eq!(out_of_range.count(), 0);
    assert!(heard.len() > 30);
}

#[test]
fn verify_upholds_the_played_length_and_contradicts_others() {
    let verdict = |length: &str| {
        let done = overbar()
            .args(["verify", "--json", "--length", length])
            .arg(demo())
            .assert()
            .success();
        let answer: Value = serde_json::from_slice(&done.get_output().stdout).unwrap();
        assert!(!answer["claim"].is_null(), "{answer}");
        answer["verdict"].as_str().unwrap().to_owned()
    };
    assert!(
        ["certain", "likely"].contains(&verdict("10").as_str()),
        "{}",
        verdict("10")
    );
    for other in ["7", "9", "11", "16"] {
        assert_eq!(verdict(other), "contradicted", "{other} steps");
    }
}

#[test]
fn one_thread_and_many_write_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let alone = folder.path().join(DEMO);
    let command = ["--quiet".as_ref(), "--out".as_ref(), alone.as_os_str()];
    overbar()
        .env("RAYON_NUM_THREADS", "1")
        .arg("study")
        .arg(recording(DEMO))
        .args(command)
        .assert()
        .success();
    for file in crate::desk::files(demo()) {
        let read = |root: &std::path::Path| std::fs::read(root.join(&file)).unwrap();
        assert!(read(&alone) == read(demo()), "{} differs", file.display());
    }
}
