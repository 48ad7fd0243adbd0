//! Writes single strokes on kits of the program's own synthesis, for training: OUT/KIT-VOICE-VELOCITY.wav.
//!
//!     cargo run --release --example strokes OUT

use std::error::Error;
use std::path::PathBuf;

use overbar::audio::{RATE, write_wav};
use overbar::names::Voice;
use overbar::practice::drums::{Character, Kit, Strike};
use overbar::units::{Decibels, Seconds};

/// Kits, each tuned and damped differently.
const KITS: u64 = 32;

/// Velocities of the strokes on each drum.
const VELOCITIES: [f64; 3] = [0.3, 0.6, 1.0];

fn main() -> Result<(), Box<dyn Error>> {
    let out = PathBuf::from(std::env::args_os().nth(1).ok_or("usage: strokes OUT")?);
    std::fs::create_dir_all(&out)?;
    for seed in 0..KITS {
        // Spread evenly, in an order of its own for each quality.
        let spread = |factor: u64| ((seed * factor) % KITS) as f64 / (KITS - 1) as f64;
        let character = Character {
            tuning: 0.75 + 0.65 * spread(3),
            ring: 0.45 + 1.35 * spread(7),
            brightness: 0.5 + 1.1 * spread(1),
            room: Decibels(-60.0),
            width: 0.0,
            ..Character::PLAIN
        };
        let kit = Kit::new(seed, character);
        for &voice in Voice::ALL.iter() {
            for velocity in VELOCITIES {
                let strike = Strike {
                    time: Seconds(0.05),
                    voice,
                    velocity,
                };
                let sound = kit.render(&[strike], Seconds(3.0));
                let name = format!("{seed}-{voice}-{}.wav", (velocity * 100.0) as u32);
                write_wav(&out.join(name), &sound, RATE)?;
            }
        }
    }
    Ok(())
}
