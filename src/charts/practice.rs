//! What the practice part draws: sheets of drills, the ladder of tempos, one take, and what many takes say together.
//!
//! In: the study for title and legend, and plain values that `practice` has worked out. Out: pages like all others.

mod caution;
mod ladder;
mod pattern;
mod progress;
mod sheets;
mod take;

pub use ladder::{Rung, ladder};
pub use pattern::{Pattern, PatternNote};
pub use progress::{Curve, Day, progress};
pub use sheets::{Exercise, sheets};
pub use take::{Fault, Lateness, TakePicture, TakeStroke, take};
