//! Limbs -> the places that nobody could play as they are written: too few limbs for what is struck at once, or one limb
//! faster than limbs are. There a voice, or a limb, may be wrong.

use std::collections::BTreeMap;

use super::Played;
use super::costs::{FOOT, HAND};
use super::limbs::{Shared, is_foot};
use super::report::Impossible;
use crate::grid::Grid;
use crate::names::{Limb, Voice};
use crate::units::Steps;

/// Every such place, by time.
pub(super) fn impossible(hits: &[Played], shared: &Shared, grid: &Grid) -> Vec<Impossible> {
    let mut all = nobody(hits, shared, grid);
    for limb in Limb::ALL {
        all.extend(too_fast(hits, &shared.limbs, *limb, grid));
    }
    all.sort_by(|a, b| a.time.0.total_cmp(&b.time.0));
    all
}

/// Where one limb strikes faster than any does; strokes of one such rush are told once.
fn too_fast(hits: &[Played], limbs: &[Option<Limb>], limb: Limb, grid: &Grid) -> Vec<Impossible> {
    let pace = if is_foot(limb) { FOOT } else { HAND };
    let own = hits
        .iter()
        .zip(limbs)
        .filter(|(_, played)| **played == Some(limb));
    let own: Vec<&Played> = own.map(|(hit, _)| hit).collect();
    let mut told: Vec<Impossible> = Vec::new();
    let mut until = 0;
    for at in 1..own.len() {
        let (now, before) = (own[at], own[at - 1]);
        let gap = (now.time - before.time).0;
        let run = at.checked_sub(2).map(|two| (now.time - own[two].time).0 / 2.0);
        let Some((strokes, mean, most)) = pace.beyond(gap, run) else {
            continue;
        };
        let first = at + 1 - strokes;
        if first < until {
            until = at + 1;
            continue;
        }
        until = at + 1;
        let start = own[first];
        told.push(Impossible {
            time: start.time,
            place: start.step.map(|step| grid.place_of(step)),
            why: format!(
                "{limb} would strike {strokes} times {:.0} ms apart, where {most}; a voice or a limb may be wrong",
                mean * 1000.0
            ),
        });
    }
    told
}

/// Places where a stroke is left to nobody.
fn nobody(hits: &[Played], shared: &Shared, grid: &Grid) -> Vec<Impossible> {
    let mut places: BTreeMap<(Option<Steps>, u64), Vec<usize>> = BTreeMap::new();
    for (at, (hit, _)) in hits
        .iter()
        .zip(&shared.limbs)
        .enumerate()
        .filter(|(_, (_, limb))| limb.is_none())
    {
        let time = hit.step.map_or(hit.time.0.max(0.0).to_bits(), |_| 0);
        places.entry((hit.step, time)).or_default().push(at);
    }
    let told = places.values().filter_map(|left| {
        let first = hits.get(*left.first()?)?;
        let feet = shared
            .own
            .get(*left.first()?)
            .is_some_and(|own| own[2].is_finite() || own[3].is_finite());
        let same = |hit: &&Played| {
            hit.step == first.step && (hit.step.is_some() || (hit.time - first.time).0.abs() < 0.025)
        };
        let same_limbs = |hit: &Played| feet_play(hit.voice) == feet;
        let voices: Vec<&str> = hits
            .iter()
            .filter(same)
            .filter(|hit| same_limbs(hit))
            .map(|hit| hit.voice.said())
            .collect();
        let (limbs, count) = (if feet { "feet" } else { "hands" }, voices.len());
        let why = match count {
            0..=2 => format!(
                "no limb is free for {}; a voice may be wrong",
                voices.join(" and ")
            ),
            _ => format!(
                "{count} {limbs} needed ({}); a voice may be wrong",
                voices.join(", ")
            ),
        };
        Some(Impossible {
            time: first.time,
            place: first.step.map(|step| grid.place_of(step)),
            why,
        })
    });
    told.collect()
}

fn feet_play(voice: Voice) -> bool {
    matches!(voice, Voice::Kick | Voice::KickLeft | Voice::HatFoot)
}
