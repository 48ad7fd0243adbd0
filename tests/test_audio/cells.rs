//! The free line: short cells in changing permutations and orchestrations, and what marks the bar.

use std::collections::BTreeMap;

use overbar::names::{Layer, Limb, Voice};
use rand::Rng;
use rand::seq::IndexedRandom;
use rand_chacha::ChaCha8Rng;

use crate::score::{Note, PlacedCell};

/// A cell: its name and its strokes; `R` and `L` are hands, `F` is a foot, `-` a rest.
pub(crate) type Cell = (&'static str, &'static str);

/// At most so many strokes of one limb on neighbouring steps: more at these tempos is no relaxed playing **[M]**.
const IN_A_ROW: usize = 2;

/// Who plays the free line, on what.
pub(crate) struct FreeLine<'a> {
    /// The cells it is made of.
    pub(crate) cells: &'a [Cell],
    /// What the right hand strikes, if it is free.
    pub(crate) right: &'a [Voice],
    /// What the left hand strikes, if it is free.
    pub(crate) left: &'a [Voice],
    /// The foot in the cells, and what it strikes.
    pub(crate) foot: (Limb, Voice),
    /// Steps in a bar.
    pub(crate) bar: usize,
    /// Steps in the line.
    pub(crate) steps: usize,
}

/// Strokes that stand already, by limb and step.
#[derive(Default)]
pub(crate) struct Notes(BTreeMap<(Limb, usize), Note>);

impl Notes {
    /// Writes a stroke of the free line, over what stood there.
    pub(crate) fn put(&mut self, step: usize, limb: Limb, voice: Voice, velocity: f64) {
        let note = Note {
            step,
            voice,
            limb,
            layer: Layer::Solo,
            velocity,
        };
        self.0.insert((limb, step), note);
    }

    /// Whether the limb has that step free, with neighbours that leave it time.
    fn has_room(&self, step: usize, limb: Limb) -> bool {
        let taken = |s: usize| self.0.contains_key(&(limb, s));
        let before = (1..=step).take_while(|back| taken(step - back)).count();
        let after = (1..).take_while(|on| taken(step + on)).count();
        !taken(step) && before + after < IN_A_ROW
    }

    /// All strokes by limb and step.
    pub(crate) fn list(self) -> Vec<Note> {
        self.0.into_values().collect()
    }
}

impl FreeLine<'_> {
    /// Fills the line around the `notes` that stand already; returns where which cell stands.
    pub(crate) fn fill(&self, notes: &mut Notes, random: &mut ChaCha8Rng) -> Vec<PlacedCell> {
        let mut placed: Vec<PlacedCell> = Vec::new();
        let mut at = 0;
        while at < self.steps {
            let others: Vec<&Cell> = self
                .cells
                .iter()
                .filter(|(name, _)| placed.last().is_none_or(|last| last.0 != *name))
                .collect();
            let Some((name, strokes)) = others.choose(random) else {
                break;
            };
            let length = strokes.len();
            let first = random.random_range(0..length);
            // Nothing free lasts as long as a figure does: two to four times, and no more than two bars.
            let times = random.random_range(2..=4).min((2 * self.bar / length).max(1));
            let end = (at + times * length).min(self.steps);
            self.repeat(notes, random, strokes, first, at..end);
            placed.push((name, first, at, end));
            at = end;
        }
        placed
    }

    /// Plays one cell over `span`, beginning with its stroke number `first`, on drums that stay the same.
    fn repeat(
        &self,
        notes: &mut Notes,
        random: &mut ChaCha8Rng,
        strokes: &str,
        first: usize,
        span: std::ops::Range<usize>,
    ) {
        let drums: Vec<Option<(Limb, Voice)>> = strokes
            .chars()
            .map(|stroke| match stroke {
                'R' => self.right.choose(random).map(|v| (Limb::RightHand, *v)),
                'L' => self.left.choose(random).map(|v| (Limb::LeftHand, *v)),
                'F' => Some(self.foot),
                _ => None,
            })
            .collect();
        for step in span.clone() {
            let place = (step - span.start + first) % drums.len();
            let Some((limb, voice)) = drums[place] else {
                continue;
            };
            if !notes.has_room(step, limb) {
                continue;
            }
            let ghost = voice == Voice::Snare && place != first && random.random_bool(0.35);
            let velocity = match () {
                () if ghost => random.random_range(0.30..0.40),
                () if place == first => 0.84,
                () => random.random_range(0.56..0.72),
            };
            notes.put(step, limb, voice, velocity);
        }
    }
}
