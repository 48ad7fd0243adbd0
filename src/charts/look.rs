//! The look of the charts as plain values, for the page, which draws the same study in the same manner: colours, shapes,
//! sizes, words, and where the figure repeats.
//!
//! In: a study. Out: values to be written as JSON; places are steps from the start of bar 1, shapes are paths about 0, 0
//! whose half-width is [`Shape::HALF`].

use serde::Serialize;

use super::palette::{self, LEVELS, STROKE, SURE};
use super::score::{Score, is_home, repeats};
use super::shapes;
use super::words;
use crate::cycles::Cycle;
use crate::names::Voice;
use crate::study::Study;

/// What a page says and draws with.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Look {
    /// The study's title.
    pub title: String,
    /// Source and clock times.
    pub source: String,
    /// Subdivision, meter, tempo and drift.
    pub grid: String,
    /// The figure in one line, or that there is none.
    pub figure: String,
    /// Voices from the top row to the bottom one.
    pub voices: Vec<Shape>,
    /// Levels in dB under the loudest hit of the largest and the smallest stroke.
    pub levels: (f64, f64),
    /// Half-width of the smallest stroke as a share of the largest one's.
    pub smallest: f64,
    /// Strokes less sure than this are unsure.
    pub sure: f64,
}

/// How a voice is called and drawn.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Shape {
    /// Its name in files.
    pub voice: Voice,
    /// Its name as a player says it.
    pub name: &'static str,
    /// Its outline.
    pub outline: String,
    /// Whether hollow strokes are drawn as a thin cross instead, because a hollow outline would clog.
    pub thin: bool,
}

impl Shape {
    /// From the middle of an outline to its edge.
    pub const HALF: i64 = 100;
}

/// One repeat of the figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Round {
    /// Its first step.
    pub from: i64,
    /// The step after its last.
    pub to: i64,
    /// Whether it begins on beat one again.
    pub home: bool,
}

/// How the page of a study looks.
pub fn look(study: &Study) -> Look {
    Look {
        title: words::title(study),
        source: words::source(study, usize::MAX),
        grid: words::grid_statement(&study.grid),
        figure: words::figure(study.cycles.first()),
        voices: Voice::ALL.iter().rev().map(|&voice| shape(voice)).collect(),
        levels: LEVELS,
        smallest: STROKE.1 as f64 / STROKE.0 as f64,
        sure: SURE,
    }
}

fn shape(voice: Voice) -> Shape {
    Shape {
        voice,
        name: voice.said(),
        outline: shapes::outline(voice, 0, 0, Shape::HALF),
        thin: shapes::is_hat(voice),
    }
}

/// The colours by their names, on white paper.
pub fn colours() -> [(&'static str, &'static str); 8] {
    [
        ("ink", palette::INK),
        ("paper", palette::PAPER),
        ("quiet", palette::QUIET),
        ("rule", palette::RULE),
        ("faint", palette::FAINT),
        ("figure", palette::FIGURE),
        ("figure-light", palette::FIGURE_LIGHT),
        ("doubt", palette::DOUBT),
    ]
}

/// The faces in which charts are set.
pub fn face() -> &'static str {
    palette::FACE
}

/// Whether charts can be ruled by the study's grid; if not they are ruled by the clock.
pub fn has_grid(study: &Study) -> bool {
    words::can_rule(&study.grid)
}

/// Where every repeat of a figure of the study lies; none without a grid.
pub fn rounds(study: &Study, cycle: &Cycle) -> Vec<Round> {
    let score = Score::of(study);
    repeats(cycle, &score)
        .iter()
        .map(|repeat| Round {
            from: repeat.from,
            to: repeat.to,
            home: is_home(cycle, &score, repeat),
        })
        .collect()
}
