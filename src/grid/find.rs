//! [`Hit`]s -> [`Grid`]: the likeliest reading of the hits, its rivals, and what a player should know about them.

use super::events::{Event, gather};
use super::reading::Reading;
use super::search::readings;
use super::{Grid, Meter, Rival};
use crate::options::GridOptions;
use crate::units::{Bpm, Seconds};
use crate::voices::Hit;

/// Fewer moments than this have no beat of their own.
const FEWEST: usize = 4;
/// Longest stretch of hits, in seconds, that has one grid: beyond, it is several pieces.
const LONGEST: f64 = 7200.0;
/// A rival is told from this share on.
const TOLD: f64 = 0.02;
/// A hint that the recording believes less than this is contradicted by it.
const CONTRADICTED: f64 = 0.05;

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
        .filter(|r| r.fit() > regular(&events) || hinted(hints))
    else {
        let warning = "no grid: the hits follow no regular beat; --tempo and --downbeat can give one";
        return Grid {
            warnings: vec![warning.to_owned()],
            ..Grid::none()
        };
    };
    let (beats, first) = cover(&events, best);
    Grid {
        tempo: Bpm(60.0 / best.period),
        meter: hints.meter.unwrap_or_else(|| meter_of(best)),
        steps_per_beat: best.steps,
        beats: beats.into_iter().map(Seconds).collect(),
        first_downbeat: first,
        sure: belief.share_of(best),
        rivals: belief.rivals(best),
        warnings: contradictions(&events, hints),
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
    hints.tempo.is_some() || hints.downbeat.is_some()
}

/// The signature that a player would write over a reading.
fn meter_of(reading: &Reading) -> Meter {
    let bar = reading.bar as u32;
    let bpm = 60.0 / reading.period;
    match bar {
        2 if reading.steps.is_multiple_of(3) => Meter { count: 6, unit: 8 },
        5 | 7 if bpm > 190.0 => Meter { count: bar, unit: 8 },
        _ => Meter { count: bar, unit: 4 },
    }
}

/// Readings with their shares of the belief.
struct Belief {
    /// Best first.
    readings: Vec<(f64, Reading)>,
}

impl Belief {
    fn new(readings: Vec<Reading>) -> Belief {
        let top = readings
            .iter()
            .map(Reading::score)
            .fold(f64::NEG_INFINITY, f64::max);
        let mut readings: Vec<(f64, Reading)> = readings
            .into_iter()
            .map(|r| ((r.score() - top).exp(), r))
            .collect();
        let sum: f64 = readings.iter().map(|(share, _)| share).sum();
        for (share, _) in &mut readings {
            *share /= sum;
        }
        readings.sort_by(|a, b| b.0.total_cmp(&a.0));
        Belief { readings }
    }

    fn best(&self) -> Option<&Reading> {
        self.readings.first().map(|(_, r)| r)
    }

    fn share(&self, holds: impl Fn(&Reading) -> bool) -> f64 {
        self.readings
            .iter()
            .filter(|(_, r)| holds(r))
            .map(|(share, _)| share)
            .sum()
    }

    fn share_of(&self, reading: &Reading) -> f64 {
        self.share(|r| same_bars(r, reading)).min(1.0)
    }

    /// Readings whose bars differ from those of `chosen`, those with the same bars taken together, best first.
    fn rivals(&self, chosen: &Reading) -> Vec<Rival> {
        let mut found: Vec<(f64, &Reading)> = Vec::new();
        let told = self.readings.iter().take_while(|(share, _)| *share > TOLD / 20.0);
        for (share, reading) in told.filter(|(_, r)| !same_bars(r, chosen)) {
            match found.iter_mut().find(|(_, r)| same_bars(r, reading)) {
                Some((sum, _)) => *sum += share,
                None => found.push((*share, reading)),
            }
        }
        found.sort_by(|a, b| b.0.total_cmp(&a.0));
        let rival = |(share, r): &(f64, &Reading)| Rival {
            tempo_bpm: Bpm(60.0 / r.period),
            meter: meter_of(r),
            steps_per_beat: r.steps,
            share: *share,
        };
        found
            .iter()
            .filter(|(share, _)| *share >= TOLD)
            .take(6)
            .map(rival)
            .collect()
    }
}

/// Whether two readings have the same beat and the same bars.
fn same_bars(a: &Reading, b: &Reading) -> bool {
    let period = a.period;
    if a.bar != b.bar || (b.period / period - 1.0).abs() > 0.03 {
        return false;
    }
    // A beat one in the middle of the piece: near both ends beats are mere extensions.
    let middle = a.beats.len() / 2;
    let one = middle.checked_sub((middle + a.bar - a.first % a.bar) % a.bar);
    let Some(time) = one.and_then(|one| a.beats.get(one)) else {
        return false;
    };
    let same = b.nearest_beat(*time);
    b.is_one(same)
        && b.beats
            .get(same)
            .is_some_and(|t| (t - time).abs() < 0.15 * period)
}

/// The reading's beats from the one before the first event to the one after the last, and the index of the first
/// beat one among them.
fn cover(events: &[Event], reading: &Reading) -> (Vec<f64>, usize) {
    let slack = 0.1 * reading.period;
    let (start, end) = match (events.first(), events.last()) {
        (Some(a), Some(b)) => (a.time, b.time),
        _ => return (Vec::new(), 0),
    };
    let mut beats = reading.beats.clone();
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
