//! A player's kit and level: voices moved to what the kit has, and easier lines that keep the figure whole.

use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::body::Body;
use super::report::{Cell, Easier};
use super::{Found, Played};
use crate::names::{Limb, Voice};

/// How much of the free line is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// The cells learnt first, so many of them.
    Cells(u32),
    /// The limb that has most to do.
    Limb(Limb),
    /// Accents.
    Accents,
}

/// A level that nobody can play at.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "{0:?} is no easier line; use accents, a limb (RH, LH, RF, LF), or how many of the cells to learn first, such as 2"
)]
pub struct BadLevel(String);

impl FromStr for Level {
    type Err = BadLevel;

    fn from_str(text: &str) -> Result<Level, BadLevel> {
        let bad = || BadLevel(text.to_owned());
        if text == "accents" {
            return Ok(Level::Accents);
        }
        if let Ok(count) = text.parse::<u32>() {
            return Some(count)
                .filter(|count| *count > 0)
                .map(Level::Cells)
                .ok_or_else(bad);
        }
        text.to_uppercase().parse().map(Level::Limb).map_err(|_| bad())
    }
}

impl Level {
    /// What is left, in words.
    pub fn name(self, cells: &[Cell]) -> String {
        match self {
            Level::Cells(count) => {
                let names: Vec<&str> = cells
                    .iter()
                    .take(count as usize)
                    .map(|cell| cell.cell.as_str())
                    .collect();
                format!("{} only", names.join(", "))
            }
            Level::Limb(limb) => format!("{limb} only"),
            Level::Accents => "accents only".to_owned(),
        }
    }
}

/// For each hit whether it is played at this level. The figure always is.
pub fn kept(hits: &[Played], found: &Found, level: Level) -> Vec<bool> {
    let kept = |(at, hit): (usize, &Played)| {
        hit.figure.is_some()
            || match level {
                Level::Cells(count) => {
                    let cell = found.cells.get(at).copied().flatten();
                    cell.is_some_and(|cell| cell < count as usize)
                }
                Level::Limb(limb) => found.limbs.get(at) == Some(&Some(limb)),
                Level::Accents => hit.accent,
            }
    };
    hits.iter().enumerate().map(kept).collect()
}

/// The easier lines that a solo has, those that keep most first.
pub(super) fn easier(hits: &[Played], found: &Found) -> Vec<Easier> {
    let free = hits.iter().filter(|hit| hit.figure.is_none()).count();
    let mut levels: Vec<Level> = (1..found.stickings.vocabulary.len() as u32)
        .map(Level::Cells)
        .collect();
    let count = |limb: &Limb| {
        let free = hits
            .iter()
            .zip(&found.limbs)
            .filter(|(hit, _)| hit.figure.is_none());
        free.filter(|(_, played)| **played == Some(*limb)).count()
    };
    let busiest = Limb::ALL
        .iter()
        .max_by_key(|limb| (count(limb), std::cmp::Reverse(**limb)));
    levels.extend(busiest.copied().map(Level::Limb));
    levels.push(Level::Accents);
    let line = |level: Level| {
        let kept = kept(hits, found, level);
        let left = hits
            .iter()
            .zip(kept)
            .filter(|(hit, kept)| hit.figure.is_none() && *kept)
            .count();
        Easier {
            name: level.name(&found.stickings.vocabulary),
            level,
            share: left as f64 / free.max(1) as f64,
        }
    };
    let mut lines: Vec<Easier> = levels
        .into_iter()
        .map(line)
        .filter(|line| line.share > 0.0)
        .collect();
    lines.sort_by(|a, b| b.share.total_cmp(&a.share));
    lines
}

/// Where a voice goes that the kit lacks: what sounds or lies most like it first [C].
fn instead(voice: Voice) -> &'static [Voice] {
    match voice {
        Voice::KickLeft => &[Voice::Kick],
        Voice::Snare2 => &[Voice::TomHigh, Voice::TomMid, Voice::Snare],
        Voice::CrossStick => &[Voice::Snare],
        Voice::TomHigh => &[Voice::TomMid, Voice::TomLow, Voice::Snare],
        Voice::TomMid => &[Voice::TomHigh, Voice::TomLow, Voice::TomFloor],
        Voice::TomLow => &[Voice::TomMid, Voice::TomFloor, Voice::TomHigh],
        Voice::TomFloor => &[Voice::TomFloor2, Voice::TomLow, Voice::TomMid],
        Voice::TomFloor2 => &[Voice::TomFloor, Voice::TomLow],
        Voice::HatOpen => &[Voice::HatClosed, Voice::Crash],
        Voice::HatClosed => &[Voice::HatOpen, Voice::Ride],
        Voice::Ride => &[Voice::RideBell, Voice::HatClosed, Voice::Crash],
        Voice::RideBell => &[Voice::Ride, Voice::Cowbell, Voice::HatClosed],
        Voice::Crash => &[Voice::Crash2, Voice::China, Voice::Ride],
        Voice::Crash2 => &[Voice::Crash, Voice::China, Voice::Ride],
        Voice::Splash => &[Voice::Crash, Voice::Crash2, Voice::Ride],
        Voice::China => &[Voice::Crash2, Voice::Crash, Voice::Ride],
        Voice::Cowbell => &[Voice::RideBell, Voice::CrossStick, Voice::Ride],
        Voice::HatFoot | Voice::Kick | Voice::Snare | Voice::Other => &[],
    }
}

/// Each hit's voice on this kit; `None` where nothing there could stand for it. What the kit lacks goes to the first
/// that it has and that nobody else strikes on the same step; a double pedal's left beater goes to the one kick.
pub fn to_kit(hits: &[Played], body: &Body) -> Vec<Option<Voice>> {
    let has = |voice: Voice| body.has(voice) && (voice != Voice::KickLeft || body.double_pedal);
    let struck = |voice: Voice, at: usize| {
        let Some(step) = hits.get(at).and_then(|hit| hit.step) else {
            return false;
        };
        let near = hits.iter().skip(at.saturating_sub(8)).take(17);
        near.filter(|hit| hit.step == Some(step))
            .any(|hit| hit.voice == voice)
    };
    let moved = |(at, hit): (usize, &Played)| {
        if has(hit.voice) {
            return Some(hit.voice);
        }
        let places = || instead(hit.voice).iter().copied().filter(|voice| has(*voice));
        places()
            .find(|voice| !struck(*voice, at))
            .or_else(|| places().next())
    };
    hits.iter().enumerate().map(moved).collect()
}
