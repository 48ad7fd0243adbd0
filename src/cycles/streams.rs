//! Rows of strokes -> [`Stream`]s: single voices, voices that an ear may mistake for one another taken as one, limbs
//! and pairs of limbs that a player's kit names, accents alone, and the whole line.

use super::Carrier;
use super::strokes::{FEWEST_STROKES, Row, Taken};
use crate::names::{Limb, Voice};

/// Voices that are easily taken for one another; each row may be heard as one stream.
const ALIKE: [&[Voice]; 7] = [
    &[Voice::Kick, Voice::KickLeft],
    &[Voice::Snare, Voice::Snare2, Voice::CrossStick],
    &[
        Voice::TomHigh,
        Voice::TomMid,
        Voice::TomLow,
        Voice::TomFloor,
        Voice::TomFloor2,
    ],
    &[Voice::HatClosed, Voice::HatOpen],
    &[Voice::HatClosed, Voice::HatOpen, Voice::HatFoot],
    &[Voice::Ride, Voice::RideBell, Voice::Cowbell],
    &[
        Voice::HatClosed,
        Voice::HatOpen,
        Voice::Ride,
        Voice::RideBell,
        Voice::Crash,
        Voice::Crash2,
        Voice::Splash,
        Voice::China,
        Voice::Cowbell,
    ],
];

/// Whether two voices are easily taken for one another.
pub(super) fn alike(a: Voice, b: Voice) -> bool {
    a == b || ALIKE.iter().any(|row| row.contains(&a) && row.contains(&b))
}

/// The steps that one voice, or several taken as one, are struck on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Stream {
    /// Its voices.
    pub(super) voices: Vec<Voice>,
    /// What of them is meant.
    pub(super) carrier: Carrier,
    /// 1 on every step that is struck.
    pub(super) hit: Vec<u8>,
    /// Stretches that an earlier figure already explains.
    pub(super) taken: Vec<(usize, usize)>,
}

impl Stream {
    /// Whether a figure already explains more than a tenth of these steps.
    pub(super) fn is_taken(&self, from: usize, to: usize) -> bool {
        let covered: usize = self
            .taken
            .iter()
            .map(|&(a, b)| b.min(to).saturating_sub(a.max(from)))
            .sum();
        covered * 10 > to.saturating_sub(from)
    }

    /// Whether two streams may not carry the same figure: a stroke would count twice.
    pub(super) fn clashes(&self, other: &Stream) -> bool {
        self.voices.iter().any(|v| other.voices.contains(v))
    }
}

/// All streams of these rows worth searching: single voices first.
pub(super) fn streams(rows: &[Row], limbs: &[(Voice, Limb)]) -> Vec<Stream> {
    let mut streams: Vec<Stream> = Vec::new();
    let mut add = |stream: Stream| {
        let known = |s: &Stream| s.voices == stream.voices && s.carrier == stream.carrier;
        let struck = stream.hit.iter().filter(|h| **h > 0).count();
        if struck >= FEWEST_STROKES && !streams.iter().any(known) {
            streams.push(stream);
        }
    };
    for row in rows {
        add(joined(rows, &[row.voice]));
    }
    let here = |voices: &[Voice]| -> Vec<Voice> {
        let present = rows.iter().map(|row| row.voice);
        present.filter(|voice| voices.contains(voice)).collect()
    };
    for voices in ALIKE
        .iter()
        .map(|row| here(row))
        .chain(by_limbs(limbs).iter().map(|v| here(v)))
    {
        if voices.len() > 1 {
            add(joined(rows, &voices));
        }
    }
    for carrier in [Carrier::Accents, Carrier::Line] {
        if let Some(stream) = composed(rows, carrier, &[]) {
            add(stream);
        }
    }
    streams
}

/// The voices of every limb that a player has named, and of every two of them.
fn by_limbs(limbs: &[(Voice, Limb)]) -> Vec<Vec<Voice>> {
    let of = |named: &[Limb]| -> Vec<Voice> {
        let voices = limbs.iter().filter(|(_, limb)| named.contains(limb));
        voices.map(|(voice, _)| *voice).collect()
    };
    let mut all: Vec<Vec<Voice>> = Vec::new();
    for (at, limb) in Limb::ALL.iter().enumerate() {
        all.push(of(&[*limb]));
        let pairs = Limb::ALL[at + 1..]
            .iter()
            .filter(|other| !of(&[**other]).is_empty());
        all.extend(
            pairs
                .filter(|_| !of(&[*limb]).is_empty())
                .map(|other| of(&[*limb, *other])),
        );
    }
    all
}

/// The strokes of some voices as one.
fn joined(rows: &[Row], voices: &[Voice]) -> Stream {
    let steps = rows.first().map_or(0, |row| row.hit.len());
    let mut hit = vec![0; steps];
    for row in rows.iter().filter(|row| voices.contains(&row.voice)) {
        for (all, one) in hit.iter_mut().zip(&row.hit) {
            *all |= one;
        }
    }
    Stream {
        voices: voices.to_vec(),
        carrier: Carrier::Voices,
        hit,
        taken: Vec::new(),
    }
}

/// The accents or all strokes of every voice as one, but for what earlier figures explain. None where there are no
/// accents, where every stroke is one, or where a single voice is the whole line.
pub(super) fn composed(rows: &[Row], carrier: Carrier, taken: &[Taken]) -> Option<Stream> {
    let steps = rows.first()?.hit.len();
    let mut hit = vec![0u8; steps];
    let (mut voices, mut plain) = (Vec::new(), 0);
    for row in rows {
        let strokes = match carrier {
            Carrier::Accents => &row.accent,
            Carrier::Line | Carrier::Voices => &row.hit,
        };
        let mut own = strokes.clone();
        for (_, (from, to)) in taken.iter().filter(|(voice, _)| *voice == row.voice) {
            own[*from.min(&steps)..*to.min(&steps)].fill(0);
        }
        plain += row.hit.iter().zip(&row.accent).filter(|(h, a)| h > a).count();
        if own.iter().any(|h| *h > 0) {
            voices.push(row.voice);
        }
        for (all, one) in hit.iter_mut().zip(own) {
            *all |= one;
        }
    }
    let tells = match carrier {
        Carrier::Accents => plain > 0,
        Carrier::Line | Carrier::Voices => voices.len() > 1,
    };
    tells.then_some(Stream {
        voices,
        carrier,
        hit,
        taken: Vec::new(),
    })
}
