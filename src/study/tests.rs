//! The study's folder as a player meets it: written, edited, read, killed in between, in other hands.

use std::fs;
use std::path::{Path, PathBuf};

use super::corrections::{Kept, load};
use super::examples::{edit, facts, full_study, hit, rows, run, run_part, text};
use super::folder::{part_of, sha256};
use super::*;
use crate::names::Mark;

fn program() -> Vec<Hit> {
    let names = [
        (1.0, Voice::Kick),
        (1.5, Voice::Snare),
        (1.5, Voice::HatClosed),
        (2.0, Voice::Kick),
        (2.5, Voice::Snare),
    ];
    names.iter().map(|(time, voice)| hit(*time, *voice)).collect()
}

fn studied() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    run(folder.path(), &program()).unwrap();
    folder
}

/// The names in a folder, sorted.
fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// Every file of a folder with what is in it.
fn everything(folder: &Path) -> Vec<(String, String)> {
    let read = |name: String| (name.clone(), fs::read_to_string(folder.join(name)).unwrap());
    names(folder).into_iter().map(read).collect()
}

fn row(time: &str, voice: &str) -> (String, String) {
    (time.to_owned(), voice.to_owned())
}

#[test]
fn a_study_reads_back_as_it_was_written() {
    let folder = tempfile::tempdir().unwrap();
    let mut study = full_study();
    study.strokes[1].hit.mark = Some(Mark::Ghost);
    write(folder.path(), &study, &load(folder.path()).unwrap()).unwrap();
    assert_eq!(names(folder.path()), ["hits.tsv", "study.json"]);
    let mut read = read(folder.path()).unwrap();
    // What the files round.
    for stroke in &mut read.strokes {
        assert!(stroke.late.is_some());
        stroke.late = None;
    }
    study.strokes.iter_mut().for_each(|stroke| stroke.late = None);
    (
        study.cycles[0].kept,
        study.cycles[0].bits.0,
        study.cycles[0].chance,
    ) = (0.958, 123.5, 0.001);
    study.lengths[0].bits.0 = -3.3;
    study.lengths[1].bits.0 = 123.5;
    study.grid.warnings.clear();
    assert_eq!(read, study);
}

#[test]
fn the_same_study_is_the_same_bytes() {
    let (one, two) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    for folder in [&one, &two] {
        write(folder.path(), &full_study(), &load(folder.path()).unwrap()).unwrap();
    }
    assert_eq!(everything(one.path()), everything(two.path()));
    let again = read(one.path()).unwrap();
    write(one.path(), &again, &load(one.path()).unwrap()).unwrap();
    assert_eq!(
        everything(one.path()),
        everything(two.path()),
        "written from what was read"
    );
}

#[test]
fn a_written_row_has_its_cells_in_the_contracts_order() {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), &full_study(), &load(folder.path()).unwrap()).unwrap();
    let text = text(folder.path());
    let lines: Vec<&str> = text.lines().filter(|line| !line.starts_with('#')).collect();
    assert_eq!(
        lines[0],
        "time\tvoice\tlevel\tbar\tbeat\tstep\tlate\tlimb\tlayer\tmark\tsure"
    );
    assert_eq!(
        lines[1],
        "0.75000\tkick_left\t-6.3\t1\t1\t1\t0.0\tLF\tostinato\t\t0.75"
    );
    assert_eq!(lines[3], "1.15000\tsnare\t-6.3\t1\t1\t4\t25.0\t\tsolo\t\t0.75");
}

#[test]
fn edits_are_kept_and_counted() {
    let folder = studied();
    edit(folder.path(), |text| {
        let text = text
            .replace("1.50000\that_closed", "1.50000\tride")
            .replace("2.00000\tkick", "#2.00000\tkick");
        text + "3.25\tcowbell\n"
    });
    let (loaded, saved) = run(folder.path(), &program()).unwrap();
    let expected = Kept {
        voices: 1,
        deleted: 1,
        added: 1,
        ..Kept::default()
    };
    assert_eq!(loaded.corrections.kept(), expected);
    assert_eq!(saved.copies.len(), 1);
    let expected = [
        row("1.00000", "kick"),
        row("1.50000", "snare"),
        row("1.50000", "ride"),
        row("2.50000", "snare"),
        row("3.25000", "cowbell"),
    ];
    assert_eq!(rows(folder.path()), expected);
    let (loaded, saved) = run(folder.path(), &program()).unwrap();
    assert_eq!(loaded.corrections.kept().added, 1, "and still in the run after");
    assert_eq!(saved.copies, [] as [PathBuf; 0], "which has nothing to copy");
}

#[test]
fn corrected_rows_are_sure_and_others_are_not() {
    let folder = studied();
    edit(folder.path(), |text| {
        text.replace("1.50000\that_closed", "1.50000\tride")
    });
    run(folder.path(), &program()).unwrap();
    let sure: Vec<f64> = read(folder.path())
        .unwrap()
        .strokes
        .iter()
        .map(|s| s.hit.sure)
        .collect();
    assert_eq!(sure, [0.75, 0.75, 1.0, 0.75, 0.75]);
}

#[test]
fn an_edit_taken_back_leaves_no_trace() {
    let folder = studied();
    let before = everything(folder.path());
    edit(folder.path(), |text| text.replace("hat_closed\t", "ride\t"));
    run(folder.path(), &program()).unwrap();
    edit(folder.path(), |text| text.replace("ride\t", "hat_closed\t"));
    run(folder.path(), &program()).unwrap();
    let after: Vec<_> = everything(folder.path())
        .into_iter()
        .filter(|(name, _)| !name.contains("edited"))
        .collect();
    assert_eq!(after, before);
}

#[test]
fn a_row_put_back_cancels_its_deletion_and_an_added_row_deleted_is_forgotten() {
    let folder = studied();
    let before = everything(folder.path());
    let mut cut = String::new();
    edit(folder.path(), |text| {
        let line = text.lines().find(|line| line.starts_with("2.00000")).unwrap();
        cut = line.to_owned();
        text.replace(&format!("{line}\n"), "") + "4\tchina\n"
    });
    run(folder.path(), &program()).unwrap();
    edit(folder.path(), |text| {
        let line = text
            .lines()
            .find(|line| line.starts_with("4.00000"))
            .unwrap()
            .to_owned();
        text.replace(&line, &cut)
    });
    run(folder.path(), &program()).unwrap();
    let after: Vec<_> = everything(folder.path())
        .into_iter()
        .filter(|(name, _)| !name.contains("edited"))
        .collect();
    assert_eq!(after, before);
}

#[test]
fn a_spreadsheet_that_writes_numbers_its_own_way_edits_nothing() {
    let hits: Vec<Hit> = (0..40)
        .map(|n| hit(0.123_45 + f64::from(n) * 0.111_11, Voice::Snare))
        .collect();
    for decimals in [2, 3, 4] {
        let folder = tempfile::tempdir().unwrap();
        run(folder.path(), &hits).unwrap();
        let before = text(folder.path());
        edit(folder.path(), |text| {
            let short = |line: &str| match line
                .split_once('\t')
                .map(|(time, rest)| (time.parse::<f64>(), rest))
            {
                Some((Ok(time), rest)) => format!("{time:.decimals$}\t{rest}\t\t\r\n").replace('.', ","),
                _ => format!("{line}\t\t\r\n"),
            };
            text.lines().map(short).collect()
        });
        let (loaded, _) = run(folder.path(), &hits).unwrap();
        assert_eq!(loaded.corrections.kept(), Kept::default(), "{decimals} decimals");
        assert_eq!(text(folder.path()), before);
    }
}

#[test]
fn comments_and_columns_of_the_players_stay_where_they_were() {
    let folder = studied();
    edit(folder.path(), |text| {
        let text = text
            .replace("\tsure\n", "\tsure\tfrom the film\n")
            .replace("2.00000\tkick", "# the fill\n2.00000\tkick");
        let line = text
            .lines()
            .find(|line| line.starts_with("2.00000"))
            .unwrap()
            .to_owned();
        format!(
            "# my copy\n{}",
            text.replace(&line, &format!("{line}\tleft foot \"seen\""))
        )
    });
    run(folder.path(), &program()).unwrap();
    let once = text(folder.path());
    let lines: Vec<&str> = once.lines().collect();
    let fill = lines.iter().position(|line| *line == "# the fill").unwrap();
    assert!(lines.contains(&"# my copy"));
    assert!(
        lines[fill + 1].starts_with("2.00000\tkick\t") && lines[fill + 1].ends_with("\tleft foot \"seen\"")
    );
    assert!(lines.iter().any(|line| line.ends_with("\tsure\tfrom the film")));
    run(folder.path(), &program()).unwrap();
    assert_eq!(text(folder.path()), once);
}

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
fn an_edited_file_is_copied_before_it_is_replaced() {
    let folder = studied();
    edit(folder.path(), |text| text + "4\tchina\n");
    let edited = text(folder.path());
    let (_, saved) = run(folder.path(), &program()).unwrap();
    assert_eq!(fs::read_to_string(&saved.copies[0]).unwrap(), edited);
    let name = saved.copies[0].file_name().unwrap().to_str().unwrap();
    assert!(
        name.starts_with("hits.edited-2") && name.ends_with(".tsv"),
        "{name}"
    );
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
fn corrections_outside_the_studied_part_wait() {
    let folder = studied();
    edit(folder.path(), |text| {
        text.replace("2.50000\tsnare", "2.50000\tsnare_2") + "4\tchina\n"
    });
    run(folder.path(), &program()).unwrap();
    let full = rows(folder.path());
    let (loaded, _) = run_part(folder.path(), &program(), Seconds(0.5), Seconds(2.2)).unwrap();
    assert_eq!(rows(folder.path()).len(), 4);
    assert_eq!(
        loaded.corrections.kept(),
        Kept {
            waiting: 2,
            ..Kept::default()
        }
    );
    run(folder.path(), &program()).unwrap();
    assert_eq!(rows(folder.path()), full);
}

/// The two files of a folder before and after a run that took up an edit.
fn before_and_after() -> (tempfile::TempDir, [Vec<u8>; 2], [Vec<u8>; 2]) {
    let folder = studied();
    edit(folder.path(), |text| {
        text.replace("1.50000\that_closed", "1.50000\tride")
    });
    let files = || [HITS, STUDY].map(|name| fs::read(folder.path().join(name)).unwrap());
    let before = files();
    // The program finds something else this time, which must not be taken for an edit.
    run(folder.path(), &other_program()).unwrap();
    let after = files();
    (folder, before, after)
}

fn other_program() -> Vec<Hit> {
    let mut hits = program();
    hits.remove(0);
    hits.push(hit(5.0, Voice::Crash));
    hits
}

#[test]
fn a_run_killed_between_its_two_renames_is_finished_by_the_next() {
    let (folder, [_, old_study], [new_hits, new_study]) = before_and_after();
    let path = |name| folder.path().join(name);
    fs::write(path(STUDY), old_study).unwrap();
    fs::write(part_of(&path(STUDY)), &new_study).unwrap();
    let warnings = read(folder.path()).unwrap().warnings;
    assert_eq!(warnings, [] as [String; 0], "the new rows are no edit");
    let (loaded, saved) = run(folder.path(), &other_program()).unwrap();
    assert_eq!(
        loaded.corrections.kept(),
        Kept {
            voices: 1,
            ..Kept::default()
        }
    );
    assert_eq!(saved.copies, [] as [PathBuf; 0]);
    assert_eq!(
        (fs::read(path(HITS)).unwrap(), fs::read(path(STUDY)).unwrap()),
        (new_hits, new_study)
    );
    assert!(!part_of(&path(STUDY)).exists());
}

#[test]
fn an_edit_after_a_run_killed_between_its_two_renames_is_an_edit_of_the_new_rows() {
    let (folder, [_, old_study], [_, new_study]) = before_and_after();
    let path = |name| folder.path().join(name);
    fs::write(path(STUDY), old_study).unwrap();
    fs::write(part_of(&path(STUDY)), &new_study).unwrap();
    edit(folder.path(), |text| {
        text.replace("5.00000\tcrash", "5.00000\tsplash")
    });
    let (loaded, _) = run(folder.path(), &other_program()).unwrap();
    assert_eq!(
        loaded.corrections.kept(),
        Kept {
            voices: 2,
            ..Kept::default()
        }
    );
}

#[test]
fn a_run_killed_before_its_renames_has_changed_nothing() {
    let (folder, [old_hits, old_study], [new_hits, new_study]) = before_and_after();
    let path = |name| folder.path().join(name);
    for study_part in [&new_study[..], &new_study[..100], &[]] {
        fs::write(path(HITS), &old_hits).unwrap();
        fs::write(path(STUDY), &old_study).unwrap();
        fs::write(part_of(&path(HITS)), &new_hits).unwrap();
        fs::write(part_of(&path(STUDY)), study_part).unwrap();
        let (loaded, _) = run(folder.path(), &other_program()).unwrap();
        assert_eq!(
            loaded.corrections.kept(),
            Kept {
                voices: 1,
                ..Kept::default()
            }
        );
        assert_eq!(fs::read(path(HITS)).unwrap(), new_hits);
        assert!(!part_of(&path(STUDY)).exists() && !part_of(&path(HITS)).exists());
    }
}

#[test]
fn a_first_run_killed_anywhere_leaves_a_folder_that_can_be_studied() {
    let whole = studied();
    let bytes = |name| fs::read(whole.path().join(name)).unwrap();
    for (hits, study) in [(true, false), (true, true), (false, true)] {
        let folder = tempfile::tempdir().unwrap();
        let path = |name| folder.path().join(name);
        let hits_name = if hits { part_of(&path(HITS)) } else { path(HITS) };
        fs::write(hits_name, bytes(HITS)).unwrap();
        if study {
            fs::write(part_of(&path(STUDY)), bytes(STUDY)).unwrap();
        }
        check_destination(folder.path()).unwrap();
        let (loaded, _) = run(folder.path(), &program()).unwrap();
        assert_eq!(loaded.warnings, [] as [String; 0]);
        assert_eq!(everything(folder.path()), everything(whole.path()));
    }
}

#[test]
fn a_study_json_that_cannot_be_read_is_kept_beside_the_new_one() {
    let folder = studied();
    edit(folder.path(), |text| {
        text.replace("1.50000\that_closed", "1.50000\tride")
    });
    fs::write(folder.path().join(STUDY), "{\"format\": \"overbar-").unwrap();
    let (loaded, saved) = run(folder.path(), &program()).unwrap();
    assert_eq!(saved.copies.len(), 2);
    assert_eq!(
        loaded.corrections.kept(),
        Kept {
            voices: 1,
            ..Kept::default()
        }
    );
    assert!(
        loaded.warnings[0].contains("study.json could not be read"),
        "{:?}",
        loaded.warnings
    );
    assert!(rows(folder.path()).contains(&row("1.50000", "ride")));
}

#[test]
fn limbs_and_layers_of_a_file_whose_study_was_lost_are_kept() {
    let folder = studied();
    edit(folder.path(), |text| {
        let line = text.lines().find(|line| line.starts_with("2.00000")).unwrap();
        text.replace(line, "2.00000\tkick\t-3\t\t\t\t\tLF\tostinato\t\t1")
    });
    fs::remove_file(folder.path().join(STUDY)).unwrap();
    for _ in 0..2 {
        let (loaded, _) = run(folder.path(), &program()).unwrap();
        assert_eq!(
            loaded.corrections.kept(),
            Kept {
                limbs: 1,
                layers: 1,
                ..Kept::default()
            }
        );
        let strokes = read(folder.path()).unwrap().strokes;
        assert_eq!(
            (strokes[3].limb, strokes[3].layer),
            (Some(Limb::LeftFoot), Some(Layer::Ostinato))
        );
    }
}

#[test]
fn a_hits_file_that_was_removed_is_made_anew_with_the_edits_of_earlier_runs() {
    let folder = studied();
    edit(folder.path(), |text| {
        text.replace("1.50000\that_closed", "1.50000\tride")
    });
    run(folder.path(), &program()).unwrap();
    let before = rows(folder.path());
    fs::remove_file(folder.path().join(HITS)).unwrap();
    let (loaded, _) = run(folder.path(), &program()).unwrap();
    assert!(loaded.warnings[0].contains("made anew"));
    assert_eq!(rows(folder.path()), before);
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
fn a_study_edited_since_is_read_as_it_stands_with_a_warning() {
    let folder = studied();
    edit(folder.path(), |text| {
        text.replace("1.50000\that_closed", "1.50000\tride") + "4\tchina\n"
    });
    let study = read(folder.path()).unwrap();
    assert_eq!(study.strokes[2].hit.voice, Voice::Ride);
    assert_eq!(study.strokes[5].hit.sure, 1.0);
    assert!(
        study
            .warnings
            .last()
            .unwrap()
            .contains("edited since the last run")
    );
}

#[test]
fn edits_of_another_recording_are_not_put_onto_this_one() {
    let folder = studied();
    let other = |seconds| RecordingFacts {
        file: "other.wav".into(),
        sha256: "cd".repeat(32),
        seconds: Seconds(seconds),
        ..facts()
    };
    let check = |recording: &RecordingFacts| load(folder.path()).unwrap().check_recording(recording);
    assert_eq!(
        check(&other(12.0)).unwrap(),
        None,
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
fn other_files_are_written_whole_with_their_folders() {
    let folder = studied();
    for text in ["<svg/>", "<svg></svg>"] {
        write_file(folder.path(), "charts/grid.svg", text.as_bytes()).unwrap();
        assert_eq!(names(&folder.path().join("charts")), ["grid.svg"]);
        assert_eq!(
            fs::read_to_string(folder.path().join("charts/grid.svg")).unwrap(),
            text
        );
    }
}

#[test]
fn the_digest_is_that_of_the_file_on_the_disk() {
    let folder = studied();
    let json = fs::read_to_string(folder.path().join(STUDY)).unwrap();
    assert!(json.contains(&sha256(text(folder.path()).as_bytes())));
    // The digest of nothing [P: FIPS 180-4 test vectors].
    assert_eq!(
        sha256(b""),
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    );
}
