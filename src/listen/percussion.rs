//! [`Recording`] -> the same without what holds its pitch: strokes are brought out of a band.
//!
//! In a spectrogram strokes are upright lines and held tones level ones, so the median over neighbouring frequencies
//! keeps strokes and the median over neighbouring times keeps tones; each bin keeps the strokes' share of both
//! (Fitzgerald, "Harmonic/percussive separation using median filtering", DAFx 2010).

use std::sync::Arc;

use rayon::prelude::*;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

use crate::audio::Recording;

/// Samples in a window (46 ms), and from one to the next.
const WINDOW: usize = 2048;
const HOP: usize = WINDOW / 4;
const BINS: usize = WINDOW / 2 + 1;

/// Windows (0.36 s) and bins (667 Hz) that a median looks at, on either side of its own.
const REACH: usize = 15;

/// Hops worked on at once.
const CHUNK: usize = 256;

/// Chunks that are in memory at once.
const AT_ONCE: usize = 16;

/// Strokes alone are hardly louder than with the tones between them, never by this factor.
const LOUDER: f32 = 2.0;

/// Squares of Hann windows a quarter apart add up to this [=].
const OVERLAP: f32 = 1.5;

/// The strokes of a recording, one channel.
pub(super) fn percussion(recording: &Recording) -> Recording {
    let separator = Separator::new();
    let span = CHUNK * HOP;
    let parts: Vec<usize> = (0..recording.len().div_ceil(span)).collect();
    let blocks = parts.chunks(AT_ONCE).flat_map(|some| {
        let of =
            |part: &usize| separator.part(recording, part * span, span.min(recording.len() - part * span));
        some.par_iter().map(of).collect::<Vec<_>>()
    });
    let mut strokes = Recording::from_blocks(LOUDER * super::peak_of(recording), blocks);
    strokes.start = recording.start;
    strokes
}

struct Separator {
    forward: Arc<dyn RealToComplex<f32>>,
    back: Arc<dyn ComplexToReal<f32>>,
    window: Vec<f32>,
}

impl Separator {
    fn new() -> Self {
        let mut planner = RealFftPlanner::new();
        let turn = |i: usize| std::f64::consts::TAU * i as f64 / WINDOW as f64;
        Separator {
            forward: planner.plan_fft_forward(WINDOW),
            back: planner.plan_fft_inverse(WINDOW),
            window: (0..WINDOW).map(|i| (0.5 - 0.5 * turn(i).cos()) as f32).collect(),
        }
    }

    /// The strokes in `count` samples from `start` on. Windows lie at the same places whatever the part.
    fn part(&self, recording: &Recording, start: usize, count: usize) -> Vec<f32> {
        // Windows that touch the part, and those that their medians need besides.
        let own = count.div_ceil(HOP) + 3;
        let all = own + 2 * REACH;
        let first = start as isize - ((3 + REACH) * HOP) as isize;
        let mut samples = vec![0.0f32; (all - 1) * HOP + WINDOW];
        recording.read_mono(first, &mut samples);
        let mut spectra = Vec::with_capacity(all);
        let mut windowed = self.forward.make_input_vec();
        for frame in samples.windows(WINDOW).step_by(HOP) {
            let products = frame.iter().zip(&self.window).map(|(s, w)| s * w);
            windowed.iter_mut().zip(products).for_each(|(o, s)| *o = s);
            let mut spectrum = self.forward.make_output_vec();
            // The buffers have the transform's own lengths, the one thing it can complain of.
            let _ = self.forward.process(&mut windowed, &mut spectrum);
            spectra.push(spectrum);
        }
        let rows: Vec<Vec<f32>> = spectra
            .iter()
            .map(|spectrum| spectrum.iter().map(|z| z.norm_sqr().sqrt()).collect())
            .collect();
        let tones: Vec<Vec<f32>> = (0..BINS)
            .map(|bin| medians(&rows.iter().map(|row| row[bin]).collect::<Vec<f32>>()))
            .collect();
        let mut out = vec![0.0f32; (own - 1) * HOP + WINDOW];
        for (number, spectrum) in spectra.iter_mut().enumerate().skip(REACH).take(own) {
            for (bin, (z, stroke)) in spectrum.iter_mut().zip(medians(&rows[number])).enumerate() {
                let (stroke, tone) = (stroke * stroke, tones[bin][number] * tones[bin][number]);
                *z *= stroke / (stroke + tone + f32::MIN_POSITIVE);
            }
            let mut sound = self.back.make_output_vec();
            let _ = self.back.process(spectrum, &mut sound);
            let at = (number - REACH) * HOP;
            let products = sound.iter().zip(&self.window).map(|(s, w)| s * w);
            out[at..].iter_mut().zip(products).for_each(|(o, s)| *o += s);
        }
        let scale = 1.0 / (WINDOW as f32 * OVERLAP);
        out.iter().skip(3 * HOP).take(count).map(|x| x * scale).collect()
    }
}

/// The median of every number and its [`REACH`] neighbours on either side; there is silence beyond the ends.
fn medians(line: &[f32]) -> Vec<f32> {
    let at = |k: isize| {
        usize::try_from(k)
            .ok()
            .and_then(|k| line.get(k))
            .copied()
            .unwrap_or(0.0)
    };
    let reach = REACH as isize;
    let mut sorted: Vec<f32> = (-reach..=reach).map(at).collect();
    sorted.sort_by(f32::total_cmp);
    let mut out = Vec::with_capacity(line.len());
    for k in 0..line.len() as isize {
        out.push(sorted[REACH]);
        // The oldest leaves, the next comes in its place in order.
        let leaves = sorted.partition_point(|x| x.total_cmp(&at(k - reach)).is_lt());
        let next = at(k + reach + 1);
        let comes = sorted.partition_point(|x| x.total_cmp(&next).is_lt());
        if comes > leaves {
            sorted.copy_within(leaves + 1..comes, leaves);
            sorted[comes - 1] = next;
        } else {
            sorted.copy_within(comes..leaves, comes + 1);
            sorted[comes] = next;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::RATE;

    #[test]
    fn medians_are_those_of_sorted_neighbours() {
        let line: Vec<f32> = (0..200).map(|k| ((k * 7919 + 13) % 31) as f32 - 5.0).collect();
        let fast = medians(&line);
        for (k, found) in fast.iter().enumerate() {
            let at = |j: isize| {
                usize::try_from(j)
                    .ok()
                    .and_then(|j| line.get(j))
                    .copied()
                    .unwrap_or(0.0)
            };
            let mut near: Vec<f32> = (-15..=15).map(|d| at(k as isize + d)).collect();
            near.sort_by(f32::total_cmp);
            assert_eq!(*found, near[15], "at {k}");
        }
    }

    fn power(recording: &Recording, from: usize) -> f32 {
        let mut sound = vec![0.0; 2000];
        recording.read_mono(from as isize, &mut sound);
        sound.iter().map(|x| x * x).sum()
    }

    #[test]
    fn a_click_stays_and_a_tone_goes() {
        let seconds = 4 * RATE as usize;
        let mut sound: Vec<f32> = (0..seconds)
            .map(|k| 0.3 * (std::f32::consts::TAU * 440.0 * (k % RATE as usize) as f32 / RATE as f32).sin())
            .collect();
        sound[2 * RATE as usize] += 1.0;
        let mixed = Recording::from_channels(&[sound]);
        let strokes = percussion(&mixed);
        assert_eq!(strokes.len(), mixed.len());
        let (click, tone) = (2 * RATE as usize - 1000, RATE as usize);
        assert!(power(&strokes, tone) < 0.01 * power(&mixed, tone));
        assert!(power(&strokes, click) > 0.5);
    }

    #[test]
    fn parts_fit_together() {
        // Noise of two parts and a bit: near the joint it sounds as anywhere else.
        let mut state = 1u32;
        let noise: Vec<f32> = (0..2 * CHUNK * HOP + 777)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 8) as f32 / (1 << 23) as f32 - 1.0
            })
            .collect();
        let strokes = percussion(&Recording::from_channels(&[noise]));
        let (joint, before) = (
            power(&strokes, CHUNK * HOP - 1000),
            power(&strokes, CHUNK * HOP - 9000),
        );
        assert!((0.7..1.4).contains(&(joint / before)), "{joint} {before}");
    }
}
