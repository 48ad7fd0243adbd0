//! The tempo of an attempt as a smooth curve, and how late every voice comes after it.
//!
//! In: strokes with the time at which they were struck, the step on which they belong, and their voice. Out: the time of
//! any step, and a constant offset for each voice, so that a foot that is always late neither bends the curve nor counts
//! as unsteady (TRADE 5). The curve is a spline of straight pieces from beat to beat whose bends are held small
//! (smoothing as in **[P: E. T. Whittaker, "On a new method of graduation", Proceedings of the Edinburgh Mathematical
//! Society 41, 1923]**), fitted again and again with less weight for what lies far off.

use crate::names::Voice;

/// A stroke with its time and its step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    /// When it was struck, seconds.
    pub(super) time: f64,
    /// Where it belongs, steps.
    pub(super) step: f64,
    /// What was struck.
    pub(super) voice: Voice,
}

/// How much a change of the bend costs against a stroke off the curve. A tempo that rises or falls steadily bends the
/// curve and costs nothing; only what comes suddenly does [M].
const STIFF: f64 = 200.0;
/// What is held small: third differences of the knots.
const BEND: [f64; SIDES + 1] = [-1.0, 3.0, -3.0, 1.0];
/// Diagonals beside the middle one.
const SIDES: usize = 3;
/// Strokes further off than this (s) hardly count.
const FAR: f64 = 0.03;
const ROUNDS: usize = 8;

/// Times of steps, and offsets of voices.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Curve {
    first: f64,
    per_beat: f64,
    /// Times of the knots, one a beat.
    knots: Vec<f64>,
    /// How late each voice comes after the curve, seconds.
    offsets: Vec<(Voice, f64)>,
}

impl Curve {
    /// Fits the curve; `None` for fewer than three strokes.
    pub(super) fn fit(points: &[Point], per_beat: f64) -> Option<Curve> {
        let steps = points.iter().map(|p| p.step);
        let (low, high) = (
            steps.clone().fold(f64::INFINITY, f64::min),
            steps.fold(f64::NEG_INFINITY, f64::max),
        );
        if points.len() < 3 || high.is_nan() || low.is_nan() || high <= low || per_beat < 1.0 {
            return None;
        }
        let count = ((high - low) / per_beat).ceil() as usize + 2;
        let mut curve = Curve {
            first: low,
            per_beat,
            knots: vec![0.0; count],
            offsets: Voice::ALL.iter().map(|v| (*v, 0.0)).collect(),
        };
        let mut weights = vec![1.0; points.len()];
        for _ in 0..ROUNDS {
            curve.knots = curve.solve(points, &weights);
            curve.set_offsets(points);
            for (weight, point) in weights.iter_mut().zip(points) {
                let off = (curve.late(point) - curve.offset(point.voice)) / FAR;
                *weight = 1.0 / (1.0 + off * off).powi(2);
            }
        }
        Some(curve)
    }

    /// The time at which a step falls, seconds.
    pub(super) fn time(&self, step: f64) -> f64 {
        let (index, share) = self.place(step);
        let at = |i: usize| self.knots.get(i).copied().unwrap_or_default();
        at(index) + (at(index + 1) - at(index)) * share
    }

    /// How late a stroke comes after the curve, seconds.
    pub(super) fn late(&self, point: &Point) -> f64 {
        point.time - self.time(point.step)
    }

    /// How late a voice comes as a rule, seconds.
    pub(super) fn offset(&self, voice: Voice) -> f64 {
        self.offsets
            .iter()
            .find(|(v, _)| *v == voice)
            .map_or(0.0, |(_, o)| *o)
    }

    /// The knot before a step, and how far it lies between that and the next.
    fn place(&self, step: f64) -> (usize, f64) {
        let beats = (step - self.first) / self.per_beat;
        let index = (beats.floor().max(0.0) as usize).min(self.knots.len().saturating_sub(2));
        (index, beats - index as f64)
    }

    /// Each voice's median distance; the median over all strokes is no offset but the curve itself.
    fn set_offsets(&mut self, points: &[Point]) {
        let own = |voice: Voice| {
            median(
                points
                    .iter()
                    .filter(|p| p.voice == voice)
                    .map(|p| self.late(p))
                    .collect(),
            )
        };
        let mut offsets: Vec<(Voice, f64)> = Voice::ALL.iter().map(|v| (*v, own(*v))).collect();
        let each = points
            .iter()
            .filter_map(|p| offsets.iter().find(|(v, _)| *v == p.voice).map(|o| o.1));
        let middle = median(each.collect());
        offsets.iter_mut().for_each(|(_, o)| *o -= middle);
        self.offsets = offsets;
    }

    /// The knots that lie nearest to the strokes, their voices' offsets taken off, with small bends.
    fn solve(&self, points: &[Point], weights: &[f64]) -> Vec<f64> {
        let n = self.knots.len();
        // The matrix is symmetric: rows hold the middle diagonal and those to its right.
        let mut rows = vec![[0.0f64; SIDES + 1]; n];
        let mut right = vec![0.0f64; n];
        for (point, weight) in points.iter().zip(weights) {
            let (i, share) = self.place(point.step);
            let time = point.time - self.offset(point.voice);
            let part = [1.0 - share, share];
            if let Some([a, b]) = rows.get_mut(i..i + 2) {
                a[0] += weight * part[0] * part[0];
                a[1] += weight * part[0] * part[1];
                b[0] += weight * part[1] * part[1];
            }
            for (r, p) in right.iter_mut().skip(i).zip(part) {
                *r += weight * p * time;
            }
        }
        for i in 0..n.saturating_sub(SIDES) {
            for (k, row) in rows.iter_mut().skip(i).take(BEND.len()).enumerate() {
                for (l, bend) in BEND.iter().enumerate().skip(k) {
                    row[l - k] += STIFF * BEND[k] * bend;
                }
            }
        }
        // Knots that nothing holds would float.
        rows.iter_mut().for_each(|row| row[0] += 1e-9);
        banded(rows, right)
    }
}

/// Solves a symmetric positive system with [`SIDES`] diagonals beside the middle.
fn banded(mut rows: Vec<[f64; SIDES + 1]>, mut right: Vec<f64>) -> Vec<f64> {
    let n = rows.len();
    for i in 0..n {
        let row = rows[i];
        let middle = row[0].max(1e-12);
        for k in 1..row.len().min(n - i) {
            let factor = row[k] / middle;
            for (below, side) in rows[i + k].iter_mut().zip(&row[k..]) {
                *below -= factor * side;
            }
            right[i + k] -= factor * right[i];
        }
    }
    for i in (0..n).rev() {
        let known: f64 = (1..=SIDES)
            .map(|k| rows[i][k] * right.get(i + k).copied().unwrap_or_default())
            .sum();
        right[i] = (right[i] - known) / rows[i][0].max(1e-12);
    }
    right
}

/// The middle of some numbers; 0 of none.
pub(super) fn median(mut numbers: Vec<f64>) -> f64 {
    numbers.sort_by(f64::total_cmp);
    let half = numbers.len() / 2;
    match (
        numbers.get(half),
        half.checked_sub(1).and_then(|h| numbers.get(h)),
    ) {
        (Some(high), Some(low)) if numbers.len().is_multiple_of(2) => (high + low) / 2.0,
        (Some(middle), _) => *middle,
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A hundred beats of four steps, a ramp from 0.5 to 0.6 s a beat, one voice late.
    fn points(late: f64) -> Vec<Point> {
        let mut points = Vec::new();
        for step in 0..400 {
            let beats = f64::from(step) / 4.0;
            let time = 3.0 + 0.5 * beats + 0.0005 * beats * beats;
            let voice = [Voice::Ride, Voice::Snare, Voice::Kick, Voice::HatFoot][step as usize % 4];
            let own = if voice == Voice::HatFoot { late } else { 0.0 };
            points.push(Point {
                time: time + own,
                step: f64::from(step),
                voice,
            });
        }
        points
    }

    #[test]
    fn a_foot_that_is_always_late_is_found_and_does_not_bend_a_drifting_tempo() {
        for late in [0.018, -0.02, 0.0] {
            let points = points(late);
            let curve = Curve::fit(&points, 4.0).unwrap();
            assert!((curve.offset(Voice::HatFoot) - late).abs() < 5e-4);
            assert!(curve.offset(Voice::Snare).abs() < 5e-4);
            let off = points
                .iter()
                .map(|p| (curve.late(p) - curve.offset(p.voice)).abs());
            assert!(off.fold(0.0, f64::max) < 2e-3);
        }
    }

    #[test]
    fn wild_strokes_hardly_move_the_curve() {
        let mut wild = points(0.0);
        wild.iter_mut().step_by(17).for_each(|p| p.time += 0.12);
        let (curve, plain) = (
            Curve::fit(&wild, 4.0).unwrap(),
            Curve::fit(&points(0.0), 4.0).unwrap(),
        );
        let off = (8..390).map(|s| (curve.time(f64::from(s)) - plain.time(f64::from(s))).abs());
        assert!(off.fold(0.0, f64::max) < 3e-3);
    }

    #[test]
    fn the_banded_solver_agrees_with_the_product_it_must_invert() {
        let rows = vec![
            [6.0, -1.0, 0.5, 0.2],
            [5.0, 0.3, -0.7, -0.3],
            [7.0, 1.1, 0.2, 0.0],
            [4.0, -0.4, 0.0, 0.0],
            [3.0, 0.0, 0.0, 0.0],
        ];
        let right = vec![1.0, -2.0, 3.0, 0.5, 4.0];
        let x = banded(rows.clone(), right.clone());
        for i in 0..5 {
            let mut sum = rows[i][0] * x[i];
            for k in 1..4 {
                sum += if i + k < 5 { rows[i][k] * x[i + k] } else { 0.0 };
                sum += if i >= k { rows[i - k][k] * x[i - k] } else { 0.0 };
            }
            assert!((sum - right[i]).abs() < 1e-12);
        }
    }
}
