//! [`Hit`]s -> [`Grid`]: the likeliest reading of the hits, its rivals, and what a player should know about them.

use super::belief::{Belief, meter_of};
use super::division::{Division, density};
use super::events::{Event, gather};
use super::pulse::median;
use super::reading::Reading;
use super::search::{readings, readings_on};
use super::smooth::{places, smooth};
use super::swing::{Swing, ratio, swing};
use super::uneven::uneven;
use super::{Grid, Meter, Rival};
use crate::options::GridOptions;
use crate::units::{Bpm, Seconds};
use crate::voices::Hit;

/// Fewer moments than this have no beat of their own.
const FEWEST: usize = 4;
/// Longest stretch of hits, in seconds, that has one grid: a day; beyond, its times are no recording's.
const LONGEST: f64 = 86_400.0;
/// How much of the fit that strokes need to count as regular a full belief in one reading replaces: scattered strokes
/// give no reading much belief, loosely played ones do [=].
const CONFIDENT: f64 = 0.4;
/// A hint that the recording believes less than this is contradicted by it.
const CONTRADICTED: f64 = 0.05;
/// Log odds that a figure begins on beat one rather than on some other beat [C].
const BEGUN: f64 = 1.0;

/// Finds the grid that the hits lie on; hints are obeyed, and a warning says when the hits speak against one.
/// Too few hits, or hits without any regularity, give [`Grid::none`] with a warning.
pub fn find(hits: &[Hit], hints: &GridOptions) -> Grid {
    let events = gather(hits);
    if events.len() < FEWEST {
        let warning = format!(
            "no grid: {} moments were struck, and a beat needs {FEWEST} or more",
            events.len()
        );
        return Grid {
            warnings: vec![warning],
            ..Grid::none()
        };
    }
    let stretch = events[events.len() - 1].time - events[0].time;
    if stretch > LONGEST {
        let warning = format!(
            "no grid: the hits stretch over {:.0} hours; use --from and --to to study one piece",
            stretch / 3600.0
        );
        return Grid {
            warnings: vec![warning],
            ..Grid::none()
        };
    }
    let hints = &usable(hints);
    let belief = Belief::new(readings(&events, hints));
    let Some(best) = belief
        .best()
        .filter(|r| r.fit + CONFIDENT * belief.share_of(r) > regular(&events) || hinted(hints))
    else {
        let warning = "no grid: the hits follow no regular beat; --tempo and --downbeat can give one";
        return Grid {
            warnings: vec![warning.to_owned()],
            ..Grid::none()
        };
    };
    Grid {
        meter: hints.meter.unwrap_or_else(|| meter_of(best)),
        sure: belief.share_of(best),
        rivals: belief.rivals(best),
        warnings: contradictions(&events, hints),
        ..laid(&events, best, hints)
    }
}

/// The same beats in bars of the length that `free` and what is usual speak for: `free` are hits of the recording
/// without figures that may cross the bar, and `begun` is when the surest of those begins. Bars of the same length
/// stay. Where the figures leave nothing free, only what is usual speaks.
pub fn bars_anew(grid: Grid, free: &[Hit], begun: Option<Seconds>) -> Grid {
    let events = gather(free);
    let beats: Vec<f64> = grid.beats.iter().map(|b| b.0).collect();
    if beats.len() < FEWEST {
        return grid;
    }
    if events.len() < FEWEST {
        return in_common_time(grid, begun);
    }
    let mut readings = readings_on(&events, beats, grid.steps_per_beat);
    for reading in &mut readings {
        let on_one = begun.is_some_and(|time| reading.is_one(reading.nearest_beat(time.0)));
        reading.score += if on_one { BEGUN } else { 0.0 };
    }
    let belief = Belief::new(readings);
    match belief.likeliest_bars() {
        Some(best) if best.bar != grid.meter.beats_per_bar() as usize => Grid {
            meter: meter_of(best),
            first_downbeat: best.first,
            sure: belief.share_of(best),
            rivals: belief.rivals(best),
            ..grid
        },
        _ => grid,
    }
}

/// The same beats in common time, with beat one where a figure began; as sure as the bars before, which stay as a rival.
fn in_common_time(grid: Grid, begun: Option<Seconds>) -> Grid {
    let Some(begun) = begun.filter(|_| grid.meter.beats_per_bar() != Meter::COMMON.beats_per_bar()) else {
        return grid;
    };
    let away = |beat: &Seconds| (*beat - begun).0.abs();
    let nearest = grid.beats.iter().enumerate();
    let nearest = nearest.min_by(|a, b| away(a.1).total_cmp(&away(b.1)));
    let share = grid.sure / 2.0;
    let before = Rival {
        tempo_bpm: grid.tempo,
        meter: grid.meter,
        steps_per_beat: grid.steps_per_beat,
        share,
    };
    Grid {
        meter: Meter::COMMON,
        first_downbeat: nearest.map_or(0, |(beat, _)| beat % Meter::COMMON.beats_per_bar() as usize),
        sure: share,
        rivals: std::iter::once(before)
            .chain(grid.rivals.iter().cloned())
            .collect(),
        ..grid
    }
}

/// The chosen reading as a grid: its steps, even or swung, its beats on the curve of the strokes, and the beats that
/// are divided otherwise.
fn laid(events: &[Event], reading: &Reading, hints: &GridOptions) -> Grid {
    let period = reading.period;
    let swung = swing(
        events,
        &reading.beats,
        period,
        reading.steps,
        hints.steps_per_beat,
    );
    let steps = swung.map_or(reading.steps, |(steps, _)| steps);
    let division = |swing: Option<Swing>| Division {
        steps,
        long: swing.map_or(0.5, Swing::long),
    };
    let (beats, first) = cover(events, reading);
    let once = smooth(events, &beats, division(swung.map(|(_, s)| s)));
    // On beats that were smoothed with the swing in mind, the swing is measured once more.
    let swing = swung.and_then(|_| ratio(&places(events, &once), steps));
    let beats = smooth(events, &once, division(swing));
    let places = places(events, &beats);
    let (_, spread) = density(events, &places, period, division(swing));
    Grid {
        tempo: Bpm(60.0 / median(beats.windows(2).map(|w| w[1] - w[0]).collect())),
        steps_per_beat: steps,
        first_downbeat: first,
        uneven: uneven(&places, &beats, division(swing), spread),
        swing,
        beats: beats.into_iter().map(Seconds).collect(),
        ..Grid::none()
    }
}

/// The hints that mean something; others count as not given.
fn usable(hints: &GridOptions) -> GridOptions {
    GridOptions {
        tempo: hints
            .tempo
            .filter(|t| t.0.is_finite() && (10.0..=600.0).contains(&t.0)),
        meter: hints.meter.filter(|m| (1..=32).contains(&m.count)),
        steps_per_beat: hints.steps_per_beat.filter(|s| (1..=48).contains(s)),
        downbeat: hints.downbeat.filter(|d| d.0.is_finite()),
        beats: hints.beats.clone(),
    }
}

/// Mean log density that strokes scattered at random do not reach on the best grid that can be laid through them:
/// few strokes lie near some grid by chance, and so do sparse ones [=: random strokes, 6 to 1,000 of them, reached
/// 0.40 at 3 a second and 0.22 at 8 a second, and 6 / n more].
fn regular(events: &[Event]) -> f64 {
    let stretch = events
        .last()
        .zip(events.first())
        .map_or(0.0, |(b, a)| b.time - a.time);
    let rate = events.len() as f64 / stretch.max(1.0);
    (0.53 - 0.036 * rate).max(0.1) + 6.0 / events.len() as f64
}

fn hinted(hints: &GridOptions) -> bool {
    hints.tempo.is_some()
        || hints.downbeat.is_some()
        || hints.steps_per_beat.is_some()
        || !hints.beats.is_empty()
}

/// The reading's beats from the one before the first event to the one after the last, and the index of the first
/// beat one among them.
fn cover(events: &[Event], reading: &Reading) -> (Vec<f64>, usize) {
    let slack = 0.1 * reading.period;
    let (start, end) = match (events.first(), events.last()) {
        (Some(a), Some(b)) => (a.time, b.time),
        _ => return (Vec::new(), 0),
    };
    let mut beats = reading.beats.to_vec();
    let mut first = reading.first % reading.bar;
    while let [.., before, last] = beats[..]
        && last <= end + slack
    {
        beats.push(2.0 * last - before);
    }
    while beats.len() > 2 && beats[beats.len() - 2] > end + slack {
        beats.pop();
    }
    let early = beats
        .iter()
        .skip(1)
        .take_while(|b| **b <= start + slack)
        .count()
        .min(beats.len().saturating_sub(2));
    beats.drain(..early);
    first = (first + early * reading.bar - early) % reading.bar;
    (beats, first)
}

/// The usual distance of the beats that were tapped, in seconds.
fn tapped_length(hints: &GridOptions) -> Option<f64> {
    let lengths: Vec<f64> = hints.beats.windows(2).map(|w| (w[1] - w[0]).0).collect();
    (!lengths.is_empty()).then(|| median(lengths))
}

/// One line for every hint that the recording speaks against.
fn contradictions(events: &[Event], hints: &GridOptions) -> Vec<String> {
    if *hints == GridOptions::default() {
        return Vec::new();
    }
    let belief = Belief::new(readings(events, &GridOptions::default()));
    let Some(best) = belief.best() else {
        return Vec::new();
    };
    let mut warnings = Vec::new();
    let mut doubt = |share: f64, hint: String, instead: String| {
        if share < CONTRADICTED {
            warnings.push(format!("{hint} was given; the recording itself says {instead}"));
        }
    };
    if let Some(tempo) = hints.tempo {
        let near = |r: &Reading| (60.0 / r.period / tempo.0 - 1.0).abs() < 0.05;
        doubt(
            belief.share(near),
            format!("tempo {:.0}", tempo.0),
            format!("{:.0}", 60.0 / best.period),
        );
    }
    if let Some(length) = tapped_length(hints) {
        let near = |r: &Reading| (r.period / length - 1.0).abs() < 0.05;
        doubt(
            belief.share(near),
            format!("a file of beats at about {:.0} bpm", 60.0 / length),
            format!("{:.0} bpm", 60.0 / best.period),
        );
    }
    if let Some(meter) = hints.meter {
        let same = |r: &Reading| r.bar == meter.beats_per_bar() as usize;
        doubt(
            belief.share(same),
            format!("meter {meter}"),
            meter_of(best).to_string(),
        );
    }
    if let Some(steps) = hints.steps_per_beat {
        let same = |r: &Reading| r.steps.is_multiple_of(steps) || steps.is_multiple_of(r.steps);
        doubt(
            belief.share(same),
            format!("{steps} steps per beat"),
            best.steps.to_string(),
        );
    }
    if let Some(time) = hints.downbeat {
        let near = |r: &Reading| {
            let beat = r.nearest_beat(time.0);
            r.is_one(beat)
                && r.beats
                    .get(beat)
                    .is_some_and(|b| (b - time.0).abs() < 0.2 * r.period)
        };
        let instead = "beat one is elsewhere".to_owned();
        doubt(
            belief.share(near),
            format!("a beat one at {}", time.clock()),
            instead,
        );
    }
    warnings
}
