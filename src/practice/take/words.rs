//! A take in words: its figures in some lines, and three sentences on what to work on next.

use super::{Deviation, Late, Take, Who};
use crate::grid::Grid;
use crate::units::Steps;

/// Later than this (ms) is worth a sentence: twice what is noticed [P: Friberg & Sundberg, JASA 98, 1995].
const NOTICED: f64 = 12.0;
/// A tempo that changes by more than this share is worth one.
const DRIFTS: f64 = 0.03;
/// A spread of more than this (ms) is worth one [M].
const LOOSE: f64 = 18.0;

/// A take's figures: names and what they are.
pub fn lines(take: &Take, grid: &Grid) -> Vec<(&'static str, String)> {
    let bars: Vec<String> = take
        .passes
        .iter()
        .map(|(from, to)| format!("{} to {}", grid.place_of(Steps(*from)), grid.place_of(Steps(*to))))
        .collect();
    let started = match take.false_starts {
        0 => String::new(),
        1 => "; one false start before".to_owned(),
        n => format!("; {n} false starts before"),
    };
    let clean = take.rounds.iter().filter(|r| r.clean).count();
    let mut lines = vec![
        ("played", format!("{}{started}", bars.join("; "))),
        (
            "tempo",
            format!(
                "{:.1} bpm, {:.1} % of the original, {}",
                take.tempo.0,
                take.share * 100.0,
                drift(take.drift)
            ),
        ),
        (
            "steady",
            format!(
                "within {:.1} ms (standard deviation) of the fitted tempo",
                take.steadiness.0
            ),
        ),
        ("strokes", strokes(take)),
    ];
    lines.extend(take.faults.iter().take(12).map(|f| ("fault", fault(f, grid))));
    if take.faults.len() > 12 {
        lines.push((
            "fault",
            format!("and {} more, on the picture", take.faults.len() - 12),
        ));
    }
    lines.extend(take.limbs.iter().map(|l| ("late", limb(l))));
    if take.changes.0 > 0 {
        lines.push((
            "figure",
            format!(
                "stood at {} of {} changes of the solo",
                take.changes.1, take.changes.0
            ),
        ));
    }
    lines.push((
        "rounds",
        match take.rounds.len() {
            0 => "no whole round to home was played".to_owned(),
            n => format!("{clean} of {n} to home were clean{}", far(take)),
        },
    ));
    if take.untold > 0 {
        lines.push((
            "unheard",
            format!(
                "{} strokes lie under others: whether they are there cannot be told",
                take.untold
            ),
        ));
    }
    if take.metronome {
        lines.push(("heard", "a metronome, which was left out".to_owned()));
    }
    lines
}

fn drift(share: f64) -> String {
    match share {
        s if s.abs() < 0.01 => "steady from beginning to end".to_owned(),
        s if s > 0.0 => format!("{:.1} % faster at the end", s * 100.0),
        s => format!("{:.1} % slower at the end", -s * 100.0),
    }
}

fn strokes(take: &Take) -> String {
    let count = |wanted: fn(&Deviation) -> bool| take.faults.iter().filter(|f| wanted(f)).count();
    format!(
        "{} of {} there, {} missing, {} extra, {} on the wrong drum, {} out of order",
        take.written.saturating_sub(take.faults.iter().map(lost).sum()),
        take.written,
        count(|f| matches!(f, Deviation::Missed { .. })),
        count(|f| matches!(f, Deviation::Extra { .. })),
        count(|f| matches!(f, Deviation::Wrong { .. })),
        count(|f| matches!(f, Deviation::Slip { .. })),
    )
}

/// Written strokes that a fault spoils.
fn lost(fault: &Deviation) -> usize {
    match fault {
        Deviation::Missed { .. } | Deviation::Wrong { .. } => 1,
        Deviation::Slip { .. } => 2,
        Deviation::Extra { .. } => 0,
    }
}

/// One fault in words.
pub fn fault(fault: &Deviation, grid: &Grid) -> String {
    let at = grid.place_of(Steps(fault.step()));
    match fault {
        Deviation::Missed { voice, .. } => format!("{at}: {} missing", voice.said()),
        Deviation::Extra { voice, .. } => format!("{at}: {} too many", voice.said()),
        Deviation::Wrong { wanted, played, .. } => {
            format!("{at}: {} instead of {}", played.said(), wanted.said())
        }
        Deviation::Slip { first, second, .. } => {
            format!(
                "{at}: {} before {}, the other way round",
                second.said(),
                first.said()
            )
        }
    }
}

fn limb(late: &Late) -> String {
    let tenths = (late.late.0 * 10.0).round();
    let when = match tenths {
        0.0 => "in time".to_owned(),
        _ if tenths < 0.0 => format!("{:.1} ms early", -tenths / 10.0),
        _ => format!("{:.1} ms late", tenths / 10.0),
    };
    format!(
        "{}: {when}, half of {} strokes within {:.1} ms of that",
        name(late.who),
        late.strokes,
        late.spread.0
    )
}

/// A limb or a voice as a player says it.
pub fn name(who: Who) -> &'static str {
    match who {
        Who::Limb(limb) => limb.said(),
        Who::Voice(voice) => voice.said(),
    }
}

/// Three sentences on what to work on next, the most useful first.
pub fn next(take: &Take, grid: &Grid) -> Vec<String> {
    let mut advice = Vec::new();
    if let Some((bar, count)) = worst_bar(take, grid) {
        advice.push(if count == 1 {
            format!(
                "{}; loop it slower until three rounds in a row are clean.",
                capital(&first_in(take, grid, bar))
            )
        } else {
            format!("Bar {bar} has {count} faults: loop it slower until three rounds in a row are clean.")
        });
    }
    let latest = take
        .limbs
        .iter()
        .filter(|l| l.strokes >= 4 && l.late.0.abs() >= NOTICED)
        .max_by(|a, b| a.late.0.abs().total_cmp(&b.late.0.abs()));
    if let Some(late) = latest {
        let (side, other) = if late.late.0 > 0.0 {
            ("behind", "with")
        } else {
            ("ahead of", "with")
        };
        advice.push(format!(
            "The {} lies {:.0} ms {side} the rest as a rule: play it alone {other} the click, then one limb at a time on top.",
            name(late.who),
            late.late.0.abs()
        ));
    }
    if take.changes.0 > 0 && take.changes.1 < take.changes.0 {
        advice.push(format!(
            "The figure gave way at {} of {} changes of the solo: play the drills that set one cell against it before the solo itself.",
            take.changes.0 - take.changes.1,
            take.changes.0
        ));
    }
    if take.drift.abs() >= DRIFTS {
        let way = if take.drift > 0.0 { "faster" } else { "slower" };
        advice.push(format!(
            "The tempo grew {:.0} % {way}: record a round with the click and one without, and compare.",
            take.drift.abs() * 100.0
        ));
    }
    if take.steadiness.0 >= LOOSE {
        advice.push(format!(
            "The strokes spread by {:.0} ms: go down 5 % until they lock, then up again.",
            take.steadiness.0
        ));
    }
    advice.push(match take.share {
        s if s < 0.98 => format!(
            "Clean at {:.0} % of the original: after three clean rounds in a row go up 2 to 5 bpm.",
            s * 100.0
        ),
        _ => "That is the original's tempo: play it with the recording, then without.".to_owned(),
    });
    advice
        .push("Listen to the model once more before the next take, and write down what differs.".to_owned());
    advice.push("Play one round slower than this, as a rest for the hands, before the next take.".to_owned());
    advice.truncate(3);
    if take.faults.is_empty() {
        return advice;
    }
    // With faults open, nothing is clean yet.
    advice.iter_mut().for_each(|line| {
        if line.starts_with("Clean at") {
            *line =
                "Stay at this tempo until three rounds in a row are clean, then go up 2 to 5 bpm.".to_owned();
        }
    });
    advice
}

/// The bar with the most faults, and how many.
fn worst_bar(take: &Take, grid: &Grid) -> Option<(i64, usize)> {
    let mut bars: Vec<i64> = take
        .faults
        .iter()
        .map(|f| grid.place_of(Steps(f.step())).bar)
        .collect();
    bars.sort_unstable();
    let groups = bars
        .chunk_by(|a, b| a == b)
        .filter_map(|g| Some((*g.first()?, g.len())));
    groups.max_by(|a, b| a.1.cmp(&b.1).then(b.0.cmp(&a.0)))
}

fn first_in(take: &Take, grid: &Grid, bar: i64) -> String {
    let here = |f: &&Deviation| grid.place_of(Steps(f.step())).bar == bar;
    take.faults
        .iter()
        .find(here)
        .map(|f| fault(f, grid))
        .unwrap_or_default()
}

/// As the beginning of a sentence.
fn capital(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().into_iter().flat_map(char::to_uppercase);
    first.chain(letters.clone()).collect()
}

/// What kept rounds from being clean beside faults, which stand in lines of their own.
fn far(take: &Take) -> String {
    match take.rounds.iter().map(|r| r.far).sum::<usize>() {
        0 => String::new(),
        1 => "; in them one stroke lay too far from its place".to_owned(),
        n => format!("; in them {n} strokes lay too far from their places"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::names::{Limb, Voice};
    use crate::units::{Millis, Seconds};

    #[test]
    fn a_place_is_named_once_and_what_is_in_time_is_neither_early_nor_late() {
        let grid = Grid {
            beats: (0..40).map(|beat| Seconds(0.5 * f64::from(beat))).collect(),
            ..Grid::none()
        };
        let late = |ms| Late {
            who: Who::Limb(Limb::RightHand),
            late: Millis(ms),
            spread: Millis(2.0),
            strokes: 9,
        };
        let take = Take {
            faults: vec![Deviation::Missed {
                step: 2 * i64::from(grid.steps_per_bar()),
                voice: Voice::TomMid,
            }],
            limbs: [-0.04, -0.06, 0.04, 0.06].map(late).to_vec(),
            ..Take::default()
        };
        let said = next(&take, &grid).remove(0);
        assert!(
            said.starts_with("Bar 3, beat 1, step 1: mid tom missing; loop it"),
            "{said}"
        );
        let said: Vec<String> = lines(&take, &grid)
            .into_iter()
            .filter(|(name, _)| *name == "late")
            .map(|l| l.1)
            .collect();
        let wanted = ["in time", "0.1 ms early", "in time", "0.1 ms late"];
        for (said, wanted) in said.iter().zip(wanted) {
            assert!(
                said.starts_with(&format!("right hand: {wanted}, half of 9")),
                "{said}"
            );
        }
        assert_eq!(said.len(), 4);
    }
}
