//! The sound around one place of an attempt, explained with some strokes and without others.
//!
//! In: an [`Explanation`] and a frame. Out: how much remains unexplained with given strokes at their best gains. What still
//! rings from before is first corrected by how it was explained just before, and each cell is weighed by how loud it is, so
//! that a wash that is never twice the same does not speak louder than an attack.

use super::explain::{BEFORE, Explanation};

/// Frames looked at, 120 ms, and how near strokes share them, 60 ms.
pub(super) const LOOK: usize = 48;
pub(super) const NEAR: isize = 24;
/// Frames before a place by which what still rings is corrected, and by how much at most.
const RINGING: isize = 8;
const INTO: isize = 3;
const CORRECTED: (f32, f32) = (0.4, 2.5);
/// Keeps the weight of quiet cells finite, in means of their band.
const QUIET: f32 = 0.1;
/// Steps of fitting gains at one place.
const STEPS: usize = 20;

/// What is around a place.
pub(super) struct View<'a> {
    pub(super) from: isize,
    heard: &'a [f32],
    rest: Vec<f32>,
    weights: Vec<f32>,
    /// The notes near it.
    pub(super) notes: Vec<usize>,
    columns: Vec<Vec<f32>>,
    /// The most that each column's gain may be.
    pub(super) most: Vec<f32>,
}

impl<'a> View<'a> {
    pub(super) fn of(all: &Explanation<'a>, order: &[usize], frame: isize) -> Option<View<'a>> {
        let from = frame - BEFORE;
        let heard = all.sound.rows(from, LOOK)?;
        let told = all.told(from, LOOK)?;
        let near = order.partition_point(|n| all.notes[*n].frame < frame - NEAR);
        let notes: Vec<usize> = order
            .iter()
            .skip(near)
            .take_while(|n| all.notes[**n].frame <= frame + NEAR)
            .copied()
            .collect();
        let columns: Vec<Vec<f32>> = notes
            .iter()
            .map(|n| all.added(all.notes[*n].source, all.notes[*n].frame, from, LOOK))
            .collect();
        let most = notes
            .iter()
            .map(|n| all.sources[all.notes[*n].source].most)
            .collect();
        let mut rest = told.to_vec();
        for (column, note) in columns.iter().zip(&notes) {
            let gain = all.notes[*note].gain;
            rest.iter_mut().zip(column).for_each(|(r, c)| *r -= gain * c);
        }
        let width = all.sound.width();
        let (before, told_before) = (
            all.sound.rows(from - RINGING, (RINGING + INTO) as usize)?,
            all.told(from - RINGING, (RINGING + INTO) as usize)?,
        );
        let mut correction = vec![(0.05f32, 0.05f32); width];
        for (heard, told) in before.chunks(width).zip(told_before.chunks(width)) {
            for ((c, h), t) in correction.iter_mut().zip(heard).zip(told) {
                *c = (c.0 + h, c.1 + t);
            }
        }
        for row in rest.chunks_mut(width) {
            for (r, (h, t)) in row.iter_mut().zip(&correction) {
                *r = r.max(1e-4) * (h / t).clamp(CORRECTED.0, CORRECTED.1);
            }
        }
        let weights = told
            .iter()
            .zip(heard)
            .map(|(t, h)| 2.0 / (t + h + QUIET))
            .collect();
        Some(View {
            from,
            heard,
            rest,
            weights,
            notes,
            columns,
            most,
        })
    }

    /// What remains unexplained with these columns at their best gains, and the gains.
    pub(super) fn solve(
        &self,
        columns: &[&[f32]],
        most: &[f32],
        held: Option<(&[f32], f32)>,
        start: &[f32],
    ) -> (f64, Vec<f32>) {
        let mut base = self.rest.clone();
        if let Some((column, gain)) = held {
            base.iter_mut().zip(column).for_each(|(b, c)| *b += gain * c);
        }
        let mut gains: Vec<f32> = start.iter().map(|g| g.max(0.01)).collect();
        let sums: Vec<f32> = columns
            .iter()
            .map(|c| c.iter().zip(&self.weights).map(|(c, w)| c * w).sum::<f32>() + 1e-9)
            .collect();
        let mut told = base.clone();
        for step in 0..=STEPS {
            told.copy_from_slice(&base);
            for (column, gain) in columns.iter().zip(&gains) {
                told.iter_mut().zip(*column).for_each(|(t, c)| *t += gain * c);
            }
            if step == STEPS || columns.is_empty() {
                break;
            }
            told.iter_mut()
                .zip(self.heard)
                .zip(&self.weights)
                .for_each(|((t, h), w)| *t = w * h / *t);
            for (((column, gain), sum), most) in columns.iter().zip(&mut gains).zip(&sums).zip(most) {
                let up: f32 = column.iter().zip(&told).map(|(c, q)| c * q).sum();
                *gain = (*gain * up / sum).min(*most);
            }
        }
        let misfit = self
            .heard
            .iter()
            .zip(&told)
            .zip(&self.weights)
            .map(|((h, t), w)| f64::from(w * (h * (h / t).ln() - h + t)))
            .sum();
        (misfit, gains)
    }

    pub(super) fn own(&self) -> Vec<&[f32]> {
        self.columns.iter().map(Vec::as_slice).collect()
    }

    /// Roughly how much a column could explain beside what is told: Newton's step from nothing.
    pub(super) fn promise(&self, column: &[f32], told: &[f32]) -> f64 {
        let (mut slope, mut bend) = (0.0f32, 0.0f32);
        for (((c, t), h), w) in column.iter().zip(told).zip(self.heard).zip(&self.weights) {
            let share = h / t;
            slope += w * c * (share - 1.0);
            bend += w * c * c * share / t;
        }
        if slope > 0.0 && bend > 0.0 {
            f64::from(slope * slope / bend) / 2.0
        } else {
            0.0
        }
    }

    pub(super) fn told(&self, columns: &[&[f32]], gains: &[f32]) -> Vec<f32> {
        let mut told = self.rest.clone();
        for (column, gain) in columns.iter().zip(gains) {
            told.iter_mut().zip(*column).for_each(|(t, c)| *t += gain * c);
        }
        told
    }
}

/// With and without one of the notes of a view: what each leaves unexplained, and its gain.
pub(super) fn with_and_without(all: &Explanation, view: &View, at: usize) -> (f64, f64, f32) {
    let own = view.own();
    let gains: Vec<f32> = view.notes.iter().map(|n| all.notes[*n].gain).collect();
    let (with, fitted) = view.solve(&own, &view.most, None, &gains);
    let (rest, most, start) = without(&own, &view.most, &fitted, at);
    let (without, _) = view.solve(&rest, &most, None, &start);
    (with, without, fitted.get(at).copied().unwrap_or(0.0))
}

/// Columns, bounds and gains without one of them.
pub(super) fn without<'c>(
    own: &[&'c [f32]],
    most: &[f32],
    gains: &[f32],
    at: usize,
) -> (Vec<&'c [f32]>, Vec<f32>, Vec<f32>) {
    let keep = |i: &usize| *i != at;
    (
        (0..own.len()).filter(keep).map(|i| own[i]).collect(),
        (0..most.len()).filter(keep).map(|i| most[i]).collect(),
        (0..gains.len()).filter(keep).map(|i| gains[i]).collect(),
    )
}
