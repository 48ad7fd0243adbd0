//! Sound to practise with: the recording slowed, or the study played by the kit, with a count-in and a click, once or as
//! a loop without a seam, or the original beside the slow.
//!
//! In: a study, a passage of it, and how it is wanted. Out: samples at [`RATE`], one slice a channel.

#[cfg(test)]
mod tests;

use super::click::{self, Click};
use super::drums::{Character, Kit, Strike};
use super::error::PracticeError;
use super::loudness::{self, Loudness};
use super::model::{self, Line, Pace};
use super::passage::{Count, Passage};
use super::stretch::{more_attacks, moved, stretch};
use crate::audio::{RATE, Recording};
use crate::options::{Form, SoundOptions};
use crate::study::Study;
use crate::units::{Seconds, Steps};

/// A passage begins and ends this long before its step, so that no stroke is cut.
const LEAD: Seconds = Seconds(0.012);
/// Strokes come at most this much before their step.
const EARLY: Seconds = Seconds(0.03);
/// Heard around a passage while it is stretched.
const AROUND: Seconds = Seconds(0.25);
/// The end of a loop turns into what comes before its beginning over this.
const SEAM: Seconds = Seconds(0.008);
/// What is not looped fades away over this.
const FADE: Seconds = Seconds(0.01);
/// The click against the loudest peak of the sound it goes with [M].
const CLICK: f64 = 0.4;
/// The kit rings on after its last stroke.
const RINGS: Seconds = Seconds(1.5);
/// Longest sound that is made.
const LONGEST: Seconds = Seconds(3600.0);
/// Which kit plays the models.
const KIT: u64 = 7;

/// Sound of a passage, before count-in and click are added: it begins `lead` before its first step.
struct Played {
    sound: Vec<Vec<f32>>,
    lead: Seconds,
    level: Loudness,
}

/// The recording's own sound of a passage, slowed to `options.speed`.
pub fn slow(
    study: &Study,
    recording: &Recording,
    passage: &Passage,
    options: &SoundOptions,
) -> Result<Vec<Vec<f32>>, PracticeError> {
    let original = cut(study, recording, passage, 1.0, false)?;
    let looped = options.form == Form::Loop;
    let mut slow = cut(study, recording, passage, options.speed, looped)?;
    loudness::level(&mut slow.sound, &original.level);
    let level = original.level;
    let slow = finish(
        Played { level, ..slow },
        &Counting::of(study, passage, Pace::Recording(options.speed)),
        options,
    );
    Ok(match options.form {
        Form::Beside => {
            let plain = SoundOptions {
                form: Form::Once,
                ..*options
            };
            let original = finish(
                original,
                &Counting::of(study, passage, Pace::Recording(1.0)),
                &plain,
            );
            original
                .into_iter()
                .zip(slow)
                .map(|(a, b)| [a, b].concat())
                .collect()
        }
        Form::Once | Form::Loop => slow,
    })
}

/// The study's notes of a passage, played by the kit. `like` is the loudness of the recording, where it is at hand.
pub fn model(
    study: &Study,
    passage: &Passage,
    line: Line,
    pace: Pace,
    like: Option<Loudness>,
    options: &SoundOptions,
) -> Result<Vec<Vec<f32>>, PracticeError> {
    let length = pace
        .time(study, passage, passage.to)
        .ok_or(PracticeError::NoGrid)?;
    let strikes = model::strikes(study, passage, line, pace);
    render(
        &strikes,
        length,
        &Counting::of(study, passage, pace),
        like.unwrap_or(loudness::USUAL),
        options,
    )
}

/// Strikes by the kit, with count-in and click, at a level.
pub(super) fn render(
    strikes: &[Strike],
    length: Seconds,
    counting: &Counting,
    level: Loudness,
    options: &SoundOptions,
) -> Result<Vec<Vec<f32>>, PracticeError> {
    let mut sound = played(strikes, length, options.form == Form::Loop)?;
    loudness::level(&mut sound, &level);
    Ok(finish(
        Played {
            sound,
            lead: LEAD,
            level,
        },
        counting,
        options,
    ))
}

/// The loudness of a passage on the recording.
pub fn loudness_of(
    study: &Study,
    recording: &Recording,
    passage: &Passage,
) -> Result<Loudness, PracticeError> {
    cut(study, recording, passage, 1.0, false).map(|played| played.level)
}

/// Strikes by the kit, from [`LEAD`] before time 0; a loop rings on from its end into its beginning.
fn played(strikes: &[Strike], length: Seconds, looped: bool) -> Result<Vec<Vec<f32>>, PracticeError> {
    if !(0.0..=LONGEST.0).contains(&length.0) {
        return Err(PracticeError::TooLong {
            asked: "these bars".to_owned(),
            seconds: length.0 as u64,
        });
    }
    let shifted = |by: Seconds| {
        strikes.iter().map(move |s| Strike {
            time: s.time + by,
            ..*s
        })
    };
    let kit = Kit::new(KIT, Character::PLAIN);
    if !looped {
        return Ok(kit.render(&shifted(LEAD).collect::<Vec<_>>(), length + RINGS));
    }
    // Played twice; the second time the first still rings into it.
    let twice: Vec<Strike> = shifted(LEAD).chain(shifted(LEAD + length)).collect();
    let both = kit.render(&twice, length * 2.0);
    let (one, seam) = (length.to_sample(RATE), SEAM.to_sample(RATE));
    let second = |channel: Vec<f32>| {
        let mut second: Vec<f32> = channel.get(one..).unwrap_or_default().to_vec();
        second.truncate(one);
        let tail = second.len().saturating_sub(seam);
        let before = channel.get(one.saturating_sub(seam)..one).unwrap_or_default();
        turn(second.get_mut(tail..).unwrap_or_default(), before);
        second
    };
    Ok(both.into_iter().map(second).collect())
}

/// A passage of the recording at a speed, from before its first step to before the step after its last.
fn cut(
    study: &Study,
    recording: &Recording,
    passage: &Passage,
    speed: f64,
    looped: bool,
) -> Result<Played, PracticeError> {
    let (begin, end) = passage.times(&study.grid)?;
    let (begin, end) = (begin - recording.start, end - recording.start);
    if (end - begin).0 / speed > LONGEST.0 {
        return Err(PracticeError::TooLong {
            asked: "these bars".to_owned(),
            seconds: ((end - begin).0 / speed) as u64,
        });
    }
    if begin >= recording.seconds() || end.0 <= 0.0 {
        return Err(PracticeError::OtherRecording {
            file: recording.source.file.clone(),
        });
    }
    let lead = LEAD + earliness(study, passage);
    let rate = f64::from(RATE);
    let first = ((begin - lead - AROUND).0 * rate).round() as isize;
    let length = (end - begin + AROUND * 2.0).to_sample(RATE);
    let mut source = vec![vec![0.0f32; length]; recording.channels()];
    for (channel, samples) in source.iter_mut().enumerate() {
        recording.read(channel, first, samples);
    }
    let known: Vec<usize> = study
        .strokes
        .iter()
        .map(|s| (s.hit.time - recording.start).0 * rate - first as f64)
        .filter(|at| (0.0..length as f64).contains(at))
        .map(|at| at.round() as usize)
        .collect();
    let inner = AROUND.to_sample(RATE);
    let level = loudness::measure(&inner_of(&source, inner, length - inner));
    let attacks = [more_attacks(&source, &known), known].concat();
    let slow = stretch(&source, &attacks, speed);
    let (from, to) = (moved(inner, speed), moved(length - inner, speed));
    let back = if looped { smoothest(&slow, from) } else { 0 };
    let (from, to) = (from - back, to - back);
    let mut sound = inner_of(&slow, from, to);
    if looped {
        for (loop_, whole) in sound.iter_mut().zip(&slow) {
            let seam = SEAM.to_sample(RATE).min(from).min(loop_.len());
            let before = whole.get(from - seam..from).unwrap_or_default();
            let tail = loop_.len() - seam;
            turn(loop_.get_mut(tail..).unwrap_or_default(), before);
        }
    } else {
        sound.iter_mut().for_each(|channel| fade_ends(channel));
    }
    Ok(Played {
        sound,
        lead: lead * (1.0 / speed) + Seconds::from_sample(back, RATE),
        level,
    })
}

/// How many samples before `from` a loop had better begin, at most [`SEAM`]: where all channels bend least, so that what
/// remains of the seam is less than what sounds around it.
fn smoothest(channels: &[Vec<f32>], from: usize) -> usize {
    let bends = |at: usize| {
        let own = |channel: &Vec<f32>| {
            let near = channel.get(at.saturating_sub(2)..at + 2).unwrap_or_default();
            near.windows(3)
                .map(|w| (w[0] - 2.0 * w[1] + w[2]).abs())
                .fold(0.0, f32::max)
        };
        channels.iter().map(own).fold(0.0, f32::max)
    };
    let most = SEAM.to_sample(RATE).min(from / 2);
    (0..=most)
        .min_by(|a, b| bends(from - a).total_cmp(&bends(from - b)))
        .unwrap_or(0)
}

/// Turns `samples` into `into` of the same length.
fn turn(samples: &mut [f32], into: &[f32]) {
    let length = samples.len().max(1) as f32;
    for (i, (s, new)) in samples.iter_mut().zip(into).enumerate() {
        let share = (i as f32 + 1.0) / length;
        *s = *s * (1.0 - share) + new * share;
    }
}

fn inner_of(channels: &[Vec<f32>], from: usize, to: usize) -> Vec<Vec<f32>> {
    channels
        .iter()
        .map(|c| {
            c.get(from.min(c.len())..to.min(c.len()))
                .unwrap_or_default()
                .to_vec()
        })
        .collect()
}

fn fade_ends(samples: &mut [f32]) {
    let fade = FADE.to_sample(RATE).min(samples.len() / 2).max(1);
    for i in 0..fade {
        let share = i as f32 / fade as f32;
        let last = samples.len().saturating_sub(1 + i);
        if let Some(s) = samples.get_mut(last) {
            *s *= share;
        }
        // What leads up to the first stroke is short: it fades in over a part of it.
        if i < fade / 4 {
            samples[i] *= (i * 4) as f32 / fade as f32;
        }
    }
}

/// How much the earliest stroke on the passage's first and last step comes before it.
fn earliness(study: &Study, passage: &Passage) -> Seconds {
    let at = |step: Steps| study.strokes.iter().filter(move |s| s.step == Some(step));
    let late = at(passage.from).chain(at(passage.to)).filter_map(|s| s.late);
    let early = late.map(|late| -late.to_seconds().0).fold(0.0, f64::max);
    Seconds(early.min(EARLY.0))
}

/// What is counted in a piece of sound: clicks from its first step on, and the beats before it.
pub(super) struct Counting {
    /// Clicks, from the first step.
    pub(super) clicks: Vec<Click>,
    /// The first beat's length.
    pub(super) beat: Seconds,
    /// Beats in a bar.
    pub(super) beats: u32,
}

impl Counting {
    fn of(study: &Study, passage: &Passage, pace: Pace) -> Counting {
        let counts = passage.counts(study);
        let click = |(step, count): &(Steps, Count)| {
            Some(Click {
                time: pace.time(study, passage, *step)?,
                count: *count,
            })
        };
        let next = passage.from + Steps(i64::from(study.grid.steps_per_beat));
        Counting {
            clicks: counts.iter().filter_map(click).collect(),
            beat: pace.time(study, passage, next).unwrap_or_default(),
            beats: study.grid.meter.beats_per_bar(),
        }
    }
}

/// Adds count-in and click and brings the whole in bounds.
fn finish(played: Played, counting: &Counting, options: &SoundOptions) -> Vec<Vec<f32>> {
    let Played {
        mut sound,
        lead,
        level,
    } = played;
    let strength = CLICK * level.peak;
    let looped = options.form == Form::Loop;
    if options.click {
        let later = |click: &Click| Click {
            time: click.time + lead,
            ..*click
        };
        let clicks: Vec<Click> = counting.clicks.iter().map(later).collect();
        click::add(&mut sound, &clicks, strength, looped);
    }
    if !looped && options.count_in_bars > 0 && (0.01..10.0).contains(&counting.beat.0) {
        sound = counted_in(sound, lead, counting, strength, options.count_in_bars);
    }
    loudness::never_louder(&mut sound, &level);
    sound
}

/// Bars of beats before the sound, at the tempo with which it begins.
fn counted_in(
    sound: Vec<Vec<f32>>,
    lead: Seconds,
    counting: &Counting,
    strength: f64,
    bars: u32,
) -> Vec<Vec<f32>> {
    let (beat, beats) = (counting.beat, counting.beats.max(1));
    // A little silence, so that the first click is whole.
    let wait = beat * 0.25;
    let count = beats * bars.min(4);
    let before = (wait + beat * f64::from(count) - lead).to_sample(RATE);
    let clicks: Vec<Click> = (0..count)
        .map(|n| Click {
            time: wait + beat * f64::from(n),
            count: if n % beats == 0 { Count::Bar } else { Count::Beat },
        })
        .collect();
    let mut counted: Vec<Vec<f32>> = sound.iter().map(|_| vec![0.0; before]).collect();
    for (counted, sound) in counted.iter_mut().zip(sound) {
        counted.extend(sound);
    }
    click::add(&mut counted, &clicks, strength, false);
    counted
}
