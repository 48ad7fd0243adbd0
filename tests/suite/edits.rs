//! A player's corrections: none is lost, and the command says what it kept.

use std::fs;
use std::path::{Path, PathBuf};

use crate::desk::{copy, demo, files, overbar, recording, rows};

/// A copy of the demo's study that may be edited.
struct Desk {
    folder: tempfile::TempDir,
}

impl Desk {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        copy(demo(), folder.path());
        Desk { folder }
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn table(&self) -> PathBuf {
        self.path().join("hits.tsv")
    }

    /// Rewrites the rows (header first, comments aside) as a player's editor would.
    fn edit(&self, change: impl FnOnce(&mut Vec<Vec<String>>)) -> String {
        let mut rows = rows(self.path());
        change(&mut rows);
        let text: String = rows.iter().map(|row| row.join("\t") + "\n").collect();
        fs::write(self.table(), &text).unwrap();
        text
    }

    /// Studies the demo again and gives what the command says.
    fn again(&self) -> String {
        let song = recording(crate::desk::DEMO);
        let done = overbar()
            .arg("study")
            .arg(song)
            .arg("--out")
            .arg(self.path())
            .assert()
            .success();
        let output = done.get_output();
        String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
    }

    /// Time and voice of every row.
    fn strokes(&self) -> Vec<(f64, String)> {
        let rows = rows(self.path());
        let [time, voice] = ["time", "voice"].map(|name| column(&rows, name));
        rows[1..]
            .iter()
            .map(|r| (r[time].parse().unwrap(), r[voice].clone()))
            .collect()
    }
}

fn column(rows: &[Vec<String>], name: &str) -> usize {
    rows[0].iter().position(|cell| cell == name).unwrap()
}

#[test]
fn a_renamed_an_added_and_a_deleted_stroke_survive_run_after_run() {
    let desk = Desk::new();
    let before = desk.strokes();
    // Three strokes far from any neighbour, so that each edit is about one stroke only.
    let alone: Vec<usize> = (1..before.len() - 1)
        .filter(|&i| before[i].0 - before[i - 1].0 > 0.08 && before[i + 1].0 - before[i].0 > 0.08)
        .collect();
    let (renamed, deleted) = (alone[alone.len() / 3], alone[alone.len() / 2]);
    let at = alone[alone.len() * 2 / 3];
    let added = (before[at].0 + before[at + 1].0) / 2.0;
    desk.edit(|rows| {
        let [time, voice] = ["time", "voice"].map(|name| column(rows, name));
        rows[renamed + 1][voice] = "cowbell".to_owned();
        let mut row = vec![String::new(); rows[0].len()];
        row[time] = format!("{added:.5}");
        row[voice] = "splash".to_owned();
        rows.push(row);
        rows.remove(deleted + 1);
    });
    for run in 1..=3 {
        let said = desk.again();
        let after = desk.strokes();
        let near = |time: f64| after.iter().filter(move |s| (s.0 - time).abs() < 0.0005);
        let voices = |time: f64| near(time).map(|s| s.1.as_str()).collect::<Vec<_>>();
        assert_eq!(voices(before[renamed].0), ["cowbell"], "run {run}");
        assert_eq!(voices(added), ["splash"], "run {run}");
        assert_eq!(voices(before[deleted].0).len(), 0, "run {run}");
        assert_eq!(after.len(), before.len(), "run {run}: nothing else came or went");
        assert!(after.is_sorted_by(|a, b| a.0 <= b.0), "run {run}: sorted by time");
        assert!(
            said.contains("kept"),
            "run {run} does not say what it kept: {said}"
        );
    }
}

#[test]
fn an_edited_table_is_kept_as_a_copy_before_it_is_written_anew() {
    let desk = Desk::new();
    let edited = desk.edit(|rows| {
        let voice = column(rows, "voice");
        rows[5][voice] = "cowbell".to_owned();
    });
    let untouched = files(desk.path());
    desk.again();
    let copies: Vec<_> = files(desk.path())
        .into_iter()
        .filter(|f| !untouched.contains(f) && f.extension().is_some_and(|ending| ending == "tsv"))
        .collect();
    assert_eq!(copies.len(), 1, "{copies:?}");
    assert_eq!(fs::read_to_string(desk.path().join(&copies[0])).unwrap(), edited);
}

#[test]
fn a_table_nobody_edited_is_written_anew_without_a_copy() {
    let desk = Desk::new();
    let before = (files(desk.path()), fs::read(desk.table()).unwrap());
    desk.again();
    assert_eq!((files(desk.path()), fs::read(desk.table()).unwrap()), before);
}

#[test]
fn a_player_s_own_column_and_comment_are_kept() {
    let desk = Desk::new();
    let mut text = "# ask Ines about the second chorus\n".to_owned();
    text += &desk.edit(|rows| {
        rows[0].push("note".to_owned());
        for (i, row) in rows.iter_mut().enumerate().skip(1) {
            row.push(format!("remark {i}"));
        }
    });
    fs::write(desk.table(), &text).unwrap();
    let count = rows(desk.path()).len();
    desk.again();
    let after = rows(desk.path());
    let note = column(&after, "note");
    assert_eq!(after.len(), count);
    assert!((1..count).all(|i| after[i][note] == format!("remark {i}")));
    assert!(fs::read_to_string(desk.table()).unwrap().contains("ask Ines"));
}

#[test]
fn a_table_saved_by_a_spreadsheet_reads_the_same() {
    let desk = Desk::new();
    let before = desk.strokes();
    let text = fs::read_to_string(desk.table()).unwrap();
    fs::write(desk.table(), format!("\u{feff}{}", text.replace('\n', "\r\n"))).unwrap();
    desk.again();
    assert_eq!(desk.strokes(), before);
}

#[test]
fn a_cell_that_cannot_be_read_is_refused_with_its_line_and_nothing_changes() {
    for (name, bad) in [
        ("voice", "snair"),
        ("time", "soon"),
        ("time", "-1"),
        ("limb", "XH"),
        ("mark", "loud"),
    ] {
        let desk = Desk::new();
        desk.edit(|rows| {
            let cell = column(rows, name);
            rows[7][cell] = bad.to_owned();
        });
        let before = fs::read(desk.table()).unwrap();
        let song = recording(crate::desk::DEMO);
        let done = overbar()
            .arg("study")
            .arg(song)
            .arg("--out")
            .arg(desk.path())
            .assert()
            .code(1);
        let error = String::from_utf8_lossy(&done.get_output().stderr).into_owned();
        assert!(
            error.starts_with("error: ") && error.contains(bad) && error.contains('8'),
            "{error}"
        );
        assert_eq!(fs::read(desk.table()).unwrap(), before);
    }
}

#[test]
fn one_limb_named_in_the_figure_is_followed_by_every_repeat_and_counted() {
    let desk = Desk::new();
    // A stroke of the figure's ride bell, given to the left hand.
    desk.edit(|rows| {
        let [voice, layer, limb] = ["voice", "layer", "limb"].map(|name| column(rows, name));
        let at = (1..rows.len()).find(|at| rows[*at][voice] == "ride_bell" && rows[*at][layer] == "ostinato");
        let row = &mut rows[at.unwrap()];
        assert_ne!(row[limb], "LH", "the right hand leads there");
        row[limb] = "LH".to_owned();
    });
    let said = desk.again();
    let follows = said
        .lines()
        .find_map(|line| line.strip_prefix("follows"))
        .unwrap_or_else(|| panic!("{said}"));
    let count: usize = follows.split_whitespace().next().unwrap().parse().unwrap();
    assert!(count >= 10, "{said}");
    assert!(said.contains("1 limb changed"), "{said}");
    let table = rows(desk.path());
    let [voice, limb] = ["voice", "limb"].map(|name| column(&table, name));
    let left = table
        .iter()
        .filter(|row| row[voice] == "ride_bell" && row[limb] == "LH")
        .count();
    assert!(
        left > count,
        "{left} of ride bell by the left hand, {count} followed"
    );
}
