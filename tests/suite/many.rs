//! Several recordings at once.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::desk::{RATE, files, overbar, place, write_wav};

/// A folder with three recordings, one of which is none.
fn three() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for name in ["one.wav", "two & <more>.wav"] {
        let strokes = (0..2 * RATE).map(|i| if i % 11_025 < 50 { 0.9 } else { 0.0 });
        write_wav(&folder.path().join(name), strokes);
    }
    fs::write(folder.path().join("bad.wav"), "no sound").unwrap();
    folder
}

const ALL: [&str; 4] = ["study", "one.wav", "bad.wav", "two & <more>.wav"];

fn page(folder: &Path) -> String {
    fs::read_to_string(folder.join("output/index.html")).unwrap()
}

#[test]
fn one_bad_recording_does_not_stop_the_others() {
    let folder = three();
    let done = overbar().args(ALL).current_dir(folder.path()).assert().code(1);
    let output = done.get_output();
    let (said, error) = (
        String::from_utf8_lossy(&output.stdout).into_owned(),
        String::from_utf8_lossy(&output.stderr).into_owned(),
    );
    let rows: Vec<&str> = said.lines().take(4).collect();
    assert!(
        rows[0].starts_with("recording") && rows[1].starts_with("one.wav"),
        "{said}"
    );
    assert!(
        rows[2].starts_with("bad.wav") && rows[2].ends_with("refused"),
        "{said}"
    );
    assert!(
        error.contains("1 of 3 recordings refused") && error.contains("bad.wav: this is no sound file"),
        "{error}"
    );
    for name in ["one", "two & <more>"] {
        assert!(folder.path().join("output").join(name).join("hits.tsv").exists());
    }
    assert!(
        !folder.path().join("output/bad").exists(),
        "nothing is left of what was refused"
    );
    let page = page(folder.path());
    assert!(
        page.contains("two &amp; &lt;more&gt;.wav") && page.contains("href=\"two%20%26%20%3Cmore%3E/"),
        "{page}"
    );
    assert_eq!(page.matches("<tr><td>").count(), 2);
}

#[test]
fn each_study_is_the_same_as_if_it_were_made_alone() {
    let folder = three();
    overbar().args(ALL).current_dir(folder.path()).assert().code(1);
    let args = ["study", "one.wav", "--out", "alone"];
    overbar().args(args).current_dir(folder.path()).assert().success();
    let (many, alone) = (folder.path().join("output/one"), folder.path().join("alone"));
    assert_eq!(files(&many), files(&alone));
    for file in files(&alone) {
        assert!(
            fs::read(many.join(&file)).unwrap() == fs::read(alone.join(&file)).unwrap(),
            "{}",
            file.display()
        );
    }
}

#[test]
fn a_study_made_by_itself_later_is_added_and_a_folder_without_a_page_gets_none() {
    let folder = three();
    overbar().args(ALL).current_dir(folder.path()).assert().code(1);
    fs::copy(folder.path().join("one.wav"), folder.path().join("later.wav")).unwrap();
    let later = |out: &str| {
        let args = ["study", "later.wav", "--out", out];
        overbar().args(args).current_dir(folder.path()).assert().success();
    };
    later("output/later");
    let page = page(folder.path());
    assert!(page.contains("href=\"later/"), "{page}");
    assert_eq!(page.matches("<tr><td>").count(), 3);
    later("elsewhere/later");
    later("later");
    for bare in ["elsewhere/index.html", "index.html"] {
        assert!(!folder.path().join(bare).exists(), "{bare}");
    }
}

#[test]
fn a_page_that_somebody_changed_is_left_alone() {
    let folder = three();
    overbar().args(ALL).current_dir(folder.path()).assert().code(1);
    let mine = page(folder.path()) + "<p>mine</p>";
    fs::write(folder.path().join("output/index.html"), &mine).unwrap();
    let done = overbar().args(ALL).current_dir(folder.path()).assert().code(1);
    let said = String::from_utf8_lossy(&done.get_output().stdout).into_owned();
    assert!(said.contains("is left as it is"), "{said}");
    assert_eq!(page(folder.path()), mine);
}

#[test]
fn what_one_recording_alone_can_mean_is_wrong_usage_with_several() {
    for hint in [
        ["--downbeat", "1"],
        ["--from", "1"],
        ["--to", "2"],
        ["--beats", "x"],
    ] {
        let done = overbar()
            .args(["study", "a.wav", "b.wav"])
            .args(hint)
            .assert()
            .code(2);
        let error = String::from_utf8_lossy(&done.get_output().stderr).into_owned();
        assert!(
            error.contains(hint[0]) && error.contains("one recording only"),
            "{error}"
        );
    }
}

#[test]
fn two_recordings_of_one_name_are_refused_before_any_work() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["plain.flac", "plain.ogg"] {
        fs::copy(
            place("tests/fixtures/formats").join(name),
            folder.path().join(name),
        )
        .unwrap();
    }
    let error = crate::hard::refused(folder.path(), &["study", "plain.flac", "plain.ogg"]);
    assert!(error.contains("would both go there"), "{error}");
}

#[test]
fn other_programs_are_told_of_all_in_one_value() {
    let folder = three();
    let done = overbar()
        .args(ALL)
        .arg("--json")
        .current_dir(folder.path())
        .assert()
        .code(1);
    let value: Value = serde_json::from_slice(&done.get_output().stdout).unwrap();
    assert_eq!(value["studies"].as_array().unwrap().len(), 2);
    assert_eq!(value["refused"][0]["recording"], "bad.wav");
}
