//! Hits on steps -> [`Stickings`]: which limb plays which hit, and the few cells that the free line reduces to.
//!
//! In: hits with their times (s), steps, voices and figures ([`Played`]), and what the player said of kit and body. Limbs
//! come from a shortest path (`chain`, `limbs`; its costs stand in `costs`), the figure's taken out first. The
//! free line is then cut into the cells that describe it shortest (`vocabulary`), and the limbs are found once more, now
//! knowing what the same place of a cell is played with elsewhere. Without a grid there are limbs, but no cells.

mod adapt;
pub mod body;
mod candidates;
mod cell;
mod chain;
mod costs;
mod found;
mod frame;
mod habits;
mod impossible;
mod limbs;
mod line;
mod report;
pub mod rudiments;
mod spread;
mod tables;
mod tiling;
mod vocabulary;

#[cfg(test)]
mod invented;
#[cfg(test)]
mod tests;

use std::collections::HashMap;

use serde::{Deserialize, Serialize};

use crate::cycles::Cycle;
use crate::grid::Grid;
use crate::names::{Limb, Voice};
use crate::options::StickingOptions;
use crate::units::{Seconds, Steps};
pub use adapt::{BadLevel, Level, kept, to_kit};
pub use frame::Frame;
pub use report::{Accents, Cell, Drums, Easier, Impossible, Meeting, Permutation, Run, Stickings, Way};

/// A hit as this stage takes it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Played {
    /// When.
    pub time: Seconds,
    /// On which step, where there is a grid.
    pub step: Option<Steps>,
    /// What.
    pub voice: Voice,
    /// Whether it is accented.
    pub accent: bool,
    /// The figure it belongs to, if any.
    pub figure: Option<usize>,
    /// The limb that the player named.
    pub pinned: Option<Limb>,
}

/// Which hands the free line has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Hands {
    /// Both.
    #[default]
    Both,
    /// The right hand, with a foot.
    Right,
    /// The left hand, with a foot.
    Left,
}

/// The hand that keeps up one voice of a figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Keeps {
    /// Which figure, from 0.
    pub figure: usize,
    /// Which voice.
    pub voice: Voice,
    /// Which hand; `None` where both take turns.
    pub limb: Option<Limb>,
}

/// What was found, hit by hit and in sum.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Found {
    /// The limb of each hit; `None` where nobody can play it.
    pub limbs: Vec<Option<Limb>>,
    /// For each hit how many bits dearer the best account is in which another limb plays it.
    pub margins: Vec<f64>,
    /// For each hit the cell of the vocabulary that it is part of.
    pub cells: Vec<Option<usize>>,
    /// All the rest.
    pub stickings: Stickings,
}

/// Shares the hits, which must be sorted by time, out among the limbs, and finds the cells of what no figure explains.
/// `hits` name figures by their place in `cycles`.
pub fn find(hits: &[Played], cycles: &[Cycle], grid: &Grid, options: &StickingOptions) -> Found {
    let frames: Vec<Frame> = cycles.iter().map(|cycle| Frame::of(cycle, grid)).collect();
    let (order, met) = met(hits);
    let found = found::find(&met, &frames, grid, &options.body);
    Found {
        limbs: back(&order, &found.limbs),
        margins: back(&order, &found.margins),
        cells: back(&order, &found.cells),
        stickings: found.stickings,
    }
}

/// What is said of hits that stand in this order, in the order of the hits themselves.
fn back<T: Clone + Default>(order: &[usize], said: &[T]) -> Vec<T> {
    let mut own = vec![T::default(); order.len()];
    for (at, said) in order.iter().zip(said) {
        own[*at] = said.clone();
    }
    own
}

/// The hits as limbs think of them: what falls on one step is struck at once, when its first stroke is, and is told in
/// the order of the voices. And where each of them stands in `hits`.
fn met(hits: &[Played]) -> (Vec<usize>, Vec<Played>) {
    let mut first: HashMap<Steps, Seconds> = HashMap::new();
    for hit in hits {
        let time = hit.step.map(|step| first.entry(step).or_insert(hit.time));
        if let Some(time) = time.filter(|time| **time > hit.time) {
            *time = hit.time;
        }
    }
    let time = |hit: &Played| {
        hit.step
            .and_then(|step| first.get(&step).copied())
            .unwrap_or(hit.time)
    };
    let mut met: Vec<(usize, Played)> = (hits.iter().enumerate())
        .map(|(at, hit)| {
            (
                at,
                Played {
                    time: time(hit),
                    ..*hit
                },
            )
        })
        .collect();
    met.sort_by(|(_, a), (_, b)| a.time.0.total_cmp(&b.time.0).then(a.voice.cmp(&b.voice)));
    met.into_iter().unzip()
}

/// The cells of what two limbs play, whatever of it is a figure's: `limbs` are those of the hits.
pub fn between(
    hits: &[Played],
    limbs: &[Option<Limb>],
    cycles: &[Cycle],
    grid: &Grid,
    options: &StickingOptions,
    pair: [Limb; 2],
) -> Found {
    let own = hits.iter().zip(limbs);
    let own = own.filter(|(_, limb)| limb.is_some_and(|limb| pair.contains(&limb)));
    let hits: Vec<Played> = own
        .map(|(hit, limb)| Played {
            figure: None,
            pinned: *limb,
            ..*hit
        })
        .collect();
    find(&hits, cycles, grid, options)
}
