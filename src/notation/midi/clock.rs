//! Where the file's ticks lie in time: a straight line from beat to beat.
//!
//! In: the grid and the bars of a score. Out: ticks of times and of places in the score, and the tempo of every beat.
//! The file rounds a tempo to microseconds in a quarter note; each beat makes good what the one before was rounded by, so
//! that an hour is as exact as a bar.

use super::{PER_QUARTER, ticks_of};
use crate::notation::score::{QUARTER, Score, Ticks};
use crate::options::ScoreTempo;
use crate::units::{Millis, Seconds};

/// The file begins with the recording unless the first bar begins so early that no lead-in is heard.
const NO_LEAD: Seconds = Seconds(0.001);
/// The longest and shortest quarter note that the file can tell, in microseconds.
const TEMPI: (f64, f64) = (1.0, 16_777_215.0);
/// A second a quarter, where there is no beat.
const BY_THE_CLOCK: Seconds = Seconds(1.0);

/// Ticks in time.
pub(super) struct Clock {
    /// Tick and time, both rising.
    anchors: Vec<(i64, Seconds)>,
    /// The tick of bar 1's beginning less its place in the score.
    shift: i64,
    /// The time of tick 0.
    origin: Seconds,
    /// A quarter note after the last anchor.
    quarter: Seconds,
}

impl Clock {
    pub(super) fn of(score: &Score, tempo: ScoreTempo) -> Clock {
        let (Some(first), Some(last)) = (score.bars.first(), score.bars.last()) else {
            return Clock {
                anchors: vec![(0, Seconds(0.0))],
                shift: 0,
                origin: Seconds(0.0),
                quarter: BY_THE_CLOCK,
            };
        };
        let start = file_ticks(score.start(first));
        let median = score.grid.tempo.beat().0 / score.beat.ticks().quarters();
        let usual = Some(Seconds(median)).filter(|q| q.0.is_finite() && q.0 > 0.0);
        let quarter = usual.unwrap_or(BY_THE_CLOCK);
        if tempo == ScoreTempo::Straight {
            return Clock {
                anchors: vec![(0, Seconds(0.0))],
                shift: -start,
                origin: Seconds(0.0),
                quarter,
            };
        }
        let begins = score.grid.time_at(first.beat as f64).unwrap_or_default();
        let bar = score.beat.ticks().quarters() * f64::from(score.beat.per_bar);
        let lead = if score.is_part || begins.0 <= NO_LEAD.0 {
            0
        } else {
            let bars = (begins.0 / (bar * quarter.0)).round().clamp(1.0, 1e4);
            (bars * bar * PER_QUARTER as f64).round() as i64
        };
        let origin = if score.is_part { begins } else { Seconds(0.0) };
        let beat = file_ticks(score.beat.ticks());
        let mut clock = Clock {
            anchors: vec![(0, Seconds(0.0))],
            shift: lead - start,
            origin,
            quarter,
        };
        for i in 0..=(last.beat - first.beat + i64::from(last.beats)) {
            let time = score.grid.time_at((first.beat + i) as f64).unwrap_or_default() - origin;
            clock.anchor(lead + i * beat, time);
        }
        clock
    }

    /// Adds a place where tick and time are known, unless time has not gone on.
    fn anchor(&mut self, tick: i64, time: Seconds) {
        let Some(&(before, then)) = self.anchors.last() else {
            return;
        };
        if tick > before && time.0 - then.0 > 1e-6 {
            self.anchors.push((tick, time));
            self.quarter = Seconds((time.0 - then.0) * PER_QUARTER as f64 / (tick - before) as f64);
        }
    }

    /// The tick of a place in the score.
    pub(super) fn place(&self, at: Ticks) -> i64 {
        (file_ticks(at) + self.shift).max(0)
    }

    /// The tick of a time of the recording.
    pub(super) fn tick(&self, time: Seconds) -> i64 {
        let time = time - self.origin;
        let after = self.anchors.partition_point(|(_, then)| *then <= time);
        let from = after.saturating_sub(1);
        let (Some(&(tick, then)), next) = (self.anchors.get(from), self.anchors.get(after)) else {
            return 0;
        };
        let quarter = match next {
            Some((later, end)) if after > 0 => (end.0 - then.0) * PER_QUARTER as f64 / (later - tick) as f64,
            _ => self.quarter.0,
        };
        let ticks = (time.0 - then.0) / quarter * PER_QUARTER as f64;
        // `as` saturates, and NaN becomes 0.
        tick.saturating_add(ticks.round() as i64).max(0)
    }

    /// The tick that lies so much earlier than another.
    pub(super) fn earlier(&self, tick: i64, before: Millis) -> i64 {
        let here = self.anchors.partition_point(|(at, _)| *at < tick);
        let quarter = match (self.anchors.get(here.wrapping_sub(1)), self.anchors.get(here)) {
            (Some(a), Some(b)) => Seconds((b.1.0 - a.1.0) * PER_QUARTER as f64 / (b.0 - a.0) as f64),
            _ => self.quarter,
        };
        (tick - ticks_of(before, quarter)).max(0)
    }

    /// The tempo from each tick on, in microseconds a quarter note.
    pub(super) fn tempi(&self) -> Vec<(i64, u32)> {
        let mut tempi: Vec<(i64, u32)> = Vec::new();
        let mut now = 0.0;
        let mut put = |at: i64, micros: f64| {
            let micros = micros.round().clamp(TEMPI.0, TEMPI.1);
            if tempi.last().is_none_or(|(_, before)| *before != micros as u32) {
                tempi.push((at, micros as u32));
            }
            micros
        };
        for pair in self.anchors.windows(2) {
            if let [(from, _), (to, end)] = pair {
                let quarters = (to - from) as f64 / PER_QUARTER as f64;
                let micros = put(*from, (end.0 - now) * 1e6 / quarters);
                now += micros * quarters / 1e6;
            }
        }
        let last = self.anchors.last().map_or(0, |(at, _)| *at);
        put(last, self.quarter.0 * 1e6);
        tempi
    }

    /// The last tick that is known.
    pub(super) fn end(&self) -> i64 {
        self.anchors.last().map_or(0, |(at, _)| *at)
    }
}

/// A place or a length of the score in ticks of the file.
fn file_ticks(at: Ticks) -> i64 {
    let exact = i128::from(at.0) * i128::from(PER_QUARTER);
    let half = i128::from(QUARTER.0) / 2;
    (exact + half).div_euclid(i128::from(QUARTER.0)) as i64
}
