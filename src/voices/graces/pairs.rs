//! Skin strokes -> the [`Pair`]s of attacks around each that may be a grace stroke and its main stroke, described.
//!
//! A grace stroke is softer, 10 to 50 ms earlier, and on the same drum (TRADE 5 [M]): so each pair says how far apart
//! its attacks are, how the bands rise with each, and how much the first sounds like that drum's strokes on this
//! recording, and how much like the other voices that may have been struck a little early.

use super::fine::{Attack, BANDS, Fine, weighed};
use crate::audio::Recording;
use crate::listen::{Sharp, Sound};
use crate::names::Voice;
use crate::units::{Millis, Seconds};
use crate::voices::Hit;
use crate::voices::times::sound;

/// Numbers that describe a pair.
pub const NUMBERS: usize = 5 * BANDS + 19 + 2 * HEARD;

/// Those of them that say what the finer network hears.
const HEARD: usize = 8;

/// A grain in milliseconds.
const GRAIN_MS: f32 = 1000.0 * super::fine::GRAIN as f32 / crate::audio::RATE as f32;

/// Closest and widest pair, grains: 8 and 55 ms.
const GAPS: (usize, usize) = (16, 110);

/// The stroke was found no further before the pair or after it: 8 ms.
const OWN: isize = 16;

/// Grains of an attack over which its sound is measured: 8 ms.
const ATTACK: usize = 16;

/// Grains before an attack over which is measured what rang: 5 ms.
const RANG: usize = 10;

/// The main stroke is at least this much louder, dB: less than any grace stroke is softer, for what rings blurs it.
const LOUDER: f32 = 1.0;

/// Strokes that a portrait is made of at most.
const SITTINGS: usize = 48;

/// Two attacks that may be grace stroke and main stroke.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// When the softer one begins, from the start of the file.
    pub grace: Seconds,
    /// When the louder one begins.
    pub main: Seconds,
    /// Level of the main stroke's attack over the usual one of its drum on this recording, dB.
    pub over: f64,
    /// How much the bands rise with both attacks, dB in sum.
    pub rise: f32,
    /// [`NUMBERS`] that speak for or against it.
    pub numbers: Vec<f32>,
}

/// How a voice attacks on this recording.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Portrait {
    /// Each band of the attack over their mean, dB.
    shape: [f32; BANDS],
    /// Median level of the attack, dB.
    pub(super) level: f32,
    /// Strokes it was made from.
    sittings: usize,
}

/// Portraits of the voices, by their place in [`Voice::ALL`].
pub(super) struct Gallery(Vec<Portrait>);

impl Gallery {
    /// Looks at strokes of every voice, those struck alone before others.
    pub(super) fn of(recording: &Recording, hits: &[Hit]) -> Gallery {
        let portrait = |voice: &Voice| {
            let own: Vec<usize> = (0..hits.len()).filter(|at| hits[*at].voice == *voice).collect();
            let alone: Vec<usize> = own.iter().copied().filter(|at| is_alone(hits, *at)).collect();
            let some = if alone.len() >= 4 { alone } else { own };
            let every = some.len().div_ceil(SITTINGS).max(1);
            let attacks: Vec<[f32; BANDS]> = some
                .iter()
                .step_by(every)
                .filter_map(|at| hits.get(*at))
                .map(|hit| {
                    let fine = Fine::around(recording, hit.time);
                    let start = fine.grain(recording, hit.time).max(0) as usize;
                    fine.level(start..start + ATTACK)
                })
                .collect();
            Portrait::of(&attacks)
        };
        Gallery(Voice::ALL.iter().map(portrait).collect())
    }

    pub(super) fn get(&self, voice: Voice) -> Portrait {
        self.0.get(voice as usize).copied().unwrap_or_default()
    }

    /// How unlike a voice's attack the sound is, dB; bands that hardly rose count little.
    fn unlike(&self, voice: Voice, sound: &[f32; BANDS], rise: &[f32; BANDS]) -> f32 {
        let portrait = self.get(voice);
        if portrait.sittings == 0 {
            return 30.0;
        }
        let weights = rise.map(|r| (r / 6.0).clamp(0.02, 1.0));
        let total: f32 = weights.iter().sum();
        let off: [f32; BANDS] = std::array::from_fn(|band| sound[band] - portrait.shape[band]);
        let mean = off.iter().zip(weights).map(|(x, w)| x * w).sum::<f32>() / total;
        let squares = off.iter().zip(weights).map(|(x, w)| (x - mean).powi(2) * w);
        (squares.sum::<f32>() / total).sqrt().min(30.0)
    }
}

impl Portrait {
    fn of(attacks: &[[f32; BANDS]]) -> Portrait {
        let levels: Vec<f32> = attacks.iter().map(weighed).collect();
        let shape = std::array::from_fn(|band| {
            median(
                attacks
                    .iter()
                    .zip(&levels)
                    .map(|(attack, level)| attack[band] - level)
                    .collect(),
            )
        });
        Portrait {
            shape,
            level: median(levels),
            sittings: attacks.len(),
        }
    }
}

/// Whether no other hit lies within 40 ms.
fn is_alone(hits: &[Hit], at: usize) -> bool {
    let near = |other: Option<&Hit>| {
        other
            .zip(hits.get(at))
            .is_some_and(|(a, b)| (a.time - b.time).0.abs() < 0.04)
    };
    !near(at.checked_sub(1).and_then(|before| hits.get(before))) && !near(hits.get(at + 1))
}

pub(super) fn median(mut values: Vec<f32>) -> f32 {
    let middle = values.len() / 2;
    if middle >= values.len() {
        return 0.0;
    }
    *values.select_nth_unstable_by(middle, f32::total_cmp).1
}

/// What is heard around one stroke.
pub(super) struct Moment<'a> {
    recording: &'a Recording,
    sharp: &'a Sharp,
    gallery: &'a Gallery,
    hits: &'a [Hit],
    hit: &'a Hit,
    pub(super) fine: Fine,
    pub(super) attacks: Vec<Attack>,
}

impl<'a> Moment<'a> {
    /// Listens around hit number `at`.
    pub(super) fn of(
        recording: &'a Recording,
        sharp: &'a Sharp,
        gallery: &'a Gallery,
        hits: &'a [Hit],
        at: usize,
    ) -> Option<Moment<'a>> {
        let hit = hits.get(at)?;
        let fine = Fine::around(recording, hit.time);
        let attacks = fine.attacks();
        Some(Moment {
            recording,
            sharp,
            gallery,
            hits,
            hit,
            fine,
            attacks,
        })
    }

    /// Every pair at or between whose attacks the stroke was found.
    pub(super) fn pairs(&self) -> Vec<Pair> {
        let own = self.fine.grain(self.recording, self.hit.time);
        let around = |grace: &Attack, main: &Attack| {
            (grace.grain as isize - OWN..=main.grain as isize + OWN).contains(&own)
        };
        let mut pairs = Vec::new();
        for (index, main) in self.attacks.iter().enumerate() {
            for (first, grace) in self.attacks.iter().enumerate().take(index) {
                let gap = main.grain - grace.grain;
                if (GAPS.0..=GAPS.1).contains(&gap) && around(grace, main) {
                    pairs.extend(self.pair(first, index));
                }
            }
        }
        pairs
    }

    fn pair(&self, first: usize, second: usize) -> Option<Pair> {
        let (grace, main) = (self.attacks.get(first)?, self.attacks.get(second)?);
        let gap = main.grain - grace.grain;
        let level = |from: usize, count: usize| self.fine.level(from..from + count);
        let rang = level(grace.grain.checked_sub(RANG)?, RANG - 1);
        let soft = level(grace.grain, ATTACK.min(gap - 2));
        let left = level(main.grain - RANG.min(gap / 2), RANG.min(gap / 2) - 1);
        let loud = level(main.grain, ATTACK);
        if weighed(&loud) < weighed(&soft) + LOUDER {
            return None;
        }
        let minus = |a: &[f32; BANDS], b: &[f32; BANDS]| std::array::from_fn(|band| a[band] - b[band]);
        let (rise, again): ([f32; BANDS], [f32; BANDS]) = (minus(&soft, &rang), minus(&loud, &left));
        let over: [f32; BANDS] = minus(&loud, &soft);
        let mut numbers = vec![gap as f32 * GRAIN_MS];
        for group in [rise, again, over, minus(&left, &soft), minus(&rang, &loud)] {
            numbers.extend(group.map(|db| db.clamp(-40.0, 40.0)));
        }
        let own = self.gallery.get(self.hit.voice).level;
        let others = [
            Voice::Kick,
            Voice::HatClosed,
            Voice::Ride,
            Voice::Crash,
            Voice::HatFoot,
            Voice::HatOpen,
        ];
        let unlike = |voice: Voice| self.gallery.unlike(voice, &soft, &rise);
        let other = others.into_iter().map(unlike).fold(30.0, f32::min);
        let time = |grain| self.fine.time(self.recording, grain);
        let between = self.attacks.iter().take(second).skip(first + 1);
        let before = self.attacks.iter().take(first).rev();
        numbers.extend([
            weighed(&over),
            weighed(&rise),
            weighed(&again),
            grace.rise,
            main.rise,
            unlike(self.hit.voice),
            other,
            unlike(self.hit.voice) - other,
            self.gallery.unlike(self.hit.voice, &loud, &again),
            weighed(&loud) - own,
            weighed(&soft) - own,
            between.fold(0.0, |most, attack| attack.rise.max(most)),
            before
                .clone()
                .next()
                .map_or(100.0, |attack| (grace.grain - attack.grain) as f32 * GRAIN_MS),
            before.fold(0.0, |most, attack| attack.rise.max(most)),
            self.since_last(time(grace.grain)),
            self.near(time(main.grain), &[Voice::Kick, Voice::KickLeft]),
            self.near(
                time(main.grain),
                &[
                    Voice::HatClosed,
                    Voice::HatOpen,
                    Voice::HatFoot,
                    Voice::Ride,
                    Voice::RideBell,
                    Voice::Crash,
                ],
            ),
            self.hit.sure as f32,
        ]);
        for sound in [Sound::Any, sound(self.hit.voice)] {
            numbers.extend(self.heard(sound, time(grace.grain), time(main.grain)));
        }
        Some(Pair {
            grace: time(grace.grain),
            main: time(main.grain),
            over: f64::from(weighed(&loud) - own),
            rise: grace.rise + main.rise,
            numbers,
        })
    }

    /// What the finer network hears of a sound at each of two attacks, between them, and just before and after both: log odds.
    fn heard(&self, sound: Sound, grace: Seconds, main: Seconds) -> [f32; HEARD] {
        let sharp = self.sharp;
        let (soft, loud) = (sharp.place(grace), sharp.place(main));
        let ends = [sharp.at(sound, soft), sharp.at(sound, loud)];
        [
            sharp.highest(sound, soft - 0.5, soft + 1.5),
            sharp.highest(sound, loud - 0.5, loud + 1.5),
            ends[0],
            ends[1],
            sharp
                .lowest(sound, soft + 1.5, loud - 1.5)
                .unwrap_or(ends[0].min(ends[1])),
            sharp.at(sound, (soft + loud) / 2.0),
            sharp.highest(sound, soft - 8.0, soft - 2.0),
            sharp.highest(sound, loud + 2.0, loud + 8.0),
        ]
    }

    /// Milliseconds from the last stroke before the pair, 300 at most.
    fn since_last(&self, grace: Seconds) -> f32 {
        let clear = grace - Millis(12.0).to_seconds();
        let after = self.hits.partition_point(|hit| hit.time < clear);
        let last = after.checked_sub(1).and_then(|at| self.hits.get(at));
        last.map_or(300.0, |hit| (grace - hit.time).to_millis().0.min(300.0) as f32)
    }

    /// 1 if one of the voices is struck within 30 ms.
    fn near(&self, time: Seconds, voices: &[Voice]) -> f32 {
        let reach = Seconds(0.03);
        let first = self.hits.partition_point(|hit| hit.time < time - reach);
        let around = self
            .hits
            .iter()
            .skip(first)
            .take_while(|hit| hit.time <= time + reach);
        f32::from(around.into_iter().any(|hit| voices.contains(&hit.voice)))
    }
}
