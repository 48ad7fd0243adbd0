//! How the command behaves: what it refuses and how, what it prints where, what it leaves behind.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::desk::{DEMO, copy, demo, files, overbar, recording, write_wav};

/// The program's error lines after arguments that it must refuse with `status`, having printed nothing else.
fn refusal(status: i32, args: &[&str], folder: &Path) -> String {
    let before = files(folder);
    let done = overbar().args(args).current_dir(folder).assert().code(status);
    let output = done.get_output();
    let error = String::from_utf8(output.stderr.clone()).unwrap();
    assert!(output.stdout.is_empty(), "{args:?} printed to stdout");
    assert!(error.starts_with("error: "), "{args:?}: {error}");
    for slip in ["panicked", "Os {", "Error(", "RUST_BACKTRACE"] {
        assert!(!error.contains(slip), "{args:?}: {error}");
    }
    assert_eq!(files(folder), before, "{args:?} left something behind");
    error
}

#[test]
fn recordings_that_cannot_be_read_are_refused_in_one_line_that_names_them() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    write_wav(
        &path("whole.wav"),
        (0..44_100).map(|i| if i % 11_025 < 50 { 0.9 } else { 0.0 }),
    );
    let whole = fs::read(path("whole.wav")).unwrap();
    fs::write(path("text.wav"), "Dear diary, today I hit a drum.\n".repeat(40)).unwrap();
    fs::write(path("empty.wav"), "").unwrap();
    fs::write(path("cut.wav"), &whole[..30]).unwrap();
    fs::write(path("no sound.wav"), &whole[..44]).unwrap();
    fs::create_dir(path("folder.wav")).unwrap();
    for name in [
        "missing.wav",
        "text.wav",
        "empty.wav",
        "cut.wav",
        "no sound.wav",
        "folder.wav",
    ] {
        let error = refusal(1, &["study", name], folder.path());
        assert_eq!(error.lines().count(), 1, "{error}");
        assert!(error.contains(name), "{error}");
    }
    // Other things in output/ are no reason to speak of them.
    fs::create_dir(path("output")).unwrap();
    fs::write(path("output/song.txt"), "").unwrap();
    for nameless in [".", "output/.."] {
        let error = refusal(1, &["study", nameless], folder.path());
        assert_eq!(
            error,
            format!("error: {nameless}: this is a folder, not a recording; name one sound file\n")
        );
    }
}

#[test]
fn a_recording_that_is_cut_short_is_studied_as_far_as_it_goes_and_the_player_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let whole = fs::read(recording(DEMO)).unwrap();
    let cut = folder.path().join("cut.wav");
    fs::write(&cut, &whole[..whole.len() / 3]).unwrap();
    let out = folder.path().join("study");
    let done = overbar()
        .arg("study")
        .arg(&cut)
        .arg("--out")
        .arg(&out)
        .assert()
        .success();
    let output = done.get_output();
    let said = String::from_utf8_lossy(&output.stdout) + String::from_utf8_lossy(&output.stderr);
    assert!(said.contains("cut short"), "{said}");
}

#[test]
fn wrong_usage_has_status_two_and_says_what_would_do() {
    let folder = tempfile::tempdir().unwrap();
    let (song, study) = (recording(DEMO), demo().to_str().unwrap());
    let song = song.to_str().unwrap();
    for (args, remedy) in [
        (&["study"][..], "RECORDING"),
        (&["study", song, "--meter", "nonsense"], "4/4"),
        (&["study", song, "--meter", "4/0"], "4/4"),
        (&["study", song, "--tempo", "-3"], "tempo"),
        (&["study", song, "--tempo", "fast"], "beats a minute"),
        (&["study", song, "--steps", "0"], "--steps"),
        (&["study", song, "--from", "-1"], "--from"),
        (&["study", song, "--downbeat", "soon"], "seconds"),
        (&["study", song, "--speed", "9"], "--speed"),
        (&["verify", study, "--length", "0"], "--length"),
        (&["verify", study, "--length", "ten"], "--length"),
        (&["verify", study], "--length"),
        (&["chart", study, "--chart", "nonsense"], "grid"),
        (&["chart", study, "--bars", "9-2"], "5-12"),
        (&["polish"], "polish"),
    ] {
        let error = refusal(2, args, folder.path());
        assert!(error.contains(remedy), "{args:?}: {error}");
    }
}

#[test]
fn bars_that_no_chart_can_show_are_refused() {
    let study = demo().to_str().unwrap();
    let folder = tempfile::tempdir().unwrap();
    for (more, remedy) in [
        (&["--bars", "30-40"][..], "bars 30 to 40 lie outside the study"),
        (&["--bars", "3-4", "--chart", "evidence"], "leave --bars out"),
    ] {
        let error = refusal(1, &[&["chart", study], more].concat(), folder.path());
        assert!(error.contains(remedy), "{more:?}: {error}");
    }
}

#[test]
fn flags_of_drill_that_would_be_ignored_are_wrong_usage() {
    let folder = tempfile::tempdir().unwrap();
    let study = demo().to_str().unwrap();
    for (flags, remedy) in [
        (&["--speed", "60"][..], "name them with --bars or --repeats"),
        (&["--beside"], "name them with --bars or --repeats"),
        (&["--line", "figure"], "name them with --bars or --repeats"),
        (&["--easier", "accents"], "name them with --bars or --repeats"),
        (&["--bars", "1", "--cell", "RLL"], "leave out --bars"),
        (&["--repeats", "1", "--target", "90"], "leave out --bars"),
        (&["--bars", "1", "--no-sound"], "leave out --bars"),
    ] {
        let error = refusal(2, &[&["drill", study], flags].concat(), folder.path());
        assert!(error.contains(remedy), "{flags:?}: {error}");
    }
}

#[test]
fn another_recording_is_not_slowed_in_the_place_of_the_study_s_own() {
    let place = tempfile::tempdir().unwrap();
    let folder = place.path().join("study");
    copy(demo(), &folder);
    let drill = |recording: &str| {
        let mut command = overbar();
        command
            .arg("drill")
            .arg(&folder)
            .args(["--bars", "5", "--recording"])
            .arg(recording);
        command
    };
    let song = recording(DEMO);
    drill(song.to_str().unwrap()).assert().success();
    let slow = folder.join("practice/bars-5-5-slow-60.wav");
    let before = fs::read(&slow).unwrap();
    let other = place.path().join("other.wav");
    write_wav(
        &other,
        (0..20 * 44_100).map(|i| if i % 11_025 < 50 { 0.9 } else { 0.0 }),
    );
    let done = drill(other.to_str().unwrap()).assert().code(1);
    let error = String::from_utf8_lossy(&done.get_output().stderr).into_owned();
    assert!(
        error.contains("other.wav is not the file that the study was made of (paper-lanterns.wav)"),
        "{error}"
    );
    assert_eq!(error.lines().count(), 1, "{error}");
    assert_eq!(fs::read(&slow).unwrap(), before);
}

#[test]
fn an_attempt_taken_twice_is_told_and_counted_once_and_keeps_other_recordings_away() {
    let place = tempfile::tempdir().unwrap();
    let folder = place.path().join("study");
    copy(demo(), &folder);
    let run = |args: &[&str], status: i32| {
        let done = overbar()
            .args(args)
            .current_dir(place.path())
            .assert()
            .code(status);
        String::from_utf8_lossy(&[&done.get_output().stdout[..], &done.get_output().stderr].concat())
            .into_owned()
    };
    run(
        &[
            "drill",
            "study",
            "--bars",
            "3-5",
            "--no-click",
            "--count-in",
            "0",
            "--speed",
            "90",
        ],
        0,
    );
    let take = ["take", "study", "study/practice/bars-3-5-model-90.wav"];
    let said = run(&take, 0);
    assert!(
        said.contains("1 so far") && !said.contains("taken before"),
        "{said}"
    );
    let said = run(&take, 0);
    assert!(
        said.contains("1 so far") && said.contains("was taken before, on 20"),
        "{said}"
    );
    assert_eq!(
        fs::read_to_string(folder.join("takes.jsonl"))
            .unwrap()
            .lines()
            .count(),
        2
    );
    let before = files(&folder);
    write_wav(
        &place.path().join("other.wav"),
        (0..88_200).map(|i| if i % 11_025 < 50 { 0.9 } else { 0.0 }),
    );
    let said = run(&["study", "other.wav", "--out", "study"], 1);
    assert!(
        said.contains("holds your takes and practice sheets of another recording (paper-lanterns.wav)"),
        "{said}"
    );
    assert_eq!(files(&folder), before);
}

#[test]
fn another_layout_of_the_score_replaces_nothing() {
    let place = tempfile::tempdir().unwrap();
    let folder = place.path().join("study");
    copy(demo(), &folder);
    let all = || -> Vec<_> {
        let read = |file: &std::path::PathBuf| fs::read(folder.join(file)).unwrap();
        files(&folder)
            .into_iter()
            .map(|file| (read(&file), file))
            .collect()
    };
    let before = all();
    overbar()
        .arg("chart")
        .arg(&folder)
        .args(["--layout", "figure-solo", "--chart", "staff"])
        .assert()
        .success();
    let after = all();
    assert!(
        before.iter().all(|file| after.contains(file)),
        "something is replaced"
    );
    let new = after.iter().filter(|file| !before.contains(file));
    let new: Vec<String> = new.map(|(_, file)| file.display().to_string()).collect();
    assert!(new.iter().all(|file| file.contains("-figure-solo")), "{new:?}");
    assert!(new.contains(&"score-figure-solo.pdf".to_owned()), "{new:?}");
}

#[test]
fn a_part_that_is_not_in_the_recording_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let song = recording(DEMO);
    for (part, what) in [
        (&["--from", "5000"][..], "beyond the end"),
        (&["--from", "9", "--to", "4"], "the end must come after the start"),
        (&["--downbeat", "400"], "lies beyond its end"),
    ] {
        let args = [&["study", song.to_str().unwrap()], part].concat();
        let error = refusal(1, &args, folder.path());
        assert!(
            error.contains(part[1]) && error.contains(what),
            "{args:?}: {error}"
        );
        assert_eq!(error.lines().count(), 1, "{error}");
    }
}

#[test]
fn a_folder_that_is_no_study_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("bare")).unwrap();
    for args in [
        &["verify", "bare", "--length", "10"][..],
        &["verify", "nowhere", "--length", "10"],
        &["chart", "bare"],
        &["chart", "nowhere"],
    ] {
        let error = refusal(1, args, folder.path());
        assert!(error.contains(args[1]), "{args:?}: {error}");
    }
}

#[test]
fn a_place_that_cannot_be_written_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("taken"), "a file").unwrap();
    let song = recording(DEMO);
    let error = refusal(
        1,
        &["study", song.to_str().unwrap(), "--out", "taken"],
        folder.path(),
    );
    assert!(error.contains("taken"), "{error}");
}

#[test]
fn quiet_prints_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("study");
    for args in [
        vec![
            "study".as_ref(),
            recording(DEMO).as_os_str(),
            "--out".as_ref(),
            out.as_os_str(),
        ],
        vec!["chart".as_ref(), out.as_os_str()],
    ] {
        let done = overbar().args(&args).arg("--quiet").assert().success();
        let output = done.get_output();
        assert!(
            output.stdout.is_empty() && output.stderr.is_empty(),
            "{args:?}: {output:?}"
        );
    }
    assert!(out.join("hits.tsv").exists());
}

#[test]
fn json_is_one_value_on_stdout_and_nothing_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("study");
    for args in [
        vec![
            "study".as_ref(),
            recording(DEMO).as_os_str(),
            "--out".as_ref(),
            out.as_os_str(),
        ],
        vec![
            "verify".as_ref(),
            out.as_os_str(),
            "--length".as_ref(),
            "10".as_ref(),
        ],
        vec!["chart".as_ref(), out.as_os_str()],
    ] {
        let done = overbar().args(&args).arg("--json").assert().success();
        let output = done.get_output();
        let value: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert!(value.is_object(), "{args:?}: {value}");
        assert!(output.stderr.is_empty(), "{args:?}: {output:?}");
    }
}

#[test]
fn the_study_goes_to_output_and_the_recording_s_name() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("my take 3.wav");
    write_wav(
        &file,
        (0..88_200).map(|i| if i % 22_050 < 50 { 0.9 } else { 0.0 }),
    );
    overbar()
        .args(["study", "my take 3.wav"])
        .current_dir(folder.path())
        .assert()
        .success();
    assert!(folder.path().join("output/my take 3/hits.tsv").exists());
}

#[test]
fn a_reader_that_stops_reading_is_no_error() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_overbar"))
        .args(["verify", "--length", "10", "--json"])
        .arg(demo())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(
        output.status.success() && error.is_empty(),
        "{}: {error}",
        output.status
    );
}
