//! Sample-rate conversion block by block: floats at the file's rate -> floats at [`RATE`].
//!
//! A windowed-sinc filter applied by Fourier transform (rubato). Its delay is half a transform block. The block is
//! an even number of the smallest unit in which both rates are whole, so the delay is a whole number of samples on
//! either side and is cut off at the start exactly: sample n of the output lies at the same time as the input.

use rubato::audioadapter_buffers::direct::SequentialSliceOfVecs;
use rubato::{Fft, FixedSync, Resampler};

use super::RATE;

/// Frames at the file's rate in one transform, at least.
const BLOCK: usize = 1024;

/// Converts one stream of blocks.
pub(super) struct Converter {
    fft: Fft<f32>,
    /// Input that does not fill a block yet.
    waiting: Vec<Vec<f32>>,
    block: Vec<Vec<f32>>,
    /// Frames of delay still to drop.
    drop: usize,
    /// Frames still to hand out.
    left: u64,
}

impl Converter {
    /// A converter of `frames` frames in all.
    pub(super) fn new(rate: u32, channels: usize, frames: u64) -> Result<Self, String> {
        let unit = rate / gcd(rate, RATE);
        let units = (BLOCK as u32).div_ceil(unit).next_multiple_of(2);
        let fft = Fft::new_custom(
            rate as usize,
            RATE as usize,
            (units * unit) as usize,
            1,
            channels,
            rubato::WindowFunction::BlackmanHarris2,
            FixedSync::Both,
        )
        .map_err(|e| e.to_string())?;
        Ok(Converter {
            block: vec![vec![0.0; fft.output_frames_max()]; channels],
            waiting: vec![Vec::new(); channels],
            drop: fft.output_delay(),
            left: converted(frames, rate),
            fft,
        })
    }

    /// Takes the next block in and hands out what is ready.
    pub(super) fn push(
        &mut self,
        input: &[Vec<f32>],
        visit: &mut dyn FnMut(&[Vec<f32>]),
    ) -> Result<(), String> {
        for (waiting, channel) in self.waiting.iter_mut().zip(input) {
            waiting.extend_from_slice(channel);
        }
        let need = self.fft.input_frames_next();
        while self.waiting.first().is_some_and(|w| w.len() >= need) {
            self.convert(need, visit)?;
        }
        Ok(())
    }

    /// Hands out the rest: the input is over and silence follows.
    pub(super) fn finish(&mut self, visit: &mut dyn FnMut(&[Vec<f32>])) -> Result<(), String> {
        let need = self.fft.input_frames_next();
        while self.left > 0 && !self.waiting.is_empty() {
            self.waiting.iter_mut().for_each(|w| w.resize(need, 0.0));
            self.convert(need, visit)?;
        }
        Ok(())
    }

    fn convert(&mut self, need: usize, visit: &mut dyn FnMut(&[Vec<f32>])) -> Result<(), String> {
        let channels = self.waiting.len();
        let room = self.fft.output_frames_next();
        self.block.iter_mut().for_each(|b| b.resize(room, 0.0));
        let input = SequentialSliceOfVecs::new(&self.waiting, channels, need).map_err(|e| e.to_string())?;
        let mut output =
            SequentialSliceOfVecs::new_mut(&mut self.block, channels, room).map_err(|e| e.to_string())?;
        let (_, got) = self
            .fft
            .process_into_buffer(&input, &mut output, None)
            .map_err(|e| e.to_string())?;
        let skip = self.drop.min(got);
        self.drop -= skip;
        let keep = (got - skip).min(usize::try_from(self.left).unwrap_or(usize::MAX));
        self.left -= keep as u64;
        for channel in &mut self.block {
            channel.truncate(skip + keep);
            channel.drain(..skip);
        }
        self.waiting.iter_mut().for_each(|w| drop(w.drain(..need)));
        visit(&self.block);
        Ok(())
    }
}

/// How many frames at [`RATE`] last as long as `frames` frames at `rate`.
pub(super) fn converted(frames: u64, rate: u32) -> u64 {
    let (frames, rate) = (u128::from(frames), u128::from(rate.max(1)));
    u64::try_from((frames * u128::from(RATE) + rate / 2) / rate).unwrap_or(u64::MAX)
}

fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a.max(1) } else { gcd(b, a % b) }
}
