//! Rows of features -> how likely each class of voice was struck at each onset, read against the whole recording.
//!
//! In: rows as [`features::rows`](super::features::rows) gives them. Out: one [`Odds`] an onset. The network was
//! fitted on rendered performances only; its card stands beside its weights.

use super::network::Network;
use crate::listen::Sound;

/// The fitted weights; `weights.md` says what they were fitted on and how well they do.
const WEIGHTS: &[u8] = include_bytes!("weights.bin");

/// The classes that are always asked for, then those that part one of them further.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Class {
    Kick,
    Snare,
    Tom,
    Hat,
    Cymbal,
    CrossStick,
    HatOpen,
    HatFoot,
    RideBell,
    Crash,
}

impl Class {
    /// What the network listens for under this name.
    pub(super) fn sound(self) -> Sound {
        match self {
            Class::Kick => Sound::Kick,
            Class::Snare => Sound::Snare,
            Class::Tom => Sound::Tom,
            Class::Hat => Sound::Hat,
            Class::Cymbal => Sound::Cymbal,
            Class::CrossStick => Sound::CrossStick,
            Class::HatOpen => Sound::HatOpen,
            Class::HatFoot => Sound::HatFoot,
            Class::RideBell => Sound::RideBell,
            Class::Crash => Sound::Crash,
        }
    }

    /// All of them, in order.
    const ALL: [Class; Class::COUNT] = [
        Class::Kick,
        Class::Snare,
        Class::Tom,
        Class::Hat,
        Class::Cymbal,
        Class::CrossStick,
        Class::HatOpen,
        Class::HatFoot,
        Class::RideBell,
        Class::Crash,
    ];
    /// Classes that may strike together.
    pub(super) const MAIN: [Class; 5] = [Class::Kick, Class::Snare, Class::Tom, Class::Hat, Class::Cymbal];
    /// How many there are.
    pub(super) const COUNT: usize = Class::Crash as usize + 1;
}

/// Probabilities, 0 to 1, by class; those of the finer classes hold where their main class was struck.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Odds([f32; Class::COUNT]);

impl Odds {
    /// The probabilities that `of` gives for each sound.
    pub(super) fn heard(of: impl Fn(Sound) -> f32) -> Self {
        Odds(Class::ALL.map(|class| of(class.sound())))
    }

    /// The probability of `class`.
    pub(super) fn of(&self, class: Class) -> f32 {
        self.0[class as usize]
    }
}

#[cfg(test)]
impl Odds {
    /// Odds of the main classes only.
    pub(super) fn from_main(main: [f32; 5]) -> Self {
        let mut odds = Odds::default();
        odds.0.iter_mut().zip(main).for_each(|(o, m)| *o = m);
        odds
    }
}

/// Hears each row. Without a readable network nothing is likely.
pub(super) fn odds(rows: &[Vec<f32>]) -> Vec<Odds> {
    let network = Network::read(WEIGHTS);
    rows.iter()
        .map(|row| {
            let logits = network.as_ref().map_or_else(Vec::new, |n| n.logits(row));
            let mut odds = Odds::default();
            for (odd, logit) in odds.0.iter_mut().zip(logits) {
                *odd = 1.0 / (1.0 + (-logit).exp());
            }
            odds
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::voices::features::FEATURES;

    #[test]
    fn the_weights_fit_the_features_and_the_classes() {
        let network = Network::read(WEIGHTS).unwrap();
        assert_eq!(network.shape(), (FEATURES, Class::COUNT));
    }
}
