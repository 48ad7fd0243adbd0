//! Log magnitudes of 96 bands every 10 ms: 64 mel bands of a short window, 32 low bands of a long one.
//!
//! Bands are triangles evenly spaced in mel (2595 log10(1 + f / 700)), each at least two bins wide and of unit sum.

use std::ops::Range;
use std::sync::Arc;

use realfft::{RealFftPlanner, RealToComplex};

use super::HOP;
use crate::audio::{RATE, Recording};

/// Bands a frame.
pub(super) const BANDS: usize = 96;

/// Keeps silence finite: the magnitude under which nothing is told apart.
const FLOOR: f32 = 1e-5;

/// Window length, bands, lowest and highest frequency in Hz.
const VIEWS: [(usize, usize, f64, f64); 2] = [(2048, 64, 40.0, 16_000.0), (8192, 32, 25.0, 1_300.0)];

pub(super) struct Features {
    views: Vec<View>,
}

struct View {
    window: Vec<f32>,
    transform: Arc<dyn RealToComplex<f32>>,
    bands: Vec<Band>,
}

/// The weights of one band from bin `first` on.
struct Band {
    first: usize,
    weights: Vec<f32>,
}

impl Features {
    pub(super) fn new() -> Self {
        let mut planner = RealFftPlanner::new();
        let views = VIEWS.iter().map(|&(size, bands, low, high)| View {
            window: (0..size)
                .map(|i| (0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / size as f64).cos()) as f32)
                .collect(),
            transform: planner.plan_fft_forward(size),
            bands: mel_bands(size, bands, low, high),
        });
        Features {
            views: views.collect(),
        }
    }

    /// The features of `frames`, times `gain`: [`BANDS`] rows, one value a frame in each.
    pub(super) fn of(&self, recording: &Recording, frames: Range<usize>, gain: f32) -> Vec<f32> {
        let count = frames.len();
        let mut out = vec![0.0f32; BANDS * count];
        let mut row = 0;
        for view in &self.views {
            let size = view.window.len();
            let mut samples = vec![0.0f32; size];
            let mut spectrum = view.transform.make_output_vec();
            let mut scratch = view.transform.make_scratch_vec();
            let mut magnitudes = vec![0.0f32; spectrum.len()];
            for (column, frame) in frames.clone().enumerate() {
                recording.read_mono((frame * HOP) as isize - (size / 2) as isize, &mut samples);
                samples
                    .iter_mut()
                    .zip(&view.window)
                    .for_each(|(s, w)| *s *= w * gain);
                // Fails only for buffers of wrong length, and these come from the transform itself.
                if view
                    .transform
                    .process_with_scratch(&mut samples, &mut spectrum, &mut scratch)
                    .is_err()
                {
                    continue;
                }
                let scale = 4.0 / size as f32;
                magnitudes
                    .iter_mut()
                    .zip(&spectrum)
                    .for_each(|(m, s)| *m = s.norm() * scale);
                for (b, band) in view.bands.iter().enumerate() {
                    let sum: f32 = band
                        .weights
                        .iter()
                        .zip(&magnitudes[band.first..])
                        .map(|(w, m)| w * m)
                        .sum();
                    out[(row + b) * count + column] = (sum + FLOOR).ln();
                }
            }
            row += view.bands.len();
        }
        out
    }
}

fn mel_bands(size: usize, count: usize, low: f64, high: f64) -> Vec<Band> {
    let mel = |f: f64| 2595.0 * (1.0 + f / 700.0).log10();
    let hertz = |m: f64| 700.0 * (10f64.powf(m / 2595.0) - 1.0);
    let bin = f64::from(RATE) / size as f64;
    let edge = |i: usize| hertz(mel(low) + (mel(high) - mel(low)) * i as f64 / (count + 1) as f64);
    let triangle = |band: usize| {
        let centre = edge(band + 1);
        let (left, right) = (edge(band).min(centre - bin), edge(band + 2).max(centre + bin));
        let weight = |k: usize| {
            let f = k as f64 * bin;
            ((f - left) / (centre - left))
                .min((right - f) / (right - centre))
                .max(0.0)
        };
        let inside: Vec<usize> = (0..=size / 2).filter(|k| weight(*k) > 0.0).collect();
        let sum: f64 = inside.iter().map(|k| weight(*k)).sum::<f64>() + 1e-9;
        Band {
            first: inside.first().copied().unwrap_or(0),
            weights: inside.iter().map(|k| (weight(*k) / sum) as f32).collect(),
        }
    };
    (0..count).map(triangle).collect()
}
