//! Which of two snares each stroke is, or whether both were struck at once: the music decides with the sound.
//!
//! In: the points of all snare strokes and the two drums' means; everything that was struck, and when. Out: of each
//! stroke, how likely it is the first drum alone, the second alone, both. Both at once sound like something between
//! the two, and so do single strange strokes: sound alone would find false pairs in every solo. Three things tell them
//! apart. A hand strikes one thing at a time, so nobody strikes two snares and a third thing that wants a hand. Two
//! snares are struck at once where two lines run at once: where one drum keeps to a figure (an ostinato under a free
//! line), and then its figure tells where it is struck. And what the free line plays, it plays as often beside the
//! figure's drum as elsewhere: where a solo has no rests, a place at which nothing but the figure is heard hides one
//! of its strokes.

use std::ops::Range;

use rayon::prelude::*;

use super::Point;
use super::drums::{Drums, NEVER, Odds, Strokes, shares};
use super::figure::Figure;
use crate::names::Voice;
use crate::units::Seconds;

/// A drum keeps to a figure from this correlation on.
const FIGURE: f64 = 0.8;
/// Fewest strokes of any other voice that keep to one.
const STROKES: usize = 12;
/// Music is looked at in stretches of about this length: figures come and go.
const STRETCH: Seconds = Seconds(30.0);
/// The music is never surer than this.
const SUREST: f64 = 0.97;
/// Moments that what is usual in the stretch is worth, beside those with the same things struck.
const WORTH: f64 = 2.0;
/// The sound's share beside the music: its axes are not as independent as they are taken for.
const SAY: f64 = 0.5;
/// How often music and sound are weighed in turn.
const ROUNDS: usize = 2;

/// Everything that is struck at one moment, snares left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::voices) struct Moment {
    /// When.
    pub(in crate::voices) time: Seconds,
    /// What.
    pub(in crate::voices) others: Others,
}

/// Some voices; all toms are one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(in crate::voices) struct Others(u32);

impl Others {
    const FEET: Others =
        Others(1 << Voice::Kick as u32 | 1 << Voice::KickLeft as u32 | 1 << Voice::HatFoot as u32);

    /// With `voice` among them, unless it is a snare.
    pub(in crate::voices) fn and(self, voice: Voice) -> Others {
        match voice {
            Voice::Snare | Voice::Snare2 | Voice::CrossStick => self,
            Voice::TomHigh | Voice::TomMid | Voice::TomLow | Voice::TomFloor | Voice::TomFloor2 => {
                Others(self.0 | 1 << Voice::TomMid as u32)
            }
            other => Others(self.0 | 1 << other as u32),
        }
    }

    fn has(self, voice: Voice) -> bool {
        self.0 >> voice as u32 & 1 == 1
    }

    fn without(self, others: Others) -> Others {
        Others(self.0 & !others.0)
    }

    /// Whether some of it wants a hand.
    fn by_hand(self) -> bool {
        self.without(Others::FEET) != Others::default()
    }
}

/// The odds of each stroke, `None` where no figure tells whether both were struck.
pub(super) fn both(strokes: &Strokes, means: [Point; 2], moments: &[Moment]) -> Vec<Option<Odds>> {
    let busy: Vec<bool> = (strokes.at.iter())
        .map(|at| moments.get(*at).is_some_and(|m| m.others.by_hand()))
        .collect();
    let mut drums = Drums::new(means);
    let mut odds = drums.by_sound(strokes, &busy);
    let stretches = stretches(moments);
    let told: Vec<(Others, &Range<usize>)> = stretches
        .par_iter()
        .map(|stretch| (figures(moments.get(stretch.clone()).unwrap_or_default()), stretch))
        .collect();
    let mut tells = vec![false; odds.len()];
    for _ in 0..ROUNDS {
        let mut struck = vec![[0.0; 2]; moments.len()];
        for (odds, at) in odds.iter().zip(strokes.at) {
            if let Some(struck) = struck.get_mut(*at) {
                *struck = [odds[0] + odds[2], odds[1] + odds[2]];
            }
        }
        let music: Vec<Option<Vec<[f64; 2]>>> = told
            .par_iter()
            .map(|(figures, stretch)| {
                let (moments, struck) = (moments.get((*stretch).clone())?, struck.get((*stretch).clone())?);
                expected(moments, struck, *figures)
            })
            .collect();
        let usual = shares(&odds);
        let before: Vec<Odds> = (strokes.at.iter().zip(&busy).zip(&mut tells))
            .map(|((at, busy), tells)| {
                let place = stretches.partition_point(|stretch| stretch.end <= *at);
                let stretch = music
                    .get(place)
                    .and_then(Option::as_ref)
                    .zip(stretches.get(place));
                let likely = stretch.and_then(|(likely, stretch)| likely.get(at.checked_sub(stretch.start)?));
                *tells = likely.is_some();
                let [a, b] = likely.copied().unwrap_or([usual[0], usual[1]]);
                let both = if *busy || likely.is_none() { NEVER } else { a * b };
                let odds = [a * (1.0 - b), b * (1.0 - a), both];
                let sum: f64 = odds.iter().sum();
                odds.map(|x| x / sum)
            })
            .collect();
        if !tells.contains(&true) {
            break;
        }
        odds = drums.settle(strokes, SAY, |_| before.clone());
    }
    odds.into_iter()
        .zip(tells)
        .map(|(odds, tells)| tells.then_some(odds))
        .collect()
}

/// The moments in stretches of equal length.
fn stretches(moments: &[Moment]) -> Vec<Range<usize>> {
    let (Some(first), Some(last)) = (moments.first(), moments.last()) else {
        return vec![];
    };
    let count = ((last.time - first.time).0 / STRETCH.0).round().max(1.0);
    let length = (last.time - first.time).0 / count;
    let begins = |n: usize| moments.partition_point(|m| m.time.0 < first.time.0 + length * n as f64);
    let count = count as usize;
    (0..count)
        .map(|n| {
            begins(n)..if n + 1 == count {
                moments.len()
            } else {
                begins(n + 1)
            }
        })
        .collect()
}

/// Which other voices keep to a figure.
fn figures(moments: &[Moment]) -> Others {
    let times: Vec<Seconds> = moments.iter().map(|m| m.time).collect();
    let keeps = |voice: &&Voice| {
        let struck: Vec<f64> = (moments.iter())
            .map(|m| f64::from(u8::from(m.others.has(**voice))))
            .collect();
        struck.iter().sum::<f64>() >= STROKES as f64
            && Figure::of(&times, &struck).is_some_and(|figure| figure.agrees >= FIGURE)
    };
    Voice::ALL
        .iter()
        .filter(keeps)
        .fold(Others::default(), |others, voice| others.and(*voice))
}

/// How likely each snare is struck at each moment, as far as the music tells; `None` where neither keeps to a figure.
/// `struck`: the same by what is known so far.
fn expected(moments: &[Moment], struck: &[[f64; 2]], figures: Others) -> Option<Vec<[f64; 2]>> {
    let times: Vec<Seconds> = moments.iter().map(|m| m.time).collect();
    let of = |drum: usize| -> Vec<f64> { struck.iter().map(|s| s[drum]).collect() };
    let own = [0, 1].map(|drum| Figure::of(&times, &of(drum)).filter(|figure| figure.agrees >= FIGURE));
    if own.iter().all(Option::is_none) {
        return None;
    }
    let line: Vec<Others> = moments.iter().map(|m| m.others.without(figures)).collect();
    // A drum of the free line is as likely as it is without the other, where the line strikes the same other things.
    let free = |drum: usize, moment: usize| -> f64 {
        let share = |among: &dyn Fn(&Others) -> bool| {
            let here = line.iter().zip(struck).filter(|(others, _)| among(others));
            here.fold((0.0, 0.0), |(hits, all), (_, s)| {
                let without = 1.0 - s[1 - drum];
                (hits + without * s[drum], all + without)
            })
        };
        let (hits, all) = share(&|_| true);
        let usual = hits / all.max(NEVER);
        let (hits, all) = share(&|others| line.get(moment) == Some(others));
        (hits + WORTH * usual) / (all + WORTH)
    };
    let likely = |drum: usize, moment: usize| -> f64 {
        let told = own
            .get(drum)
            .and_then(Option::as_ref)
            .map(|figure| figure.likely(moment));
        told.unwrap_or_else(|| free(drum, moment))
            .clamp(1.0 - SUREST, SUREST)
    };
    Some(
        (0..moments.len())
            .map(|moment| [likely(0, moment), likely(1, moment)])
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::super::AXES;
    use super::*;

    const STEPS: usize = 150;

    /// Every step of 150 ms something is struck: the second snare on three places of five, or anywhere if it keeps to
    /// no figure, a pedal hat on the others; the first snare on every third step or so, a kick or a tom on the rest.
    /// Also of each step the snares that are truly struck there.
    fn solo(keeps: bool) -> (Vec<Moment>, Vec<[bool; 2]>) {
        let mut dice = 7u64;
        let mut throw = |sides: u64| {
            // Knuth's MMIX generator, its constants from memory.
            dice = dice
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (dice >> 33) % sides
        };
        (0..STEPS)
            .map(|step| {
                let second = if keeps {
                    [0, 2, 3].contains(&(step % 5))
                } else {
                    throw(5) < 3
                };
                let first = throw(3) == 0;
                let other = [Voice::Kick, Voice::TomHigh][throw(2) as usize];
                let mut others = Others::default();
                if !second {
                    others = others.and(Voice::HatFoot);
                }
                if !first {
                    others = others.and(other);
                }
                let time = Seconds(1.0 + 0.15 * step as f64 + 0.001 * throw(7) as f64);
                (Moment { time, others }, [first, second])
            })
            .unzip()
    }

    /// What `both` says of the strokes: those on both, and those heard so.
    fn heard(moments: &[Moment], struck: &[[bool; 2]]) -> (usize, usize, usize, usize) {
        let at: Vec<usize> = (0..STEPS).filter(|step| struck[*step] != [false; 2]).collect();
        let off = |n: usize, axis: usize| 0.9 * (((n * 7 + axis * 5) % 11) as f64 / 5.0 - 1.0);
        let along = |step: usize| match struck[step] {
            [true, true] => 4.0,
            [true, false] => 0.0,
            _ => 7.0,
        };
        let point = |step: usize| -> Point {
            std::array::from_fn(|axis| off(step, axis) + if axis == 0 { along(step) } else { 0.0 })
        };
        let points: Vec<Point> = at.iter().map(|step| point(*step)).collect();
        let means = [0.5, 6.5].map(|x| std::array::from_fn(|axis| if axis == 0 { x } else { 0.0 }));
        assert_eq!(means[0].len(), AXES);
        let strokes = Strokes {
            points: &points,
            says: &vec![1.0; points.len()],
            at: &at,
        };
        let told = both(&strokes, means, moments);
        let on_both = |step: &usize| struck[*step] == [true, true];
        let said = |odds: &Option<Odds>| odds.is_some_and(|odds| odds[2] > 0.5);
        let count = |of: &dyn Fn(&usize, &Option<Odds>) -> bool| {
            at.iter().zip(&told).filter(|(s, t)| of(s, t)).count()
        };
        (
            count(&|step, _| on_both(step)),
            count(&|step, odds| on_both(step) && said(odds)),
            count(&|step, odds| !on_both(step) && said(odds)),
            count(&|_, odds| odds.is_some()),
        )
    }

    #[test]
    fn strokes_on_both_are_heard_where_one_drum_keeps_to_a_figure() {
        let (moments, struck) = solo(true);
        let (both, found, wrong, _) = heard(&moments, &struck);
        assert!(
            both > 20 && found * 10 >= both * 9 && wrong == 0,
            "{found} of {both}, {wrong} wrong"
        );
    }

    #[test]
    fn where_nothing_keeps_to_a_figure_nobody_can_tell() {
        let (moments, struck) = solo(false);
        assert_eq!(heard(&moments, &struck).3, 0);
    }

    #[test]
    fn no_hand_is_left_for_a_second_snare_beside_a_tom() {
        let others = Others::default().and(Voice::Kick).and(Voice::HatFoot);
        assert!(!others.by_hand() && others.and(Voice::TomLow).by_hand());
        assert_eq!(others.and(Voice::Snare), others);
        assert_eq!(others.and(Voice::TomLow), others.and(Voice::TomFloor));
    }

    #[test]
    fn stretches_are_whole_and_of_like_length() {
        let moment = |n: usize| Moment {
            time: Seconds(0.5 * n as f64),
            others: Others::default(),
        };
        let moments: Vec<Moment> = (0..200).map(moment).collect();
        assert_eq!(stretches(&moments), [0..67, 67..133, 133..200]);
        assert_eq!(stretches(&moments[..20]).first(), Some(&(0..20)));
        assert!(stretches(&[]).is_empty());
    }
}
