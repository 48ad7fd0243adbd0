//! The study played by the synthesised kit: what to imitate, and what to check the written notes with.
//!
//! In: a study, a passage, which line, and a pace. Out: strikes for [`drums`](super::drums), with times from the passage's
//! beginning. Levels are the study's, each voice against its own loud strokes, because the kit has a balance of its own.

use super::drums::Strike;
use super::passage::Passage;
use crate::names::{Layer, Mark, Voice};
use crate::study::{Stroke, Study};
use crate::units::{Bpm, Seconds, Steps};

/// Which line of the music sounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Line {
    /// All of it.
    #[default]
    All,
    /// The figure alone.
    Figure,
    /// The solo alone.
    Solo,
}

/// How time runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pace {
    /// As on the recording, early and late strokes included, at this share of its speed.
    Recording(f64),
    /// Exactly on the steps, at one tempo.
    Steady(Bpm),
}

/// A quarter of full velocity lies 18 dB under it on the kit, so full velocity falls by this many dB a decade.
const DECIBELS_A_DECADE: f64 = 30.0;
/// The softest stroke that is played.
const SOFTEST: f64 = 0.12;
/// A flam's grace stroke comes this long before, a drag's two so long, all softer by so much (TRADE 5) [M].
const FLAM: Seconds = Seconds(0.025);
const DRAG: [Seconds; 2] = [Seconds(0.09), Seconds(0.045)];
const GRACE: f64 = 0.45;

impl Pace {
    /// The time of a step, from the passage's beginning; `None` without beats.
    pub fn time(&self, study: &Study, passage: &Passage, step: Steps) -> Option<Seconds> {
        match self {
            Pace::Recording(speed) => {
                let since = study.grid.time_of(step)? - study.grid.time_of(passage.from)?;
                Some(since * (1.0 / speed))
            }
            Pace::Steady(tempo) => {
                let steps = (step - passage.from).0 as f64;
                Some(tempo.beat() * (steps / f64::from(study.grid.steps_per_beat.max(1))))
            }
        }
    }

    fn time_of(&self, study: &Study, passage: &Passage, stroke: &Stroke) -> Option<Seconds> {
        match self {
            Pace::Recording(speed) => {
                Some((stroke.hit.time - study.grid.time_of(passage.from)?) * (1.0 / speed))
            }
            Pace::Steady(_) => self.time(study, passage, stroke.step?),
        }
    }
}

impl Line {
    fn has(self, stroke: &Stroke) -> bool {
        match self {
            Line::All => true,
            Line::Figure => stroke.layer == Some(Layer::Ostinato),
            Line::Solo => stroke.layer == Some(Layer::Solo),
        }
    }
}

/// The strikes of a passage, by time.
pub fn strikes(study: &Study, passage: &Passage, line: Line, pace: Pace) -> Vec<Strike> {
    let loud: Vec<(Voice, f64)> = Voice::ALL.iter().map(|v| (*v, loud(study, *v))).collect();
    let inside = study
        .strokes
        .iter()
        .filter(|s| line.has(s) && s.step.is_some_and(|step| passage.holds(step)));
    let mut strikes = Vec::new();
    for stroke in inside {
        let Some(time) = pace.time_of(study, passage, stroke) else {
            continue;
        };
        let full = loud
            .iter()
            .find(|(v, _)| *v == stroke.hit.voice)
            .map_or(0.0, |l| l.1);
        let under = (stroke.hit.level.0 - full).min(0.0);
        let velocity = 10f64.powf(under / DECIBELS_A_DECADE).clamp(SOFTEST, 1.0) * 0.9;
        let strike = |time: Seconds, velocity: f64| Strike {
            time: Seconds(time.0.max(0.0)),
            voice: stroke.hit.voice,
            velocity,
        };
        match stroke.hit.mark {
            Some(Mark::Flam) => strikes.push(strike(time - FLAM, velocity * GRACE)),
            Some(Mark::Drag) => strikes.extend(DRAG.map(|before| strike(time - before, velocity * GRACE))),
            _ => {}
        }
        strikes.push(strike(time, velocity));
    }
    strikes.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    strikes
}

/// The level that a tenth of a voice's strokes reach.
fn loud(study: &Study, voice: Voice) -> f64 {
    let own = study.strokes.iter().filter(|s| s.hit.voice == voice);
    let mut levels: Vec<f64> = own.map(|s| s.hit.level.0).filter(|l| l.is_finite()).collect();
    levels.sort_by(f64::total_cmp);
    levels.get(levels.len() * 9 / 10).copied().unwrap_or(0.0)
}
