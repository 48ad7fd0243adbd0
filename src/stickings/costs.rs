//! What a stroke costs its limb: the one table by which limbs are chosen.
//!
//! Costs are in bits, as if an unlikely choice were written down: 1 is a choice half as likely. Times are seconds,
//! places metres. The limits are those of TRADE 7: one hand on one surface 6 strokes a second sustained, 8 fast, never above
//! 10, doubles 45 to 70 ms apart, a near move 85 to 130 ms, a far one 150 to 220 ms; one foot 5, 8, doubles 70 to
//! 110 ms [M there]; 5 to 7 a second for a hand in general, 10 for a contest winner [P: Fujii et al., Neuroscience
//! Letters 459, 2009]. How dear each is, is fitted on invented solos [=] where not marked.

/// A stroke that nobody plays: dearer than anything a body can do, so that it is the last way out.
pub(super) const NOBODY: f64 = 60.0;
/// A stroke by a limb that has to keep up the figure [C: an ostinato's limbs are not free for the solo].
pub(super) const BUSY: f64 = 6.0;
/// A stroke by the hand that does not lead there [C: the right hand leads on ride, floor tom, hats].
pub(super) const NOT_LEADING: f64 = 2.5;
/// A metre that a hand reaches over to the other side of the body.
pub(super) const REACH_OVER: f64 = 4.0;
/// Two hands that cross: the right one this far (m) left of the left one; hats over the snare do not count [C].
pub(super) const CROSSED_BY: f64 = 0.4;
/// What crossing costs.
pub(super) const CROSSED: f64 = 1.0;
/// After this long (s) a limb has forgotten its last stroke: it is rested and can be anywhere.
pub(super) const RESTED: f64 = 0.6;
/// A stroke of a line in which either hand may play: a bit says which, and two hands seldom leave each other so much room.
pub(super) const CHOICE: f64 = 1.2;
/// A stroke by the hand that a line of one hand leaves out.
pub(super) const OTHER_HAND: f64 = 7.0;
/// A hand and a foot of different sides where a line, or a figure, has one of each [C: side pairs].
pub(super) const NOT_A_SIDE: f64 = 20.0;
/// A limb other than the one that plays this place of a cell everywhere else [C: the same figure keeps its sticking].
pub(super) const OTHER_STICKING: f64 = 6.0;

/// A hand goes to another drum less often than it stays.
const STAYS: f64 = 2.5;
/// Share of that which a hand has forgotten when it is rested.
const FADES: f64 = 0.5;

/// How fast one limb can go: TRADE 7 has a foot's doubles 70 to 110 ms apart and nobody's hand above 10 strokes a second
/// [P: Fujii et al. 2009]; the rest is [M] there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pace {
    /// Two strokes closer than this are beyond it.
    never: f64,
    /// Two strokes this far apart are a double, more are not possible.
    double: f64,
    /// Fast.
    fast: f64,
    /// Sustained.
    sustained: f64,
}

/// A hand.
pub(super) const HAND: Pace = Pace {
    never: 0.045,
    double: 0.1,
    fast: 0.125,
    sustained: 0.167,
};

/// A foot.
pub(super) const FOOT: Pace = Pace {
    never: 0.07,
    double: 0.11,
    fast: 0.125,
    sustained: 0.2,
};

impl Pace {
    /// Two strokes of one limb at least this far apart (s) need no thought, whatever the other does between.
    pub(super) fn fastest(self) -> f64 {
        self.double
    }

    /// Whether a limb cannot have struck `gap` seconds after its last stroke, or, `run` seconds apart, three times: how many
    /// strokes, how far apart (s), and what limbs reach. Onsets are found to within some milliseconds: a tenth is let
    /// pass.
    pub(super) fn beyond(self, gap: f64, run: Option<f64>) -> Option<(usize, f64, String)> {
        let ms = |seconds: f64| seconds * 1000.0;
        if gap < 0.9 * self.never {
            return Some((
                2,
                gap,
                format!("a double takes {:.0} ms at least", ms(self.never)),
            ));
        }
        let run = run.filter(|run| *run < 0.9 * self.double)?;
        Some((
            3,
            run,
            format!("one limb does {:.0} a second at most", 1.0 / self.double),
        ))
    }

    /// What it strains a limb to strike again after `gap` seconds, as stroke number `run` in a row, 2 or more.
    pub(super) fn again(self, gap: f64, run: usize) -> f64 {
        let many = run > 2;
        match gap {
            g if g >= RESTED => 0.0,
            g if g < self.never => 20.0,
            g if g < self.double => 0.4 + if many { 8.0 } else { 0.0 },
            g if g < self.fast => 0.2 + if many { 2.5 } else { 0.0 },
            g if g < self.sustained => {
                if many {
                    0.8
                } else {
                    0.0
                }
            }
            _ => {
                if many {
                    0.2
                } else {
                    0.0
                }
            }
        }
    }
}

/// What it costs a player who could alternate not to do so, `gap` seconds after the limb's last stroke: the longer
/// ago, the less it matters.
pub(super) fn not_alternating(gap: f64) -> f64 {
    0.8 * (1.0 - gap / RESTED).max(0.0)
}

/// What it costs to move a hand `distance` metres rather than leave it, `gap` seconds after its last stroke.
pub(super) fn moving(distance: f64, gap: f64) -> f64 {
    if distance < 0.05 {
        return 0.0;
    }
    (STAYS + 0.8 * distance.min(1.0)) * (1.0 - FADES * gap / RESTED).max(0.0)
}

/// What it strains a hand to go `distance` metres in `gap` seconds.
pub(super) fn travel(distance: f64, gap: f64) -> f64 {
    if distance < 0.05 || gap >= RESTED {
        return 0.0;
    }
    // From snare to tom, 0.35 m, is near; from hats to floor tom, 1.1 m, is far [M].
    let far = ((distance - 0.35) / 0.75).clamp(-0.4, 1.5);
    let (least, easy) = (0.085 + 0.065 * far, 0.13 + 0.09 * far);
    if gap < least {
        4.0
    } else {
        2.0 * ((easy - gap) / (easy - least)).clamp(0.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rested_limb_pays_nothing() {
        assert_eq!(HAND.again(RESTED, 2), 0.0);
        assert_eq!(travel(1.5, RESTED), 0.0);
    }

    #[test]
    fn faster_longer_and_further_never_costs_less() {
        for pace in [HAND, FOOT] {
            for run in 2..5 {
                let costs: Vec<f64> = (1..60)
                    .map(|gap| pace.again(f64::from(gap) / 100.0, run))
                    .collect();
                assert!(costs.is_sorted_by(|a, b| a >= b), "{costs:?}");
                for gap in 1..60 {
                    let gap = f64::from(gap) / 100.0;
                    assert!(pace.again(gap, run + 1) >= pace.again(gap, run));
                }
            }
        }
        for distance in 0..15 {
            let distance = f64::from(distance) / 10.0;
            for gap in 1..60 {
                let gap = f64::from(gap) / 100.0;
                assert!(
                    travel(distance + 0.1, gap) >= travel(distance, gap),
                    "{distance} {gap}"
                );
                assert!(
                    travel(distance, gap) >= travel(distance, gap + 0.01),
                    "{distance} {gap}"
                );
            }
        }
    }
}
