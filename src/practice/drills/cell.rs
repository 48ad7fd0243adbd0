//! A short sticking to practise: which limb strikes on each of its steps.

use std::str::FromStr;

use crate::names::{Limb, Voice};
use crate::practice::PracticeError;

/// A cell: a name and what is struck on each step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cell {
    /// What it is called; its own letters where it has no name.
    pub name: String,
    /// The limb of each step, `None` for a rest.
    pub limbs: Vec<Option<Limb>>,
}

/// Longer cells are whole phrases.
const LONGEST: usize = 64;

impl FromStr for Cell {
    type Err = PracticeError;

    /// Reads `RLRRLL`, or with a name `six: RLRRLL`.
    fn from_str(text: &str) -> Result<Self, PracticeError> {
        let bad = || PracticeError::BadCell {
            given: text.to_owned(),
        };
        let (name, letters) = match text.rsplit_once(':') {
            Some((name, letters)) => (name.trim(), letters.trim()),
            None => ("", text.trim()),
        };
        let limb = |letter: char| match letter.to_ascii_uppercase() {
            'R' => Some(Some(Limb::RightHand)),
            'L' => Some(Some(Limb::LeftHand)),
            'F' => Some(Some(Limb::RightFoot)),
            '-' => Some(None),
            _ => None,
        };
        let limbs: Vec<Option<Limb>> = letters.chars().map(limb).collect::<Option<_>>().ok_or_else(bad)?;
        if limbs.iter().all(Option::is_none) || limbs.len() > LONGEST {
            return Err(bad());
        }
        let name = if name.is_empty() { letters } else { name };
        Ok(Cell {
            name: name.to_owned(),
            limbs,
        })
    }
}

impl Cell {
    /// Its length in steps.
    pub fn steps(&self) -> u32 {
        self.limbs.len() as u32
    }

    /// Its letters, as [`Cell::from_str`] reads them.
    pub fn letters(&self) -> String {
        let letter = |limb: &Option<Limb>| match limb {
            Some(Limb::RightHand) => 'R',
            Some(Limb::LeftHand) => 'L',
            Some(Limb::RightFoot | Limb::LeftFoot) => 'F',
            None => '-',
        };
        self.limbs.iter().map(letter).collect()
    }

    /// The same on the other side.
    pub fn mirrored(&self) -> Cell {
        Cell {
            name: self.name.clone(),
            limbs: self.limbs.iter().map(|limb| limb.map(other_side)).collect(),
        }
    }
}

/// The limb on the other side.
pub(super) fn other_side(limb: Limb) -> Limb {
    match limb {
        Limb::RightHand => Limb::LeftHand,
        Limb::LeftHand => Limb::RightHand,
        Limb::RightFoot => Limb::LeftFoot,
        Limb::LeftFoot => Limb::RightFoot,
    }
}

/// On which drum a limb learns a cell: hands on the snare, feet on their pedals.
pub(super) fn home_of(limb: Limb) -> Voice {
    match limb {
        Limb::RightHand | Limb::LeftHand => Voice::Snare,
        Limb::RightFoot => Voice::Kick,
        Limb::LeftFoot => Voice::HatFoot,
    }
}
