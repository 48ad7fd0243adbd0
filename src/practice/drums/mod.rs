//! A drum kit by synthesis: strokes in, stereo sound at [`RATE`] out.
//!
//! Every voice is struck by a model of what sounds in it (modes that ring and noise that rattles); a soft
//! stroke is not only quieter but duller, no two strokes are quite alike, hats choke when they close, each drum has
//! its place between left and right as its player hears it, and a small room answers. Nothing is sampled, so
//! whatever is made with it is free of other people's rights. The same seed and strokes give the same samples.

mod dice;
mod metal;
mod recipe;
mod room;
mod skins;

#[cfg(test)]
mod tests;

use crate::audio::RATE;
use crate::names::Voice;
use crate::units::{Decibels, Seconds};
use dice::Dice;
use recipe::{Noise, Recipe};

/// One stroke to be played.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strike {
    /// When the sound begins.
    pub time: Seconds,
    /// What is struck.
    pub voice: Voice,
    /// How hard: 0 is not at all, about 0.25 a ghost note, 1 as hard as it goes.
    pub velocity: f64,
}

/// What a kit and its room are like. Every field is a plain amount; [`Character::PLAIN`] is the middle of each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Character {
    /// Factor on the pitch of all drums; 1 is a 22" kick at 54 Hz and a 14" snare at 190 Hz.
    pub tuning: f64,
    /// Factor on how long everything rings.
    pub ring: f64,
    /// Factor on the frequency above which a full stroke excites little: the stick's tip and the head's coating.
    pub brightness: f64,
    /// Level of the room's answer under the kit itself.
    pub room: Decibels,
    /// Time in which the room's answer falls by 60 dB.
    pub room_seconds: Seconds,
    /// How far the drums stand apart: 0 is mono, 1 as wide as it goes.
    pub width: f64,
    /// How much strokes of the same force differ: 0 is a machine, 1 a human hand.
    pub looseness: f64,
}

impl Character {
    /// A medium kit in a studio.
    pub const PLAIN: Character = Character {
        tuning: 1.0,
        ring: 1.0,
        brightness: 1.0,
        room: Decibels(-16.0),
        room_seconds: Seconds(0.3),
        width: 0.7,
        looseness: 1.0,
    };

    /// Damped drums, close microphones.
    pub const DRY: Character = Character {
        tuning: 0.94,
        ring: 0.7,
        brightness: 0.85,
        room: Decibels(-30.0),
        room_seconds: Seconds(0.2),
        ..Character::PLAIN
    };

    /// Open drums in a live room.
    pub const ROOMY: Character = Character {
        ring: 1.15,
        room: Decibels(-12.0),
        room_seconds: Seconds(0.5),
        ..Character::PLAIN
    };

    /// A small kit tuned high that sings.
    pub const SINGING: Character = Character {
        tuning: 1.14,
        ring: 1.25,
        brightness: 1.2,
        room: Decibels(-14.0),
        ..Character::PLAIN
    };
}

/// Where a voice stands and how loud it is against the others, all **[M]**.
struct Place {
    /// Root mean square of the loudest 20 ms of a full stroke, under that of the kick.
    level: Decibels,
    /// -1 is hard left, 1 hard right, as the player sits.
    side: f64,
    /// Share of what still rings of it that the next stroke on it leaves.
    kept: f64,
    /// Up to which frequency a full stroke excites it, Hz.
    corner: f64,
}

/// Strokes softer than this are not played: nobody would hear them.
const LEAST_VELOCITY: f64 = 0.01;
/// Longest sound that is rendered.
const LONGEST: Seconds = Seconds(3600.0);
/// Time in which closing hats silence themselves.
const CHOKE: Seconds = Seconds(0.02);

fn place(voice: Voice) -> Place {
    use Voice::*;
    let (level, side, kept, corner) = match voice {
        Kick => (0.0, 0.0, 0.5, 4000.0),
        KickLeft => (-0.5, -0.08, 0.5, 3800.0),
        Snare => (-2.0, -0.06, 0.6, 13_000.0),
        Snare2 => (-3.0, -0.6, 0.6, 16_000.0),
        CrossStick => (-8.0, -0.1, 0.8, 11_000.0),
        TomHigh => (-3.0, -0.3, 0.6, 8000.0),
        TomMid => (-3.0, 0.05, 0.6, 8000.0),
        TomLow => (-3.0, 0.25, 0.6, 8000.0),
        TomFloor => (-2.5, 0.5, 0.6, 7000.0),
        TomFloor2 => (-2.5, 0.65, 0.6, 7000.0),
        HatClosed => (-14.0, -0.5, 0.4, 22_000.0),
        HatOpen => (-11.0, -0.5, 0.8, 20_000.0),
        HatFoot => (-13.5, -0.5, 0.4, 16_000.0),
        Ride => (-13.0, 0.5, 0.85, 18_000.0),
        RideBell => (-8.5, 0.45, 0.8, 18_000.0),
        Crash => (-8.0, -0.4, 0.9, 16_000.0),
        Crash2 => (-8.0, 0.4, 0.9, 16_000.0),
        Splash => (-9.0, -0.15, 0.9, 18_000.0),
        China => (-7.5, 0.7, 0.95, 16_000.0),
        Cowbell => (-8.0, 0.1, 0.7, 9000.0),
        Other => (-8.0, 0.2, 0.7, 9000.0),
    };
    Place {
        level: Decibels(level),
        side,
        kept,
        corner,
    }
}

/// A kit: a character, and the modes of its cymbals.
#[derive(Debug, Clone)]
pub struct Kit {
    seed: u64,
    character: Character,
    hats: Vec<f64>,
    ride: Vec<f64>,
    bell: Vec<f64>,
    crash: Vec<f64>,
    crash_2: Vec<f64>,
    splash: Vec<f64>,
    china: Vec<f64>,
    /// Factor that brings each voice to its level, in the order of [`Voice::ALL`].
    gains: Vec<f64>,
}

impl Kit {
    /// A kit of this character; `seed` decides its cymbals and how strokes differ.
    pub fn new(seed: u64, character: Character) -> Self {
        let metal = |n: u64, count, low, high| metal::partials(count, low, high, &mut Dice::new(seed, n));
        let mut kit = Kit {
            seed,
            character,
            hats: metal(1, 44, 350.0, 15_000.0),
            ride: metal(2, 48, 380.0, 11_000.0),
            bell: metal(3, 9, 900.0, 5600.0),
            crash: metal(4, 72, 290.0, 9000.0),
            crash_2: metal(5, 72, 250.0, 8200.0),
            splash: metal(6, 44, 700.0, 11_000.0),
            china: metal(7, 56, 240.0, 7000.0),
            gains: Vec::new(),
        };
        kit.gains = Voice::ALL
            .iter()
            .map(|&voice| {
                let full = kit.stroke(voice, 1.0, 0.15, &mut Dice::new(seed, 8));
                place(voice).level.to_amplitude() * 0.25 / loudest(&full).max(1e-9)
            })
            .collect();
        kit
    }

    /// Plays `strikes`, in any order, for `length` (at most an hour): left and right at [`RATE`]. One full stroke on
    /// the kick has an amplitude of about a half; many at once may exceed 1.
    pub fn render(&self, strikes: &[Strike], length: Seconds) -> Vec<Vec<f32>> {
        let samples = Seconds(length.0.clamp(0.0, LONGEST.0)).to_sample(RATE);
        let mut dry = [vec![0.0f32; samples], vec![0.0f32; samples]];
        let mut order: Vec<(usize, &Strike)> = strikes
            .iter()
            .enumerate()
            .filter(|(_, s)| s.time.0 >= 0.0 && s.velocity >= LEAST_VELOCITY)
            .collect();
        order.sort_by(|(_, a), (_, b)| a.time.0.total_cmp(&b.time.0));
        for (at, (number, strike)) in order.iter().enumerate() {
            let start = strike.time.to_sample(RATE);
            if start >= samples {
                break;
            }
            let rest = (samples - start) as f64 / f64::from(RATE);
            let mut dice = Dice::new(self.seed, 100 + *number as u64);
            let mut sound = self.stroke(strike.voice, strike.velocity.min(1.0), rest, &mut dice);
            damp(&mut sound, strike, order.get(at + 1..).unwrap_or_default());
            let index = Voice::ALL.iter().position(|v| *v == strike.voice).unwrap_or(0);
            let gain = self.gains.get(index).copied().unwrap_or(1.0);
            let turn = (1.0 + place(strike.voice).side * self.character.width.clamp(0.0, 1.0))
                * std::f64::consts::FRAC_PI_4;
            for (out, share) in dry.iter_mut().zip([turn.cos(), turn.sin()]) {
                let level = (gain * share) as f32;
                for (o, s) in out.iter_mut().skip(start).zip(&sound) {
                    *o += s * level;
                }
            }
        }
        let wet = room::reflections(&dry, self.character.room_seconds.0);
        let level = self.character.room.to_amplitude() as f32;
        for (out, room) in dry.iter_mut().zip(&wet) {
            out.iter_mut().zip(room).for_each(|(o, w)| *o += w * level);
        }
        dry.into()
    }

    /// The sound of one stroke before its place in the kit.
    fn stroke(&self, voice: Voice, velocity: f64, longest: f64, dice: &mut Dice) -> Vec<f32> {
        let loose = self.character.looseness.clamp(0.0, 2.0);
        let mut recipe = self.recipe(voice, dice);
        let pitch = dice.about_one(0.004 * loose);
        for mode in &mut recipe.modes {
            mode.hz *= pitch;
            mode.level *= dice.about_one(0.15 * loose);
        }
        for noise in &mut recipe.noises {
            noise.level *= dice.about_one(0.12 * loose);
        }
        let contact = velocity.powf(0.7) * self.character.brightness * dice.about_one(0.08 * loose);
        // A quarter of full velocity lies 18 dB under it.
        let force = velocity.powf(1.5) * dice.about_one(0.05 * loose);
        let corner = (place(voice).corner * contact).max(150.0);
        let mut sound = recipe.struck_softly(corner).sound(longest, dice);
        sound.iter_mut().for_each(|s| *s *= force as f32);
        sound
    }

    fn recipe(&self, voice: Voice, dice: &mut Dice) -> Recipe {
        let Character { tuning, ring, .. } = self.character;
        let wires = |low, high, level, ring: f64| Noise {
            low,
            high,
            level,
            rise: 0.0015,
            ring,
        };
        match voice {
            Voice::Kick => skins::kick(54.0 * tuning, 0.36 * ring),
            Voice::KickLeft => skins::kick(55.5 * tuning, 0.34 * ring),
            Voice::Snare => skins::snare(
                190.0 * tuning,
                0.2 * ring,
                wires(2000.0, 9000.0, 0.8, 0.28 * ring),
            ),
            Voice::Snare2 => skins::snare(
                300.0 * tuning,
                0.13 * ring,
                wires(3200.0, 12_000.0, 0.9, 0.21 * ring),
            ),
            Voice::CrossStick => skins::cross_stick(190.0 * tuning, 0.06 * ring),
            Voice::TomHigh => skins::tom(190.0 * tuning, 0.75 * ring),
            Voice::TomMid => skins::tom(150.0 * tuning, 0.9 * ring),
            Voice::TomLow => skins::tom(119.0 * tuning, 1.0 * ring),
            Voice::TomFloor => skins::tom(86.0 * tuning, 1.3 * ring),
            Voice::TomFloor2 => skins::tom(69.0 * tuning, 1.45 * ring),
            Voice::HatClosed => metal::hat_closed(&self.hats, ring, dice),
            Voice::HatOpen => metal::hat_open(&self.hats, ring, dice),
            Voice::HatFoot => metal::hat_foot(&self.hats, ring, dice),
            Voice::Ride => metal::ride(&self.ride, ring, dice),
            Voice::RideBell => metal::ride_bell(&self.bell, &self.ride, ring, dice),
            Voice::Crash => metal::crash(&self.crash, ring, dice),
            Voice::Crash2 => metal::crash(&self.crash_2, 1.1 * ring, dice),
            Voice::Splash => metal::splash(&self.splash, ring, dice),
            Voice::China => metal::china(&self.china, ring, dice),
            Voice::Cowbell => metal::cowbell(tuning, ring),
            Voice::Other => metal::block(tuning, ring),
        }
    }
}

/// Quietens what still rings where a later stroke meets it: hats choke when they close, a head or a cymbal that is
/// struck again keeps only a part of its motion.
fn damp(sound: &mut [f32], strike: &Strike, later: &[(usize, &Strike)]) {
    let hat = |voice| matches!(voice, Voice::HatClosed | Voice::HatOpen | Voice::HatFoot);
    let ends = strike.time + Seconds::from_sample(sound.len(), RATE);
    for (_, next) in later.iter().take_while(|(_, next)| next.time <= ends) {
        let closes = hat(strike.voice) && matches!(next.voice, Voice::HatClosed | Voice::HatFoot);
        let (left, fade) = if closes {
            (0.0, CHOKE)
        } else if next.voice == strike.voice {
            (
                1.0 - (1.0 - place(next.voice).kept) * next.velocity.min(1.0),
                Seconds(0.004),
            )
        } else {
            continue;
        };
        let from = (next.time - strike.time).to_sample(RATE);
        let fade = fade.to_sample(RATE).max(1);
        for (i, s) in sound.iter_mut().skip(from).enumerate() {
            let done = (i as f64 / fade as f64).min(1.0);
            *s *= (1.0 - done * (1.0 - left)) as f32;
        }
        if closes {
            return;
        }
    }
}

/// Root mean square of the loudest 20 ms.
fn loudest(sound: &[f32]) -> f64 {
    let window = Seconds(0.02).to_sample(RATE);
    let power = |w: &[f32]| w.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / window as f64;
    sound
        .chunks(window / 2)
        .zip(sound.chunks(window / 2).skip(1))
        .map(|(a, b)| power(a) + power(b))
        .fold(0.0, f64::max)
        .sqrt()
}
