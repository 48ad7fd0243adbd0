//! Writes the recordings of `test-audio/` with their truths: `cargo run --example test-audio [FOLDER]`.
//!
//! Three tunes are invented here from seeds; three clips are excerpts of what people played, kept as MIDI files in
//! `test-audio/played/`. All are played by the project's own kit. The same program writes the same bytes.

mod cells;
mod played;
mod score;
mod sound;
mod truth;
mod tunes;

use std::error::Error;
use std::path::Path;

use overbar::practice::drums::{Character, Strike};
use overbar::units::Seconds;

/// A recording to be made.
pub(crate) struct Clip {
    /// File name without its ending.
    pub(crate) name: &'static str,
    /// What is known of it.
    pub(crate) truth: truth::Truth,
    /// The strokes.
    pub(crate) strikes: Vec<Strike>,
    /// How it sounds.
    pub(crate) sound: Sound,
}

/// How a clip is to sound and how its file is laid out.
#[derive(Clone, Copy)]
pub(crate) struct Sound {
    /// The kit, in a word.
    pub(crate) kit: &'static str,
    /// The same as amounts.
    pub(crate) character: Character,
    /// Decides the kit's cymbals and all looseness.
    pub(crate) seed: u64,
    /// Length of the clip.
    pub(crate) length: Seconds,
    /// Samples a second in the file.
    pub(crate) rate: u32,
    /// Two channels or one.
    pub(crate) stereo: bool,
}

/// Every clip, from the MIDI files in `folder/played`.
fn clips(folder: &Path) -> Result<Vec<Clip>, Box<dyn Error>> {
    let mut clips = vec![
        tunes::paper_lanterns(),
        tunes::harbour_steps(),
        tunes::salt_road(),
    ];
    clips.extend(played::clips(&folder.join("played"))?);
    Ok(clips)
}

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args_os().nth(1).unwrap_or_else(|| "test-audio".into());
    let folder = Path::new(&folder);
    for clip in clips(folder)? {
        overbar::audio::write_wav(
            &folder.join(clip.name).with_extension("wav"),
            &clip.sound.play(&clip.strikes),
            clip.sound.rate,
        )?;
        std::fs::write(folder.join(clip.name).with_extension("json"), clip.truth.text())?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where the committed recordings lie.
    fn folder() -> &'static Path {
        Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/test-audio"))
    }

    #[test]
    fn the_committed_truths_are_what_this_program_writes() {
        let clips = clips(folder()).unwrap();
        assert_eq!(clips.len(), 6);
        for clip in clips {
            let committed = std::fs::read_to_string(folder().join(clip.name).with_extension("json")).unwrap();
            assert!(
                committed == clip.truth.text(),
                "{}.json differs: run the example again",
                clip.name
            );
        }
    }

    #[test]
    fn the_first_demo_is_written_again_byte_for_byte() {
        let clip = tunes::paper_lanterns();
        let scratch = tempfile::tempdir().unwrap();
        let again = scratch.path().join("again.wav");
        overbar::audio::write_wav(&again, &clip.sound.play(&clip.strikes), clip.sound.rate).unwrap();
        let committed = std::fs::read(folder().join("paper-lanterns.wav")).unwrap();
        assert!(
            std::fs::read(&again).unwrap() == committed,
            "paper-lanterns.wav differs: run the example again"
        );
    }

    #[test]
    fn every_figure_crosses_the_bar_and_comes_home_at_least_twice() {
        for tune in [tunes::paper_lanterns(), tunes::harbour_steps()] {
            let facts = tune.truth.value();
            let cycle = &facts["cycles"][0];
            let bars = facts["downbeats"].as_array().unwrap().len() as u64;
            assert_eq!(cycle["crosses_bar"], true);
            assert!(bars > 2 * cycle["home_bars"].as_u64().unwrap(), "{}", tune.name);
        }
    }

    #[test]
    fn no_limb_strikes_two_places_at_once() {
        for tune in [
            tunes::paper_lanterns(),
            tunes::harbour_steps(),
            tunes::salt_road(),
        ] {
            let facts = tune.truth.value();
            let hits = facts["hits"].as_array().unwrap();
            let mut taken: Vec<(String, u64)> = hits
                .iter()
                .map(|h| (h[4].as_str().unwrap().to_owned(), h[5].as_u64().unwrap()))
                .collect();
            let all = taken.len();
            taken.sort();
            taken.dedup();
            assert!(all > 150 && taken.len() == all, "{}", tune.name);
        }
    }
}
