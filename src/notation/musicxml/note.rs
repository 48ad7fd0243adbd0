//! Notes, grace notes and rests.

use super::xml::Xml;
use super::{Page, instrument};
use crate::names::{Limb, Mark, Voice};
use crate::notation::kit::{Shape, written};
use crate::notation::score::{Bar, Beam, Edge, Event, Head, Ratio, Ticks};
use crate::options::ScoreTempo;
use crate::units::Millis;

/// Names of the values, the whole note first.
const VALUES: [&str; 11] = [
    "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th", "512th", "1024th",
];

/// The level that the standard calls 100 % of forte, in dB under the loudest hit \[M\].
const FORTE: f64 = -6.0;

pub(super) fn write(xml: &mut Xml, page: &Page, bar: &Bar, line: usize, event: &Event) {
    let mut heads: Vec<&Head> = event.heads.iter().collect();
    heads.sort_by_key(|head| written(head.voice()).place);
    if heads.is_empty() {
        return rest(xml, page, line, event);
    }
    graces(xml, page, bar, line, event, &heads);
    for (i, head) in heads.iter().enumerate() {
        let late = late(page, bar, event, head, Millis(0.0));
        let loud = loudness(head);
        xml.open("note", &attributes(&loud, late.as_deref()));
        if i > 0 {
            xml.mark("chord", &[]);
        }
        unpitched(xml, head.voice());
        xml.number("duration", page.divisions(event.length));
        xml.mark("instrument", &[("id", &instrument(head.voice()))]);
        xml.number("voice", line as i64 + 1);
        value(xml, event);
        if let Some((ratio, _)) = event.tuplet {
            modification(xml, ratio);
        }
        xml.text("stem", &[], stem(page, line));
        notehead(xml, head);
        staff(xml, page, line);
        if i == 0 {
            beams(xml, event);
        }
        notations(xml, page, line, event, head, i == 0);
        xml.close("note");
    }
}

fn rest(xml: &mut Xml, page: &Page, line: usize, event: &Event) {
    xml.open("note", &[]);
    if event.whole_bar {
        xml.mark("rest", &[("measure", "yes")]);
    } else {
        xml.mark("rest", &[]);
    }
    xml.number("duration", page.divisions(event.length));
    xml.number("voice", line as i64 + 1);
    if !event.whole_bar {
        value(xml, event);
        if let Some((ratio, _)) = event.tuplet {
            modification(xml, ratio);
        }
    }
    staff(xml, page, line);
    if event.tuplet.is_some_and(|(_, edge)| edge != Edge::Inner) {
        xml.open("notations", &[]);
        tuplet(xml, page, line, event);
        xml.close("notations");
    }
    xml.close("note");
}

/// The grace notes before a chord: those of its heads that come at the same count stand together.
fn graces(xml: &mut Xml, page: &Page, bar: &Bar, line: usize, event: &Event, heads: &[&Head]) {
    let most = heads.iter().map(|head| head.graces.len()).max().unwrap_or(0);
    for nth in (1..=most).rev() {
        let here = heads.iter().filter_map(|head| {
            let at = head.graces.len().checked_sub(nth)?;
            Some((head, head.graces.get(at)?))
        });
        for (i, (head, grace)) in here.enumerate() {
            let late = late(page, bar, event, head, grace.before);
            xml.open("note", &attributes("", late.as_deref()));
            xml.mark("grace", &[("slash", if most == 1 { "yes" } else { "no" })]);
            if i > 0 {
                xml.mark("chord", &[]);
            }
            unpitched(xml, head.voice());
            xml.mark("instrument", &[("id", &instrument(head.voice()))]);
            xml.number("voice", line as i64 + 1);
            xml.text("type", &[], if most == 1 { "eighth" } else { "16th" });
            xml.text("stem", &[], stem(page, line));
            let shape = written(head.voice()).shape;
            if shape != Shape::Round {
                xml.text("notehead", &[], shape.musicxml());
            }
            staff(xml, page, line);
            if most > 1 && i == 0 {
                let state = match nth {
                    _ if nth == most => "begin",
                    1 => "end",
                    _ => "continue",
                };
                xml.text("beam", &[("number", "1")], state);
                xml.text("beam", &[("number", "2")], state);
            }
            xml.close("note");
        }
    }
}

fn attributes<'a>(loud: &'a str, late: Option<&'a str>) -> Vec<(&'a str, &'a str)> {
    let mut all = Vec::new();
    if !loud.is_empty() {
        all.push(("dynamics", loud));
    }
    all.extend(late.map(|late| ("attack", late)));
    all
}

/// The level as a share of forte, in percent.
fn loudness(head: &Head) -> String {
    let share = 10f64.powf((head.stroke.hit.level.0 - FORTE) / 20.0) * 100.0;
    format!(
        "{:.0}",
        if share.is_finite() {
            share.clamp(1.0, 140.0)
        } else {
            100.0
        }
    )
}

/// How late a stroke, or its grace stroke so long before it, comes after its place: in divisions, as the standard has
/// it. None in a straight tempo, where strokes stand on their steps.
fn late(page: &Page, bar: &Bar, event: &Event, head: &Head, before: Millis) -> Option<String> {
    if page.tempo == ScoreTempo::Straight {
        return None;
    }
    let grid = page.score.grid;
    let hit = &head.stroke.hit;
    let played = grid.beats_at(hit.time - before.to_seconds())?;
    let settled = match head.stroke.late {
        Some(late) => grid.beats_at(hit.time - late.to_seconds())?,
        None => {
            let place = page.score.start(bar) + event.at;
            place.0 as f64 / page.score.beat.ticks().0 as f64
        }
    };
    let late = (played - settled) * page.score.beat.ticks().0 as f64 / page.division as f64;
    let words = format!("{late:.3}");
    let zero = words
        .trim_start_matches('-')
        .chars()
        .all(|c| matches!(c, '0' | '.'));
    (late.is_finite() && !zero).then_some(words)
}

fn unpitched(xml: &mut Xml, voice: Voice) {
    let place = written(voice);
    xml.open("unpitched", &[]);
    xml.text("display-step", &[], place.step());
    xml.number("display-octave", place.octave());
    xml.close("unpitched");
}

fn value(xml: &mut Xml, event: &Event) {
    xml.text("type", &[], value_name(event.value.power));
    for _ in 0..event.value.dots {
        xml.mark("dot", &[]);
    }
}

pub(super) fn value_name(power: u32) -> &'static str {
    VALUES.get(power as usize).copied().unwrap_or("1024th")
}

fn modification(xml: &mut Xml, ratio: Ratio) {
    xml.open("time-modification", &[]);
    xml.number("actual-notes", i64::from(ratio.actual));
    xml.number("normal-notes", i64::from(ratio.normal));
    xml.text("normal-type", &[], value_name(ratio.power));
    xml.close("time-modification");
}

fn stem(page: &Page, line: usize) -> &'static str {
    let below = page.score.lines.get(line).is_some_and(|line| line.is_below());
    if below { "down" } else { "up" }
}

fn notehead(xml: &mut Xml, head: &Head) {
    let shape = written(head.voice()).shape;
    if head.is(Mark::Ghost) {
        xml.text("notehead", &[("parentheses", "yes")], shape.musicxml());
    } else if shape != Shape::Round {
        xml.text("notehead", &[], shape.musicxml());
    }
}

fn staff(xml: &mut Xml, page: &Page, line: usize) {
    if let Some(staff) = page.staff(line) {
        xml.number("staff", staff as i64);
    }
}

fn beams(xml: &mut Xml, event: &Event) {
    for (level, beam) in event.beams.iter().enumerate().take(8) {
        let state = match beam {
            Beam::Begin => "begin",
            Beam::Through => "continue",
            Beam::End => "end",
            Beam::HookRight => "forward hook",
            Beam::HookLeft => "backward hook",
        };
        xml.text("beam", &[("number", &(level + 1).to_string())], state);
    }
}

/// Tuplet, accent, open hat, who plays.
fn notations(xml: &mut Xml, page: &Page, line: usize, event: &Event, head: &Head, first: bool) {
    let edge = first && event.tuplet.is_some_and(|(_, edge)| edge != Edge::Inner);
    let accent = head.is(Mark::Accent);
    let open = head.voice() == Voice::HatOpen;
    let limb = head.stroke.limb.map(letter);
    if !(edge || accent || open || limb.is_some()) {
        return;
    }
    xml.open("notations", &[]);
    if edge {
        tuplet(xml, page, line, event);
    }
    if open || limb.is_some() {
        xml.open("technical", &[]);
        if let Some(letter) = limb {
            xml.text("fingering", &[("placement", "below")], letter);
        }
        if open {
            xml.mark("open", &[("placement", "above")]);
        }
        xml.close("technical");
    }
    if accent {
        xml.open("articulations", &[]);
        xml.mark("accent", &[("placement", placement(page, line))]);
        xml.close("articulations");
    }
    xml.close("notations");
}

fn placement(page: &Page, line: usize) -> &'static str {
    let below = page.score.lines.get(line).is_some_and(|line| line.is_below());
    if below { "below" } else { "above" }
}

fn tuplet(xml: &mut Xml, page: &Page, line: usize, event: &Event) {
    match event.tuplet {
        Some((_, Edge::First)) => xml.mark(
            "tuplet",
            &[
                ("type", "start"),
                ("bracket", "no"),
                ("placement", placement(page, line)),
            ],
        ),
        Some((_, Edge::Last)) => xml.mark("tuplet", &[("type", "stop")]),
        _ => {}
    }
}

/// Who plays, as drummers write it: hands by one letter, feet by two.
fn letter(limb: Limb) -> &'static str {
    match limb {
        Limb::RightHand => "R",
        Limb::LeftHand => "L",
        Limb::RightFoot => "RF",
        Limb::LeftFoot => "LF",
    }
}

/// A length as the file counts it, for places inside a bar.
pub(super) fn offset(xml: &mut Xml, page: &Page, at: Ticks) {
    let at = page.divisions(at);
    if at != 0 {
        xml.number("offset", at);
    }
}
