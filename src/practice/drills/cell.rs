//! A short sticking to practise: which limb strikes on each of its steps.

use std::str::FromStr;

use crate::names::{Limb, Voice};
use crate::practice::PracticeError;
use crate::stickings;

/// A cell: a name and what is struck on each step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cell {
    /// What it is called; its own letters where it has no name.
    pub name: String,
    /// The limb of each step, `None` for a rest.
    pub limbs: Vec<Option<Limb>>,
    /// On which drum each limb learns it, where that is not its usual one.
    pub drums: Vec<(Limb, Voice)>,
    /// Steps of the figure, from 0, on which the solo begins it, as the study knows them.
    pub used: Vec<u32>,
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
            drums: Vec::new(),
            used: Vec::new(),
        })
    }
}

impl Cell {
    /// A cell of a study's vocabulary, with the limbs and drums that carry it most often; `None` when it is not known
    /// who plays it.
    pub fn of(found: &stickings::Cell) -> Option<Cell> {
        let carried = found.drums.first()?;
        let has = |limb: &Limb| carried.limbs.iter().any(|(own, _)| own == limb);
        let one = |limbs: [Limb; 2]| limbs.into_iter().find(has);
        let limb = |letter: char| match letter {
            'R' => Some(Some(Limb::RightHand)),
            'L' => Some(Some(Limb::LeftHand)),
            'H' => one([Limb::RightHand, Limb::LeftHand]).map(Some),
            'F' => one([Limb::RightFoot, Limb::LeftFoot]).map(Some),
            '-' => Some(None),
            _ => None,
        };
        let limbs: Vec<Option<Limb>> = found.cell.chars().map(limb).collect::<Option<_>>()?;
        let drums = carried
            .limbs
            .iter()
            .filter_map(|(limb, voices)| Some((*limb, *voices.first()?)));
        let used = found.figures.iter().filter(|meeting| meeting.figure == 0);
        (limbs.iter().any(Option::is_some) && limbs.len() <= LONGEST).then(|| Cell {
            name: found.name.clone(),
            limbs,
            drums: drums.collect(),
            used: used
                .flat_map(|meeting| meeting.used.iter().map(|step| step.saturating_sub(1)))
                .collect(),
        })
    }

    /// On which drum one of its limbs learns it.
    pub(super) fn drum(&self, limb: Limb) -> Voice {
        let own = self.drums.iter().find(|(other, _)| *other == limb);
        own.map_or_else(|| home_of(limb), |(_, voice)| *voice)
    }

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
            // Hands change places on the same drums; a foot has its own pedal.
            drums: self
                .drums
                .iter()
                .filter(|(limb, _)| matches!(limb, Limb::RightHand | Limb::LeftHand))
                .map(|(limb, voice)| (other_side(*limb), *voice))
                .collect(),
            used: self.used.clone(),
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
