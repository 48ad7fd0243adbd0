//! [`Recording`] -> [`Spectrum`]: how much sounds in each band, every 2.5 ms, on each side.
//!
//! Magnitudes of a short-time Fourier transform, summed by power into bands of one bin below 340 Hz and a fifth of an
//! octave above, each divided by its mean over the recording so that a cymbal weighs as much as a kick. Left and right
//! stay apart: where a drum stands tells it from others.

use rayon::prelude::*;
use realfft::RealFftPlanner;

use crate::audio::{RATE, Recording};
use crate::units::Seconds;

/// Samples from one frame to the next: 2.5 ms.
const HOP: usize = 110;
/// Samples in a window: 23 ms.
const WINDOW: usize = 1024;
/// Bins up to this one are bands of their own.
const SINGLE: usize = 8;
/// Bands in an octave above, and where they end (Hz).
const OCTAVE: f64 = 5.0;
const HIGHEST: f64 = 16_500.0;
/// Frames that one task transforms.
const BLOCK: usize = 512;
/// Nothing counts as softer than this share of a band's mean: it keeps quotients finite.
const FLOOR: f32 = 1e-3;

/// Magnitudes, frame by frame; frame `n` is centred on sample `n * HOP`.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Spectrum {
    /// Bands of one side after those of the other.
    width: usize,
    sides: usize,
    cells: Vec<f32>,
    /// What one unit of each band is worth, and the band's middle in Hz.
    units: Vec<f32>,
    middles: Vec<f64>,
    start: Seconds,
}

impl Spectrum {
    /// The spectrum of a recording; of more than two channels the first two.
    pub(super) fn of(recording: &Recording) -> Spectrum {
        let edges = edges();
        let sides = recording.channels().clamp(1, 2);
        let width = (edges.len() - 1) * sides;
        let frames = if recording.is_empty() {
            0
        } else {
            recording.len() / HOP + 1
        };
        let mut cells = vec![0.0f32; frames * width];
        let transform = RealFftPlanner::<f32>::new().plan_fft_forward(WINDOW);
        let turn = |i: usize| std::f64::consts::TAU * i as f64 / WINDOW as f64;
        let window: Vec<f32> = (0..WINDOW).map(|i| (0.5 - 0.5 * turn(i).cos()) as f32).collect();
        cells
            .par_chunks_mut((BLOCK * width).max(1))
            .enumerate()
            .for_each(|(block, rows)| {
                let mut samples = vec![0.0f32; (BLOCK - 1) * HOP + WINDOW];
                let (mut input, mut output) = (transform.make_input_vec(), transform.make_output_vec());
                for side in 0..sides {
                    let from = (block * BLOCK * HOP) as isize - (WINDOW / 2) as isize;
                    recording.read(side, from, &mut samples);
                    for (row, seen) in rows.chunks_mut(width).zip(samples.windows(WINDOW).step_by(HOP)) {
                        input
                            .iter_mut()
                            .zip(seen.iter().zip(&window))
                            .for_each(|(i, (s, w))| *i = s * w);
                        if transform.process(&mut input, &mut output).is_err() {
                            continue;
                        }
                        let own = row.iter_mut().skip(side * (edges.len() - 1));
                        for (cell, edge) in own.zip(edges.windows(2)) {
                            let bins = output.get(edge[0]..edge[1]).unwrap_or_default();
                            *cell = bins.iter().map(|c| c.norm_sqr()).sum::<f32>().sqrt();
                        }
                    }
                }
            });
        let mut units = vec![0.0f64; width];
        for row in cells.chunks(width.max(1)) {
            units.iter_mut().zip(row).for_each(|(u, c)| *u += f64::from(*c));
        }
        let units: Vec<f32> = units
            .iter()
            .map(|u| (u / frames.max(1) as f64).max(1e-9) as f32)
            .collect();
        for row in cells.chunks_mut(width.max(1)) {
            row.iter_mut().zip(&units).for_each(|(c, u)| *c = *c / u + FLOOR);
        }
        let bin = f64::from(RATE) / WINDOW as f64;
        let middles = edges
            .windows(2)
            .map(|e| (e[0] + e[1] - 1) as f64 / 2.0 * bin)
            .collect();
        Spectrum {
            width,
            sides,
            cells,
            units,
            middles,
            start: recording.start,
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.cells.is_empty()
    }

    /// Cells in a frame.
    pub(super) fn width(&self) -> usize {
        self.width
    }

    /// One or two sides.
    pub(super) fn sides(&self) -> usize {
        self.sides
    }

    pub(super) fn frames(&self) -> usize {
        self.cells.len() / self.width.max(1)
    }

    /// `count` frames from `from` on; nothing when they are not all inside.
    pub(super) fn rows(&self, from: isize, count: usize) -> Option<&[f32]> {
        let from = usize::try_from(from).ok()?;
        self.cells.get(from * self.width..(from + count) * self.width)
    }

    /// All frames.
    pub(super) fn cells(&self) -> &[f32] {
        &self.cells
    }

    /// The frame, with its fraction, at a time.
    pub(super) fn frame(&self, time: f64) -> f64 {
        (time - self.start.0) * f64::from(RATE) / HOP as f64
    }

    /// The time of a frame, seconds.
    pub(super) fn time(&self, frame: f64) -> f64 {
        self.start.0 + frame * HOP as f64 / f64::from(RATE)
    }

    /// A frame as it would be if all frequencies were `ratio` times as high.
    pub(super) fn moved(&self, row: &[f32], ratio: f64, out: &mut [f32]) {
        let bands = self.middles.len();
        for (side, (own, to)) in row.chunks(bands).zip(out.chunks_mut(bands)).enumerate() {
            let units = self.units.get(side * bands..).unwrap_or_default();
            let value = |i: usize| {
                own.get(i).copied().unwrap_or_default() * units.get(i).copied().unwrap_or_default()
            };
            for ((cell, unit), middle) in to.iter_mut().zip(units).zip(&self.middles) {
                let from = middle / ratio;
                let above = self.middles.partition_point(|m| *m < from).clamp(1, bands - 1);
                let (low, high) = match self.middles.get(above - 1..=above) {
                    Some([low, high]) => (low.ln(), high.ln()),
                    _ => continue,
                };
                let share = ((from.ln() - low) / (high - low)).clamp(0.0, 1.0) as f32;
                *cell = (value(above - 1) * (1.0 - share) + value(above) * share) / unit;
            }
        }
    }
}

/// First bin of each band and, last, the bin after the highest.
fn edges() -> Vec<usize> {
    let mut edges: Vec<usize> = (1..=SINGLE).collect();
    let mut edge = SINGLE as f64;
    while edge * (1.0 / OCTAVE).exp2() * f64::from(RATE) / (WINDOW as f64) < HIGHEST {
        edge *= (1.0 / OCTAVE).exp2();
        edges.push(edge.round() as usize);
    }
    edges.dedup();
    edges
}
