//! Keys, names and places on the staff -> voices.

use crate::names::Voice;

/// The voice of a key of the General MIDI percussion map **[P: General MIDI Level 1, MIDI Manufacturers Association
/// RP-003]**; which key stands for which of two alike drums is usual **[C]**.
pub(super) fn of_key(key: u8) -> Voice {
    match key {
        35 => Voice::KickLeft,
        36 => Voice::Kick,
        37 => Voice::CrossStick,
        38 => Voice::Snare,
        40 => Voice::Snare2,
        41 => Voice::TomFloor2,
        43 => Voice::TomFloor,
        45 => Voice::TomLow,
        47 | 48 => Voice::TomMid,
        50 => Voice::TomHigh,
        42 => Voice::HatClosed,
        44 => Voice::HatFoot,
        46 => Voice::HatOpen,
        49 => Voice::Crash,
        57 => Voice::Crash2,
        51 | 59 => Voice::Ride,
        53 => Voice::RideBell,
        55 => Voice::Splash,
        52 => Voice::China,
        56 => Voice::Cowbell,
        _ => Voice::Other,
    }
}

/// The voice of a place on the staff, as a treble clef names it, and whether the notehead is an x **[P: N. Weinberg,
/// Guide to Standardized Drumset Notation, Percussive Arts Society, 1998; single places M]**.
pub(super) fn of_place(step: &str, octave: i64, x: bool) -> Voice {
    match (step, octave, x) {
        ("D", 4, _) => Voice::HatFoot,
        ("E", 4, _) => Voice::KickLeft,
        ("F", 4, _) => Voice::Kick,
        ("G", 4, _) => Voice::TomFloor2,
        ("A", 4, _) => Voice::TomFloor,
        ("B", 4, _) => Voice::TomLow,
        ("C", 5, true) => Voice::CrossStick,
        ("C", 5, false) => Voice::Snare,
        ("D", 5, false) => Voice::TomMid,
        ("E", 5, false) => Voice::TomHigh,
        ("F", 5, true) => Voice::Ride,
        ("F", 5, false) => Voice::TomHigh,
        ("G", 5, true) => Voice::HatClosed,
        ("A", 5, _) => Voice::Crash,
        ("B", 5, _) => Voice::Crash2,
        ("C", 6, _) => Voice::China,
        _ => Voice::Other,
    }
}

/// The voice that an instrument's name says, if it says one: `snare_2`, `Snare 2`, `Ride bell`.
pub(super) fn of_name(name: &str) -> Option<Voice> {
    let plain = name.trim().to_lowercase().replace([' ', '-'], "_");
    plain.parse().ok()
}
