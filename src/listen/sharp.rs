//! [`Recording`] and [`Heard`] -> [`Sharp`]: twice as fine, how likely it is that anything, a kick, a snare, a tom, hats
//! or a cymbal begins there.
//!
//! The network that names sounds sees frames of 10 ms, in which a grace stroke and its main stroke are one, and limbs
//! that do not meet strike together. A second, small network is given what the first heard and 32 bands of short
//! windows every 5 ms, and was taught strokes that lie close to each other (`tests/fitting/listen`): four convolutions
//! over time, 68 ms each way.

use std::f64::consts::TAU;
use std::sync::OnceLock;

use rayon::prelude::*;

use super::network::Source;
use super::product::{Layer, convolve};
use super::{Heard, Sound, TRAINED_PEAK, peak_of};
use crate::audio::power::Powers;
use crate::audio::{RATE, Recording};
use crate::units::Seconds;

/// Samples between two frames: 5 ms.
pub(super) const HOP: usize = 220;

/// Samples of a window, 12 ms, and of the transform that it is filled up to.
const WINDOW: usize = 512;
const TRANSFORM: usize = 1024;

/// Bands of a frame, their range in Hz, and where their spacing turns from even in Hz to even in octaves.
pub(super) const BANDS: usize = 32;
const RANGE: (f64, f64) = (80.0, 18_000.0);
const CORNER: f64 = 400.0;

/// Half the width of a band in Hz, at least: two bins.
const NARROWEST: f64 = 86.0;

/// The power under which nothing is told apart.
const FLOOR: f32 = 1e-5;

/// What the first network says of these is given to the second, as log odds.
const TOLD: [Sound; 6] = [
    Sound::Kick,
    Sound::Snare,
    Sound::Tom,
    Sound::Hat,
    Sound::Cymbal,
    Sound::Any,
];
pub(super) const INPUTS: usize = BANDS + TOLD.len();

/// What the second network says, in the order of its outputs.
const SAID: [Sound; 6] = [
    Sound::Any,
    Sound::Kick,
    Sound::Snare,
    Sound::Tom,
    Sound::Hat,
    Sound::Cymbal,
];
pub(super) const OUTPUTS: usize = SAID.len();

/// Log odds are kept in such steps, which two bytes hold.
const GRAIN: f32 = 1.0 / 4096.0;

/// Of several moments at which a sound may begin, one this much nearer to the expected time is as good as one whose log
/// odds are higher by 1.
const NEARER: Seconds = Seconds(0.008);

/// No log odds lie beyond this: within two bytes of [`GRAIN`]s.
const MOST: f32 = 7.99;

/// Rows between the convolutions, their taps, and the frames between the taps of each.
pub(super) const HIDDEN: usize = 56;
pub(super) const TAPS: usize = 5;
const DILATIONS: [usize; 4] = [1, 1, 2, 4];

/// Frames on either side that one output depends on.
const CONTEXT: usize = 16;

/// Frames worked on at once; a chunk also sees [`CONTEXT`] frames on both sides.
const CHUNK: usize = 2000;

/// Weights as 16-bit floats, least significant byte first, in the order in which [`Network::read`] takes them.
pub(super) static WEIGHTS: &[u8] = include_bytes!("sharp.f16");

/// How likely anything begins, and how likely each of the main sounds does, every 5 ms.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sharp {
    /// Log odds of each frame in the order of [`SAID`], in steps of [`GRAIN`].
    frames: Vec<[i16; OUTPUTS]>,
    start: Seconds,
}

impl Sharp {
    /// Listens to the whole recording, on all cores; the result does not depend on how many there are. Where nothing
    /// was heard, nothing is heard.
    pub fn listen(recording: &Recording, heard: &Heard) -> Sharp {
        Sharp::listen_by(recording, heard, CHUNK)
    }

    pub(super) fn listen_by(recording: &Recording, heard: &Heard, chunk: usize) -> Sharp {
        let peak = peak_of(recording);
        if peak <= 0.0 || heard.is_empty() {
            return Sharp::default();
        }
        let total = recording.len() / HOP + 1;
        let net = Network::trained();
        let mut frames = vec![[0; OUTPUTS]; total];
        frames
            .par_chunks_mut(chunk)
            .enumerate()
            .for_each(|(number, out)| {
                let first = number * chunk;
                let begin = first.saturating_sub(CONTEXT);
                let end = (first + out.len() + CONTEXT).min(total);
                let seen = seen(recording, heard, begin, end - begin, TRAINED_PEAK / peak);
                let odds = net.run(&seen, end - begin);
                for (sound, row) in odds.chunks_exact(end - begin).enumerate() {
                    let own = out.iter_mut().zip(row.iter().skip(first - begin));
                    own.for_each(|(out, odds)| out[sound] = (odds.clamp(-MOST, MOST) / GRAIN) as i16);
                }
            });
        Sharp {
            frames,
            start: recording.start,
        }
    }

    /// Where a time of the file lies, in frames.
    pub(crate) fn place(&self, time: Seconds) -> f32 {
        ((time - self.start).0 * f64::from(RATE) / HOP as f64) as f32
    }

    /// When `sound`, which strikes around `time`, begins: where its log odds peak, the highest and nearest peak within
    /// `reach`. Between frames by the parabola through three of them. `None` where they peak nowhere.
    pub(crate) fn begins(&self, sound: Sound, time: Seconds, reach: Seconds) -> Option<Seconds> {
        let frame = Seconds(HOP as f64 / f64::from(RATE));
        let first = (self.place(time - reach).ceil()).max(1.0) as usize;
        let after = (self.place(time + reach) + 1.0).max(0.0) as usize;
        let peak = |k: usize| {
            let around = [
                self.odds(sound, k - 1)?,
                self.odds(sound, k)?,
                self.odds(sound, k + 1)?,
            ];
            (around[1] >= around[0] && around[1] > around[2]).then(|| {
                let at = self.start + frame * (k as f64 + f64::from(super::strokes::summit(around)));
                (at, f64::from(around[1]) - (at - time).0.abs() / NEARER.0)
            })
        };
        let best = (first..after).filter_map(peak).max_by(|a, b| a.1.total_cmp(&b.1));
        best.map(|(at, _)| at)
    }

    /// Log odds that a sound begins at a place, between two frames on the line between theirs.
    pub(crate) fn at(&self, sound: Sound, place: f32) -> f32 {
        let last = self.frames.len().saturating_sub(1) as f32;
        let place = place.clamp(0.0, last);
        let before = place as usize;
        let here = self.odds(sound, before).unwrap_or(-MOST);
        let next = self.odds(sound, before + 1).unwrap_or(here);
        here + (next - here) * place.fract()
    }

    /// The highest log odds of the frames around two places and between them; of no frame the lowest there are.
    pub(crate) fn highest(&self, sound: Sound, from: f32, to: f32) -> f32 {
        self.frames_of(sound, from, to).fold(-MOST, f32::max)
    }

    /// The lowest; `None` of no frame.
    pub(crate) fn lowest(&self, sound: Sound, from: f32, to: f32) -> Option<f32> {
        self.frames_of(sound, from, to).reduce(f32::min)
    }

    fn frames_of(&self, sound: Sound, from: f32, to: f32) -> impl Iterator<Item = f32> + '_ {
        let first = from.round().max(0.0) as usize;
        let after = ((to.round() + 1.0).max(0.0) as usize).min(self.frames.len());
        (first..after).filter_map(move |k| self.odds(sound, k))
    }

    /// Log odds of a sound in a frame; `None` where there is no such frame, or of a sound that is not listened for.
    fn odds(&self, sound: Sound, frame: usize) -> Option<f32> {
        let row = SAID.iter().position(|said| *said == sound)?;
        Some(f32::from(self.frames.get(frame)?[row]) * GRAIN)
    }
}

/// What the network is given of `count` frames from `begin` on: [`INPUTS`] rows.
fn seen(recording: &Recording, heard: &Heard, begin: usize, count: usize, gain: f32) -> Vec<f32> {
    let mut out = vec![0.0f32; INPUTS * count];
    let (loud, told) = out.split_at_mut(BANDS * count);
    look(recording, begin, count, gain, loud);
    for (row, sound) in told.chunks_exact_mut(count.max(1)).zip(TOLD) {
        for (k, value) in row.iter_mut().enumerate() {
            let place = ((begin + k) * HOP) as f64 / super::HOP as f64;
            *value = told_at(heard, sound, place);
        }
    }
    out
}

/// Log odds of a sound at a place in frames of the first network.
fn told_at(heard: &Heard, sound: Sound, place: f64) -> f32 {
    let last = heard.len().saturating_sub(1);
    let before = (place as usize).min(last);
    let odds = |k: usize| {
        let likely = heard.at(k.min(last), sound);
        ((likely + 1e-4) / (1.0 - likely + 1e-4)).ln().clamp(-MOST, MOST)
    };
    let share = (place - before as f64).min(1.0) as f32;
    odds(before) + (odds(before + 1) - odds(before)) * share
}

/// Common logarithms of the power in each band of a short window around every frame: [`BANDS`] rows.
pub(super) fn look(recording: &Recording, begin: usize, count: usize, gain: f32, out: &mut [f32]) {
    let mut samples = vec![0.0f32; count.saturating_sub(1) * HOP + WINDOW];
    recording.read_mono((begin * HOP) as isize - (WINDOW / 2) as isize, &mut samples);
    let turn = |i: usize| TAU * i as f64 / (WINDOW - 1) as f64;
    let window: Vec<f32> = (0..WINDOW)
        .map(|i| ((0.5 - 0.5 * turn(i).cos()) * f64::from(gain)) as f32)
        .collect();
    let bands = bands();
    let transform = Powers::new(TRANSFORM, window);
    let mut room = transform.room();
    for (column, frame) in samples.windows(WINDOW).step_by(HOP).take(count).enumerate() {
        let powers = transform.of(frame, &mut room);
        for ((first, weights), row) in bands.iter().zip(out.chunks_exact_mut(count.max(1))) {
            let part = powers.get(*first..).unwrap_or_default();
            let sum: f32 = weights.iter().zip(part).map(|(w, p)| w * p).sum();
            row[column] = (sum + FLOOR).log10();
        }
    }
}

/// First bin and weights of each band: triangles.
fn bands() -> Vec<(usize, Vec<f32>)> {
    let warp = |f: f64| (f / CORNER).ln_1p();
    let step = (warp(RANGE.1) - warp(RANGE.0)) / (BANDS + 1) as f64;
    let bin = f64::from(RATE) / TRANSFORM as f64;
    let band = |number: usize| {
        let centre = warp(RANGE.0) + step * (number + 1) as f64;
        let reach = step.max(warp(CORNER * centre.exp_m1() + NARROWEST) - centre);
        let inside: Vec<(usize, f32)> = (0..=TRANSFORM / 2)
            .map(|k| (k, 1.0 - (warp(k as f64 * bin) - centre).abs() / reach))
            .filter(|(_, weight)| *weight > 0.0)
            .map(|(k, weight)| (k, weight as f32))
            .collect();
        let first = inside.first().map_or(0, |(k, _)| *k);
        (first, inside.into_iter().map(|(_, weight)| weight).collect())
    };
    (0..BANDS).map(band).collect()
}

pub(super) struct Network {
    /// Gain and offset of each input.
    gains: Vec<f32>,
    offsets: Vec<f32>,
    layers: Vec<Layer>,
    last: Layer,
}

impl Network {
    /// The network with its committed weights, read once.
    pub(super) fn trained() -> &'static Network {
        static NETWORK: OnceLock<Network> = OnceLock::new();
        NETWORK.get_or_init(|| Network::read(&mut Source(WEIGHTS)))
    }

    fn read(source: &mut Source<'_>) -> Network {
        Network {
            gains: source.take(INPUTS),
            offsets: source.take(INPUTS),
            layers: (0..DILATIONS.len())
                .map(|at| source.layer(HIDDEN, if at == 0 { INPUTS } else { HIDDEN }, TAPS))
                .collect(),
            last: source.layer(OUTPUTS, HIDDEN, 1),
        }
    }

    /// From [`INPUTS`] rows of `frames` numbers to [`OUTPUTS`] rows of log odds.
    pub(super) fn run(&self, seen: &[f32], frames: usize) -> Vec<f32> {
        let mut line: Vec<f32> = seen
            .chunks_exact(frames.max(1))
            .zip(self.gains.iter().zip(&self.offsets))
            .flat_map(|(row, (gain, offset))| row.iter().map(move |x| x * gain + offset))
            .collect();
        for (at, (layer, dilation)) in self.layers.iter().zip(DILATIONS).enumerate() {
            let out = convolve(layer, dilation, &line, frames);
            if at == 0 {
                line = out.into_iter().map(|x| x.max(0.0)).collect();
            } else {
                line.iter_mut().zip(out).for_each(|(l, o)| *l += o.max(0.0));
            }
        }
        convolve(&self.last, 0, &line, frames)
    }
}
