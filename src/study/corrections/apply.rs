//! The corrections put onto what the program has found afresh.
//!
//! First every row of the program's that a correction knows takes its fresh hit: nearest first, same voice (as the
//! last run called it), at most [`SAME_STROKE`] away. Then a fresh hit that nobody knew and that is what the player said all along is taken for
//! the player's row, so that a better program does not write it twice. What is left is the program's own.

use std::ops::RangeInclusive;

use super::super::Stroke;
use super::super::pairs::pairs;
use super::super::sheet::{Row, Sheet};
use super::super::tick::Tick;
use super::merge::rounding;
use super::{Correction, Corrections, Edit, Found, SAME_STROKE, Written};
use crate::names::Limb;
use crate::units::{Decibels, Seconds};
use crate::voices::Hit;

impl Corrections {
    /// Puts the player's times, voices, marks, deletions and additions onto the hits found in the stretch from
    /// `stretch.start()` to `stretch.end()` of the recording, both sorted by time. Corrected hits are sure.
    /// Corrections outside the stretch wait. All times are rounded to the five decimals of the files, so that what
    /// later stages make of them is what they would make of the study read back.
    pub fn apply_hits(&mut self, hits: Vec<Hit>, stretch: &RangeInclusive<Seconds>) -> Vec<Hit> {
        self.sort_out(&hits);
        let mut taken: Vec<bool> = vec![false; hits.len()];
        let bases = self.claim(&hits, &mut taken);
        self.mark_in_force(&bases, stretch);
        self.absorb(&hits, &bases, &mut taken);
        let mut result: Vec<Hit> = Vec::with_capacity(hits.len());
        // In the order in which rows of one time and voice are told apart later.
        for at in self.by_stroke().into_values().flatten() {
            let base = bases.get(at).copied().flatten().and_then(|base| hits.get(base));
            result.extend(
                self.strokes
                    .get(at)
                    .and_then(|correction| correction.hit(base, &hits)),
            );
        }
        result.extend(
            hits.iter()
                .zip(&taken)
                .filter(|(_, taken)| !**taken)
                .map(|(hit, _)| *hit),
        );
        for hit in &mut result {
            hit.time = Tick::of(hit.time).seconds();
            hit.grace = hit.grace.map(|grace| Tick::of_grace(grace).seconds().to_millis());
        }
        result.sort_by_key(|hit| (Tick::of(hit.time), hit.voice));
        result
    }

    /// Puts the player's limbs, layers and marks onto the strokes that the corrected hits have become.
    pub fn apply_rows(&mut self, strokes: &mut [Stroke]) {
        self.apply_limbs(strokes);
        self.sort_out_rows(strokes);
        let behind = self.behind(strokes.iter().map(|s| Written::of(s).found()));
        for (stroke, at) in strokes.iter_mut().zip(behind) {
            let Some(edit) = at
                .and_then(|at| self.strokes.get(at))
                .and_then(|c| c.row.as_ref())
            else {
                continue;
            };
            stroke.limb = edit.limb.unwrap_or(stroke.limb);
            stroke.layer = edit.layer.unwrap_or(stroke.layer);
            edit.mark(&mut stroke.hit);
            if edit.vouches() {
                stroke.hit.sure = 1.0;
            }
        }
    }

    /// The limbs that the player named, stroke by stroke or for a whole group, in the order of the strokes.
    pub fn named(&self, strokes: &[Stroke]) -> Vec<Option<Limb>> {
        let behind = self.behind(strokes.iter().map(|s| Written::of(s).found()));
        let named = |at: Option<usize>| self.strokes.get(at?)?.row.as_ref()?.limb.flatten();
        let both = |(at, stroke)| named(at).or_else(|| self.limb_of_group(stroke));
        behind.into_iter().zip(strokes).map(both).collect()
    }

    /// Whether the player says anything that limbs and layers of other strokes follow from.
    pub fn says_who_plays(&self) -> bool {
        let rows = self
            .strokes
            .iter()
            .filter_map(|correction| correction.row.as_ref());
        let in_rows = rows
            .into_iter()
            .any(|edit| edit.limb.is_some() || edit.layer.is_some() || edit.mark.is_some());
        in_rows || self.gives_limbs()
    }

    /// For each correction the fresh hit that it is about, if there is one. The rows it knows move with their hits.
    fn claim(&mut self, hits: &[Hit], taken: &mut [bool]) -> Vec<Option<usize>> {
        let known: Vec<(usize, usize, Found)> = (self.strokes.iter().enumerate())
            .flat_map(|(at, c)| {
                c.instead_of
                    .iter()
                    .enumerate()
                    .map(move |(k, found)| (at, k, *found))
            })
            .collect();
        let times: Vec<Tick> = known.iter().map(|(.., found)| found.time).collect();
        let fresh = ticks(hits);
        let was: Vec<_> = hits.iter().map(|hit| self.was(hit)).collect();
        let cost = |l: usize, r: usize| (known[l].2.voice == was[r]).then(|| times[l].apart(fresh[r]));
        let mut named = vec![false; known.len()];
        let mut bases = vec![None; self.strokes.len()];
        for (l, r) in pairs(&times, &fresh, SAME_STROKE, cost) {
            let (at, k, _) = known[l];
            taken[r] = true;
            let rows = &mut self.strokes[at].instead_of;
            rows[k] = Found {
                time: fresh[r],
                voice: hits[r].voice,
            };
            named[l] = true;
            if bases[at].is_none() {
                bases[at] = Some((k, r));
            }
        }
        for ((at, k, found), _) in known.iter().zip(named).filter(|(_, named)| !named) {
            self.strokes[*at].instead_of[*k].voice = self.renamed(found.voice);
        }
        for (correction, base) in self.strokes.iter_mut().zip(&bases) {
            if let Some((k, _)) = base {
                correction.instead_of.swap(0, *k);
            }
        }
        bases.iter().map(|base| base.map(|(_, r)| r)).collect()
    }

    fn mark_in_force(&mut self, bases: &[Option<usize>], stretch: &RangeInclusive<Seconds>) {
        for (correction, base) in self.strokes.iter_mut().zip(bases) {
            let place = correction.stroke().or(correction.instead_of.first().copied());
            let moved = correction.row.as_ref().is_some_and(|edit| edit.time.is_some());
            let heard = base.is_some() && !moved;
            let inside = heard || place.is_some_and(|found| stretch.contains(&found.time.seconds()));
            let vouches = correction.row.as_ref().is_none_or(Edit::vouches);
            correction.in_force = inside && (base.is_some() || vouches);
        }
    }

    /// Lets each row that the player placed take up one fresh hit of its voice that no correction knew.
    fn absorb(&mut self, hits: &[Hit], bases: &[Option<usize>], taken: &mut [bool]) {
        let placed: Vec<(usize, Found)> = (self.strokes.iter().enumerate())
            .filter(|(at, c)| c.in_force && (bases[*at].is_none() || c.row.as_ref().is_some_and(Edit::moves)))
            .filter_map(|(at, c)| Some((at, c.stroke()?)))
            .collect();
        let free: Vec<usize> = (0..hits.len()).filter(|at| !taken[*at]).collect();
        let times: Vec<Tick> = placed.iter().map(|(_, found)| found.time).collect();
        let fresh: Vec<Tick> = free.iter().map(|at| Tick::of(hits[*at].time)).collect();
        let cost =
            |l: usize, r: usize| (placed[l].1.voice == hits[free[r]].voice).then(|| times[l].apart(fresh[r]));
        for (l, r) in pairs(&times, &fresh, SAME_STROKE, cost) {
            taken[free[r]] = true;
            self.strokes[placed[l].0].instead_of.push(Found {
                time: fresh[r],
                voice: placed[l].1.voice,
            });
        }
    }

    /// Tells the player's word from the program's in a file whose study was lost, by what the program finds now:
    /// rows that it finds as well are its own. Between its first and its last row the file is complete.
    fn sort_out(&mut self, hits: &[Hit]) {
        let Some(sheet) = self.unsorted.take() else { return };
        // What follows is told by the names of this run, whatever the lost one called them.
        self.kit.names_are_new();
        let silent = |row: &Row| Row {
            limb: None,
            layer: None,
            ..row.clone()
        };
        let rows: Vec<Row> = sheet.rows.iter().map(silent).collect();
        let covers = |time: Tick| {
            let after = rows.first().is_some_and(|row| row.time <= time.plus(SAME_STROKE));
            after && rows.last().is_some_and(|row| row.time >= time.minus(SAME_STROKE))
        };
        let program: Vec<Written> = (hits.iter())
            .map(|hit| {
                let grace = hit.grace.map(Tick::of_grace);
                Written(Tick::of(hit.time), hit.voice, None, None, hit.mark, grace)
            })
            .filter(|written| covers(written.0))
            .collect();
        *self = std::mem::take(self).merge(
            &program,
            &Sheet {
                rows,
                ..sheet.clone()
            },
        );
        self.unsorted = Some(sheet);
    }

    /// The same for limbs and layers, which are known later than the hits.
    fn sort_out_rows(&mut self, strokes: &[Stroke]) {
        let Some(Sheet { rows, decimals, .. }) = self.unsorted.take() else {
            return;
        };
        let founds: Vec<Found> = strokes.iter().map(|s| Written::of(s).found()).collect();
        let behind = self.behind(founds.iter().copied());
        let left: Vec<Tick> = rows.iter().map(|row| row.time).collect();
        let right: Vec<Tick> = founds.iter().map(|found| found.time).collect();
        let cost = |l: usize, r: usize| (rows[l].voice == founds[r].voice).then(|| left[l].apart(right[r]));
        for (l, r) in pairs(&left, &right, rounding(decimals), cost) {
            let limb = rows[l]
                .limb
                .filter(|limb| limb.is_some() && *limb != strokes[r].limb);
            let layer = rows[l]
                .layer
                .filter(|layer| layer.is_some() && *layer != strokes[r].layer);
            if limb.is_none() && layer.is_none() {
                continue;
            }
            let at = behind[r].unwrap_or_else(|| {
                let mut correction = Correction::of(vec![founds[r]], Some(Edit::default()));
                correction.in_force = true;
                self.strokes.push(correction);
                self.strokes.len() - 1
            });
            if let Some(edit) = &mut self.strokes[at].row {
                (edit.limb, edit.layer) = (limb.or(edit.limb), layer.or(edit.layer));
            }
        }
    }
}

impl Correction {
    /// The hit that the player's row stands for: the fresh one with the player's word put onto it, or a new one.
    fn hit(&self, base: Option<&Hit>, hits: &[Hit]) -> Option<Hit> {
        let (edit, stroke) = (self.row.as_ref()?, self.stroke()?);
        let time = stroke.time.seconds();
        let mut hit = base.copied().unwrap_or_else(|| Hit {
            time,
            voice: stroke.voice,
            level: level_at(stroke, hits),
            mark: None,
            grace: None,
            sure: 1.0,
        });
        hit.voice = stroke.voice;
        edit.mark(&mut hit);
        if edit.time.is_some() {
            hit.time = time;
        }
        if edit.vouches() {
            hit.sure = 1.0;
        }
        Some(hit)
    }
}

/// A level for a stroke that the program did not hear: that of what sounds at the same moment, else the middle one of
/// its voice, else of all.
fn level_at(stroke: Found, hits: &[Hit]) -> Decibels {
    let apart = |hit: &&Hit| Tick::of(hit.time).apart(stroke.time);
    if let Some(hit) = hits
        .iter()
        .min_by_key(apart)
        .filter(|hit| apart(hit) <= SAME_STROKE)
    {
        return hit.level;
    }
    let middle = |of: &dyn Fn(&Hit) -> bool| {
        let mut levels: Vec<f64> = hits.iter().filter(|hit| of(hit)).map(|hit| hit.level.0).collect();
        levels.sort_by(f64::total_cmp);
        levels.get(levels.len() / 2).copied()
    };
    let same_voice = middle(&|hit| hit.voice == stroke.voice);
    Decibels(same_voice.or_else(|| middle(&|_| true)).unwrap_or(0.0))
}

fn ticks(hits: &[Hit]) -> Vec<Tick> {
    hits.iter().map(|hit| Tick::of(hit.time)).collect()
}
