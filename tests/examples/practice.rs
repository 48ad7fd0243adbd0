//! What practice computes, for the outside checks.
//!
//!     practice fit       reads lines of `x y` from standard input; prints asymptote, distance, rate and their errors
//!     practice loudness FILE   prints integrated loudness in LUFS and the true peak in dB

use std::error::Error;
use std::io::{self, Read, Write};
use std::path::Path;

use overbar::audio;
use overbar::options::AudioOptions;
use overbar::practice::{loudness, progress};

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let mut out = io::stdout();
    match args.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["fit"] => {
            let mut text = String::new();
            io::stdin().read_to_string(&mut text)?;
            let mut points = Vec::new();
            for line in text.lines() {
                let (x, y) = line.split_once(' ').ok_or("a line is `x y`")?;
                points.push((x.parse()?, y.parse()?));
            }
            let fit = progress::fit(&points).ok_or("no curve")?;
            let [a, b, c] = fit.errors;
            writeln!(
                out,
                "{} {} {} {a} {b} {c} {}",
                fit.asymptote, fit.distance, fit.rate, fit.rest
            )?;
        }
        ["loudness", file] => {
            let recording = audio::read(Path::new(file), &AudioOptions::default())?;
            let loud = loudness::measure(&recording.samples());
            writeln!(
                out,
                "{} {}",
                loud.integrated.unwrap_or(f64::NAN),
                20.0 * loud.peak.log10()
            )?;
        }
        _ => return Err("usage: practice fit | practice loudness FILE".into()),
    }
    Ok(())
}
