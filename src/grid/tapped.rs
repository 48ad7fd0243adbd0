//! Beats that a player tapped or wrote down -> beats for the grid (s): the text they come in, gaps filled, ends
//! carried on, and loose taps drawn onto the curve of the strokes.

use super::division::{Division, subdivision};
use super::events::Event;
use super::smooth::{places, smooth};
use crate::units::Seconds;

/// How much a tap weighs beside a stroke: a player taps more loosely than they strike [M].
const TAP: f64 = 0.5;
/// Beats that are carried on at once beyond the taps before they are drawn to the strokes again.
const CARRIED: usize = 2;
/// Beats at the end that follow the strokes while beats are carried on.
const TAIL: usize = 12;
/// Most beats that a piece has.
const MOST: usize = 40_000;

/// Beats that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadBeats {
    /// A line that does not begin with a time.
    #[error(
        "line {line} begins with {found:?}, which is no time in seconds; write one beat a line, such as 12.53"
    )]
    NoTime {
        /// Which line, from 1.
        line: usize,
        /// What stands there.
        found: String,
    },
    /// A beat that is not later than the one before.
    #[error(
        "line {line} is not later than the beat before it; write the beats in the order in which they fall"
    )]
    NotLater {
        /// Which line, from 1.
        line: usize,
    },
    /// Fewer than two beats.
    #[error("it holds {found} beats, and a grid needs two or more, one a line")]
    TooFew {
        /// How many.
        found: usize,
    },
}

/// Reads beats as annotation sets have them: one time in seconds a line, the rest of the line being of no concern;
/// empty lines and what follows `#` are left out.
pub fn read_beats(text: &str) -> Result<Vec<Seconds>, BadBeats> {
    let mut beats: Vec<Seconds> = Vec::new();
    for (line, words) in text.lines().enumerate().map(|(i, l)| (i + 1, l)) {
        let words = words
            .trim_start_matches('\u{feff}')
            .split('#')
            .next()
            .unwrap_or("");
        let Some(first) = words
            .split([' ', '\t', ',', ';'])
            .find(|word| !word.trim().is_empty())
        else {
            continue;
        };
        let time = first
            .trim()
            .parse::<f64>()
            .ok()
            .filter(|t| t.is_finite() && *t >= 0.0)
            .ok_or_else(|| BadBeats::NoTime {
                line,
                found: first.chars().take(20).collect(),
            })?;
        if beats.last().is_some_and(|before| time <= before.0) {
            return Err(BadBeats::NotLater { line });
        }
        beats.push(Seconds(time));
    }
    if beats.len() < 2 {
        return Err(BadBeats::TooFew { found: beats.len() });
    }
    Ok(beats)
}

/// The beats of the whole piece that the taps stand for: the curve through taps and strokes, missing taps filled in,
/// carried on to both ends of the events. `None` with fewer than two taps.
pub(super) fn beats(events: &[Event], taps: &[Seconds], steps: Option<u32>) -> Option<Vec<f64>> {
    let taps = filled(
        &taps
            .iter()
            .map(|t| t.0)
            .filter(|t| t.is_finite())
            .collect::<Vec<_>>(),
    );
    let (first, last) = (events.first()?.time, events.last()?.time);
    if taps.len() < 2 || last - first > (taps[1] - taps[0]) * MOST as f64 {
        return None;
    }
    let tapped: Vec<Event> = taps.iter().map(|t| tap(*t)).collect();
    let even = smooth(&tapped, &taps, Division::even(1));
    let inside: Vec<Event> = within(events, &even);
    let period = (even[even.len() - 1] - even[0]) / (even.len() - 1) as f64;
    let (steps, _) = subdivision(&inside, &places(&inside, &even), period, steps);
    let division = Division::even(steps);
    let mut all: Vec<Event> = events.iter().copied().chain(tapped).collect();
    all.sort_by(|a, b| a.time.total_cmp(&b.time));
    let drawn = smooth(&within(&all, &even), &even, division);
    let later = carried(events, drawn, last, division);
    // The same backwards in time gives what comes before the first tap.
    let mirrored: Vec<Event> = events
        .iter()
        .rev()
        .map(|e| Event { time: -e.time, ..*e })
        .collect();
    let back: Vec<f64> = later.iter().rev().map(|b| -b).collect();
    let whole = carried(&mirrored, back, -first, division);
    Some(whole.iter().rev().map(|b| -b).collect())
}

fn tap(time: f64) -> Event {
    Event {
        time,
        weight: TAP,
        struck: Default::default(),
        accent: 0.0,
    }
}

fn within(events: &[Event], beats: &[f64]) -> Vec<Event> {
    let inside = |e: &&Event| beats.first() <= Some(&e.time) && Some(&e.time) <= beats.last();
    events.iter().filter(inside).copied().collect()
}

/// The taps with beats where some were left out: a gap of about k beats gets k - 1 more.
fn filled(taps: &[f64]) -> Vec<f64> {
    let mut gaps: Vec<f64> = taps.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.sort_by(f64::total_cmp);
    let usual = gaps.get(gaps.len() / 2).copied().unwrap_or(0.5).max(0.02);
    let mut filled = Vec::with_capacity(taps.len());
    for pair in taps.windows(2) {
        let parts = ((pair[1] - pair[0]) / usual).round().clamp(1.0, 64.0);
        filled.extend((0..parts as usize).map(|i| pair[0] + (pair[1] - pair[0]) * i as f64 / parts));
    }
    filled.extend(taps.last());
    filled
}

/// Carries `beats` on until they pass `end`, drawing the new ones to the strokes.
fn carried(events: &[Event], mut beats: Vec<f64>, end: f64, division: Division) -> Vec<f64> {
    while let [.., before, last] = beats[..]
        && last < end
        && beats.len() < MOST
    {
        // The mean length of the last beats says more than that of the very last.
        let few = beats.len().min(5);
        let length = (last - beats[beats.len() - few]) / (few - 1) as f64;
        let length = if length > 0.0 { length } else { last - before };
        beats.extend((1..=CARRIED).map(|i| last + length * i as f64));
        let from = beats.len().saturating_sub(TAIL);
        let tail = smooth(&within(events, &beats[from..]), &beats[from..], division);
        let new = beats.len() - CARRIED;
        beats.truncate(new);
        beats.extend(tail.into_iter().skip(new - from));
    }
    beats
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_plain_forms_of_annotation_sets_are_read() {
        let text = "# tapped\n0.50\n1.0\t2\n1.5, 3 x\n\n2.0 # four\r\n";
        let beats: Vec<f64> = read_beats(text).unwrap().iter().map(|b| b.0).collect();
        assert_eq!(beats, [0.5, 1.0, 1.5, 2.0]);
    }

    #[test]
    fn beats_that_cannot_be_meant_are_refused_by_line() {
        let said = |text: &str| read_beats(text).unwrap_err().to_string();
        assert!(said("0.5\none\n").starts_with("line 2 begins with \"one\""));
        assert!(said("0.5\n-1\n").starts_with("line 2"));
        assert!(said("0.5\nnan\n").starts_with("line 2"));
        assert!(said("0.5\n\n0.5\n").starts_with("line 3 is not later"));
        assert!(said("# none\n0.5\n").starts_with("it holds 1 beats"));
    }

    #[test]
    fn missing_taps_are_filled_in() {
        assert_eq!(
            filled(&[0.0, 0.5, 1.0, 2.5, 3.0]),
            [0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0]
        );
    }
}
