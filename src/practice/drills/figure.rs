//! The study's figure as drills lay it out: its notes with their limbs, and when it comes home.

use super::cell::other_side;
use crate::charts::{Pattern, PatternNote};
use crate::cycles;
use crate::names::{Layer, Limb, Voice};
use crate::practice::passage::step_of;
use crate::study::Study;
use crate::units::Steps;

/// One note of the figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Note {
    /// Step in the cycle, from 0.
    step: u32,
    voice: Voice,
    limb: Option<Limb>,
}

/// The figure that repeats.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Figure {
    /// Length in steps.
    pub(super) length: u32,
    pub(super) per_beat: u32,
    pub(super) per_bar: u32,
    notes: Vec<Note>,
}

/// Longer figures, or rounds, would fill more sheets than anyone reads.
const LONGEST: u32 = 512;

impl Figure {
    /// The first figure of a study that has one.
    pub(super) fn of(study: &Study) -> Option<Figure> {
        let cycle = study.cycles.first()?;
        let (per_beat, per_bar) = (study.grid.steps_per_beat, study.grid.steps_per_bar());
        if !(1..=LONGEST).contains(&cycle.length_steps) || per_beat == 0 || !(1..=LONGEST).contains(&per_bar)
        {
            return None;
        }
        let notes = cycle.figure.iter().flat_map(|note| {
            let alone = if note.voices.len() == 1 { note.limb } else { None };
            note.voices.iter().map(move |&voice| (note.step, voice, alone))
        });
        let notes = notes
            .filter(|(step, ..)| (1..=cycle.length_steps).contains(step))
            .map(|(step, voice, alone)| Note {
                step: step - 1,
                voice,
                limb: played_by(study, step - 1, voice)
                    .or(alone)
                    .or_else(|| foot(voice)),
            });
        Some(Figure {
            length: cycle.length_steps,
            per_beat,
            per_bar,
            notes: notes.collect(),
        })
    }

    /// A ruling without any note on it.
    pub(super) fn bare(per_beat: u32, per_bar: u32) -> Figure {
        Figure {
            length: per_bar,
            per_beat,
            per_bar,
            notes: Vec::new(),
        }
    }

    /// (cycles, bars) until it comes home, running freely.
    pub(super) fn home(&self) -> (u32, u32) {
        cycles::home(Steps(i64::from(self.length)), Steps(i64::from(self.per_bar)))
    }

    /// Limbs that are known to play it.
    pub(super) fn limbs(&self) -> Vec<Limb> {
        let mut limbs: Vec<Limb> = self.notes.iter().filter_map(|n| n.limb).collect();
        limbs.sort();
        limbs.dedup();
        limbs
    }

    /// Voices of which it is not known who plays them.
    pub(super) fn without_limbs(&self) -> Vec<Voice> {
        let mut voices: Vec<Voice> = self
            .notes
            .iter()
            .filter(|n| n.limb.is_none())
            .map(|n| n.voice)
            .collect();
        voices.sort();
        voices.dedup();
        voices
    }

    /// The same with the limbs of the other side; the kicks change places with their feet.
    pub(super) fn mirrored(&self) -> Figure {
        let swap = |note: &Note| {
            let limb = note.limb.map(other_side);
            let voice = match (note.voice, limb) {
                (Voice::Kick, Some(Limb::LeftFoot)) => Voice::KickLeft,
                (Voice::KickLeft, Some(Limb::RightFoot)) => Voice::Kick,
                (voice, _) => voice,
            };
            Note { limb, voice, ..*note }
        };
        Figure {
            notes: self.notes.iter().map(swap).collect(),
            ..self.clone()
        }
    }

    /// An empty ruling of so many steps.
    pub(super) fn ruling(&self, steps: u32) -> Pattern {
        Pattern {
            steps,
            per_beat: self.per_beat,
            per_bar: self.per_bar,
            notes: Vec::new(),
            starts: Vec::new(),
        }
    }

    /// Runs freely through a pattern from `from` up to `to`, where the last cycle is cut.
    pub(super) fn lay(&self, pattern: &mut Pattern, from: u32, to: u32) {
        for start in (from..to).step_by(self.length as usize) {
            self.lay_once(pattern, start, to);
        }
    }

    /// Runs freely up to `to`, having begun `before` steps before the pattern.
    pub(super) fn lay_from(&self, pattern: &mut Pattern, before: u32, to: u32) {
        let before = before % self.length;
        let begun = self
            .notes
            .iter()
            .filter(|note| before > 0 && (before..before + to).contains(&note.step));
        pattern
            .notes
            .extend(begun.map(|note| self.note(note, note.step - before)));
        self.lay(pattern, (self.length - before) % self.length, to);
    }

    fn note(&self, note: &Note, step: u32) -> PatternNote {
        PatternNote {
            step,
            voice: note.voice,
            limb: note.limb,
            figure: true,
        }
    }

    /// One cycle from `start`, cut at `to`.
    fn lay_once(&self, pattern: &mut Pattern, start: u32, to: u32) {
        pattern.starts.push(start);
        let notes = self.notes.iter().filter(|note| start + note.step < to);
        pattern
            .notes
            .extend(notes.map(|note| self.note(note, start + note.step)));
    }
}

/// The limb that most strokes of the study have on a note of the figure.
fn played_by(study: &Study, step: u32, voice: Voice) -> Option<Limb> {
    let cycle = study.cycles.first()?;
    let start = step_of(&cycle.start, &study.grid);
    let length = i64::from(cycle.length_steps.max(1));
    let here = |stroke: &&crate::study::Stroke| {
        let since = stroke.step.map(|s| (s - start).0.rem_euclid(length));
        stroke.layer == Some(Layer::Ostinato) && stroke.hit.voice == voice && since == Some(i64::from(step))
    };
    let mut count = [0usize; Limb::ALL.len()];
    for limb in study.strokes.iter().filter(here).filter_map(|s| s.limb) {
        count[limb as usize] += 1;
    }
    let most = Limb::ALL
        .iter()
        .max_by_key(|limb| (count[**limb as usize], std::cmp::Reverse(**limb)));
    most.copied().filter(|limb| count[*limb as usize] > 0)
}

/// The foot that plays a pedal.
fn foot(voice: Voice) -> Option<Limb> {
    match voice {
        Voice::Kick => Some(Limb::RightFoot),
        Voice::KickLeft | Voice::HatFoot => Some(Limb::LeftFoot),
        _ => None,
    }
}
