//! What the ears have to say about a [`Verdict`] on the sound.
//!
//! In: a verdict, the strokes that were heard and how they pair with those expected. Out: the verdict, mended where the
//! ears are sure and the sound alone is deceived: drums that sound together are explained by a third one now and then, a
//! drum struck in place of another is explained by both, and hats and cymbals struck together pass for each other.

use super::compare::{Expected, Pairs};
use super::follow::family;
use super::judge::{Added, Finding, Verdict};
use crate::listen::{FRAME, Heard};
use crate::names::Voice;
use crate::voices::{Hit, sound};

/// What the ears heard so surely and so near (s) to where it is due is not gone, whatever the explanation says.
const SURE: f64 = 0.9;
const IN_TIME: f64 = 0.012;
/// A hat or cymbal that they did not hear and found less likely than this is gone where the explanation has it in its
/// place, but weaker than usual; where it cannot tell, it must have as good as nothing of it.
const NEVER: f32 = 0.02;
const USUAL: f32 = 1.0;
const NOTHING: f32 = 0.1;
/// What seemed more likely than this to the ears is not gone, even where they heard no stroke.
const POSSIBLE: f32 = 0.7;
/// Frames on either side of a place in which a stroke there is heard.
const NEAR: isize = 3;
/// What the ears heard as surely as this they heard; where that is all …
const HEARD: f64 = 0.6;
/// … nothing else is heard within this (s) of a place where all that was heard is written.
const APART: f64 = 0.05;
/// A drum that the ears did not hear was not struck when they heard another one in its place as surely as this …
const INSTEAD: f64 = 0.8;
/// … when it seemed less likely to them than this,
const UNLIKELY: f32 = 0.06;
/// … and what sounds of it is weaker than this share of what is usual; of two toms, whose names the ears take for each
/// other on a strange kit, than this.
const WEAK: f32 = 0.7;
const WEAK_TOM: f32 = 0.3;

/// How likely the ears found it that this voice begins near `due` (s), 0 to 1.
pub(super) fn likely(heard: &Heard, voice: Voice, due: f64) -> f32 {
    let middle = ((due - heard.time_of(0).0) / FRAME.0).round() as isize;
    (middle - NEAR..=middle + NEAR)
        .filter_map(|k| usize::try_from(k).ok())
        .map(|k| heard.at(k, sound(voice)))
        .fold(0.0, f32::max)
}

/// Mends a verdict: what was never struck, what was struck instead of something else and besides, then what is in its place surely and what was
/// not added; what neither has heard is gone.
pub(super) fn believe(
    verdict: &mut Verdict,
    hits: &[Hit],
    written: &[Expected],
    pairs: &Pairs,
    odds: &[f32],
) {
    never_struck(verdict, written, pairs, odds);
    let spare = struck_instead(verdict, hits, written, pairs, odds);
    let sure: Vec<bool> = (written.iter().zip(&pairs.due).zip(&pairs.partner))
        .map(|((expected, due), partner)| {
            let hit = partner.and_then(|h| hits.get(h));
            hit.is_some_and(|hit| hit.voice == expected.voice && hit.sure >= SURE && in_time(hit, *due))
        })
        .collect();
    nothing_besides(verdict, hits, written, pairs);
    struck_besides(verdict, &spare, written, pairs);
    let added: Vec<i64> = verdict.added.iter().map(|added| added.step).collect();
    for (((finding, expected), sure), odds) in verdict.findings.iter_mut().zip(written).zip(&sure).zip(odds) {
        let doubted = *finding == Finding::Gone && !added.contains(&expected.step);
        if *sure && (doubted || *finding == Finding::Instead) || *odds > POSSIBLE && doubted {
            *finding = Finding::Untold;
        }
    }
    for (finding, partner) in verdict.findings.iter_mut().zip(&pairs.partner) {
        if *finding == Finding::Hidden {
            *finding = if partner.is_some() {
                Finding::Untold
            } else {
                Finding::Gone
            };
        }
    }
}

/// Hats and cymbals that the ears neither heard nor think possible, and that the explanation is not full of, are gone: a
/// bell that rings explains pedal hats. What sounds where a drum is missing is most often another drum that passes for it.
fn never_struck(verdict: &mut Verdict, written: &[Expected], pairs: &Pairs, odds: &[f32]) {
    let heard = pairs.partner.iter().map(Option::is_some);
    let found = verdict.findings.iter_mut().zip(&verdict.strengths);
    for ((((finding, strength), expected), heard), odds) in found.zip(written).zip(heard).zip(odds) {
        let most = match finding {
            Finding::There => USUAL,
            Finding::Untold => NOTHING,
            _ => continue,
        };
        if !drum(expected.voice) && !heard && *odds < NEVER && *strength < most {
            *finding = Finding::Gone;
        }
    }
}

fn in_time(hit: &Hit, due: f64) -> bool {
    (hit.time.0 - due).abs() <= IN_TIME
}

/// Where the ears missed a drum and heard another one in its place, that one was struck instead. Its name is the ears'
/// unless the sound has added one of its kind. What else was heard comes back.
fn struck_instead<'h>(
    verdict: &mut Verdict,
    hits: &'h [Hit],
    written: &[Expected],
    pairs: &Pairs,
    odds: &[f32],
) -> Vec<&'h Hit> {
    let mut spare: Vec<&Hit> = pairs.spare.iter().filter_map(|h| hits.get(*h)).collect();
    for (at, (expected, due)) in written.iter().zip(&pairs.due).enumerate() {
        let heard = pairs.partner.get(at).is_some_and(Option::is_some);
        let strength = verdict.strengths.get(at).copied().unwrap_or(0.0);
        let unlikely = odds.get(at).is_some_and(|odds| *odds < UNLIKELY);
        let gone = verdict.findings.get(at).is_some_and(|f| f.gone());
        if heard || !drum(expected.voice) {
            continue;
        }
        let weak = |hit: &Hit| match (family(hit.voice), family(expected.voice)) {
            (2, 2) => strength < WEAK_TOM,
            (a, b) => a != b && unlikely && (gone || strength < WEAK),
        };
        let nearest = (spare.iter().enumerate())
            .filter(|(_, hit)| drum(hit.voice) && hit.voice != expected.voice)
            .filter(|(_, hit)| hit.sure >= INSTEAD && in_time(hit, *due) && weak(hit))
            .min_by(|a, b| (a.1.time.0 - due).abs().total_cmp(&(b.1.time.0 - due).abs()));
        let Some((nearest, _)) = nearest else {
            continue;
        };
        let hit = spare.remove(nearest);
        if let Some(finding) = verdict.findings.get_mut(at) {
            *finding = Finding::Gone;
        }
        put(&mut verdict.added, expected.step, hit.voice);
    }
    verdict.added.sort_by_key(|a| (a.step, a.voice));
    spare
}

/// A drum that was heard in its place, of a kind that nothing written there has, was added, where the sound has not added
/// something itself.
fn struck_besides(verdict: &mut Verdict, spare: &[&Hit], written: &[Expected], pairs: &Pairs) {
    for hit in spare.iter().filter(|h| drum(h.voice) && h.sure >= INSTEAD) {
        let near = || {
            written
                .iter()
                .zip(&pairs.due)
                .filter(|(_, due)| in_time(hit, **due))
        };
        let Some(step) = near().map(|(e, _)| e.step).next() else {
            continue;
        };
        let here = || written.iter().filter(|e| e.step == step);
        let alike = here().any(|e| family(e.voice) == family(hit.voice));
        if !alike && verdict.added.iter().all(|a| a.step != step) {
            put(&mut verdict.added, step, hit.voice);
        }
    }
    verdict.added.sort_by_key(|a| (a.step, a.voice));
}

/// Kicks, snares and toms.
fn drum(voice: Voice) -> bool {
    matches!(family(voice), 0..=2)
}

/// Puts a drum among those added on a step, in place of the one that explains most, unless one of its kind is there.
fn put(added: &mut Vec<Added>, step: i64, voice: Voice) {
    let here = || added.iter().enumerate().filter(|(_, a)| a.step == step);
    if here().any(|(_, a)| family(a.voice) == family(voice)) {
        return;
    }
    let most = here()
        .max_by(|a, b| a.1.gain.total_cmp(&b.1.gain))
        .map(|(at, a)| (at, a.gain));
    match most {
        Some((at, gain)) => added[at] = Added { step, voice, gain },
        None => added.push(Added {
            step,
            voice,
            gain: 0.0,
        }),
    }
}

/// Where the ears heard all that is written and nothing besides, nothing was added.
fn nothing_besides(verdict: &mut Verdict, hits: &[Hit], written: &[Expected], pairs: &Pairs) {
    let spare = |due: f64| {
        let mut spare = pairs.spare.iter().filter_map(|h| hits.get(*h));
        spare.any(|hit| (hit.time.0 - due).abs() <= APART)
    };
    let heard = |(expected, partner): (&Expected, &Option<usize>)| {
        let hit = partner.and_then(|h| hits.get(h));
        hit.is_some_and(|hit| hit.voice == expected.voice && hit.sure >= HEARD)
    };
    verdict.added.retain(|added| {
        let own = || {
            let all = written.iter().zip(&pairs.partner).zip(&pairs.due);
            all.filter(|((e, _), _)| e.step == added.step)
        };
        own().count() == 0 || own().any(|(stroke, due)| !heard(stroke) || spare(*due))
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Decibels, Seconds};

    /// A verdict on one step: what is written there, with what was found of it and how strong; what was heard, each with
    /// how sure; what the sound added. The verdict after the ears: findings, and voices added.
    fn mended(
        written: &[(Voice, Finding, f32)],
        heard: &[(Voice, f64)],
        added: &[Voice],
    ) -> (Vec<Finding>, Vec<Voice>) {
        mended_at(0.04, written, heard, added)
    }

    /// The same where the ears found each expected stroke so likely.
    fn mended_at(
        odds: f32,
        written: &[(Voice, Finding, f32)],
        heard: &[(Voice, f64)],
        added: &[Voice],
    ) -> (Vec<Finding>, Vec<Voice>) {
        let expected: Vec<Expected> = written
            .iter()
            .map(|(voice, ..)| Expected {
                step: 8,
                voice: *voice,
                limb: None,
                layer: None,
                level: 0.0,
            })
            .collect();
        let hits: Vec<Hit> = heard
            .iter()
            .map(|(voice, sure)| Hit {
                time: Seconds(1.002),
                voice: *voice,
                level: Decibels(-3.0),
                mark: None,
                grace: None,
                sure: *sure,
            })
            .collect();
        let partner: Vec<Option<usize>> = written
            .iter()
            .map(|(voice, ..)| hits.iter().position(|h| h.voice == *voice))
            .collect();
        let spare = (0..hits.len()).filter(|h| !partner.contains(&Some(*h))).collect();
        let pairs = Pairs {
            due: vec![1.0; written.len()],
            partner,
            spare,
            metronome: false,
        };
        let odds = vec![odds; written.len()];
        let gain = 100.0;
        let mut verdict = Verdict {
            findings: written.iter().map(|w| w.1).collect(),
            strengths: written.iter().map(|w| w.2).collect(),
            added: added
                .iter()
                .map(|voice| Added {
                    step: 8,
                    voice: *voice,
                    gain,
                })
                .collect(),
        };
        believe(&mut verdict, &hits, &expected, &pairs, &odds);
        (verdict.findings, verdict.added.iter().map(|a| a.voice).collect())
    }

    use Finding::{Gone, Hidden, Instead, There, Untold};
    use Voice::{HatFoot, Kick, RideBell, Snare, Snare2, TomFloor, TomMid};

    #[test]
    fn a_drum_heard_in_place_of_a_weak_one_was_struck_instead() {
        let one = |strength, sure| mended(&[(Kick, There, strength)], &[(TomMid, sure)], &[]);
        assert_eq!(one(0.5, 0.95), (vec![Gone], vec![TomMid]));
        // Too strong, or not surely heard: the kick stays; a tom surely heard is added.
        assert_eq!(one(0.9, 0.95), (vec![There], vec![TomMid]));
        assert_eq!(one(0.5, 0.7), (vec![There], vec![]));
        // The sound knows better which tom it is, and less well that it is one.
        let kick = [(Kick, There, 0.5)];
        let named = mended(&kick, &[(TomMid, 0.95)], &[TomFloor]);
        assert_eq!(named, (vec![Gone], vec![TomFloor]));
        let named = mended(&[(TomMid, There, 0.2)], &[(TomFloor, 0.95)], &[Kick]);
        assert_eq!(named, (vec![Gone], vec![TomFloor]));
        // Two snares pass for each other.
        let snares = mended(&[(Snare2, There, 0.5)], &[(Snare, 0.99)], &[]);
        assert_eq!(snares, (vec![There], vec![]));
    }

    #[test]
    fn what_seemed_possible_is_not_gone() {
        let one = |odds| mended_at(odds, &[(Snare, Gone, 0.1)], &[], &[]).0;
        assert_eq!(one(0.8), vec![Untold]);
        assert_eq!(one(0.5), vec![Gone]);
        // Nor was another drum struck instead of it.
        let instead = |odds| mended_at(odds, &[(Snare, There, 0.3)], &[(TomMid, 0.95)], &[]);
        assert_eq!(instead(0.04), (vec![Gone], vec![TomMid]));
        assert_eq!(instead(0.1), (vec![There], vec![TomMid]));
    }

    #[test]
    fn what_neither_ears_nor_sound_have_is_gone() {
        let one = |odds, finding, strength| mended_at(odds, &[(RideBell, finding, strength)], &[], &[]).0;
        assert_eq!(one(0.01, There, 0.9), vec![Gone]);
        assert_eq!(one(0.04, There, 0.9), vec![There]);
        assert_eq!(one(0.01, There, 1.2), vec![There]);
        assert_eq!(one(0.01, Untold, 0.05), vec![Gone]);
        assert_eq!(one(0.01, Untold, 0.3), vec![Untold]);
        assert_eq!(mended_at(0.01, &[(Kick, There, 0.9)], &[], &[]).0, vec![There]);
        let heard = mended_at(0.01, &[(RideBell, Untold, 0.0)], &[(RideBell, 0.5)], &[]).0;
        assert_eq!(heard, vec![Untold]);
    }

    #[test]
    fn nothing_is_added_where_all_was_heard_and_nothing_else() {
        let both = [(Kick, There, 1.0), (Snare, There, 1.0)];
        let heard = [(Kick, 0.95), (Snare, 0.95)];
        assert_eq!(mended(&both, &heard, &[TomFloor]).1, vec![]);
        let unsure = [(Kick, 0.95), (Snare, 0.5)];
        assert_eq!(mended(&both, &unsure, &[TomFloor]).1, vec![TomFloor]);
        let more = [(Kick, 0.95), (Snare, 0.95), (TomMid, 0.6)];
        assert_eq!(mended(&both, &more, &[TomFloor]).1, vec![TomFloor]);
    }

    #[test]
    fn what_was_heard_surely_is_not_gone() {
        let of = |finding, added: &[Voice]| mended(&[(Kick, finding, 0.1)], &[(Kick, 0.95)], added).0;
        assert_eq!(of(Gone, &[]), vec![Untold]);
        // Something else was heard as well: that may have been struck instead.
        let with = [(Kick, 0.95), (TomMid, 0.7)];
        assert_eq!(mended(&[(Kick, Gone, 0.1)], &with, &[TomFloor]).0, vec![Gone]);
        assert_eq!(of(Instead, &[TomFloor]), vec![Untold]);
        assert_eq!(mended(&[(Kick, Gone, 0.1)], &[(Kick, 0.8)], &[]).0, vec![Gone]);
    }

    #[test]
    fn a_hidden_cymbal_is_gone_when_it_was_not_heard() {
        let both = [(HatFoot, There, 1.0), (RideBell, Hidden, 0.0)];
        assert_eq!(mended(&both, &[(HatFoot, 0.9)], &[]).0, vec![There, Gone]);
        let heard = [(HatFoot, 0.9), (RideBell, 0.5)];
        assert_eq!(mended(&both, &heard, &[]).0, vec![There, Untold]);
    }
}
