//! Samples -> FLAC (RFC 9639, 2024), which every browser decodes to the very samples that went in, at half the size.
//!
//! Block by block, so that no more than one is in memory besides the bytes, and with the format's fixed predictors
//! alone: fitted ones make drums a few hundredths smaller and take four times as long. The checksum over all samples is
//! left out, as the format allows; each frame has its own.

mod bits;
mod rice;

use bits::{Bits, crc_8, crc_16};

const BITS: u32 = 16;
/// Highest order of the fixed predictors that are tried: on drums higher ones save less than a hundredth.
const ORDER: usize = 2;
/// Frames in a block; sound is filled up with silence to whole blocks, since decoders refuse very short ones.
const BLOCK: usize = 4096;
/// What stands for that length, for the rate, and for 16 bits a sample in the head of each frame.
const BLOCK_CODE: u64 = 12;
const RATE_AS_SAID_FIRST: u64 = 0;
const BITS_CODE: u64 = 4;

/// Encodes one or two channels of the same length, full scale 1, with 16 bits a sample. Louder samples are clipped.
/// `None` for any other number of channels.
pub(super) fn encode(channels: &[&[f32]], rate: u32) -> Option<Vec<u8>> {
    let blocks = channels.iter().map(|c| c.len()).max()?.max(1).div_ceil(BLOCK);
    let mut out = Bits::default();
    begin(&mut out, rate, channels.len(), blocks * BLOCK);
    for number in 0..blocks {
        let mut sounds = channels.iter().map(|channel| block(channel, number * BLOCK));
        let (pairing, parts) = match (sounds.next(), sounds.next(), sounds.next()) {
            (Some(one), None, _) => (0, vec![Part::new(one, BITS)]),
            (Some(left), Some(right), None) => paired(left, right),
            _ => return None,
        };
        frame(&mut out, number as u64, pairing, &parts);
    }
    Some(out.into_bytes())
}

/// The mark of the format, and what holds for the whole stream.
fn begin(out: &mut Bits, rate: u32, channels: usize, length: usize) {
    const LAST_OF_ITS_KIND: u64 = 0x80;
    const SIZE: u64 = 34;
    b"fLaC".iter().for_each(|byte| out.put(u64::from(*byte), 8));
    out.put(LAST_OF_ITS_KIND, 8);
    out.put(SIZE, 24);
    for _ in ["shortest block", "longest block"] {
        out.put(BLOCK as u64, 16);
    }
    for _ in ["smallest frame", "largest frame"] {
        out.put(0, 24);
    }
    out.put(u64::from(rate), 20);
    out.put(channels as u64 - 1, 3);
    out.put(u64::from(BITS) - 1, 5);
    out.put(length as u64 >> 32, 4);
    out.put(length as u64 & 0xffff_ffff, 32);
    for _ in 0..4 {
        out.put(0, 32);
    }
}

/// One block of a channel as whole numbers, silence beyond its end.
fn block(channel: &[f32], first: usize) -> Vec<i32> {
    let samples = channel.get(first..).unwrap_or_default();
    let mut whole: Vec<i32> = samples
        .iter()
        .take(BLOCK)
        .map(|sample| i32::from(nearest(sample * 32768.0)))
        .collect();
    whole.resize(BLOCK, 0);
    whole
}

/// The nearest whole number, halves away from 0. `as` saturates: what is louder than full scale is clipped, what is no
/// number becomes silence.
fn nearest(x: f32) -> i16 {
    (x + 0.5f32.copysign(x)) as i16
}

/// A channel, or what stands for one, in one block.
struct Part {
    samples: Vec<i32>,
    bits: u32,
    /// The best order of prediction.
    order: usize,
    /// Bits that it takes, about.
    cost: u64,
}

impl Part {
    fn new(samples: Vec<i32>, bits: u32) -> Part {
        let mut sums = [0u64; ORDER + 1];
        // Short rows, whose sums a plain number holds.
        for first in (0..samples.len()).step_by(256) {
            let row = samples.get(first..).unwrap_or_default();
            let (b, c) = (row.get(1..).unwrap_or_default(), row.get(2..).unwrap_or_default());
            let mut few = [0u32; ORDER + 1];
            for ((a, b), c) in row.iter().zip(b).zip(c).take(256) {
                few[0] += c.unsigned_abs();
                few[1] += (c - b).unsigned_abs();
                few[2] += (c - 2 * b + a).unsigned_abs();
            }
            sums.iter_mut()
                .zip(few)
                .for_each(|(sum, few)| *sum += u64::from(few));
        }
        let costs = sums.iter().map(|sum| rice::cost(2 * sum, BLOCK as u64).1);
        let best = costs
            .enumerate()
            .min_by_key(|(_, cost)| *cost)
            .unwrap_or_default();
        Part {
            samples,
            bits,
            order: best.0,
            cost: best.1,
        }
    }

    /// What prediction leaves, with the sign in the lowest bit; what it needs to begin counts as nothing.
    fn left(&self) -> Vec<u32> {
        let folded = |x: i32| ((x << 1) ^ (x >> 31)) as u32;
        let s = self.samples.as_slice();
        let mut left = vec![0; self.order];
        match self.order {
            0 => left.extend(s.iter().map(|c| folded(*c))),
            1 => left.extend(s.windows(2).map(|w| folded(w[1] - w[0]))),
            _ => left.extend(s.windows(3).map(|w| folded(w[2] - 2 * w[1] + w[0]))),
        }
        left
    }

    fn put(&self, out: &mut Bits) {
        const CONSTANT: u64 = 0;
        const FIXED: u64 = 8;
        let sample = |s: &i32| *s as u64 & ((1 << self.bits) - 1);
        let first = self.samples.first().map_or(0, sample);
        // Each kind stands between a zero and one that says that no lower bits are empty.
        if self.samples.iter().all(|s| sample(s) == first) {
            out.put(CONSTANT << 1, 8);
            out.put(first, self.bits);
            return;
        }
        out.put((FIXED | self.order as u64) << 1, 8);
        let begin = self.samples.iter().take(self.order);
        begin.for_each(|s| out.put(sample(s), self.bits));
        rice::put(out, &self.left(), self.order);
    }
}

/// Two channels as they take the fewest bits: as they are, one of them and how they differ, or their middle and that.
/// The number stands for it in the head of a frame.
fn paired(left: Vec<i32>, right: Vec<i32>) -> (u64, Vec<Part>) {
    let both = || left.iter().zip(&right);
    let side = Part::new(both().map(|(l, r)| l - r).collect(), BITS + 1);
    // The lowest bit is that of the side.
    let middle = Part::new(both().map(|(l, r)| (l + r) >> 1).collect(), BITS);
    let (left, right) = (Part::new(left, BITS), Part::new(right, BITS));
    let pairs = [
        (left.cost + right.cost, 1),
        (left.cost + side.cost, 8),
        (side.cost + right.cost, 9),
        (middle.cost + side.cost, 10),
    ];
    match pairs.into_iter().min() {
        Some((_, 8)) => (8, vec![left, side]),
        Some((_, 9)) => (9, vec![side, right]),
        Some((_, 10)) => (10, vec![middle, side]),
        _ => (1, vec![left, right]),
    }
}

fn frame(out: &mut Bits, number: u64, pairing: u64, parts: &[Part]) {
    const BLOCKS_OF_ONE_LENGTH: u64 = 0xfff8;
    let begin = out.bytes().len();
    out.put(BLOCKS_OF_ONE_LENGTH, 16);
    out.put(BLOCK_CODE << 4 | RATE_AS_SAID_FIRST, 8);
    out.put(pairing << 4 | BITS_CODE << 1, 8);
    bits::put_number(out, number);
    let head = crc_8(out.bytes_from(begin));
    out.put(u64::from(head), 8);
    parts.iter().for_each(|part| part.put(out));
    let all = crc_16(out.bytes_from(begin));
    out.put(u64::from(all), 16);
}

#[cfg(test)]
mod tests {
    use std::f32::consts::TAU;
    use std::io::Cursor;

    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use symphonia::core::codecs::audio::AudioDecoderOptions;
    use symphonia::core::formats::TrackType;
    use symphonia::core::formats::probe::Hint;
    use symphonia::core::io::MediaSourceStream;

    use super::*;

    const RATE: u32 = 44_100;

    /// What a decoder that is not ours makes of it: a sample of each channel in turn.
    fn decoded(flac: Vec<u8>) -> Vec<f32> {
        let stream = MediaSourceStream::new(Box::new(Cursor::new(flac)), Default::default());
        let mut format = symphonia::default::get_probe()
            .probe(&Hint::new(), stream, Default::default(), Default::default())
            .unwrap();
        let track = format.default_track(TrackType::Audio).unwrap();
        let mut decoder = symphonia::default::get_codecs()
            .make_audio_decoder(
                track.codec_params.as_ref().unwrap().audio().unwrap(),
                &AudioDecoderOptions::default(),
            )
            .unwrap();
        let (mut all, mut some) = (Vec::new(), Vec::new());
        while let Some(packet) = format.next_packet().unwrap() {
            let sound = decoder.decode(&packet).unwrap();
            assert_eq!(sound.spec().rate(), RATE);
            sound.copy_to_vec_interleaved::<f32>(&mut some);
            all.append(&mut some);
        }
        all
    }

    fn assert_exact(channels: &[Vec<f32>], what: &str) {
        let slices: Vec<&[f32]> = channels.iter().map(Vec::as_slice).collect();
        let out = decoded(encode(&slices, RATE).unwrap());
        let length = channels[0].len().max(1).next_multiple_of(BLOCK);
        assert_eq!(out.len(), length * channels.len(), "{what}");
        for (at, given) in out.chunks_exact(channels.len()).enumerate() {
            for (channel, out) in channels.iter().zip(given) {
                let sample = channel.get(at).map_or(0, |s| nearest(s * 32768.0));
                assert_eq!(f32::from(sample) / 32768.0, *out, "{what}, sample {at}");
            }
        }
    }

    #[test]
    fn a_decoder_gives_back_the_very_samples() {
        let mut dice = ChaCha8Rng::seed_from_u64(9);
        let mut noise = |length: usize, loud: f32| -> Vec<f32> {
            (0..length)
                .map(|_| loud * dice.random_range(-1.0..1.0f32))
                .collect()
        };
        let sine: Vec<f32> = (0..20_000).map(|i| 0.7 * (TAU * i as f32 / 97.0).sin()).collect();
        let drum: Vec<f32> = sine
            .iter()
            .enumerate()
            .map(|(i, s)| s * (-(i as f32) / 900.0).exp())
            .collect();
        let mut loud = noise(10_000, 1.5);
        (loud[3], loud[4], loud[5]) = (f32::NAN, f32::INFINITY, f32::NEG_INFINITY);
        let square: Vec<f32> = (0..9000)
            .map(|i| if i / 2 % 2 == 0 { 1.0 } else { -1.0 })
            .collect();
        let opposite = |x: &[f32]| x.iter().map(|s| -s).collect::<Vec<f32>>();
        assert_exact(&[vec![]], "nothing");
        assert_exact(&[vec![0.25; 5000]], "one value");
        assert_exact(&[noise(1, 1.0)], "one sample");
        assert_exact(&[noise(4096, 0.001), noise(4096, 0.9)], "two noises");
        assert_exact(&[sine.clone(), sine.clone()], "the same on both sides");
        assert_exact(&[sine.clone(), opposite(&sine)], "opposites");
        assert_exact(&[square.clone(), opposite(&square)], "the widest steps");
        assert_exact(&[drum.clone(), noise(20_000, 0.01)], "a drum and noise");
        assert_exact(&[loud], "too loud");
    }

    #[test]
    fn drums_take_half_the_room_and_silence_next_to_none() {
        let drum: Vec<f32> = (0..40_960)
            .map(|i| (i % 9000) as f32)
            .map(|t| 0.5 * (TAU * t / 400.0).sin() * (-t / 2500.0).exp())
            .collect();
        let size = |channels: &[&[f32]]| encode(channels, RATE).map(|flac| flac.len());
        assert!(
            size(&[&drum]).is_some_and(|size| size < drum.len()),
            "{:?}",
            size(&[&drum])
        );
        assert!(size(&[&vec![0.0; 40_960]]).is_some_and(|size| size < 300));
        assert_eq!((size(&[]), size(&[&drum, &drum, &drum])), (None, None));
    }
}
