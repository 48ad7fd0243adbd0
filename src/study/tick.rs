//! Times as the study's files write them, so that two writings of one time compare as equal.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::units::{Millis, Seconds};

/// A time in whole hundred-thousandths of a second from the start of the recording: the five decimals of the files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub(super) struct Tick(i64);

impl Tick {
    const PER_SECOND: f64 = 100_000.0;

    /// The tick nearest to a time.
    pub(super) fn of(time: Seconds) -> Tick {
        // `as` saturates, and NaN becomes 0.
        Tick((time.0 * Tick::PER_SECOND).round() as i64)
    }

    /// The tick of a grace stroke so long before its main stroke, which files tell to a tenth of a millisecond.
    pub(super) fn of_grace(before: Millis) -> Tick {
        Tick((before.0 * 10.0).round() as i64 * 10)
    }

    /// The time it stands for.
    pub(super) fn seconds(self) -> Seconds {
        Seconds(self.0 as f64 / Tick::PER_SECOND)
    }

    /// How far apart two are, in ticks.
    pub(super) fn apart(self, other: Tick) -> u64 {
        self.0.abs_diff(other.0)
    }

    /// The tick that comes `by` ticks later.
    pub(super) fn plus(self, by: u64) -> Tick {
        Tick(self.0.saturating_add_unsigned(by))
    }

    /// The tick that comes `by` ticks earlier.
    pub(super) fn minus(self, by: u64) -> Tick {
        Tick(self.0.saturating_sub_unsigned(by))
    }

    /// A duration of whole milliseconds in ticks.
    pub(super) const fn millis(count: u64) -> u64 {
        count * 100
    }
}

impl fmt::Display for Tick {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let size = self.0.unsigned_abs();
        write!(f, "{sign}{}.{:05}", size / 100_000, size % 100_000)
    }
}

impl Serialize for Tick {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.seconds().serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Tick {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Seconds::deserialize(deserializer).map(Tick::of)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_is_written_with_five_decimals_and_reads_back_the_same() {
        for (time, text) in [
            (0.0, "0.00000"),
            (12.3, "12.30000"),
            (3_599.999_994, "3599.99999"),
            (-0.01, "-0.01000"),
        ] {
            let tick = Tick::of(Seconds(time));
            assert_eq!(tick.to_string(), text);
            assert_eq!(Tick::of(Seconds(text.parse().unwrap())), tick);
            assert_eq!(Tick::of(tick.seconds()), tick);
        }
    }
}
