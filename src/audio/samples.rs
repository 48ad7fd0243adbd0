//! The samples of a WAV file, block by block: bytes -> floats of full scale 1.
//!
//! An integer of fewer bits than its container stands in the upper bits by the standard, but some writers put it in
//! the lower ones; the unused bits tell which (see [`Samples::settle`]).

use std::io::{self, Read, Seek, SeekFrom};
use std::ops::Range;

use super::wav::{Coding, Header};

/// Frames decoded at a time.
const BLOCK: usize = 4096;

/// What nearly all files have: it is worth a loop of its own.
const USUAL: Coding = Coding::Integer { bytes: 2, bits: 16 };

/// Reads the samples of one file, as often as wanted.
pub(super) struct Samples<R> {
    reader: R,
    header: Header,
    /// Bits by which a container must be shifted up so that its sample stands in the upper ones.
    shift: u32,
    bytes: Vec<u8>,
    block: Vec<Vec<f32>>,
}

impl<R: Read + Seek> Samples<R> {
    /// Samples of the file that `header` describes.
    pub(super) fn new(reader: R, header: Header) -> Self {
        Samples {
            reader,
            shift: 0,
            bytes: Vec::new(),
            block: vec![Vec::with_capacity(BLOCK); usize::from(header.channels)],
            header,
        }
    }

    /// What the file's header says.
    pub(super) fn header(&self) -> &Header {
        &self.header
    }

    /// Hands every block of `frames` to `visit`, one slice a channel, with the number of its first frame. Stops
    /// early where `visit` fails or the file ends.
    pub(super) fn each<E: From<io::Error>>(
        &mut self,
        frames: Range<u64>,
        mut visit: impl FnMut(u64, &[Vec<f32>]) -> Result<(), E>,
    ) -> Result<(), E> {
        self.seek(frames.start)?;
        let mut at = frames.start;
        while at < frames.end {
            let got = self.fill(frames.end - at)?;
            if got == 0 {
                break;
            }
            self.decode();
            visit(at, &self.block)?;
            at += got;
        }
        Ok(())
    }

    /// Finds out whether short integers stand in the upper or the lower bits of their containers: lower if the
    /// lower bits are used and the upper ones carry nothing but the sign or zeros.
    pub(super) fn settle(&mut self) -> io::Result<()> {
        let Coding::Integer { bytes, bits } = self.header.coding else {
            return Ok(());
        };
        let unused = bytes as u32 * 8 - bits;
        if unused == 0 {
            return Ok(());
        }
        self.seek(0)?;
        let (mut lower_used, mut upper_plain) = (false, true);
        let mut left = self.header.frames;
        while left > 0 {
            let got = self.fill(left)?;
            if got == 0 {
                break;
            }
            left -= got;
            for container in self.bytes.chunks_exact(bytes) {
                let value = integer(container);
                let upper = value >> (32 - unused);
                let sign = (value << unused) >> 31;
                // The container stands in the upper bits of `value`.
                lower_used |= value & (((1i64 << (32 - bits)) - 1) as i32) != 0;
                upper_plain &= upper == 0 || upper == sign;
            }
        }
        self.shift = if lower_used && upper_plain { unused } else { 0 };
        Ok(())
    }

    fn seek(&mut self, frame: u64) -> io::Result<()> {
        let start = self.header.data_start + frame * self.frame_bytes() as u64;
        self.reader.seek(SeekFrom::Start(start)).map(|_| ())
    }

    fn frame_bytes(&self) -> usize {
        self.header.coding.bytes() * usize::from(self.header.channels)
    }

    /// Reads the bytes of the next block, at most `left` frames; returns how many whole frames came.
    fn fill(&mut self, left: u64) -> io::Result<u64> {
        let frame = self.frame_bytes();
        let wanted = left.min(BLOCK as u64) * frame as u64;
        self.bytes.clear();
        self.reader.by_ref().take(wanted).read_to_end(&mut self.bytes)?;
        let whole = self.bytes.len() / frame;
        self.bytes.truncate(whole * frame);
        Ok(whole as u64)
    }

    fn decode(&mut self) {
        let (coding, shift) = (self.header.coding, self.shift);
        self.block.iter_mut().for_each(Vec::clear);
        if coding == USUAL {
            let (samples, _) = self.bytes.as_chunks::<2>();
            let float = |s: &[u8; 2]| f32::from(i16::from_le_bytes(*s)) / 32768.0;
            if let [left, right] = self.block.as_mut_slice() {
                // Pairs, which the compiler turns into vector instructions.
                let (pairs, _) = samples.as_chunks::<2>();
                left.extend(pairs.iter().map(|[s, _]| float(s)));
                right.extend(pairs.iter().map(|[_, s]| float(s)));
                return;
            }
            let channels = self.block.len();
            for (at, channel) in self.block.iter_mut().enumerate() {
                let own = samples.iter().skip(at).step_by(channels);
                channel.extend(own.map(float));
            }
            return;
        }
        for frame in self
            .bytes
            .chunks_exact(self.header.coding.bytes() * self.block.len())
        {
            for (channel, sample) in self.block.iter_mut().zip(frame.chunks_exact(coding.bytes())) {
                channel.push(float(coding, shift, sample));
            }
        }
    }
}

/// A container of one to four bytes in the upper bits of an integer.
fn integer(bytes: &[u8]) -> i32 {
    match *bytes {
        [a] => i32::from_le_bytes([0, 0, 0, a]),
        [a, b] => i32::from_le_bytes([0, 0, a, b]),
        [a, b, c] => i32::from_le_bytes([0, a, b, c]),
        [a, b, c, d] => i32::from_le_bytes([a, b, c, d]),
        _ => 0,
    }
}

/// One sample as a float of full scale 1.
fn float(coding: Coding, shift: u32, bytes: &[u8]) -> f32 {
    const FULL: f32 = 2_147_483_648.0;
    match (coding, bytes) {
        (Coding::Unsigned8, [a]) => (f32::from(*a) - 128.0) / 128.0,
        (Coding::Integer { .. }, _) => (integer(bytes) << shift) as f32 / FULL,
        (Coding::Float32, [a, b, c, d]) => f32::from_le_bytes([*a, *b, *c, *d]),
        (Coding::Float64, [a, b, c, d, e, f, g, h]) => {
            f64::from_le_bytes([*a, *b, *c, *d, *e, *f, *g, *h]) as f32
        }
        _ => 0.0,
    }
}
