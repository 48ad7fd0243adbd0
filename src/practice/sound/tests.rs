//! Lengths, seams, levels and refusals of practice sound.

use super::*;
use crate::practice::examples::{recording, study};
use crate::units::Bpm;

fn options(speed: f64, form: Form) -> SoundOptions {
    SoundOptions {
        speed,
        form,
        ..SoundOptions::default()
    }
}

fn bare(speed: f64, form: Form) -> SoundOptions {
    SoundOptions {
        click: false,
        count_in_bars: 0,
        ..options(speed, form)
    }
}

/// How much the step from the end to the beginning stands out: its bend against the largest that the sound itself has in
/// the 45 ms before it and from there to its first stroke, for which a loop leaves a little time.
fn seam(sound: &[f32], speed: f64) -> f32 {
    let n = sound.len();
    let bend = |a: f32, b: f32, c: f32| (a - 2.0 * b + c).abs();
    let across = bend(sound[n - 2], sound[n - 1], sound[0]).max(bend(sound[n - 1], sound[0], sound[1]));
    let quiet: Vec<f32> = sound[n - 2000..]
        .windows(3)
        .chain(sound[..(LEAD.0 / speed * 0.8 * f64::from(RATE)) as usize].windows(3))
        .map(|w| bend(w[0], w[1], w[2]))
        .collect();
    across / quiet.iter().fold(1e-6, |most: f32, b| most.max(*b))
}

#[test]
fn a_loop_lasts_exactly_as_long_as_its_bars_and_has_no_seam() {
    let (study, recording) = (study(), recording());
    let passage = Passage::bars(&study, 3, 4).unwrap();
    let mut clicks = 0;
    for speed in [0.3, 0.5, 0.6, 0.7, 0.85, 1.0] {
        let sound = slow(&study, &recording, &passage, &bare(speed, Form::Loop)).unwrap();
        let wanted = 4.0 / speed * f64::from(RATE);
        for channel in &sound {
            assert!(
                (channel.len() as f64 - wanted).abs() <= 2.0,
                "{speed}: {}",
                channel.len()
            );
            assert!(seam(channel, speed) <= 1.0, "{speed}: {}", seam(channel, speed));
            // A loop that is cut short clicks, and the measure hears it.
            let cut = &channel[..channel.len() - 300];
            clicks += usize::from(seam(cut, speed) > 1.0);
        }
    }
    let model = model(
        &study,
        &passage,
        Line::All,
        Pace::Steady(Bpm(90.0)),
        None,
        &bare(1.0, Form::Loop),
    )
    .unwrap();
    assert!(model.iter().all(|c| seam(c, 1.0) <= 1.0));
    assert!(clicks >= 6, "{clicks} of 12");
}

#[test]
fn strokes_of_slow_sound_fall_where_the_click_does() {
    // The loudest rise after each expected place, with the click off, lies within a few milliseconds of it.
    let (study, recording) = (study(), recording());
    let passage = Passage::bars(&study, 2, 3).unwrap();
    let sound = slow(&study, &recording, &passage, &bare(0.5, Form::Once)).unwrap();
    for stroke in study
        .strokes
        .iter()
        .filter(|s| s.step.is_some_and(|s| passage.holds(s)))
    {
        let due = (study.grid.time_of(stroke.step.unwrap()).unwrap()
            - study.grid.time_of(passage.from).unwrap())
        .0 / 0.5;
        let at = ((due + LEAD.0 / 0.5) * f64::from(RATE)) as usize;
        let power = |from: usize, to: usize| {
            sound[0][from..to].iter().map(|s| s * s).sum::<f32>() / (to - from) as f32
        };
        assert!(
            power(at, at + 500) > 1.5 * power(at.saturating_sub(300), at),
            "{due}"
        );
    }
}

#[test]
fn nothing_is_louder_than_the_recording_with_count_in_and_click() {
    let (study, recording) = (study(), recording());
    let passage = Passage::bars(&study, 2, 5).unwrap();
    let source = loudness_of(&study, &recording, &passage).unwrap();
    for form in [Form::Once, Form::Loop, Form::Beside] {
        for speed in [0.3, 0.6, 1.0] {
            let slow = loudness::measure(&slow(&study, &recording, &passage, &options(speed, form)).unwrap());
            assert!(
                slow.peak <= source.peak * 1.01,
                "{form:?} {speed}: {slow:?} {source:?}"
            );
            assert!(
                slow.integrated.unwrap() <= source.integrated.unwrap() + 0.1,
                "{form:?} {speed}"
            );
        }
    }
    let model = model(
        &study,
        &passage,
        Line::All,
        Pace::Recording(0.6),
        Some(source),
        &options(0.6, Form::Once),
    )
    .unwrap();
    let model = loudness::measure(&model);
    assert!(
        model.peak <= source.peak * 1.01 && model.integrated.unwrap() <= source.integrated.unwrap() + 0.1
    );
}

#[test]
fn the_original_stands_before_the_slow_when_both_are_wanted() {
    let (study, recording) = (study(), recording());
    let passage = Passage::bars(&study, 1, 2).unwrap();
    let one = slow(&study, &recording, &passage, &options(1.0, Form::Once)).unwrap()[0].len();
    let other = slow(&study, &recording, &passage, &options(0.5, Form::Once)).unwrap()[0].len();
    let both = slow(&study, &recording, &passage, &options(0.5, Form::Beside)).unwrap()[0].len();
    assert_eq!(both, one + other);
}

#[test]
fn figure_and_solo_sound_alone_and_are_all_there_is() {
    let study = study();
    let passage = Passage::whole(&study).unwrap();
    let count = |line| model::strikes(&study, &passage, line, Pace::Steady(Bpm(60.0))).len();
    assert_eq!(count(Line::Figure), 128);
    assert_eq!(count(Line::Figure) + count(Line::Solo), count(Line::All));
}

#[test]
fn the_three_clicks_have_three_pitches() {
    let pitch = |count: Count| {
        let mut sound = vec![vec![0.0f32; 4000]];
        click::add(
            &mut sound,
            &[Click {
                time: Seconds(0.0),
                count,
            }],
            1.0,
            false,
        );
        sound[0]
            .windows(2)
            .take(800)
            .filter(|w| w[0] < 0.0 && w[1] >= 0.0)
            .count()
    };
    let (beat, bar, cycle) = (pitch(Count::Beat), pitch(Count::Bar), pitch(Count::Cycle));
    assert!(bar > beat + 5 && beat > cycle + 5, "{beat} {bar} {cycle}");
}

#[test]
fn what_lies_outside_is_refused_with_what_there_is() {
    let (study, recording) = (study(), recording());
    let said = Passage::bars(&study, 19, 30).unwrap_err().to_string();
    assert!(said.contains("bars 1 to 20"), "{said}");
    assert!(
        Passage::repeats(&study, 60, 99)
            .unwrap_err()
            .to_string()
            .contains("repeats 1 to 64")
    );
    // The recording holds eight bars only.
    let far = Passage::bars(&study, 15, 16).unwrap();
    assert!(slow(&study, &recording, &far, &bare(0.5, Form::Once)).is_err());
    let mut bare_study = study.clone();
    bare_study.grid.beats.clear();
    assert_eq!(Passage::whole(&bare_study), Err(PracticeError::NoGrid));
}
