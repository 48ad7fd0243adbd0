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

    /// The same sticking on limbs that are free while `busy` ones keep a figure; `None` when there are too few.
    /// What a limb plays goes to the other one of its kind, else from hand to foot or foot to hand, its own side first.
    pub(super) fn beside(&self, busy: &[Limb]) -> Option<Cell> {
        let plays = |limb: &Limb| self.limbs.contains(&Some(*limb));
        let mut taken: Vec<Limb> = busy.to_vec();
        taken.extend(Limb::ALL.iter().filter(|limb| plays(limb)));
        let mut moves = Vec::new();
        for &from in Limb::ALL.iter().filter(|limb| plays(limb) && busy.contains(limb)) {
            let near = [other_side(from), other_end(from), other_side(other_end(from))];
            let to = near.into_iter().find(|limb| !taken.contains(limb))?;
            taken.push(to);
            moves.push((from, to));
        }
        let to = |limb: Limb| {
            let moved = moves.iter().find(|(from, _)| *from == limb);
            moved.map_or(limb, |(_, to)| *to)
        };
        let hand = |limb: Limb| matches!(limb, Limb::RightHand | Limb::LeftHand);
        Some(Cell {
            name: self.name.clone(),
            limbs: self.limbs.iter().map(|limb| limb.map(to)).collect(),
            // A pedal stays with its foot.
            drums: self
                .drums
                .iter()
                .filter(|(limb, _)| to(*limb) == *limb || hand(*limb) && hand(to(*limb)))
                .map(|(limb, voice)| (to(*limb), *voice))
                .collect(),
            used: self.used.clone(),
        })
    }

    /// What limb plays in `other`, the same sticking, in place of which of its own.
    pub(super) fn moved(&self, other: &Cell) -> Vec<(Limb, Limb)> {
        let both = self.limbs.iter().zip(&other.limbs);
        let mut moved: Vec<(Limb, Limb)> = both
            .filter_map(|(from, to)| Some(((*from)?, (*to)?)))
            .filter(|(from, to)| from != to)
            .collect();
        moved.sort_unstable();
        moved.dedup();
        moved
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

    /// Its letters, as [`Cell::from_str`] reads them; where both feet play, limbs have two letters.
    pub fn letters(&self) -> String {
        let plays = |limb: Limb| self.limbs.contains(&Some(limb));
        if plays(Limb::RightFoot) && plays(Limb::LeftFoot) {
            let names = self.limbs.iter().map(|limb| limb.map_or("-", Limb::name));
            return names.collect::<Vec<_>>().join(" ");
        }
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

/// The hand above a foot, the foot below a hand.
fn other_end(limb: Limb) -> Limb {
    match limb {
        Limb::RightHand => Limb::RightFoot,
        Limb::LeftHand => Limb::LeftFoot,
        Limb::RightFoot => Limb::RightHand,
        Limb::LeftFoot => Limb::LeftHand,
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
