//! How two snares sound, and strokes on both at once.
//!
//! A mixture of t distributions with one spread in common: one around each drum's mean, and some between the two, where
//! strokes on both lie, as one of the drums may be louder. The means are the points that explain all of them best.

use super::{AXES, EXPECTED, FREEDOM, Point, far};

/// How likely a stroke is the first drum alone, the second alone, both.
pub(super) type Odds = [f64; 3];

/// Where strokes on both lie, between the first drum's mean and the second's: one may be louder.
const BETWEEN: [f64; 5] = [0.2, 0.35, 0.5, 0.65, 0.8];
const PARTS: usize = 2 + BETWEEN.len();
/// Strokes of each kind that are expected before any is heard.
const USUAL: Odds = [8.0, 8.0, 1.0];
/// How likely what cannot be is.
pub(super) const NEVER: f64 = 1e-9;
/// Steps of a fit.
const STEPS: usize = 60;

/// The snare strokes of a recording.
pub(super) struct Strokes<'a> {
    /// Where each lies.
    pub(super) points: &'a [Point],
    /// How much each counts.
    pub(super) says: &'a [f64],
    /// At which moment each was struck.
    pub(super) at: &'a [usize],
}

/// Two drums, as points.
pub(super) struct Drums {
    means: [Point; 2],
    spread: Point,
}

impl Drums {
    /// Two drums with these means, before any stroke is heard.
    pub(super) fn new(means: [Point; 2]) -> Self {
        Drums {
            means,
            spread: [EXPECTED.0; AXES],
        }
    }

    /// The odds by sound alone, each kind as usual as it turns out to be.
    pub(super) fn by_sound(&mut self, strokes: &Strokes, busy: &[bool]) -> Vec<Odds> {
        self.settle(strokes, 1.0, |odds| {
            let usual = shares(odds);
            let free = |busy: &bool| if *busy { [usual[0], usual[1], NEVER] } else { usual };
            busy.iter().map(free).collect()
        })
    }

    /// Expectation and maximisation in turn. `before`: each stroke's odds before it is heard, by all odds so far (none
    /// at first).
    pub(super) fn settle(
        &mut self,
        strokes: &Strokes,
        say: f64,
        before: impl Fn(&[Odds]) -> Vec<Odds>,
    ) -> Vec<Odds> {
        let (mut odds, mut likely) = (Vec::new(), f64::NEG_INFINITY);
        for _ in 0..STEPS {
            let prior = before(&odds);
            let now;
            (odds, now) = self.step(strokes, say, &prior);
            let settled = now - likely < 1e-6 * now.abs();
            likely = now;
            if settled {
                break;
            }
        }
        odds
    }

    /// One step: the odds, and the log likelihood before it.
    fn step(&mut self, strokes: &Strokes, say: f64, prior: &[Odds]) -> (Vec<Odds>, f64) {
        let sides: [[f64; 2]; PARTS] = std::array::from_fn(|part| match part {
            0 => [1.0, 0.0],
            1 => [0.0, 1.0],
            _ => [1.0 - BETWEEN[part - 2], BETWEEN[part - 2]],
        });
        let mean = |means: &[Point; 2], part: usize| -> Point {
            std::array::from_fn(|d| sides[part][0] * means[0][d] + sides[part][1] * means[1][d])
        };
        let parts: [Point; PARTS] = std::array::from_fn(|part| mean(&self.means, part));
        let volume: f64 = self.spread.iter().map(|s| s.ln()).sum();
        let mut likely = 0.0;
        let mut weights: Vec<[f64; PARTS]> = Vec::with_capacity(strokes.points.len());
        let mut odds: Vec<Odds> = Vec::with_capacity(strokes.points.len());
        for ((point, counts), prior) in strokes.points.iter().zip(strokes.says).zip(prior) {
            let far = parts.map(|mean| far(point, &mean, &self.spread));
            let log: [f64; PARTS] = std::array::from_fn(|part| {
                let prior = prior[part.min(2)] / if part < 2 { 1.0 } else { BETWEEN.len() as f64 };
                prior.ln()
                    - say * ((FREEDOM + AXES as f64) / 2.0 * (far[part] / FREEDOM).ln_1p() + 0.5 * volume)
            });
            let most = log.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let all = most + log.iter().map(|l| (l - most).exp()).sum::<f64>().ln();
            likely += counts * all;
            let part = log.map(|l| (l - all).exp());
            odds.push([part[0], part[1], part.iter().skip(2).sum()]);
            weights.push(std::array::from_fn(|k| {
                counts * part[k] * (FREEDOM + AXES as f64) / (FREEDOM + far[k])
            }));
        }
        self.improve(strokes, &sides, &weights);
        let total: f64 = strokes.says.iter().sum();
        let parts: [Point; PARTS] = std::array::from_fn(|part| mean(&self.means, part));
        self.spread = std::array::from_fn(|d| {
            let squares = strokes.points.iter().zip(&weights).map(|(point, weights)| {
                let square = |(weight, mean): (&f64, &Point)| weight * (point[d] - mean[d]).powi(2);
                weights.iter().zip(&parts).map(square).sum::<f64>()
            });
            (squares.sum::<f64>() + EXPECTED.1 * EXPECTED.0) / (total + EXPECTED.1)
        });
        (odds, likely)
    }

    /// The means that lie nearest to the points, those between counted on both sides: two equations on every axis.
    fn improve(&mut self, strokes: &Strokes, sides: &[[f64; 2]; PARTS], weights: &[[f64; PARTS]]) {
        let (mut left, mut right) = ([[1e-9, 0.0], [0.0, 1e-9]], [[0.0; AXES]; 2]);
        for (point, weights) in strokes.points.iter().zip(weights) {
            for (weight, side) in weights.iter().zip(sides) {
                for (a, row) in side.iter().zip(&mut left) {
                    row.iter_mut().zip(side).for_each(|(x, b)| *x += weight * a * b);
                }
                for (a, row) in side.iter().zip(&mut right) {
                    row.iter_mut().zip(point).for_each(|(x, p)| *x += weight * a * p);
                }
            }
        }
        let [[a, b], [c, d]] = left;
        let size = a * d - b * c;
        if size > 1e-12 {
            let [x, y] = right;
            self.means = [
                std::array::from_fn(|n| (d * x[n] - b * y[n]) / size),
                std::array::from_fn(|n| (a * y[n] - c * x[n]) / size),
            ];
        }
    }
}

/// How usual each kind is.
pub(super) fn shares(odds: &[Odds]) -> Odds {
    let total = odds.len() as f64 + USUAL.iter().sum::<f64>();
    std::array::from_fn(|kind| (odds.iter().map(|o| o[kind]).sum::<f64>() + USUAL[kind]) / total)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Strokes on two drums that lie 7 spreads apart, every fifth on both, each a little off.
    fn points() -> Vec<Point> {
        let off = |n: usize, axis: usize| 0.5 * (((n * 7 + axis * 5) % 11) as f64 / 5.0 - 1.0);
        let along = |n: usize| match n % 5 {
            0 => 3.5,
            1 | 2 => 0.0,
            _ => 7.0,
        };
        let point =
            |n: usize| std::array::from_fn(|axis| off(n, axis) + if axis == 2 { along(n) } else { 0.0 });
        (0..60).map(point).collect()
    }

    fn means() -> [Point; 2] {
        [0.5, 6.5].map(|x| std::array::from_fn(|axis| if axis == 2 { x } else { 0.2 }))
    }

    #[test]
    fn strokes_between_two_drums_are_on_both_if_a_hand_is_free() {
        let (points, at): (Vec<Point>, Vec<usize>) = (points(), (0..60).collect());
        let strokes = Strokes {
            points: &points,
            says: &[1.0; 60],
            at: &at,
        };
        let free = Drums::new(means()).by_sound(&strokes, &[false; 60]);
        for (n, odds) in free.iter().enumerate() {
            let kind = match n % 5 {
                0 => 2,
                1 | 2 => 0,
                _ => 1,
            };
            assert!(odds[kind] > 0.8, "{n}: {odds:?}");
            assert!((odds.iter().sum::<f64>() - 1.0).abs() < 1e-9);
        }
        let busy = Drums::new(means()).by_sound(&strokes, &[true; 60]);
        assert!(busy.iter().all(|odds| odds[2] < 0.01));
    }

    #[test]
    fn no_strokes_have_no_odds() {
        let strokes = Strokes {
            points: &[],
            says: &[],
            at: &[],
        };
        assert!(Drums::new(means()).by_sound(&strokes, &[]).is_empty());
    }
}
