//! A Standard MIDI File -> its drum notes: those on channel 10 where there are any, else those of all channels.

use midly::{MetaMessage, MidiMessage, Smf, Timing, TrackEventKind};

use super::{Written, WrittenNote, voices};
use crate::grid::Meter;
use crate::names::Voice;

/// The channel of percussion, counted from 0 **[P: General MIDI Level 1]**.
const PERCUSSION: u8 = 9;

const IN_FRAMES: &str = "its times are in frames, not in beats";

pub(super) fn read(bytes: &[u8]) -> Result<Written, String> {
    if has_impossible_frames(bytes) {
        return Err(IN_FRAMES.to_owned());
    }
    let score = Smf::parse(bytes).map_err(|error| format!("a broken MIDI file ({error})"))?;
    let Timing::Metrical(per_quarter) = score.header.timing else {
        return Err(IN_FRAMES.to_owned());
    };
    let per_quarter = f64::from(per_quarter.as_int());
    if per_quarter <= 0.0 {
        return Err("a quarter note has no length in it".to_owned());
    }
    let mut meter: Option<(u64, Meter)> = None;
    let mut notes: Vec<(u8, WrittenNote)> = Vec::new();
    for track in &score.tracks {
        let mut ticks: u64 = 0;
        for event in track {
            ticks += u64::from(event.delta.as_int());
            match event.kind {
                TrackEventKind::Midi {
                    channel,
                    message: MidiMessage::NoteOn { key, vel },
                } if vel.as_int() > 0 => notes.push((
                    channel.as_int(),
                    WrittenNote {
                        quarters: ticks as f64 / per_quarter,
                        voice: voices::of_key(key.as_int()),
                    },
                )),
                TrackEventKind::Meta(MetaMessage::TimeSignature(count, power, _, _))
                    if meter.is_none_or(|(at, _)| ticks < at) =>
                {
                    let unit = 1u32.checked_shl(u32::from(power)).filter(|u| *u > 0 && *u <= 64);
                    meter = unit
                        .map(|unit| {
                            (
                                ticks,
                                Meter {
                                    count: u32::from(count),
                                    unit,
                                },
                            )
                        })
                        .or(meter);
                }
                _ => {}
            }
        }
    }
    if notes.iter().any(|(channel, _)| *channel == PERCUSSION) {
        notes.retain(|(channel, _)| *channel == PERCUSSION);
    }
    let unknown = notes
        .iter()
        .filter(|(_, note)| note.voice == Voice::Other)
        .count();
    let warning = format!("{unknown} notes of the score have keys that name no drum of the kit");
    Ok(Written {
        notes: notes.into_iter().map(|(_, note)| note).collect(),
        meter: meter.map(|(_, meter)| meter),
        warnings: (unknown > 0).then_some(warning).into_iter().collect(),
    })
}

/// Whether a header counts -128 frames a second, which the parser cannot turn round: its arithmetic overflows there.
fn has_impossible_frames(bytes: &[u8]) -> bool {
    let mut headers = bytes.windows(13).filter(|window| window.starts_with(b"MThd"));
    headers.any(|window| window.last() == Some(&0x80))
}
