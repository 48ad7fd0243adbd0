//! Which drum a hand strikes next: that of its last stroke, or one of those that it goes to, as often as this player does.
//!
//! A hand stays where it is with one probability and otherwise draws one of its drums; both are learnt from the line as
//! it was last shared out, by expectation and maximisation [P: Dempster, Laird & Rubin, Journal of the Royal Statistical
//! Society B 39, 1977], beside a few strokes that stand for what is usual. A hand that keeps to the snare and goes to a tom
//! for a stroke is told from one that stays on whatever it struck last, and a tom that only one hand ever strikes says who
//! struck it.

use super::Played;
use super::body::Body;
use crate::names::{Limb, Voice};

/// How often a hand leaves its drum within a stretch, and so many strokes as this is worth [M].
const MV: f64 = 0.15;
const MVN: f64 = 10.0;
/// The same where a stretch begins: players move when something new begins [M].
const MB: f64 = 0.7;
const MBN: f64 = 4.0;
/// So many strokes stand for drums that a hand may go to and was not seen on, each [M].
const UNSEEN: f64 = 0.7;
/// A hand goes so much less often to where the other one leads [M].
const OTHERS: f64 = 0.3;
/// Rounds after which nothing moves any more.
const ROUNDS: usize = 12;

/// One hand.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Habit {
    /// How often it draws a drum, within a stretch and where one begins.
    moves: [f64; 2],
    /// How often it draws each.
    drums: [f64; Voice::ALL.len()],
}

/// Both hands, the right one first.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Habits {
    hands: [Habit; 2],
}

/// A stroke of a hand.
#[derive(Debug, Clone, Copy)]
struct Went {
    from: Voice,
    to: Voice,
    begins: bool,
}

impl Habits {
    /// Those of a line as it is shared out; `begins` tells the strokes that are a hand's first of a stretch.
    pub(super) fn of(hits: &[Played], limbs: &[Option<Limb>], begins: &[bool], body: &Body) -> Habits {
        let free = || hits.iter().zip(limbs).enumerate().filter(|(_, (hit, _))| hit.figure.is_none());
        let mut there = [false; Voice::ALL.len()];
        for (_, (hit, limb)) in free() {
            let hands = limb.is_some_and(|limb| matches!(limb, Limb::RightHand | Limb::LeftHand));
            there[hit.voice as usize] |= hands;
        }
        let hand = |hand: Limb| {
            let mut went: Vec<Went> = Vec::new();
            let mut last: Option<Voice> = None;
            for (at, (hit, _)) in free().filter(|(_, (_, limb))| **limb == Some(hand)) {
                let begins = begins.get(at).copied().unwrap_or(false);
                went.extend(last.map(|from| Went { from, to: hit.voice, begins }));
                last = Some(hit.voice);
            }
            let usual = std::array::from_fn(|at| {
                let voice = Voice::ALL[at];
                let others = body.reach(voice).lead.is_some_and(|lead| lead != hand);
                let share = if others { OTHERS * UNSEEN } else { UNSEEN };
                if there[at] { share } else { 0.0 }
            });
            Habit::of(&went, usual)
        };
        Habits {
            hands: [hand(Limb::RightHand), hand(Limb::LeftHand)],
        }
    }

    /// Bits for a hand's next drum.
    pub(super) fn bits(&self, hand: Limb, from: Option<Voice>, to: Voice, begins: bool) -> f64 {
        self.hands.get(hand as usize).map_or(0.0, |habit| -habit.share(from, to, begins).log2())
    }
}

impl Habit {
    fn share(&self, from: Option<Voice>, to: Voice, begins: bool) -> f64 {
        let drawn = self.drums[to as usize];
        let Some(from) = from else { return drawn };
        let moves = self.moves[usize::from(begins)];
        let stays = if from == to { 1.0 - moves } else { 0.0 };
        stays + moves * drawn
    }

    fn of(went: &[Went], usual: [f64; Voice::ALL.len()]) -> Habit {
        let sum: f64 = usual.iter().sum::<f64>().max(f64::MIN_POSITIVE);
        let mut habit = Habit {
            moves: [MV, MB],
            drums: usual.map(|share| share / sum),
        };
        for _ in 0..ROUNDS {
            let mut drums = usual;
            let mut moved = [MV * MVN, MB * MBN];
            let mut all = [MVN, MBN];
            for Went { from, to, begins } in went {
                let kind = usize::from(*begins);
                let drawn = habit.moves[kind] * habit.drums[*to as usize];
                let drawn = if from == to { drawn / habit.share(Some(*from), *to, *begins) } else { 1.0 };
                drums[*to as usize] += drawn;
                moved[kind] += drawn;
                all[kind] += 1.0;
            }
            let sum: f64 = drums.iter().sum::<f64>().max(f64::MIN_POSITIVE);
            habit = Habit {
                moves: [moved[0] / all[0], moved[1] / all[1]],
                drums: drums.map(|share| share / sum),
            };
        }
        habit
    }
}
