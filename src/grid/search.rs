//! Events -> every reading worth weighing: beat tracks at all tempi and feels, begun on each part of their beat,
//! with every bar length and beat one that the hints leave open.

use rayon::prelude::*;

use super::division::Division;
use super::events::Event;
use super::judge::Judge;
use super::pulse::{Pulse, median};
use super::reading::{BARS, Bars, Reading, pulse_marks, shifted};
use super::smooth::smooth;
use super::tapped;
use super::track::{Feel, Hold, Track, follow};
use crate::options::GridOptions;

/// Slowest and fastest beat that is looked for, in beats a minute.
const TEMPI: (f64, f64) = (40.0, 260.0);
/// Tracks that are weighed in full.
const KEPT: usize = 12;
/// Length of the excerpt (s) that decides which tempi are followed through the whole piece.
const EXCERPT: f64 = 45.0;
/// How far a beat may differ from the tempo that it is looked for at.
const SCAN_RANGE: f64 = 0.10;
/// Tracks that share so many beats are one when the tempi are looked through.
const MOST_BEATS: f64 = 0.8;
/// Rows of beats that share so many are one when they are weighed: a few beats that slip decide between two.
const NEARLY_ALL: f64 = 0.97;
/// How far a hinted tempo may be off.
const HINT_RANGE: f64 = 0.04;

/// All readings that the hints allow, unsorted.
pub(super) fn readings(events: &[Event], hints: &GridOptions) -> Vec<Reading> {
    let of = |beats: Vec<f64>| {
        let mut readings = Vec::new();
        add_readings(
            &mut readings,
            &Pulse::new(events, beats, hints.steps_per_beat),
            hints,
        );
        readings
    };
    // Collected in the order of the rows, so that the result is the same on any number of threads.
    let each: Vec<Vec<Reading>> = rows(events, hints).into_par_iter().map(of).collect();
    each.into_iter().flatten().collect()
}

/// The readings of `events` that have these beats and steps.
pub(super) fn readings_on(events: &[Event], beats: Vec<f64>, steps: u32) -> Vec<Reading> {
    let pulse = Pulse::new(events, beats, Some(steps));
    let mut readings = Vec::new();
    add_readings(&mut readings, &pulse, &GridOptions::default());
    readings
}

/// Every row of beats worth weighing, each once: the tracks, those that the same strokes allow at other levels, begun
/// on each part of their beat.
pub(super) fn rows(events: &[Event], hints: &GridOptions) -> Vec<Vec<f64>> {
    let tracks = with_levels(tracks(events, hints), hints);
    let begun = tracks.iter().flat_map(|track| {
        parts(track.feel, hints)
            .iter()
            .map(|part| shifted(track, part_shift(track, *part, hints)))
    });
    let mut rows: Vec<Row> = Vec::new();
    for row in begun.map(Row::new) {
        if !rows.iter().any(|known| known.same(&row, NEARLY_ALL)) {
            rows.push(row);
        }
    }
    rows.into_iter().map(|row| row.beats).collect()
}

/// Beats with their usual length.
struct Row {
    beats: Vec<f64>,
    period: f64,
}

impl Row {
    fn new(beats: Vec<f64>) -> Row {
        Row {
            period: median(beats.windows(2).map(|w| w[1] - w[0]).collect()),
            beats,
        }
    }

    /// Whether at least `share` of the other's beats are beats of this row.
    fn same(&self, other: &Row, share: f64) -> bool {
        let (a, b) = (&self.beats, &other.beats);
        if (other.period / self.period - 1.0).abs() > 0.02 {
            return false;
        }
        let near = b.iter().filter(|t| {
            let i = a.partition_point(|x| x < t);
            a[i.saturating_sub(1)..(i + 1).min(a.len())]
                .iter()
                .any(|x| (x - **t).abs() < 0.1 * self.period)
        });
        near.count() as f64 >= b.len() as f64 * share
    }
}

/// How a track's beats are counted at other levels: so many of its own parts make a beat, which is then felt so.
fn levels(feel: Feel) -> &'static [(usize, usize, Feel)] {
    match feel {
        Feel::Even => &[
            (2, 1, Feel::Even),
            (1, 2, Feel::Even),
            (3, 1, Feel::Triplet),
            (3, 2, Feel::Triplet),
            (3, 4, Feel::Triplet),
        ],
        Feel::Triplet => &[
            (2, 1, Feel::Triplet),
            (1, 2, Feel::Triplet),
            (1, 3, Feel::Even),
            (2, 3, Feel::Even),
            (4, 3, Feel::Even),
        ],
        Feel::Five | Feel::Seven => &[],
    }
}

/// The tracks, and after them the same ones counted at other levels. With a hinted tempo or tapped beats there is only
/// one level.
fn with_levels(tracks: Vec<Track>, hints: &GridOptions) -> Vec<Track> {
    if hints.tempo.is_some() || !hints.beats.is_empty() {
        return tracks;
    }
    let (slowest, fastest) = (60.0 / TEMPI.0, 60.0 / TEMPI.1);
    let others: Vec<Track> = tracks
        .iter()
        .flat_map(|track| levels(track.feel).iter().map(move |level| (track, *level)))
        .map(|(track, (every, parts, feel))| Track {
            beats: counted(&track.beats, every, parts),
            feel,
            fit: track.fit,
        })
        .filter(|t| t.beats.len() > 3 && (fastest..=slowest).contains(&t.period()))
        .collect();
    tracks.into_iter().chain(others).collect()
}

/// Beats that are `every` of the `parts` parts of the given ones long.
fn counted(beats: &[f64], every: usize, parts: usize) -> Vec<f64> {
    let inside = beats
        .windows(2)
        .flat_map(|w| (0..parts).map(move |k| w[0] + (w[1] - w[0]) * k as f64 / parts as f64));
    let mut counted: Vec<f64> = inside.chain(beats.last().copied()).step_by(every).collect();
    // The last stroke stays inside.
    if let ([.., a, b], Some(end)) = (counted.as_slice(), beats.last())
        && b < end
    {
        let next = 2.0 * b - a;
        counted.push(next);
    }
    counted
}

fn parts(feel: Feel, hints: &GridOptions) -> &'static [f64] {
    match (hints.downbeat, feel) {
        _ if !hints.beats.is_empty() => &[0.0],
        (Some(_), _) => &[0.0],
        (_, Feel::Even) => &[0.0, 0.25, 0.5, 0.75],
        (_, Feel::Triplet) => &[0.0, 1.0 / 3.0, 2.0 / 3.0],
        _ => &[0.0],
    }
}

/// Where the track's beats are begun: on `part` of its own beats, or on the step nearest to a hinted beat one.
fn part_shift(track: &Track, part: f64, hints: &GridOptions) -> f64 {
    let Some(time) = hints.downbeat.filter(|_| hints.beats.is_empty()) else {
        return part;
    };
    let event = Event {
        time: time.0,
        weight: 0.0,
        struck: Default::default(),
        accent: 0.0,
    };
    let place = super::smooth::places(&[event], &track.beats)
        .first()
        .copied()
        .unwrap_or(0.0);
    let parts = match track.feel {
        Feel::Even => 4.0,
        feel => feel.parts() as f64,
    };
    ((place - place.floor()) * parts).round() / parts % 1.0
}

fn add_readings(readings: &mut Vec<Reading>, pulse: &Pulse, hints: &GridOptions) {
    let judge = Judge::fitted().hear(pulse, &pulse_marks(pulse));
    let bars: Vec<usize> = match hints.meter {
        Some(meter) => vec![meter.beats_per_bar().max(1) as usize],
        None => BARS.collect(),
    };
    for bar in bars {
        let firsts: Vec<usize> = match hints.downbeat {
            Some(time) => vec![pulse.nearest_beat(time.0) % bar],
            None => (0..bar).collect(),
        };
        let bars = Bars::new(pulse, bar);
        readings.extend(firsts.into_iter().map(|first| bars.reading(first, &judge)));
    }
}

/// The best beat tracks over all tempi and feels, at most [`KEPT`], each tempo and phase once.
fn tracks(events: &[Event], hints: &GridOptions) -> Vec<Track> {
    if let Some(beats) = tapped::beats(events, &hints.beats, hints.steps_per_beat) {
        let (feel, fit) = (Feel::Even, 0.0);
        return vec![Track { beats, feel, fit }];
    }
    let excerpt = excerpt(events);
    let scan = |periods: Vec<f64>, range: f64| -> Vec<Track> {
        periods
            .iter()
            .flat_map(|period| Feel::ALL.iter().map(|feel| (*period, *feel)))
            // Fifths and sevenths of a shorter beat could not be told from looseness.
            .filter(|(period, feel)| feel.parts().is_multiple_of(2) || *period > 0.4)
            .collect::<Vec<_>>()
            .into_par_iter()
            .flat_map_iter(|(period, feel)| follow(excerpt, period, range, feel, [Hold::Loose]))
            .collect()
    };
    let mut scanned = scan(periods(hints), SCAN_RANGE);
    let (slowest, fastest) = (60.0 / TEMPI.0, 60.0 / TEMPI.1);
    match hints.tempo.map(|tempo| tempo.beat().0) {
        Some(beat) => {
            scanned.retain(|t| (t.period() / beat - 1.0).abs() < HINT_RANGE);
            // A tempo that the hits speak against is obeyed all the same.
            if scanned.is_empty() {
                scanned = scan(vec![beat], HINT_RANGE);
            }
        }
        None => scanned.retain(|t| (fastest..=slowest).contains(&t.period())),
    }
    scanned.sort_by(|a, b| b.fit.total_cmp(&a.fit));
    let mut rows: Vec<Row> = Vec::new();
    let mut kept: Vec<Track> = Vec::new();
    for track in scanned {
        let row = Row::new(track.beats.clone());
        if kept.len() < KEPT && !rows.iter().any(|known| known.same(&row, MOST_BEATS)) {
            rows.push(row);
            kept.push(track);
        }
    }
    let range = if hints.tempo.is_some() { 0.15 } else { 0.25 };
    let holds = [Hold::Loose, Hold::Firm];
    kept.par_iter()
        .flat_map_iter(|t| follow(events, t.period(), range, t.feel, holds))
        .map(|t| settled(events, t))
        .collect()
}

/// The track on its smooth tempo curve.
fn settled(events: &[Event], track: Track) -> Track {
    let division = Division::even(track.feel.parts() as u32);
    let once = smooth(events, &track.beats, division);
    Track {
        beats: smooth(events, &once, division),
        ..track
    }
}

fn periods(hints: &GridOptions) -> Vec<f64> {
    if let Some(tempo) = hints.tempo {
        // Begun from three near tempi the search finds tracks that one alone would miss.
        return [0.95, 1.0, 1.05].map(|near| tempo.beat().0 * near).to_vec();
    }
    let mut periods = Vec::new();
    let mut bpm = TEMPI.0 * 1.05;
    while bpm < TEMPI.1 {
        periods.push(60.0 / bpm);
        bpm *= 1.12;
    }
    periods
}

/// The part of the piece that is scanned: all of it when short, else where most is struck.
fn excerpt(events: &[Event]) -> &[Event] {
    let end = |from: usize| events.partition_point(|e| e.time <= events[from].time + EXCERPT);
    let from = (0..events.len()).rev().max_by_key(|i| end(*i) - i).unwrap_or(0);
    events.get(from..).map_or(events, |_| &events[from..end(from)])
}
