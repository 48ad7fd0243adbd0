//! The demo's study, committed under `output/`, is what the command makes of the demo today.
//!
//! `OVERBAR_BLESS=1 cargo test golden` replaces the committed files by today's; look at the difference before you
//! commit it. The sound beside the page is megabytes of the demo itself and is not committed; the page, which names its
//! parts, is.

use std::fs;
use std::path::{Path, PathBuf};

use crate::desk::{DEMO, copy, demo, files, place};

/// The first line in which two texts differ.
fn difference(golden: &[u8], made: &[u8]) -> String {
    let (golden, made) = (String::from_utf8_lossy(golden), String::from_utf8_lossy(made));
    let pairs = golden
        .lines()
        .map(Some)
        .chain([None])
        .zip(made.lines().map(Some).chain([None]));
    let differing = (1..).zip(pairs).find(|(_, (a, b))| a != b);
    differing.map_or_else(
        || "they differ in their ends of lines".to_owned(),
        |(line, (a, b))| {
            let shown = |text: Option<&str>| text.unwrap_or("(end)").chars().take(300).collect::<String>();
            format!(
                "line {line}\n  committed: {}\n  today:     {}",
                shown(a),
                shown(b)
            )
        },
    )
}

/// Every file of a study but the sound beside its page.
fn without_sound(folder: &Path) -> Vec<PathBuf> {
    let mut all = files(folder);
    all.retain(|file| !file.starts_with("sound"));
    all
}

fn faults(golden: &Path, made: &Path) -> Vec<String> {
    let (committed, today) = (without_sound(golden), without_sound(made));
    let missing = today.iter().filter(|f| !committed.contains(f));
    let mut faults: Vec<String> = missing
        .map(|f| format!("{} is not committed", f.display()))
        .collect();
    for file in &committed {
        let name = file.display();
        match fs::read(made.join(file)) {
            Err(_) => faults.push(format!("{name} is committed but no longer made")),
            Ok(bytes) => {
                let old = fs::read(golden.join(file)).unwrap();
                if old != bytes {
                    faults.push(format!("{name}: {}", difference(&old, &bytes)));
                }
            }
        }
    }
    faults
}

#[test]
fn the_demo_s_study_is_as_committed() {
    let golden = place("output").join(DEMO);
    if std::env::var_os("OVERBAR_BLESS").is_some_and(|v| v == "1") {
        if golden.exists() {
            fs::remove_dir_all(&golden).unwrap();
        }
        copy(demo(), &golden);
        fs::remove_dir_all(golden.join("sound")).unwrap();
    }
    let faults = faults(&golden, demo());
    let remedy = "if the change is meant: OVERBAR_BLESS=1 cargo test golden, and look at the difference";
    assert!(faults.is_empty(), "{}\n{remedy}", faults.join("\n"));
    let charts = files(&golden)
        .iter()
        .filter(|f| f.extension().is_some_and(|e| e == "svg"))
        .count();
    assert!(golden.join("study.html").exists());
    assert!(charts >= 3 && golden.join("hits.tsv").exists() && golden.join("study.json").exists());
}

#[test]
fn a_changed_a_missing_and_an_orphan_file_are_each_seen() {
    let folder = tempfile::tempdir().unwrap();
    let (golden, made) = (folder.path().join("golden"), folder.path().join("made"));
    for (root, names) in [
        (&golden, ["same", "changed", "orphan"]),
        (&made, ["same", "changed", "missing"]),
    ] {
        fs::create_dir(root).unwrap();
        for name in names {
            let text = if name == "changed" {
                root.display().to_string()
            } else {
                name.to_owned()
            };
            fs::write(root.join(name), text).unwrap();
        }
    }
    let seen = faults(&golden, &made);
    assert_eq!(seen.len(), 3, "{seen:?}");
    for name in ["changed: line 1", "missing is not", "orphan is committed"] {
        assert!(seen.iter().any(|s| s.contains(name)), "{name}: {seen:?}");
    }
}
