//! [`Onset`]s -> [`Hit`]s: which drum or cymbal was struck, and what else struck with it.

pub mod features;

mod network;

mod classes;

use classes::Class;

use crate::audio::Recording;
use crate::hits::Onset;
use crate::listen::{self, Heard, Sound, Stroke};
use crate::names::{Mark, Voice};
use crate::options::VoiceOptions;
use crate::units::{Decibels, Seconds};

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
    /// How sure it is that this voice was struck here, 0 to 1.
    pub sure: f64,
}

/// How likely a voice must be.
const LEAST: f32 = 0.7;

/// The network's stroke and the onset belong together within this time.
const TOGETHER: Seconds = Seconds(0.03);

/// The voices that the network hears, in the study's words where it says no more.
const HEARD: [(Sound, Voice); 5] = [
    (Sound::Kick, Voice::Kick),
    (Sound::Snare, Voice::Snare),
    (Sound::Tom, Voice::TomMid),
    (Sound::Hat, Voice::HatClosed),
    (Sound::Cymbal, Voice::Ride),
];

/// Names the voices struck at each onset, as the network heard them or, when it has not listened (`heard` is empty),
/// by the sound at each onset alone. An onset gives one hit or more, never none; the result is sorted by time.
pub fn name(recording: &Recording, heard: &Heard, onsets: &[Onset], _options: &VoiceOptions) -> Vec<Hit> {
    let voices: Vec<Vec<(Voice, f32)>> = if heard.is_empty() {
        let rows = features::rows(recording, onsets);
        classes::odds(&rows).iter().map(likely).collect()
    } else {
        let strokes = listen::strokes(heard, 0.0);
        onsets
            .iter()
            .map(|onset| struck(nearest(&strokes, onset.time)))
            .collect()
    };
    let mut hits = Vec::new();
    for (onset, voices) in onsets.iter().zip(voices) {
        for (voice, sure) in voices {
            hits.push(Hit {
                time: onset.time,
                voice,
                level: onset.level,
                mark: None,
                sure: f64::from(sure),
            });
        }
    }
    hits
}

/// The likely classes of an onset, or something else.
fn likely(odds: &classes::Odds) -> Vec<(Voice, f32)> {
    let likely: Vec<(Voice, f32)> = Class::MAIN
        .iter()
        .filter(|class| odds.of(**class) > 0.5)
        .map(|class| (class_kind(odds, *class), odds.of(*class)))
        .collect();
    if likely.is_empty() {
        vec![(Voice::Other, 0.1)]
    } else {
        likely
    }
}

/// The voice of a class: the likeliest of its kinds, if one is more likely than not.
fn class_kind(odds: &classes::Odds, class: Class) -> Voice {
    let (plain, kinds): (Voice, &[(Class, Voice)]) = match class {
        Class::Kick => (Voice::Kick, &[]),
        Class::Snare => (Voice::Snare, &[(Class::CrossStick, Voice::CrossStick)]),
        Class::Tom => (Voice::TomMid, &[]),
        Class::Hat => (
            Voice::HatClosed,
            &[(Class::HatOpen, Voice::HatOpen), (Class::HatFoot, Voice::HatFoot)],
        ),
        _ => (
            Voice::Ride,
            &[(Class::RideBell, Voice::RideBell), (Class::Crash, Voice::Crash)],
        ),
    };
    let likely = kinds.iter().filter(|(kind, _)| odds.of(*kind) > 0.5);
    let likeliest = likely.max_by(|a, b| odds.of(a.0).total_cmp(&odds.of(b.0)));
    likeliest.map_or(plain, |(_, voice)| *voice)
}

/// Which of its kinds a sound is: the first that is more likely than not, else its plain form.
const KINDS: [(Sound, Sound, Voice); 5] = [
    (Sound::Snare, Sound::CrossStick, Voice::CrossStick),
    (Sound::Hat, Sound::HatOpen, Voice::HatOpen),
    (Sound::Hat, Sound::HatFoot, Voice::HatFoot),
    (Sound::Cymbal, Sound::RideBell, Voice::RideBell),
    (Sound::Cymbal, Sound::Crash, Voice::Crash),
];

fn kind(stroke: &Stroke, sound: Sound, plain: Voice) -> Voice {
    let kinds = KINDS.iter().filter(|(of, _, _)| *of == sound);
    let likely = kinds.filter(|(_, kind, _)| stroke.near(*kind) > 0.5);
    let likeliest = likely.max_by(|a, b| stroke.near(a.1).total_cmp(&stroke.near(b.1)));
    likeliest.map_or(plain, |(_, _, voice)| *voice)
}

/// What was struck, never nothing: the likeliest where nothing is likely.
fn struck(stroke: Option<&Stroke>) -> Vec<(Voice, f32)> {
    let Some(stroke) = stroke else {
        return vec![(Voice::Other, 0.1)];
    };
    let named = |(sound, plain): &(Sound, Voice), sure: f32| (kind(stroke, *sound, *plain), sure);
    let likely: Vec<(Voice, f32)> = HEARD
        .iter()
        .filter(|(sound, _)| stroke.likely(*sound) > LEAST)
        .map(|heard| named(heard, stroke.likely(heard.0)))
        .collect();
    if !likely.is_empty() {
        return likely;
    }
    let likeliest = HEARD
        .iter()
        .max_by(|a, b| stroke.near(a.0).total_cmp(&stroke.near(b.0)));
    likeliest
        .map(|heard| named(heard, stroke.near(heard.0)))
        .into_iter()
        .collect()
}

fn nearest(strokes: &[Stroke], time: Seconds) -> Option<&Stroke> {
    let away = |stroke: &Stroke| (stroke.time - time).0.abs();
    let after = strokes.partition_point(|stroke| stroke.time < time);
    let near = after.saturating_sub(1)..(after + 1).min(strokes.len());
    let near = strokes
        .get(near)?
        .iter()
        .filter(|stroke| away(stroke) < TOGETHER.0);
    near.min_by(|a, b| away(a).total_cmp(&away(b)))
}
