//! Reads a recording and writes it again as WAV, for the outside checks.
//!
//!     sound IN OUT

use std::error::Error;
use std::path::Path;

use overbar::audio::{self, RATE};
use overbar::options::AudioOptions;

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [from, to] = args.as_slice() else {
        return Err("usage: sound IN OUT".into());
    };
    let recording = audio::read(Path::new(from), &AudioOptions::default())?;
    let mut channels = vec![vec![0.0; recording.len()]; recording.channels()];
    for (i, channel) in channels.iter_mut().enumerate() {
        recording.read(i, 0, channel);
    }
    audio::write_wav(Path::new(to), &channels, RATE)?;
    Ok(())
}
