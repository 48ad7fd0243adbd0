//! What is refused, in which words, with nothing changed.

use super::*;

#[test]
fn a_bad_cell_stops_the_run_and_changes_nothing() {
    for nonsense in [
        "hello",
        "1.5\tsnair\n",
        "time\tvoice\nx\ty\n",
        "\0\0\0",
        "time\tvoice\n1e999\tkick\n",
    ] {
        let folder = studied();
        edit(folder.path(), |_| nonsense.to_owned());
        let before = everything(folder.path());
        let error = run(folder.path(), &program()).unwrap_err().to_string();
        assert!(error.contains("hits.tsv"), "{error}");
        assert_eq!(everything(folder.path()), before, "{nonsense:?}");
    }
}

#[test]
fn an_edit_made_while_the_study_is_being_made_stops_the_writing() {
    let folder = studied();
    let loaded = load(folder.path()).unwrap();
    edit(folder.path(), |text| text + "4\tchina\n");
    let before = everything(folder.path());
    let error = write(folder.path(), &full_study(), &loaded).unwrap_err();
    assert!(matches!(error, StudyError::EditedMeanwhile { .. }), "{error}");
    assert_eq!(everything(folder.path()), before);
}

#[test]
fn newer_and_foreign_documents_are_refused_in_one_line() {
    let folder = studied();
    let file = folder.path().join(STUDY);
    let text = fs::read_to_string(&file).unwrap();
    let refused = |text: String| {
        fs::write(&file, text).unwrap();
        let (reading, running) = (
            read(folder.path()).unwrap_err(),
            run(folder.path(), &program()).unwrap_err(),
        );
        assert_eq!(reading.to_string(), running.to_string());
        assert_eq!(reading.to_string().lines().count(), 1);
        reading.to_string()
    };
    assert!(refused(text.replace("\"version\": 1", "\"version\": 2")).contains("version 2"));
    assert!(refused(text.replace("overbar-study", "setlist")).contains("its format is \"setlist\""));
    assert!(refused("{}".into()).contains("its format is not stated"));
    assert!(refused("[1, 2]".into()).contains("its format is not stated"));
}

#[test]
fn a_broken_or_missing_study_is_refused_when_read() {
    let folder = studied();
    fs::write(folder.path().join(STUDY), "{").unwrap();
    assert!(matches!(read(folder.path()), Err(StudyError::Broken { .. })));
    fs::remove_file(folder.path().join(STUDY)).unwrap();
    assert!(matches!(
        read(folder.path()),
        Err(StudyError::NoStudy {
            missing: "study.json",
            ..
        })
    ));
    let folder = studied();
    fs::remove_file(folder.path().join(HITS)).unwrap();
    assert!(matches!(
        read(folder.path()),
        Err(StudyError::NoStudy {
            missing: "hits.tsv",
            ..
        })
    ));
}

#[test]
fn work_on_another_recording_is_not_put_onto_this_one() {
    let folder = studied();
    let other = |seconds| RecordingFacts {
        file: "other.wav".into(),
        sha256: "cd".repeat(32),
        seconds: Seconds(seconds),
        ..facts()
    };
    let check = |recording: &RecordingFacts| load(folder.path()).unwrap().check_recording(recording);
    let warning = check(&other(12.0)).unwrap();
    assert!(
        warning.unwrap().contains("without any work of yours"),
        "nothing of the player's is at stake"
    );
    edit(folder.path(), |text| text + "4\tchina\n");
    assert_eq!(check(&facts()).unwrap(), None);
    assert!(matches!(
        check(&other(12.0)),
        Err(StudyError::OtherRecording { .. })
    ));
    assert!(
        check(&other(30.02))
            .unwrap()
            .unwrap()
            .contains("your edits were kept")
    );
    // Takes and sheets are of one recording, as edits are.
    for (name, said) in [
        ("takes.jsonl", "takes"),
        ("practice/ladder.svg", "practice sheets"),
    ] {
        let folder = studied();
        let file = folder.path().join(name);
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        fs::write(file, "").unwrap();
        let check = |recording: &RecordingFacts| load(folder.path()).unwrap().check_recording(recording);
        assert_eq!(check(&facts()).unwrap(), None);
        let error = check(&other(12.0)).unwrap_err().to_string();
        assert!(
            error.contains(&format!("holds your {said} of another recording (five-walk.wav)")),
            "{error}"
        );
        let told = check(&other(30.02)).unwrap().unwrap();
        assert!(told.ends_with(&format!("your {said} were kept")), "{told}");
    }
    let folder = studied();
    fs::create_dir(folder.path().join("practice")).unwrap();
    assert!(
        load(folder.path()).unwrap().check_recording(&other(12.0)).is_ok(),
        "an empty folder is nobody's work"
    );
}

#[test]
fn a_destination_is_an_empty_folder_a_new_one_or_a_study() {
    let folder = studied();
    check_destination(folder.path()).unwrap();
    check_destination(&folder.path().join("new/newer")).unwrap();
    assert_eq!(
        names(folder.path()),
        ["hits.tsv", "study.json"],
        "nothing is left behind"
    );
    let error = |path: &Path| check_destination(path).unwrap_err().to_string();
    assert!(error(&folder.path().join("hits.tsv")).contains("is a file, not a folder"));
    assert!(error(&folder.path().join("hits.tsv/new")).contains("is a file, not a folder"));
    let strangers = tempfile::tempdir().unwrap();
    fs::write(strangers.path().join(".hidden"), "").unwrap();
    check_destination(strangers.path()).unwrap();
    fs::write(strangers.path().join("tax.ods"), "").unwrap();
    assert!(error(strangers.path()).contains("holds other files (such as tax.ods)"));
}

#[test]
fn a_document_that_no_stage_could_work_with_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), &full_study(), &load(folder.path()).unwrap()).unwrap();
    let file = folder.path().join(STUDY);
    let text = fs::read_to_string(&file).unwrap();
    let changes = [
        ("\"steps_per_beat\": 4,", "\"steps_per_beat\": 0,"),
        ("\"steps_per_beat\": 4,", "\"steps_per_beat\": 4000000000,"),
        (
            "\"meter\": [4, 4],\n    \"steps_per_beat\": 4",
            "\"meter\": [0, 4],\n    \"steps_per_beat\": 4",
        ),
        ("      0.75,", "      0.0,"),
        ("\"length_steps\": 5", "\"length_steps\": 0"),
        ("{\"bar\": 5, ", "{\"bar\": 9000000000000000000, "),
    ];
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        fs::write(&file, text.replacen(from, to, 1)).unwrap();
        let error = read(folder.path()).unwrap_err();
        assert!(matches!(error, StudyError::Broken { .. }), "{to}: {error}");
    }
}
