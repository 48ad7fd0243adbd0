//! Strokes on their steps -> each voice's constant offset: feet come early, hands late, and a player wants to know.
//!
//! Lateness is counted from the fitted tempo curve, which all voices share; the offset of a voice is the median of its
//! strokes, its spread what is left around it, by the quartiles, so that a few wrong strokes move neither.

use serde::{Deserialize, Serialize};

use crate::names::Voice;
use crate::units::Millis;

/// Fewer strokes than this have no usual lateness.
const FEWEST: usize = 8;
/// Distance of the quartiles of a normal distribution, in standard deviations [=].
const QUARTILES: f64 = 1.349;

/// How late a voice usually comes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Lateness {
    /// The voice.
    pub voice: Voice,
    /// Its strokes.
    pub hits: usize,
    /// Median lateness; negative is early.
    pub late_ms: Millis,
    /// Standard deviation around it, from the quartiles.
    pub spread_ms: Millis,
}

/// The usual lateness of every voice with enough strokes to tell, in the order of [`Voice::ALL`].
pub fn lateness(strokes: &[(Voice, Millis)]) -> Vec<Lateness> {
    let of = |voice: &Voice| {
        let mut late: Vec<f64> = strokes
            .iter()
            .filter(|(v, late)| v == voice && late.0.is_finite())
            .map(|(_, late)| late.0)
            .collect();
        late.sort_by(f64::total_cmp);
        let at = |share: usize| late.get(late.len() * share / 4).copied().unwrap_or(0.0);
        (late.len() >= FEWEST).then(|| Lateness {
            voice: *voice,
            hits: late.len(),
            late_ms: Millis(at(2)),
            spread_ms: Millis((at(3) - at(1)) / QUARTILES),
        })
    };
    Voice::ALL.iter().filter_map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_voice_that_comes_early_is_told_with_its_spread() {
        let mut strokes: Vec<(Voice, Millis)> = (0..40)
            .map(|i| (Voice::Kick, Millis(-12.0 + f64::from(i % 5))))
            .collect();
        strokes.push((Voice::Kick, Millis(80.0)));
        strokes.push((Voice::Crash, Millis(5.0)));
        let found = lateness(&strokes);
        assert_eq!(found.len(), 1);
        assert!(
            (found[0].late_ms.0 + 10.0).abs() < 1.01 && found[0].spread_ms.0 < 3.0,
            "{found:?}"
        );
    }
}
