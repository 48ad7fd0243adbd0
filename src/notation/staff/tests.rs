//! What every staff page must do: show each stroke once, let nothing touch, stay on the page.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use quick_xml::Reader;
use quick_xml::events::Event;

use super::*;
use crate::charts::sample::{self, TEN_OVER_SIXTEEN};
use crate::grid::Meter;
use crate::names::{Layer, Mark};
use crate::notation::kit::written;
use crate::notation::letters;
use crate::notation::score::tests::study_of;
use crate::options::{CountHabit, ScoreLayout};
use crate::units::Millis;

/// A note head or words on a page: what, where, how wide, how high.
#[derive(Debug)]
struct Thing {
    what: String,
    left: f64,
    right: f64,
    y: f64,
}

/// The heads and the words of a page, read by a parser that is not ours.
fn things(svg: &str) -> (Vec<Thing>, Vec<Thing>) {
    let mut reader = Reader::from_str(svg);
    let (mut heads, mut words) = (Vec::new(), Vec::new());
    let mut open: Option<(f64, f64, f64, bool, String, String)> = None;
    loop {
        match reader.read_event().unwrap() {
            Event::Start(tag) => {
                let get = |name: &str| {
                    let found = tag.attributes().flatten().find(|a| a.key.as_ref() == name);
                    found.map(|a| a.value.to_string())
                };
                let number = |name: &str| get(name).and_then(|n| n.parse::<f64>().ok()).unwrap_or_default();
                if let Some(voice) = get("data-voice") {
                    let (x, y) = (number("x"), number("y"));
                    heads.push(Thing {
                        what: voice,
                        left: x,
                        right: x + 17.0,
                        y,
                    });
                }
                if tag.name().as_ref() == "text" {
                    let anchor = get("text-anchor").unwrap_or_default();
                    open = Some((
                        number("x"),
                        number("y"),
                        number("font-size"),
                        get("font-weight").is_some(),
                        anchor,
                        String::new(),
                    ));
                }
            }
            Event::Text(text) => {
                if let Some((.., said)) = &mut open {
                    said.push_str(&text);
                }
            }
            Event::GeneralRef(_) => {
                if let Some((.., said)) = &mut open {
                    said.push('&');
                }
            }
            Event::End(tag) if tag.name().as_ref() == "text" => {
                let (x, y, size, bold, anchor, said) = open.take().unwrap();
                let wide = letters::width(&said, size, bold);
                let left = match anchor.as_str() {
                    "middle" => x - 0.5 * wide,
                    "end" => x - wide,
                    _ => x,
                };
                words.push(Thing {
                    what: said,
                    left,
                    right: left + wide,
                    y,
                });
            }
            Event::Eof => break,
            _ => {}
        }
    }
    (heads, words)
}

fn pages(study: &Study, options: &ScoreOptions) -> Vec<Chart> {
    draw(study, &Score::of(study, options.layout), options)
}

/// Fails when two heads, or two words, stand upon each other.
fn nothing_touches(chart: &Chart) {
    let (heads, words) = things(&chart.svg);
    for (all, rows) in [(&heads, 6.0), (&words, 10.0)] {
        for (i, a) in all.iter().enumerate() {
            for b in all.iter().skip(i + 1) {
                let apart = (a.y - b.y).abs() >= rows || a.right <= b.left || b.right <= a.left;
                assert!(apart, "{}: {a:?} and {b:?}", chart.name);
            }
        }
    }
}

#[test]
fn every_stroke_is_drawn_once_on_every_paper_in_every_layout_and_nothing_touches() {
    let study = sample::study(&TEN_OVER_SIXTEEN);
    for paper in [Paper::A4, Paper::Phone] {
        for layout in [
            ScoreLayout::HandsFeet,
            ScoreLayout::OneVoice,
            ScoreLayout::FigureSolo,
        ] {
            for count in [CountHabit::Syllables, CountHabit::Figure, CountHabit::None] {
                let options = ScoreOptions {
                    layout,
                    paper,
                    count,
                    ..ScoreOptions::default()
                };
                let charts = pages(&study, &options);
                let drawn: usize = charts.iter().map(|chart| things(&chart.svg).0.len()).sum();
                assert_eq!(drawn, study.strokes.len(), "{options:?}");
                charts.iter().for_each(nothing_touches);
            }
        }
    }
}

#[test]
fn two_bars_of_sextuplets_stand_on_a_line_of_a4_and_half_a_bar_on_a_phone() {
    let mut study = sample::study(&sample::Score {
        bars: 12,
        meter: Meter::COMMON,
        steps_per_beat: 6,
        length: 10,
    });
    for (i, stroke) in study
        .strokes
        .iter_mut()
        .enumerate()
        .filter(|(_, s)| s.layer == Some(Layer::Solo))
    {
        stroke.hit.mark = [Some(Mark::Ghost), None, Some(Mark::Flam), Some(Mark::Accent)][i % 4];
        stroke.hit.grace = Some(Millis(25.0));
    }
    let score = Score::of(&study, ScoreLayout::HandsFeet);
    let lines = rows::rows(&score, Paper::A4);
    assert_eq!(lines.len(), 6);
    assert!(
        lines
            .iter()
            .all(|row| matches!(row, Row::Music(pieces, _) if pieces.len() == 2))
    );
    let lines = rows::rows(&score, Paper::Phone);
    assert_eq!(lines.len(), 24);
    for paper in [Paper::A4, Paper::Phone] {
        pages(
            &study,
            &ScoreOptions {
                paper,
                ..ScoreOptions::default()
            },
        )
        .iter()
        .for_each(nothing_touches);
    }
}

#[test]
fn a_page_bears_bar_numbers_times_repeats_and_a_legend() {
    let study = sample::study(&TEN_OVER_SIXTEEN);
    let charts = pages(&study, &ScoreOptions::default());
    let (_, words) = things(&charts[0].svg);
    for wanted in [
        "1",
        "5",
        "0:00.4",
        "bpm",
        "4/4",
        "ride bell",
        "ghost",
        "repeat 7 of the figure",
        "count: 1 e",
    ] {
        assert!(words.iter().any(|word| word.what.contains(wanted)), "{wanted}");
    }
    for chart in &charts {
        let (_, words) = things(&chart.svg);
        assert!(
            words.iter().all(|w| w.left >= 0.0 && w.right <= 2100.0),
            "{}",
            chart.name
        );
    }
}

#[test]
fn silence_is_told_in_words_and_a_study_without_a_beat_says_what_to_do() {
    let study = study_of([4, 4], 4, &[(0.0, Voice::Snare), (40.0, Voice::Kick)]);
    let charts = pages(&study, &ScoreOptions::default());
    assert!(charts[0].svg.contains("bars 2 to 10: nothing struck"));
    let mut lost = study.clone();
    lost.grid.beats.clear();
    assert!(pages(&lost, &ScoreOptions::default())[0].svg.contains("--beats"));
    assert!(
        pages(&sample::empty(), &ScoreOptions::default())[0]
            .svg
            .contains("Nothing was struck")
    );
}

#[test]
fn seconds_stand_on_both_sides_of_the_stem() {
    let study = study_of(
        [4, 4],
        4,
        &[
            (0.0, Voice::Snare),
            (0.0, Voice::TomMid),
            (0.0, Voice::CrossStick),
        ],
    );
    let (heads, _) = things(&pages(&study, &ScoreOptions::default())[0].svg);
    assert_eq!(written(Voice::Snare).place + 1, written(Voice::TomMid).place);
    let x = |voice: &str| heads.iter().find(|head| head.what == voice).unwrap().left;
    assert!((x("snare") - x("cross_stick")).abs() > 15.0);
}

proptest! {
    #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(11), cases: 40, ..ProptestConfig::default() })]

    #[test]
    fn whatever_is_struck_is_drawn(
        meter in prop::sample::select(vec![[4, 4], [6, 8], [7, 8], [2, 2], [5, 16], [12, 8]]),
        steps in 1u32..=12,
        strokes in prop::collection::vec((0u32..300, prop::sample::select(Voice::ALL.to_vec())), 1..60),
        phone in any::<bool>(),
    ) {
        let places: std::collections::BTreeSet<(u32, Voice)> = strokes.into_iter().collect();
        let strokes: Vec<(f64, Voice)> =
            places.into_iter().map(|(at, voice)| (f64::from(at) / f64::from(steps), voice)).collect();
        let study = study_of(meter, steps, &strokes);
        let paper = if phone { Paper::Phone } else { Paper::A4 };
        let options = ScoreOptions { paper, ..ScoreOptions::default() };
        let charts = pages(&study, &options);
        let drawn: usize = charts.iter().map(|chart| things(&chart.svg).0.len()).sum();
        prop_assert_eq!(drawn, study.strokes.len());
        prop_assert_eq!(charts, pages(&study, &options));
    }
}
