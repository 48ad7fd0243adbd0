//! What must hold of corrections whatever a player does: random edits in random order over several runs.

use rand::prelude::*;
use rand_chacha::ChaCha8Rng;

use super::super::examples::{hit, run, run_part};
use super::super::folder::sha256;
use super::super::sheet::{COLUMNS, Row, Sheet};
use super::*;
use crate::units::Seconds;
use crate::voices::Hit;

/// A row as the player sees it: time, voice, limb, layer, mark, and a column of the player's own.
type Cells = [String; 6];

const VOICES: [&str; 5] = ["kick", "snare", "snare_2", "hat_closed", "ride"];

/// Dense playing: several voices, strokes of one voice as close as a flam's (10 ms, TRADE 5 [M]), some at one time.
fn dense(rng: &mut ChaCha8Rng) -> Vec<Hit> {
    let mut hits: Vec<Hit> = (0..rng.random_range(0..60))
        .map(|_| {
            let time = f64::from(rng.random_range(1u32..500)) / 100.0 + rng.random_range(0.0..0.00001);
            hit(time, VOICES.choose(rng).unwrap().parse().unwrap())
        })
        .collect();
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    hits.dedup_by_key(|hit| (Tick::of(hit.time), hit.voice));
    hits
}

fn read_rows(folder: &std::path::Path) -> Vec<Cells> {
    let file = folder.join("hits.tsv");
    let sheet = Sheet::read(&std::fs::read(&file).unwrap(), &file, None).unwrap();
    let name = |cell: Option<Option<String>>| cell.flatten().unwrap_or_default();
    let cells = |row: &Row| {
        [
            row.time.to_string(),
            row.voice.to_string(),
            name(row.limb.map(|l| l.map(|l| l.to_string()))),
            name(row.layer.map(|l| l.map(|l| l.to_string()))),
            name(row.mark.map(|m| m.map(|m| m.to_string()))),
            row.own.get("heard").cloned().unwrap_or_default(),
        ]
    };
    let mut rows: Vec<Cells> = sheet.rows.iter().map(cells).collect();
    rows.sort();
    rows
}

/// Writes the rows as some editor would: any order of rows and columns, with or without a byte-order mark, CR, quotes.
fn write_rows(folder: &std::path::Path, rows: &[Cells], rng: &mut ChaCha8Rng) {
    let mut rows = rows.to_vec();
    rows.shuffle(rng);
    let mut columns: Vec<usize> = (0..6).collect();
    columns.shuffle(rng);
    let end = ["\n", "\r\n", "\t\n"].choose(rng).unwrap();
    let (comma, quotes) = (rng.random_bool(0.2), rng.random_bool(0.2));
    let names = ["time", "voice", "limb", "layer", "mark", "heard"];
    let mut text = if rng.random_bool(0.3) {
        "\u{feff}".to_owned()
    } else {
        String::new()
    };
    let header: Vec<&str> = columns.iter().map(|c| names[*c]).collect();
    text += &format!("{}{end}", header.join("\t"));
    for row in &rows {
        let cell = |c: &usize| {
            let cell = if comma && *c == 0 {
                row[0].replace('.', ",")
            } else {
                row[*c].clone()
            };
            if quotes { format!("\"{cell}\"") } else { cell }
        };
        text += &format!("{}{end}", columns.iter().map(cell).collect::<Vec<_>>().join("\t"));
    }
    std::fs::write(folder.join("hits.tsv"), text).unwrap();
}

fn random_time(rng: &mut ChaCha8Rng) -> String {
    Tick::of(Seconds(rng.random_range(0.0..6.0))).to_string()
}

/// One edit, done to the rows.
fn random_edit(rows: &mut Vec<Cells>, deleted: &mut Vec<Cells>, rng: &mut ChaCha8Rng) {
    let voice = (*VOICES.choose(rng).unwrap()).to_owned();
    let blank = String::new;
    if rows.is_empty() || rng.random_bool(0.15) {
        let mut row = [random_time(rng), voice, blank(), blank(), blank(), blank()];
        if rng.random_bool(0.3) {
            row[4] = "flam".into();
        }
        rows.push(row);
        return;
    }
    let at = rng.random_range(0..rows.len());
    let near = |row: &Cells, by: f64| {
        let time: f64 = row[0].parse().unwrap();
        Tick::of(Seconds((time + by).clamp(0.0, 29.0))).to_string()
    };
    match rng.random_range(0..10) {
        0 => rows[at][1] = voice,
        1 => rows[at][0] = near(&rows[at], rng.random_range(-0.15..0.15)),
        2 => (rows[at][0], rows[at][1]) = (near(&rows[at], rng.random_range(-0.05..0.05)), voice),
        3 => deleted.push(rows.swap_remove(at)),
        // A grace stroke beside it, or the very same row again.
        4 => rows.push({
            let by = if rng.random_bool(0.2) {
                0.0
            } else {
                rng.random_range(-0.05..0.05)
            };
            let mut row = rows[at].clone();
            row[0] = near(&row, by);
            row
        }),
        5 => rows[at][2] = (*["RH", "LH", "RF", ""].choose(rng).unwrap()).to_owned(),
        6 => rows[at][3] = (*["ostinato", "solo", ""].choose(rng).unwrap()).to_owned(),
        7 => rows[at][4] = (*["ghost", "accent", ""].choose(rng).unwrap()).to_owned(),
        8 => rows[at][5] = (*["twice, slowly", "?", ""].choose(rng).unwrap()).to_owned(),
        _ => rows.extend(deleted.pop()),
    }
}

#[test]
fn the_file_holds_exactly_the_players_rows_and_the_untouched_rows_of_the_program() {
    let mut edits = 0;
    for seed in 0..60 {
        let rng = &mut ChaCha8Rng::seed_from_u64(seed);
        let folder = tempfile::tempdir().unwrap();
        let program = dense(rng);
        run(folder.path(), &program).unwrap();
        let mut deleted = Vec::new();
        for _ in 0..rng.random_range(1..6) {
            let mut rows = read_rows(folder.path());
            for _ in 0..rng.random_range(0..8) {
                random_edit(&mut rows, &mut deleted, rng);
                edits += 1;
            }
            rows.sort();
            write_rows(folder.path(), &rows, rng);
            run(folder.path(), &program).unwrap();
            assert_eq!(read_rows(folder.path()), rows, "seed {seed}");
            let before = sha256(&std::fs::read(folder.path().join("hits.tsv")).unwrap());
            run(folder.path(), &program).unwrap();
            let after = sha256(&std::fs::read(folder.path().join("hits.tsv")).unwrap());
            assert_eq!(before, after, "a run without edits changes nothing, seed {seed}");
        }
    }
    assert!(edits > 500, "the law was exercised");
}

#[test]
fn edits_outlast_runs_on_parts_of_the_recording() {
    for seed in 0..25 {
        let rng = &mut ChaCha8Rng::seed_from_u64(1000 + seed);
        let folder = tempfile::tempdir().unwrap();
        let program = dense(rng);
        run(folder.path(), &program).unwrap();
        let mut deleted = Vec::new();
        let mut rows = read_rows(folder.path());
        for _ in 0..10 {
            random_edit(&mut rows, &mut deleted, rng);
        }
        rows.sort();
        write_rows(folder.path(), &rows, rng);
        run(folder.path(), &program).unwrap();
        let from = Seconds(rng.random_range(0.0..3.0));
        run_part(folder.path(), &program, from, from + Seconds(2.0)).unwrap();
        run(folder.path(), &program).unwrap();
        assert_eq!(read_rows(folder.path()), rows, "seed {seed}");
    }
}

/// Strokes of one voice a tenth of a second apart or more, so that each is known again when it moves a little.
fn spaced(rng: &mut ChaCha8Rng) -> Vec<Hit> {
    let voices = || VOICES.iter().map(|v| v.parse().unwrap());
    let mut hits: Vec<Hit> = voices()
        .flat_map(|voice| (0..30).map(move |n| (f64::from(n) * 0.15 + 1.0, voice)))
        .map(|(time, voice)| hit(time + rng.random_range(0.0..0.04), voice))
        .collect();
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    hits
}

/// What another version of the program might find: most of it again, a little moved, some missing.
fn found_again(hits: &[Hit], rng: &mut ChaCha8Rng) -> Vec<Hit> {
    let mut again: Vec<Hit> = hits.iter().filter(|_| rng.random_bool(0.9)).copied().collect();
    let rng = &mut ChaCha8Rng::seed_from_u64(rng.random());
    again
        .iter_mut()
        .for_each(|hit| hit.time += Seconds(rng.random_range(-0.004..0.004)));
    again.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    again
}

#[test]
fn edits_outlast_a_program_that_finds_other_hits() {
    for seed in 0..25 {
        let rng = &mut ChaCha8Rng::seed_from_u64(2000 + seed);
        let folder = tempfile::tempdir().unwrap();
        let truth = spaced(rng);
        run(folder.path(), &truth).unwrap();
        let rows = read_rows(folder.path());
        let mut mine: Vec<Cells> = rows.choose_multiple(rng, 12).cloned().collect();
        let mut others: Vec<Cells> = rows.iter().filter(|row| !mine.contains(row)).cloned().collect();
        let gone = mine.split_off(8);
        for row in &mut mine {
            row[1] = "cowbell".into();
        }
        let added = [
            random_time(rng),
            "china".into(),
            "LH".into(),
            String::new(),
            String::new(),
            String::new(),
        ];
        mine.push(added);
        others.extend(mine.iter().cloned());
        write_rows(folder.path(), &others, rng);
        for _ in 0..4 {
            run(folder.path(), &found_again(&truth, rng)).unwrap();
            let rows = read_rows(folder.path());
            let near = |row: &Cells, voice: &str, time: &str| {
                let apart = row[0].parse::<f64>().unwrap() - time.parse::<f64>().unwrap();
                row[1] == voice && apart.abs() < 0.02
            };
            for row in &mine {
                assert!(
                    rows.iter().any(|r| near(r, &row[1], &row[0])),
                    "seed {seed}: {row:?}"
                );
            }
            for row in &gone {
                assert!(
                    !rows.iter().any(|r| near(r, &row[1], &row[0])),
                    "seed {seed}: {row:?} came back"
                );
            }
            assert_eq!(
                rows.iter()
                    .filter(|r| r[1] == "cowbell" || r[1] == "china")
                    .count(),
                mine.len()
            );
        }
    }
}

#[test]
fn a_file_whose_study_was_lost_keeps_every_row_as_it_stands() {
    for seed in 0..25 {
        let rng = &mut ChaCha8Rng::seed_from_u64(3000 + seed);
        let folder = tempfile::tempdir().unwrap();
        let program = dense(rng);
        run(folder.path(), &program).unwrap();
        let mut rows = read_rows(folder.path());
        for _ in 0..6 {
            random_edit(&mut rows, &mut Vec::new(), rng);
        }
        rows.sort();
        write_rows(folder.path(), &rows, rng);
        std::fs::remove_file(folder.path().join("study.json")).unwrap();
        let (loaded, saved) = run(folder.path(), &program).unwrap();
        assert_eq!(loaded.warnings.len(), 1);
        assert_eq!(saved.copies.len(), 1);
        let file = read_rows(folder.path());
        for row in &rows {
            assert!(file.contains(row), "seed {seed}: {row:?}");
        }
        // Only before its first row and after its last may the program add its own.
        let (first, last) = (
            rows.first().map(|r| r[0].clone()),
            rows.last().map(|r| r[0].clone()),
        );
        let inside = |row: &&Cells| Some(&row[0]) >= first.as_ref() && Some(&row[0]) <= last.as_ref();
        assert_eq!(file.iter().filter(inside).count(), rows.len(), "seed {seed}");
    }
}

#[test]
fn columns_are_those_of_the_contract() {
    assert_eq!(
        COLUMNS.join(" "),
        "time voice level bar beat step late limb layer mark grace sure"
    );
}
