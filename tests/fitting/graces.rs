//! Writes what `voices::graces::pairs` says of a recording, for the fitting script: the script and the program then
//! hear with the same ears.
//!
//!     graces RECORDING...      for each: RECORDING with the ending .pairs
//!
//! A file holds rows of little-endian f32: number of the stroke, its time, grace and main time in seconds, the pair's
//! numbers. A stroke without pairs has one row of zeros after its time.

use std::error::Error;
use std::fs;
use std::path::PathBuf;

use overbar::audio;
use overbar::options::Options;
use overbar::voices::graces::{NUMBERS, pairs};
use overbar::{hits, listen, voices};

fn main() -> Result<(), Box<dyn Error>> {
    let options = Options::default();
    for path in std::env::args_os().skip(1).map(PathBuf::from) {
        let recording = audio::read(&path, &options.audio)?;
        let heard = listen::listen(&recording);
        let onsets = hits::find(&recording, &heard, &options.hits);
        let hits = voices::singly(&recording, &heard, &onsets, &options.voices);
        let mut bytes = Vec::new();
        for (at, pairs) in pairs(&recording, &heard, &hits) {
            let head = [at as f32, hits[at].time.0 as f32];
            let rows = pairs.iter().map(|p| {
                let times = [p.grace.0 as f32, p.main.0 as f32];
                times.into_iter().chain(p.numbers.iter().copied()).collect()
            });
            let mut rows: Vec<Vec<f32>> = rows.collect();
            if rows.is_empty() {
                rows.push(vec![0.0; 2 + NUMBERS]);
            }
            for number in rows.iter().flat_map(|row| head.iter().chain(row)) {
                bytes.extend(number.to_le_bytes());
            }
        }
        fs::write(path.with_extension("pairs"), bytes)?;
    }
    Ok(())
}
