//! The click: beats, bars and starts of the figure as three sounds that cannot be taken for each other, or for a drum.
//!
//! In: times and what is counted there. Out: short decaying tones added to sound at [`RATE`].

use super::passage::Count;
use crate::audio::RATE;
use crate::units::Seconds;

/// One click.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Click {
    /// When it sounds.
    pub(super) time: Seconds,
    /// What is counted.
    pub(super) count: Count,
}

/// Pitch in Hz, time constant in seconds and share of the loudest, all [M]: a beat is a high tick, a bar a higher one
/// that lasts, the figure's start a low block.
fn look(count: Count) -> (f64, f64, f64) {
    match count {
        Count::Beat => (1300.0, 0.006, 0.6),
        Count::Bar => (1950.0, 0.018, 0.8),
        Count::Cycle => (620.0, 0.014, 1.0),
    }
}

/// Adds clicks to every channel; the loudest peaks at `level`. With `wrap`, what rings over the end goes on at the
/// beginning, as a loop needs; without, it is cut.
pub(super) fn add(sound: &mut [Vec<f32>], clicks: &[Click], level: f64, wrap: bool) {
    for click in clicks.iter().filter(|click| click.time.0 >= 0.0) {
        let (hz, fall, share) = look(click.count);
        let (start, rate) = (click.time.to_sample(RATE), f64::from(RATE));
        let tone: Vec<f32> = (0..(7.0 * fall * rate) as usize)
            .map(|i| {
                let t = i as f64 / rate;
                (level * share * (-t / fall).exp() * (std::f64::consts::TAU * hz * t).sin()) as f32
            })
            .collect();
        for channel in sound.iter_mut() {
            let length = channel.len();
            for (i, s) in tone.iter().enumerate() {
                let at = if wrap {
                    (start + i) % length.max(1)
                } else {
                    start + i
                };
                if let Some(out) = channel.get_mut(at) {
                    *out += s;
                }
            }
        }
    }
}
