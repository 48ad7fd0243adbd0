//! [`Study`] -> [`Score`]: the study as written music, from which every file of it is made.
//!
//! Bars from the pick-up to the last stroke; in each bar one row of notes and rests per line of the layout, which fill
//! the bar exactly; tuplets, beams by beat, marks, grace strokes, who plays; and where the figures' repeats lie. Strokes
//! stand on their steps; how late they come stays with them. Swing is written straight, with its ratio.

mod beat;
mod build;
mod spot;
#[cfg(test)]
pub(crate) mod tests;
mod value;

use std::ops::RangeInclusive;

use crate::charts::score::{Score as Ruled, is_home, repeats};
use crate::charts::words::can_rule;
use crate::cycles::Cycle;
use crate::grid::{Grid, Swing};
use crate::names::{Layer, Mark, Voice};
use crate::options::ScoreLayout;
use crate::study::{Stroke, Study};
use crate::units::{Millis, Seconds};

pub(crate) use beat::coarser;
pub use build::graces;
pub use value::{Beat, QUARTER, Ratio, Ticks, Value};

/// The distance of a grace stroke that was marked but not measured, flam and drag \[M\] (TRADE 5).
const FLAM: Millis = Millis(30.0);
const DRAG: Millis = Millis(70.0);

/// Which strokes stand together in one line of notes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Line {
    /// All of them.
    All,
    /// What hands play.
    Hands,
    /// What feet play.
    Feet,
    /// The freer line.
    Solo,
    /// The repeating figure.
    Figure,
}

impl Line {
    /// Its name in files.
    pub fn name(self) -> &'static str {
        match self {
            Line::All => "all",
            Line::Hands => "hands",
            Line::Feet => "feet",
            Line::Solo => "solo",
            Line::Figure => "figure",
        }
    }

    /// The staff it stands on, counted from 0 at the top.
    pub fn staff(self) -> usize {
        usize::from(self == Line::Figure)
    }

    /// Whether its stems go down.
    pub fn is_below(self) -> bool {
        self == Line::Feet
    }
}

/// Whether a voice is played by a foot \[C\].
pub fn is_foot(voice: Voice) -> bool {
    matches!(voice, Voice::Kick | Voice::KickLeft | Voice::HatFoot)
}

/// A grace stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grace {
    /// How long before its main stroke.
    pub before: Millis,
    /// The row that it is, where it has one of its own.
    pub row: Option<usize>,
}

/// One stroke as a note.
#[derive(Debug, Clone, PartialEq)]
pub struct Head<'a> {
    /// Its row, counted from 0.
    pub row: usize,
    /// The stroke.
    pub stroke: &'a Stroke,
    /// Its grace strokes, in order of time.
    pub graces: Vec<Grace>,
}

impl Head<'_> {
    /// What is struck.
    pub fn voice(&self) -> Voice {
        self.stroke.hit.voice
    }

    /// Whether it bears this mark.
    pub fn is(&self, mark: Mark) -> bool {
        self.stroke.hit.mark == Some(mark)
    }
}

/// Where an event stands in its tuplet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Edge {
    /// It begins it.
    First,
    /// Neither.
    Inner,
    /// It ends it.
    Last,
}

/// One level of a beam at one note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Beam {
    /// It begins here.
    Begin,
    /// It goes through.
    Through,
    /// It ends here.
    End,
    /// A short one to the right.
    HookRight,
    /// A short one to the left.
    HookLeft,
}

/// A note, several struck together, or a rest.
#[derive(Debug, Clone, PartialEq)]
pub struct Event<'a> {
    /// Where, from the start of its bar.
    pub at: Ticks,
    /// How long.
    pub length: Ticks,
    /// As which value it is written.
    pub value: Value,
    /// The tuplet it stands in.
    pub tuplet: Option<(Ratio, Edge)>,
    /// Its notes; none is a rest.
    pub heads: Vec<Head<'a>>,
    /// Its beams, the first level first; none with a value shorter than a quarter has flags.
    pub beams: Vec<Beam>,
    /// A rest for the whole bar, however long that is.
    pub whole_bar: bool,
}

/// One bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar<'a> {
    /// Its number; 0 and less is a pick-up.
    pub number: i64,
    /// Its first beat, counted from 0 at bar 1.
    pub beat: i64,
    /// Beats in it: fewer than the meter has in a pick-up.
    pub beats: u32,
    /// When it begins.
    pub time: Seconds,
    /// For every line of the score, what fills it.
    pub lines: Vec<Vec<Event<'a>>>,
}

/// One repeat of a figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Repeat {
    /// Which one, from 1.
    pub number: u32,
    /// Where it starts, from the start of bar 1.
    pub from: Ticks,
    /// Where it ends.
    pub to: Ticks,
    /// Whether its start and beat one meet again.
    pub home: bool,
}

/// A figure's repeats.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    /// Its length in steps.
    pub steps: u32,
    /// Its repeats, in order.
    pub repeats: Vec<Repeat>,
}

/// A study as written music.
#[derive(Debug, Clone, PartialEq)]
pub struct Score<'a> {
    /// The study's grid.
    pub grid: &'a Grid,
    /// The beat of the meter.
    pub beat: Beat,
    /// Pairs of steps that are written straight and played long and short.
    pub swing: Option<Swing>,
    /// The lines, top to bottom; those without a stroke in the whole study are left out.
    pub lines: Vec<Line>,
    /// The bars; none when no beat was found.
    pub bars: Vec<Bar<'a>>,
    /// The figures, best first.
    pub figures: Vec<Figure>,
    /// Rows that have no place on the grid.
    pub left_out: usize,
    /// Whether these are some of the bars only.
    pub is_part: bool,
}

impl<'a> Score<'a> {
    /// Writes a study down.
    pub fn of(study: &'a Study, layout: ScoreLayout) -> Score<'a> {
        let beat = Beat::of(study.grid.meter);
        let mut score = Score {
            grid: &study.grid,
            beat,
            swing: study.grid.swing,
            lines: lines(study, layout),
            bars: Vec::new(),
            figures: Vec::new(),
            left_out: study.strokes.len(),
            is_part: false,
        };
        if can_rule(&study.grid) {
            build::bars(study, layout, &mut score);
            score.figures = figures(study, beat);
        }
        score
    }

    /// The same with these bars only.
    pub fn within(mut self, bars: &RangeInclusive<i64>) -> Score<'a> {
        self.bars.retain(|bar| bars.contains(&bar.number));
        self.is_part = true;
        self
    }

    /// Steps into which a beat is divided, the beat counted from 0 at bar 1.
    pub fn steps_in(&self, beat: i64) -> u32 {
        spot::Ruling::of(self.grid).steps(beat)
    }

    /// The length of a bar.
    pub fn length(&self, bar: &Bar) -> Ticks {
        Ticks(self.beat.ticks().0 * i64::from(bar.beats))
    }

    /// Where a bar begins, from the start of bar 1.
    pub fn start(&self, bar: &Bar) -> Ticks {
        Ticks(self.beat.ticks().0 * bar.beat)
    }
}

/// The lines of a layout that the study has strokes for.
fn lines(study: &Study, layout: ScoreLayout) -> Vec<Line> {
    let wanted: &[Line] = match layout {
        ScoreLayout::HandsFeet => &[Line::Hands, Line::Feet],
        ScoreLayout::OneVoice => &[Line::All],
        ScoreLayout::FigureSolo => &[Line::Solo, Line::Figure],
    };
    let used = |line: &Line| study.strokes.iter().any(|s| line_of(s, layout) == *line);
    let lines: Vec<Line> = wanted.iter().copied().filter(used).collect();
    if lines.is_empty() {
        wanted.iter().copied().take(1).collect()
    } else {
        lines
    }
}

/// The line of a layout in which a stroke stands.
fn line_of(stroke: &Stroke, layout: ScoreLayout) -> Line {
    match layout {
        ScoreLayout::OneVoice => Line::All,
        ScoreLayout::HandsFeet if is_foot(stroke.hit.voice) => Line::Feet,
        ScoreLayout::HandsFeet => Line::Hands,
        ScoreLayout::FigureSolo if stroke.layer == Some(Layer::Ostinato) => Line::Figure,
        ScoreLayout::FigureSolo => Line::Solo,
    }
}

/// Where the repeats of every figure lie.
fn figures(study: &Study, beat: Beat) -> Vec<Figure> {
    let ruled = Ruled::of(study);
    let per_beat = i64::from(study.grid.steps_per_beat.max(1));
    let at = |step: i64| Ticks(step.saturating_mul(beat.ticks().0 / per_beat));
    let figure = |cycle: &Cycle| Figure {
        steps: cycle.length_steps,
        repeats: repeats(cycle, &ruled)
            .iter()
            .map(|repeat| Repeat {
                number: repeat.number,
                from: at(repeat.from),
                to: at(repeat.to),
                home: is_home(cycle, &ruled, repeat),
            })
            .collect(),
    };
    study.cycles.iter().map(figure).collect()
}
