//! What charts say in words: voices, subdivisions, tempo and its drift, the figure.
//!
//! In: values of the study. Out: short phrases in the words of the trade.

use super::palette::SURE;
use super::svg::shorten;
use crate::cycles::{Cycle, Resolved};
use crate::grid::{Grid, Meter};
use crate::names::Voice;
use crate::study::Study;
use crate::units::{Bpm, Seconds};

/// `a`, `a and b`, `a, b and c`.
pub(crate) fn list(items: &[&str]) -> String {
    match items {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// A count with its noun: `1 bar`, `5 bars`.
pub(crate) fn count(number: u32, noun: &str) -> String {
    if number == 1 {
        format!("1 {noun}")
    } else {
        format!("{number} {noun}s")
    }
}

/// The subdivision by its name where it has one, else by its number.
fn subdivision(meter: Meter, steps_per_beat: u32) -> String {
    // A beat of 6/8, 9/8 or 12/8 is a dotted quarter: three eighths.
    let dotted = meter.beats_per_bar() != meter.count;
    let name = match (dotted, meter.unit, steps_per_beat) {
        (true, 8, 1) => "dotted quarters",
        (true, 8, 3) | (false, 4, 2) | (false, 2, 4) | (false, 8, 1) => "eighths",
        (true, 8, 6) | (false, 4, 4) | (false, 2, 8) | (false, 8, 2) => "sixteenths",
        (true, 8, 12) | (false, 4, 8) | (false, 8, 4) => "thirty-seconds",
        (false, 4, 1) | (false, 2, 2) => "quarters",
        (false, 4, 3) | (false, 2, 6) => "eighth-triplets",
        (false, 4, 6) | (false, 8, 3) | (false, 2, 12) => "sixteenth-triplets",
        (false, 4, 5) => "quintuplets",
        (false, 4, 7) => "septuplets",
        (false, 4, 12) | (false, 8, 6) => "thirty-second-triplets",
        _ => return format!("{} a beat", count(steps_per_beat, "step")),
    };
    name.to_owned()
}

/// Whether beats, meter and subdivision are such that a chart can be ruled by them.
pub(crate) fn can_rule(grid: &Grid) -> bool {
    grid.beats.len() >= 2
        && grid.beats.iter().all(|beat| beat.0.is_finite())
        && (1..=96).contains(&grid.steps_per_beat)
        && (1..=64).contains(&grid.meter.beats_per_bar())
}

/// The slowest and the fastest bar.
fn drift(grid: &Grid) -> Option<(f64, f64)> {
    let bar = grid.meter.beats_per_bar().max(1) as usize;
    grid.beats
        .iter()
        .zip(grid.beats.iter().skip(bar))
        .map(|(&from, &to)| Bpm::of_beat(Seconds((to - from).0 / bar as f64)).0)
        .filter(|bpm| bpm.is_finite() && *bpm > 0.0)
        .fold(None, |range, bpm| match range {
            None => Some((bpm, bpm)),
            Some((low, high)) => Some((bpm.min(low), bpm.max(high))),
        })
}

/// The grid statement with the drift: `sixteenths, 4/4, about 116 bpm (bars from 114 to 118)`.
pub(crate) fn grid_statement(grid: &Grid) -> String {
    if !can_rule(grid) {
        return "no beat was found: drawn by the clock".to_owned();
    }
    let steps = subdivision(grid.meter, grid.steps_per_beat);
    let tempo = if grid.tempo.0.is_finite() {
        grid.tempo.0
    } else {
        0.0
    };
    let drift = match drift(grid) {
        Some((low, high)) if high - low < 1.0 => ", steady".to_owned(),
        Some((low, high)) => format!(" (bars from {low:.0} to {high:.0})"),
        None => String::new(),
    };
    format!(
        "{steps}, {}, about {tempo:.0} bpm{drift}{}",
        grid.meter,
        doubt(grid)
    )
}

/// When the reading of the beat is unsure, that it is, and the closest other one.
fn doubt(grid: &Grid) -> String {
    if grid.sure >= SURE {
        return String::new();
    }
    match grid.rivals.first().filter(|rival| rival.tempo_bpm.0.is_finite()) {
        Some(rival) => format!("; unsure, or {:.0} bpm in {}", rival.tempo_bpm.0, rival.meter),
        None => "; unsure".to_owned(),
    }
}

/// Title of a study: its recording's name without the ending.
pub(crate) fn title(study: &Study) -> String {
    let file = study.recording.file.as_str();
    match file.rsplit_once('.') {
        Some((stem, _)) if !stem.is_empty() => stem.to_owned(),
        _ if file.is_empty() => "Recording without a name".to_owned(),
        _ => file.to_owned(),
    }
}

/// What was heard and which part of it; a drill, which is its own source, is not named twice under its title.
pub(crate) fn source(study: &Study, most: usize) -> String {
    let file = &study.recording.file;
    if *file == title(study) {
        clock_span(study)
    } else {
        format!("from {}, {}", shorten(file, most), clock_span(study))
    }
}

/// From which clock time to which the strokes reach.
pub(crate) fn clock_span(study: &Study) -> String {
    match (study.strokes.first(), study.strokes.last()) {
        (Some(first), Some(last)) => format!("{} to {}", first.hit.time.clock(), last.hit.time.clock()),
        _ => format!("0:00.0 to {}, nothing struck", study.recording.seconds.clock()),
    }
}

/// The voices of a figure in words.
pub(crate) fn voices(voices: &[Voice]) -> String {
    let mut sorted = voices.to_vec();
    sorted.sort_unstable_by(|a, b| b.cmp(a));
    sorted.dedup();
    list(&sorted.into_iter().map(Voice::said).collect::<Vec<_>>())
}

/// How a figure starts anew: `anew every bar`, `anew every 4 bars`.
pub(crate) fn anew(resolved: &Resolved) -> String {
    match resolved.every_bars {
        0 | 1 => "anew every bar".to_owned(),
        bars => format!("anew every {bars} bars"),
    }
}

/// The figure in one line, or that there is none.
pub(crate) fn figure(cycle: Option<&Cycle>) -> String {
    let Some(cycle) = cycle else {
        return "No figure was found that repeats against the bar".to_owned();
    };
    let home = if cycle.crosses_bar && cycle.resolved.is_none() {
        format!(
            ", home every {} ({})",
            count(cycle.home_bars, "bar"),
            count(cycle.home_cycles, "repeat")
        )
    } else if let Some(resolved) = &cycle.resolved {
        format!(", {}", anew(resolved))
    } else {
        String::new()
    };
    format!(
        "Figure of {} on {}: {}{home}",
        count(cycle.length_steps, "step"),
        voices(&cycle.voices),
        count(cycle.repeats, "repeat"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::charts::sample;
    use crate::grid::Rival;

    fn grid(meter: [u32; 2], steps_per_beat: u32, beats: &[f64]) -> Grid {
        Grid {
            tempo: Bpm(120.0),
            meter: meter.into(),
            steps_per_beat,
            beats: beats.iter().map(|&b| Seconds(b)).collect(),
            sure: 0.9,
            ..Grid::none()
        }
    }

    #[test]
    fn the_grid_statement_names_subdivision_meter_tempo_and_drift() {
        let beats: Vec<f64> = (0..9).map(|b| f64::from(b) * 0.5).collect();
        assert_eq!(
            grid_statement(&grid([4, 4], 4, &beats)),
            "sixteenths, 4/4, about 120 bpm, steady"
        );
        let mut late = beats.clone();
        late[8] = 4.2;
        assert_eq!(
            grid_statement(&grid([4, 4], 6, &late)),
            "sixteenth-triplets, 4/4, about 120 bpm (bars from 109 to 120)"
        );
        assert_eq!(
            grid_statement(&grid([6, 8], 3, &beats)),
            "eighths, 6/8, about 120 bpm, steady"
        );
        assert_eq!(
            grid_statement(&grid([4, 4], 11, &beats)),
            "11 steps a beat, 4/4, about 120 bpm, steady"
        );
        assert_eq!(
            grid_statement(&Grid::none()),
            "no beat was found: drawn by the clock"
        );
    }

    #[test]
    fn an_unsure_grid_names_its_closest_rival() {
        let mut grid = grid([4, 4], 4, &[0.0, 0.5, 1.0]);
        grid.sure = 0.4;
        assert!(grid_statement(&grid).ends_with("; unsure"));
        grid.rivals.push(Rival {
            tempo_bpm: Bpm(60.0),
            meter: Meter::COMMON,
            steps_per_beat: 8,
            share: 0.3,
        });
        assert!(grid_statement(&grid).ends_with("; unsure, or 60 bpm in 4/4"));
    }

    #[test]
    fn a_source_that_is_the_title_itself_is_not_named_again() {
        let mut study = sample::study(&sample::TEN_OVER_SIXTEEN);
        study.recording.file = "late set.wav".into();
        assert!(source(&study, 50).starts_with("from late set.wav, 0:"));
        study.recording.file = "Drill 4: RLL".into();
        assert_eq!(source(&study, 50), clock_span(&study));
    }

    #[test]
    fn lists_end_in_and() {
        assert_eq!(list(&["a", "b", "c"]), "a, b and c");
        assert_eq!(voices(&[Voice::Kick, Voice::RideBell]), "ride bell and kick");
    }
}
