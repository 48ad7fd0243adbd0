//! Strokes -> the samples of a clip at its own rate.

use std::f64::consts::PI;

use overbar::audio::RATE;
use overbar::practice::drums::{Kit, Strike};

use crate::Sound;

/// The loudest sample of every clip: a little under full scale.
const PEAK: f32 = 0.9;
/// Zero crossings of the resampling filter on either side.
const REACH: f64 = 32.0;

impl Sound {
    /// Plays the strokes.
    pub(crate) fn play(&self, strikes: &[Strike]) -> Vec<Vec<f32>> {
        let sides = Kit::new(self.seed, self.character).render(strikes, self.length);
        let channels = if self.stereo {
            sides
        } else {
            vec![
                sides[0]
                    .iter()
                    .zip(&sides[1])
                    .map(|(a, b)| (a + b) / 2.0)
                    .collect(),
            ]
        };
        let mut channels: Vec<Vec<f32>> = channels.iter().map(|c| at_rate(c, self.rate)).collect();
        let peak = channels
            .iter()
            .flatten()
            .fold(0.0f32, |peak, s| peak.max(s.abs()));
        channels.iter_mut().flatten().for_each(|s| *s *= PEAK / peak);
        channels
    }
}

/// The samples at a lower rate, each by the plain sum of a windowed sinc: slow, and the same on every processor.
fn at_rate(samples: &[f32], rate: u32) -> Vec<f32> {
    if rate == RATE {
        return samples.to_vec();
    }
    let ratio = f64::from(RATE) / f64::from(rate);
    let reach = (REACH * ratio) as isize;
    let at = |n: usize| {
        let centre = n as f64 * ratio;
        let first = centre as isize - reach;
        let tap = |i: isize| {
            let x = (i as f64 - centre) / ratio;
            let window = (PI * x / (2.0 * (REACH + 1.0))).cos().powi(2);
            let sinc = if x.abs() < 1e-9 {
                1.0
            } else {
                (PI * x).sin() / (PI * x)
            };
            usize::try_from(i)
                .ok()
                .and_then(|i| samples.get(i))
                .map_or(0.0, |s| f64::from(*s) * sinc * window)
        };
        ((first..=first + 2 * reach).map(tap).sum::<f64>() / ratio) as f32
    };
    (0..(samples.len() as f64 / ratio) as usize).map(at).collect()
}
