//! A small room around the kit: first reflections from the walls, then a short even tail.
//!
//! Stereo samples in, their reflections out. The tail is a network of four feedback delays mixed by a Hadamard
//! matrix **[P: J.-M. Jot & A. Chaigne, Digital delay networks for designing artificial reverberators, 90th AES
//! Convention, 1991]** with dull walls.

use crate::audio::RATE;

/// First reflections: milliseconds after the sound, share of it, and of the other side's sound **[M]**.
const WALLS: [(f64, f64, f64); 6] = [
    (6.1, 0.50, 0.10),
    (9.7, 0.12, 0.42),
    (13.3, 0.38, 0.12),
    (17.9, 0.14, 0.33),
    (24.1, 0.26, 0.16),
    (31.7, 0.15, 0.22),
];
/// Lengths of the four delays in samples: without common factors, so that their echoes do not meet.
const DELAYS: [usize; 4] = [1117, 1361, 1571, 1823];
/// How much of its highs the sound loses at a wall **[M]**.
const DULL: f32 = 0.45;

/// What the room gives back of `dry` (left, right); it falls by 60 dB in `seconds`.
pub(super) fn reflections(dry: &[Vec<f32>; 2], seconds: f64) -> [Vec<f32>; 2] {
    let rate = f64::from(RATE);
    let length = dry[0].len();
    let mut wet = [vec![0.0f32; length], vec![0.0f32; length]];
    let scale = seconds.clamp(0.05, 3.0);
    for (side, out) in wet.iter_mut().enumerate() {
        for (k, (ms, same, other)) in WALLS.iter().enumerate() {
            // The two sides hear each wall at slightly different times.
            let late = ((ms + 0.37 * (side * (k + 1)) as f64) * 1e-3 * rate) as usize;
            let (here, there) = (&dry[side], &dry[1 - side]);
            for ((o, a), b) in out.iter_mut().skip(late).zip(here).zip(there) {
                *o += a * *same as f32 + b * *other as f32;
            }
        }
    }
    let gains = DELAYS.map(|d| 10f64.powf(-3.0 * d as f64 / (scale * rate)) as f32);
    let mut lines = DELAYS.map(|d| vec![0.0f32; d]);
    let mut dull = [0.0f32; 4];
    for i in 0..length {
        let mut heard = [0.0f32; 4];
        for (k, line) in lines.iter().enumerate() {
            let x = line[i % line.len()];
            dull[k] = x * (1.0 - DULL) + dull[k] * DULL;
            heard[k] = dull[k] * gains[k];
        }
        let [a, b, c, d] = heard;
        let mixed = [a + b + c + d, a - b + c - d, a + b - c - d, a - b - c + d];
        let (left, right) = (wet[0][i], wet[1][i]);
        let fed = [left, right, left, right];
        for (k, line) in lines.iter_mut().enumerate() {
            let at = i % line.len();
            line[at] = 0.5 * mixed[k] + 0.35 * fed[k];
        }
        wet[0][i] = left + a + c;
        wet[1][i] = right + b + d;
    }
    wet
}
