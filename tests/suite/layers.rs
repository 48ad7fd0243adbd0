//! The order of the modules: data flows one way, and a stage knows only those before it.
//!
//! Reads the sources. What stands under `#[cfg(test)]` may besides use `practice`, whose kit makes sound to test
//! with; no other later stage.

use std::fs;
use std::path::{Path, PathBuf};

/// Every module at the top of `src/`, in the order in which data flows.
const ORDER: [&str; 15] = [
    "units",
    "names",
    "options",
    "audio",
    "hits",
    "voices",
    "grid",
    "cycles",
    "stickings",
    "study",
    "charts",
    "notation",
    "practice",
    "page",
    "cli",
];

/// Imports against the order that are wanted: a meter is a plain value which the player may state as a hint.
const WANTED: [(&str, &str); 1] = [("options", "grid::Meter")];

/// Outputs see what the study says, never the sound or the way to it.
const OUTPUTS: [&str; 3] = ["charts", "notation", "page"];
const NOT_FOR_OUTPUTS: [&str; 2] = ["audio", "hits"];

fn src() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut entries: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    entries.sort();
    let (folders, files): (Vec<_>, Vec<_>) = entries.into_iter().partition(|p| p.is_dir());
    let is_rust = |p: &PathBuf| p.extension().is_some_and(|e| e == "rs");
    let below = folders.iter().flat_map(|f| rust_files(f));
    files.into_iter().filter(is_rust).chain(below).collect()
}

/// The module at the top of `src/` that a file belongs to; `lib` and `main` are their own.
fn module_of(file: &Path) -> String {
    let inside = file.strip_prefix(src()).unwrap();
    let top = inside.components().next().unwrap().as_os_str().to_str().unwrap();
    top.trim_end_matches(".rs").to_owned()
}

/// What `code` names of the crate, as `module::rest`, comments left out and groups taken apart.
fn imports(code: &str) -> Vec<String> {
    let no_comments: String = code
        .lines()
        .map(|line| line.split("//").next().unwrap_or_default().to_owned() + "\n")
        .collect();
    let end_of_path = |c: char| !(c.is_alphanumeric() || c == '_' || c == ':');
    let mut found = Vec::new();
    for (at, start) in no_comments.match_indices("crate::") {
        if no_comments[..at].ends_with('$') {
            continue; // a macro's own crate, spelled out where it is used
        }
        let rest = &no_comments[at + start.len()..];
        match rest.strip_prefix('{') {
            Some(group) => found.extend(members(group)),
            None => found.push(rest.split(end_of_path).next().unwrap_or_default().to_owned()),
        }
    }
    found
}

/// The members of `{a, b::{c, d}, e::f}` after its opening brace, each up to its own group.
fn members(group: &str) -> Vec<String> {
    let (mut depth, mut member, mut all) = (0, String::new(), Vec::new());
    for c in group.chars() {
        match c {
            '{' => depth += 1,
            '}' if depth == 0 => break,
            '}' => depth -= 1,
            ',' if depth == 0 => all.push(std::mem::take(&mut member)),
            c if depth == 0 && !c.is_whitespace() => member.push(c),
            _ => {}
        }
    }
    all.push(member);
    all.retain(|m| !m.is_empty());
    all
}

/// What is against the order in one source of `module`.
fn faults(module: &str, source: &str) -> Vec<String> {
    let (code, tests) = source.split_once("#[cfg(test)]").unwrap_or((source, ""));
    let place = |name: &str| ORDER.iter().position(|m| *m == name);
    let mut faults = Vec::new();
    let mut check = |import: String, in_tests: bool| {
        let used = import.split("::").next().unwrap_or_default();
        let later = match (place(module), place(used)) {
            (Some(own), Some(other)) => other > own,
            _ => used == "cli" && module != "main",
        };
        let wanted = WANTED.contains(&(module, import.as_str())) || in_tests && used == "practice";
        let unfit = OUTPUTS.contains(&module) && NOT_FOR_OUTPUTS.contains(&used) && !in_tests;
        if later && !wanted || unfit {
            faults.push(format!("{module} uses {import}"));
        }
    };
    imports(code).into_iter().for_each(|i| check(i, false));
    imports(tests).into_iter().for_each(|i| check(i, true));
    if place(module).is_some() && code.lines().any(|l| l.starts_with("use super::super")) {
        faults.push(format!("{module} climbs with super::super; write crate::"));
    }
    faults
}

#[test]
fn every_stage_uses_only_those_before_it() {
    let files = rust_files(&src());
    let read = |f: &PathBuf| fs::read_to_string(f).unwrap();
    let all: Vec<String> = files
        .iter()
        .flat_map(|f| {
            faults(&module_of(f), &read(f))
                .into_iter()
                .map(move |m| format!("{}: {m}", f.display()))
        })
        .collect();
    assert!(all.is_empty(), "{}", all.join("\n"));
    let seen: usize = files.iter().map(|f| imports(&read(f)).len()).sum();
    assert!(seen > 20, "only {seen} imports were read: the reader is blind");
}

#[test]
fn every_module_has_its_place_in_the_order_and_the_contents_page_keeps_it() {
    let stray: Vec<PathBuf> = rust_files(&src())
        .into_iter()
        .filter(|f| {
            !ORDER.contains(&module_of(f).as_str()) && !["lib", "main"].contains(&module_of(f).as_str())
        })
        .collect();
    assert!(stray.is_empty(), "{stray:?}");
    let contents = fs::read_to_string(src().join("lib.rs")).unwrap();
    let listed: Vec<&str> = contents
        .lines()
        .filter_map(|l| l.strip_prefix("pub mod ")?.strip_suffix(';'))
        .collect();
    let in_order: Vec<&str> = ORDER.into_iter().filter(|m| listed.contains(m)).collect();
    assert_eq!(listed, in_order);
}

#[test]
fn no_wanted_exception_outlives_its_use() {
    for (module, import) in WANTED {
        let used = rust_files(&src())
            .iter()
            .filter(|f| module_of(f) == module)
            .any(|f| {
                imports(&fs::read_to_string(f).unwrap())
                    .iter()
                    .any(|i| i == import)
            });
        assert!(used, "{module} no longer uses {import}: take it off the list");
    }
}

#[test]
fn imports_against_the_order_are_seen_in_every_spelling() {
    for source in [
        "use crate::charts::grid;",
        "use crate::{units::Bpm, charts::{self, grid}};",
        "use crate::{\n    charts,\n    units::Bpm,\n};",
        "fn f() { crate::charts::draw() }",
        "#[cfg(test)]\nmod tests { use crate::charts; }",
    ] {
        assert_eq!(faults("grid", source).len(), 1, "{source}");
        assert!(faults("cli", source).is_empty(), "{source}");
    }
    assert!(
        faults(
            "grid",
            "//! Feeds [`charts`](crate::charts).\nuse crate::units::Bpm;"
        )
        .is_empty()
    );
    assert!(faults("hits", "#[cfg(test)]\nmod tests { use crate::practice::kit; }").is_empty());
    assert_eq!(faults("hits", "use crate::practice::kit;").len(), 1);
    assert_eq!(faults("lib", "use crate::cli::run;").len(), 1);
    assert_eq!(faults("charts", "use crate::audio::Recording;").len(), 1);
}
