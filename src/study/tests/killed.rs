//! Runs killed in between, files lost or broken.

use super::*;

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
        text.replace(line, "2.00000\tkick\t-3\t\t\t\t\tLF\tostinato\t\t\t1")
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
fn a_half_written_document_is_never_given_the_name_of_a_whole_one() {
    let (folder, _, [_, new_study]) = before_and_after();
    let path = |name| folder.path().join(name);
    // Somebody tidied up hits.tsv.part and left this.
    fs::write(part_of(&path(STUDY)), &new_study[..100]).unwrap();
    let (loaded, saved) = run(folder.path(), &other_program()).unwrap();
    assert_eq!(
        loaded.corrections.kept(),
        Kept {
            voices: 1,
            ..Kept::default()
        }
    );
    assert_eq!(saved.copies, [] as [PathBuf; 0]);
    assert_eq!(fs::read(path(STUDY)).unwrap(), new_study);
}
