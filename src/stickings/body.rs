//! Kit and body: which limb may play which voice, and where things stand.
//!
//! In: what a player says of kit and body ([`BodyTables`], further tables of the kit file). Out: [`Body`], a plain value with an
//! answer for every voice. Places are metres from the middle of the player's seat: to the right, and to the front.
//! The default is a right-handed player at a usual kit \[C\], its distances from memory \[M\]; `handed = "left"` mirrors
//! limbs and places in one word.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::names::{Limb, UnknownName, Voice};

/// Nothing on a kit stands further away than this (m) [M].
const FURTHEST: f64 = 2.0;

/// Which way round the kit stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Handed {
    /// The right hand leads on ride, floor tom and hats, the right foot plays the kick.
    #[default]
    Right,
    /// The same, mirrored.
    Left,
}

/// A set of limbs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Limbs(u8);

impl Limbs {
    /// Either hand.
    pub const HANDS: Limbs = Limbs(0b0011);

    /// These limbs.
    pub fn of(limbs: &[Limb]) -> Limbs {
        Limbs(limbs.iter().fold(0, |set, limb| set | bit(*limb)))
    }

    /// These and one more.
    pub fn with(self, limb: Limb) -> Limbs {
        Limbs(self.0 | bit(limb))
    }

    /// Whether a limb is in it.
    pub fn has(self, limb: Limb) -> bool {
        self.0 & bit(limb) != 0
    }

    /// Whether there is none in it.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Those in it, hands first.
    pub fn list(self) -> Vec<Limb> {
        Limb::ALL.iter().copied().filter(|limb| self.has(*limb)).collect()
    }
}

fn bit(limb: Limb) -> u8 {
    match limb {
        Limb::RightHand => 1,
        Limb::LeftHand => 2,
        Limb::RightFoot => 4,
        Limb::LeftFoot => 8,
    }
}

/// The same limb on the other side.
pub fn mirrored(limb: Limb) -> Limb {
    match limb {
        Limb::RightHand => Limb::LeftHand,
        Limb::LeftHand => Limb::RightHand,
        Limb::RightFoot => Limb::LeftFoot,
        Limb::LeftFoot => Limb::RightFoot,
    }
}

/// How one voice is reached.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// The limbs that may play it; never empty, and never hands and feet together.
    pub limbs: Limbs,
    /// The hand that plays it when nothing speaks against it.
    pub lead: Option<Limb>,
    /// Where it stands: metres to the right and to the front of the seat.
    pub at: (f64, f64),
}

/// Kit and body.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Body {
    /// Which way round.
    pub handed: Handed,
    /// Whether either foot may play the kick.
    pub double_pedal: bool,
    /// Whether the kit has each voice, and how it is reached, in the order of [`Voice::ALL`].
    reach: [(bool, Reach); Voice::ALL.len()],
}

/// What is wrong with the kit file's tables about limbs and places.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BadBody {
    /// A table is named by no voice.
    #[error("reach.{}: {unknown}", .unknown.given)]
    Voice {
        /// The name given and those that would do.
        unknown: UnknownName,
    },
    /// No limb is left that could play a voice.
    #[error("reach.{voice}.limbs: nobody may play the {voice}; name RH, LH, RF or LF, or write have = false")]
    Nobody {
        /// The voice.
        voice: Voice,
    },
    /// Hands and feet for one voice.
    #[error(
        "reach.{voice}.limbs: {given} mixes hands and feet; a pedal is a voice of its own (hat_foot, kick_left)"
    )]
    HandsAndFeet {
        /// The voice.
        voice: Voice,
        /// What was given.
        given: String,
    },
    /// A lead that may not play.
    #[error("reach.{voice}.lead: {lead} is not among its limbs ({limbs}); name one of them")]
    Lead {
        /// The voice.
        voice: Voice,
        /// The lead given.
        lead: Limb,
        /// The limbs that may play.
        limbs: String,
    },
    /// A place out of reach.
    #[error("reach.{voice}.at: [{}, {}] is out of reach; write metres to the right and to the front, at most {FURTHEST} each", .at[0], .at[1])]
    Place {
        /// The voice.
        voice: Voice,
        /// The place given.
        at: [f64; 2],
    },
}

/// The kit file's tables about limbs and places, as they stand in it.
///
/// ```toml
/// [body]
/// handed = "left"
/// double_pedal = true
/// [reach.snare_2]
/// limbs = ["LH"]
/// at = [-0.6, 0.4]
/// ```
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BodyTables {
    /// The player.
    #[serde(default)]
    pub body: PlayerTable,
    /// What is other than usual, voice by voice.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub reach: BTreeMap<String, ReachTable>,
}

/// The table `[body]`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlayerTable {
    /// Which way round the kit stands.
    #[serde(default)]
    pub handed: Handed,
    /// Whether either foot may play the kick.
    #[serde(default)]
    pub double_pedal: bool,
}

/// One table `[reach.VOICE]`; what it leaves out is as usual for the voice.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReachTable {
    /// Whether the kit has it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub have: Option<bool>,
    /// The limbs that may play it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limbs: Option<Vec<Limb>>,
    /// The hand that plays it when nothing speaks against it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lead: Option<Limb>,
    /// Where it stands: metres to the right and to the front of the seat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<[f64; 2]>,
}

impl Default for Body {
    fn default() -> Self {
        Body {
            handed: Handed::Right,
            double_pedal: false,
            reach: std::array::from_fn(|at| (true, Voice::ALL.get(at).map_or(USUAL, |voice| usual(*voice)))),
        }
    }
}

const USUAL: Reach = Reach {
    limbs: Limbs::HANDS,
    lead: None,
    at: (0.0, 0.4),
};

/// A right-handed kit [C], distances [M]; the right hand leads on ride, floor tom and hats (TRADE 7).
fn usual(voice: Voice) -> Reach {
    let hands = |lead, at| Reach {
        limbs: Limbs::HANDS,
        lead,
        at,
    };
    let foot = |limb, at| Reach {
        limbs: Limbs::of(&[limb]),
        lead: Some(limb),
        at,
    };
    let right = Some(Limb::RightHand);
    match voice {
        Voice::Kick => foot(Limb::RightFoot, (0.15, 0.5)),
        Voice::KickLeft => foot(Limb::LeftFoot, (-0.05, 0.5)),
        Voice::HatFoot => foot(Limb::LeftFoot, (-0.4, 0.4)),
        Voice::Snare | Voice::CrossStick => hands(None, (-0.05, 0.3)),
        Voice::Snare2 => hands(None, (-0.4, 0.3)),
        Voice::TomHigh => hands(None, (-0.1, 0.6)),
        Voice::TomMid => hands(None, (0.2, 0.6)),
        Voice::TomLow => hands(None, (0.4, 0.6)),
        Voice::TomFloor => hands(right, (0.6, 0.25)),
        Voice::TomFloor2 => hands(right, (0.85, 0.1)),
        Voice::HatClosed | Voice::HatOpen => hands(right, (-0.4, 0.4)),
        Voice::Ride | Voice::RideBell => hands(right, (0.6, 0.55)),
        Voice::Crash => hands(None, (-0.4, 0.75)),
        Voice::Crash2 => hands(right, (0.5, 0.8)),
        Voice::Splash => hands(None, (0.0, 0.8)),
        Voice::China => hands(right, (0.9, 0.6)),
        Voice::Cowbell => hands(right, (0.1, 0.7)),
        Voice::Other => USUAL,
    }
}

impl Reach {
    fn mirrored(self) -> Reach {
        Reach {
            limbs: Limbs::of(&self.limbs.list().into_iter().map(mirrored).collect::<Vec<_>>()),
            lead: self.lead.map(mirrored),
            at: (-self.at.0, self.at.1),
        }
    }
}

impl Body {
    /// A usual kit that stands this way round.
    pub fn handed(handed: Handed) -> Body {
        let body = Body::default();
        match handed {
            Handed::Right => body,
            Handed::Left => Body {
                handed,
                reach: body.reach.map(|(have, reach)| (have, reach.mirrored())),
                ..body
            },
        }
    }

    /// Whether the kit has a voice.
    pub fn has(&self, voice: Voice) -> bool {
        self.entry(voice).0
    }

    /// How a voice is reached.
    pub fn reach(&self, voice: Voice) -> Reach {
        self.entry(voice).1
    }

    /// The limbs that may play a voice.
    pub fn limbs(&self, voice: Voice) -> Limbs {
        self.reach(voice).limbs
    }

    fn entry(&self, voice: Voice) -> (bool, Reach) {
        self.reach.get(index(voice)).copied().unwrap_or((true, USUAL))
    }
}

/// Its place in [`Voice::ALL`], which lists the voices as they are declared.
fn index(voice: Voice) -> usize {
    voice as usize
}

impl TryFrom<BodyTables> for Body {
    type Error = BadBody;

    fn try_from(tables: BodyTables) -> Result<Body, BadBody> {
        let mut body = Body::handed(tables.body.handed);
        body.double_pedal = tables.body.double_pedal;
        if body.double_pedal
            && let Some((_, kick)) = body.reach.get_mut(index(Voice::Kick))
        {
            kick.limbs = Limbs::of(&[Limb::RightFoot, Limb::LeftFoot]);
        }
        for (name, table) in &tables.reach {
            let voice: Voice = name.parse().map_err(|unknown| BadBody::Voice { unknown })?;
            if let Some((have, reach)) = body.reach.get_mut(index(voice)) {
                *have = table.have.unwrap_or(true);
                table.change(voice, reach)?;
            }
        }
        Ok(body)
    }
}

impl ReachTable {
    fn change(&self, voice: Voice, reach: &mut Reach) -> Result<(), BadBody> {
        if let Some(limbs) = &self.limbs {
            let set = Limbs::of(limbs);
            let hands = set.has(Limb::RightHand) || set.has(Limb::LeftHand);
            let feet = set.has(Limb::RightFoot) || set.has(Limb::LeftFoot);
            if set.is_empty() {
                return Err(BadBody::Nobody { voice });
            }
            if hands && feet {
                return Err(BadBody::HandsAndFeet {
                    voice,
                    given: named(set),
                });
            }
            reach.limbs = set;
            reach.lead = reach.lead.filter(|lead| set.has(*lead));
        }
        if let Some(lead) = self.lead {
            if !reach.limbs.has(lead) {
                let limbs = named(reach.limbs);
                return Err(BadBody::Lead { voice, lead, limbs });
            }
            reach.lead = Some(lead);
        }
        if let Some(at) = self.at {
            // A place that is no number is out of reach as well.
            if !at.iter().all(|x| x.abs() <= FURTHEST) {
                return Err(BadBody::Place { voice, at });
            }
            reach.at = (at[0], at[1]);
        }
        Ok(())
    }
}

fn named(limbs: Limbs) -> String {
    let names: Vec<&str> = limbs.list().iter().map(|limb| limb.name()).collect();
    names.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(json: &str) -> Result<Body, String> {
        let tables: BodyTables = serde_json::from_str(json).map_err(|e| e.to_string())?;
        Body::try_from(tables).map_err(|e| e.to_string())
    }

    #[test]
    fn nothing_said_is_a_right_handed_player_at_a_usual_kit() {
        let body = read("{}").unwrap();
        assert_eq!(body, Body::default());
        assert_eq!(body.limbs(Voice::Kick).list(), [Limb::RightFoot]);
        assert_eq!(body.reach(Voice::Ride).lead, Some(Limb::RightHand));
    }

    #[test]
    fn one_word_mirrors_limbs_and_places_and_twice_is_as_before() {
        let left = read(r#"{"body": {"handed": "left"}}"#).unwrap();
        for &voice in Voice::ALL {
            let (usual, reach) = (Body::default().reach(voice), left.reach(voice));
            assert_eq!(reach.mirrored(), usual, "{voice}");
            assert_eq!(reach.at.0, -usual.at.0, "{voice}");
        }
        assert_eq!(left.limbs(Voice::Kick).list(), [Limb::LeftFoot]);
        assert_eq!(left.reach(Voice::Ride).lead, Some(Limb::LeftHand));
    }

    #[test]
    fn what_is_said_of_a_voice_replaces_the_usual() {
        let body = read(
            r#"{"body": {"double_pedal": true},
                "reach": {"snare_2": {"limbs": ["RH"], "at": [0.5, 0.2]}, "ride": {"limbs": ["LH"]}, "china": {"have": false}}}"#,
        )
        .unwrap();
        assert_eq!(body.reach(Voice::Snare2).limbs.list(), [Limb::RightHand]);
        assert_eq!(
            body.reach(Voice::Snare2).lead,
            None,
            "a lead that may not play leads no more"
        );
        assert_eq!(body.reach(Voice::Snare2).at, (0.5, 0.2));
        assert_eq!(body.limbs(Voice::Kick).list(), [Limb::RightFoot, Limb::LeftFoot]);
        assert!(!body.has(Voice::China) && body.has(Voice::Crash));
    }

    #[test]
    fn every_mistake_is_named_with_its_place_and_a_remedy() {
        let said = |json: &str| read(json).unwrap_err();
        for (json, words) in [
            (
                r#"{"reach": {"snair": {}}}"#,
                "reach.snair: voice \"snair\" is unknown; use one of: kick",
            ),
            (
                r#"{"reach": {"ride": {"limbs": []}}}"#,
                "reach.ride.limbs: nobody may play the ride; name RH",
            ),
            (
                r#"{"reach": {"snare": {"limbs": ["RF", "LH"]}}}"#,
                "reach.snare.limbs: LH, RF mixes hands and feet",
            ),
            (
                r#"{"reach": {"snare": {"lead": "RF"}}}"#,
                "reach.snare.lead: RF is not among its limbs (RH, LH)",
            ),
            (
                r#"{"reach": {"snare": {"at": [5, 0]}}}"#,
                "reach.snare.at: [5, 0] is out of reach; write metres",
            ),
            (
                r#"{"reach": {"snare": {"limbs": ["XH"]}}}"#,
                "unknown variant `XH`",
            ),
            (r#"{"body": {"handed": "both"}}"#, "unknown variant `both`"),
            (r#"{"body": {"feet": 2}}"#, "unknown field `feet`"),
        ] {
            assert!(said(json).contains(words), "{json}: {}", said(json));
        }
    }

    #[test]
    fn a_voice_stands_at_its_own_index() {
        for (at, &voice) in Voice::ALL.iter().enumerate() {
            assert_eq!(index(voice), at);
        }
    }
}
