//! Where each voice stands on the staff, with which head, and its key in General MIDI.
//!
//! Places and heads **[P: N. Weinberg, Guide to Standardized Drumset Notation, Percussive Arts Society, 1998]** for the
//! principle, single places \[M\]; keys **[P: General MIDI Level 1, MIDI Manufacturers Association RP-003]**, which has
//! no second snare: the electric snare stands for it \[C\].

use crate::names::Voice;

/// The shape of a notehead.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Shape {
    /// Round: drums.
    Round,
    /// An x: cymbals and sticks on rims.
    Cross,
    /// A square: the second snare \[M\].
    Square,
    /// A triangle: cowbell \[M\].
    Triangle,
    /// An x in a circle: what is none of the others \[M\].
    CircleCross,
}

impl Shape {
    /// Its name in MusicXML.
    pub fn musicxml(self) -> &'static str {
        match self {
            Shape::Round => "normal",
            Shape::Cross => "x",
            Shape::Square => "square",
            Shape::Triangle => "triangle",
            Shape::CircleCross => "circle-x",
        }
    }
}

/// How a voice is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Written {
    /// The place as a treble clef names it: 0 is C4, 1 is D4, 7 is C5.
    pub place: i64,
    /// Its head.
    pub shape: Shape,
    /// Its key in General MIDI.
    pub key: u8,
}

impl Written {
    /// The letter of its place.
    pub fn step(self) -> &'static str {
        let letters = ["C", "D", "E", "F", "G", "A", "B"];
        letters
            .get(self.place.rem_euclid(7) as usize)
            .copied()
            .unwrap_or("C")
    }

    /// The octave of its place.
    pub fn octave(self) -> i64 {
        4 + self.place.div_euclid(7)
    }
}

/// How a voice is written.
pub fn written(voice: Voice) -> Written {
    use Shape::{CircleCross, Cross, Round, Square, Triangle};
    let (place, shape, key) = match voice {
        Voice::HatFoot => (1, Cross, 44),
        Voice::KickLeft => (2, Round, 35),
        Voice::Kick => (3, Round, 36),
        Voice::TomFloor2 => (4, Round, 41),
        Voice::TomFloor => (5, Round, 43),
        Voice::TomLow => (6, Round, 45),
        Voice::Snare => (7, Round, 38),
        Voice::CrossStick => (7, Cross, 37),
        Voice::Snare2 => (7, Square, 40),
        Voice::TomMid => (8, Round, 47),
        Voice::TomHigh => (9, Round, 50),
        Voice::Cowbell => (9, Triangle, 56),
        // No key of the map means "something": the hand clap is the least like a drum of the kit [M].
        Voice::Other => (9, CircleCross, 39),
        Voice::Ride => (10, Cross, 51),
        Voice::RideBell => (10, Cross, 53),
        Voice::HatClosed => (11, Cross, 42),
        Voice::HatOpen => (11, Cross, 46),
        Voice::Crash => (12, Cross, 49),
        Voice::Crash2 => (13, Cross, 57),
        Voice::Splash => (14, Cross, 55),
        Voice::China => (14, Cross, 52),
    };
    Written { place, shape, key }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn every_voice_has_a_key_of_its_own() {
        let keys: BTreeSet<u8> = Voice::ALL.iter().map(|voice| written(*voice).key).collect();
        assert_eq!(keys.len(), Voice::ALL.len());
        assert!(keys.iter().all(|key| (35..=81).contains(key)));
    }

    #[test]
    fn the_snare_stands_in_the_third_space_and_the_foot_s_hat_below_the_staff() {
        let place = |voice| {
            let at = written(voice);
            format!("{}{}", at.step(), at.octave())
        };
        assert_eq!(
            (place(Voice::Snare), place(Voice::HatFoot)),
            ("C5".into(), "D4".into())
        );
        assert_eq!(
            (place(Voice::Kick), place(Voice::Ride)),
            ("F4".into(), "F5".into())
        );
        assert_eq!(
            (place(Voice::Crash2), place(Voice::China)),
            ("B5".into(), "C6".into())
        );
    }
}
