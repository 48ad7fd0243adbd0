//! A window of samples -> the power of each bin of its Fourier transform.
//!
//! As `realfft` does it, whose numbers come out, with the last step in wide instructions: the samples, two by two, are the
//! real and imaginary parts of half as many complex numbers, and of the transform of these the wanted one is made.

use std::f64::consts::TAU;
use std::sync::Arc;

use pulp::{Arch, Simd, WithSimd};
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

/// A transform with its window.
pub(crate) struct Powers {
    transform: Arc<dyn Fft<f32>>,
    window: Vec<f32>,
    /// Half of each twiddle factor up to a quarter of the length: real parts, imaginary parts.
    twiddles: [Vec<f32>; 2],
}

/// What a transform works in, used again for every window.
pub(crate) struct Room {
    samples: Vec<Complex<f32>>,
    spectrum: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    /// Real and imaginary parts of the spectrum, with its first bin once more at its end.
    parts: [Vec<f32>; 2],
    powers: Vec<f32>,
}

impl Powers {
    /// A transform of `length` samples, a multiple of 4; a shorter window is followed by silence.
    pub(crate) fn new(length: usize, window: Vec<f32>) -> Powers {
        let turn = |i: usize| -TAU / length as f64 * i as f64;
        let half = |x: f64| x as f32 * 0.5;
        Powers {
            transform: FftPlanner::new().plan_fft_forward(length / 2),
            window,
            twiddles: [
                (0..length / 4).map(|i| half(turn(i).cos())).collect(),
                (0..length / 4).map(|i| half(turn(i).sin())).collect(),
            ],
        }
    }

    pub(crate) fn room(&self) -> Room {
        let half = self.transform.len();
        let none = Complex::default();
        Room {
            samples: vec![none; half],
            spectrum: vec![none; half],
            scratch: vec![none; self.transform.get_outofplace_scratch_len()],
            parts: [vec![0.0; half + 1], vec![0.0; half + 1]],
            powers: vec![0.0; half + 1],
        }
    }

    /// The powers of the window's bins. `samples` has at least as many as the window.
    pub(crate) fn of<'a>(&self, samples: &[f32], room: &'a mut Room) -> &'a [f32] {
        let (windows, samples) = (self.window.as_chunks::<2>().0, samples.as_chunks::<2>().0);
        room.samples.fill(Complex::default());
        let pairs = samples.iter().zip(windows);
        for (to, ([a, b], [v, w])) in room.samples.iter_mut().zip(pairs) {
            *to = Complex { re: a * v, im: b * w };
        }
        self.transform.process_outofplace_with_scratch(
            &mut room.samples,
            &mut room.spectrum,
            &mut room.scratch,
        );
        Arch::new().dispatch(Last { powers: self, room });
        &room.powers
    }
}

/// The last step.
struct Last<'a, 'b> {
    powers: &'a Powers,
    room: &'b mut Room,
}

impl WithSimd for Last<'_, '_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let Room {
            spectrum,
            parts: [real, imaginary],
            powers,
            ..
        } = self.room;
        let half = spectrum.len();
        real.iter_mut()
            .zip(spectrum.iter())
            .for_each(|(re, z)| *re = z.re);
        imaginary
            .iter_mut()
            .zip(spectrum.iter())
            .for_each(|(im, z)| *im = z.im);
        (real[half], imaginary[half]) = (real[0], imaginary[0]);
        let parts = [real.as_slice(), imaginary.as_slice()];
        let twiddles = self.powers.twiddles.each_ref().map(Vec::as_slice);
        let whole = half / 2 / LANES * LANES;
        (0..whole)
            .step_by(LANES)
            .for_each(|bin| both_sides::<LANES>(bin, parts, twiddles, powers));
        (whole..half / 2).for_each(|bin| both_sides::<1>(bin, parts, twiddles, powers));
        if let (Some(first), Some(middle)) = (spectrum.first(), spectrum.get(half / 2)) {
            powers[0] = square(first.re + first.im);
            powers[half / 2] = middle.norm_sqr();
            powers[half] = square(first.re - first.im);
        }
    }
}

/// Bins that are worked out side by side.
const LANES: usize = 16;

/// The powers of `N` bins from `bin` on, and of those that lie as far from the other end.
#[inline(always)]
fn both_sides<const N: usize>(bin: usize, parts: [&[f32]; 2], twiddles: [&[f32]; 2], powers: &mut [f32]) {
    let mirrored = powers.len() - bin - N;
    let from = |row: &[f32], first: usize| -> [f32; N] {
        row.get(first..)
            .and_then(|row| row.first_chunk().copied())
            .unwrap_or([0.0; N])
    };
    let left = parts.map(|part| from(part, bin));
    // Not by `reverse`, which goes through memory.
    let turned = |row: [f32; N]| -> [f32; N] { std::array::from_fn(|n| row[N - 1 - n]) };
    let right = parts.map(|part| turned(from(part, mirrored)));
    let [cosines, sines] = twiddles.map(|row| from(row, bin));
    let (mut low, mut high) = ([0.0; N], [0.0; N]);
    for n in 0..N {
        let (sum_re, sum_im) = (left[0][n] + right[0][n], left[1][n] + right[1][n]);
        let (less_re, less_im) = (left[0][n] - right[0][n], left[1][n] - right[1][n]);
        let turned_re = sum_im * cosines[n] + less_re * sines[n];
        let turned_im = sum_im * sines[n] - less_re * cosines[n];
        let (re, im) = (0.5 * sum_re, 0.5 * less_im);
        low[n] = square(re + turned_re) + square(im + turned_im);
        high[n] = square(re - turned_re) + square(turned_im - im);
    }
    powers[bin..bin + N].copy_from_slice(&low);
    powers[mirrored..mirrored + N].copy_from_slice(&turned(high));
}

#[inline(always)]
fn square(x: f32) -> f32 {
    x * x
}

#[cfg(test)]
mod tests {
    use super::*;
    use realfft::RealFftPlanner;

    #[test]
    fn powers_are_those_of_the_library_to_the_last_bit() {
        for (length, heard) in [(8, 8), (512, 512), (1024, 1024), (1024, 512), (4096, 4096)] {
            let mut state = 5u32;
            let mut noise = || {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 8) as f32 / (1 << 23) as f32 - 1.0
            };
            let window: Vec<f32> = (0..heard).map(|_| noise()).collect();
            let samples: Vec<f32> = (0..heard).map(|_| noise()).collect();
            let transform = RealFftPlanner::<f32>::new().plan_fft_forward(length);
            let mut input = transform.make_input_vec();
            let products = samples.iter().zip(&window).map(|(s, w)| s * w);
            input.iter_mut().zip(products).for_each(|(to, x)| *to = x);
            let mut output = transform.make_output_vec();
            transform.process(&mut input, &mut output).unwrap();
            let powers = Powers::new(length, window);
            let mut room = powers.room();
            let expected: Vec<f32> = output.iter().map(Complex::norm_sqr).collect();
            assert_eq!(powers.of(&samples, &mut room), expected, "{length}");
        }
    }
}
