//! A drill as a small study of its own, from which it is written on a staff like any other.

use super::Drill;
use crate::charts::PatternNote;
use crate::cycles::{self, Cycle, Cycles, Moment};
use crate::grid::{Grid, Meter, Placed};
use crate::names::Layer;
use crate::study::{RecordingFacts, Study};
use crate::units::{Bpm, Decibels, Millis, Seconds, Steps};
use crate::voices::Hit;

/// Bars of up to so many beats are read at a glance, and of up to so many at all \[C\].
const GLANCE: u32 = 7;
const MOST: u32 = 24;
/// Every stroke of a drill is as loud as the others.
const LEVEL: Decibels = Decibels(-6.0);

impl Drill {
    /// The drill as strokes on a grid of its own, at a tempo. Its bars are the study's where a round is made of them, else
    /// such that a round ends on a bar line.
    pub fn written(&self, study: &Study, tempo: Bpm) -> Study {
        let grid = self.grid(study, tempo);
        let step = tempo.beat() * (1.0 / f64::from(grid.steps_per_beat.max(1)));
        let mut notes: Vec<&PatternNote> = self.pattern.notes.iter().collect();
        notes.sort_by_key(|note| (note.step, note.voice, !note.figure));
        notes.dedup_by_key(|note| (note.step, note.voice));
        let hit = |note: &&PatternNote| Hit {
            time: step * f64::from(note.step),
            voice: note.voice,
            level: LEVEL,
            mark: None,
            grace: None,
            sure: 1.0,
        };
        let hits: Vec<Hit> = notes.iter().map(hit).collect();
        let placed: Vec<Placed> = notes
            .iter()
            .zip(&hits)
            .map(|(note, hit)| Placed {
                hit: *hit,
                step: Steps(i64::from(note.step)),
                late: Millis(0.0),
            })
            .collect();
        let cycles = Cycles {
            layer: notes.iter().map(|note| note.figure.then_some(0)).collect(),
            found: self.cycle(study, &grid, step).into_iter().collect(),
            ..Cycles::default()
        };
        let facts = RecordingFacts {
            file: format!("Drill {}: {}", self.number, self.title),
            seconds: step * f64::from(self.pattern.steps),
            ..study.recording.clone()
        };
        let mut own = Study::new(
            facts,
            study.options.clone(),
            &hits,
            grid,
            &placed,
            cycles,
            Vec::new(),
        );
        for (stroke, note) in own.strokes.iter_mut().zip(&notes) {
            stroke.limb = note.limb;
            stroke.layer = Some(if note.figure { Layer::Ostinato } else { Layer::Solo });
        }
        own
    }

    fn grid(&self, study: &Study, tempo: Bpm) -> Grid {
        let per_beat = self.pattern.per_beat.max(1);
        let beats = self.pattern.steps.div_ceil(per_beat).max(1);
        let usual = study.grid.meter.beats_per_bar().max(1);
        let in_a_bar = if beats.is_multiple_of(usual) {
            usual
        } else {
            let divides = |n: &u32| beats.is_multiple_of(*n);
            let at_a_glance = (2..=GLANCE).rev().find(divides);
            at_a_glance.unwrap_or(if beats <= MOST { beats } else { usual })
        };
        let meter = Meter {
            count: study.grid.meter.count / usual * in_a_bar,
            ..study.grid.meter
        };
        Grid {
            tempo,
            meter,
            steps_per_beat: per_beat,
            beats: (0..=beats.next_multiple_of(in_a_bar))
                .map(|beat| tempo.beat() * f64::from(beat))
                .collect(),
            sure: 1.0,
            ..Grid::none()
        }
    }

    /// The figure's repeats in the drill.
    fn cycle(&self, study: &Study, grid: &Grid, step: Seconds) -> Option<Cycle> {
        let figure = study.cycles.first()?;
        let first = *self.pattern.starts.first()?;
        let moment = |at: u32| {
            let place = grid.place_of(Steps(i64::from(at)));
            Moment {
                bar: place.bar,
                beat: place.beat,
                step: place.step,
                time: step * f64::from(at),
            }
        };
        let bar = Steps(i64::from(grid.steps_per_bar()));
        let length = Steps(i64::from(figure.length_steps));
        let (home_cycles, home_bars) = cycles::home(length, bar);
        Some(Cycle {
            home_cycles,
            home_bars,
            crosses_bar: home_cycles > 1 && home_bars > 1,
            start: moment(first),
            end: moment(self.pattern.steps),
            repeats: self.pattern.starts.len() as u32,
            length_seconds: step * f64::from(figure.length_steps),
            broken: Vec::new(),
            resolved: None,
            ..figure.clone()
        })
    }

    /// Its name among the files, as sound, as notation and on the sheets.
    pub fn file(&self) -> String {
        format!("drill-{:02}", self.number)
    }
}
