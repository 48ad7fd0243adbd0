//! What the files say, read back by the program's own reader; other programs read them in the outside checks.

use std::path::Path;

use super::*;
use crate::charts::sample::{self, TEN_OVER_SIXTEEN};
use crate::names::{Limb, Mark};
use crate::notation::read;
use crate::options::ScoreLayout;

fn text(study: &Study, layout: ScoreLayout, tempo: ScoreTempo) -> String {
    let mut file = Vec::new();
    write(study, &Score::of(study, layout), tempo, &mut file).unwrap();
    String::from_utf8(file).unwrap()
}

#[test]
fn every_stroke_reads_back_at_its_place_in_every_layout() {
    let study = sample::study(&TEN_OVER_SIXTEEN);
    let mut expected: Vec<(i64, Voice)> = study
        .strokes
        .iter()
        .map(|stroke| (stroke.step.unwrap().0, stroke.hit.voice))
        .collect();
    expected.sort_unstable();
    expected.dedup();
    for layout in [
        ScoreLayout::HandsFeet,
        ScoreLayout::OneVoice,
        ScoreLayout::FigureSolo,
    ] {
        let file = text(&study, layout, ScoreTempo::Recording);
        let score = read::parse(file.as_bytes(), Path::new("a.musicxml")).unwrap();
        let mut found: Vec<(i64, Voice)> = score
            .notes
            .iter()
            .map(|note| ((note.quarters * 4.0).round() as i64, note.voice))
            .collect();
        found.sort_unstable();
        found.dedup();
        assert_eq!(found, expected);
        assert_eq!(score.meter, Some(study.grid.meter));
    }
}

#[test]
fn marks_limbs_lateness_and_brackets_have_their_elements() {
    let mut study = sample::study(&TEN_OVER_SIXTEEN);
    let plain = study.strokes.iter().position(|s| s.hit.mark.is_none()).unwrap();
    study.strokes[plain].hit.mark = Some(Mark::Drag);
    study.strokes[plain].limb = Some(Limb::LeftHand);
    let file = text(&study, ScoreLayout::HandsFeet, ScoreTempo::Recording);
    for element in [
        "<notehead parentheses=\"yes\">",
        "<grace slash=\"yes\"/>",
        "<grace slash=\"no\"/>",
        "<accent placement=\"above\"/>",
        "<fingering placement=\"below\">L</fingering>",
        "attack=\"-",
        "<bracket type=\"start\" number=\"2\" line-end=\"down\" line-type=\"solid\"/>",
        "<words>9, home</words>",
    ] {
        assert!(file.contains(element), "{element}");
    }
    let straight = text(&study, ScoreLayout::HandsFeet, ScoreTempo::Straight);
    assert!(!straight.contains("attack="));
    assert_eq!(straight.matches("<sound tempo=").count(), 1);
    assert_eq!(
        file.matches("type=\"start\" number").count(),
        file.matches("type=\"stop\" number").count()
    );
}

#[test]
fn a_study_without_a_beat_is_one_bar_of_silence_and_odd_names_are_escaped() {
    let mut study = sample::empty();
    study.recording.file = "a<b>&\u{1}\"c\".wav".into();
    let file = text(&study, ScoreLayout::HandsFeet, ScoreTempo::Recording);
    assert!(
        file.contains("<rest measure=\"yes\"/>") && file.contains("a&lt;b&gt;&amp;"),
        "{file}"
    );
}
