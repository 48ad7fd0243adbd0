//! What is written is what is read.

use super::*;

#[test]
fn a_study_reads_back_as_it_was_written() {
    let folder = tempfile::tempdir().unwrap();
    let mut study = full_study();
    study.strokes[1].hit.mark = Some(Mark::Ghost);
    write(folder.path(), &study, &load(folder.path()).unwrap()).unwrap();
    assert_eq!(names(folder.path()), ["hits.tsv", "kit.toml", "study.json"]);
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
        "time\tvoice\tlevel\tbar\tbeat\tstep\tlate\tlimb\tlayer\tmark\tgrace\tsure"
    );
    assert_eq!(
        lines[1],
        "0.75000\tkick_left\t-6.3\t1\t1\t1\t0.0\tLF\tostinato\t\t\t0.75"
    );
    assert_eq!(lines[3], "1.15000\tsnare\t-6.3\t1\t1\t4\t25.0\t\tsolo\t\t\t0.75");
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
