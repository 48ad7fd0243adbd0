//! Note values and how a beat is divided into them: exact whole numbers, no rounding.
//!
//! In: the meter and the steps of a beat. Out: the value of a step, and the tuplet it needs. Which value a tuplet is
//! written in is common practice \[C\]: the next longer plain division (three and two, five to seven and four).

use std::ops::{Add, AddAssign, Sub};

use crate::grid::Meter;

/// A place or a length in written music; a quarter note has [`QUARTER`] of them. Every beat from a sixteenth to a
/// whole note, dotted or not, is a whole number of them when it is divided into 1 to 16 steps, or into 24, 32, 48 or
/// 64 \[=\].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Ticks(pub i64);

/// Ticks of a quarter note: 64 times the least common multiple of 1 to 16 \[=\].
pub const QUARTER: Ticks = Ticks(64 * 720_720);

impl Add for Ticks {
    type Output = Ticks;
    fn add(self, other: Ticks) -> Ticks {
        Ticks(self.0 + other.0)
    }
}

impl AddAssign for Ticks {
    fn add_assign(&mut self, other: Ticks) {
        self.0 += other.0;
    }
}

impl Sub for Ticks {
    type Output = Ticks;
    fn sub(self, other: Ticks) -> Ticks {
        Ticks(self.0 - other.0)
    }
}

impl Ticks {
    /// In quarter notes.
    pub fn quarters(self) -> f64 {
        self.0 as f64 / QUARTER.0 as f64
    }
}

/// A note value: power 0 is a whole note, 2 a quarter, 4 a sixteenth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Value {
    /// How often a whole note is halved, 0 to 10.
    pub power: u32,
    /// Dots, 0 or 1.
    pub dots: u32,
}

impl Value {
    /// Its length outside tuplets.
    pub fn ticks(self) -> Ticks {
        let plain = (4 * QUARTER.0) >> self.power.min(10);
        Ticks(if self.dots > 0 { plain + plain / 2 } else { plain })
    }

    /// Beams or flags that it has.
    pub fn beams(self) -> u32 {
        self.power.saturating_sub(2)
    }
}

/// So many steps in the time of that many of the same value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Ratio {
    /// Steps that are played.
    pub actual: u32,
    /// Plain ones that they replace.
    pub normal: u32,
    /// Their value, as a power.
    pub power: u32,
}

/// A beat divided into steps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Division {
    /// Steps in the beat.
    pub(super) steps: u32,
    /// Value of a step, as a power.
    pub(super) power: u32,
    /// The tuplet in which they stand.
    pub(super) ratio: Option<Ratio>,
}

impl Division {
    /// The value of so many steps in one note, if one note can be so long.
    pub(super) fn value(self, steps: u32) -> Option<Value> {
        let zeros = steps.checked_ilog2().map(|_| steps.trailing_zeros())?;
        let (power, dots) = match steps >> zeros {
            1 => (self.power.checked_sub(zeros)?, 0),
            3 => (self.power.checked_sub(zeros + 1)?, 1),
            _ => return None,
        };
        Some(Value { power, dots })
    }
}

/// The beat of a meter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Beat {
    /// Its value: a dotted quarter in 6/8, 9/8 and 12/8.
    pub value: Value,
    /// Beats in a bar.
    pub per_bar: u32,
}

impl Beat {
    /// The beat of a meter; a lower number that no note has counts as the next smaller one.
    pub fn of(meter: Meter) -> Beat {
        let per_bar = meter.beats_per_bar().max(1);
        let value = if per_bar == meter.count.max(1) {
            let power = meter.unit.checked_ilog2().unwrap_or(2).min(4);
            Value { power, dots: 0 }
        } else {
            Value { power: 2, dots: 1 }
        };
        Beat { value, per_bar }
    }

    /// Its length.
    pub fn ticks(self) -> Ticks {
        self.value.ticks()
    }

    /// Whether it divides into threes.
    pub(super) fn is_dotted(self) -> bool {
        self.value.dots > 0
    }

    /// The nearest number of steps that can be written: those that divide it without rest.
    pub(super) fn writable(self, steps: u32) -> u32 {
        let fits = |n: &u32| *n > 0 && self.ticks().0 % i64::from(*n) == 0;
        if (1..=64).contains(&steps) && fits(&steps) {
            steps
        } else {
            48
        }
    }

    /// How this many steps are written.
    pub(super) fn divided(self, steps: u32) -> Division {
        let steps = steps.max(1);
        let (whole, power) = if !self.is_dotted() {
            (1, self.value.power)
        } else if steps == 1 {
            // A whole dotted beat is three eighths long; one step of it is no tuplet.
            return Division {
                steps: 3,
                power: 3,
                ratio: None,
            };
        } else {
            (3, 3)
        };
        let doublings = (steps / whole).checked_ilog2().unwrap_or(0);
        let (normal, power) = (whole << doublings, power + doublings);
        let ratio = (normal != steps).then_some(Ratio {
            actual: steps,
            normal,
            power,
        });
        Division { steps, power, ratio }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ratio(meter: [u32; 2], steps: u32) -> Option<(u32, u32, u32)> {
        Beat::of(meter.into())
            .divided(steps)
            .ratio
            .map(|r| (r.actual, r.normal, r.power))
    }

    #[test]
    fn tuplets_are_written_in_the_next_longer_plain_division() {
        let quarter = [4, 4];
        for (steps, normal, power) in [(3, 2, 3), (5, 4, 4), (6, 4, 4), (7, 4, 4), (12, 8, 5), (9, 8, 5)] {
            assert_eq!(ratio(quarter, steps), Some((steps, normal, power)));
        }
        for plain in [1, 2, 4, 8, 16] {
            assert_eq!(ratio(quarter, plain), None);
        }
        for plain in [3, 6, 12, 24] {
            assert_eq!(ratio([12, 8], plain), None);
        }
        assert_eq!(ratio([6, 8], 2), Some((2, 3, 3)));
        assert_eq!(ratio([6, 8], 4), Some((4, 3, 3)));
    }

    #[test]
    fn the_steps_of_every_division_fill_the_beat() {
        for meter in [[4, 4], [2, 2], [7, 8], [6, 8], [5, 16], [3, 1]] {
            let beat = Beat::of(meter.into());
            for steps in (1..=16).chain([24, 32, 48, 64]) {
                let n = beat.writable(steps);
                assert_eq!(n, steps, "{meter:?}");
                let division = beat.divided(n);
                let step = Value {
                    power: division.power,
                    dots: 0,
                }
                .ticks()
                .0;
                let filled = match division.ratio {
                    Some(r) => step * i64::from(r.normal),
                    None => step * i64::from(division.steps),
                };
                if division.power <= 10 {
                    assert_eq!(filled, beat.ticks().0, "{meter:?} in {steps}");
                }
            }
        }
    }

    #[test]
    fn a_note_of_three_steps_is_dotted_and_one_of_five_is_none() {
        let division = Beat::of(Meter::COMMON).divided(8);
        assert_eq!(division.value(3), Some(Value { power: 4, dots: 1 }));
        assert_eq!(division.value(4), Some(Value { power: 3, dots: 0 }));
        assert_eq!((division.value(5), division.value(0)), (None, None));
    }
}
