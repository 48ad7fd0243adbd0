//! Places on the grid as a player names them, and hits that have one.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::units::{Millis, Steps};
use crate::voices::Hit;

/// A place in the music: all three count from 1, and bar 0 or less is a pick-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Place {
    /// Bar.
    pub bar: i64,
    /// Beat in the bar.
    pub beat: i64,
    /// Step in the beat.
    pub step: i64,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "bar {}, beat {}, step {}", self.bar, self.beat, self.step)
    }
}

/// A hit on its step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// The hit.
    pub hit: Hit,
    /// Its step.
    pub step: Steps,
    /// How late it comes after its step; negative is early.
    pub late: Millis,
}
