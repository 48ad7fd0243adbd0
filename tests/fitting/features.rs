//! Writes the rows of `voices::features` for sounds that come on the standard input, for the fitting script: the
//! script and the program then hear with the same ears.
//!
//! In, again and again, little-endian: number of samples (u32), number of onsets (u32), samples at 44.1 kHz (f32),
//! onset times in seconds (f64). Out: the numbers in a row (u32), then that many (f32) an onset.

use std::io::{Read, Write, stdin, stdout};

use overbar::audio::Recording;
use overbar::hits::Onset;
use overbar::units::{Decibels, Seconds};
use overbar::voices::features;

fn main() -> std::io::Result<()> {
    let (mut input, mut output) = (stdin().lock(), stdout().lock());
    let mut head = [0u8; 8];
    while input.read_exact(&mut head).is_ok() {
        let [a, b, c, d, e, f, g, h] = head;
        let (samples, onsets) = (u32::from_le_bytes([a, b, c, d]), u32::from_le_bytes([e, f, g, h]));
        let mut bytes = vec![0u8; samples as usize * 4];
        input.read_exact(&mut bytes)?;
        let sound: Vec<f32> = bytes
            .as_chunks()
            .0
            .iter()
            .map(|b| f32::from_le_bytes(*b))
            .collect();
        bytes.resize(onsets as usize * 8, 0);
        input.read_exact(&mut bytes)?;
        let onset = |time: f64| Onset {
            time: Seconds(time),
            level: Decibels(0.0),
            sure: 1.0,
        };
        let onsets: Vec<Onset> = bytes
            .as_chunks()
            .0
            .iter()
            .map(|b| onset(f64::from_le_bytes(*b)))
            .collect();
        output.write_all(&(features::FEATURES as u32).to_le_bytes())?;
        for row in features::rows(&Recording::from_channels(&[sound]), &onsets) {
            let bytes: Vec<u8> = row.iter().flat_map(|x| x.to_le_bytes()).collect();
            output.write_all(&bytes)?;
        }
        output.flush()?;
    }
    Ok(())
}
