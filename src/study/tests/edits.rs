//! What a player edits is kept.

use super::*;

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
