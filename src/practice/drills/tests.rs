//! Drills of a five over sixteenth-triplets, held against the arithmetic of TRADE 2 and 5, and of the trade's table.

use super::*;
use crate::cycles::{Carrier, Cycle, Cycles, FigureNote, Home, Moment, Verdict, home};
use crate::grid::{Grid, Meter};
use crate::names::Voice;
use crate::options::Options;
use crate::stickings;
use crate::study::RecordingFacts;
use crate::units::{Bits, Steps};

/// A study with a figure of so many steps on a grid of this meter and subdivision, its first step struck by the kick,
/// its third by the left kick.
fn study(length: u32, per_beat: u32) -> Study {
    let grid = Grid {
        tempo: Bpm(100.0),
        meter: Meter::COMMON,
        steps_per_beat: per_beat,
        beats: (0..200).map(|b| Seconds(0.6 * f64::from(b))).collect(),
        ..Grid::none()
    };
    let (home_cycles, home_bars) = home(Steps(i64::from(length)), Steps(i64::from(grid.steps_per_bar())));
    let at = |bar: i64| Moment {
        bar,
        beat: 1,
        step: 1,
        time: Seconds(0.0),
    };
    let note = |step, voice| FigureNote {
        step,
        voices: vec![voice],
        limb: None,
    };
    let cycle = Cycle {
        length_steps: length,
        length_notes: 2,
        length_seconds: Seconds(0.5),
        crosses_bar: true,
        figure: vec![note(1, Voice::Kick), note(3, Voice::KickLeft)],
        voices: vec![Voice::Kick, Voice::KickLeft],
        start: at(1),
        end: at(21),
        repeats: 40,
        kept: 1.0,
        broken: vec![],
        bits: Bits(100.0),
        chance: 0.0,
        home_bars,
        home_cycles,
        resolved: None,
        carrier: Carrier::Voices,
        grade: Verdict::Certain,
        home: Home::default(),
    };
    let found = Cycles {
        found: vec![cycle],
        ..Cycles::default()
    };
    Study::new(
        RecordingFacts::from(&Default::default()),
        Options::default(),
        &[],
        grid,
        &[],
        found,
        vec![],
    )
}

fn only(all: &Drills, kind: Kind) -> Vec<Drill> {
    all.drills.iter().filter(|d| d.kind == kind).cloned().collect()
}

#[test]
fn a_five_on_sixteenth_triplets_is_home_after_120_steps_and_starts_where_the_trade_says() {
    // TRADE 2 [=]
    let all = drills(&study(5, 6), &[]).unwrap();
    let stairs = &only(&all, Kind::Staircase)[0];
    assert_eq!(stairs.pattern.steps, 120);
    assert_eq!(stairs.pattern.starts.len(), 24);
    assert!(
        stairs
            .how
            .contains("bar 1: beat 1, beat 1 step 6, beat 2 step 5, beat 3 step 4, beat 4 step 3;")
    );
    assert!(
        stairs
            .how
            .contains("bar 5: beat 1 step 5, beat 2 step 4, beat 3 step 3, beat 4 step 2."),
        "{}",
        stairs.how
    );
    // First on a beat after 6 cycles = 5 beats.
    let figure = &only(&all, Kind::Figure)[0];
    assert!(figure.how.contains("after 6 cycles, 5 beats"), "{}", figure.how);
}

#[test]
fn a_round_lasts_what_its_steps_last() {
    // A sixteenth-triplet step is 10 / bpm seconds: TRADE 5 [=]
    let all = drills(&study(5, 6), &["RLRRLL".parse().unwrap()]).unwrap();
    for drill in &all.drills {
        for bpm in [60.0, 100.0, 120.0, 160.0] {
            let wanted = f64::from(drill.pattern.steps) * 10.0 / bpm;
            assert!((drill.round(Bpm(bpm)).0 - wanted).abs() < 1e-9, "{}", drill.title);
        }
    }
}

#[test]
fn the_staircase_lasts_as_many_bars_and_cycles_as_the_table_says() {
    // TRADE 2 [=]: length, per beat, cycles, bars
    let table = [
        (3, 6, 8, 1),
        (5, 6, 24, 5),
        (7, 6, 24, 7),
        (9, 6, 8, 3),
        (10, 6, 12, 5),
        (11, 6, 24, 11),
        (14, 6, 12, 7),
        (15, 6, 8, 5),
        (18, 6, 4, 3),
        (20, 6, 6, 5),
        (3, 4, 16, 3),
        (5, 4, 16, 5),
        (7, 4, 16, 7),
        (9, 4, 16, 9),
        (10, 4, 8, 5),
        (11, 4, 16, 11),
        (14, 4, 8, 7),
        (15, 4, 16, 15),
        (18, 4, 8, 9),
        (20, 4, 4, 5),
        (3, 3, 4, 1),
        (5, 3, 12, 5),
        (7, 3, 12, 7),
        (9, 3, 4, 3),
        (10, 3, 6, 5),
        (11, 3, 12, 11),
        (14, 3, 6, 7),
        (15, 3, 4, 5),
        (18, 3, 2, 3),
        (20, 3, 3, 5),
    ];
    for (length, per_beat, cycles, bars) in table {
        let all = drills(&study(length, per_beat), &[]).unwrap();
        let stairs = &only(&all, Kind::Staircase)[0].pattern;
        assert_eq!(stairs.steps, bars * stairs.per_bar, "{length} on {per_beat}");
        assert_eq!(stairs.starts.len() as u32, cycles, "{length} on {per_beat}");
    }
}

#[test]
fn every_displacement_is_there_once_and_both_lines_meet_as_the_arithmetic_says() {
    // Triple paradiddle against paradiddle-diddle: home after 48 = 3 of one, 8 of the other. TRADE 2 [=]
    let all = drills(&study(16, 4), &["RLRRLL".parse().unwrap()]).unwrap();
    let displaced = only(&all, Kind::Displaced);
    assert_eq!(displaced.len(), 16);
    for (i, drill) in displaced.iter().enumerate() {
        assert!(
            drill.how.contains("again after 48 steps (3 cycles, 8 cells)"),
            "{}",
            drill.how
        );
        let kicks: Vec<u32> = drill
            .pattern
            .notes
            .iter()
            .filter(|n| n.voice == Voice::Kick)
            .map(|n| n.step)
            .collect();
        let wanted: Vec<u32> = (0..drill.pattern.steps)
            .filter(|s| (s + i as u32).is_multiple_of(16))
            .collect();
        assert_eq!(kicks, wanted);
    }
}

#[test]
fn a_bar_of_sixteenth_triplets_comes_home_as_five_five_five_five_four() {
    // [C] TRADE 2
    let all = drills(&study(5, 6), &[]).unwrap();
    let home = only(&all, Kind::WayHome);
    let bar = home
        .iter()
        .find(|d| d.title == "Home in 1 bar: cut the last cycle")
        .unwrap();
    assert_eq!(bar.pattern.starts, [0, 5, 10, 15, 20]);
    assert_eq!(bar.pattern.steps, 24);
    assert!(bar.how.contains("drop the last 1 step"), "{}", bar.how);
    let held = home
        .iter()
        .find(|d| d.title == "Home in 1 bar: hold the last cycle")
        .unwrap();
    assert_eq!(held.pattern.starts, [0, 5, 10, 15]);
    assert!(held.how.contains("9 steps in all"), "{}", held.how);
    assert!(
        all.left_out.iter().any(|l| l.contains("Home in 8 bars")),
        "{:?}",
        all.left_out
    );
}

#[test]
fn the_other_side_changes_every_limb_and_the_kicks() {
    let all = drills(&study(5, 6), &["RLF-".parse().unwrap()]).unwrap();
    let other = only(&all, Kind::OtherSide);
    let voices: Vec<(Voice, Option<Limb>)> = other[0]
        .pattern
        .notes
        .iter()
        .map(|n| (n.voice, n.limb))
        .take(2)
        .collect();
    assert_eq!(
        voices,
        [
            (Voice::KickLeft, Some(Limb::LeftFoot)),
            (Voice::Kick, Some(Limb::RightFoot))
        ]
    );
    assert!(
        other[1].how.starts_with("LRF- instead of RLF-"),
        "{}",
        other[1].how
    );
}

/// A figure of ten whose ride bell is the right hand's, whose kick the right foot's.
fn right_side() -> Study {
    let mut study = study(10, 4);
    study.cycles[0].figure = vec![
        FigureNote {
            step: 1,
            voices: vec![Voice::RideBell],
            limb: Some(Limb::RightHand),
        },
        FigureNote {
            step: 4,
            voices: vec![Voice::Kick],
            limb: Some(Limb::RightFoot),
        },
    ];
    study
}

#[test]
fn nobody_plays_the_figure_and_a_cell_at_once() {
    let texts = ["RLRRLL", "L-LL", "RLF", "LF", "F-F", "RRL"];
    for study in [study(5, 6), right_side()] {
        for text in texts {
            for other in texts {
                let all = drills(&study, &[text.parse().unwrap(), other.parse().unwrap()]).unwrap();
                for drill in &all.drills {
                    let limbs = |figure: bool| {
                        let notes = drill.pattern.notes.iter().filter(move |n| n.figure == figure);
                        notes.filter_map(|n| n.limb).collect::<Vec<_>>()
                    };
                    let (keep, play) = (limbs(true), limbs(false));
                    assert!(
                        play.iter().all(|limb| !keep.contains(limb)),
                        "{}: {}",
                        drill.title,
                        drill.how
                    );
                }
            }
        }
    }
}

#[test]
fn a_cell_goes_to_the_limbs_that_the_figure_leaves_free_and_keeps_its_sticking() {
    let all = drills(&right_side(), &["RLRRLL".parse().unwrap()]).unwrap();
    let displaced = only(&all, Kind::Displaced);
    assert_eq!(displaced.len(), 10);
    let played = displaced[0].pattern.notes.iter().filter(|n| !n.figure);
    let limbs: Vec<Limb> = played.filter_map(|n| n.limb).take(6).collect();
    let (l, f) = (Limb::LeftHand, Limb::LeftFoot);
    assert_eq!(limbs, [f, l, f, f, l, l]);
    let said = "The right hand keeps the figure: in the cell the left foot plays for the right hand.";
    assert!(displaced[0].how.ends_with(said), "{}", displaced[0].how);
    // Learnt so before it meets the figure.
    let alone: Vec<String> = only(&all, Kind::Cell).into_iter().map(|d| d.title).collect();
    assert_eq!(alone, ["RLRRLL alone", "RLRRLL on free limbs"]);
    // Nothing is moved that need not be, and what fits on no limb is told.
    let all = drills(&right_side(), &["L-LL".parse().unwrap(), "RLF".parse().unwrap()]).unwrap();
    assert_eq!(only(&all, Kind::Displaced).len(), 10);
    assert_eq!(only(&all, Kind::Cell).len(), 2);
    let told = all
        .left_out
        .iter()
        .filter(|l| l.starts_with("RLF over the figure: too few limbs"));
    assert_eq!(told.count(), 1, "{:?}", all.left_out);
}

#[test]
fn both_feet_are_told_apart_in_letters() {
    let cell: Cell = "RLR-".parse().unwrap();
    let played = cell.beside(&[Limb::RightHand, Limb::LeftHand]).unwrap();
    assert_eq!(played.letters(), "RF LF RF -");
}

#[test]
fn what_cannot_be_made_is_said() {
    let all = drills(&study(5, 6), &[]).unwrap();
    assert!(all.left_out.iter().any(|l| l.contains("--cell")));
    let mut bare = study(5, 6);
    bare.cycles.clear();
    let all = drills(&bare, &["RL".parse().unwrap()]).unwrap();
    assert_eq!(all.drills.len(), 1);
    assert!(all.left_out.iter().any(|l| l.contains("no figure")));
    bare.grid.beats.clear();
    assert_eq!(drills(&bare, &[]), Err(PracticeError::NoGrid));
}

#[test]
fn cells_read_back_and_nonsense_is_refused() {
    let cell: Cell = "diddle: rlrrll".parse().unwrap();
    assert_eq!(
        (cell.name.as_str(), cell.letters().as_str()),
        ("diddle", "RLRRLL")
    );
    for bad in ["", ":", "----", "RLX", "R L", &"R".repeat(65)] {
        assert!(bad.parse::<Cell>().is_err(), "{bad}");
    }
}

#[test]
fn a_drill_sounds_as_long_as_its_round_when_it_is_a_loop() {
    let all = drills(&study(5, 6), &[]).unwrap();
    let options = SoundOptions {
        form: crate::options::Form::Loop,
        ..SoundOptions::default()
    };
    let drill = &all.drills[0];
    let sound = drill
        .sound(Bpm(80.0), super::super::loudness::USUAL, &options)
        .unwrap();
    let wanted = drill.round(Bpm(80.0)).to_sample(crate::audio::RATE);
    assert!(
        sound
            .iter()
            .all(|c| c.len() == wanted && c.iter().any(|s| s.abs() > 0.01))
    );
}

#[test]
fn a_drill_is_written_with_all_its_notes_and_its_round_ends_on_a_bar_line() {
    let study = study(10, 4);
    let cells: Vec<Cell> = vec!["RLRLRLF".parse().unwrap(), "RLRR".parse().unwrap()];
    for drill in &drills(&study, &cells).unwrap().drills {
        let own = drill.written(&study, Bpm(80.0));
        let mut notes: Vec<(i64, Voice)> = drill
            .pattern
            .notes
            .iter()
            .map(|n| (i64::from(n.step), n.voice))
            .collect();
        notes.sort_unstable();
        notes.dedup();
        let written: Vec<(i64, Voice)> = own
            .strokes
            .iter()
            .map(|s| (s.step.unwrap().0, s.hit.voice))
            .collect();
        assert_eq!(written, notes, "{}", drill.title);
        assert!(
            drill.pattern.steps.is_multiple_of(own.grid.steps_per_bar()),
            "{}: {} steps in {}",
            drill.title,
            drill.pattern.steps,
            own.grid.meter
        );
    }
}

#[test]
fn the_studys_own_cells_are_drilled_from_where_the_solo_begins_them() {
    let mut study = study(10, 4);
    study.stickings.vocabulary = vec![stickings::Cell {
        name: "H-HFF".to_owned(),
        cell: "H-HFF".to_owned(),
        steps: 5,
        share: 0.5,
        together: 0.5,
        opens: vec![],
        permutations: vec![],
        r#where: vec![],
        drums: vec![stickings::Drums {
            limbs: vec![
                (Limb::LeftHand, vec![Voice::TomHigh]),
                (Limb::LeftFoot, vec![Voice::HatFoot]),
            ],
            times: 3,
        }],
        figures: vec![stickings::Meeting {
            figure: 0,
            home_steps: 10,
            alignments: 2,
            used: vec![6, 1],
        }],
    }];
    let cells = key_cells(&study);
    assert_eq!(cells[0].letters(), "L-LFF");
    let all = drills(&study, &cells).unwrap();
    let displaced = only(&all, Kind::Displaced);
    assert_eq!(displaced.len(), 10);
    assert!(displaced[0].title.ends_with("from step 6 of the figure"));
    assert!(displaced[1].how.contains("The solo begins it here."));
    assert!(!displaced[2].how.contains("The solo begins it here."));
    let alone = &only(&all, Kind::Cell)[0].pattern;
    assert!(
        alone
            .notes
            .iter()
            .any(|n| n.voice == Voice::TomHigh && n.limb == Some(Limb::LeftHand))
    );
}
