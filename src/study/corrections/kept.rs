//! How many edits of a player's a run has kept, and in which words to say so.

use super::{Correction, Corrections};

/// Counts of the edits that were applied. A row with two edited cells counts in both.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Kept {
    /// Rows whose time was changed.
    pub times: usize,
    /// Rows whose voice was changed.
    pub voices: usize,
    /// Rows whose limb was set or cleared.
    pub limbs: usize,
    /// Rows whose layer was set or cleared.
    pub layers: usize,
    /// Rows whose mark was set or cleared.
    pub marks: usize,
    /// Rows whose grace stroke was set, moved or cleared.
    pub graces: usize,
    /// Rows deleted.
    pub deleted: usize,
    /// Rows added.
    pub added: usize,
    /// Edits outside the studied part of the recording: kept for a run that studies it, not applied in this one.
    pub waiting: usize,
}

impl Kept {
    /// One line for the player; `None` if there is no edit.
    pub fn line(&self) -> Option<String> {
        let counted = [
            (self.times, "time changed", "times changed"),
            (self.voices, "voice changed", "voices changed"),
            (self.limbs, "limb changed", "limbs changed"),
            (self.layers, "layer changed", "layers changed"),
            (self.marks, "mark changed", "marks changed"),
            (self.graces, "grace stroke changed", "grace strokes changed"),
            (self.deleted, "row deleted", "rows deleted"),
            (self.added, "row added", "rows added"),
            (
                self.waiting,
                "waits outside the studied part",
                "wait outside the studied part",
            ),
        ];
        let said: Vec<String> = counted
            .iter()
            .filter(|(count, ..)| *count > 0)
            .map(|(count, one, many)| format!("{count} {}", if *count == 1 { one } else { many }))
            .collect();
        (!said.is_empty()).then(|| format!("your edits: {}", said.join(", ")))
    }

    fn count(&mut self, correction: &Correction) {
        let Some(edit) = &correction.row else {
            self.deleted += usize::from(correction.in_force);
            self.waiting += usize::from(!correction.in_force);
            return;
        };
        if !correction.in_force {
            self.waiting += usize::from(edit.vouches());
        } else if let Some(found) = correction.instead_of.first() {
            self.times += usize::from(edit.time.is_some_and(|time| time != found.time));
            self.voices += usize::from(edit.voice.is_some_and(|voice| voice != found.voice));
            self.limbs += usize::from(edit.limb.is_some());
            self.layers += usize::from(edit.layer.is_some());
            self.marks += usize::from(edit.mark.is_some());
            self.graces += usize::from(edit.grace.is_some());
        } else {
            self.added += 1;
        }
    }
}

impl Corrections {
    /// What of the player's this run has kept; to be asked after the corrections were applied.
    pub fn kept(&self) -> Kept {
        let mut kept = Kept::default();
        self.strokes.iter().for_each(|correction| kept.count(correction));
        kept
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_line_names_what_was_kept_and_nothing_else() {
        assert_eq!(Kept::default().line(), None);
        let kept = Kept {
            voices: 1,
            deleted: 2,
            added: 1,
            ..Kept::default()
        };
        let line = "your edits: 1 voice changed, 2 rows deleted, 1 row added";
        assert_eq!(kept.line().as_deref(), Some(line));
    }
}
