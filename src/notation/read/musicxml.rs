//! A MusicXML score -> its drum notes. A note's voice is that of its instrument's key (written one higher than in
//! MIDI), else that of its instrument's name, else that of its place on the staff.

use std::collections::HashMap;

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::{Written, WrittenNote, voices};
use crate::grid::Meter;
use crate::names::Voice;

/// Deeper nesting than any score has.
const DEEPEST: usize = 64;

/// A note while it is being read.
#[derive(Debug, Default)]
struct Note {
    chord: bool,
    rest: bool,
    grace: bool,
    tied: bool,
    cross: bool,
    duration: f64,
    instrument: Option<String>,
    step: Option<String>,
    octave: Option<i64>,
}

#[derive(Debug, Default)]
struct Score {
    keys: HashMap<String, u8>,
    names: HashMap<String, String>,
    /// The instrument of the part list that is being read.
    listed: String,
    divisions: f64,
    /// Where the measure began, where the next note stands, where the last one stood, the furthest place: quarters.
    measure: f64,
    cursor: f64,
    last: f64,
    furthest: f64,
    count: Option<u32>,
    unit: Option<u32>,
    note: Note,
    /// The duration of a backup or a forward.
    moved: f64,
    graces: usize,
    unplaced: usize,
    repeats: bool,
    written: Written,
}

pub(super) fn read(text: &str) -> Result<Written, String> {
    let mut reader = Reader::from_str(text);
    let mut score = Score {
        divisions: 1.0,
        ..Score::default()
    };
    let (mut path, mut inside): (Vec<String>, String) = (Vec::new(), String::new());
    loop {
        let at = reader.buffer_position();
        let broken = |what: String| format!("broken XML after {at} bytes ({what})");
        match reader.read_event().map_err(|error| broken(error.to_string()))? {
            Event::Start(tag) => {
                let name = name_of(&tag);
                score.open(&name, &tag, path.is_empty())?;
                path.push(name);
                inside.clear();
                if path.len() > DEEPEST {
                    return Err(broken("nested too deep".to_owned()));
                }
            }
            Event::Empty(tag) => {
                let name = name_of(&tag);
                score.open(&name, &tag, path.is_empty())?;
                score.close(&name, path.last().map_or("", String::as_str), "")?;
            }
            Event::Text(text) => inside.push_str(&text),
            Event::End(_) => {
                let name = path.pop().unwrap_or_default();
                let outer = path.last().cloned().unwrap_or_default();
                score.close(&name, &outer, inside.trim())?;
                inside.clear();
            }
            Event::Eof if path.is_empty() => break,
            Event::Eof => return Err(broken("it stops in the middle".to_owned())),
            _ => {}
        }
    }
    Ok(score.finish())
}

fn name_of(tag: &BytesStart) -> String {
    tag.local_name().as_ref().to_owned()
}

fn attribute(tag: &BytesStart, name: &str) -> Option<String> {
    let found = tag.attributes().flatten().find(|a| a.key.as_ref() == name)?;
    Some(found.value.into_owned())
}

fn number(text: &str, what: &str) -> Result<f64, String> {
    let value: Option<f64> = text.parse().ok();
    value
        .filter(|v| v.is_finite() && v.abs() < 1e9)
        .ok_or_else(|| format!("{what} {text:?} is no number"))
}

impl Score {
    /// An element begins.
    fn open(&mut self, name: &str, tag: &BytesStart, first: bool) -> Result<(), String> {
        if first && name != "score-partwise" {
            return Err(format!("its first element is {name}, not score-partwise"));
        }
        match name {
            "score-instrument" | "midi-instrument" => self.listed = attribute(tag, "id").unwrap_or_default(),
            "part" => (self.measure, self.cursor, self.furthest) = (0.0, 0.0, 0.0),
            "measure" => {
                self.measure = self.furthest;
                self.cursor = self.measure;
            }
            "note" => self.note = Note::default(),
            "chord" => self.note.chord = true,
            "rest" => self.note.rest = true,
            "grace" => self.note.grace = true,
            "tie" => self.note.tied |= attribute(tag, "type").as_deref() == Some("stop"),
            "instrument" => self.note.instrument = attribute(tag, "id"),
            "repeat" => self.repeats = true,
            "backup" | "forward" => self.moved = 0.0,
            _ => {}
        }
        Ok(())
    }

    /// An element ends; `outer` is the one around it.
    fn close(&mut self, name: &str, outer: &str, text: &str) -> Result<(), String> {
        match (name, outer) {
            ("instrument-name", _) => {
                self.names.insert(self.listed.clone(), text.to_owned());
            }
            ("midi-unpitched", _) => {
                let key = number(text, "the key")? - 1.0;
                self.keys.insert(self.listed.clone(), key.clamp(0.0, 127.0) as u8);
            }
            ("divisions", _) => {
                self.divisions = number(text, "the number of divisions")?;
                if self.divisions <= 0.0 {
                    return Err("a quarter note has no divisions".to_owned());
                }
            }
            ("beats", "time") => self.count = text.parse().ok(),
            ("beat-type", "time") => self.unit = text.parse().ok(),
            ("display-step", _) => self.note.step = Some(text.to_owned()),
            ("display-octave", _) => self.note.octave = text.parse().ok(),
            ("notehead", _) => self.note.cross = text == "x" || text.contains("cross"),
            ("duration", "note") => self.note.duration = number(text, "the duration")? / self.divisions,
            ("duration", "backup" | "forward") => self.moved = number(text, "the duration")? / self.divisions,
            ("backup", _) => self.cursor = (self.cursor - self.moved).max(self.measure),
            ("forward", _) => self.go(self.moved),
            ("note", _) => self.strike(),
            _ => {}
        }
        Ok(())
    }

    fn go(&mut self, quarters: f64) {
        self.cursor += quarters.max(0.0);
        self.furthest = self.furthest.max(self.cursor);
    }

    /// A note is complete.
    fn strike(&mut self) {
        let note = std::mem::take(&mut self.note);
        if note.grace {
            self.graces += 1;
            return;
        }
        let at = if note.chord { self.last } else { self.cursor };
        if !note.rest && !note.tied {
            let voice = self.voice(&note);
            self.unplaced += usize::from(voice == Voice::Other);
            self.written.notes.push(WrittenNote { quarters: at, voice });
        }
        if !note.chord {
            self.last = at;
            self.go(note.duration);
        }
    }

    fn voice(&self, note: &Note) -> Voice {
        let id = note.instrument.as_deref().unwrap_or_default();
        let by_key = self.keys.get(id).map(|key| voices::of_key(*key));
        let by_name = || self.names.get(id).and_then(|name| voices::of_name(name));
        let by_place = || Some(voices::of_place(note.step.as_deref()?, note.octave?, note.cross));
        let known = by_key.filter(|v| *v != Voice::Other).or_else(by_name);
        known.or_else(by_place).unwrap_or(Voice::Other)
    }

    fn finish(self) -> Written {
        let mut written = self.written;
        written.meter = self
            .count
            .zip(self.unit)
            .map(|(count, unit)| Meter { count, unit });
        if self.repeats {
            written
                .warnings
                .push("repeat signs of the score are not played out".to_owned());
        }
        if self.graces > 0 {
            written
                .warnings
                .push(format!("{} grace notes of the score are left out", self.graces));
        }
        if self.unplaced > 0 {
            written.warnings.push(format!(
                "{} notes of the score name no drum of the kit",
                self.unplaced
            ));
        }
        written
    }
}
