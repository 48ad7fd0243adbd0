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

/// How often a hand draws a drum before anything is known of it, within a stretch and where one begins: players move when
/// something new begins [M].
const MOVES: [f64; 2] = [0.15, 0.7];
/// So many strokes each of the two is worth [M].
const STROKES: [f64; 2] = [10.0, 4.0];
/// So many strokes stand for drums that a hand may go to and was not seen on, each [M].
const UNSEEN: f64 = 0.7;
/// A hand goes so much less often to where the other one leads [M].
const OTHERS: f64 = 0.3;
/// No drum is more seldom than that: a stroke may have been misheard, and costs no more than any step that is wrong.
const LEAST: f64 = 1.0 / 256.0;
/// Rounds after which nothing moves any more.
const ROUNDS: usize = 12;

/// One hand.
#[derive(Debug, Clone, PartialEq)]
struct Habit {
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
        let free = || {
            hits.iter()
                .zip(limbs)
                .enumerate()
                .filter(|(_, (hit, _))| hit.figure.is_none())
        };
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
                went.extend(last.map(|from| Went {
                    from,
                    to: hit.voice,
                    begins,
                }));
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
        let habit = self.hands.get(hand as usize);
        habit.map_or(0.0, |habit| -habit.share(from, to, begins).max(LEAST).log2())
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
            moves: MOVES,
            drums: usual.map(|share| share / sum),
        };
        for _ in 0..ROUNDS {
            let mut drums = usual;
            let mut moved = [MOVES[0] * STROKES[0], MOVES[1] * STROKES[1]];
            let mut all = STROKES;
            for Went { from, to, begins } in went {
                let kind = usize::from(*begins);
                let drawn = habit.moves[kind] * habit.drums[*to as usize];
                let drawn = if from == to {
                    drawn / habit.share(Some(*from), *to, *begins)
                } else {
                    1.0
                };
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    fn habits(line: &[(Limb, Voice)]) -> Habits {
        let hits: Vec<Played> = (line.iter().enumerate())
            .map(|(at, (_, voice))| Played {
                time: Seconds(0.12 * at as f64),
                step: None,
                voice: *voice,
                accent: false,
                figure: None,
                pinned: None,
            })
            .collect();
        let limbs: Vec<Option<Limb>> = line.iter().map(|(limb, _)| Some(*limb)).collect();
        Habits::of(&hits, &limbs, &[], &Body::default())
    }

    /// The right hand stays eight strokes on each of its drums, the left one leaves the snare for single strokes.
    fn line() -> Vec<(Limb, Voice)> {
        let right = |at: usize| [Voice::TomFloor, Voice::Ride, Voice::TomMid][at / 8 % 3];
        let left = |at: usize| if at % 6 == 5 { Voice::TomHigh } else { Voice::Snare };
        let both = |at| [(Limb::RightHand, right(at)), (Limb::LeftHand, left(at))];
        (0..96).flat_map(both).collect()
    }

    #[test]
    fn a_hand_that_keeps_to_one_drum_comes_back_for_less_than_one_that_stays_where_it_is() {
        let habits = habits(&line());
        let back = habits.bits(Limb::LeftHand, Some(Voice::TomHigh), Voice::Snare, false);
        let away = habits.bits(Limb::RightHand, Some(Voice::Ride), Voice::TomFloor, false);
        let stays = habits.bits(Limb::RightHand, Some(Voice::Ride), Voice::Ride, false);
        assert!(back < 1.0 && stays < 0.5 && away > 3.0, "{back} {stays} {away}");
    }

    #[test]
    fn a_drum_that_one_hand_never_strikes_is_dear_for_it_but_never_forbidden() {
        let habits = habits(&line());
        let own = habits.bits(Limb::LeftHand, Some(Voice::Snare), Voice::TomHigh, false);
        let other = habits.bits(Limb::RightHand, Some(Voice::Ride), Voice::TomHigh, false);
        let unheard = habits.bits(Limb::RightHand, None, Voice::Kick, true);
        assert!(
            own + 3.0 < other && other <= unheard && unheard <= 8.0,
            "{own} {other} {unheard}"
        );
    }

    #[test]
    fn what_a_hand_may_do_next_sums_up_to_one() {
        let habits = habits(&line());
        let there = [
            Voice::Snare,
            Voice::TomHigh,
            Voice::TomMid,
            Voice::TomFloor,
            Voice::Ride,
        ];
        for begins in [false, true] {
            let share = |to: &Voice| 2f64.powf(-habits.bits(Limb::LeftHand, Some(Voice::Snare), *to, begins));
            let sum: f64 = there.iter().map(share).sum();
            assert!((sum - 1.0).abs() < 0.02, "{sum}");
        }
    }
}
