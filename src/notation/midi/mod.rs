//! [`Score`] -> Standard MIDI File, type 1 **[P: MIDI Manufacturers Association, Standard MIDI Files 1.0, 1996]**.
//!
//! A track with tempo, meter and markers, then one for every limb or layer, on the channel of percussion. In the
//! recording's tempo the file runs beside the recording: a lead-in fills the time before the first bar, each beat lies
//! where the recording has it, and each stroke where it was played. In a straight tempo strokes stand on their steps.

mod clock;
#[cfg(test)]
mod tests;

use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};

use super::kit::written;
use super::score::{Bar, Head, Score, Ticks};
use crate::charts::words::title;
use crate::names::{Layer, Limb, Voice};
use crate::options::{ScoreOptions, ScoreTempo, Tracks};
use crate::study::{Stroke, Study};
use crate::units::{Decibels, Millis, Seconds};
use clock::Clock;

/// Ticks of the file in a quarter note: whole numbers for 5, 6, 7, 9 and 32 steps in it, 0.05 ms at 120 bpm \[=\].
pub(crate) const PER_QUARTER: i64 = 10_080;
/// The channel of percussion, counted from 0 **[P: General MIDI Level 1]**.
const PERCUSSION: u8 = 9;
/// A stroke is held for a thirty-second note, or half the way to the next one on its key.
const HELD: i64 = PER_QUARTER / 8;

/// One stroke to be sounded.
struct Sound {
    at: i64,
    voice: Voice,
    velocity: u8,
}

/// Writes the score of a study.
pub fn write(study: &Study, score: &Score, options: &ScoreOptions) -> Vec<u8> {
    let clock = Clock::of(score, options.tempo);
    let name = title(study);
    let marks = markers(score, &clock);
    let mut smf = Smf::new(Header::new(
        Format::Parallel,
        Timing::Metrical(u15::new(PER_QUARTER as u16)),
    ));
    smf.tracks.push(conductor(score, &clock, &name, &marks));
    let strokes = strokes(study, score, &clock, options.tempo);
    for (name, belongs) in tracks(options.tracks) {
        let own: Vec<&(i64, &Stroke)> = strokes.iter().filter(|(_, stroke)| belongs(stroke)).collect();
        if !own.is_empty() {
            let sounds = own
                .iter()
                .flat_map(|(at, stroke)| sounds(*at, stroke, &clock, options.tempo));
            smf.tracks.push(track(name, sounds.collect()));
        }
    }
    let mut bytes = Vec::new();
    // Writing to memory cannot fail.
    let _ = smf.write_std(&mut bytes);
    bytes
}

/// Which strokes a track takes.
type Belongs = fn(&Stroke) -> bool;

fn tracks(tracks: Tracks) -> Vec<(&'static str, Belongs)> {
    match tracks {
        Tracks::Limbs => vec![
            ("right hand", |s| s.limb == Some(Limb::RightHand)),
            ("left hand", |s| s.limb == Some(Limb::LeftHand)),
            ("right foot", |s| s.limb == Some(Limb::RightFoot)),
            ("left foot", |s| s.limb == Some(Limb::LeftFoot)),
            ("limb not known", |s| s.limb.is_none()),
        ],
        Tracks::Layers => vec![
            ("figure", |s| s.layer == Some(Layer::Ostinato)),
            ("solo", |s| s.layer == Some(Layer::Solo)),
            ("drums", |s| s.layer.is_none()),
        ],
    }
}

/// Every stroke of the score with its tick; without a beat, every stroke by the clock.
fn strokes<'a>(
    study: &'a Study,
    score: &Score<'a>,
    clock: &Clock,
    tempo: ScoreTempo,
) -> Vec<(i64, &'a Stroke)> {
    if score.bars.is_empty() && !score.is_part {
        return study
            .strokes
            .iter()
            .map(|stroke| (clock.tick(stroke.hit.time), stroke))
            .collect();
    }
    let mut all = Vec::new();
    for bar in &score.bars {
        for event in bar.lines.iter().flatten() {
            let place = clock.place(score.start(bar) + event.at);
            for head in &event.heads {
                let at = match tempo {
                    ScoreTempo::Recording => clock.tick(head.stroke.hit.time),
                    ScoreTempo::Straight => place,
                };
                all.push((at, head.stroke));
                all.extend(own_rows(study, head, at, clock, tempo));
            }
        }
    }
    all.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.hit.voice.cmp(&b.1.hit.voice)));
    all
}

/// Grace strokes that have rows of their own.
fn own_rows<'a>(
    study: &'a Study,
    head: &Head<'a>,
    at: i64,
    clock: &Clock,
    tempo: ScoreTempo,
) -> Vec<(i64, &'a Stroke)> {
    let row = |grace: &super::score::Grace| {
        let stroke = study.strokes.get(grace.row?)?;
        let tick = match tempo {
            ScoreTempo::Recording => clock.tick(stroke.hit.time),
            ScoreTempo::Straight => clock.earlier(at, grace.before),
        };
        Some((tick, stroke))
    };
    head.graces.iter().filter_map(row).collect()
}

/// A stroke, and before it the grace strokes that its mark tells of, softer by what flams usually are \[M\] (TRADE 5).
fn sounds(at: i64, stroke: &Stroke, clock: &Clock, tempo: ScoreTempo) -> Vec<Sound> {
    const SOFTER: f64 = 10.0;
    let hit = &stroke.hit;
    let sound = |at, level| Sound {
        at,
        voice: hit.voice,
        velocity: velocity(level),
    };
    let earlier = |before: Millis| match tempo {
        ScoreTempo::Recording => clock.tick(hit.time - before.to_seconds()),
        ScoreTempo::Straight => clock.earlier(at, before),
    };
    let mut all: Vec<Sound> = super::score::graces(stroke)
        .iter()
        .map(|before| sound(earlier(*before), Decibels(hit.level.0 - SOFTER)))
        .collect();
    all.push(sound(at, hit.level));
    all
}

/// The velocity of a level: amplitude goes with the square of velocity \[C\].
fn velocity(level: Decibels) -> u8 {
    let velocity = 127.0 * 10f64.powf(level.0 / 40.0);
    // `as` saturates, and NaN becomes 0.
    (velocity.round() as u8).clamp(1, 127)
}

/// Tempo, meter, markers.
fn conductor<'a>(
    score: &Score,
    clock: &Clock,
    name: &'a str,
    marks: &'a [(i64, String)],
) -> Vec<TrackEvent<'a>> {
    let mut events = vec![(0, MetaMessage::TrackName(name.as_bytes()))];
    let meter = |count: u32| {
        let power = score.grid.meter.unit.checked_ilog2().unwrap_or(2).min(4) as u8;
        let clicks = (score.beat.ticks().quarters() * 24.0) as u8;
        MetaMessage::TimeSignature(count.clamp(1, 255) as u8, power, clicks, 8)
    };
    let full = score.grid.meter.count;
    let per_beat = full / score.beat.per_bar.max(1);
    events.push((0, meter(full)));
    if let Some(bar) = score.bars.first().filter(|bar| bar.beats < score.beat.per_bar) {
        let start = score.start(bar);
        if clock.place(start) == 0 {
            events.pop();
        }
        events.push((clock.place(start), meter(bar.beats * per_beat.max(1))));
        events.push((clock.place(start + score.length(bar)), meter(full)));
    }
    let tempi = clock.tempi();
    events.extend(
        tempi
            .iter()
            .map(|(at, us)| (*at, MetaMessage::Tempo(u24::new(*us)))),
    );
    events.extend(
        marks
            .iter()
            .map(|(at, words)| (*at, MetaMessage::Marker(words.as_bytes()))),
    );
    events.sort_by_key(|(at, _)| *at);
    let kinds = events
        .into_iter()
        .map(|(at, meta)| (at, TrackEventKind::Meta(meta)));
    finished(kinds.collect(), clock.end())
}

/// Bars by their numbers, and starts of the first figure.
fn markers(score: &Score, clock: &Clock) -> Vec<(i64, String)> {
    let bars = score
        .bars
        .iter()
        .map(|bar: &Bar| (score.start(bar), format!("bar {}", bar.number)));
    let (first, last) = span(score);
    let figure = score
        .figures
        .first()
        .map(|figure| figure.repeats.as_slice())
        .unwrap_or_default();
    let inside = figure
        .iter()
        .filter(|repeat| repeat.from >= first && repeat.from < last);
    let repeats = inside.map(|repeat| {
        let home = if repeat.home { ", home" } else { "" };
        (repeat.from, format!("figure {}{home}", repeat.number))
    });
    bars.chain(repeats)
        .map(|(at, words)| (clock.place(at), words))
        .collect()
}

/// From where to where the bars reach.
fn span(score: &Score) -> (Ticks, Ticks) {
    let first = score.bars.first().map(|bar| score.start(bar)).unwrap_or_default();
    let last = score
        .bars
        .last()
        .map(|bar| score.start(bar) + score.length(bar))
        .unwrap_or_default();
    (first, last)
}

fn track(name: &str, mut sounds: Vec<Sound>) -> Vec<TrackEvent<'_>> {
    sounds.sort_by_key(|sound| (sound.at, sound.voice));
    let message = |message| TrackEventKind::Midi {
        channel: u4::new(PERCUSSION),
        message,
    };
    // Ends of notes stand before beginnings at the same tick.
    let mut events = vec![(
        0,
        0,
        TrackEventKind::Meta(MetaMessage::TrackName(name.as_bytes())),
    )];
    for (i, sound) in sounds.iter().enumerate() {
        let key = u7::new(written(sound.voice).key);
        let again = sounds.iter().skip(i + 1).find(|next| next.voice == sound.voice);
        let held = again
            .map_or(HELD, |next| ((next.at - sound.at) / 2).min(HELD))
            .max(1);
        let on = MidiMessage::NoteOn {
            key,
            vel: u7::new(sound.velocity),
        };
        let off = MidiMessage::NoteOff { key, vel: u7::new(0) };
        events.push((sound.at, 1, message(on)));
        events.push((sound.at + held, 0, message(off)));
    }
    events.sort_by_key(|(at, order, _)| (*at, *order));
    finished(events.into_iter().map(|(at, _, kind)| (at, kind)).collect(), 0)
}

/// Events at ticks -> a track, whose end comes no earlier than `end`.
fn finished(events: Vec<(i64, TrackEventKind<'_>)>, end: i64) -> Vec<TrackEvent<'_>> {
    let mut now = 0;
    let end = events.last().map_or(end, |(at, _)| end.max(*at));
    let close = (end, TrackEventKind::Meta(MetaMessage::EndOfTrack));
    let mut track = Vec::with_capacity(events.len() + 1);
    for (at, kind) in events.into_iter().chain([close]) {
        let delta = (at - now).clamp(0, 0x0fff_ffff);
        now += delta;
        track.push(TrackEvent {
            delta: u28::new(delta as u32),
            kind,
        });
    }
    track
}

/// How long before its place a grace stroke comes, in ticks of a tempo.
fn ticks_of(before: Millis, quarter: Seconds) -> i64 {
    (before.to_seconds().0 / quarter.0.max(1e-6) * PER_QUARTER as f64).round() as i64
}
