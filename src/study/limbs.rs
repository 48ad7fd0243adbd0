//! Limbs and stickings of a study, worked out from its own rows, so that they follow from whatever the player says there.

use super::{Stroke, Study};
use crate::cycles::Cycle;
use crate::names::{Layer, Limb, Mark};
use crate::stickings::{self, Frame, Played};

impl Study {
    /// Works out limbs and stickings anew. `named` are the limbs that the player named, in the order of the strokes
    /// (those beyond its end count as not named); they and all that follows from them are kept to.
    pub fn share_out(&mut self, named: &[Option<Limb>]) {
        let played = self.played(named);
        let found = stickings::find(&played, &self.cycles, &self.grid, &self.options.stickings);
        for (stroke, limb) in self.strokes.iter_mut().zip(&found.limbs) {
            stroke.limb = *limb;
        }
        let frames = self.frames();
        for (number, cycle) in self.cycles.iter_mut().enumerate() {
            give_limbs(cycle, number, &frames, &played, &found.limbs);
        }
        self.stickings = found.stickings;
    }

    /// The strokes as limbs are found for them; `named` are those that are settled.
    pub(super) fn played(&self, named: &[Option<Limb>]) -> Vec<Played> {
        let frames = self.frames();
        (self.strokes.iter().enumerate())
            .map(|(at, stroke)| Played {
                time: stroke.hit.time,
                step: stroke.step,
                voice: stroke.hit.voice,
                accent: stroke.hit.mark == Some(Mark::Accent),
                figure: figure_of(stroke, &self.cycles, &frames),
                pinned: named.get(at).copied().flatten(),
            })
            .collect()
    }

    fn frames(&self) -> Vec<Frame> {
        let cycles = self.cycles.iter();
        cycles.map(|cycle| Frame::of(cycle, &self.grid)).collect()
    }
}

/// Which figure a stroke of the ostinato belongs to: the first that has its voice on this step, else the first that
/// has its voice.
fn figure_of(stroke: &Stroke, cycles: &[Cycle], frames: &[Frame]) -> Option<usize> {
    let step = stroke.step.filter(|_| stroke.layer == Some(Layer::Ostinato))?;
    let voice = stroke.hit.voice;
    let inside = || {
        frames
            .iter()
            .zip(cycles)
            .enumerate()
            .filter(|(_, (frame, _))| frame.holds(step))
    };
    let on_its_step = inside().find(|(_, (frame, cycle))| {
        let phase = frame.phase(step) + 1;
        cycle
            .figure
            .iter()
            .any(|note| i64::from(note.step) == phase && note.voices.contains(&voice))
    });
    let one = on_its_step.or_else(|| inside().find(|(_, (_, cycle))| cycle.voices.contains(&voice)));
    one.or_else(|| inside().next()).map(|(number, _)| number)
}

/// Gives each note of a figure the limb that plays it most; a note of several voices has none of its own.
fn give_limbs(cycle: &mut Cycle, number: usize, frames: &[Frame], played: &[Played], limbs: &[Option<Limb>]) {
    let Some(frame) = frames.get(number) else { return };
    let mut counts = vec![[0u32; 4]; cycle.figure.len()];
    for (hit, limb) in played
        .iter()
        .zip(limbs)
        .filter(|(hit, _)| hit.figure == Some(number))
    {
        let Some((limb, step)) = limb.zip(hit.step) else {
            continue;
        };
        let phase = frame.phase(step) + 1;
        for (note, count) in cycle.figure.iter().zip(&mut counts) {
            if i64::from(note.step) == phase && note.voices.contains(&hit.voice) {
                count[limb as usize] += 1;
            }
        }
    }
    for (note, count) in cycle.figure.iter_mut().zip(counts) {
        let most = Limb::ALL
            .iter()
            .max_by_key(|limb| (count[**limb as usize], std::cmp::Reverse(**limb)));
        let most = most.filter(|limb| count[**limb as usize] > 0).copied();
        note.limb = most.filter(|_| note.voices.len() == 1).or(note.limb);
    }
}
