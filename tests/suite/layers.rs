//! The order of the modules: data flows one way, and a stage knows only those before it.
//!
//! Reads the sources. Unit tests may besides use `practice`, whose kit makes sound to test with; no other later stage.

use std::fs;
use std::path::{Path, PathBuf};

/// Every module at the top of `src/`, in the order in which data flows.
const ORDER: [&str; 17] = [
    "units",
    "names",
    "files",
    "options",
    "audio",
    "listen",
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

/// Imports against the order that are wanted: plain values which the player may state as hints.
const WANTED: [(&str, &str); 2] = [("options", "grid::Meter"), ("options", "stickings::body::Body")];

/// Outputs see what the study says, never the sound or the way to it.
const OUTPUTS: [&str; 3] = ["charts", "notation", "page"];
const NOT_FOR_OUTPUTS: [&str; 3] = ["audio", "listen", "hits"];

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

/// What is against the order in one source of `module`; with `only_tests` all of it is unit tests.
fn faults(module: &str, source: &str, only_tests: bool) -> Vec<String> {
    let (code, tests) = match source.split_once("#[cfg(test)]\nmod tests {") {
        _ if only_tests => ("", source),
        Some((code, tests)) => (code, tests),
        None => (source, ""),
    };
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
    faults
}

/// Files and folders that are compiled into tests only, without their ending.
fn only_tests(files: &[PathBuf]) -> Vec<PathBuf> {
    let declared = |file: &PathBuf| {
        let source = fs::read_to_string(file).unwrap();
        let folder = match file.file_stem().unwrap().to_str().unwrap() {
            "mod" | "lib" | "main" => file.parent().unwrap().to_owned(),
            _ => file.with_extension(""),
        };
        let after = source.split("#[cfg(test)]\nmod ").skip(1).map(str::to_owned);
        let names = after.filter_map(|rest| Some(rest.split_once(';')?.0.to_owned()));
        let plain = names.filter(|n| n.chars().all(|c| c.is_alphanumeric() || c == '_'));
        plain.map(|n| folder.join(n)).collect::<Vec<_>>()
    };
    files.iter().flat_map(declared).collect()
}

/// Whether a source climbs out of its stage by `super::` instead of saying `crate::`, which is read here.
fn climbs_out(file: &Path, source: &str) -> bool {
    let inside = file.strip_prefix(src()).unwrap().with_extension("");
    let depth = inside.components().count() - usize::from(inside.ends_with("mod"));
    let up = "super::".repeat(depth);
    source
        .lines()
        .any(|l| l.trim_start_matches("pub ").starts_with(&format!("use {up}")))
}

#[test]
fn every_stage_uses_only_those_before_it() {
    let files = rust_files(&src());
    let tests = only_tests(&files);
    let (mut seen, mut all) = (0, Vec::new());
    for file in &files {
        let source = fs::read_to_string(file).unwrap();
        let bare = file.with_extension("");
        let found = faults(
            &module_of(file),
            &source,
            tests.iter().any(|t| bare.starts_with(t)),
        );
        all.extend(found.iter().map(|fault| format!("{}: {fault}", file.display())));
        seen += imports(&source).len();
        if climbs_out(file, &source) {
            all.push(format!(
                "{}: say crate:: where super:: leaves the stage",
                file.display()
            ));
        }
    }
    assert!(all.is_empty(), "{}", all.join("\n"));
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
        assert_eq!(faults("grid", source, false).len(), 1, "{source}");
        assert_eq!(faults("grid", source, true).len(), 1, "{source}");
        assert!(faults("cli", source, false).is_empty(), "{source}");
    }
    let fit = |module: &str, source: &str| faults(module, source, false).is_empty();
    assert!(fit(
        "grid",
        "//! Feeds [`charts`](crate::charts).\nuse crate::units::Bpm;"
    ));
    assert!(fit(
        "hits",
        "#[cfg(test)]\nmod tests { use crate::practice::kit; }"
    ));
    assert!(faults("hits", "use crate::practice::kit;", true).is_empty());
    assert!(!fit(
        "hits",
        "#[cfg(test)]\nmod tests;\nuse crate::practice::kit;"
    ));
    assert!(!fit("hits", "use crate::practice::kit;"));
    assert!(!fit("lib", "use crate::cli::run;"));
    assert!(!fit("charts", "use crate::audio::Recording;"));
    let climbs = |file: &str, source: &str| climbs_out(&src().join(file), source);
    assert!(climbs("hits/mod.rs", "use super::audio;") && climbs("names.rs", "pub use super::audio;"));
    assert!(climbs("hits/bands.rs", "use super::super::audio;"));
    assert!(!climbs("hits/bands.rs", "use super::HOP;") && !climbs("hits/a/b.rs", "use super::super::HOP;"));
}
