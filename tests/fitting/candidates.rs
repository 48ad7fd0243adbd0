//! Writes what `hits::candidates` says of sounds that come on the standard input, for the fitting script: the script
//! and the program then hear with the same ears.
//!
//! In, again and again, little-endian: number of samples (u32), samples at 44.1 kHz (f32). Out: rows (u32), numbers in
//! a row (u32), then the rows (f32): the candidate's time in seconds, its evidence, its context.

use std::io::{Read, Write, stdin, stdout};

use overbar::audio::Recording;
use overbar::hits::{CONTEXT, EVIDENCE, candidates};

fn main() -> std::io::Result<()> {
    let (mut input, mut output) = (stdin().lock(), stdout().lock());
    let mut head = [0u8; 4];
    while input.read_exact(&mut head).is_ok() {
        let mut bytes = vec![0u8; u32::from_le_bytes(head) as usize * 4];
        input.read_exact(&mut bytes)?;
        let sound: Vec<f32> = bytes
            .as_chunks()
            .0
            .iter()
            .map(|b| f32::from_le_bytes(*b))
            .collect();
        let found = candidates(&Recording::from_channels(&[sound]));
        output.write_all(&(found.len() as u32).to_le_bytes())?;
        output.write_all(&((1 + EVIDENCE + CONTEXT) as u32).to_le_bytes())?;
        for candidate in found {
            let row = [candidate.time.0 as f32].into_iter().chain(candidate.evidence);
            for number in row.chain(candidate.context) {
                output.write_all(&number.to_le_bytes())?;
            }
        }
        output.flush()?;
    }
    Ok(())
}
