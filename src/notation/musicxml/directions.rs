//! What stands over the notes: tempo, swing, and a bracket over each repeat of a figure with its number.

use super::Page;
use super::note::{offset, value_name};
use super::xml::Xml;
use crate::grid::Swing;
use crate::notation::score::{Bar, Repeat, Ticks};
use crate::options::ScoreTempo;
use crate::units::{Bpm, Seconds};

/// Figures whose repeats get brackets; each takes two of the sixteen numbers that the standard has.
const MOST_FIGURES: usize = 8;

/// Tempo and swing, at the beginning.
pub(super) fn opening(xml: &mut Xml, page: &Page) {
    let score = page.score;
    let tempo = score.grid.tempo.0;
    if tempo.is_finite() && tempo > 0.0 {
        xml.open("direction", &[("placement", "above")]);
        xml.open("direction-type", &[]);
        xml.open("metronome", &[]);
        xml.text("beat-unit", &[], value_name(score.beat.value.power));
        for _ in 0..score.beat.value.dots {
            xml.mark("beat-unit-dot", &[]);
        }
        xml.text("per-minute", &[], &format!("{tempo:.0}"));
        xml.close("metronome");
        xml.close("direction-type");
        xml.close("direction");
    }
    if let Some(swing) = score.swing {
        opening_swing(xml, page, swing);
    }
}

fn opening_swing(xml: &mut Xml, page: &Page, swing: Swing) {
    xml.open("direction", &[("placement", "above")]);
    xml.open("direction-type", &[]);
    xml.text("words", &[], &format!("swing {:.2} : 1", swing.ratio));
    xml.close("direction-type");
    xml.open("sound", &[]);
    xml.open("swing", &[]);
    let first = (swing.ratio.clamp(0.1, 10.0) * 100.0).round();
    xml.number("first", first as i64);
    xml.number("second", 100);
    let pairs = page.score.grid.steps_per_beat >> 1;
    xml.text("swing-type", &[], if pairs > 1 { "16th" } else { "eighth" });
    xml.close("swing");
    xml.close("sound");
    xml.close("direction");
}

/// The tempo of every beat of a bar, where it changes.
pub(super) fn tempo(xml: &mut Xml, page: &Page, index: usize, bar: &Bar) {
    if page.tempo == ScoreTempo::Straight {
        if index == 0 {
            sound(xml, page, page.score.grid.tempo, Ticks(0));
        }
        return;
    }
    let mut before = None;
    for beat in 0..i64::from(bar.beats) {
        let time = |beat: i64| page.score.grid.time_at((bar.beat + beat) as f64);
        let (Some(from), Some(to)) = (time(beat), time(beat + 1)) else {
            continue;
        };
        let bpm = Bpm::of_beat(Seconds((to - from).0));
        let rounded = (bpm.0 * 100.0).round();
        if before != Some(rounded) {
            sound(xml, page, bpm, Ticks(page.score.beat.ticks().0 * beat));
        }
        before = Some(rounded);
    }
}

/// A tempo in quarter notes a minute, as the standard counts it.
fn sound(xml: &mut Xml, page: &Page, tempo: Bpm, at: Ticks) {
    let quarters = tempo.0 * page.score.beat.ticks().quarters();
    if !(quarters.is_finite() && quarters > 0.0) {
        return;
    }
    xml.open("sound", &[("tempo", &format!("{quarters:.2}"))]);
    offset(xml, page, at);
    xml.close("sound");
}

/// The brackets that begin or end in a bar.
pub(super) fn brackets(xml: &mut Xml, page: &Page, bar: &Bar) {
    let (start, end) = (
        page.score.start(bar),
        page.score.start(bar) + page.score.length(bar),
    );
    let bars = &page.score.bars;
    let first = bars.first().map(|bar| page.score.start(bar)).unwrap_or_default();
    let last = bars
        .last()
        .map(|bar| page.score.start(bar) + page.score.length(bar))
        .unwrap_or_default();
    for (figure, found) in page.score.figures.iter().take(MOST_FIGURES).enumerate() {
        let around = found.repeats.partition_point(|repeat| repeat.to <= start);
        for repeat in found
            .repeats
            .iter()
            .skip(around)
            .take_while(|repeat| repeat.from < end)
        {
            let (from, to) = (repeat.from.max(first), repeat.to.min(last));
            // Neighbours have different numbers, so that an end is never taken for the other's.
            let number = (2 * figure as u32 + repeat.number % 2 + 1).to_string();
            if from >= start {
                open(xml, page, repeat, &number, from - start);
            }
            if to <= end {
                close(xml, page, &number, to - start);
            }
        }
    }
}

fn open(xml: &mut Xml, page: &Page, repeat: &Repeat, number: &str, at: Ticks) {
    let home = if repeat.home { ", home" } else { "" };
    xml.open("direction", &[("placement", "above")]);
    xml.open("direction-type", &[]);
    xml.text("words", &[], &format!("{}{home}", repeat.number));
    xml.close("direction-type");
    xml.open("direction-type", &[]);
    xml.mark(
        "bracket",
        &[
            ("type", "start"),
            ("number", number),
            ("line-end", "down"),
            ("line-type", "solid"),
        ],
    );
    xml.close("direction-type");
    offset(xml, page, at);
    xml.close("direction");
}

fn close(xml: &mut Xml, page: &Page, number: &str, at: Ticks) {
    xml.open("direction", &[("placement", "above")]);
    xml.open("direction-type", &[]);
    xml.mark(
        "bracket",
        &[("type", "stop"), ("number", number), ("line-end", "none")],
    );
    xml.close("direction-type");
    offset(xml, page, at);
    xml.close("direction");
}
