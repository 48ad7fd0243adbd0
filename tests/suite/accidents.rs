//! Runs that are killed, runs that meet, recordings that change: the study stays whole and no edit is lost.

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use overbar::names::Voice;
use overbar::study;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::desk::{DEMO, copy, files, overbar, recording, rows};

/// Seconds of the demo that these runs study.
const PART: &str = "12";

fn start(folder: &Path) -> Child {
    Command::new(env!("CARGO_BIN_EXE_overbar"))
        .args(["study", "--quiet", "--to", PART, "--out"])
        .arg(folder)
        .arg(recording(DEMO))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

fn whole_run(folder: &Path) -> Duration {
    let begun = Instant::now();
    assert!(start(folder).wait().unwrap().success());
    begun.elapsed()
}

/// Gives the row at `time` another voice, as an editor does: beside, and renamed.
fn edit(folder: &Path, time: &str, voice: &str) {
    let (hits, beside) = (folder.join("hits.tsv"), folder.join(".hits.swp"));
    let text = fs::read_to_string(&hits).unwrap();
    let changed: Vec<String> = text
        .lines()
        .map(|line| match line.split('\t').collect::<Vec<_>>().as_mut_slice() {
            [at, was, rest @ ..] if *at == time => {
                *was = voice;
                format!("{at}\t{was}\t{}", rest.join("\t"))
            }
            _ => line.to_owned(),
        })
        .collect();
    fs::write(&beside, changed.join("\n") + "\n").unwrap();
    fs::rename(beside, hits).unwrap();
}

/// `OVERBAR_KILLS` runs, 20 without it, each killed at a random moment, half of them while the study is being written.
#[test]
fn a_run_killed_at_any_moment_leaves_a_whole_study_and_every_edit() {
    let kills: u64 = std::env::var("OVERBAR_KILLS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(20);
    let place = tempfile::tempdir().unwrap();
    let folder = place.path().join("study");
    let whole = (0..3).map(|_| whole_run(&folder)).min().unwrap();
    let times: Vec<String> = rows(&folder).iter().skip(1).map(|row| row[0].clone()).collect();
    let once = |time: &String| times.iter().filter(|other| *other == time).count() == 1;
    let alone: Vec<&String> = times.iter().filter(|time| once(time)).collect();
    assert!(alone.len() > 12, "{} rows", alone.len());
    let seed = 20_260;
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let mut edits: BTreeMap<&String, Voice> = BTreeMap::new();
    let (mut ended, mut parts) = (0, 0);
    for run in 0..kills {
        let time = alone[dice.random_range(0..alone.len())];
        let voice = Voice::ALL[dice.random_range(0..Voice::ALL.len())];
        edit(&folder, time, voice.name());
        edits.insert(time, voice);
        let share = if run % 2 == 0 {
            dice.random_range(0.0..1.1)
        } else {
            dice.random_range(0.75..1.2)
        };
        let mut child = start(&folder);
        sleep(whole.mul_f64(share));
        ended += usize::from(child.try_wait().unwrap().is_some());
        child.kill().unwrap();
        child.wait().unwrap();
        parts += usize::from(
            files(&folder)
                .iter()
                .any(|f| f.extension().is_some_and(|e| e == "part")),
        );
        let read = study::read(&folder).unwrap_or_else(|error| panic!("seed {seed}, run {run}: {error}"));
        for (time, voice) in &edits {
            let seconds: f64 = time.parse().unwrap();
            let found = read
                .strokes
                .iter()
                .any(|s| (s.hit.time.0 - seconds).abs() < 1e-6 && s.hit.voice == *voice);
            assert!(
                found,
                "seed {seed}, run {run}: {time} is no {} any more",
                voice.name()
            );
        }
    }
    // To the terminal past the test's own capture: this is what a long run is made for.
    writeln!(
        io::stderr(),
        "{kills} runs killed, seed {seed}: {ended} had ended, {parts} left half a file, {} rows edited",
        edits.len()
    )
    .unwrap();
    assert!(start(&folder).wait().unwrap().success());
    let kept = rows(&folder);
    for (time, voice) in &edits {
        assert!(
            kept.iter().any(|row| row[0] == **time && row[1] == voice.name()),
            "{time}"
        );
    }
    assert!(
        !files(&folder)
            .iter()
            .any(|f| f.extension().is_some_and(|e| e == "part")),
        "the next run clears up"
    );
}

#[test]
fn two_runs_on_one_study_do_not_mix() {
    let place = tempfile::tempdir().unwrap();
    let (folder, reference) = (place.path().join("study"), place.path().join("reference"));
    whole_run(&reference);
    for _ in 0..4 {
        let mut children: Vec<Child> = (0..3).map(|_| start(&folder)).collect();
        let done = children.iter_mut().filter_map(|c| c.wait().unwrap().code());
        let codes: Vec<i32> = done.collect();
        assert!(
            codes.contains(&0) && codes.iter().all(|c| [0, 1].contains(c)),
            "{codes:?}"
        );
        assert_eq!(files(&folder), files(&reference));
        for file in files(&reference) {
            assert!(
                fs::read(folder.join(&file)).unwrap() == fs::read(reference.join(&file)).unwrap(),
                "{}",
                file.display()
            );
        }
    }
    let _held = study::lock(&folder).unwrap();
    let out = folder.to_str().unwrap();
    for args in [
        vec!["study", recording(DEMO).to_str().unwrap(), "--out", out],
        vec!["chart", out],
        vec!["drill", out, "--no-sound"],
        vec!["take", out],
    ] {
        let error = crate::hard::refused(place.path(), &args);
        assert!(error.contains("another run is at work"), "{error}");
    }
}

#[test]
fn a_study_is_the_same_on_any_number_of_threads_and_from_any_place() {
    let place = tempfile::tempdir().unwrap();
    let mut made = Vec::new();
    for (threads, home) in [("1", "a"), ("2", "b"), ("4", "another place/deep down")] {
        let home = place.path().join(home);
        fs::create_dir_all(&home).unwrap();
        fs::copy(recording(DEMO), home.join("take.wav")).unwrap();
        let absolute = home.join("take.wav");
        let name = if threads == "2" {
            absolute.to_str().unwrap()
        } else {
            "take.wav"
        };
        overbar()
            .args(["study", name])
            .env("RAYON_NUM_THREADS", threads)
            .current_dir(&home)
            .assert()
            .success();
        made.push(home.join("output/take"));
    }
    for other in &made[1..] {
        assert_eq!(files(other), files(&made[0]));
        for file in files(other) {
            assert!(
                fs::read(other.join(&file)).unwrap() == fs::read(made[0].join(&file)).unwrap(),
                "{}",
                file.display()
            );
        }
    }
}

#[test]
fn a_recording_that_moved_changed_or_is_gone_is_recognised() {
    let place = tempfile::tempdir().unwrap();
    let (folder, song) = (place.path().join("study"), place.path().join("song.wav"));
    fs::copy(recording(DEMO), &song).unwrap();
    let study = |file: &Path| {
        let mut command = overbar();
        command
            .arg("study")
            .arg(file)
            .args(["--to", PART, "--out"])
            .arg(&folder);
        command
    };
    study(&song).assert().success();
    let found = rows(&folder);
    let once = |row: &&Vec<String>| found.iter().filter(|other| other[0] == row[0]).count() == 1;
    let time = found.iter().skip(1).find(once).unwrap()[0].clone();
    edit(&folder, &time, "china");
    let drill = |file: &Path| {
        let mut command = overbar();
        command
            .arg("drill")
            .arg(&folder)
            .args(["--bars", "1", "--recording"])
            .arg(file);
        let output = command.output().unwrap();
        (
            output.status.code(),
            String::from_utf8_lossy(&[output.stdout, output.stderr].concat()).into_owned(),
        )
    };
    // Moved and renamed: the same bytes, no word about it, the edit kept.
    let moved = place.path().join("elsewhere.wav");
    fs::rename(&song, &moved).unwrap();
    let said = study(&moved).assert().success();
    let said = String::from_utf8_lossy(&said.get_output().stdout).into_owned();
    assert!(
        said.contains("1 voice changed") && !said.contains("another"),
        "{said}"
    );
    let (code, said) = drill(&moved);
    assert!(code == Some(0) && !said.contains("is not the file"), "{said}");
    // Gone.
    let (code, said) = drill(&song);
    assert!(code == Some(1) && said.contains("no such file"), "{said}");
    // Changed: another length, so the edit is not put onto it.
    let mut bytes = fs::read(&moved).unwrap();
    bytes.truncate(bytes.len() / 2);
    fs::write(&moved, bytes).unwrap();
    let error = study(&moved).assert().code(1);
    let error = String::from_utf8_lossy(&error.get_output().stderr).into_owned();
    assert!(
        error.contains("your edits and practice sheets of another recording"),
        "{error}"
    );
    let (_, said) = drill(&moved);
    assert!(
        said.contains("is not the file that the study was made of"),
        "{said}"
    );
    // Half a folder is made whole by the next run.
    let half = place.path().join("half");
    copy(&folder, &half);
    fs::remove_file(half.join("hits.tsv")).unwrap();
    let args = ["--to", PART, "--out"];
    overbar()
        .arg("study")
        .arg(recording(DEMO))
        .args(args)
        .arg(&half)
        .assert()
        .success();
    assert!(rows(&half).iter().any(|row| row[0] == time && row[1] == "china"));
}
