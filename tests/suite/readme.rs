//! What the README shows of the program's output is what the program prints today.
//!
//! `OVERBAR_BLESS=1 cargo test --test suite readme` puts today's output in.

use std::fs;

use crate::desk::{copy, overbar, place};

/// A command of the README and the output shown under it.
struct Shown<'a> {
    command: &'a str,
    output: &'a str,
}

/// Commands are indented by four spaces; their output follows as a block fenced by ` ```text `.
fn shown(text: &str) -> Vec<Shown<'_>> {
    let blocks = text.split("```text\n").collect::<Vec<_>>();
    let pairs = blocks.windows(2);
    pairs
        .filter_map(|pair| {
            let command = pair[0].trim_end().lines().last()?.strip_prefix("    overbar ")?;
            let (output, _) = pair[1].split_once("```")?;
            Some(Shown { command, output })
        })
        .collect()
}

#[test]
fn the_readme_shows_what_the_program_prints() {
    let desk = tempfile::tempdir().unwrap();
    copy(&place("test-audio"), &desk.path().join("test-audio"));
    let file = place("README.md");
    let mut text = fs::read_to_string(&file).unwrap();
    let bless = std::env::var_os("OVERBAR_BLESS").is_some_and(|v| v == "1");
    let mut today = text.clone();
    let mut commands = Vec::new();
    for Shown { command, output } in shown(&text) {
        let run = overbar()
            .current_dir(desk.path())
            .args(command.split(' '))
            .assert()
            .success();
        let printed = String::from_utf8_lossy(&run.get_output().stdout).into_owned();
        today = today.replace(
            &format!("    overbar {command}\n\n```text\n{output}```"),
            &format!("    overbar {command}\n\n```text\n{printed}```"),
        );
        commands.push(command.split(' ').next().unwrap_or_default().to_owned());
    }
    for name in ["study", "verify", "chart"] {
        assert!(
            commands.iter().any(|c| c == name),
            "the README shows no output of {name}"
        );
    }
    if bless {
        fs::write(&file, &today).unwrap();
        text = fs::read_to_string(&file).unwrap();
    }
    for (old, new) in text.lines().zip(today.lines()) {
        assert_eq!(
            old, new,
            "the README shows something else than the program prints"
        );
    }
    assert_eq!(text, today);
}
