//! Test files made by hand, and how to read them without a disk.

mod coded;
mod faults;
mod files;
mod forms;
mod parts;

use std::io::Cursor;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::*;
use crate::options::AudioOptions;

/// How a test file is laid out.
#[derive(Clone, Copy)]
struct Form {
    tag: u16,
    bits: u16,
    bytes: u16,
    extensible: bool,
}

const PCM: Form = form(1, 16, 2, false);

const fn form(tag: u16, bits: u16, bytes: u16, extensible: bool) -> Form {
    Form {
        tag,
        bits,
        bytes,
        extensible,
    }
}

/// Every form that is to be read.
const FORMS: &[Form] = &[
    form(1, 8, 1, false),
    form(1, 12, 2, true),
    form(1, 16, 2, false),
    form(1, 16, 2, true),
    form(1, 20, 3, true),
    form(1, 20, 4, true),
    form(1, 24, 3, false),
    form(1, 24, 3, true),
    form(1, 24, 4, false),
    form(1, 24, 4, true),
    form(1, 32, 4, false),
    form(3, 32, 4, false),
    form(3, 32, 4, true),
    form(3, 64, 8, false),
    form(3, 64, 8, true),
];

/// Rates of recorders, and some that share no factor with 44100.
const RATES: &[u32] = &[
    8000, 11_025, 22_050, 32_000, 44_099, 47_999, 48_000, 88_200, 96_000, 176_400, 192_000,
];

fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let mut out = id.to_vec();
    out.extend((body.len() as u32).to_le_bytes());
    out.extend(body);
    out.resize(out.len() + body.len() % 2, 0);
    out
}

fn riff(chunks: &[Vec<u8>]) -> Vec<u8> {
    let body = chunks.concat();
    let mut out = b"RIFF".to_vec();
    out.extend((body.len() as u32 + 4).to_le_bytes());
    out.extend(b"WAVE");
    out.extend(body);
    out
}

fn format_chunk(form: Form, channels: u16, rate: u32) -> Vec<u8> {
    let frame = form.bytes * channels;
    let mut body = Vec::new();
    let (tag, bits) = if form.extensible {
        (0xFFFE, form.bytes * 8)
    } else {
        (form.tag, form.bits)
    };
    body.extend(u16::to_le_bytes(tag));
    body.extend(channels.to_le_bytes());
    body.extend(rate.to_le_bytes());
    body.extend((rate * u32::from(frame)).to_le_bytes());
    body.extend(frame.to_le_bytes());
    body.extend(bits.to_le_bytes());
    if form.extensible {
        body.extend(22u16.to_le_bytes());
        body.extend(form.bits.to_le_bytes());
        body.extend(0u32.to_le_bytes());
        body.extend(form.tag.to_le_bytes());
        body.extend([0, 0, 0, 0, 16, 0, 128, 0, 0, 170, 0, 56, 155, 113]);
    }
    chunk(b"fmt ", &body)
}

/// One sample of -1 to 1 in the upper bits of its container.
fn encode(form: Form, x: f64) -> Vec<u8> {
    match (form.tag, form.bits) {
        (3, 32) => (x as f32).to_le_bytes().to_vec(),
        (3, _) => x.to_le_bytes().to_vec(),
        (_, 8) => vec![(x * 127.0 + 128.0).round() as u8],
        (_, bits) => {
            let whole = (x * ((1i64 << (bits - 1)) - 1) as f64).round() as i64;
            let placed = whole << (form.bytes * 8 - bits);
            placed
                .to_le_bytes()
                .iter()
                .take(usize::from(form.bytes))
                .copied()
                .collect()
        }
    }
}

fn data_of(form: Form, samples: &[f64]) -> Vec<u8> {
    samples.iter().flat_map(|x| encode(form, *x)).collect()
}

fn wav(form: Form, channels: u16, rate: u32, samples: &[f64]) -> Vec<u8> {
    riff(&[
        format_chunk(form, channels, rate),
        chunk(b"data", &data_of(form, samples)),
    ])
}

fn read_part(bytes: &[u8], options: &AudioOptions) -> Result<Recording, AudioError> {
    let mut recording = super::read_bytes(bytes.to_vec(), "take.wav", options)?;
    // Files of different bytes are compared by their sound.
    recording.source.sha256.clear();
    Ok(recording)
}

fn read_bytes(bytes: &[u8]) -> Result<Recording, AudioError> {
    read_part(bytes, &AudioOptions::default())
}

fn refusal(bytes: &[u8]) -> String {
    read_bytes(bytes).unwrap_err().to_string()
}

fn channel(recording: &Recording, channel: usize) -> Vec<f32> {
    let mut out = vec![0.0; recording.len()];
    recording.read(channel, 0, &mut out);
    out
}

fn noise(seed: u64, count: usize) -> Vec<f64> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    (0..count).map(|_| random.random_range(-0.9..0.9)).collect()
}
