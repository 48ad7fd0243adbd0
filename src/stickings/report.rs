//! What was found, as plain values for files, charts and words.

use serde::{Deserialize, Serialize};

use super::Hands;
use crate::cycles::Moment;
use crate::grid::Place;
use crate::names::{Limb, Voice};
use crate::units::Seconds;

/// Limbs and vocabulary of a recording. Studies of earlier versions lack some of it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Stickings {
    /// The cells of the free line, in the order in which to learn them: those first that open most of it.
    pub vocabulary: Vec<Cell>,
    /// Share of the free line's strokes that no cell explains, 0 to 1; `None` where there is no free line.
    pub unexplained: Option<f64>,
    /// Who keeps up what, cheapest first.
    pub ways: Vec<Way>,
    /// Places that nobody could play as they are written.
    pub impossible: Vec<Impossible>,
    /// Strokes whose limb follows from one that the player named.
    pub followed: usize,
    /// Easier lines, hardest first.
    pub lines: Vec<Easier>,
}

/// One way to share out the work among the limbs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Way {
    /// Who keeps up the figures.
    pub figure: Vec<super::Keeps>,
    /// Which hands the free line has.
    pub hands: Hands,
    /// Bits that it costs more than the best way.
    pub more_bits: f64,
}

/// A place that nobody could play.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Impossible {
    /// When.
    pub time: Seconds,
    /// Where, if there is a grid.
    pub place: Option<Place>,
    /// Why, and what may be wrong.
    pub why: String,
}

/// A cell of the vocabulary.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cell {
    /// The rudiments that it is, or its letters.
    pub name: String,
    /// Its letters, as it is played most.
    pub cell: String,
    /// Steps in it.
    pub steps: u32,
    /// Share of the free line's strokes that it explains, 0 to 1.
    pub share: f64,
    /// The same for it and all cells before it.
    pub together: f64,
    /// The bars that it opens: those that it and the cells before it explain whole, and those before it alone do not.
    pub opens: Vec<i64>,
    /// How it is played: permutations and mirrors, those first that are played most.
    pub permutations: Vec<Permutation>,
    /// Where it lives, in order.
    pub r#where: Vec<Run>,
    /// The drums that carry it, most frequent first.
    pub drums: Vec<Drums>,
    /// How it meets the figures.
    pub figures: Vec<Meeting>,
}

/// One way to play a cell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Permutation {
    /// Its letters.
    pub cell: String,
    /// From which step of the cell it begins, from 1.
    pub begins: u32,
    /// Whether the limbs are exchanged.
    pub mirror: bool,
    /// How often it is played.
    pub times: u32,
    /// Where accents fall in it: each is a thing to learn of its own.
    pub accents: Vec<Accents>,
}

/// Accents on these steps of a permutation.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Accents {
    /// Steps from 1; none is a statement without accent.
    pub on: Vec<u32>,
    /// How often.
    pub times: u32,
}

/// The same permutation played without a break.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Run {
    /// Its first step.
    pub start: Moment,
    /// The step after its last.
    pub end: Moment,
    /// The same in steps from the start of bar 1.
    pub steps: [i64; 2],
    /// Which of the permutations, from 0.
    pub permutation: u32,
    /// How often it is played, a cut one counted.
    pub times: u32,
}

/// The drums that carry a cell.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Drums {
    /// For each limb, what it strikes in one statement.
    pub limbs: Vec<(Limb, Vec<Voice>)>,
    /// How often.
    pub times: u32,
}

/// A cell against a figure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Meeting {
    /// Which figure, from 0.
    pub figure: u32,
    /// After so many steps both start together again: their least common multiple.
    pub home_steps: u32,
    /// So many statements of the cell lie in that: the alignments to practise in one round.
    pub alignments: u32,
    /// The steps of the figure, from 1, on which statements of the cell begin in this solo.
    pub used: Vec<u32>,
}

/// An easier line that keeps the figure whole.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Easier {
    /// What is left of the free line, in words.
    pub name: String,
    /// Which.
    pub level: super::Level,
    /// Share of the free line's strokes that it keeps, 0 to 1.
    pub share: f64,
}
