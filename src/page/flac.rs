//! Samples -> FLAC, which every browser decodes to the very samples that went in, at half the size.
//!
//! Frame by frame, so that no more than one is in memory besides the bytes, and with the format's fixed predictors
//! alone: fitted ones make drums a few hundredths smaller and take four times as long. Two channels are kept as the two
//! of left, right, middle and side that promise to be smallest, instead of trying all four. The checksum over all samples is
//! left out, as the format allows; each frame has its own.

use flacenc::bitsink::ByteSink;
use flacenc::component::{BitRepr, ChannelAssignment, Frame, FrameHeader, FrameOffset};
use flacenc::component::{Stream, StreamInfo, SubFrame};
use flacenc::config::Encoder;
use flacenc::error::{Verified, Verify};
use flacenc::source::{Fill, FrameBuf};

const BITS: usize = 16;
/// Highest order of the fixed predictors that are tried: on drums higher ones save less than a hundredth.
const ORDER: usize = 2;
/// Frames in a block; sound is filled up with silence to whole blocks, since decoders refuse very short ones.
const BLOCK: usize = 4096;

/// Encodes one or two channels of the same length, full scale 1, with 16 bits a sample. Louder samples are clipped.
/// `None` where the library refuses, which it does for no sound that is made here.
pub(super) fn encode(channels: &[&[f32]], rate: u32) -> Option<Vec<u8>> {
    let length = channels.iter().map(|c| c.len()).max()?.max(1);
    let rate = rate as usize;
    let mut info = StreamInfo::new(rate, channels.len(), BITS).ok()?;
    let mut coder = Coder::new(rate)?;
    // No larger than the samples are; room that is not filled costs nothing.
    let mut bytes = ByteSink::with_capacity(length.next_multiple_of(BLOCK) * channels.len() * BITS);
    Stream::with_stream_info(info.clone()).write(&mut bytes).ok()?;
    let mut blocks = vec![vec![0i32; BLOCK]; channels.len()];
    for number in 0..length.div_ceil(BLOCK) {
        for (block, channel) in blocks.iter_mut().zip(channels) {
            take(channel.get(number * BLOCK..).unwrap_or_default(), block);
        }
        let (kept, subframes) = match blocks.as_slice() {
            [one] => (ChannelAssignment::Independent(1), vec![coder.plain(one)?]),
            [left, right] => coder.pair(left, right)?,
            _ => return None,
        };
        let offset = FrameOffset::Frame(u32::try_from(number).ok()?);
        let header = FrameHeader::new(BLOCK, kept, BITS, rate, offset).ok()?;
        let frame = Frame::new(header, subframes.into_iter()).ok()?;
        info.update_frame_info(&frame);
        frame.write(&mut bytes).ok()?;
    }
    // What the head tells of the frames is known only now.
    let mut head = ByteSink::new();
    Stream::with_stream_info(info).write(&mut head).ok()?;
    let mut bytes = bytes.into_inner();
    bytes
        .get_mut(..head.as_slice().len())?
        .copy_from_slice(head.as_slice());
    Some(bytes)
}

/// Codes signals one by one.
struct Coder {
    config: Verified<Encoder>,
    plain: StreamInfo,
    /// The difference of two channels has one bit more.
    side: StreamInfo,
    buffer: FrameBuf,
}

impl Coder {
    fn new(rate: usize) -> Option<Coder> {
        let mut config = Encoder::default();
        config.subframe_coding.use_lpc = false;
        config.subframe_coding.fixed.max_order = ORDER;
        Some(Coder {
            config: config.into_verified().ok()?,
            plain: StreamInfo::new(rate, 1, BITS).ok()?,
            side: StreamInfo::new(rate, 1, BITS + 1).ok()?,
            buffer: FrameBuf::with_size(1, BLOCK).ok()?,
        })
    }

    /// A signal of [`BITS`].
    fn plain(&mut self, signal: &[i32]) -> Option<SubFrame> {
        code(&self.config, &mut self.buffer, &self.plain, signal)
    }

    /// Two channels as the two signals from which they can be had again and that promise to be smallest.
    fn pair(&mut self, left: &[i32], right: &[i32]) -> Option<(ChannelAssignment, Vec<SubFrame>)> {
        let both = || left.iter().zip(right);
        let side: Vec<i32> = both().map(|(l, r)| l - r).collect();
        let middle: Vec<i32> = both().map(|(l, r)| (l + r) >> 1).collect();
        let [l, r, s, m] = [left, right, &side, &middle].map(size);
        let ways = [
            (l + s, ChannelAssignment::LeftSide),
            (r + s, ChannelAssignment::RightSide),
            (m + s, ChannelAssignment::MidSide),
            (l + r, ChannelAssignment::Independent(2)),
        ];
        let (_, kept) = ways.into_iter().min_by(|a, b| a.0.total_cmp(&b.0))?;
        let (first, second) = match kept {
            ChannelAssignment::LeftSide => (self.plain(left)?, self.side(&side)?),
            ChannelAssignment::RightSide => (self.side(&side)?, self.plain(right)?),
            ChannelAssignment::MidSide => (self.plain(&middle)?, self.side(&side)?),
            ChannelAssignment::Independent(_) => (self.plain(left)?, self.plain(right)?),
        };
        Some((kept, vec![first, second]))
    }

    fn side(&mut self, signal: &[i32]) -> Option<SubFrame> {
        code(&self.config, &mut self.buffer, &self.side, signal)
    }
}

fn code(
    config: &Verified<Encoder>,
    buffer: &mut FrameBuf,
    info: &StreamInfo,
    signal: &[i32],
) -> Option<SubFrame> {
    buffer.fill_interleaved(signal).ok()?;
    let frame = flacenc::encode_fixed_size_frame(config, buffer, 0, info).ok()?;
    frame.into_parts().1.pop()
}

/// About how many bits a sample of a signal takes: the logarithm of what the predictor of second order leaves.
fn size(signal: &[i32]) -> f32 {
    let left = signal.windows(3).map(|s| (s[0] - 2 * s[1] + s[2]).unsigned_abs());
    // At most 2^18 each, of which a block has 2^12.
    let sum: u32 = left.sum();
    (1.0 + sum as f32 / BLOCK as f32).log2()
}

/// Fills a block with samples as whole numbers, silence beyond their end.
fn take(samples: &[f32], block: &mut [i32]) {
    block.fill(0);
    let places = block.iter_mut().zip(samples);
    places.for_each(|(place, s)| *place = i32::from(whole(s * 32768.0)));
}

/// The nearest whole number, halves away from 0. `as` saturates: what is louder than full scale is clipped, what is no
/// number becomes silence.
fn whole(x: f32) -> i16 {
    (x + 0.5f32.copysign(x)) as i16
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
                let sample = channel.get(at).map_or(0, |s| whole(s * 32768.0));
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
        let near: Vec<f32> = sine
            .iter()
            .zip(noise(20_000, 0.001))
            .map(|(a, b)| a + b)
            .collect();
        assert_exact(&[sine.clone(), near.clone()], "nearly the same");
        assert_exact(&[noise(20_000, 0.01), drum.clone()], "noise and a drum");
        assert_exact(&[near, vec![0.0; 20_000]], "one side silent");
        assert_exact(&[loud], "too loud");
    }
}
