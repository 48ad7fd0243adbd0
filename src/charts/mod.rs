//! [`Study`] -> SVG: one file per chart, one palette, one scale.
//!
//! In: a study, and which bars are wanted. Out: pages 210 mm wide for a music stand, as SVG text that a person can
//! read and compare. Every chart is a pure function: the same study gives the same bytes.
//!
//! - `grid`: the solo bar by bar, a ruled line for each voice;
//! - `stack`: the figure's steps stacked at its length, where they stand in columns, beside the same steps stacked
//!   by the bar, where they walk;
//! - `evidence`: how many bits every length tried would save;
//! - `staircase`: where cycles start bar by bar, what falls on beat one, and ways to resolve;
//! - `strip`: the whole recording with cycles as blocks over the bars;
//! - `solo`: the free line, cut into the cells that it is made of;
//! - `learn`: how much of it each cell opens, in the order in which to learn them;
//! - `cells`: a card for each cell: its permutations, how it meets the figure, where it lives;
//! - `tempo`: the tempo bar by bar, and how early or late each voice comes.

mod cells;
mod evidence;
mod grid;
mod learn;
pub mod look;
pub(crate) mod page;
pub(crate) mod palette;
mod practice;
#[cfg(test)]
pub(crate) mod sample;
pub(crate) mod score;
mod shapes;
mod solo;
mod stack;
mod staircase;
mod strip;
pub(crate) mod svg;
mod tempo;
#[cfg(test)]
mod tests;
pub(crate) mod words;

pub use practice::{
    Curve, Day, Exercise, Fault, Lateness, Pattern, PatternNote, Rung, TakePicture, TakeStroke, ladder,
    progress, sheets, take,
};

use std::fmt;
use std::ops::RangeInclusive;
use std::str::FromStr;

use crate::names::UnknownName;
use crate::options::Paper;
use crate::study::Study;

/// One picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chart {
    /// Name of its file without the ending: `grid-01`, `stack`, `evidence`.
    pub name: String,
    /// The SVG document.
    pub svg: String,
}

/// Which chart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ChartKind {
    /// The solo bar by bar: `grid-01`, `grid-02` and so on.
    Grid,
    /// The figure stacked at its length beside the bar: `stack`, then `stack-02` and so on when it is long.
    Stack,
    /// Bits over every length tried: `evidence`.
    Evidence,
    /// Where cycles start, bar by bar, and ways home: `staircase`.
    Staircase,
    /// The whole recording with cycles as blocks: `strip`, then `strip-02` and so on when it is long.
    Strip,
    /// The free line by cell: `solo-01`, `solo-02` and so on.
    Solo,
    /// How much each cell opens: `learn`.
    Learn,
    /// A card for each cell: `cells-01` and so on.
    Cells,
    /// The tempo bar by bar, and the lateness of every voice: `tempo`.
    Tempo,
}

impl ChartKind {
    /// All of them.
    pub const ALL: [ChartKind; 9] = [
        ChartKind::Grid,
        ChartKind::Stack,
        ChartKind::Evidence,
        ChartKind::Staircase,
        ChartKind::Strip,
        ChartKind::Solo,
        ChartKind::Learn,
        ChartKind::Cells,
        ChartKind::Tempo,
    ];

    /// Whether it is about the whole recording whatever the bars.
    pub fn is_of_the_whole(self) -> bool {
        !matches!(self, ChartKind::Grid | ChartKind::Stack | ChartKind::Solo)
    }

    /// The name that the command and files use.
    pub fn name(self) -> &'static str {
        match self {
            ChartKind::Grid => "grid",
            ChartKind::Stack => "stack",
            ChartKind::Evidence => "evidence",
            ChartKind::Staircase => "staircase",
            ChartKind::Strip => "strip",
            ChartKind::Solo => "solo",
            ChartKind::Learn => "learn",
            ChartKind::Cells => "cells",
            ChartKind::Tempo => "tempo",
        }
    }
}

impl fmt::Display for ChartKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl FromStr for ChartKind {
    type Err = UnknownName;

    fn from_str(text: &str) -> Result<Self, UnknownName> {
        Self::ALL
            .into_iter()
            .find(|kind| kind.name() == text)
            .ok_or_else(|| UnknownName {
                kind: "chart",
                given: text.to_owned(),
                known: Self::ALL.map(ChartKind::name).join(", "),
            })
    }
}

/// Every chart of a study.
pub fn all(study: &Study) -> Vec<Chart> {
    ChartKind::ALL
        .into_iter()
        .flat_map(|kind| draw(study, kind, None, Paper::A4))
        .collect()
}

/// One kind of chart, of all bars or of the wanted ones (counted from 1; a pick-up is bar 0). Always gives at least
/// one page. Those that are about the whole recording are so whatever the bars. Free line and cells have a page for a
/// phone as well (`solo-phone-01`, `cells-phone-01`); the others are drawn on A4 whatever the paper.
pub fn draw(study: &Study, kind: ChartKind, bars: Option<RangeInclusive<i64>>, paper: Paper) -> Vec<Chart> {
    let mut charts = Vec::new();
    draw_each(study, kind, bars, paper, &mut |chart| charts.push(chart));
    charts
}

/// The same page by page: hours of music fill hundreds, which need not all be in memory.
pub fn draw_each(
    study: &Study,
    kind: ChartKind,
    bars: Option<RangeInclusive<i64>>,
    paper: Paper,
    put: &mut dyn FnMut(Chart),
) {
    match kind {
        ChartKind::Grid => grid::draw(study, bars.as_ref(), put),
        ChartKind::Stack => stack::draw(study, bars.as_ref()).into_iter().for_each(put),
        ChartKind::Evidence => put(evidence::draw(study)),
        ChartKind::Staircase => put(staircase::draw(study)),
        ChartKind::Strip => strip::draw(study).into_iter().for_each(put),
        ChartKind::Solo => solo::draw(study, bars.as_ref(), paper, put),
        ChartKind::Learn => put(learn::draw(study)),
        ChartKind::Cells => cells::draw(study, paper).into_iter().for_each(put),
        ChartKind::Tempo => put(tempo::draw(study)),
    }
}
