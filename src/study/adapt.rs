//! A study -> the same for another player: easier, on another kit, or with the cells of two limbs of his choice.
//!
//! What comes out is a [`Study`] again, so that every chart and every drill can show it; what it leaves out stands in
//! the recording's name. Its strokes keep their times, places and limbs.

use std::collections::{BTreeMap, BTreeSet};

use super::{Stroke, Study, build};
use crate::names::{Layer, Limb, Voice};
use crate::stickings::body::Body;
use crate::stickings::{self, Found, Level, Played};
use crate::units::Steps;

/// What became of the voices that a kit lacks.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Moved {
    /// From which voice to which, and how many strokes.
    pub to: BTreeMap<(Voice, Voice), usize>,
    /// Voices for which nothing on the kit could stand, and how many strokes they had.
    pub left_out: BTreeMap<Voice, usize>,
}

impl Study {
    /// An easier solo over the whole figure.
    pub fn easier(&self, level: Level) -> Study {
        let played = self.played(&self.limbs());
        let found = Found {
            limbs: self.limbs(),
            cells: played.iter().map(|hit| self.cell_of(hit)).collect(),
            ..Found::default()
        };
        let mut kept = stickings::kept(&played, &found, level).into_iter();
        let mut study = self.named(&level.name(&self.stickings.vocabulary));
        study.strokes.retain(|_| kept.next().unwrap_or(true));
        study.voices = build::count_voices(&study.strokes);
        match level {
            Level::Cells(count) => {
                study.stickings.vocabulary.truncate(count as usize);
                study.stickings.unexplained = Some(0.0);
            }
            // What is left of a cell is none.
            Level::Limb(_) | Level::Accents => {
                study.stickings.vocabulary.clear();
                study.stickings.unexplained = None;
            }
        }
        study
    }

    /// The same on a kit that lacks some voices: they go to what is there.
    pub fn on_kit(&self, body: &Body) -> (Study, Moved) {
        let voices = stickings::to_kit(&self.played(&self.limbs()), body);
        let mut moved = Moved::default();
        let mut study = self.named("on your kit");
        let mut voices = voices.into_iter();
        study.strokes.retain_mut(|stroke| {
            let was = stroke.hit.voice;
            match voices.next().flatten() {
                Some(voice) if voice == was => true,
                Some(voice) => {
                    stroke.hit.voice = voice;
                    // One foot plays what two pedals did.
                    let may = body.limbs(voice).list();
                    stroke.limb = stroke.limb.map(|limb| {
                        if may.contains(&limb) {
                            limb
                        } else {
                            *may.first().unwrap_or(&limb)
                        }
                    });
                    *moved.to.entry((was, voice)).or_default() += 1;
                    true
                }
                None => {
                    *moved.left_out.entry(was).or_default() += 1;
                    false
                }
            }
        });
        for cycle in &mut study.cycles {
            let places = |voice: Voice| {
                moved
                    .to
                    .keys()
                    .find(|(was, _)| *was == voice)
                    .map_or(voice, |(_, to)| *to)
            };
            cycle.voices.iter_mut().for_each(|voice| *voice = places(*voice));
            cycle.voices.sort_unstable();
            cycle.voices.dedup();
            for note in &mut cycle.figure {
                note.voices.iter_mut().for_each(|voice| *voice = places(*voice));
            }
        }
        // Two drums that become one on the same step are one stroke.
        let mut struck: BTreeSet<(Steps, Voice)> = BTreeSet::new();
        let mut fresh = |stroke: &Stroke| {
            stroke
                .step
                .is_none_or(|step| struck.insert((step, stroke.hit.voice)))
        };
        study
            .strokes
            .sort_by_key(|stroke| stroke.layer != Some(Layer::Ostinato));
        study.strokes.retain(&mut fresh);
        study
            .strokes
            .sort_by(|a, b| a.hit.time.0.total_cmp(&b.hit.time.0));
        study.voices = build::count_voices(&study.strokes);
        (study, moved)
    }

    /// The cells of what two limbs play, the figure included: they are its free line, all else is left out.
    pub fn between(&self, pair: [Limb; 2]) -> Study {
        let limbs = self.limbs();
        let found = stickings::between(
            &self.played(&limbs),
            &limbs,
            &self.cycles,
            &self.grid,
            &self.options.stickings,
            pair,
        );
        let [a, b] = pair;
        let mut study = self.named(&format!("{a} and {b}"));
        study
            .strokes
            .retain(|stroke| stroke.limb.is_some_and(|limb| pair.contains(&limb)));
        study
            .strokes
            .iter_mut()
            .for_each(|stroke| stroke.layer = Some(Layer::Solo));
        study.voices = build::count_voices(&study.strokes);
        study.stickings = found.stickings;
        study
    }

    fn limbs(&self) -> Vec<Option<Limb>> {
        self.strokes.iter().map(|stroke| stroke.limb).collect()
    }

    /// The cell of which a stroke of the free line is part.
    fn cell_of(&self, hit: &Played) -> Option<usize> {
        let Steps(step) = hit.step.filter(|_| hit.figure.is_none())?;
        let holds = |cell: &stickings::Cell| {
            cell.r#where
                .iter()
                .any(|run| (run.steps[0]..run.steps[1]).contains(&step))
        };
        self.stickings.vocabulary.iter().position(holds)
    }

    fn named(&self, what: &str) -> Study {
        let mut study = self.clone();
        study.recording.file = format!("{}, {what}", study.recording.file);
        study
    }
}
