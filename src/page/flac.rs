//! Samples -> FLAC, which every browser decodes to the very samples that went in, at half the size.

use flacenc::bitsink::ByteSink;
use flacenc::component::BitRepr;
use flacenc::config::Encoder;
use flacenc::error::Verify;
use flacenc::source::MemSource;

const BITS: usize = 16;
/// Frames in a block; sound is filled up with silence to whole blocks, since decoders refuse very short ones.
const BLOCK: usize = 4096;

/// Encodes one or two channels of the same length, full scale 1, with 16 bits a sample. Louder samples are clipped.
/// `None` where the library refuses, which it does for no sound that is made here.
pub(super) fn encode(channels: &[Vec<f32>], rate: u32) -> Option<Vec<u8>> {
    let frames = channels
        .iter()
        .map(Vec::len)
        .max()?
        .next_multiple_of(BLOCK)
        .max(BLOCK);
    // `as` saturates: what is louder than full scale is clipped, what is no number becomes silence.
    let whole = |sample: f32| i32::from((sample * 32768.0).round() as i16);
    let interleaved: Vec<i32> = (0..frames)
        .flat_map(|frame| channels.iter().map(move |c| c.get(frame).copied().unwrap_or(0.0)))
        .map(whole)
        .collect();
    let config = Encoder::default().into_verified().ok()?;
    let source = MemSource::from_samples(&interleaved, channels.len(), BITS, rate as usize);
    let stream = flacenc::encode_with_fixed_block_size(&config, source, BLOCK).ok()?;
    let mut sink = ByteSink::new();
    stream.write(&mut sink).ok()?;
    Some(sink.as_slice().to_vec())
}
