//! The limbs that a player named -> all that follow from them: every repeat of the same figure.
//!
//! In the figure a place is the same when figure, step of the figure and voice are; in the free line when the strokes
//! around it are: the same voices on the same steps, [`AROUND`] strokes before and after.

use std::collections::BTreeMap;

use super::Played;
use super::frame::Frame;
use crate::names::{Limb, Voice};

/// So many strokes of the free line on either side make a place the same.
const AROUND: usize = 2;

/// What makes two places the same.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Spot {
    Figure(usize, i64, Voice),
    Free(Vec<(i64, Voice)>, Voice),
}

/// The limb of each hit that is settled, and how many of them the player did not name himself.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Settled {
    pub(super) limbs: Vec<Option<Limb>>,
    pub(super) followed: usize,
}

/// Spreads the named limbs. Where two of them contradict each other at places that are the same, neither spreads.
pub(super) fn spread(hits: &[Played], frames: &[Frame]) -> Settled {
    let mut settled = Settled {
        limbs: hits.iter().map(|hit| hit.pinned).collect(),
        followed: 0,
    };
    if settled.limbs.iter().all(Option::is_none) {
        return settled;
    }
    let spots = spots(hits, frames);
    let mut said: BTreeMap<&Spot, Option<Limb>> = BTreeMap::new();
    for (hit, spot) in hits.iter().zip(&spots) {
        if let Some((limb, spot)) = hit.pinned.zip(spot.as_ref()) {
            let one = said.entry(spot).or_insert(Some(limb));
            *one = one.filter(|other| *other == limb);
        }
    }
    for (limb, spot) in settled.limbs.iter_mut().zip(&spots) {
        let follows = spot.as_ref().and_then(|spot| said.get(spot).copied().flatten());
        if limb.is_none() && follows.is_some() {
            *limb = follows;
            settled.followed += 1;
        }
    }
    settled
}

fn spots(hits: &[Played], frames: &[Frame]) -> Vec<Option<Spot>> {
    let free: Vec<(usize, i64, Voice)> = hits
        .iter()
        .enumerate()
        .filter(|(_, hit)| hit.figure.is_none())
        .filter_map(|(at, hit)| Some((at, hit.step?.0, hit.voice)))
        .collect();
    let mut spots: Vec<Option<Spot>> = hits.iter().map(|hit| in_figure(hit, frames)).collect();
    for (n, (at, step, voice)) in free.iter().enumerate() {
        let window = free
            .get(n.saturating_sub(AROUND)..(n + AROUND + 1).min(free.len()))
            .unwrap_or_default();
        let mut around: Vec<(i64, Voice)> = window.iter().map(|(_, s, v)| (s - step, *v)).collect();
        around.sort_unstable();
        if let Some(spot) = spots.get_mut(*at) {
            *spot = Some(Spot::Free(around, *voice));
        }
    }
    spots
}

fn in_figure(hit: &Played, frames: &[Frame]) -> Option<Spot> {
    let figure = hit.figure?;
    Some(Spot::Figure(
        figure,
        frames.get(figure)?.phase(hit.step?),
        hit.voice,
    ))
}
