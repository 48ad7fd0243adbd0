//! Units as types: a time in seconds never meets a count of samples or a place in steps by accident.
//!
//! Everything that measures something in this crate is one of these. Conversions live here and nowhere else.

use std::ops::{Add, AddAssign, Mul, Neg, Sub};

use serde::{Deserialize, Serialize};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident($inner:ty)) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub $inner);

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                self.0 += other.0;
            }
        }

        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }

        impl Mul<$inner> for $name {
            type Output = Self;
            fn mul(self, factor: $inner) -> Self {
                Self(self.0 * factor)
            }
        }
    };
}

quantity!(
    /// A time or a duration in seconds. Times count from the start of the recording's file.
    Seconds(f64)
);
quantity!(
    /// A duration or an offset in milliseconds, for lateness and other small differences.
    Millis(f64)
);
quantity!(
    /// A level in decibels.
    Decibels(f64)
);
quantity!(
    /// A tempo in beats per minute.
    Bpm(f64)
);
quantity!(
    /// An amount of information in bits.
    Bits(f64)
);
/// A place or a length on the grid in steps. Step 0 is the first step of bar 1; a pick-up has negative steps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Steps(pub i64);

impl Add for Steps {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl Sub for Steps {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl Seconds {
    /// The same duration in milliseconds.
    pub fn to_millis(self) -> Millis {
        Millis(self.0 * 1000.0)
    }

    /// The nearest sample at `rate` samples a second; 0 for times before the start.
    pub fn to_sample(self, rate: u32) -> usize {
        // `as` saturates: NaN and negative values become 0.
        (self.0 * f64::from(rate)).round() as usize
    }

    /// The time of sample number `sample` at `rate` samples a second.
    pub fn from_sample(sample: usize, rate: u32) -> Self {
        Self(sample as f64 / f64::from(rate.max(1)))
    }

    /// As minutes and seconds the way a player reads a counter: `1:04.2`.
    pub fn clock(self) -> String {
        let tenths = (self.0.max(0.0) * 10.0).round() as u64;
        format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
    }
}

impl Millis {
    /// The same duration in seconds.
    pub fn to_seconds(self) -> Seconds {
        Seconds(self.0 / 1000.0)
    }
}

impl Decibels {
    /// The level of an amplitude (1.0 is 0 dB), with a floor of -120 dB.
    pub fn from_amplitude(amplitude: f64) -> Self {
        Self(20.0 * amplitude.max(1e-6).log10())
    }

    /// The amplitude that has this level.
    pub fn to_amplitude(self) -> f64 {
        10f64.powf(self.0 / 20.0)
    }
}

impl Bpm {
    /// The duration of one beat.
    pub fn beat(self) -> Seconds {
        Seconds(60.0 / self.0)
    }

    /// The tempo whose beats last `beat`.
    pub fn of_beat(beat: Seconds) -> Self {
        Self(60.0 / beat.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_time_rounds_to_tenths_and_carries_into_minutes() {
        assert_eq!(Seconds(59.96).clock(), "1:00.0");
        assert_eq!(Seconds(64.24).clock(), "1:04.2");
        assert_eq!(Seconds(-1.0).clock(), "0:00.0");
    }

    #[test]
    fn a_beat_at_120_lasts_half_a_second_and_back() {
        assert_eq!(Bpm(120.0).beat(), Seconds(0.5));
        assert_eq!(Bpm::of_beat(Seconds(0.5)), Bpm(120.0));
    }

    #[test]
    fn samples_and_seconds_convert_both_ways() {
        assert_eq!(Seconds(0.5).to_sample(44_100), 22_050);
        assert_eq!(Seconds::from_sample(22_050, 44_100), Seconds(0.5));
        assert_eq!(Seconds(-3.0).to_sample(44_100), 0);
    }
}
