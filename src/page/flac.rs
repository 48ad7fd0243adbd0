//! Samples -> FLAC, which every browser decodes to the very samples that went in, at half the size.
//!
//! Frame by frame, so that no more than one is in memory besides the bytes, and with the format's fixed predictors
//! alone: fitted ones make drums a few hundredths smaller and take four times as long. The checksum over all samples is
//! left out, as the format allows; each frame has its own.

use flacenc::bitsink::ByteSink;
use flacenc::component::{BitRepr, Stream, StreamInfo};
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
    let mut config = Encoder::default();
    config.subframe_coding.use_lpc = false;
    config.subframe_coding.fixed.max_order = ORDER;
    let config: Verified<Encoder> = config.into_verified().ok()?;
    let mut info = StreamInfo::new(rate as usize, channels.len(), BITS).ok()?;
    let mut buffer = FrameBuf::with_size(channels.len(), BLOCK).ok()?;
    let mut interleaved = vec![0i32; BLOCK * channels.len()];
    let mut frames = ByteSink::new();
    for number in 0..length.div_ceil(BLOCK) {
        interleave(channels, number * BLOCK, &mut interleaved);
        buffer.fill_interleaved(&interleaved).ok()?;
        let frame = flacenc::encode_fixed_size_frame(&config, &buffer, number, &info).ok()?;
        info.update_frame_info(&frame);
        frame.write(&mut frames).ok()?;
    }
    let mut sink = ByteSink::new();
    Stream::with_stream_info(info).write(&mut sink).ok()?;
    Some([sink.as_slice(), frames.as_slice()].concat())
}

/// Fills `out` with the samples of all channels in turn from sample `first` on, silence beyond the end.
fn interleave(channels: &[&[f32]], first: usize, out: &mut [i32]) {
    out.fill(0);
    let sample = |s: &f32| i32::from(whole(s * 32768.0));
    if let [left, right] = channels {
        // Pairs, which the compiler turns into vector instructions.
        let (pairs, _) = out.as_chunks_mut::<2>();
        let both = left.iter().skip(first).zip(right.iter().skip(first));
        pairs
            .iter_mut()
            .zip(both)
            .for_each(|(pair, (l, r))| *pair = [sample(l), sample(r)]);
        return;
    }
    for (at, channel) in channels.iter().enumerate() {
        let samples = channel.get(first..).unwrap_or_default();
        let places = out.iter_mut().skip(at).step_by(channels.len());
        places.zip(samples).for_each(|(place, s)| *place = sample(s));
    }
}

/// The nearest whole number, halves away from 0. `as` saturates: what is louder than full scale is clipped, what is no
/// number becomes silence.
fn whole(x: f32) -> i16 {
    (x + 0.5f32.copysign(x)) as i16
}
