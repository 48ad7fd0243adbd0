//! Times and keys of the files, read back.

use std::path::Path;

use super::*;
use crate::charts::sample::{self, TEN_OVER_SIXTEEN};
use crate::names::Mark;
use crate::notation::read;
use crate::options::ScoreLayout;

/// Notes by their time and key.
type Notes = Vec<(f64, u8)>;
/// Markers by their time.
type Markers = Vec<(f64, String)>;

/// Times and keys of all notes by the file's own tempo map, and the times of its bars' markers.
fn played(bytes: &[u8]) -> (Notes, Markers) {
    let smf = Smf::parse(bytes).unwrap();
    let mut tempi = vec![];
    let (mut notes, mut marks) = (vec![], vec![]);
    for track in &smf.tracks {
        let mut at = 0i64;
        for event in track {
            at += i64::from(event.delta.as_int());
            match event.kind {
                TrackEventKind::Meta(MetaMessage::Tempo(us)) => tempi.push((at, f64::from(us.as_int()))),
                TrackEventKind::Meta(MetaMessage::Marker(words)) => {
                    marks.push((at, String::from_utf8_lossy(words).into_owned()));
                }
                TrackEventKind::Midi {
                    message: MidiMessage::NoteOn { key, .. },
                    ..
                } => notes.push((at, key.as_int())),
                _ => {}
            }
        }
    }
    let time = |at: i64| {
        let mut seconds = 0.0;
        for (i, (from, us)) in tempi.iter().enumerate() {
            let to = tempi.get(i + 1).map_or(at, |next| next.0).min(at);
            seconds += ((to - from).max(0)) as f64 * us / 1e6 / PER_QUARTER as f64;
        }
        seconds
    };
    let mut notes: Vec<(f64, u8)> = notes.iter().map(|(at, key)| (time(*at), *key)).collect();
    notes.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    (
        notes,
        marks.into_iter().map(|(at, words)| (time(at), words)).collect(),
    )
}

fn file(study: &Study, options: &ScoreOptions) -> Vec<u8> {
    write(study, &Score::of(study, options.layout), options)
}

#[test]
fn the_file_runs_beside_the_recording_to_a_tick() {
    let mut study = sample::study(&TEN_OVER_SIXTEEN);
    study.strokes.iter_mut().for_each(|stroke| stroke.hit.mark = None);
    let tick = 60.0 / 110.0 / PER_QUARTER as f64;
    for tracks in [Tracks::Limbs, Tracks::Layers] {
        for layout in [ScoreLayout::HandsFeet, ScoreLayout::FigureSolo] {
            let (notes, marks) = played(&file(
                &study,
                &ScoreOptions {
                    tracks,
                    layout,
                    ..ScoreOptions::default()
                },
            ));
            assert_eq!(notes.len(), study.strokes.len());
            let mut expected: Vec<(f64, u8)> = study
                .strokes
                .iter()
                .map(|s| (s.hit.time.0, written(s.hit.voice).key))
                .collect();
            expected.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            for (a, b) in notes.iter().zip(&expected) {
                assert!((a.0 - b.0).abs() <= tick && a.1 == b.1, "{a:?} {b:?}");
            }
            let bars = study.grid.downbeats();
            for (time, words) in marks.iter().filter(|(_, words)| words.starts_with("bar ")) {
                let bar: usize = words[4..].parse().unwrap();
                assert!((time - bars[bar - 1].0).abs() < 0.001, "{words} at {time}");
            }
        }
    }
}

#[test]
fn a_straight_tempo_puts_strokes_on_their_steps() {
    let study = sample::study(&TEN_OVER_SIXTEEN);
    let options = ScoreOptions {
        tempo: ScoreTempo::Straight,
        ..ScoreOptions::default()
    };
    let bytes = file(&study, &options);
    let score = read::parse(&bytes, Path::new("a.mid")).unwrap();
    let steps: std::collections::BTreeSet<i64> = study.strokes.iter().map(|s| s.step.unwrap().0).collect();
    let off = score.notes.iter().filter(|note| {
        let step = note.quarters * 4.0;
        (step - step.round()).abs() > 1e-9 || !steps.contains(&(step.round() as i64))
    });
    let flams = study
        .strokes
        .iter()
        .filter(|s| s.hit.mark == Some(Mark::Flam))
        .count();
    assert_eq!(off.count(), flams);
    let tempi = Smf::parse(&bytes).unwrap().tracks[0]
        .iter()
        .filter(|e| matches!(e.kind, TrackEventKind::Meta(MetaMessage::Tempo(_))))
        .count();
    assert_eq!(tempi, 1);
}

#[test]
fn flams_sound_before_their_stroke_and_softer() {
    let mut study = crate::notation::score::tests::study_of([4, 4], 4, &[(1.0, Voice::Snare)]);
    study.strokes[0].hit.mark = Some(Mark::Flam);
    study.strokes[0].hit.grace = Some(Millis(25.0));
    let (notes, _) = played(&file(&study, &ScoreOptions::default()));
    assert_eq!(notes.len(), 2);
    assert!((notes[1].0 - notes[0].0 - 0.025).abs() < 1e-4);
}

#[test]
fn without_a_beat_strokes_lie_at_their_times_all_the_same() {
    let mut study =
        crate::notation::score::tests::study_of([4, 4], 4, &[(1.0, Voice::Snare), (2.5, Voice::Kick)]);
    let times: Vec<f64> = study.strokes.iter().map(|s| s.hit.time.0).collect();
    study.grid.beats.clear();
    let (notes, _) = played(&file(&study, &ScoreOptions::default()));
    for ((time, _), expected) in notes.iter().zip(times) {
        assert!((time - expected).abs() < 1e-4);
    }
    assert_eq!(
        played(&file(&sample::empty(), &ScoreOptions::default())).0.len(),
        0
    );
}
