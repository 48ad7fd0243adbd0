//! A stroke as a sum of ringing modes and bursts of filtered noise.
//!
//! Modal synthesis: what is struck rings in damped sines; what rattles and what is too dense to ring in single sines
//! is noise in a band. In: frequencies in Hz, times in seconds, levels as amplitudes. Out: mono samples at
//! [`RATE`]. Method **[P: P. R. Cook, Real Sound Synthesis for Interactive Applications, A K Peters, 2002]**; filters
//! **[P: R. Bristow-Johnson, Cookbook formulae for audio equalizer biquad filter coefficients, 1998]**.

use std::f64::consts::{FRAC_1_SQRT_2, TAU};

use super::dice::Dice;
use crate::audio::RATE;

/// Sounds are followed down to this amplitude: 80 dB under 1.
const SILENCE: f64 = 1e-4;
/// Natural logarithm of 60 dB: a sound that rings `r` seconds falls by this in `r`.
const SIXTY_DB: f64 = 6.907_755_278_982_137;

/// A damped sine.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mode {
    /// Frequency once the head has come to rest.
    pub(super) hz: f64,
    /// Amplitude at the start.
    pub(super) level: f64,
    /// Time in which it falls by 60 dB.
    pub(super) ring: f64,
    /// Share by which its pitch starts higher, as the stretched head is tighter.
    pub(super) bend: f64,
    /// Time constant in which the pitch comes down.
    pub(super) settle: f64,
}

impl Mode {
    /// A mode whose pitch stays.
    pub(super) const fn steady(hz: f64, level: f64, ring: f64) -> Self {
        Mode {
            hz,
            level,
            ring,
            bend: 0.0,
            settle: 0.01,
        }
    }
}

/// A burst of noise between two frequencies.
#[derive(Debug, Clone, Copy)]
pub(super) struct Noise {
    /// Lower edge.
    pub(super) low: f64,
    /// Upper edge.
    pub(super) high: f64,
    /// Root mean square at its fullest.
    pub(super) level: f64,
    /// Time constant of the rise: cymbals bloom.
    pub(super) rise: f64,
    /// Time in which it falls by 60 dB.
    pub(super) ring: f64,
}

impl Noise {
    /// A burst that is there at once.
    pub(super) const fn burst(low: f64, high: f64, level: f64, ring: f64) -> Self {
        Noise {
            low,
            high,
            level,
            rise: 0.0,
            ring,
        }
    }
}

/// All that sounds in one stroke.
#[derive(Debug, Clone, Default)]
pub(super) struct Recipe {
    /// What rings.
    pub(super) modes: Vec<Mode>,
    /// What rattles and hisses.
    pub(super) noises: Vec<Noise>,
}

impl Recipe {
    /// Adds `other` to it, at `level`.
    pub(super) fn with(mut self, other: Recipe, level: f64) -> Self {
        let quieter = |mode: Mode| Mode {
            level: mode.level * level,
            ..mode
        };
        self.modes.extend(other.modes.into_iter().map(quieter));
        self.noises.extend(other.noises.into_iter().map(|noise| Noise {
            level: noise.level * level,
            ..noise
        }));
        self
    }

    /// Takes highs away as a soft blow does: its contact lasts longer than the short periods, and above about
    /// `corner` Hz little is excited.
    pub(super) fn struck_softly(mut self, corner: f64) -> Self {
        let passed = |hz: f64| 1.0 / (1.0 + (hz / corner).powi(2));
        self.modes
            .iter_mut()
            .for_each(|mode| mode.level *= passed(mode.hz));
        for noise in &mut self.noises {
            noise.level *= passed((noise.low * noise.high).sqrt());
        }
        self
    }

    /// The sound, until it has died away or `longest` seconds have passed.
    pub(super) fn sound(&self, longest: f64, dice: &mut Dice) -> Vec<f32> {
        let cut = (longest.max(0.0) * f64::from(RATE)) as usize;
        let mut out = Vec::new();
        for mode in &self.modes {
            let length = lasts(mode.level, mode.ring, 0.0).min(cut);
            if mode.hz < 0.45 * f64::from(RATE) {
                add_mode(mode, room_for(&mut out, length));
            }
        }
        for noise in &self.noises {
            let length = lasts(noise.level, noise.ring, noise.rise).min(cut);
            add_noise(noise, dice, room_for(&mut out, length));
        }
        out
    }
}

/// Samples until a sound of this amplitude has died away.
fn lasts(level: f64, ring: f64, rise: f64) -> usize {
    let seconds = rise + ring * (level / SILENCE).max(1.0).ln() / SIXTY_DB;
    (seconds * f64::from(RATE)) as usize
}

/// The first `length` samples of `out`, which grows where it is shorter.
fn room_for(out: &mut Vec<f32>, length: usize) -> &mut [f32] {
    if out.len() < length {
        out.resize(length, 0.0);
    }
    out.get_mut(..length).unwrap_or_default()
}

fn add_mode(mode: &Mode, out: &mut [f32]) {
    let rate = f64::from(RATE);
    let step = TAU * mode.hz / rate;
    let fall = (-SIXTY_DB / (mode.ring * rate)).exp();
    if mode.bend == 0.0 {
        // A number turned round the origin and shrunk a little at each sample.
        let (turn_re, turn_im) = (fall * step.cos(), fall * step.sin());
        let (mut re, mut im) = (mode.level, 0.0);
        for o in out {
            *o += im as f32;
            (re, im) = (re * turn_re - im * turn_im, re * turn_im + im * turn_re);
        }
        return;
    }
    let settle = (-1.0 / (mode.settle * rate)).exp();
    let (mut phase, mut level, mut bend) = (0.0f64, mode.level, mode.bend);
    for o in out {
        *o += (level * phase.sin()) as f32;
        phase += step * (1.0 + bend);
        level *= fall;
        bend *= settle;
    }
}

fn add_noise(noise: &Noise, dice: &mut Dice, out: &mut [f32]) {
    let rate = f64::from(RATE);
    let high = noise.high.min(0.45 * rate);
    let (mut low_cut, mut high_cut) = (Biquad::high_pass(noise.low), Biquad::low_pass(high));
    // Even chance between -1 and 1 has a variance of a third, spread over all frequencies.
    let white = (3.0 * rate / 2.0 / (high - noise.low).max(1.0)).sqrt();
    let fall = (-SIXTY_DB / (noise.ring * rate)).exp();
    let rise = if noise.rise > 0.0 {
        (-1.0 / (noise.rise * rate)).exp()
    } else {
        0.0
    };
    let (mut level, mut missing) = (noise.level * white, rise);
    for o in out {
        *o += (level * (1.0 - missing) * high_cut.next(low_cut.next(dice.even()))) as f32;
        level *= fall;
        missing *= rise;
    }
}

/// A second-order Butterworth filter.
#[derive(Debug, Clone)]
pub(super) struct Biquad {
    gain: [f64; 3],
    back: [f64; 2],
    state: [f64; 2],
}

impl Biquad {
    /// Passes what lies above `hz`.
    pub(super) fn high_pass(hz: f64) -> Self {
        Biquad::new(hz, |cos| [(1.0 + cos) / 2.0, -(1.0 + cos), (1.0 + cos) / 2.0])
    }

    /// Passes what lies below `hz`.
    pub(super) fn low_pass(hz: f64) -> Self {
        Biquad::new(hz, |cos| [(1.0 - cos) / 2.0, 1.0 - cos, (1.0 - cos) / 2.0])
    }

    fn new(hz: f64, gain: impl Fn(f64) -> [f64; 3]) -> Self {
        let angle = TAU * hz / f64::from(RATE);
        let alpha = angle.sin() * FRAC_1_SQRT_2;
        let whole = 1.0 + alpha;
        Biquad {
            gain: gain(angle.cos()).map(|g| g / whole),
            back: [-2.0 * angle.cos() / whole, (1.0 - alpha) / whole],
            state: [0.0; 2],
        }
    }

    /// The next sample out for the next one in.
    pub(super) fn next(&mut self, x: f64) -> f64 {
        let ([b0, b1, b2], [a1, a2], [s1, s2]) = (self.gain, self.back, self.state);
        let y = b0 * x + s1;
        self.state = [b1 * x - a1 * y + s2, b2 * x - a2 * y];
        y
    }
}
