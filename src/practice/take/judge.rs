//! Which expected strokes are in the sound of an attempt, which are not, and what is in it besides.
//!
//! In: an [`Explanation`] and the places at which something may be struck. Out: a [`Finding`] for every expected stroke,
//! and the strokes that nobody expected. Around each place the sound is explained with a stroke and without it; only where
//! one explanation is clearly better is anything told. How much better is counted in cells of the spectrum ([`View`]).

use rayon::prelude::*;

use super::explain::{BEFORE, Explanation, Note};
use super::follow::family;
use super::view::{LOOK, NEAR, View, with_and_without, without};
use crate::names::Voice;

/// What became of an expected stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Finding {
    /// Heard.
    There,
    /// The sound speaks against it.
    Gone,
    /// It is too weak to speak, and another drum like it that nobody expected explains the sound better.
    Instead,
    /// The sound speaks against it, but a hat or cymbal that passes for it sounds there.
    Hidden,
    /// What sounds there is explained as well with it as without it.
    Untold,
}

impl Finding {
    /// It was not struck.
    pub(super) fn gone(self) -> bool {
        matches!(self, Finding::Gone | Finding::Instead)
    }
}

/// A stroke that nobody expected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Added {
    pub(super) step: i64,
    pub(super) voice: Voice,
    /// How much it explains.
    pub(super) gain: f64,
}

/// A place where a stroke may be: its step and its frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub(super) step: i64,
    pub(super) frame: f64,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Verdict {
    /// One for each expected stroke.
    pub(super) findings: Vec<Finding>,
    /// How strong each expected stroke is against what is usual for it, as a share.
    pub(super) strengths: Vec<f32>,
    /// By step.
    pub(super) added: Vec<Added>,
}

/// A stroke that nobody expected explains so much (both sides together) …
const EXPLAINS: f64 = 60.0;
/// … and so large a share of what then remains unexplained (this much always remains), and is so strong against its
/// voice's usual stroke, at least and at most. A wash differs more from stroke to stroke than a drum.
const DRUM: (f64, f32, f32) = (0.55, 0.2, 4.0);
const METAL: (f64, f32, f32) = (1.0, 0.4, 2.5);
const REMAINS: f64 = 50.0;
/// The most that a gain is tried at.
const STRONGEST: f32 = 4.0;
/// A voice with fewer expected strokes is not known well enough to be found elsewhere.
const KNOWN: usize = 4;
/// Where an unexpected stroke may lie around its place, frames.
const AROUND: [isize; 7] = [-9, -6, -3, 0, 3, 6, 9];
/// Drums that the study has not are looked for as its own, tuned so.
const TUNINGS: [f64; 5] = [0.45, 0.55, 0.65, 0.8, 1.3];
/// A drum that the study has not must explain so many times more, and so much more, than those that it has.
const STRANGER: (f64, f64) = (1.1, 20.0);
/// Rounds of looking for strokes that nobody expected, and steps of fitting after each.
const ROUNDS: usize = 2;
const ADAPT: usize = 6;
/// What is asked of a stroke before its sound has been fitted, and of one in place of a stroke that is gone, as a share.
const FIRST: f64 = 0.5;
const EASED: f64 = 0.4;
/// Under a crash more is asked.
const WASHED: f64 = 1.8;
/// A stroke is there when it explains so much; one at this share of its expected strength would have been heard when its
/// absence explains so much more.
const THERE: f64 = 30.0;
const SOFT: f32 = 0.4;
const WOULD: f64 = 40.0;
/// … so much more for hats and cymbals, whose sounds differ from stroke to stroke.
const WOULD_RING: f64 = 55.0;
/// … and more again beside others of them.
const WOULD_HIDDEN: f64 = 80.0;
/// Of what would have been heard, so much may be explained by a stroke that is gone all the same.
const TRACE: f64 = 0.4;
/// Where another drum was struck instead of a kick or a tom, which sound alike, what is left of the expected one explains
/// less than this share of it, and it is weaker than this.
const INSTEAD: f64 = 0.4;
const INSTEAD_WOULD: f64 = 0.2;
const WEAK: f32 = 0.26;

/// A stroke that might have been added.
#[derive(Clone, Copy)]
struct Candidate {
    place: Place,
    source: usize,
    frame: isize,
    gain: f32,
    explains: f64,
}

/// Judges an attempt. `levels` are those of the expected strokes in the study, dB.
pub(super) fn judge(all: &mut Explanation, places: &[Place], levels: &[f64]) -> Verdict {
    let own = all.notes.len();
    let strangers = strangers(all);
    for round in 0..ROUNDS {
        // Found anew with what has been learnt of the sounds.
        all.notes.truncate(own);
        all.rebuild();
        let mut found = candidates(all, places, FIRST);
        if round == 0 {
            keep_one_stranger(&mut found, all, &strangers);
        }
        add(all, &best_of_each(&found, all));
    }
    // A second one at the same place.
    let second = candidates(all, places, 1.0);
    add(all, &best_of_each(&second, all));
    prune(all);
    // Where a stroke is gone another one is likely.
    let bare = bare(all, levels);
    let instead = candidates(all, &bare, EASED);
    add(all, &best_of_each(&instead, all));
    all.place_finely();
    verdict(all, levels)
}

/// Adds notes and lets all adapt to them.
fn add(all: &mut Explanation, best: &[Candidate]) {
    for candidate in best {
        let frame = candidate.frame as f64;
        let mut note = Note::new(candidate.source, candidate.place.step, frame, None);
        note.gain = candidate.gain;
        all.notes.push(note);
    }
    if !best.is_empty() {
        all.fit(ADAPT);
    }
}

/// The places of strokes that are gone and where nothing was added.
fn bare(all: &Explanation, levels: &[f64]) -> Vec<Place> {
    let order = order(all);
    let expected = expected_gains(all, levels);
    let filled = |step: i64| all.notes.iter().any(|n| n.written.is_none() && n.step == step);
    (0..all.notes.len())
        .into_par_iter()
        .filter(|n| !filled(all.notes[*n].step) && !rings(all.sources[all.notes[*n].source].voice))
        .filter(|n| finding(all, &order, *n, expected[*n]).finding.gone())
        .map(|n| Place {
            step: all.notes[n].step,
            frame: all.notes[n].frame as f64,
        })
        .collect()
}

/// Adds the drums that the study has not, made of the tom that it has most of.
fn strangers(all: &mut Explanation) -> Vec<usize> {
    let toms = |s: &&(usize, Voice, usize)| family(s.1) == 2 && s.2 >= KNOWN - 1;
    let sources: Vec<(usize, Voice, usize)> = all
        .sources
        .iter()
        .enumerate()
        .map(|(i, s)| (i, s.voice, s.written))
        .collect();
    let Some((like, ..)) = sources.iter().filter(toms).max_by_key(|s| s.2).copied() else {
        return Vec::new();
    };
    let absent = |voice: &Voice| sources.iter().all(|s| s.1 != *voice);
    let low = [Voice::TomFloor, Voice::TomLow, Voice::TomFloor2, Voice::TomMid];
    let high = [Voice::TomHigh, Voice::TomMid, Voice::TomLow];
    TUNINGS
        .iter()
        .filter_map(|ratio| {
            let names: &[Voice] = if *ratio < 1.0 { &low } else { &high };
            let name = names.iter().find(|v| absent(v))?;
            all.strange(like, *ratio, *name)
        })
        .collect()
}

/// Every stroke that would explain something at one of the places.
fn candidates(all: &Explanation, places: &[Place], ease: f64) -> Vec<Candidate> {
    let order = order(all);
    places
        .par_iter()
        .flat_map_iter(|place| at_place(all, &order, *place, ease))
        .collect()
}

fn order(all: &Explanation) -> Vec<usize> {
    let mut order: Vec<usize> = (0..all.notes.len()).collect();
    order.sort_by_key(|n| all.notes[*n].frame);
    order
}

fn at_place(all: &Explanation, order: &[usize], place: Place, ease: f64) -> Vec<Candidate> {
    let middle = place.frame.round() as isize;
    let Some(view) = View::of(all, order, middle) else {
        return Vec::new();
    };
    let own = view.own();
    let start: Vec<f32> = view
        .notes
        .iter()
        .map(|n| {
            let note = &all.notes[*n];
            note.gain.min(all.sources[note.source].usual)
        })
        .collect();
    let (before, gains) = view.solve(&own, &view.most, None, &start);
    let told = view.told(&own, &gains);
    let here: Vec<Voice> = view
        .notes
        .iter()
        .map(|n| &all.notes[*n])
        .filter(|n| n.step == place.step || (n.frame - middle).abs() <= BEFORE)
        .map(|n| all.sources[n.source].voice)
        .collect();
    let washed = here.iter().any(|v| washes(*v));
    let mut found = Vec::new();
    for (index, source) in all.sources.iter().enumerate() {
        let known = source.strange || source.written >= KNOWN;
        let taken = here.iter().any(|v| {
            *v == source.voice || matches!(family(*v), 0 | 3 | 4) && family(*v) == family(source.voice)
        });
        if !known || taken {
            continue;
        }
        let best = AROUND
            .iter()
            .map(|by| {
                let column = all.added(index, middle + by, view.from, LOOK);
                (view.promise(&column, &told), middle + by, column)
            })
            .max_by(|a, b| a.0.total_cmp(&b.0));
        let Some((promise, frame, column)) = best else {
            continue;
        };
        if promise * 4.0 < ease * EXPLAINS * share_of(all) {
            continue;
        }
        let mut columns = own.clone();
        columns.push(&column);
        let mut start = start.clone();
        start.push(0.5);
        let mut most = view.most.clone();
        most.push(STRONGEST * source.usual);
        let (after, gains) = view.solve(&columns, &most, None, &start);
        let gain = gains.last().copied().unwrap_or(0.0);
        let ease = if washed { ease * WASHED } else { ease };
        if enough(before, after, gain / source.usual, source.voice, all, ease) {
            found.push(Candidate {
                place,
                source: index,
                frame,
                gain,
                explains: before - after,
            });
        }
    }
    found
}

/// Hats and cymbals.
fn rings(voice: Voice) -> bool {
    matches!(family(voice), 3 | 4)
}

/// Cymbals whose attack is noise that is never twice the same.
fn washes(voice: Voice) -> bool {
    matches!(voice, Voice::Crash | Voice::Crash2 | Voice::Splash | Voice::China)
}

/// One side has half of the cells.
fn share_of(all: &Explanation) -> f64 {
    all.sound.sides() as f64 / 2.0
}

/// Whether a stroke explains enough, `ease` times what is asked.
fn enough(before: f64, after: f64, strength: f32, voice: Voice, all: &Explanation, ease: f64) -> bool {
    let (share, least, most) = if rings(voice) { METAL } else { DRUM };
    let explains = before - after;
    explains >= ease * EXPLAINS * share_of(all)
        && explains >= ease * share * (after + REMAINS * share_of(all))
        && (least..=most).contains(&strength)
}

/// Leaves one of the strangers, the one that explains most beyond what the study's own voices do.
fn keep_one_stranger(found: &mut Vec<Candidate>, all: &mut Explanation, strangers: &[usize]) {
    let beyond = |stranger: usize| -> f64 {
        found
            .iter()
            .filter(|c| c.source == stranger)
            .map(|c| (c.explains - familiar(found, all, c.place)).max(0.0))
            .sum()
    };
    let best = strangers
        .iter()
        .copied()
        .max_by(|a, b| beyond(*a).total_cmp(&beyond(*b)));
    found.retain(|c| !strangers.contains(&c.source) || Some(c.source) == best);
    for stranger in strangers.iter().filter(|s| Some(**s) != best) {
        all.sources[*stranger].strange = false;
    }
}

/// The most that a voice of the study explains at a place.
fn familiar(found: &[Candidate], all: &Explanation, place: Place) -> f64 {
    found
        .iter()
        .filter(|c| c.place == place && !all.sources[c.source].strange)
        .map(|c| c.explains)
        .fold(0.0, f64::max)
}

/// The best candidate of each place.
fn best_of_each(found: &[Candidate], all: &Explanation) -> Vec<Candidate> {
    let mut best: Vec<Candidate> = Vec::new();
    for candidate in found {
        let strange = all.sources[candidate.source].strange;
        let least = if strange {
            STRANGER.0 * familiar(found, all, candidate.place) + STRANGER.1
        } else {
            0.0
        };
        if candidate.explains < least {
            continue;
        }
        let here = best
            .iter_mut()
            .find(|b| (b.frame - candidate.frame).abs() <= NEAR);
        match here {
            Some(other) => {
                let stranger =
                    all.sources[other.source].strange && !strange && other.place == candidate.place;
                if candidate.explains > other.explains && !stranger {
                    *other = *candidate;
                }
            }
            None => best.push(*candidate),
        }
    }
    best
}

/// Takes back additions that no longer explain enough beside the others.
fn prune(all: &mut Explanation) {
    let order = order(all);
    let stays: Vec<bool> = (0..all.notes.len())
        .into_par_iter()
        .map(|n| {
            let note = &all.notes[n];
            if note.written.is_some() {
                return true;
            }
            let Some(view) = View::of(all, &order, note.frame) else {
                return false;
            };
            let Some(at) = view.notes.iter().position(|v| *v == n) else {
                return false;
            };
            let (with, without, gain) = with_and_without(all, &view, at);
            let source = &all.sources[note.source];
            let washed = view.notes.iter().any(|m| {
                let other = &all.notes[*m];
                other.step == note.step && washes(all.sources[other.source].voice)
            });
            let ease = if washed { WASHED } else { 1.0 };
            enough(without, with, gain / source.usual, source.voice, all, ease)
        })
        .collect();
    let before = all.notes.len();
    let mut stays = stays.iter();
    all.notes.retain(|_| stays.next().copied().unwrap_or(true));
    if all.notes.len() < before {
        all.fit(5);
    }
}

/// How strong each written note should be: as loud against its voice's others as in the study, as far as this take
/// follows the study's levels at all.
fn expected_gains(all: &Explanation, levels: &[f64]) -> Vec<f32> {
    let level = |n: &Note| n.written.and_then(|w| levels.get(w)).copied();
    let middles: Vec<f64> = (0..all.sources.len())
        .map(|s| {
            let own = all.notes.iter().filter(|n| n.source == s);
            super::curve::median(own.filter_map(level).collect())
        })
        .collect();
    let (mut up, mut down) = (0.0, 1e-9);
    for note in all.notes.iter().filter(|n| n.clear > 0.0 && n.gain > 0.1) {
        if let Some(level) = level(note) {
            let x = level - middles[note.source];
            let y = 20.0 * f64::from(note.gain / all.sources[note.source].usual).log10();
            up += x * y;
            down += x * x;
        }
    }
    let follows = (up / down).clamp(0.0, 1.0);
    all.notes
        .iter()
        .map(|note| {
            let under = level(note).map_or(0.0, |l| l - middles[note.source]);
            all.sources[note.source].usual * 10f64.powf(follows * under.clamp(-20.0, 6.0) / 20.0) as f32
        })
        .collect()
}

fn verdict(all: &Explanation, levels: &[f64]) -> Verdict {
    let order = order(all);
    let expected = expected_gains(all, levels);
    let judged: Vec<Judged> = (0..all.notes.len())
        .into_par_iter()
        .map(|n| finding(all, &order, n, expected[n]))
        .collect();
    let mut findings = vec![Finding::Untold; levels.len()];
    let mut strengths = vec![0.0; levels.len()];
    let mut added = Vec::new();
    for (note, judged) in all.notes.iter().zip(&judged) {
        let written = note
            .written
            .and_then(|w| Some((findings.get_mut(w)?, strengths.get_mut(w)?)));
        match written {
            Some((finding, strength)) => (*finding, *strength) = (judged.finding, judged.strength),
            None => added.push(Added {
                step: note.step,
                voice: all.sources[note.source].voice,
                gain: judged.explains,
            }),
        }
    }
    added.sort_by_key(|a| (a.step, a.voice));
    Verdict {
        findings,
        strengths,
        added,
    }
}

/// What became of a note, how much it explains, and how strong it is against what is expected.
struct Judged {
    finding: Finding,
    explains: f64,
    strength: f32,
}

impl Judged {
    const UNTOLD: Judged = Judged {
        finding: Finding::Untold,
        explains: 0.0,
        strength: 0.0,
    };
}

fn finding(all: &Explanation, order: &[usize], n: usize, expected: f32) -> Judged {
    let note = &all.notes[n];
    let Some(view) = View::of(all, order, note.frame) else {
        return Judged::UNTOLD;
    };
    let Some(at) = view.notes.iter().position(|v| *v == n) else {
        return Judged::UNTOLD;
    };
    let own = view.own();
    let gains: Vec<f32> = view.notes.iter().map(|n| all.notes[*n].gain).collect();
    let (with, fitted) = view.solve(&own, &view.most, None, &gains);
    let (rest, most, start) = without(&own, &view.most, &fitted, at);
    let (gone, _) = view.solve(&rest, &most, None, &start);
    let (soft, _) = view.solve(&rest, &most, Some((own[at], SOFT * expected)), &start);
    let (explains, would, gain) = (gone - with, soft - with, fitted[at]);
    let share = share_of(all);
    // Another drum at the same moment that nobody expected.
    let other = view
        .notes
        .iter()
        .filter(|m| all.notes[**m].written.is_none() && all.notes[**m].step == note.step)
        .map(|m| view.notes.iter().position(|v| v == m).unwrap_or(0))
        .map(|m| {
            let (rest, most, start) = without(&own, &view.most, &fitted, m);
            view.solve(&rest, &most, None, &start).0 - with
        })
        .fold(0.0, f64::max);
    let voice = all.sources[note.source].voice;
    // Hats and cymbals struck together pass for each other.
    let hidden = rings(voice)
        && view.notes.iter().any(|m| {
            let other = &all.notes[*m];
            let passes = rings(all.sources[other.source].voice) || other.written.is_none();
            *m != n && other.step == note.step && passes
        });
    let enough = if rings(voice) { WOULD_RING } else { WOULD };
    let enough = if hidden { WOULD_HIDDEN } else { enough };
    let silent = gain < SOFT * expected && would >= enough * share && explains < TRACE * would;
    let instead = would >= INSTEAD_WOULD * enough * share
        && explains < INSTEAD * other
        && gain < WEAK * expected
        && matches!(family(voice), 0 | 2);
    let finding = if silent {
        if hidden { Finding::Hidden } else { Finding::Gone }
    } else if instead && !hidden {
        Finding::Instead
    } else if explains >= THERE * share {
        Finding::There
    } else {
        Finding::Untold
    };
    Judged {
        finding,
        explains,
        strength: gain / expected.max(f32::MIN_POSITIVE),
    }
}
