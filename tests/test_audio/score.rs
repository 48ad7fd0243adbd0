//! A written tune -> strokes at the times of a human player, and the truth of both.

use std::f64::consts::TAU;

use overbar::names::{Layer, Limb, Voice};
use overbar::practice::drums::Strike;
use overbar::units::Seconds;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

use crate::truth::{Truth, rounded};
use crate::{Clip, Sound};

/// When the first beat falls.
const LEAD: f64 = 0.4;
/// What sounds after the last step.
const TAIL: f64 = 1.2;
/// Standard deviation of a stroke's time around its limb's own place **[M]**: the solo's hands are busier.
const JITTER: [f64; 2] = [0.0060, 0.0070];
/// Limbs are early or late by up to this, each by its own amount **[M]**.
const LIMB_OFFSET: f64 = 0.008;
/// Shares by which the tempo drifts, and the beats in which it comes back **[M]**.
const DRIFT: [(f64, f64); 2] = [(0.011, 41.0), (0.005, 15.0)];

/// One written stroke.
#[derive(Clone, Copy)]
pub(crate) struct Note {
    pub(crate) step: usize,
    pub(crate) voice: Voice,
    pub(crate) limb: Limb,
    pub(crate) layer: Layer,
    /// 0 to 1.
    pub(crate) velocity: f64,
}

/// The figure: `A` is its hand, `B` its foot, `-` a rest; from the first step to the last of the tune.
pub(crate) struct Figure {
    pub(crate) text: &'static str,
    pub(crate) hand: (Voice, Limb),
    pub(crate) foot: (Voice, Limb),
}

impl Figure {
    /// The figure as notes over `steps` steps, each cycle's first stroke a little louder.
    pub(crate) fn notes(&self, steps: usize) -> Vec<Note> {
        let strokes: Vec<char> = self.text.chars().collect();
        let note = |step: usize| {
            let place = step % strokes.len();
            let (voice, limb) = match strokes[place] {
                'A' => self.hand,
                'B' => self.foot,
                _ => return None,
            };
            let velocity = if place == 0 { 0.80 } else { 0.64 };
            Some(Note {
                step,
                voice,
                limb,
                layer: Layer::Ostinato,
                velocity,
            })
        };
        (0..steps).filter_map(note).collect()
    }
}

/// A cell of the free line where it stands: name, the stroke it begins with, first step, step after the last.
pub(crate) type PlacedCell = (&'static str, usize, usize, usize);

/// A written tune.
pub(crate) struct Tune {
    pub(crate) name: &'static str,
    pub(crate) bpm: f64,
    /// Beats in a bar; all tunes count quarters.
    pub(crate) beats: usize,
    pub(crate) steps_per_beat: usize,
    /// Bars before the last stroke, which falls on the beat one that follows.
    pub(crate) bars: usize,
    pub(crate) figure: Option<Figure>,
    pub(crate) free: Vec<Note>,
    pub(crate) cells: Vec<PlacedCell>,
    pub(crate) sound: Sound,
}

impl Tune {
    /// Steps before the last stroke.
    pub(crate) fn steps(&self) -> usize {
        self.bars * self.beats * self.steps_per_beat
    }

    /// The tune as a human would play it.
    pub(crate) fn played(self) -> Clip {
        let mut random = ChaCha8Rng::seed_from_u64(self.sound.seed);
        let beats = self.beat_times(&mut random);
        let per_beat = self.steps_per_beat;
        let time = |step: usize| {
            let (a, b) = (
                beats[step / per_beat],
                beats.get(step / per_beat + 1).copied().unwrap_or(0.0),
            );
            a + (b - a) * (step % per_beat) as f64 / per_beat as f64
        };
        let offsets: Vec<f64> = Limb::ALL
            .iter()
            .map(|_| random.random_range(-LIMB_OFFSET..LIMB_OFFSET))
            .collect();
        let mut notes = self
            .figure
            .as_ref()
            .map_or_else(Vec::new, |f| f.notes(self.steps()));
        notes.extend(&self.free);
        notes.sort_by_key(|n| (n.step, n.limb));
        let mut hits: Vec<(f64, u8, Note)> = notes
            .iter()
            .map(|note| {
                let jitter = JITTER[usize::from(note.layer == Layer::Solo)] * bell(&mut random);
                let offset = Limb::ALL
                    .iter()
                    .position(|l| *l == note.limb)
                    .map_or(0.0, |i| offsets[i]);
                let velocity = (note.velocity * random.random_range(0.9..1.1)).clamp(0.05, 1.0);
                (
                    rounded(time(note.step) + offset + jitter),
                    (velocity * 127.0).round() as u8,
                    *note,
                )
            })
            .collect();
        hits.sort_by(|a, b| a.0.total_cmp(&b.0));
        let last = time(self.steps());
        let sound = Sound {
            length: Seconds(rounded(last + TAIL)),
            ..self.sound
        };
        let strikes = hits
            .iter()
            .map(|(time, velocity, note)| Strike {
                time: Seconds(*time),
                voice: note.voice,
                velocity: f64::from(*velocity) / 127.0,
            })
            .collect();
        let truth = self.truth(&beats, &hits, &sound, time);
        Clip {
            name: self.name,
            truth,
            strikes,
            sound,
        }
    }

    /// All beats up to the last stroke's, at a tempo that drifts.
    fn beat_times(&self, random: &mut ChaCha8Rng) -> Vec<f64> {
        let phases = DRIFT.map(|_| random.random_range(0.0..TAU));
        let mut at = LEAD;
        let mut times = vec![LEAD];
        for beat in 0..self.bars * self.beats {
            let drift: f64 = DRIFT
                .iter()
                .zip(phases)
                .map(|((share, beats), p)| share * (TAU * beat as f64 / beats + p).sin())
                .sum();
            at += 60.0 / self.bpm * (1.0 + drift);
            times.push(at);
        }
        times
    }

    fn truth(
        &self,
        beats: &[f64],
        hits: &[(f64, u8, Note)],
        sound: &Sound,
        time: impl Fn(usize) -> f64,
    ) -> Truth {
        let beat_list: Vec<f64> = beats.iter().map(|t| rounded(*t)).collect();
        let downbeats: Vec<f64> = beat_list.iter().step_by(self.beats).copied().collect();
        let steps: Vec<f64> = (0..=self.steps()).map(|s| rounded(time(s))).collect();
        let hit = |(time, velocity, n): &(f64, u8, Note)| {
            json!([
                time,
                n.voice.name(),
                velocity,
                n.layer.name(),
                n.limb.name(),
                n.step
            ])
        };
        let cell = |(name, first, from, to): &PlacedCell| json!([name, first, from, to]);
        Truth::default()
            .with("suite", "layered")
            .with("name", self.name)
            .with("licence", "CC0-1.0")
            .with("seed", sound.seed)
            .with("kit", sound.kit)
            .with("bpm", self.bpm)
            .with("meter", json!([self.beats, 4]))
            .with("steps_per_beat", self.steps_per_beat)
            .with("beats", beat_list)
            .with("downbeats", downbeats)
            .with("steps", steps)
            .with("hits", hits.iter().map(hit).collect::<Vec<Value>>())
            .with(
                "cycles",
                self.figure
                    .iter()
                    .map(|f| self.cycle(f, &time))
                    .collect::<Vec<Value>>(),
            )
            .with("stickings", self.cells.iter().map(cell).collect::<Vec<Value>>())
            .with("seconds", sound.length.0)
    }

    fn cycle(&self, figure: &Figure, time: impl Fn(usize) -> f64) -> Value {
        let (length, bar) = (figure.text.len(), self.beats * self.steps_per_beat);
        let home = (1..).find(|bars| bars * bar % length == 0).unwrap_or(0);
        json!({
            "steps": length,
            "notes": figure.text.chars().filter(|c| *c != '-').count(),
            "seconds": length as f64 * 60.0 / self.bpm / self.steps_per_beat as f64,
            "figure": figure.text,
            "start": rounded(time(0)),
            "end": rounded(time(self.steps())),
            "resets_every_bars": null,
            "crosses_bar": bar % length != 0 && length % bar != 0,
            "home_bars": home,
        })
    }
}

/// A bell-shaped chance of standard deviation 1, the sum of twelve even ones, that never strays beyond 2.5.
fn bell(random: &mut ChaCha8Rng) -> f64 {
    (0..12)
        .map(|_| random.random_range(-0.5..0.5))
        .sum::<f64>()
        .clamp(-2.5, 2.5)
}
