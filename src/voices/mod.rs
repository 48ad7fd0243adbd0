//! [`Onset`]s -> [`Hit`]s: which drum or cymbal was struck, and what else struck with it.

pub mod features;

mod network;

mod classes;

mod strokes;

mod groups;

mod snares;

mod own;

mod levels;

mod sounds;

mod times;

pub mod kit;

pub use sounds::{Group, Timbre, measure};
pub(crate) use times::sound;

pub mod graces;

use classes::{Class, Odds};
use snares::{Moment, Others, Struck};
use strokes::Stroke;

use crate::audio::Recording;
use crate::hits::Onset;
use crate::listen::{self, Heard, Sharp, Sound};
use crate::names::{Mark, Voice};
use crate::options::VoiceOptions;
use crate::units::{Decibels, Millis, Seconds};

/// The network's stroke and the onset belong together within this time.
const TOGETHER: Seconds = Seconds(0.03);

/// What a study of a recording with a band says of itself.
pub(crate) const LESS_SURE_IN_MIX: &str = "a band plays along: kicks and snares are fairly sure, hats and toms less, and soft strokes may be missing";

/// How sure a hit is that nothing on the kit is likely for.
const UNNAMED_SURE: f64 = 0.1;

/// One stroke on one drum or cymbal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hit {
    /// When it was struck, from the start of the recording's file.
    pub time: Seconds,
    /// What was struck.
    pub voice: Voice,
    /// Level under the loudest hit of the recording: 0 or less.
    pub level: Decibels,
    /// Accent, ghost, flam or drag, where heard.
    pub mark: Option<Mark>,
    /// How long before it its grace stroke begins, where it has one; of a drag, the first of the two.
    pub grace: Option<Millis>,
    /// How sure it is that this voice was struck here, 0 to 1.
    pub sure: f64,
}

/// Names the voices struck at each onset: their classes as the network heard them or, when it has not listened
/// (`heard` is empty), by the sound at each onset alone; drums of one class by their sound over the whole recording. Each voice gets a time of its own.
/// Flams and drags are one hit with its mark. The result is sorted by time.
pub fn name(recording: &Recording, heard: &Heard, onsets: &[Onset], options: &VoiceOptions) -> Vec<Hit> {
    let singly = singly(recording, heard, onsets, options);
    let sharp = Sharp::listen(recording, heard);
    let mut hits = graces::joined(recording, &sharp, singly, options.mix);
    times::each(&sharp, &mut hits);
    snares::part(recording, &mut hits);
    mark(&mut hits);
    hits
}

/// The same before grace strokes are joined to their main strokes and strokes are marked: an onset gives one hit or
/// more, never none.
pub fn singly(recording: &Recording, heard: &Heard, onsets: &[Onset], options: &VoiceOptions) -> Vec<Hit> {
    let rows = features::rows(recording, onsets);
    let (odds, strokes) = if heard.is_empty() {
        let odds = classes::odds(&rows);
        let strokes = strokes::strokes(&odds);
        (odds, strokes)
    } else {
        by_ear(heard, onsets, &rows, options.mix)
    };
    let mut hits: Vec<Hit> = Vec::new();
    for (stroke, voice) in voices(&strokes, &rows, &odds, onsets) {
        if let (Some(onset), Some(row)) = (onsets.get(stroke.onset), rows.get(stroke.onset)) {
            hits.push(Hit {
                time: onset.time,
                voice,
                level: levels::level(row, stroke.class),
                mark: None,
                grace: None,
                sure: f64::from(stroke.odds) * onset.sure.clamp(0.0, 1.0),
            });
        }
    }
    hits.extend(unnamed(onsets, &strokes));
    hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0).then(a.voice.cmp(&b.voice)));
    let loudest = hits.iter().map(|h| h.level.0).fold(f64::NEG_INFINITY, f64::max);
    hits.iter_mut().for_each(|h| h.level.0 -= loudest);
    hits
}

/// What the network heard at each onset, and the strokes that this speaks for once it is read against the whole
/// recording: what is likely, or else the likeliest. A band's notes would be read as strokes, so with a band the
/// network decides alone.
fn by_ear(heard: &Heard, onsets: &[Onset], rows: &[Vec<f32>], mix: bool) -> (Vec<Odds>, Vec<Stroke>) {
    let all = listen::strokes(heard, 0.0);
    let near: Vec<Option<&listen::Stroke>> = onsets.iter().map(|onset| nearest(&all, onset.time)).collect();
    let log_odds = |odds: f32| (odds / (1.0 - odds)).ln().clamp(-own::MOST, own::MOST);
    let classes = |stroke: Option<&listen::Stroke>| {
        Class::MAIN.map(|class| stroke.map_or(-own::MOST, |s| log_odds(s.likely(class.sound()))))
    };
    let classes: Vec<own::LogOdds> = near.iter().map(|stroke| classes(*stroke)).collect();
    let (read, least) = if mix {
        (classes, [own::LEAST_IN_MIX; Class::MAIN.len()])
    } else {
        let read = own::read_against_itself(&classes, rows);
        let least = own::least(&read);
        (read, least)
    };
    let mut strokes = Vec::new();
    for (onset, odds) in read
        .iter()
        .enumerate()
        .filter(|(onset, _)| near.get(*onset).is_some_and(Option::is_some))
    {
        let before = strokes.len();
        let over = Class::MAIN
            .into_iter()
            .zip(odds.iter().zip(least).map(|(odds, least)| odds - least));
        let stroke = |(class, over): (Class, f32)| Stroke {
            onset,
            class,
            odds: 1.0 / (1.0 + (-over).exp()),
        };
        strokes.extend(over.clone().filter(|(_, over)| *over > 0.0).map(stroke));
        if strokes.len() == before {
            strokes.extend(over.max_by(|a, b| a.1.total_cmp(&b.1)).map(stroke));
        }
    }
    let odds = near
        .iter()
        .map(|stroke| stroke.map_or_else(Odds::default, |s| Odds::heard(|sound| s.near(sound))));
    (odds.collect(), strokes)
}

fn nearest(strokes: &[listen::Stroke], time: Seconds) -> Option<&listen::Stroke> {
    let away = |stroke: &listen::Stroke| (stroke.time - time).0.abs();
    let after = strokes.partition_point(|stroke| stroke.time < time);
    let near = after.saturating_sub(1)..(after + 1).min(strokes.len());
    let near = strokes
        .get(near)?
        .iter()
        .filter(|stroke| away(stroke) < TOGETHER.0);
    near.min_by(|a, b| away(a).total_cmp(&away(b)))
}

/// Onsets at which no class is likely: something was struck, nobody can say what.
fn unnamed(onsets: &[Onset], strokes: &[Stroke]) -> Vec<Hit> {
    let mut named = vec![false; onsets.len()];
    for stroke in strokes {
        if let Some(named) = named.get_mut(stroke.onset) {
            *named = true;
        }
    }
    let rest = onsets.iter().zip(named).filter(|(_, named)| !named);
    rest.map(|(onset, _)| Hit {
        time: onset.time,
        voice: Voice::Other,
        level: Decibels(onset.level.0.clamp(-70.0, 0.0)),
        mark: None,
        grace: None,
        sure: UNNAMED_SURE * onset.sure.clamp(0.0, 1.0),
    })
    .collect()
}

/// The voice of each stroke: drums of one class are told apart by their sound over the whole recording, cymbals and
/// hats stroke by stroke. A stroke on two snares at once is two strokes.
fn voices(strokes: &[Stroke], rows: &[Vec<f32>], odds: &[Odds], onsets: &[Onset]) -> Vec<(Stroke, Voice)> {
    let mut struck = vec![[false; Class::COUNT]; rows.len()];
    for stroke in strokes {
        if let Some(struck) = struck.get_mut(stroke.onset) {
            struck[stroke.class as usize] = true;
        }
    }
    let alone = |stroke: &Stroke, without: &[Class]| {
        struck
            .get(stroke.onset)
            .is_some_and(|s| without.iter().all(|class| !s[*class as usize]))
    };
    // The strokes of one class as groups.rs wants them: which, their rows, whether the drum is heard by itself.
    let of = |class: Class, without: &[Class]| -> (Vec<usize>, Vec<&[f32]>, Vec<bool>) {
        let own = strokes.iter().enumerate().filter(|(_, s)| s.class == class);
        let own = own.filter_map(|(i, s)| Some((i, rows.get(s.onset)?.as_slice(), alone(s, without))));
        let mut parts = (Vec::new(), Vec::new(), Vec::new());
        for (index, row, clean) in own {
            parts.0.push(index);
            parts.1.push(row);
            parts.2.push(clean);
        }
        parts
    };
    let mut voices: Vec<Voice> = strokes
        .iter()
        .map(|s| {
            odds.get(s.onset)
                .map_or(Voice::Other, |odds| voice(s.class, odds))
        })
        .collect();
    let (which, toms, clean) = of(Class::Tom, &[Class::Kick]);
    for (index, voice) in which.into_iter().zip(groups::toms(&toms, &clean)) {
        voices[index] = voice;
    }
    let (which, snares, clean) = of(Class::Snare, &[Class::Kick, Class::Tom]);
    let at: Vec<usize> = which
        .iter()
        .filter_map(|index| strokes.get(*index))
        .map(|s| s.onset)
        .collect();
    let struck = snares::struck(&snares, &clean, &at, &moments(onsets, strokes, &voices));
    let mut more = Vec::new();
    for (index, struck) in which.into_iter().zip(struck) {
        if let (Voice::Snare, Some(stroke)) = (voices[index], strokes.get(index)) {
            match struck {
                Struck::First => {}
                Struck::Second => voices[index] = Voice::Snare2,
                Struck::Both(likely) => {
                    let odds = stroke.odds * likely;
                    more.push((Stroke { odds, ..*stroke }, Voice::Snare2));
                }
            }
        }
    }
    strokes.iter().copied().zip(voices).chain(more).collect()
}

/// What is struck at each onset beside snares.
fn moments(onsets: &[Onset], strokes: &[Stroke], voices: &[Voice]) -> Vec<Moment> {
    let mut moments: Vec<Moment> = onsets
        .iter()
        .map(|onset| Moment {
            time: onset.time,
            others: Others::default(),
        })
        .collect();
    for (stroke, voice) in strokes.iter().zip(voices) {
        if let Some(moment) = moments.get_mut(stroke.onset) {
            moment.others = moment.others.and(*voice);
        }
    }
    moments
}

/// The voice that one stroke of a class speaks for by itself.
fn voice(class: Class, odds: &Odds) -> Voice {
    let likely = |finer: Class| odds.of(finer) > 0.5;
    match class {
        Class::Kick => Voice::Kick,
        Class::Snare if likely(Class::CrossStick) => Voice::CrossStick,
        Class::Snare | Class::CrossStick => Voice::Snare,
        Class::Tom => Voice::TomMid,
        Class::Hat if likely(Class::HatFoot) => Voice::HatFoot,
        Class::Hat if likely(Class::HatOpen) => Voice::HatOpen,
        Class::Hat | Class::HatOpen | Class::HatFoot => Voice::HatClosed,
        Class::Cymbal if likely(Class::Crash) => Voice::Crash,
        Class::Cymbal if likely(Class::RideBell) => Voice::RideBell,
        Class::Cymbal | Class::RideBell | Class::Crash => Voice::Ride,
    }
}

/// Marks the strokes anew where a player's kit has made other drums of them: accents and ghosts are told apart within
/// each voice. Flams and drags stay.
pub fn mark_again(hits: &mut [Hit]) {
    let grace: Vec<Option<Mark>> = hits
        .iter()
        .map(|hit| hit.mark.filter(|mark| matches!(mark, Mark::Flam | Mark::Drag)))
        .collect();
    hits.iter_mut().for_each(|hit| hit.mark = None);
    mark(hits);
    for (hit, grace) in hits.iter_mut().zip(grace) {
        hit.mark = grace.or(hit.mark);
    }
}

/// Marks accents and ghosts, voice by voice. Only drums have ghost strokes [C]. A pedal hat or a bell together
/// with something else that sounds in its band, which is all but a kick, has no mark: both are measured there, and the
/// other one is louder as a rule.
fn mark(hits: &mut [Hit]) {
    let covered = covered(hits);
    for &voice in Voice::ALL.iter().filter(|v| **v != Voice::Other) {
        let drum = matches!(voice, Voice::Snare | Voice::Snare2);
        let mut own: Vec<&mut Hit> = hits
            .iter_mut()
            .zip(&covered)
            .filter(|(hit, covered)| hit.voice == voice && !**covered)
            .map(|(hit, _)| hit)
            .collect();
        let levels: Vec<f64> = own.iter().map(|hit| hit.level.0).collect();
        let marks = levels::marks(&levels, drum);
        own.iter_mut()
            .zip(marks)
            .for_each(|(hit, mark)| hit.mark = hit.mark.or(mark));
    }
}

/// Which hits are pedal hats or bells with something else than a kick at the same moment. `hits` are sorted by time.
fn covered(hits: &[Hit]) -> Vec<bool> {
    let quiet = |voice| matches!(voice, Voice::HatFoot | Voice::RideBell);
    let of = |hit: &Hit| {
        let from = hits.partition_point(|h| h.time < hit.time - TOGETHER);
        let with = hits
            .iter()
            .skip(from)
            .take_while(|h| h.time <= hit.time + TOGETHER);
        quiet(hit.voice)
            && with
                .into_iter()
                .any(|h| h.voice != hit.voice && times::sound(h.voice) != Sound::Kick)
    };
    hits.iter().map(of).collect()
}
