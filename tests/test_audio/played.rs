//! Excerpts of what people played on an electronic kit, through this project's own.
//!
//! The MIDI files are three of the Groove MIDI Dataset **[P: Gillick, Roberts, Engel, Eck & Bamman, Learning to Groove
//! with Inverse Sequence Transformations, ICML 2019]**, CC BY 4.0; bar one begins at time 0, and the tempo is that of
//! the click they were played to.

use std::error::Error;
use std::path::Path;

use midly::{MetaMessage, MidiMessage, Smf, Timing, TrackEventKind};
use overbar::names::Voice;
use overbar::practice::drums::{Character, Strike};
use overbar::units::{Bpm, Seconds};
use serde_json::{Value, json};

use crate::truth::{Truth, rounded};
use crate::{Clip, Sound};

/// When the first beat falls.
const LEAD: f64 = 0.4;
/// What sounds after the last bar.
const TAIL: f64 = 0.8;
/// A pad that fires twice within this is struck once **[M]**.
const BOUNCE: f64 = 0.015;

struct Excerpt {
    name: &'static str,
    file: &'static str,
    source: &'static str,
    /// Bars of 4/4 left out before it, bars in it.
    bars: (usize, usize),
    sound: Sound,
}

const fn sound(kit: &'static str, character: Character, seed: u64, rate: u32) -> Sound {
    Sound {
        kit,
        character,
        seed,
        length: Seconds(0.0),
        rate,
        stereo: false,
    }
}

const EXCERPTS: [Excerpt; 3] = [
    Excerpt {
        name: "played-funk",
        file: "64_funk_112_beat_4-4.mid",
        source: "drummer7/session3/64",
        bars: (0, 10),
        sound: sound("dry", Character::DRY, 64, 22_050),
    },
    Excerpt {
        name: "played-latin",
        file: "4_latin-brazilian_92_beat_4-4.mid",
        source: "drummer4/session1/4",
        bars: (0, 8),
        sound: sound("singing", Character::SINGING, 4, 32_000),
    },
    Excerpt {
        name: "played-klezmer",
        file: "3_jazz-klezmer_152_beat_4-4.mid",
        source: "drummer4/session1/3",
        bars: (4, 14),
        sound: sound("roomy", Character::ROOMY, 3, 22_050),
    },
];

/// A stroke as it was played: seconds, voice, MIDI velocity.
type Stroke = (f64, Voice, u8);

/// The voice of a pad.
fn voice(key: u8) -> Option<Voice> {
    Some(match key {
        36 => Voice::Kick,
        38 | 40 => Voice::Snare,
        37 => Voice::CrossStick,
        48 | 50 => Voice::TomHigh,
        45 | 47 => Voice::TomMid,
        43 | 58 => Voice::TomFloor,
        22 | 42 => Voice::HatClosed,
        26 | 46 => Voice::HatOpen,
        44 => Voice::HatFoot,
        49 | 55 => Voice::Crash,
        52 | 57 => Voice::Crash2,
        51 | 59 => Voice::Ride,
        53 => Voice::RideBell,
        _ => return None,
    })
}

/// The three clips, from the MIDI files in `folder`.
pub(crate) fn clips(folder: &Path) -> Result<Vec<Clip>, Box<dyn Error>> {
    EXCERPTS
        .iter()
        .map(|excerpt| clip(excerpt, &std::fs::read(folder.join(excerpt.file))?))
        .collect()
}

fn clip(excerpt: &Excerpt, bytes: &[u8]) -> Result<Clip, Box<dyn Error>> {
    let (beat, strokes) = strokes(bytes)?;
    let (skipped, bars) = excerpt.bars;
    let length = (bars * 4) as f64 * beat;
    let start = (skipped * 4) as f64 * beat;
    let mut hits: Vec<Stroke> = Vec::new();
    for (time, voice, velocity) in strokes {
        let time = rounded(time - start + LEAD);
        // A stroke just before the first beat still belongs to it.
        let inside = (LEAD - 0.05..LEAD + length - 0.05).contains(&time);
        let bounced = hits
            .iter()
            .rev()
            .take(4)
            .any(|h| h.1 == voice && time - h.0 < BOUNCE);
        if inside && !bounced {
            hits.push((time, voice, velocity));
        }
    }
    let beats: Vec<f64> = (0..=bars * 4).map(|n| rounded(LEAD + n as f64 * beat)).collect();
    let sound = Sound {
        length: Seconds(rounded(LEAD + length + TAIL)),
        ..excerpt.sound
    };
    let truth = Truth::default()
        .with("suite", "played")
        .with("name", excerpt.name)
        .with("licence", "CC-BY-4.0")
        .with("credit", "Groove MIDI Dataset: Gillick, Roberts, Engel, Eck, Bamman, Learning to Groove with Inverse Sequence Transformations, ICML 2019; an excerpt, played by another kit")
        .with("source", excerpt.source)
        .with("seed", sound.seed)
        .with("kit", sound.kit)
        .with("bpm", (Bpm::of_beat(Seconds(beat)).0 * 100.0).round() / 100.0)
        .with("meter", json!([4, 4]))
        .with("downbeats", beats.iter().step_by(4).copied().collect::<Vec<f64>>())
        .with("beats", beats)
        .with("hits", hits.iter().map(|(t, v, velocity)| json!([t, v.name(), velocity])).collect::<Vec<Value>>())
        .with("seconds", sound.length.0);
    let strike = |(time, voice, velocity): &Stroke| Strike {
        time: Seconds(*time),
        voice: *voice,
        velocity: f64::from(*velocity) / 127.0,
    };
    Ok(Clip {
        name: excerpt.name,
        truth,
        strikes: hits.iter().map(strike).collect(),
        sound,
    })
}

/// Seconds of a beat, and every stroke.
fn strokes(bytes: &[u8]) -> Result<(f64, Vec<Stroke>), Box<dyn Error>> {
    let smf = Smf::parse(bytes)?;
    let Timing::Metrical(ticks) = smf.header.timing else {
        return Err("the MIDI file counts no beats".into());
    };
    let (mut beat, mut strokes) = (0.5, Vec::new());
    for track in &smf.tracks {
        let mut tick = 0u32;
        for event in track {
            tick += event.delta.as_int();
            match event.kind {
                TrackEventKind::Meta(MetaMessage::Tempo(micros)) => beat = f64::from(micros.as_int()) * 1e-6,
                TrackEventKind::Midi {
                    message: MidiMessage::NoteOn { key, vel },
                    ..
                } if vel > 0 => {
                    let time = f64::from(tick) / f64::from(ticks.as_int());
                    strokes.extend(voice(key.as_int()).map(|voice| (time, voice, vel.as_int())));
                }
                _ => {}
            }
        }
    }
    strokes.sort_by(|a, b| a.0.total_cmp(&b.0));
    strokes.iter_mut().for_each(|stroke| stroke.0 *= beat);
    Ok((beat, strokes))
}
