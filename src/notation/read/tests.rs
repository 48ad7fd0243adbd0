//! Scores read back as they were written; broken ones refused with a line.

use std::path::Path;

use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};
use proptest::prelude::*;

use super::{ScoreError, Written, WrittenNote, parse};
use crate::grid::Meter;
use crate::names::Voice;

fn note(quarters: f64, voice: Voice) -> WrittenNote {
    WrittenNote { quarters, voice }
}

/// A MIDI file of notes at so many ticks of 96 to a quarter.
fn midi(notes: &[(u32, u8, u8)]) -> Vec<u8> {
    let mut track = vec![TrackEvent {
        delta: u28::new(0),
        kind: TrackEventKind::Meta(MetaMessage::TimeSignature(7, 3, 24, 8)),
    }];
    let mut last = 0;
    for &(ticks, channel, key) in notes {
        for vel in [90, 0] {
            let message = MidiMessage::NoteOn {
                key: u7::new(key),
                vel: u7::new(vel),
            };
            let kind = TrackEventKind::Midi {
                channel: u4::new(channel),
                message,
            };
            track.push(TrackEvent {
                delta: u28::new(ticks - last),
                kind,
            });
            last = ticks;
        }
    }
    track.push(TrackEvent {
        delta: u28::new(0),
        kind: TrackEventKind::Meta(MetaMessage::Tempo(u24::new(500_000))),
    });
    let mut score = Smf::new(Header::new(Format::SingleTrack, Timing::Metrical(u15::new(96))));
    score.tracks.push(track);
    let mut bytes = Vec::new();
    score.write(&mut bytes).unwrap();
    bytes
}

fn read(bytes: &[u8]) -> Result<Written, ScoreError> {
    parse(bytes, Path::new("solo"))
}

#[test]
fn midi_notes_have_their_places_and_voices() {
    let written = read(&midi(&[(0, 9, 36), (24, 9, 38), (48, 9, 44), (50, 0, 60)])).unwrap();
    let expected = [
        note(0.0, Voice::Kick),
        note(0.25, Voice::Snare),
        note(0.5, Voice::HatFoot),
    ];
    assert_eq!(written.notes, expected, "the piano on another channel is no drum");
    assert_eq!(written.meter, Some(Meter { count: 7, unit: 8 }));
}

const XML: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">
<score-partwise version="4.0">
  <part-list><score-part id="P1"><part-name>Kit</part-name>
    <score-instrument id="P1-K"><instrument-name>Kick</instrument-name></score-instrument>
    <score-instrument id="P1-B"><instrument-name>Ride bell</instrument-name></score-instrument>
    <midi-instrument id="P1-K"><midi-unpitched>37</midi-unpitched></midi-instrument>
  </score-part></part-list>
  <part id="P1">
    <measure number="1">
      <attributes><divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>
      <note><unpitched><display-step>F</display-step><display-octave>5</display-octave></unpitched><duration>2</duration><instrument id="P1-B"/></note>
      <note><chord/><unpitched><display-step>F</display-step><display-octave>4</display-octave></unpitched><duration>2</duration><instrument id="P1-K"/></note>
      <note><grace/><unpitched><display-step>C</display-step><display-octave>5</display-octave></unpitched></note>
      <note><unpitched><display-step>C</display-step><display-octave>5</display-octave></unpitched><duration>6</duration></note>
      <note><rest/><duration>8</duration></note>
      <backup><duration>4</duration></backup>
      <note><unpitched><display-step>D</display-step><display-octave>4</display-octave></unpitched><duration>4</duration><notehead>x</notehead></note>
    </measure>
    <measure number="2">
      <note><unpitched><display-step>G</display-step><display-octave>5</display-octave></unpitched><duration>4</duration><notehead>x</notehead></note>
    </measure>
  </part>
</score-partwise>"#;

#[test]
fn musicxml_notes_have_their_places_and_voices() {
    let written = read(XML.as_bytes()).unwrap();
    let expected = [
        note(0.0, Voice::Kick),
        note(0.0, Voice::RideBell),
        note(0.5, Voice::Snare),
        note(3.0, Voice::HatFoot),
        note(4.0, Voice::HatClosed),
    ];
    assert_eq!(written.notes, expected);
    assert_eq!(written.meter, Some(Meter::COMMON));
    assert_eq!(written.warnings, ["1 grace notes of the score are left out"]);
}

#[test]
fn files_that_are_no_score_are_refused_with_what_to_do() {
    let message = |bytes: &[u8]| read(bytes).unwrap_err().to_string();
    assert!(message(b"").contains("neither MIDI nor MusicXML"));
    assert!(message(b"PK\x03\x04").contains("compressed MusicXML"));
    assert!(message(b"MThd").contains("broken MIDI"));
    // Found by fuzzing: -128 frames a second.
    let odd = include_bytes!("../../../tests/fuzz/crashes/midi-71ace9c8");
    assert!(message(odd).contains("in frames"));
    assert!(message(b"<html></html>").contains("html"));
    assert!(message(b"<score-partwise>").contains("stops in the middle"));
    assert!(message(b"<score-partwise></score-partwise>").contains("no drum notes"));
    assert!(message(&midi(&[])).contains("no drum notes"));
    assert!(message("<".repeat(40).as_bytes()).contains("broken XML"));
    let zero = XML.replace("<divisions>4<", "<divisions>0<");
    assert!(message(zero.as_bytes()).contains("no divisions"));
}

proptest! {
    #[test]
    fn any_bytes_are_survived(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = read(&bytes);
        let _ = read(&[b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk".as_slice(), &bytes].concat());
    }

    #[test]
    fn a_score_with_a_piece_cut_out_is_survived(from in 0usize..1900, length in 0usize..400) {
        let (from, to) = (from.min(XML.len()), (from + length).min(XML.len()));
        let _ = read([&XML.as_bytes()[..from], &XML.as_bytes()[to..]].concat().as_slice());
    }
}
