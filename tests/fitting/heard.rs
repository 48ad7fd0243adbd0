//! Writes what the first network hears in sound that comes on the standard input, for the fitting scripts.
//!
//! In, little-endian: number of samples (u32), samples at 44.1 kHz (f32). Out: for every frame of 10 ms the likelihood
//! of every sound (f32), in the order of `listen::Sound`.

use std::io::{Read, Write, stdin, stdout};

use overbar::audio::Recording;
use overbar::listen::{Sound, listen};

fn main() -> std::io::Result<()> {
    let mut bytes = Vec::new();
    stdin().lock().read_to_end(&mut bytes)?;
    let samples = bytes.get(4..).unwrap_or_default().as_chunks().0;
    let sound: Vec<f32> = samples.iter().map(|b| f32::from_le_bytes(*b)).collect();
    let heard = listen(&Recording::from_channels(&[sound]));
    let frames = 0..heard.len();
    let likely = frames.flat_map(|k| Sound::ALL.map(|sound| heard.at(k, sound).to_le_bytes()));
    stdout().lock().write_all(&likely.flatten().collect::<Vec<u8>>())
}
