//! Odds of every class at every onset -> strokes: which classes struck, read against the whole recording.
//!
//! In: one [`Odds`] an onset. Out: [`Stroke`]s in the order of their onsets, at least one each wherever anything at
//! all is likely. Two habits of recordings help. An onset without any likely class was still struck by something,
//! so its likeliest class takes it. And a drum that is on the kit strikes clearly now and then: a class that never
//! does needs much better odds (toms heard in tracks without toms are the commonest false alarm).

use super::classes::{Class, Odds};

/// Odds from which a class counts as struck.
const STRUCK: f32 = 0.45;
/// Odds from which a class that never strikes clearly counts as struck.
const STRUCK_IF_RARE: f32 = 0.8;
/// Odds of a clear stroke.
const CLEAR: f32 = 0.9;
/// Odds under which not even the likeliest class is named.
const LEAST: f32 = 0.08;
/// Onsets for each clear stroke that a class must have to count as on the kit.
const ONSETS_A_CLEAR_STROKE: usize = 150;

/// One class struck at one onset.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stroke {
    /// Which onset.
    pub(super) onset: usize,
    /// One of the main classes.
    pub(super) class: Class,
    /// How likely, 0 to 1.
    pub(super) odds: f32,
}

/// The strokes that the odds speak for.
pub(super) fn strokes(odds: &[Odds]) -> Vec<Stroke> {
    let thresholds = Class::MAIN.map(|class| {
        let clear = odds.iter().filter(|o| o.of(class) > CLEAR).count();
        if clear > odds.len() / ONSETS_A_CLEAR_STROKE {
            STRUCK
        } else {
            STRUCK_IF_RARE
        }
    });
    let mut strokes = Vec::new();
    for (onset, odds) in odds.iter().enumerate() {
        let stroke = |class: Class| Stroke {
            onset,
            class,
            odds: odds.of(class),
        };
        let named = strokes.len();
        let struck = Class::MAIN
            .into_iter()
            .zip(thresholds)
            .filter(|(class, least)| odds.of(*class) > *least);
        strokes.extend(struck.map(|(class, _)| stroke(class)));
        if strokes.len() == named {
            let relative = |(class, least): &(Class, f32)| odds.of(*class) / least;
            let likeliest = Class::MAIN
                .into_iter()
                .zip(thresholds)
                .max_by(|a, b| relative(a).total_cmp(&relative(b)));
            strokes.extend(
                likeliest
                    .map(|(class, _)| stroke(class))
                    .filter(|s| s.odds > LEAST),
            );
        }
    }
    strokes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn odds(kick: f32, tom: f32) -> Odds {
        Odds::from_main([kick, 0.0, tom, 0.0, 0.0])
    }

    #[test]
    fn classes_struck_together_are_strokes_of_one_onset() {
        let heard = strokes(&[odds(0.95, 0.96)]);
        let classes: Vec<Class> = heard.iter().map(|s| s.class).collect();
        assert_eq!(classes, [Class::Kick, Class::Tom]);
    }

    #[test]
    fn a_tom_that_never_strikes_clearly_is_not_on_the_kit() {
        let mut all = vec![odds(0.95, 0.6); 10];
        assert!(strokes(&all).iter().all(|s| s.class == Class::Kick));
        all.push(odds(0.0, 0.99));
        assert_eq!(strokes(&all).iter().filter(|s| s.class == Class::Tom).count(), 11);
    }

    #[test]
    fn an_onset_with_nothing_likely_takes_its_likeliest_class_unless_that_is_hopeless() {
        assert_eq!(strokes(&[odds(0.3, 0.1)]).len(), 1);
        assert_eq!(strokes(&[odds(0.05, 0.01)]).len(), 0);
    }
}
