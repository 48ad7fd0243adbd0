//! The three invented tunes.

use overbar::names::{Limb, Voice};
use overbar::practice::drums::Character;
use overbar::units::Seconds;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::cells::{Cell, FreeLine, Notes};
use crate::score::{Figure, Tune};
use crate::{Clip, Sound};

/// Cells for a hand and a foot of the same side; the hand is `L` or `R`.
const LEFT_SIDE: &[Cell] = &[
    ("LLF", "LLF"),
    ("LF-", "LF-"),
    ("L-LF", "L-LF"),
    ("LFFL", "LFFL"),
    ("LFLL-", "LFLL-"),
    ("L-LFLF", "L-LFLF"),
    ("LLFLF-F", "LLFLF-F"),
];
const RIGHT_SIDE: &[Cell] = &[
    ("RRF", "RRF"),
    ("R-F", "R-F"),
    ("RF-R", "RF-R"),
    ("RFRRF", "RFRRF"),
    ("R-RF-F", "R-RF-F"),
    ("RRFR-FF-", "RRFR-FF-"),
];
/// Cells for two hands and the right foot.
const HANDS_AND_FOOT: &[Cell] = &[
    ("RLL", "RLL"),
    ("RLF", "RLF"),
    ("RLFF", "RLFF"),
    ("RLRR", "RLRR"),
    ("RLRLF", "RLRLF"),
    ("RLRRLL", "RLRRLL"),
    ("RLLRRL", "RLLRRL"),
    ("RLRLLF", "RLRLLF"),
];

/// A figure of ten sixteenths on the ride's bell and the kick under a free left side: home every five bars.
pub(crate) fn paper_lanterns() -> Clip {
    let (bars, bar) = (20, 16);
    let mut random = ChaCha8Rng::seed_from_u64(1016);
    let mut notes = Notes::default();
    for n in 0..bars {
        let one = n * bar;
        match n % 4 {
            0 => notes.put(one, Limb::LeftHand, Voice::Crash, 0.95),
            _ => notes.put(one, Limb::LeftHand, Voice::Snare, 0.92),
        }
        for beat in [1, 3] {
            notes.put(one + beat * 4, Limb::LeftFoot, Voice::HatFoot, 0.74);
        }
        if random.random_bool(0.6) {
            notes.put(one + 12, Limb::LeftHand, Voice::Snare, 0.90);
        }
    }
    let line = FreeLine {
        cells: LEFT_SIDE,
        right: &[],
        left: &[
            Voice::Snare,
            Voice::Snare2,
            Voice::TomHigh,
            Voice::TomMid,
            Voice::Snare,
        ],
        foot: (Limb::LeftFoot, Voice::HatFoot),
        bar,
        steps: bars * bar,
    };
    let cells = line.fill(&mut notes, &mut random);
    notes.put(bars * bar, Limb::LeftHand, Voice::Crash, 0.97);
    notes.put(bars * bar, Limb::RightFoot, Voice::Kick, 0.90);
    Tune {
        name: "paper-lanterns",
        bpm: 116.0,
        beats: 4,
        steps_per_beat: 4,
        bars,
        figure: Some(Figure {
            text: "ABB-AAB-A-",
            hand: (Voice::RideBell, Limb::RightHand),
            foot: (Voice::Kick, Limb::RightFoot),
        }),
        free: notes.list(),
        cells,
        sound: Sound {
            kit: "plain",
            character: Character::PLAIN,
            seed: 1016,
            length: Seconds(0.0),
            rate: 44_100,
            stereo: false,
        },
    }
    .played()
}

/// A figure of seven eighth-triplets on the snare and the hats' pedal in 3/4 under a free right side: home every seven
/// bars.
pub(crate) fn harbour_steps() -> Clip {
    let (bars, bar) = (18, 9);
    let mut random = ChaCha8Rng::seed_from_u64(709);
    let mut notes = Notes::default();
    for n in 0..bars {
        let one = n * bar;
        notes.put(one, Limb::RightFoot, Voice::Kick, 0.88);
        match n % 4 {
            0 => notes.put(one, Limb::RightHand, Voice::Crash2, 0.93),
            _ => notes.put(one, Limb::RightHand, Voice::TomFloor, 0.88),
        }
        for beat in [1, 2] {
            notes.put(one + beat * 3, Limb::RightHand, Voice::Ride, 0.70);
        }
    }
    let line = FreeLine {
        cells: RIGHT_SIDE,
        right: &[
            Voice::Ride,
            Voice::TomHigh,
            Voice::TomFloor,
            Voice::TomMid,
            Voice::Ride,
        ],
        left: &[],
        foot: (Limb::RightFoot, Voice::Kick),
        bar,
        steps: bars * bar,
    };
    let cells = line.fill(&mut notes, &mut random);
    notes.put(bars * bar, Limb::RightHand, Voice::Crash2, 0.95);
    notes.put(bars * bar, Limb::RightFoot, Voice::Kick, 0.90);
    Tune {
        name: "harbour-steps",
        bpm: 132.0,
        beats: 3,
        steps_per_beat: 3,
        bars,
        figure: Some(Figure {
            text: "ABB-A-B",
            hand: (Voice::Snare, Limb::LeftHand),
            foot: (Voice::HatFoot, Limb::LeftFoot),
        }),
        free: notes.list(),
        cells,
        sound: Sound {
            kit: "dry",
            character: Character::DRY,
            seed: 709,
            length: Seconds(0.0),
            rate: 32_000,
            stereo: true,
        },
    }
    .played()
}

/// A solo without a figure: cells of both hands and the right foot on sixteenth-triplets, the hats on two and four.
pub(crate) fn salt_road() -> Clip {
    let (bars, bar) = (9, 24);
    let mut random = ChaCha8Rng::seed_from_u64(88);
    let mut notes = Notes::default();
    for n in 0..bars {
        let one = n * bar;
        notes.put(one, Limb::RightFoot, Voice::Kick, 0.90);
        match n % 4 {
            0 => notes.put(one, Limb::RightHand, Voice::Crash, 0.95),
            _ => notes.put(one, Limb::RightHand, Voice::TomFloor, 0.92),
        }
        for beat in [1, 3] {
            notes.put(one + beat * 6, Limb::LeftFoot, Voice::HatFoot, 0.76);
            notes.put(one + beat * 6, Limb::LeftHand, Voice::Snare, 0.88);
        }
        // Every fourth bar ends in a fill down the toms.
        if n % 4 == 3 {
            let fill = [
                Voice::TomHigh,
                Voice::TomHigh,
                Voice::TomMid,
                Voice::TomMid,
                Voice::TomFloor,
                Voice::TomFloor,
            ];
            for (i, voice) in fill.into_iter().enumerate() {
                let hand = if i % 2 == 0 {
                    Limb::RightHand
                } else {
                    Limb::LeftHand
                };
                notes.put(one + 18 + i, hand, voice, 0.80);
            }
        }
    }
    let line = FreeLine {
        cells: HANDS_AND_FOOT,
        right: &[Voice::Snare, Voice::TomFloor, Voice::TomMid, Voice::HatClosed],
        left: &[Voice::Snare, Voice::TomHigh, Voice::Snare],
        foot: (Limb::RightFoot, Voice::Kick),
        bar,
        steps: bars * bar,
    };
    let cells = line.fill(&mut notes, &mut random);
    notes.put(bars * bar, Limb::RightHand, Voice::Crash, 0.97);
    notes.put(bars * bar, Limb::RightFoot, Voice::Kick, 0.90);
    Tune {
        name: "salt-road",
        bpm: 88.0,
        beats: 4,
        steps_per_beat: 6,
        bars,
        figure: None,
        free: notes.list(),
        cells,
        sound: Sound {
            kit: "dry",
            character: Character::DRY,
            seed: 88,
            length: Seconds(0.0),
            rate: 22_050,
            stereo: false,
        },
    }
    .played()
}
