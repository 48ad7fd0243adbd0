//! Everything the page's scripts know, as one JSON value.
//!
//! In: the study and its sound. Out: plain values; places are steps from the start of bar 1, times are seconds from the
//! start of the recording's file. Strokes stand in the text of `hits.tsv` and nowhere else.

use serde_json::{Value, json};

use super::Source;
use crate::charts::look::{self, Round};
use crate::cycles::Cycle;
use crate::names::{Layer, Limb, Mark, Voice};
use crate::study::Study;
use crate::units::Seconds;

/// The ruling of a recording without a grid: two beats that are seconds, eight steps each, as the charts draw it.
const CLOCK: ([f64; 2], u32) = ([0.0, 1.0], 8);

/// The value that the page is made of.
pub(super) fn of(study: &Study, source: &Source) -> Value {
    json!({
        "digest": source.digest,
        "recording": study.recording,
        "command": source.command,
        "look": look::look(study),
        "grid": grid(study),
        "figures": figures(study),
        "cells": cells(study),
        "impossible": impossible(study),
        "warnings": study.warnings,
        "limbs": Limb::ALL,
        "layers": Layer::ALL,
        "marks": Mark::ALL,
        "sound": source.sound,
        "hits": source.hits,
    })
}

fn grid(study: &Study) -> Value {
    let grid = &study.grid;
    if !look::has_grid(study) {
        let (beats, steps) = CLOCK;
        return json!({
            "clock": true, "beats": beats, "first": 0, "per_beat": steps, "beats_per_bar": 4, "long": 0.5,
        });
    }
    let beats: Vec<f64> = grid.beats.iter().map(|beat| rounded(*beat)).collect();
    json!({
        "clock": false,
        "beats": beats,
        "first": grid.first_downbeat,
        "per_beat": grid.steps_per_beat,
        "beats_per_bar": grid.meter.beats_per_bar(),
        "long": grid.swing.map_or(0.5, |swing| swing.long()),
    })
}

fn figures(study: &Study) -> Vec<Value> {
    if !look::has_grid(study) {
        return Vec::new();
    }
    study.cycles.iter().map(|cycle| figure(study, cycle)).collect()
}

fn figure(study: &Study, cycle: &Cycle) -> Value {
    let rounds = look::rounds(study, cycle);
    let mut missing: Vec<(i64, Voice)> = Vec::new();
    let mut added: Vec<(i64, Voice)> = Vec::new();
    let mut moved: Vec<(i64, Voice, i64)> = Vec::new();
    for broken in &cycle.broken {
        let index = usize::try_from(broken.repeat).ok().and_then(|n| n.checked_sub(1));
        let Some(round) = index.and_then(|index| rounds.get(index)) else {
            continue;
        };
        let place = |(step, voice): &(u32, Voice)| (round.from + i64::from(*step) - 1, *voice);
        missing.extend(broken.missing.iter().map(place));
        added.extend(broken.added.iter().map(place));
        moved.extend(broken.moved.iter().map(|&(step, voice, by)| {
            let (at, voice) = place(&(step, voice));
            (at, voice, by)
        }));
    }
    let notes: Vec<Value> = cycle
        .figure
        .iter()
        .map(|note| json!({ "step": note.step, "voices": note.voices, "limb": note.limb }))
        .collect();
    json!({
        "length": cycle.length_steps,
        "voices": cycle.voices,
        "notes": notes,
        "rounds": rounds.iter().map(|Round { from, to, home }| json!([from, to, home])).collect::<Vec<_>>(),
        "missing": missing,
        "added": added,
        "moved": moved,
    })
}

fn cells(study: &Study) -> Vec<Value> {
    let cell = |cell: &crate::stickings::Cell| {
        let runs: Vec<[i64; 2]> = cell.r#where.iter().map(|run| run.steps).collect();
        json!({ "name": cell.name, "cell": cell.cell, "share": cell.share, "runs": runs })
    };
    study.stickings.vocabulary.iter().map(cell).collect()
}

fn impossible(study: &Study) -> Vec<Value> {
    let places = study.stickings.impossible.iter();
    places
        .map(|place| json!({ "time": rounded(place.time), "why": place.why }))
        .collect()
}

/// As precise as the study's files.
fn rounded(time: Seconds) -> f64 {
    (time.0 * 1e5).round() / 1e5
}
