//! Slows a WAV file with a general-purpose library and says how long that took.
//!
//!     stretchers timestretch|signalsmith|signalsmith-short SPEED IN OUT
//!
//! `signalsmith` is its own preset, `signalsmith-short` a block of 1024 samples every 256.

use std::error::Error;
use std::time::Instant;

use signalsmith_stretch::Stretch;
use timestretch::{Parameters, SessionConfig, TempoRate, render};

fn by_signalsmith(mut stretch: Stretch, input: &[f32], channels: usize, speed: f64) -> Vec<f32> {
    let frames = (input.len() / channels) as f64 / speed;
    let mut output = vec![0.0f32; frames.round() as usize * channels];
    stretch.exact(input, &mut output);
    output
}

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [which, speed, from, to] = args.as_slice() else {
        return Err("usage: stretchers LIBRARY SPEED IN OUT".into());
    };
    let speed: f64 = speed.parse()?;
    let mut reader = hound::WavReader::open(from)?;
    let spec = reader.spec();
    let input: Vec<f32> = reader
        .samples::<i16>()
        .map(|s| s.map(|s| f32::from(s) / 32768.0))
        .collect::<Result<_, _>>()?;
    let channels = usize::from(spec.channels);
    let start = Instant::now();
    let output = match which.as_str() {
        "timestretch" => {
            let config = SessionConfig {
                source_sample_rate: spec.sample_rate,
                output_sample_rate: spec.sample_rate,
                channels,
                parameters: Parameters::keylock(TempoRate::new(speed)?),
                ..SessionConfig::default()
            };
            render(&input, config)?.samples
        }
        "signalsmith" => {
            let stretch = Stretch::preset_default(channels as u32, spec.sample_rate);
            by_signalsmith(stretch, &input, channels, speed)
        }
        _ => by_signalsmith(Stretch::new(channels as u32, 1024, 256), &input, channels, speed),
    };
    println!("{:.6}", start.elapsed().as_secs_f64());
    let mut writer = hound::WavWriter::create(to, spec)?;
    for sample in output {
        writer.write_sample((sample * 32768.0).round() as i16)?;
    }
    writer.finalize()?;
    Ok(())
}
