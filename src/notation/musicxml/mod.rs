//! [`Score`] -> MusicXML 4.0, partwise **[P: W3C Music Notation Community Group, MusicXML 4.0, 2021]**.
//!
//! One part; a voice for every line of the score, two staves where figure and free line stand apart. What the standard
//! has no element for goes where readers keep it: who plays into `fingering`, repeats of the figure into brackets with
//! their number, how late a stroke comes into the note's `attack`, its level into `dynamics`. The same study gives the
//! same bytes.

mod directions;
mod note;
#[cfg(test)]
mod tests;
mod xml;

use std::io::{self, Write};

use super::kit::written;
use super::score::{Bar, QUARTER, Score, Ticks};
use crate::charts::words::title;
use crate::names::Voice;
use crate::options::ScoreTempo;
use crate::study::Study;
use xml::Xml;

/// What every part of the writing needs.
struct Page<'a> {
    score: &'a Score<'a>,
    tempo: ScoreTempo,
    /// Ticks in a division of the file.
    division: i64,
}

impl Page<'_> {
    /// A place or a length in the file's divisions.
    fn divisions(&self, ticks: Ticks) -> i64 {
        ticks.0 / self.division
    }

    /// Staves of the part.
    fn staves(&self) -> usize {
        self.score
            .lines
            .iter()
            .map(|line| line.staff() + 1)
            .max()
            .unwrap_or(1)
    }

    /// The staff of a line, counted from 1; none where there is only one.
    fn staff(&self, line: usize) -> Option<usize> {
        let own = self.score.lines.get(line)?.staff() + 1;
        (self.staves() > 1).then_some(own)
    }
}

/// Writes the score of a study to `out`, measure by measure, as those of hours would fill the memory; `study` gives its
/// title and its voices.
pub fn write(study: &Study, score: &Score, tempo: ScoreTempo, out: &mut dyn Write) -> io::Result<()> {
    let page = Page {
        score,
        tempo,
        division: division(score),
    };
    let mut xml = Xml::new(out);
    xml.open("score-partwise", &[("version", "4.0")]);
    head(&mut xml, study);
    xml.open("part", &[("id", "P1")]);
    if score.bars.is_empty() {
        empty(&mut xml, &page);
    }
    for (i, bar) in score.bars.iter().enumerate() {
        measure(&mut xml, &page, i, bar);
    }
    xml.close("part");
    xml.close("score-partwise");
    xml.finish()
}

/// The largest number of ticks that divides everything that the file places.
fn division(score: &Score) -> i64 {
    let events = score.bars.iter().flat_map(|bar| bar.lines.iter().flatten());
    let repeats = score.figures.iter().flat_map(|figure| &figure.repeats);
    let spans = events.map(|event| event.length.0);
    let starts = repeats.flat_map(|repeat| [repeat.from.0, repeat.to.0]);
    spans
        .chain(starts)
        .chain([score.beat.ticks().0])
        .fold(QUARTER.0, common)
        .max(1)
}

/// The largest number that divides both.
fn common(a: i64, b: i64) -> i64 {
    if b == 0 { a.abs() } else { common(b, a % b) }
}

/// Title, source and the instruments.
fn head(xml: &mut Xml, study: &Study) {
    xml.open("work", &[]);
    xml.text("work-title", &[], &title(study));
    xml.close("work");
    xml.open("identification", &[]);
    xml.open("encoding", &[]);
    xml.text("software", &[], concat!("Overbar ", env!("CARGO_PKG_VERSION")));
    xml.close("encoding");
    xml.text("source", &[], &study.recording.file);
    xml.close("identification");
    xml.open("part-list", &[]);
    xml.open("score-part", &[("id", "P1")]);
    xml.text("part-name", &[], "Drums");
    let used = |voice: &&Voice| study.strokes.iter().any(|stroke| stroke.hit.voice == **voice);
    let voices: Vec<Voice> = Voice::ALL.iter().filter(used).copied().collect();
    for voice in &voices {
        xml.open("score-instrument", &[("id", &instrument(*voice))]);
        xml.text("instrument-name", &[], voice.said());
        xml.close("score-instrument");
    }
    for voice in &voices {
        xml.open("midi-instrument", &[("id", &instrument(*voice))]);
        xml.number("midi-channel", 10);
        // The standard counts keys from 1, General MIDI from 0.
        xml.number("midi-unpitched", i64::from(written(*voice).key) + 1);
        xml.close("midi-instrument");
    }
    xml.close("score-part");
    xml.close("part-list");
}

/// The identifier of a voice's instrument.
fn instrument(voice: Voice) -> String {
    format!("P1-{voice}")
}

/// A bar of silence, for a study without a beat.
fn empty(xml: &mut Xml, page: &Page) {
    xml.open("measure", &[("number", "1")]);
    attributes(xml, page);
    xml.open("note", &[]);
    xml.mark("rest", &[("measure", "yes")]);
    let bar = page.score.beat.ticks().0 * i64::from(page.score.beat.per_bar);
    xml.number("duration", page.divisions(Ticks(bar)));
    xml.number("voice", 1);
    xml.close("note");
    xml.close("measure");
}

fn measure(xml: &mut Xml, page: &Page, index: usize, bar: &Bar) {
    let number = bar.number.to_string();
    let pick_up = bar.beats < page.score.beat.per_bar;
    let implicit: &[_] = if pick_up { &[("implicit", "yes")] } else { &[] };
    xml.open("measure", &[&[("number", number.as_str())], implicit].concat());
    if index == 0 {
        attributes(xml, page);
        directions::opening(xml, page);
    }
    directions::tempo(xml, page, index, bar);
    directions::brackets(xml, page, bar);
    for (line, events) in bar.lines.iter().enumerate() {
        if line > 0 {
            xml.open("backup", &[]);
            xml.number("duration", page.divisions(page.score.length(bar)));
            xml.close("backup");
        }
        events
            .iter()
            .for_each(|event| note::write(xml, page, bar, line, event));
    }
    if index + 1 == page.score.bars.len() {
        xml.open("barline", &[("location", "right")]);
        xml.text("bar-style", &[], "light-heavy");
        xml.close("barline");
    }
    xml.close("measure");
}

/// Divisions, meter, staves, clefs.
fn attributes(xml: &mut Xml, page: &Page) {
    let meter = page.score.grid.meter;
    xml.open("attributes", &[]);
    xml.number("divisions", page.divisions(QUARTER));
    xml.open("time", &[]);
    xml.number("beats", i64::from(meter.count.max(1)));
    xml.number("beat-type", beat_type(meter.unit));
    xml.close("time");
    let staves = page.staves();
    if staves > 1 {
        xml.number("staves", staves as i64);
    }
    for staff in 1..=staves {
        let number = staff.to_string();
        let which: &[_] = if staves > 1 {
            &[("number", number.as_str())]
        } else {
            &[]
        };
        xml.open("clef", which);
        xml.text("sign", &[], "percussion");
        xml.close("clef");
    }
    xml.close("attributes");
}

/// The lower number of the signature, as far as notes have it.
fn beat_type(unit: u32) -> i64 {
    1 << unit.checked_ilog2().unwrap_or(2).min(4)
}
