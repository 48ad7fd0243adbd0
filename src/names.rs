//! The words of the trade that files use as names: voices, marks, limbs and layers.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// A name in a file that is not one of those this program knows.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{kind} {given:?} is unknown; use one of: {known}")]
pub struct UnknownName {
    /// What kind of name it is: `voice`, `mark`, …
    pub kind: &'static str,
    /// The name given.
    pub given: String,
    /// The names that would do.
    pub known: String,
}

/// Declares an enum whose variants have one name each in files, with parsing, printing and the full list.
macro_rules! named {
    ($(#[$doc:meta])* $kind:literal $name:ident { $($(#[$vdoc:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum $name {
            $($(#[$vdoc])* #[serde(rename = $text)] $variant),+
        }

        impl $name {
            /// All of them, in the order of this declaration.
            pub const ALL: &'static [$name] = &[$($name::$variant),+];

            /// The name that files use.
            pub fn name(self) -> &'static str {
                match self {
                    $($name::$variant => $text),+
                }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(self.name())
            }
        }

        impl FromStr for $name {
            type Err = UnknownName;
            fn from_str(text: &str) -> Result<Self, UnknownName> {
                Self::ALL.iter().copied().find(|v| v.name() == text).ok_or_else(|| UnknownName {
                    kind: $kind,
                    given: text.to_owned(),
                    known: Self::ALL.iter().map(|v| v.name()).collect::<Vec<_>>().join(", "),
                })
            }
        }
    };
}
named!(
    /// A drum or cymbal, in the order in which charts and scores list them from the floor up.
    "voice" Voice {
        /// The kick, or the right one of two.
        Kick = "kick",
        /// The left kick, or the left beater of a double pedal.
        KickLeft = "kick_left",
        /// The main snare.
        Snare = "snare",
        /// The second snare.
        Snare2 = "snare_2",
        /// The stick laid across the snare's rim.
        CrossStick = "cross_stick",
        /// The highest tom.
        TomHigh = "tom_high",
        /// The middle tom.
        TomMid = "tom_mid",
        /// The lowest rack tom.
        TomLow = "tom_low",
        /// The floor tom.
        TomFloor = "tom_floor",
        /// The lower of two floor toms.
        TomFloor2 = "tom_floor_2",
        /// Hats struck while closed.
        HatClosed = "hat_closed",
        /// Hats struck while open.
        HatOpen = "hat_open",
        /// Hats closed by the foot.
        HatFoot = "hat_foot",
        /// The ride cymbal on its bow.
        Ride = "ride",
        /// The ride cymbal's bell.
        RideBell = "ride_bell",
        /// The main crash.
        Crash = "crash",
        /// The second crash.
        Crash2 = "crash_2",
        /// A splash.
        Splash = "splash",
        /// A china.
        China = "china",
        /// A cowbell.
        Cowbell = "cowbell",
        /// Something struck that is none of these.
        Other = "other",
    }
);

named!(
    /// What sets a stroke apart from the plain ones of its voice.
    "mark" Mark {
        /// Above the level around it.
        Accent = "accent",
        /// Below the level around it.
        Ghost = "ghost",
        /// One grace stroke just before it.
        Flam = "flam",
        /// Two grace strokes just before it.
        Drag = "drag",
    }
);

named!(
    /// A limb.
    "limb" Limb {
        /// Right hand.
        RightHand = "RH",
        /// Left hand.
        LeftHand = "LH",
        /// Right foot.
        RightFoot = "RF",
        /// Left foot.
        LeftFoot = "LF",
    }
);

named!(
    /// Which line of the music a stroke belongs to.
    "layer" Layer {
        /// The repeating figure.
        Ostinato = "ostinato",
        /// The freer line over it.
        Solo = "solo",
    }
);

impl Voice {
    /// As a player says it.
    pub fn said(self) -> &'static str {
        match self {
            Voice::Kick => "kick",
            Voice::KickLeft => "left kick",
            Voice::Snare => "snare",
            Voice::Snare2 => "snare 2",
            Voice::CrossStick => "cross-stick",
            Voice::TomHigh => "high tom",
            Voice::TomMid => "mid tom",
            Voice::TomLow => "low tom",
            Voice::TomFloor => "floor tom",
            Voice::TomFloor2 => "floor tom 2",
            Voice::HatClosed => "hat closed",
            Voice::HatOpen => "hat open",
            Voice::HatFoot => "hat foot",
            Voice::Ride => "ride",
            Voice::RideBell => "ride bell",
            Voice::Crash => "crash",
            Voice::Crash2 => "crash 2",
            Voice::Splash => "splash",
            Voice::China => "china",
            Voice::Cowbell => "cowbell",
            Voice::Other => "other",
        }
    }
}

impl Limb {
    /// As a player says it.
    pub fn said(self) -> &'static str {
        match self {
            Limb::RightHand => "right hand",
            Limb::LeftHand => "left hand",
            Limb::RightFoot => "right foot",
            Limb::LeftFoot => "left foot",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_voice_reads_back_from_its_own_name() {
        for &voice in Voice::ALL {
            assert_eq!(voice.name().parse(), Ok(voice));
        }
    }

    #[test]
    fn an_unknown_voice_is_refused_with_the_list_of_those_that_would_do() {
        let error = "snair".parse::<Voice>().unwrap_err().to_string();
        assert!(error.contains("snair") && error.contains("snare_2"), "{error}");
    }
}
