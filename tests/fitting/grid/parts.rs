//! Practice material whose grid is known: performances and invented parts, cut, drifted, paused and heard as badly as
//! a listener hears them. Seeded.
//!
//! Performances: Groove MIDI Dataset (Gillick, Roberts, Engel, Eck, Bamman, ICML 2019), CC BY 4.0: bar one is at time
//! 0, tempo and meter stand in its `info.csv`. As nearly all are in 4/4, beats are left out of or played twice in
//! every bar of some, which gives bars of 3, 5 and 7.

use std::path::Path;

use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::super::invented::Part;
use crate::names::Voice;
use crate::units::{Decibels, Seconds};
use crate::voices::Hit;

/// Hits with what is known of their grid.
pub(super) struct Example {
    pub(super) hits: Vec<Hit>,
    pub(super) beats: Vec<f64>,
    pub(super) downbeats: Vec<f64>,
    /// Which performance it is from; invented parts have none.
    pub(super) source: Option<usize>,
    /// What kind of material it is.
    pub(super) kind: &'static str,
}

/// The example of this number; `None` when too little is struck in it.
pub(super) fn example(grooves: &[Groove], seed: u64) -> Option<Example> {
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let mut example = if seed % 5 < 2 {
        invented(&mut dice)?
    } else {
        played(grooves, &mut dice)?
    };
    if example.source.is_some() && dice.random::<f64>() < 0.2 {
        shuffle(&mut example);
        example.kind = "played, altered";
    }
    if example.kind != "invented solo" {
        thin(&mut example, &mut dice);
    }
    drift(&mut example, &mut dice);
    if dice.random::<f64>() < 0.06 {
        pause(&mut example, &mut dice);
    }
    let hits = std::mem::take(&mut example.hits);
    example.hits = degraded(hits, &mut dice);
    (example.hits.len() >= 24).then_some(example)
}

/// Length of an excerpt in seconds.
fn length(dice: &mut ChaCha8Rng) -> f64 {
    *[18.0, 22.0, 22.0, 22.0, 30.0, 45.0]
        .choose(dice)
        .expect("there are lengths")
}

/// Another tempo, swaying within the bars by up to 3 % and drifting by up to 20 % over the piece.
fn drift(example: &mut Example, dice: &mut ChaCha8Rng) {
    let slower: f64 = dice.random_range(0.87..1.15);
    let end = example.hits.last().map_or(1.0, |h| h.time.0).max(1.0);
    let beat = example.beats.windows(2).next().map_or(0.5, |w| w[1] - w[0]);
    let (mut sway, mut drift) = (0.0, 0.0);
    if dice.random::<f64>() < 0.6 {
        sway = dice.random_range(0.0..0.03);
        drift = dice.random_range(-0.15..0.2);
    }
    let turn = 6.3 / (beat * dice.random_range(3.0..9.0));
    let warp = |t: f64| slower * (t + 0.5 * drift * t * t / end + sway * (turn * t).sin() / turn);
    let Example {
        hits,
        beats,
        downbeats,
        ..
    } = example;
    beats.iter_mut().chain(downbeats).for_each(|t| *t = warp(*t));
    hits.iter_mut().for_each(|h| h.time.0 = warp(h.time.0));
}

/// The same music in triplets: halves of a beat fall on its last third, quarters on the thirds and sixths around.
fn shuffle(example: &mut Example) {
    let Some(beat) = example.beats.windows(2).next().map(|w| w[1] - w[0]) else {
        return;
    };
    for hit in &mut example.hits {
        let place = hit.time.0 / beat;
        let inside = place - place.floor();
        let moved = if inside < 0.5 {
            inside * 4.0 / 3.0
        } else {
            1.0 / 3.0 + inside * 2.0 / 3.0
        };
        // What comes just before a beat belongs to it and stays.
        if inside < 0.9 {
            hit.time.0 = (place.floor() + moved) * beat;
        }
    }
}

/// In some examples the strokes that keep time are left out, in some only those on beats, or on halves of beats, are
/// kept, and in some a voice takes another's part all through: sparse parts and odd kits, which the data set lacks.
fn thin(example: &mut Example, dice: &mut ChaCha8Rng) {
    use Voice::*;
    let voices = |hits: &[Hit]| hits.iter().map(|h| h.voice).collect::<Vec<_>>();
    let before = voices(&example.hits);
    match dice.random_range(0..100) {
        0..8 => example
            .hits
            .retain(|h| !matches!(h.voice, HatClosed | HatOpen | HatFoot | Ride)),
        8..18 => {
            let parts = *[1.0, 1.0, 2.0].choose(dice).expect("there are parts");
            let beats = &example.beats;
            let near = |t: f64| {
                let at = beats.partition_point(|b| *b <= t);
                let (Some(a), Some(b)) = (at.checked_sub(1).and_then(|i| beats.get(i)), beats.get(at)) else {
                    return true;
                };
                let place = (t - a) / (b - a) * parts;
                (place - place.round()).abs() < 0.12 * parts
            };
            example.hits.retain(|h| near(h.time.0));
        }
        _ => {}
    }
    if dice.random::<f64>() < 0.12 {
        let others: &[(Voice, &[Voice])] = &[
            (Kick, &[TomFloor, TomLow]),
            (Snare, &[CrossStick, Other, TomHigh, Snare2]),
            (HatClosed, &[Other, Ride, HatFoot, CrossStick]),
            (Ride, &[Other, HatOpen, RideBell]),
        ];
        for (voice, others) in others {
            if dice.random::<f64>() < 0.4 {
                let other = *others.choose(dice).expect("there are others");
                let own = example.hits.iter_mut().filter(|h| h.voice == *voice);
                own.for_each(|h| h.voice = other);
            }
        }
    }
    if example.kind == "played" && before != voices(&example.hits) {
        example.kind = "played, altered";
    }
}

/// Up to two bars without a stroke.
fn pause(example: &mut Example, dice: &mut ChaCha8Rng) {
    let ones = &example.downbeats;
    if ones.len() < 6 {
        return;
    }
    let from = dice.random_range(1..ones.len() - 3);
    let (start, end) = (ones[from], ones[from + dice.random_range(1..=2)] - 0.03);
    example.hits.retain(|h| h.time.0 < start || h.time.0 > end);
}

/// A listener's hits: soft ones missing, some added, some wrongly named, none quite in time.
fn degraded(mut hits: Vec<Hit>, dice: &mut ChaCha8Rng) -> Vec<Hit> {
    let (start, end) = (
        hits.first().map_or(0.0, |h| h.time.0),
        hits.last().map_or(1.0, |h| h.time.0),
    );
    let added = (hits.len() as f64 * dice.random_range(0.0..0.05)) as usize;
    let missing = dice.random_range(0.0..0.08);
    let wrong = dice.random_range(0.0..0.15);
    let jitter = dice.random_range(0.001..0.004);
    let uneven = dice.random_range(0.3..2.5);
    hits.retain(|h| dice.random::<f64>() > missing * if h.level.0 < -20.0 { 5.0 } else { 1.0 });
    for hit in &mut hits {
        hit.time.0 += jitter * normal(dice);
        hit.level.0 += uneven * normal(dice);
        if dice.random::<f64>() < wrong {
            hit.voice = confused(hit.voice, dice);
        }
    }
    for _ in 0..added {
        hits.push(Hit {
            time: Seconds(start + dice.random::<f64>() * (end - start)),
            voice: *Voice::ALL.choose(dice).expect("there are voices"),
            level: Decibels(-18.0),
            mark: None,
            grace: None,
            sure: dice.random_range(0.3..0.8),
        });
    }
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    hits
}

/// The voice that a listener may take this one for.
fn confused(voice: Voice, dice: &mut ChaCha8Rng) -> Voice {
    use Voice::*;
    let others: &[Voice] = match voice {
        Kick | KickLeft => &[TomFloor, Kick, HatFoot],
        Snare | Snare2 => &[Snare2, TomHigh, TomMid, CrossStick, HatClosed],
        TomHigh | TomMid | TomLow => &[Snare, TomHigh, TomMid, TomFloor],
        TomFloor | TomFloor2 => &[Kick, TomMid, TomLow],
        HatClosed | HatOpen | HatFoot => &[HatClosed, HatOpen, HatFoot, Ride],
        Ride | RideBell => &[HatClosed, Crash, RideBell, Ride],
        _ => &[Ride, HatOpen, Crash, China],
    };
    *others.choose(dice).expect("there are others")
}

fn normal(dice: &mut ChaCha8Rng) -> f64 {
    (0..12).map(|_| dice.random::<f64>()).sum::<f64>() - 6.0
}

fn invented(dice: &mut ChaCha8Rng) -> Option<Example> {
    let bar = *[4, 4, 4, 4, 4, 4, 4, 4, 4, 4, 4, 4, 3, 3, 5, 7, 6, 2].choose(dice)?;
    // A third is from the whole range of tempi and subdivisions that hands can play, the rest is usual.
    let (bpm, steps) = if dice.random::<f64>() < 0.33 {
        loop {
            let bpm: f64 = dice.random_range(48.0..230.0);
            let steps: usize = *[2, 3, 4, 5, 6, 7, 8].choose(dice)?;
            if (3.0..=11.0).contains(&(bpm / 60.0 * steps as f64)) {
                break (bpm, steps);
            }
        }
    } else {
        let bpm: f64 = dice.random_range(66.0..176.0);
        let steps = match bpm {
            b if b < 95.0 => *[4, 6, 6, 3, 8, 4].choose(dice)?,
            b if b < 125.0 => *[4, 4, 4, 4, 4, 4, 4, 4, 4, 6, 6, 3, 3, 5].choose(dice)?,
            _ => *[4, 4, 4, 3, 3, 2].choose(dice)?,
        };
        (bpm, steps)
    };
    let bars = ((length(dice) * bpm / 60.0 / bar as f64) as usize).max(3);
    let groove = dice.random::<f64>() < 0.2;
    let part = Part {
        bpm,
        bar,
        steps,
        bars,
        groove,
        loose: dice.random_range(0.003..0.010),
        accents: (dice.random_range(2.0..7.0), dice.random_range(0.5..3.0)),
        crashes: *[0.0, 0.0, 0.1, 0.2, 0.4].choose(dice)?,
        figure: *[(3, 6), (5, 12), (5, 12), (3, 20)].choose(dice)?,
        ..Part::default()
    };
    let played = part.play(dice.random());
    let mut example = Example {
        hits: played.hits,
        beats: played.beats,
        downbeats: played.downbeats,
        source: None,
        kind: if groove {
            "invented groove"
        } else {
            "invented solo"
        },
    };
    if dice.random::<f64>() < 0.3 {
        let start = example.beats[dice.random_range(0..bar)] + dice.random_range(-0.1..0.4);
        example.hits.retain(|h| h.time.0 >= start);
        let from = example.hits.first()?.time.0 - 0.03;
        example.beats.retain(|t| *t >= from);
        example.downbeats.retain(|t| *t >= from);
    }
    Some(example)
}

/// A performance: hits, beats a minute, beats in a bar.
pub(super) struct Groove {
    hits: Vec<Hit>,
    bpm: f64,
    bar: usize,
    style: String,
    /// Whether it is long enough for an excerpt; else it is a fill of some bars.
    long: bool,
}

/// Bars of fills on top of `hits`: in some performances every fourth or eighth bar is another player's fill, in others
/// fills follow one another, as in a solo. Whether there are any.
fn add_fills(hits: &mut Vec<Hit>, grooves: &[Groove], bar: f64, bars: usize, dice: &mut ChaCha8Rng) -> bool {
    let every = match dice.random_range(0..20) {
        0..=3 => 4,
        4..=6 => 8,
        7..=9 => 1,
        _ => return false,
    };
    let fills: Vec<&Groove> = grooves.iter().filter(|g| !g.long && g.bar == 4).collect();
    let mut at = every - 1;
    while at < bars
        && let Some(fill) = fills.choose(dice)
    {
        let own = 4.0 * 60.0 / fill.bpm;
        let long = fill
            .hits
            .last()
            .map_or(1.0, |h| (h.time.0 / own + 0.1).ceil().max(1.0)) as usize;
        let (start, end) = (at as f64 * bar, (at + long) as f64 * bar);
        let early = 0.02 * bar;
        hits.retain(|h| h.time.0 < start - early || h.time.0 >= end - early);
        let scaled = fill.hits.iter().map(|h| Hit {
            time: Seconds(start + h.time.0 / own * bar),
            ..*h
        });
        hits.extend(scaled.filter(|h| h.time.0 < end - early));
        at += long.max(1).next_multiple_of(every);
    }
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    true
}

/// An excerpt of a performance, from anywhere in it; in some every bar gets another number of beats.
fn played(grooves: &[Groove], dice: &mut ChaCha8Rng) -> Option<Example> {
    // Styles that were recorded seldom are drawn more often than their share: by the square root of it.
    let source = loop {
        let source = dice.random_range(0..grooves.len());
        let same = |g: &&Groove| g.long && g.style == grooves[source].style;
        let alike = grooves.iter().filter(same).count();
        if grooves[source].long && dice.random::<f64>() < 1.0 / (alike as f64).sqrt() {
            break source;
        }
    };
    let groove = &grooves[source];
    let beat = 60.0 / groove.bpm;
    // Where each beat of a bar comes from.
    let order: Vec<usize> = match (groove.bar, dice.random_range(0..24)) {
        (4, 0) => vec![0, 1, 2],
        (4, 1) => vec![0, 2, 3],
        (4, 2) => vec![0, 1, 3],
        (4, 3) => vec![0, 1, 2, 3, 2],
        (4, 4) => vec![0, 1, 2, 0, 3],
        (4, 5) => vec![0, 1, 2, 3, 1, 2, 3],
        (bar, _) => (0..bar).collect(),
    };
    let last = groove.hits.last()?.time.0;
    let bars = (last / beat / groove.bar as f64).ceil() as usize;
    let mut hits = Vec::new();
    let count = bars * order.len();
    for to in 0..count {
        let from = (to / order.len() * groove.bar + order[to % order.len()]) as f64 * beat;
        let inside = groove
            .hits
            .iter()
            .filter(|h| h.time.0 >= from - 0.2 * beat && h.time.0 < from + 0.8 * beat);
        hits.extend(inside.map(|h| Hit {
            time: Seconds(h.time.0 - from + to as f64 * beat),
            ..*h
        }));
    }
    let filled = order.len() == 4 && add_fills(&mut hits, grooves, 4.0 * beat, bars, dice);
    let altered = filled || order != (0..groove.bar).collect::<Vec<_>>();
    let excerpt = length(dice);
    let whole = count as f64 * beat;
    // Players begin on beat one, and cut recordings a moment before one; the rest begins anywhere.
    let start = match dice.random::<f64>() {
        p if p < 0.15 => 0.0,
        p if p < 0.5 => {
            let bar = beat * order.len() as f64;
            let lead = dice.random_range(0.0..0.5);
            (dice.random::<f64>() * (whole - excerpt).max(0.0) / bar).floor() * bar - lead
        }
        _ => dice.random::<f64>() * (whole - excerpt).max(0.0),
    };
    let inside = |t: f64| t >= start - 0.01 && t < start + excerpt;
    hits.retain(|h| inside(h.time.0));
    let times = |every: usize| {
        (0..=count)
            .step_by(every)
            .map(|i| i as f64 * beat)
            .filter(|t| inside(*t))
            .collect()
    };
    let end = hits.last()?.time.0;
    let mut beats: Vec<f64> = times(1);
    beats.retain(|t| *t <= end);
    Some(Example {
        hits,
        beats,
        downbeats: times(order.len()),
        source: Some(source),
        kind: if altered { "played, altered" } else { "played" },
    })
}

/// All performances whose beat is a quarter.
pub(super) fn grooves(folder: &Path) -> Vec<Groove> {
    let info = std::fs::read_to_string(folder.join("info.csv")).expect("info.csv can be read");
    let groove = |line: &str| {
        let columns: Vec<&str> = line.split(',').collect();
        let bpm: f64 = columns.get(4)?.parse().ok()?;
        let bar: usize = columns.get(6)?.split('-').next()?.parse().ok()?;
        let hits = midi_hits(&std::fs::read(folder.join(columns.get(7)?)).ok()?, bpm)?;
        let long = hits.last()?.time.0 - hits.first()?.time.0 >= 12.0;
        let style = columns.get(3)?.split('/').next()?.to_owned();
        let groove = Groove {
            hits,
            bpm,
            bar,
            style,
            long,
        };
        columns.get(6)?.ends_with("-4").then_some(groove)
    };
    info.lines().skip(1).filter_map(groove).collect()
}

fn midi_hits(bytes: &[u8], bpm: f64) -> Option<Vec<Hit>> {
    let file = midly::Smf::parse(bytes).ok()?;
    let midly::Timing::Metrical(per_beat) = file.header.timing else {
        return None;
    };
    let tick = 60.0 / bpm / f64::from(per_beat.as_int());
    let mut hits = Vec::new();
    for track in &file.tracks {
        let mut now = 0.0;
        for event in track {
            now += f64::from(event.delta.as_int()) * tick;
            let midly::TrackEventKind::Midi {
                message: midly::MidiMessage::NoteOn { key, vel },
                ..
            } = event.kind
            else {
                continue;
            };
            if let Some(voice) = pad(key.as_int()).filter(|_| vel.as_int() > 0) {
                let level = 20.0 * (f64::from(vel.as_int()) / 127.0).log10();
                hits.push(Hit {
                    time: Seconds(now),
                    voice,
                    level: Decibels(level),
                    mark: None,
                    grace: None,
                    sure: 1.0,
                });
            }
        }
    }
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    Some(hits)
}

/// The voice of an electronic kit's pad, as the data set's notes give them.
fn pad(key: u8) -> Option<Voice> {
    Some(match key {
        36 => Voice::Kick,
        38 | 40 => Voice::Snare,
        37 => Voice::CrossStick,
        48 | 50 => Voice::TomHigh,
        45 | 47 => Voice::TomMid,
        43 | 58 => Voice::TomFloor,
        42 | 22 => Voice::HatClosed,
        46 | 26 => Voice::HatOpen,
        44 => Voice::HatFoot,
        49 | 55 => Voice::Crash,
        52 | 57 => Voice::Crash2,
        51 | 59 => Voice::Ride,
        53 => Voice::RideBell,
        _ => return None,
    })
}
