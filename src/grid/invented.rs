//! Invented drum parts whose grid is known, for tests and for fitting: an ostinato of any length under cells, or a
//! plain groove, with accents and some crashes on beat one, human looseness, drift and missing hits. Seeded.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::names::Voice;
use crate::units::{Decibels, Seconds};
use crate::voices::Hit;

/// What a part is made of.
#[derive(Debug, Clone, Copy)]
pub(super) struct Part {
    /// Beats a minute.
    pub(super) bpm: f64,
    /// Beats in a bar.
    pub(super) bar: usize,
    /// Steps in a beat.
    pub(super) steps: usize,
    /// Whole bars.
    pub(super) bars: usize,
    /// Looseness of each hit, standard deviation in s.
    pub(super) loose: f64,
    /// Share of hits left out.
    pub(super) missing: f64,
    /// Tempo at the end over tempo at the start.
    pub(super) drift: f64,
    /// A groove with back beats instead of a solo over an ostinato.
    pub(super) groove: bool,
    /// How far strokes on beat one, and on the other beats, stand out, in dB.
    pub(super) accents: (f64, f64),
    /// How often a solo has a crash on beat one.
    pub(super) crashes: f64,
    /// Fewest and most steps of a solo's ostinato.
    pub(super) figure: (usize, usize),
}

impl Default for Part {
    fn default() -> Self {
        Part {
            bpm: 116.0,
            bar: 4,
            steps: 4,
            bars: 10,
            loose: 0.006,
            missing: 0.0,
            drift: 1.0,
            groove: false,
            accents: (3.0, 1.5),
            crashes: 0.2,
            figure: (5, 12),
        }
    }
}

/// A part and its truth.
pub(super) struct Invented {
    pub(super) hits: Vec<Hit>,
    pub(super) beats: Vec<f64>,
    pub(super) downbeats: Vec<f64>,
}

impl Part {
    /// Plays the part from 0.5 s on.
    pub(super) fn play(&self, seed: u64) -> Invented {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        let count = self.bars * self.bar * self.steps;
        let mut times = vec![0.5];
        for i in 0..count {
            let sway = 1.0 + 0.01 * (i as f64 / (self.steps * self.bar * 2) as f64 * 6.3).sin();
            let tempo = self.bpm * sway * self.drift.powf(i as f64 / count as f64);
            times.push(times[i] + 60.0 / tempo / self.steps as f64);
        }
        let struck = if self.groove {
            self.groove(&mut dice, count)
        } else {
            self.solo(&mut dice, count)
        };
        let mut hits: Vec<Hit> = Vec::new();
        for (step, voice) in struck {
            if dice.random::<f64>() < self.missing {
                continue;
            }
            let accent = if step % (self.steps * self.bar) == 0 {
                self.accents.0
            } else if step % self.steps == 0 {
                self.accents.1
            } else {
                0.0
            };
            let level = -12.0 + accent + 1.5 * normal(&mut dice);
            let time = times[step] + self.loose * normal(&mut dice);
            hits.push(Hit {
                time: Seconds(time),
                voice,
                level: Decibels(level.min(0.0)),
                mark: None,
                grace: None,
                sure: 1.0,
            });
        }
        hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
        let every = |n: usize| times[..count].iter().step_by(n).copied().collect();
        Invented {
            hits,
            beats: every(self.steps),
            downbeats: every(self.steps * self.bar),
        }
    }

    /// An ostinato of one or two limbs whose length seldom fits the bar, and cells of three to six notes over it.
    fn solo(&self, dice: &mut ChaCha8Rng, count: usize) -> Vec<(usize, Voice)> {
        use Voice::*;
        let pairs = [
            [HatFoot, Snare2],
            [Kick, RideBell],
            [HatFoot, Kick],
            [Ride, Ride],
            [Kick, HatClosed],
        ];
        let pair = pairs[dice.random_range(0..pairs.len())];
        let length = dice.random_range(self.figure.0..=self.figure.1);
        let figure: Vec<Option<Voice>> = (0..length)
            .map(|_| {
                if dice.random::<f64>() < 0.2 {
                    None
                } else {
                    Some(pair[dice.random_range(0..2)])
                }
            })
            .collect();
        let free: Vec<Voice> = [Kick, Snare, TomHigh, TomMid, TomFloor, HatFoot, Ride]
            .into_iter()
            .filter(|v| !pair.contains(v))
            .collect();
        let mut struck = Vec::new();
        let mut step = 0;
        while step < count {
            let cell: Vec<Option<Voice>> = (0..dice.random_range(3..=6))
                .map(|_| {
                    if dice.random::<f64>() < 0.25 {
                        None
                    } else {
                        Some(free[dice.random_range(0..free.len())])
                    }
                })
                .collect();
            for voice in (0..dice.random_range(2..=6)).flat_map(|_| cell.clone()) {
                let crash = step % (self.steps * self.bar) == 0 && dice.random::<f64>() < self.crashes;
                if let Some(voice) = if crash { Some(Crash) } else { voice }.filter(|_| step < count) {
                    struck.push((step, voice));
                }
                if step < count
                    && let Some(voice) = figure[step % length]
                {
                    struck.push((step, voice));
                }
                step += 1;
            }
        }
        struck
    }

    /// Kick on one and at one or two more places, snare on the back beats, hats or ride in halves or all steps,
    /// a fill in every fourth bar.
    fn groove(&self, dice: &mut ChaCha8Rng, count: usize) -> Vec<(usize, Voice)> {
        use Voice::*;
        let bar = self.steps * self.bar;
        let time = if dice.random::<f64>() < 0.5 {
            HatClosed
        } else {
            Ride
        };
        let every = if self.steps.is_multiple_of(2) && dice.random::<f64>() < 0.7 {
            self.steps / 2
        } else {
            1
        };
        let kicks: Vec<usize> = (0..2).map(|_| dice.random_range(0..bar)).collect();
        let mut struck = Vec::new();
        for step in 0..count {
            let (inside, bar_number) = (step % bar, step / bar);
            if bar_number % 4 == 3 && inside >= bar - 2 * self.steps {
                struck.push((step, [Snare, TomHigh, TomMid, TomFloor][dice.random_range(0..4)]));
                continue;
            }
            let one_after_fill = inside == 0 && bar_number % 4 == 0;
            if inside % every == 0 {
                struck.push((step, if one_after_fill { Crash } else { time }));
            }
            if inside == 0 || (kicks.contains(&inside) && dice.random::<f64>() < 0.9) {
                struck.push((step, Kick));
            }
            let beat = inside / self.steps;
            if inside.is_multiple_of(self.steps)
                && beat % 2 == 1
                && (self.bar.is_multiple_of(2) || beat + 1 < self.bar)
            {
                struck.push((step, Snare));
            }
        }
        struck
    }
}

/// A normal deviate, by the sum of twelve uniform ones.
fn normal(dice: &mut ChaCha8Rng) -> f64 {
    (0..12).map(|_| dice.random::<f64>()).sum::<f64>() - 6.0
}
