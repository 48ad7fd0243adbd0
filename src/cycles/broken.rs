//! A repeat held against its figure: what is missing, what is added, and what is a step away from where it belongs.

use serde::{Deserialize, Serialize};

use crate::grid::Place;
use crate::names::Voice;

/// A repeat that is not whole.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Broken {
    /// Which repeat, from 1.
    pub repeat: u32,
    /// Where this repeat starts.
    pub start: Place,
    /// Notes of the figure that are not there: step within the cycle (from 1) and voice.
    pub missing: Vec<(u32, Voice)>,
    /// Strokes of the figure's own voices that the figure does not have.
    pub added: Vec<(u32, Voice)>,
    /// Notes of the figure that are struck a step away: step within the cycle (from 1), voice, and by how many steps
    /// later; negative is earlier.
    #[serde(default)]
    pub moved: Vec<(u32, Voice, i64)>,
}

impl Broken {
    /// `repeat 7, from bar 4, beat 4, step 1: kick missing on its step 6`.
    pub fn words(&self) -> String {
        let mut parts: Vec<String> = Vec::new();
        for (spots, what) in [(&self.missing, "missing"), (&self.added, "added")] {
            let spots = spots.iter();
            parts.extend(spots.map(|(step, voice)| format!("{} {what} on its step {step}", voice.said())));
        }
        for (step, voice, by) in &self.moved {
            let when = if *by > 0 { "later" } else { "earlier" };
            parts.push(format!(
                "{} of its step {step} struck a step {when}",
                voice.said()
            ));
        }
        format!(
            "repeat {}, from {}: {}",
            self.repeat,
            self.start,
            parts.join(", ")
        )
    }
}

/// A note that is expected, or a stroke that is not: its step, and the figure's line that it is on.
pub(super) type Spot = (usize, usize);

/// Pairs notes that are missing with strokes that are added on the same line a step before or after, the earliest
/// first: where each of `missing` went, by steps. Both must rise.
pub(super) fn moved(missing: &[Spot], added: &[Spot]) -> Vec<Option<i64>> {
    let mut free = vec![true; added.len()];
    let mut taken = |spot: Spot| {
        let at = added.binary_search(&spot).ok()?;
        std::mem::take(&mut free[at]).then_some(())
    };
    let mut gone = |&(step, line): &Spot| {
        let before = step.checked_sub(1).and_then(|before| taken((before, line)));
        match before {
            Some(()) => Some(-1),
            None => taken((step + 1, line)).map(|()| 1),
        }
    };
    missing.iter().map(&mut gone).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_stroke_is_one_notes_at_most_and_lines_are_kept_apart() {
        assert_eq!(
            moved(&[(5, 0), (7, 0), (9, 1)], &[(6, 0), (8, 0), (10, 0)]),
            [Some(1), Some(1), None]
        );
        assert_eq!(moved(&[(5, 0), (7, 0)], &[(6, 0)]), [Some(1), None]);
        assert_eq!(moved(&[(0, 0)], &[(2, 0)]), [None]);
    }

    #[test]
    fn a_broken_repeat_is_told_in_a_players_words() {
        let broken = Broken {
            repeat: 7,
            start: Place {
                bar: 4,
                beat: 4,
                step: 1,
            },
            missing: vec![(6, Voice::Kick)],
            added: vec![(2, Voice::Snare)],
            moved: vec![(1, Voice::Kick, -1), (3, Voice::Kick, 1)],
        };
        assert_eq!(
            broken.words(),
            "repeat 7, from bar 4, beat 4, step 1: kick missing on its step 6, snare added on its step 2, \
             kick of its step 1 struck a step earlier, kick of its step 3 struck a step later"
        );
    }
}
