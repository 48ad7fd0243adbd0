//! Slows a recording with Overbar's own stretch, for the outside checks and to be measured beside other libraries.
//!
//!     stretch SPEED IN ATTACKS OUT [exactly]
//!
//! ATTACKS is a file of seconds, one a line, or `-` to listen for them; with `exactly` no more are looked for. Prints how many seconds the stretching took.

use std::error::Error;
use std::fs;
use std::io::{self, Write};
use std::path::Path;
use std::time::Instant;

use overbar::audio::{self, RATE};
use overbar::options::Options;
use overbar::practice::stretch::{more_attacks, stretch};
use overbar::units::Seconds;
use overbar::{hits, listen};

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let (exactly, args) = match args.as_slice() {
        [args @ .., last] if last == "exactly" => (true, args),
        args => (false, args),
    };
    let [speed, from, listed, to] = args else {
        return Err("usage: stretch SPEED IN ATTACKS OUT [exactly]".into());
    };
    let options = Options::default();
    let recording = audio::read(Path::new(from), &options.audio)?;
    let sound = recording.samples();
    let known: Vec<usize> = if listed == "-" {
        let heard = listen::listen(&recording);
        let onsets = hits::find(&recording, &heard, &options.hits);
        onsets.iter().map(|onset| onset.time.to_sample(RATE)).collect()
    } else {
        let lines = fs::read_to_string(listed)?;
        let seconds: Result<Vec<f64>, _> = lines.lines().map(str::parse).collect();
        seconds?.into_iter().map(|s| Seconds(s).to_sample(RATE)).collect()
    };
    let speed: f64 = speed.parse()?;
    let start = Instant::now();
    let attacks = match exactly {
        true => known,
        false => [more_attacks(&sound, &known), known].concat(),
    };
    let slow = stretch(&sound, &attacks, speed);
    writeln!(io::stdout(), "{:.6}", start.elapsed().as_secs_f64())?;
    audio::write_wav(Path::new(to), &slow, RATE)?;
    Ok(())
}
