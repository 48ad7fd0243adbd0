//! [`Recording`] -> [`Onset`]s: when something was struck, to the millisecond, how loud, and how sure.
//!
//! What the network heard ([`listen`]) says where strokes are; each is timed on the waveform ([`attack`]). Without
//! it, spectral flux in several regions proposes many candidates ([`candidates`]), each is described relative to its
//! surroundings ([`evidence`]) and judged ([`decide`]).

mod attack;

mod bands;

mod candidates;

mod decide;

mod evidence;

use std::collections::BTreeSet;

use rayon::prelude::*;

use crate::audio::{RATE, Recording};
use crate::listen::{self, Heard, Sound};
use crate::options::HitOptions;
use crate::units::{Decibels, Seconds};

use attack::Attack;
use bands::Bands;
use candidates::Candidates;
use decide::Network;
use evidence::Surroundings;

pub use evidence::EVIDENCE;

/// Samples from one frame of the analysis to the next: 5 ms.
pub const HOP: usize = 220;

/// Samples that one frame of the analysis looks at: 23 ms.
pub const WINDOW: usize = 1024;

/// Strokes nearer to each other than this are one onset, samples: 30 ms, between flams and the fastest equal strokes.
const APART: usize = 1323;

/// How sure an onset must be that was judged by flux.
const LEAST: f64 = 0.5;

/// The same where a band plays along.
const LEAST_IN_MIX: f64 = 0.6;

/// How sure the network must be of an onset.
const LEAST_HEARD: f32 = 0.65;

/// The same where a band plays along.
const LEAST_HEARD_IN_MIX: f32 = 0.8;

/// How much later than the rise of the waveform the network hears a stroke, in the median.
const LAG: Seconds = Seconds(0.0045);

/// Further than this from where the network heard it, a rise belongs to another stroke, samples: 10 ms.
const ASTRAY: usize = 441;

/// A moment at which one or more drums or cymbals were struck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Onset {
    /// Where the sound begins to rise, from the start of the recording's file.
    pub time: Seconds,
    /// Level under the loudest onset of the recording: 0 or less.
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
}

/// Finds every onset of the recording, sorted by time: where the network heard strokes, or, when it has not listened
/// (`heard` is empty), where the flux of the spectrum says so.
pub fn find(recording: &Recording, heard: &Heard, options: &HitOptions) -> Vec<Onset> {
    let struck = if heard.is_empty() {
        rising(recording, if options.mix { LEAST_IN_MIX } else { LEAST })
    } else {
        let least = if options.mix {
            LEAST_HEARD_IN_MIX
        } else {
            LEAST_HEARD
        };
        heard_in(recording, heard, least)
    };
    onsets(recording, struck)
}

/// Strokes that the network is at least so sure of, timed on the waveform. Where the waveform changes most well away
/// from where the network heard the stroke, it changes for another one, and the network's time stands.
fn heard_in(recording: &Recording, heard: &Heard, least: f32) -> Vec<(Attack, f64)> {
    listen::strokes(heard, least)
        .iter()
        .map(|stroke| {
            let expected = (stroke.time - recording.start - LAG).to_sample(RATE);
            let mut attack = attack::attack(recording, expected / HOP);
            if attack.sample.abs_diff(expected) > ASTRAY {
                attack.sample = expected;
            }
            (attack, f64::from(stroke.likely(Sound::Any)))
        })
        .collect()
}

/// Candidates of the flux that are at least so sure.
fn rising(recording: &Recording, least: f64) -> Vec<(Attack, f64)> {
    let network = Network::built_in();
    judge(recording, |attack, evidence| {
        let sure = network.probability(&evidence);
        (sure >= least).then_some((attack, sure))
    })
}

/// One onset for all that was struck together, in order.
fn onsets(recording: &Recording, mut struck: Vec<(Attack, f64)>) -> Vec<Onset> {
    // The surest first: of several candidates for one stroke it is the one that stays.
    struck.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut taken = BTreeSet::new();
    struck.retain(|(attack, _)| {
        let near = attack.sample.saturating_sub(APART)..=attack.sample + APART;
        taken.range(near).next().is_none() && taken.insert(attack.sample)
    });
    struck.sort_by_key(|(attack, _)| attack.sample);
    let loudest = struck
        .iter()
        .map(|(attack, _)| attack.power)
        .fold(f32::MIN_POSITIVE, f32::max);
    struck
        .into_iter()
        .map(|(attack, sure)| Onset {
            time: recording.start + Seconds::from_sample(attack.sample, RATE),
            level: Decibels(10.0 * f64::from(attack.power / loudest).log10()),
            sure,
        })
        .collect()
}

/// Every candidate of the recording, in order: what the decision is fitted to.
pub fn candidates(recording: &Recording) -> Vec<Candidate> {
    judge(recording, |attack, evidence| {
        let time = Seconds::from_sample(attack.sample, RATE);
        Some(Candidate { time, evidence })
    })
}

fn judge<T: Send>(recording: &Recording, verdict: impl Fn(Attack, Vec<f32>) -> Option<T> + Sync) -> Vec<T> {
    let bands = Bands::of(recording);
    let candidates = Candidates::of(&bands);
    let surroundings = Surroundings::of(&bands, &candidates);
    candidates
        .frames
        .par_iter()
        .enumerate()
        .filter_map(|(index, frame)| {
            let attack = attack::attack(recording, *frame);
            let evidence = surroundings.evidence(index, &attack);
            verdict(attack, evidence)
        })
        .collect()
}
