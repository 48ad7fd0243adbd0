//! [`Hit`]s -> events: strokes that fall together are one moment with a time (s), a weight and what was struck.

use crate::names::Voice;
use crate::voices::Hit;

/// Strokes closer than this (s) are one moment: two limbs together spread up to some 20 ms, while the fastest
/// sixteenth-triplets are 50 ms apart (TRADE 5) [C]. Of strokes as they are heard, those 25 to 35 ms apart are of one
/// step in 33 of 39 annotated places, those 35 to 45 ms apart in 24 of 61 [=].
pub(super) const TOGETHER: f64 = 0.035;

/// What kind of drum was struck, as far as meter is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Kick,
    Snare,
    Tom,
    Hat,
    Foot,
    Ride,
    Crash,
    Other,
}

/// Number of [`Kind`]s.
pub(super) const KINDS: usize = 8;

impl Kind {
    pub(super) fn of(voice: Voice) -> Kind {
        use Voice::*;
        match voice {
            Kick | KickLeft => Kind::Kick,
            Snare | Snare2 | CrossStick => Kind::Snare,
            TomHigh | TomMid | TomLow | TomFloor | TomFloor2 => Kind::Tom,
            HatClosed | HatOpen => Kind::Hat,
            HatFoot => Kind::Foot,
            Ride | RideBell => Kind::Ride,
            Crash | Crash2 | Splash | China => Kind::Crash,
            Cowbell | Other => Kind::Other,
        }
    }

    /// How much a stroke of this kind says about where the beat is; drums that carry the beat count most [M].
    fn weight(self) -> f64 {
        match self {
            Kind::Kick | Kind::Snare | Kind::Crash => 1.0,
            Kind::Tom => 0.8,
            Kind::Ride => 0.7,
            Kind::Hat | Kind::Foot | Kind::Other => 0.6,
        }
    }
}

/// A moment at which one or more drums were struck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Event {
    /// When, in seconds.
    pub(super) time: f64,
    /// How much it says about the beat: about 1.
    pub(super) weight: f64,
    /// How clearly each [`Kind`] was struck, 0 to 1.
    pub(super) struck: [f64; KINDS],
    /// How far its strokes stand above their voices' usual levels on average, in those voices' spreads: -2 to 2.
    pub(super) accent: f64,
}

/// Gathers `hits` into events, rising in time. Hits whose time is no finite number are left out.
pub(super) fn gather(hits: &[Hit]) -> Vec<Event> {
    let mut hits: Vec<&Hit> = hits.iter().filter(|h| h.time.0.is_finite()).collect();
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    let usual: Vec<Usual> = Voice::ALL.iter().map(|v| Usual::of(&hits, *v)).collect();
    let mut events = Vec::new();
    let mut rest = hits.as_slice();
    while let Some(first) = rest.first() {
        let end = rest.partition_point(|h| h.time.0 - first.time.0 <= TOGETHER);
        let (together, later) = rest.split_at(end.max(1));
        events.push(event(together, &usual));
        rest = later;
    }
    events
}

fn event(hits: &[&Hit], usual: &[Usual]) -> Event {
    let mut event = Event {
        time: 0.0,
        weight: 0.0,
        struck: [0.0; KINDS],
        accent: 0.0,
    };
    for hit in hits {
        let kind = Kind::of(hit.voice);
        let over = usual.get(hit.voice as usize).map_or(0.0, |u| u.over(hit));
        let sure = if hit.sure.is_finite() {
            hit.sure.clamp(0.1, 1.0)
        } else {
            1.0
        };
        let weight = kind.weight() * sure * (1.0 + 0.3 * over);
        event.time += weight * hit.time.0;
        event.weight += weight;
        let struck = &mut event.struck[kind as usize];
        *struck = struck.max(sure * (1.0 + 0.3 * over).min(1.0));
        event.accent += over / hits.len() as f64;
    }
    event.time /= event.weight.max(1e-9);
    event.weight = event.weight.min(2.0);
    event
}

/// A voice's usual level in dB and how far strokes spread around it: accents and ghost strokes are judged against
/// their own drum.
struct Usual {
    mean: f64,
    spread: f64,
}

impl Usual {
    fn of(hits: &[&Hit], voice: Voice) -> Usual {
        let levels: Vec<f64> = hits
            .iter()
            .filter(|h| h.voice == voice)
            .map(|h| level(h))
            .collect();
        let count = levels.len().max(1) as f64;
        let mean = levels.iter().sum::<f64>() / count;
        let variance = levels.iter().map(|l| (l - mean).powi(2)).sum::<f64>() / count;
        Usual {
            mean,
            spread: variance.sqrt().max(1.0),
        }
    }

    fn over(&self, hit: &Hit) -> f64 {
        ((level(hit) - self.mean) / self.spread).clamp(-2.0, 2.0)
    }
}

fn level(hit: &Hit) -> f64 {
    if hit.level.0.is_finite() {
        hit.level.0.max(-60.0)
    } else {
        -60.0
    }
}
