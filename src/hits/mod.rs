//! [`Recording`] -> [`Onset`]s: when something was struck, to the millisecond, how loud, and how sure.
//!
//! Spectral flux in several regions proposes many candidates (`candidates`), each is timed on the waveform
//! (`attack`), described relative to its surroundings (`evidence`) and judged (`decide`). What the network heard
//! ([`crate::listen`]) has an equal say where it has listened; without it the flux decides alone.

mod attack;

mod bands;

mod candidates;

mod context;

pub(crate) mod decide;

mod evidence;

use std::collections::BTreeMap;

use rayon::prelude::*;

use crate::audio::{RATE, Recording};
use crate::listen::{self, Heard, Sound};
use crate::options::HitOptions;
use crate::units::{Decibels, Seconds};

use attack::Attack;
use bands::Bands;
use candidates::Candidates;
use context::contexts;
use decide::Trees;
use evidence::Surroundings;

pub use context::CONTEXT;
pub use evidence::EVIDENCE;

/// Samples from one frame of the analysis to the next: 5 ms.
pub const HOP: usize = 220;

/// Samples that one frame of the analysis looks at: 23 ms.
pub const WINDOW: usize = 1024;

/// Strokes nearer to each other than this are one onset, samples: 30 ms, between flams and the fastest equal strokes.
const APART: usize = 1323;

/// How sure a stroke must be to give its time to a later one with which it makes one onset.
const FLAM: f64 = 0.8;

/// How sure an onset must be when the flux decides alone, and where a band plays along.
const LEAST: f64 = 0.4;
const LEAST_IN_MIX: f64 = 0.6;

/// How sure an onset must be by both accounts, and where a band plays along.
const LEAST_BY_BOTH: f64 = 0.5;
const LEAST_BY_BOTH_IN_MIX: f64 = 0.75;

/// The network's share in the decision; the flux has the rest. Where a band plays along, whose notes rise too, the flux
/// only says when.
const SAY: f64 = 0.8;
const SAY_IN_MIX: f64 = 1.0;

/// What a stroke adds to what rings may vanish beside it; nothing is softer than this under the loudest stroke, dB: the
/// noise of 16 bits.
const SOFTEST: f64 = -90.0;

/// Log odds of an account that hears nothing at all, and the most that either account can say.
const SILENT: f64 = -4.0;
const LOUDEST: f64 = 6.0;

/// How much later than the rise of the waveform the network hears a stroke, in the median.
const LAG: Seconds = Seconds(0.0045);

/// Both accounts of one stroke lie within this, samples: 20 ms.
const TOGETHER: usize = 882;

/// A rise further than this from where the network heard a stroke is not its own, samples: 8 ms.
const ASTRAY: usize = 350;

/// What the network is so sure of is looked at even where the flux sees no candidate.
const WORTH_A_LOOK: f32 = 0.1;

/// A moment at which one or more drums or cymbals were struck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Onset {
    /// Where the sound begins to rise, from the start of the recording's file.
    pub time: Seconds,
    /// Level under the loudest onset of the recording: 0 or less, -90 dB at least.
    pub level: Decibels,
    /// How sure it is that something was struck here, 0 to 1.
    pub sure: f64,
}

/// Something that may be an onset, with all that speaks for and against it.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// Where the sound begins to rise, from the start of the part in memory.
    pub time: Seconds,
    /// [`EVIDENCE`] numbers without unit, the same for a louder copy of the recording.
    pub evidence: Vec<f32>,
    /// [`CONTEXT`] numbers about the candidates around it, by the opinions that their evidence gives.
    pub context: [f32; CONTEXT],
}

/// Finds every onset of the recording, sorted by time: by the flux of the spectrum and by what the network heard, or
/// by the flux alone when the network has not listened (`heard` is empty).
pub fn find(recording: &Recording, heard: &Heard, options: &HitOptions) -> Vec<Onset> {
    let rising = rising(recording);
    let mut struck = if heard.is_empty() {
        rising
    } else {
        let say = if options.mix { SAY_IN_MIX } else { SAY };
        by_both(recording, heard, &rising, say)
    };
    let least = match (heard.is_empty(), options.mix) {
        (true, false) => LEAST,
        (true, true) => LEAST_IN_MIX,
        (false, false) => LEAST_BY_BOTH,
        (false, true) => LEAST_BY_BOTH_IN_MIX,
    };
    struck.retain(|(_, sure)| *sure >= least);
    onsets(recording, groups(&mut struck))
}

/// Every candidate of the flux and how sure it is.
fn rising(recording: &Recording) -> Vec<(Attack, f64)> {
    let first = Trees::first();
    let judged: Vec<(Attack, f32)> =
        inspect(recording, |attack, evidence| (attack, first.log_odds(&evidence)));
    let second = Trees::second();
    let contexts = contexts(&opinions(&judged));
    judged
        .par_iter()
        .zip(&contexts)
        .map(|((attack, _), context)| (*attack, probability(f64::from(second.log_odds(context)))))
        .collect()
}

/// Both accounts weighed together, the network's with a share of `say`: the candidates of the flux with what the network
/// hears at their times, and strokes that only the network hears.
fn by_both(recording: &Recording, heard: &Heard, rising: &[(Attack, f64)], say: f64) -> Vec<(Attack, f64)> {
    let weigh = |network: f64, flux: f64| {
        let said = |log_odds: f64| log_odds.clamp(SILENT, LOUDEST);
        probability(say * said(network) + (1.0 - say) * said(flux))
    };
    let mut matched = vec![false; rising.len()];
    let mut struck = Vec::new();
    for stroke in listen::strokes(heard, WORTH_A_LOOK) {
        let network = log_odds(f64::from(stroke.likely(Sound::Any)));
        let expected = (stroke.time - recording.start - LAG).to_sample(RATE);
        let first = rising.partition_point(|(attack, _)| attack.sample + TOGETHER < expected);
        let near = rising.iter().enumerate().skip(first);
        let near = near.take_while(|(_, (attack, _))| attack.sample <= expected + TOGETHER);
        near.clone().for_each(|(index, _)| matched[index] = true);
        let surest = near.max_by(|a, b| a.1.1.total_cmp(&b.1.1));
        let (mut attack, flux) = surest.map_or_else(
            || {
                (
                    attack::attack(recording, expected / HOP, usize::MAX / HOP, usize::MAX / HOP),
                    SILENT,
                )
            },
            |(_, (attack, sure))| (*attack, log_odds(*sure)),
        );
        if attack.sample.abs_diff(expected) > ASTRAY {
            attack.sample = expected;
        }
        struck.push((attack, weigh(network, flux)));
    }
    let alone = rising.iter().zip(&matched).filter(|(_, matched)| !**matched);
    struck.extend(alone.map(|((attack, sure), _)| (*attack, weigh(SILENT, log_odds(*sure)))));
    struck
}

/// Onsets with their times in the file and their levels under the loudest, in order.
fn onsets(recording: &Recording, mut struck: Vec<(Attack, f64)>) -> Vec<Onset> {
    let powers = struck.iter().map(|(attack, _)| attack.power);
    let loudest = powers.fold(f32::MIN_POSITIVE, f32::max);
    struck.sort_by_key(|(attack, _)| attack.sample);
    struck
        .into_iter()
        .map(|(attack, sure)| Onset {
            time: recording.start + Seconds::from_sample(attack.sample, RATE),
            level: Decibels((10.0 * f64::from(attack.power / loudest).log10()).max(SOFTEST)),
            sure,
        })
        .collect()
}

/// Every candidate of the recording, in order: what the decision is fitted to.
pub fn candidates(recording: &Recording) -> Vec<Candidate> {
    let first = Trees::first();
    let all = inspect(recording, |attack, evidence| {
        (attack, first.log_odds(&evidence), evidence)
    });
    let judged: Vec<(Attack, f32)> = all.iter().map(|(attack, odds, _)| (*attack, *odds)).collect();
    contexts(&opinions(&judged))
        .into_iter()
        .zip(all)
        .map(|(context, (attack, _, evidence))| Candidate {
            time: Seconds::from_sample(attack.sample, RATE),
            evidence,
            context,
        })
        .collect()
}

fn opinions(judged: &[(Attack, f32)]) -> Vec<(usize, f32)> {
    judged
        .iter()
        .map(|(attack, odds)| (attack.sample, *odds))
        .collect()
}

fn probability(log_odds: f64) -> f64 {
    1.0 / (1.0 + (-log_odds).exp())
}

fn log_odds(probability: f64) -> f64 {
    (probability / (1.0 - probability)).ln()
}

/// The number of frames whose band levels were worked out: what comes before anything is decided, for those who time it.
#[doc(hidden)]
pub fn front_end(recording: &Recording) -> usize {
    Bands::of(recording).len()
}

/// One onset for strokes nearer than [`APART`]: the surest one's, at the time of the first sure one.
fn groups(struck: &mut [(Attack, f64)]) -> Vec<(Attack, f64)> {
    struck.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.sample.cmp(&b.0.sample)));
    let mut kept: BTreeMap<usize, (Attack, f64)> = BTreeMap::new();
    for (attack, sure) in struck.iter() {
        let near = attack.sample.saturating_sub(APART)..=attack.sample + APART;
        if kept.range(near).next().is_none() {
            kept.insert(attack.sample, (*attack, *sure));
        }
    }
    for (attack, _) in struck.iter().filter(|(_, sure)| *sure >= FLAM) {
        let later = attack.sample + 1..=attack.sample + APART;
        for (_, (main, _)) in kept.range_mut(later) {
            main.sample = main.sample.min(attack.sample);
        }
    }
    kept.into_values().collect()
}

/// What `report` makes of every candidate's attack and evidence, in order.
fn inspect<T: Send>(recording: &Recording, report: impl Fn(Attack, Vec<f32>) -> T + Sync) -> Vec<T> {
    let bands = Bands::of(recording);
    let candidates = Candidates::of(&bands);
    let surroundings = Surroundings::of(&bands, &candidates);
    (0..candidates.frames.len())
        .into_par_iter()
        .map(|index| {
            let frame = candidates.frames.get(index).copied().unwrap_or(0);
            let (before, after) = candidates.gaps(index);
            let attack = attack::attack(recording, frame, before, after);
            let evidence = surroundings.evidence(index, &attack);
            report(attack, evidence)
        })
        .collect()
}
