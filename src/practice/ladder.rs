//! A plan from the player's present tempo to the target.
//!
//! In: options and the length of a round. Out: rungs, each a tempo with clean rounds to tick, rests among them. The
//! defaults are the trade's convention; the alternating way is there because single learners' retention follows the
//! share of correct whole trials, not the order of tempos [P: Henley, Journal of Research in Music Education, 2001;
//! Duke, Simmons & Cash, JRME 56(4), 2009].

use crate::charts::Rung;
use crate::options::{LadderOptions, Way};
use crate::units::{Bpm, Seconds};

/// Players begin at 50 to 60 % of the target [C].
const BEGIN: f64 = 0.55;
/// A plan of more rungs helps nobody.
const MOST: usize = 200;

/// What is done at one place of the plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// So many clean rounds at this tempo.
    Rounds(Bpm, u32),
    /// A rest.
    Rest,
}

/// The plan: `round` is the length of a round at a tempo, `known` the study's tempo.
pub fn plan(options: &LadderOptions, known: Bpm, round: impl Fn(Bpm) -> Seconds) -> Vec<Step> {
    let (from, to) = ends(options, known);
    let step = if options.step.0.is_finite() {
        options.step.0.clamp(0.5, 50.0)
    } else {
        4.0
    };
    let mut tempos = Vec::new();
    let mut tempo = from.0;
    while tempo < to.0 - step / 2.0 && tempos.len() < MOST {
        tempos.push(Bpm(tempo));
        tempo += step;
    }
    let rounds = options.clean_rounds.max(1);
    let mut wanted: Vec<(Bpm, u32)> = tempos.iter().map(|t| (*t, rounds)).collect();
    if options.way == Way::Alternating {
        // One try at full tempo after each slow set: to know what it is for, not to be clean yet.
        wanted = wanted.into_iter().flat_map(|slow| [slow, (to, 1)]).collect();
    }
    wanted.push((to, rounds));
    let mut plan = Vec::new();
    let mut played = 0.0;
    for (tempo, rounds) in wanted {
        // Two tries for every clean round [M].
        let minutes = round(tempo).0 * f64::from(rounds) * 2.0 / 60.0;
        if played > 0.0 && played + minutes > options.play_minutes {
            plan.push(Step::Rest);
            played = 0.0;
        }
        played += minutes;
        plan.push(Step::Rounds(tempo, rounds));
    }
    plan
}

/// Where the plan begins and ends.
pub fn ends(options: &LadderOptions, known: Bpm) -> (Bpm, Bpm) {
    let to = options.to.unwrap_or(known);
    let from = options.from.unwrap_or(Bpm((to.0 * BEGIN).round()));
    (Bpm(from.0.min(to.0)), to)
}

/// Where the plan begins, and why, in words.
pub fn begins(options: &LadderOptions, known: Bpm) -> String {
    let (from, to) = ends(options, known);
    let whose = if options.to.is_some() {
        "yours"
    } else {
        "the study's"
    };
    let target = format!("the target, {:.0} bpm, which is {whose}", to.0);
    match options.from {
        Some(own) if own.0 >= to.0 => format!(
            "One line: your {:.0} bpm are not below {target}. For more, name a faster one with --target.",
            own.0
        ),
        Some(_) => format!("From your {:.0} bpm to {target}.", from.0),
        None => format!(
            "From {:.0} bpm, {:.0} % of {target}. If you play faster already, say so with --tempo.",
            from.0,
            BEGIN * 100.0
        ),
    }
}

/// The plan as the sheet prints it.
pub fn rungs(
    options: &LadderOptions,
    known: Bpm,
    plan: &[Step],
    round: impl Fn(Bpm) -> Seconds,
) -> Vec<Rung> {
    let (_, to) = ends(options, known);
    let rung = |step: &Step| match step {
        Step::Rest => Rung::Rest(format!(
            "Rest {:.0} minutes: hands down, out of the noise",
            options.rest_minutes
        )),
        Step::Rounds(tempo, rounds) => Rung::Rounds {
            tempo: format!("{:.0} bpm", tempo.0),
            words: match (tempo == &to, options.way, *rounds) {
                (true, Way::Alternating, 1) => "full tempo, one try".to_owned(),
                (true, ..) => "the target".to_owned(),
                _ => format!("{:.0} % of the target", tempo.0 / to.0 * 100.0),
            },
            length: format!("{:.1} s a round", round(*tempo).0),
            boxes: *rounds,
        },
    };
    plan.iter().map(rung).collect()
}

/// Where to begin and how to climb, in words.
pub fn rules(options: &LadderOptions, known: Bpm) -> Vec<String> {
    let way = match options.way {
        Way::Steps => format!(
            "Play the model first. After {} clean rounds in a row go on to the next line, up {:.0} bpm; after {} failed rounds go back {:.0} %.",
            options.clean_rounds,
            options.step.0,
            options.failed_rounds,
            options.back * 100.0
        ),
        Way::Alternating => format!(
            "Play the model first. {} clean rounds slow, then one try at full tempo, and so on in turn; after {} failed rounds go back {:.0} %.",
            options.clean_rounds,
            options.failed_rounds,
            options.back * 100.0
        ),
    };
    vec![
        begins(options, known),
        way,
        "A round is clean when it comes home without a stop, with no stroke missing, extra or out of order."
            .to_owned(),
        format!(
            "Rest {:.0} minutes after {:.0}. This week at most {:.0} % more minutes than last week. What counts is the share of clean rounds, not the hours.",
            options.rest_minutes,
            options.play_minutes,
            options.more_a_week * 100.0
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn round(tempo: Bpm) -> Seconds {
        tempo.beat() * 20.0
    }

    #[test]
    fn the_usual_plan_climbs_from_55_percent_to_the_target_in_steps_of_four() {
        let plan = plan(&LadderOptions::default(), Bpm(100.0), round);
        let tempos: Vec<f64> = plan
            .iter()
            .filter_map(|s| match s {
                Step::Rounds(tempo, rounds) => Some((tempo.0, assert_eq!(*rounds, 3)).0),
                Step::Rest => None,
            })
            .collect();
        assert_eq!((tempos.first(), tempos.last()), (Some(&55.0), Some(&100.0)));
        let last = tempos.len() - 1;
        assert!(
            tempos[..last].windows(2).all(|t| t[1] - t[0] == 4.0),
            "{tempos:?}"
        );
    }

    #[test]
    fn no_more_than_the_stated_minutes_lie_between_two_rests() {
        let options = LadderOptions {
            play_minutes: 6.0,
            ..LadderOptions::default()
        };
        let plan = plan(&options, Bpm(140.0), round);
        let (mut minutes, mut rests) = (0.0, 0);
        for step in &plan {
            match step {
                Step::Rest => (minutes, rests) = (0.0, rests + 1),
                Step::Rounds(tempo, rounds) => minutes += round(*tempo).0 * f64::from(*rounds) * 2.0 / 60.0,
            }
            assert!(minutes <= 6.0);
        }
        assert!(rests > 2);
    }

    #[test]
    fn the_alternating_way_visits_the_target_after_every_slow_set() {
        let options = LadderOptions {
            way: Way::Alternating,
            play_minutes: 1e9,
            ..LadderOptions::default()
        };
        let plan = plan(&options, Bpm(120.0), round);
        assert!(plan.len() > 8);
        for pair in plan.chunks(2).take(4) {
            assert!(
                matches!(pair, [Step::Rounds(slow, 3), Step::Rounds(full, 1)] if slow.0 < 120.0 && full.0 == 120.0)
            );
        }
    }

    #[test]
    fn where_it_begins_is_said_with_the_reason() {
        let said = |from: Option<f64>, to: Option<f64>| {
            let options = LadderOptions {
                from: from.map(Bpm),
                to: to.map(Bpm),
                ..LadderOptions::default()
            };
            let lines = plan(&options, Bpm(116.0), round).len();
            (lines, begins(&options, Bpm(116.0)))
        };
        let (lines, words) = said(None, None);
        assert!(
            lines > 9 && words.starts_with("From 64 bpm, 55 % of the target, 116 bpm, which is the study's"),
            "{words}"
        );
        let (lines, words) = said(Some(70.0), Some(120.0));
        assert!(
            lines > 9 && words == "From your 70 bpm to the target, 120 bpm, which is yours.",
            "{words}"
        );
        for tempo in [116.0, 200.0] {
            let (lines, words) = said(Some(tempo), None);
            assert!(
                lines == 1 && words.starts_with(&format!("One line: your {tempo} bpm")),
                "{words}"
            );
        }
    }

    #[test]
    fn odd_options_make_a_plan_all_the_same() {
        for (from, to, step) in [
            (200.0, 100.0, 4.0),
            (f64::NAN, 100.0, f64::NAN),
            (50.0, 1e9, 1e-9),
            (80.0, 80.0, 3.0),
        ] {
            let options = LadderOptions {
                from: Some(Bpm(from)),
                to: Some(Bpm(to)),
                step: Bpm(step),
                ..LadderOptions::default()
            };
            let plan = plan(&options, Bpm(100.0), round);
            assert!((1..=2 * MOST + 2).contains(&plan.len()));
        }
    }
}
