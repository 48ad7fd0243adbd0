//! One stroke of every voice by the synthesised kit, with which the page plays the study as it is written.
//!
//! Out: a script that hands them to the page, each a mono FLAC. The page makes soft strokes quieter and duller.

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use rayon::prelude::*;

use super::flac;
use crate::names::Voice;
use crate::practice::drums::{Character, Kit, Strike};
use crate::units::Seconds;

/// Name of the file in the study's folder.
pub const NAME: &str = "sound/drums.js";
/// The same kit that plays the drills.
const KIT: u64 = 7;
/// How hard the strokes are.
const FORCE: f64 = 0.9;
/// A stroke is heard this long, and fades out over the last part of it; cymbals longer than skins.
const HEARD: (Seconds, Seconds) = (Seconds(1.4), Seconds(0.7));

/// The script.
pub fn script(rate: u32) -> String {
    let kit = Kit::new(KIT, Character::PLAIN);
    let strokes: Vec<String> = Voice::ALL
        .par_iter()
        .map(|&voice| {
            let flac = flac::encode(&[&stroke(&kit, voice)], rate).unwrap_or_default();
            format!("\"{voice}\": \"{}\"", BASE64_STANDARD.encode(flac))
        })
        .collect();
    format!("overbar.drums({{\n{}\n}});\n", strokes.join(",\n"))
}

fn stroke(kit: &Kit, voice: Voice) -> Vec<f32> {
    let metal = voice >= Voice::HatOpen && voice <= Voice::China && voice != Voice::HatFoot;
    let length = if metal { HEARD.0 } else { HEARD.1 };
    let strike = Strike {
        time: Seconds(0.0),
        voice,
        velocity: FORCE,
    };
    let sides = kit.render(&[strike], length);
    let frames = sides.first().map_or(0, Vec::len);
    (0..frames)
        .map(|i| {
            let both: f32 = sides.iter().filter_map(|side| side.get(i)).sum();
            let left = (frames - i) as f32 / frames as f32;
            // The last third fades away.
            both / 2.0 * (left * 3.0).min(1.0)
        })
        .collect()
}
