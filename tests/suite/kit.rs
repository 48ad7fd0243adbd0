//! The kit file: one edit renames a whole group of strokes, everything else follows, and nothing a player wrote in it
//! is lost.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::desk::{DEMO, copy, demo, files, json, overbar, recording, rows};

/// A copy of the demo's study whose kit may be edited.
struct Desk(tempfile::TempDir);

impl Desk {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        copy(demo(), folder.path());
        Desk(folder)
    }

    fn path(&self) -> &Path {
        self.0.path()
    }

    fn file(&self) -> PathBuf {
        self.path().join("kit.toml")
    }

    fn kit(&self) -> String {
        fs::read_to_string(self.file()).unwrap()
    }

    /// Sets one line of a group's table.
    fn say(&self, group: &str, key: &str, value: &str) {
        let kit = self.kit();
        let (before, table) = kit.split_once(&format!("[group.{group}]\n")).unwrap();
        let line = table.lines().find(|line| line.starts_with(key)).unwrap();
        let table = table.replacen(line, &format!("{key} = {value}"), 1);
        fs::write(self.file(), format!("{before}[group.{group}]\n{table}")).unwrap();
    }

    fn run(&self, flags: &[&str]) -> assert_cmd::assert::Assert {
        let out = ["--out".as_ref(), self.path().as_os_str()];
        overbar()
            .arg("study")
            .arg(recording(DEMO))
            .args(out)
            .args(flags)
            .assert()
    }

    /// Studies the demo again and gives what the command says.
    fn again(&self) -> String {
        let done = self.run(&[]).success();
        String::from_utf8_lossy(&done.get_output().stdout).into_owned()
    }

    /// The complaint of a run that is refused.
    fn refused(&self) -> String {
        let done = self.run(&[]).code(1);
        String::from_utf8_lossy(&done.get_output().stderr).into_owned()
    }

    /// How many rows of `hits.tsv` have this in that column.
    fn count(&self, column: &str, value: &str) -> usize {
        let rows = rows(self.path());
        let at = rows[0].iter().position(|cell| cell == column).unwrap();
        rows[1..].iter().filter(|row| row[at] == value).count()
    }

    /// How many rows of `hits.tsv` have this voice and this limb.
    fn played_by(&self, voice: &str, limb: &str) -> usize {
        let rows = rows(self.path());
        let at = |column: &str| rows[0].iter().position(|cell| cell == column).unwrap();
        let (voices, limbs) = (at("voice"), at("limb"));
        let both = |row: &&Vec<String>| row[voices] == voice && row[limbs] == limb;
        rows[1..].iter().filter(both).count()
    }

    fn group(&self, name: &str) -> Value {
        let study = json(&self.path().join("study.json"));
        let mut groups = study["groups"].as_array().unwrap().iter();
        groups.find(|group| group["group"] == name).unwrap().clone()
    }
}

#[test]
fn every_voice_of_a_fresh_study_is_a_group_with_its_strokes_and_where_to_hear_them() {
    let desk = Desk::new();
    let study = json(&desk.path().join("study.json"));
    let voices = study["voices"].as_array().unwrap();
    assert_eq!(study["groups"].as_array().unwrap().len(), voices.len());
    for voice in voices {
        let name = voice["voice"].as_str().unwrap();
        let group = desk.group(name);
        assert_eq!(group["voice"], voice["voice"]);
        assert_eq!(group["hits"], voice["hits"], "{name}");
        assert_eq!(group["example_times"], voice["example_times"], "{name}");
        assert!(
            desk.kit()
                .contains(&format!("[group.{name}]\nvoice = \"{name}\""))
        );
    }
}

#[test]
fn a_renamed_group_is_renamed_in_hits_study_and_charts_and_stays_so() {
    let desk = Desk::new();
    let before = desk.count("voice", "ride_bell");
    assert!(before > 50);
    desk.say("ride_bell", "voice", "\"cowbell\" # it is one");
    desk.say("ride_bell", "limb", "\"LH\"");
    desk.say("ride_bell", "note", "\"the big one\"");
    for run in 1..=3 {
        let said = desk.again();
        assert!(
            said.contains("kit       ride bell is cowbell, played by LH, the big one"),
            "{said}"
        );
        assert_eq!(desk.count("voice", "ride_bell"), 0, "run {run}");
        assert_eq!(desk.count("voice", "cowbell"), before, "run {run}");
        assert_eq!(desk.played_by("cowbell", "LH"), before, "run {run}");
        assert_eq!(desk.group("ride_bell")["voice"], "cowbell");
        let chart = fs::read_to_string(desk.path().join("charts/grid-01.svg")).unwrap();
        assert!(
            chart.contains("cowbell") && !chart.contains("ride bell"),
            "run {run}"
        );
        let study = json(&desk.path().join("study.json"));
        let figure = study["cycles"][0]["voices"].to_string();
        assert!(figure.contains("cowbell"), "the figure follows: {figure}");
        assert!(
            desk.kit().contains("voice = \"cowbell\" # it is one"),
            "{}",
            desk.kit()
        );
    }
}

#[test]
fn two_groups_given_one_voice_become_one_drum_and_part_again() {
    let desk = Desk::new();
    let table = fs::read(desk.path().join("hits.tsv")).unwrap();
    let (kick, foot) = (desk.count("voice", "kick"), desk.count("voice", "hat_foot"));
    desk.say("hat_foot", "voice", "\"kick\"");
    desk.again();
    let merged = desk.count("voice", "kick");
    assert_eq!(desk.count("voice", "hat_foot"), 0);
    assert!(
        merged <= kick + foot && merged >= kick.max(foot),
        "{kick} and {foot} became {merged}"
    );
    desk.say("hat_foot", "voice", "\"hat_foot\"");
    desk.again();
    assert_eq!(
        fs::read(desk.path().join("hits.tsv")).unwrap(),
        table,
        "as it was"
    );
}

#[test]
fn two_groups_swap_their_names() {
    let desk = Desk::new();
    let (kick, foot) = (desk.count("voice", "kick"), desk.count("voice", "hat_foot"));
    desk.say("hat_foot", "voice", "\"kick\"");
    desk.say("kick", "voice", "\"hat_foot\"");
    desk.again();
    assert_eq!(
        (desk.count("voice", "hat_foot"), desk.count("voice", "kick")),
        (kick, foot)
    );
}

#[test]
fn what_a_player_says_of_one_stroke_wins_over_the_kit_before_and_after() {
    let desk = Desk::new();
    let table = desk.path().join("hits.tsv");
    let set = |from: &str, to: &str| {
        let text = fs::read_to_string(&table).unwrap();
        let line = text
            .lines()
            .find(|line| line.split('\t').nth(1) == Some(from))
            .unwrap()
            .to_owned();
        let changed = line.replacen(&format!("\t{from}\t"), &format!("\t{to}\t"), 1);
        fs::write(&table, text.replacen(&line, &changed, 1)).unwrap();
        line.split('\t').next().unwrap().to_owned()
    };
    let total = rows(desk.path()).len();
    let bells = desk.count("voice", "ride_bell");
    // One stroke renamed in the table before the kit is edited, one afterwards.
    let first = set("ride_bell", "china");
    desk.again();
    desk.say("ride_bell", "voice", "\"cowbell\"");
    desk.again();
    let second = set("cowbell", "splash");
    desk.again();
    desk.say("ride_bell", "voice", "\"ride\"");
    for run in 1..=2 {
        desk.again();
        let found = |time: &str, voice: &str| {
            rows(desk.path())
                .iter()
                .any(|row| row[0] == time && row[1] == voice)
        };
        assert!(found(&first, "china") && found(&second, "splash"), "run {run}");
        assert_eq!(
            rows(desk.path()).len(),
            total,
            "run {run}: no stroke came or went"
        );
        assert_eq!(
            desk.count("voice", "cowbell") + desk.count("voice", "ride_bell"),
            0,
            "run {run}"
        );
        assert_eq!(desk.group("ride_bell")["hits"], bells - 2, "run {run}");
    }
}

#[test]
fn a_kit_nobody_edited_is_written_anew_without_a_copy_and_an_edited_one_is_copied_first() {
    let desk = Desk::new();
    let (before, kit) = (files(desk.path()), desk.kit());
    desk.again();
    assert_eq!((files(desk.path()), desk.kit()), (before.clone(), kit));
    desk.say("snare", "note", "\"14 inch\"");
    let edited = format!("# Ines' kit\n{}\n# sold in May\n", desk.kit());
    fs::write(desk.file(), &edited).unwrap();
    desk.again();
    let copies: Vec<PathBuf> = files(desk.path())
        .into_iter()
        .filter(|f| !before.contains(f))
        .collect();
    assert_eq!(copies.len(), 1, "{copies:?}");
    assert_eq!(fs::read_to_string(desk.path().join(&copies[0])).unwrap(), edited);
    let settled = desk.kit();
    for kept in ["# Ines' kit", "# sold in May", "note = \"14 inch\""] {
        assert!(settled.contains(kept), "{kept} in {settled}");
    }
    desk.again();
    assert_eq!(desk.kit(), settled, "and stays as it is");
    assert_eq!(files(desk.path()).len(), before.len() + 1);
}

#[test]
fn what_is_said_of_a_group_that_is_not_heard_is_kept_and_reported() {
    let desk = Desk::new();
    let silent = "\n[group.tom_floor_2]\nvoice = \"tom_floor\"\nnote = \"16 inch\"\n";
    fs::write(desk.file(), desk.kit() + silent).unwrap();
    for _ in 0..2 {
        let said = desk.again();
        assert!(
            said.contains("floor tom 2 is not heard here; what you say of it is kept"),
            "{said}"
        );
        assert!(desk.kit().contains("note = \"16 inch\""));
    }
}

#[test]
fn a_deleted_table_comes_back_and_a_deleted_file_too() {
    let desk = Desk::new();
    let whole = desk.kit();
    fs::write(desk.file(), "").unwrap();
    desk.again();
    assert_eq!(desk.kit(), whole);
    fs::remove_file(desk.file()).unwrap();
    desk.again();
    assert_eq!(desk.kit(), whole);
}

#[test]
fn nonsense_in_a_kit_is_refused_with_its_line_and_nothing_changes() {
    let cases: [(&str, &str, &str); 9] = [
        ("voice", "\"snair\"", "did you mean \"snare\"?"),
        ("voice", "7", "must be text in quotes"),
        ("voice", "\"kick", "not TOML"),
        ("limb", "\"XH\"", "RH, LH, RF, LF"),
        ("limb", "[]", "must be text in quotes"),
        ("note", "{}", "must be text in quotes"),
        ("note", "\"\"\nvioce = \"kick\"", "did you mean \"voice\"?"),
        ("note", "\"\"\n[group.kick]", "twice"),
        ("sound", "\"loud\"", "must be what the program has measured"),
    ];
    for (key, value, wanted) in cases {
        let desk = Desk::new();
        desk.say("snare", key, value);
        let everything = |desk: &Desk| -> Vec<Vec<u8>> {
            let all = files(desk.path());
            all.iter()
                .map(|file| fs::read(desk.path().join(file)).unwrap())
                .collect()
        };
        let before = everything(&desk);
        let error = desk.refused();
        assert!(
            error.starts_with("error: ") && error.contains("kit.toml, line "),
            "{key} {value}: {error}"
        );
        assert!(
            error.contains(wanted) && error.lines().count() == 1,
            "{key} {value}: {error}"
        );
        assert_eq!(everything(&desk), before);
    }
}

#[test]
fn what_is_no_kit_file_at_all_is_refused() {
    let desk = Desk::new();
    fs::write(desk.file(), [0x5b, 0xff, 0xfe, 0x0a]).unwrap();
    assert!(desk.refused().contains("not UTF-8 text"));
    fs::write(desk.file(), "#".repeat((1 << 20) + 1)).unwrap();
    assert!(desk.refused().contains("larger than 1 MB"));
    fs::remove_file(desk.file()).unwrap();
    fs::create_dir(desk.file()).unwrap();
    assert!(desk.refused().contains("is a folder"));
}

#[test]
fn a_study_starts_from_the_kit_of_another() {
    let other = Desk::new();
    other.say("ride_bell", "voice", "\"cowbell\"");
    other.say("snare", "limb", "\"LH\"");
    let desk = Desk::new();
    desk.say("snare", "note", "\"mine\"");
    let from = other.file();
    let done = desk.run(&["--kit", from.to_str().unwrap()]).success();
    let said = String::from_utf8_lossy(&done.get_output().stdout).into_owned();
    assert!(said.contains("ride bell by its sound"), "{said}");
    assert!(
        said.contains("not taken: snare"),
        "this study's own word stays: {said}"
    );
    assert!(desk.count("voice", "cowbell") > 50);
    let kit = desk.kit();
    assert!(!kit.contains("limb = \"LH\""));
    assert!(
        kit.contains("voice = \"cowbell\"") && kit.contains("note = \"mine\""),
        "{kit}"
    );
    // From now on it is this study's own.
    desk.again();
    assert!(desk.count("voice", "cowbell") > 50);
}

#[test]
fn a_kit_to_start_from_that_is_missing_or_a_folder_is_refused_before_long_work() {
    let desk = Desk::new();
    for (file, wanted) in [
        ("nowhere.toml", "nowhere.toml"),
        (desk.path().to_str().unwrap(), "is a folder"),
    ] {
        let done = desk.run(&["--kit", file]).code(1);
        let error = String::from_utf8_lossy(&done.get_output().stderr).into_owned();
        assert!(error.starts_with("error: ") && error.contains(wanted), "{error}");
    }
}

#[test]
fn one_word_mirrors_the_limbs_and_what_is_said_of_the_reach_stays() {
    let desk = Desk::new();
    let kit = desk.kit();
    assert!(
        kit.contains("[body]\nhanded = \"right\"\ndouble_pedal = false"),
        "{kit}"
    );
    assert!(kit.contains("#:   hat_foot     LF, at [-0.40, 0.40]"), "{kit}");
    let kicks = desk.played_by("kick", "RF");
    assert!(kicks > 50 && desk.played_by("kick", "LF") == 0);
    let said = "[body]\nhanded = \"left\" # since ever\ndouble_pedal = false\n\n# mine\n[reach.snare_2]\nlimbs = [\"LH\"]";
    let kit = kit.replace("[body]\nhanded = \"right\"\ndouble_pedal = false", said);
    fs::write(desk.file(), &kit).unwrap();
    let out = desk.again();
    assert!(out.contains("kit       left-handed, reach of snare 2"), "{out}");
    assert_eq!(
        (desk.played_by("kick", "LF"), desk.played_by("kick", "RF")),
        (kicks, 0)
    );
    assert_eq!(desk.played_by("snare_2", "LH"), desk.count("voice", "snare_2"));
    let now = desk.kit();
    assert!(now.contains(said), "{now}");
    assert!(now.contains("#:   hat_foot     RF, at [0.40, 0.40]"), "{now}");
    assert!(now.contains("#:   snare_2      LH, at"), "{now}");
}

#[test]
fn a_mistake_about_the_reach_is_refused_with_its_line() {
    let desk = Desk::new();
    let kit = desk.kit() + "\n[reach.snare]\nlimbs = [\"RH\", \"RF\"]\n";
    let line = kit.lines().position(|line| line == "[reach.snare]").unwrap() + 1;
    fs::write(desk.file(), &kit).unwrap();
    let said = desk.refused();
    assert!(
        said.contains(&format!(
            "kit.toml, line {line}: reach.snare.limbs: RH, RF mixes hands and feet"
        )),
        "{said}"
    );
    assert_eq!(desk.kit(), kit);
}

#[test]
fn charts_and_drills_suit_the_player_and_keep_the_figure_whole() {
    let desk = Desk::new();
    let chart = |flags: &[&str]| {
        let done = overbar()
            .arg("chart")
            .arg(desk.path())
            .args(flags)
            .assert()
            .success();
        String::from_utf8_lossy(&done.get_output().stdout).into_owned()
    };
    let strokes = |name: &str| {
        let svg = fs::read_to_string(desk.path().join("charts").join(name)).unwrap();
        ["kick", "snare 2", "snare"].map(|voice| svg.matches(&format!("{voice}, ")).count())
    };
    let before = files(desk.path());
    let said = chart(&["--easier", "accents", "--chart", "grid"]);
    assert!(
        said.contains("grid-01-accents.svg") && said.contains("strokes are left out"),
        "{said}"
    );
    let kit = desk.kit() + "\n[reach.snare_2]\nhave = false\n";
    fs::write(desk.file(), kit).unwrap();
    let said = chart(&["--my-kit", "--chart", "grid"]);
    assert!(
        said.contains("grid-01-my-kit.svg") && said.contains(" of snare 2 go to high tom"),
        "{said}"
    );
    assert!(strokes("grid-01.svg")[1] > 0 && strokes("grid-01-my-kit.svg")[1] == 0);
    let said = chart(&["--limbs", "RH,LF", "--chart", "solo"]);
    assert!(said.contains("solo-01-RH-LF.svg"), "{said}");
    let after = files(desk.path());
    assert!(
        before.iter().all(|file| after.contains(file)),
        "nothing else is touched"
    );
    for (flags, words) in [
        (vec!["--easier", "ghosts"], "use accents, a limb"),
        (vec!["--limbs", "RH,RH"], "name two of RH, LH, RF, LF"),
    ] {
        let done = overbar()
            .arg("chart")
            .arg(desk.path())
            .args(flags)
            .assert()
            .code(2);
        let said = String::from_utf8_lossy(&done.get_output().stderr).into_owned();
        assert!(said.contains(words), "{said}");
    }
    let drill = overbar()
        .arg("drill")
        .arg(desk.path())
        .args(["--easier", "RH", "--bars", "1-2"])
        .assert()
        .success();
    let said = String::from_utf8_lossy(&drill.get_output().stdout).into_owned();
    assert!(said.contains("bars-1-2-model-RH-60.wav"), "{said}");
}
