//! Which snare strokes are a second snare's: two drums are told from one drum struck in two ways.
//!
//! In: rows of features of all snare strokes, and what else is struck and when. Out: for each, which snare it is, or
//! both; all the first where one drum explains them. One snare sounds differently soft and loud, near the rim, under a kick, in another room. How
//! it differs from itself was learned from many recordings of single snares, and how two snares differ from pairs of
//! them: a linear discriminant (R. A. Fisher, Annals of Eugenics 7, 1936) turns what a stroke adds to the sound into
//! a few numbers in which any one drum spreads by about 1 in every direction. In these, a mixture of two t
//! distributions with one spread in common (D. Peel, G. J. McLachlan, Statistics and Computing 10, 2000) is fitted,
//! which single strange strokes do not sway. Two drums lie farther apart than one drum's ways of sounding do. Where
//! they lie nearer, the music may still tell: one drum is never struck together with itself, and [`both`] hears where
//! the lines of two snares meet. `snares.md` says what the discriminant was fitted on and how often it errs.

mod apart;
mod both;
mod drums;
mod figure;

use rayon::prelude::*;

pub(super) use apart::part;
pub(super) use both::{Moment, Others};

use drums::{Odds, Strokes};

use super::features::{self, STROKE};
use crate::units::Decibels;

/// The fitted discriminant: [`AXES`] columns of [`STROKE`] numbers, `f32`, little-endian.
const WEIGHTS: &[u8] = include_bytes!("snares.bin");
/// Numbers that a stroke is told by.
const AXES: usize = 16;
/// Fewest strokes to speak of two snares, and fewest of the rarer one: a few strange strokes are no drum.
const FEWEST: (usize, f64) = (24, 6.0);
/// How far apart two snares lie, in spreads of one snare.
const APART: f64 = 6.6;
/// How far apart they lie at least where so many strokes are heard on both at once.
const APART_TOGETHER: (f64, usize) = (4.5, 6);
/// From this likelihood on both were struck: what is missed and what is too much then weigh the same from 0.3 to 0.5 [=].
const TOGETHER: f64 = 0.4;
/// From this likelihood on it speaks for two drums.
const SPEAKS: f64 = 0.5;
/// One drum's soft and loud strokes differ too: for every decibel that the groups' levels lie apart, over the first
/// few, the groups must lie so much farther apart.
const LOUDER: (Decibels, f64) = (Decibels(4.0), 0.15);
/// The say of a stroke with a kick or a tom under it.
const COVERED: f64 = 0.35;
/// Degrees of freedom of the t distributions.
const FREEDOM: f64 = 4.0;
/// Spread that is expected before any stroke is heard, as a variance, and how many strokes that is worth.
const EXPECTED: (f64, f64) = (0.6, 10.0);
/// Steps of each fit, directions in which it is begun, and the shares of strokes on one side at the beginning.
const STEPS: usize = 40;
const DIRECTIONS: usize = 6;
const BEGINNINGS: [f64; 3] = [0.15, 0.5, 0.85];

type Point = [f64; AXES];

/// What a snare stroke was struck on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Struck {
    /// The main snare.
    First,
    /// The second snare, the higher of the two (TRADE 6: body 250-400 Hz against 150-250 Hz [M]).
    Second,
    /// Both at once, as likely as this.
    Both(f32),
}

/// Says of each snare stroke what it was struck on. `clean`: struck without kick or tom; `at`: its place among the
/// `moments` at which anything was struck.
pub(super) fn struck(rows: &[&[f32]], clean: &[bool], at: &[usize], moments: &[Moment]) -> Vec<Struck> {
    let one = vec![Struck::First; rows.len()];
    if rows.len() < FEWEST.0 {
        return one;
    }
    let points: Vec<Point> = project(rows);
    let says: Vec<f64> = clean
        .iter()
        .map(|clean| if *clean { 1.0 } else { COVERED })
        .collect();
    let strokes = Strokes {
        points: &points,
        says: &says,
        at,
    };
    let levels: Vec<f64> = rows
        .iter()
        .map(|row| f64::from(features::loudness(row)))
        .collect();
    let Some((second, told)) = two(&strokes, &levels, moments) else {
        return one;
    };
    let pitch = |of: bool| -> f64 {
        let own = rows.iter().zip(clean).zip(&second);
        let own = own.filter(|((_, clean), s)| **clean && **s == of);
        median(own.map(|((row, _), _)| f64::from(features::snare_pitch(row))))
    };
    let higher = pitch(true) >= pitch(false);
    let drum = |second: bool| {
        if second == higher {
            Struck::Second
        } else {
            Struck::First
        }
    };
    (second.iter().zip(told))
        .map(|(second, told)| match told {
            Some([_, _, both]) if both > TOGETHER => Struck::Both(both as f32),
            Some([first, other, _]) => drum(other > first),
            None => drum(*second),
        })
        .collect()
}

/// Of each stroke, whether it is in the second of two groups, and what the music tells of it; `None` of one drum.
fn two(strokes: &Strokes, levels: &[f64], moments: &[Moment]) -> Option<(Vec<bool>, Vec<Option<Odds>>)> {
    let two = fit(strokes.points, strokes.says)?;
    let level = |of: bool| -> f64 {
        let own = levels.iter().zip(&two.second).filter(|(_, s)| **s == of);
        median(own.map(|(level, _)| *level))
    };
    let louder = ((level(true) - level(false)).abs() - LOUDER.0.0).max(0.0);
    let say = |of: bool| -> f64 {
        let own = strokes.says.iter().zip(&two.second).filter(|(_, s)| **s == of);
        own.map(|(say, _)| *say).sum()
    };
    let apart = two.apart() - LOUDER.1 * louder;
    if say(true).min(say(false)) < FEWEST.1 || apart < APART_TOGETHER.0 {
        return None;
    }
    let told = both::both(strokes, two.middles(strokes.points)?, moments);
    let together = told.iter().flatten().filter(|odds| odds[2] > SPEAKS).count();
    (apart >= APART || together >= APART_TOGETHER.1).then_some((two.second, told))
}

/// Two groups of points.
struct Two {
    means: [Point; 2],
    /// Of each point, whether it belongs to the second group.
    second: Vec<bool>,
}

impl Two {
    /// The middle of each group's points.
    fn middles(&self, points: &[Point]) -> Option<[Point; 2]> {
        let of = |second: bool| {
            let own = points.iter().zip(&self.second).filter(|(_, s)| **s == second);
            middle(&own.map(|(p, _)| *p).collect::<Vec<_>>())
        };
        Some([of(false)?, of(true)?])
    }

    fn apart(&self) -> f64 {
        let [a, b] = &self.means;
        a.iter().zip(b).map(|(x, y)| (x - y).powi(2)).sum::<f64>().sqrt()
    }
}

/// The rows on the axes of the discriminant.
fn project(rows: &[&[f32]]) -> Vec<Point> {
    let weights: Vec<f64> = (WEIGHTS.as_chunks().0.iter())
        .map(|bytes| f64::from(f32::from_le_bytes(*bytes)))
        .collect();
    let axes: Vec<&[f64]> = weights.chunks_exact(STROKE).collect();
    let along = |stroke: &[f32], axis: usize| -> f64 {
        let axis = axes.get(axis).copied().unwrap_or_default();
        stroke.iter().zip(axis).map(|(x, w)| f64::from(*x) * w).sum()
    };
    rows.iter()
        .map(|row| {
            let stroke = features::stroke(row);
            std::array::from_fn(|axis| along(&stroke, axis))
        })
        .collect()
}

/// The best of the mixtures that are begun in different places. `None` where the points do not differ.
fn fit(points: &[Point], says: &[f64]) -> Option<Two> {
    let begun: Vec<(Point, f64)> = (directions(points, says).into_iter())
        .flat_map(|axis| BEGINNINGS.map(|share| (axis, share)))
        .collect();
    let fits = begun.par_iter().map(|(axis, share)| {
        let along: Vec<f64> = points.iter().map(|p| dot(p, axis)).collect();
        let mut sorted = along.clone();
        sorted.sort_by(f64::total_cmp);
        let split = sorted.get((share * sorted.len() as f64) as usize).copied()?;
        let side = |of: bool| {
            let own = points.iter().zip(&along).filter(|(_, x)| (**x > split) == of);
            middle(&own.map(|(p, _)| *p).collect::<Vec<_>>())
        };
        Some(improve(points, says, [side(false)?, side(true)?]))
    });
    let fits: Vec<Option<(f64, Two)>> = fits.collect();
    let best = fits
        .into_iter()
        .flatten()
        .reduce(|best, next| if next.0 > best.0 { next } else { best });
    best.map(|(_, two)| two)
}

/// Expectation and maximisation in turn: the log likelihood reached, and the groups.
fn improve(points: &[Point], says: &[f64], mut means: [Point; 2]) -> (f64, Two) {
    let (mut spread, mut shares, mut likely) = ([EXPECTED.0; AXES], [0.5f64; 2], f64::NEG_INFINITY);
    let mut second = Vec::new();
    let total: f64 = says.iter().sum();
    for _ in 0..STEPS {
        let volume: f64 = spread.iter().map(|s| s.ln()).sum();
        let mut now = -spread
            .iter()
            .map(|s| EXPECTED.1 / 2.0 * (s.ln() + EXPECTED.0 / s))
            .sum::<f64>();
        let mut sums = [[0.0; AXES]; 2];
        let (mut weights, mut counts) = ([0.0; 2], [0.0; 2]);
        let mut parts = Vec::with_capacity(points.len());
        for (point, say) in points.iter().zip(says) {
            let far = means.map(|mean| far(point, &mean, &spread));
            let tail = (FREEDOM + AXES as f64) / 2.0;
            let log: [f64; 2] =
                std::array::from_fn(|k| shares[k].ln() - 0.5 * volume - tail * (far[k] / FREEDOM).ln_1p());
            let most = log[0].max(log[1]);
            let both = most + ((log[0] - most).exp() + (log[1] - most).exp()).ln();
            now += say * both;
            let part: [f64; 2] = std::array::from_fn(|k| say * (log[k] - both).exp());
            // Strange strokes weigh less: the mark of the t distribution.
            let weight: [f64; 2] =
                std::array::from_fn(|k| part[k] * (FREEDOM + AXES as f64) / (FREEDOM + far[k]));
            for k in 0..2 {
                counts[k] += part[k];
                weights[k] += weight[k];
                sums[k]
                    .iter_mut()
                    .zip(point)
                    .for_each(|(s, x)| *s += weight[k] * x);
            }
            parts.push(weight);
            second.push(log[1] > log[0]);
        }
        means = std::array::from_fn(|k| sums[k].map(|s| s / (weights[k] + 1e-9)));
        spread = std::array::from_fn(|d| {
            let squares = points.iter().zip(&parts).map(|(point, weight)| {
                (0..2)
                    .map(|k| weight[k] * (point[d] - means[k][d]).powi(2))
                    .sum::<f64>()
            });
            (squares.sum::<f64>() + EXPECTED.1 * EXPECTED.0) / (total + EXPECTED.1)
        });
        shares = counts.map(|count| (count + 1.0) / (total + 2.0));
        let settled = now - likely < 1e-5 * now.abs();
        likely = now;
        if settled {
            break;
        }
        second.clear();
    }
    if second.is_empty() {
        second = points
            .iter()
            .map(|p| far(p, &means[1], &spread) < far(p, &means[0], &spread))
            .collect();
    }
    (likely, Two { means, second })
}

/// The directions in which the points spread most, most first (power iteration with deflation).
fn directions(points: &[Point], says: &[f64]) -> Vec<Point> {
    let Some(centre) = middle(points) else {
        return vec![];
    };
    let mut around: Vec<Point> = points
        .iter()
        .zip(says)
        .map(|(p, say)| std::array::from_fn(|d| (p[d] - centre[d]) * say.sqrt()))
        .collect();
    let mut found = Vec::new();
    for n in 0..DIRECTIONS.min(AXES) {
        let mut axis: Point = std::array::from_fn(|d| if d == n { 1.0 } else { 0.5 });
        for _ in 0..60 {
            let mut next = [0.0; AXES];
            for point in &around {
                let weight = dot(point, &axis);
                next.iter_mut().zip(point).for_each(|(s, x)| *s += weight * x);
            }
            let length = dot(&next, &next).sqrt();
            if length <= 1e-12 {
                return found;
            }
            axis = next.map(|x| x / length);
        }
        for point in &mut around {
            let along = dot(point, &axis);
            point.iter_mut().zip(&axis).for_each(|(x, a)| *x -= along * a);
        }
        found.push(axis);
    }
    found
}

fn dot(a: &Point, b: &Point) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn far(point: &Point, mean: &Point, spread: &Point) -> f64 {
    (0..AXES).map(|d| (point[d] - mean[d]).powi(2) / spread[d]).sum()
}

/// The median on every axis; `None` of no points.
fn middle(points: &[Point]) -> Option<Point> {
    let all = |d: usize| median(points.iter().map(|p| p[d]));
    (!points.is_empty()).then(|| std::array::from_fn(all))
}

/// The middle of some numbers, 0 of none.
fn median(numbers: impl Iterator<Item = f64>) -> f64 {
    let mut sorted: Vec<f64> = numbers.collect();
    sorted.sort_by(f64::total_cmp);
    let at = |place: usize| sorted.get(place).copied().unwrap_or(0.0);
    (at(sorted.len().saturating_sub(1) / 2) + at(sorted.len() / 2)) / 2.0
}

#[cfg(test)]
mod tests {
    use rand::prelude::*;
    use rand_chacha::ChaCha8Rng;

    use super::*;
    use crate::names::Voice;
    use crate::units::Seconds;

    /// Points of two drums `apart` spreads from each other along all axes, the second in `share` of the strokes;
    /// every eighth stroke is strange.
    fn drums(apart: f64, share: f64, count: usize, seed: u64) -> (Vec<Point>, Vec<bool>) {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut points = Vec::new();
        let mut second = Vec::new();
        for n in 0..count {
            let is_second = rng.random_bool(share);
            let strange = if n % 8 == 7 { 4.0 } else { 1.0 };
            let shift = if is_second {
                apart / (AXES as f64).sqrt()
            } else {
                0.0
            };
            let noise = |rng: &mut ChaCha8Rng| (0..6).map(|_| rng.random_range(-0.7..0.7)).sum::<f64>();
            points.push(std::array::from_fn(|_| shift + strange * noise(&mut rng)));
            second.push(is_second);
        }
        (points, second)
    }

    #[test]
    fn the_weights_fit_what_a_stroke_is_told_by() {
        assert_eq!(WEIGHTS.len(), AXES * STROKE * 4);
        assert!(
            project(&[&[0.5; features::FEATURES]])[0]
                .iter()
                .all(|x| x.is_finite())
        );
    }

    #[test]
    fn two_drums_that_lie_apart_are_found_among_strange_strokes() {
        for seed in 0..5 {
            let (points, second) = drums(8.0, 0.3, 80, seed);
            let two = fit(&points, &vec![1.0; points.len()]).unwrap();
            let same = two.second.iter().zip(&second).filter(|(a, b)| a == b).count();
            let right = same.max(points.len() - same);
            assert!(right * 20 >= points.len() * 19, "seed {seed}: {right}");
            assert!(two.apart() > APART, "seed {seed}: {}", two.apart());
        }
    }

    #[test]
    fn one_drum_lies_together() {
        for seed in 0..5 {
            let (points, _) = drums(0.0, 0.5, 80, seed);
            let apart = fit(&points, &vec![1.0; points.len()]).map_or(0.0, |two| two.apart());
            assert!(apart < APART, "seed {seed}: {apart}");
        }
    }

    #[test]
    fn what_lies_nearer_is_two_drums_where_both_are_struck_in_a_figure() {
        let told = |keeps: bool, seed: u64| {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let (mut moments, mut at, mut points) = (Vec::new(), Vec::new(), Vec::new());
            for step in 0..150usize {
                // The second snare on two places of five, or on as many anywhere; the first as often.
                let second = if keeps {
                    [0, 3].contains(&(step % 5))
                } else {
                    rng.random_bool(0.4)
                };
                let along = match (rng.random_bool(0.4), second) {
                    (true, true) => Some(3.2),
                    (true, false) => Some(0.0),
                    (false, true) => Some(6.4),
                    (false, false) => None,
                };
                let mut noise = || (0..6).map(|_| rng.random_range(-0.5..0.5)).sum::<f64>();
                if let Some(along) = along {
                    at.push(step);
                    points.push(std::array::from_fn(|axis| {
                        noise() + if axis == 1 { along } else { 0.0 }
                    }));
                }
                let foot = if second {
                    Others::default()
                } else {
                    Others::default().and(Voice::HatFoot)
                };
                moments.push(Moment {
                    time: Seconds(0.15 * step as f64),
                    others: foot,
                });
            }
            let strokes = Strokes {
                points: &points,
                says: &vec![1.0; points.len()],
                at: &at,
            };
            two(&strokes, &vec![0.0; points.len()], &moments).is_some()
        };
        for seed in 0..4 {
            assert!(told(true, seed) && !told(false, seed), "seed {seed}");
        }
    }

    #[test]
    fn the_order_of_the_strokes_makes_no_difference() {
        let (mut points, _) = drums(8.0, 0.4, 60, 9);
        let plain = fit(&points, &[1.0; 60]).unwrap();
        points.reverse();
        let mut back = fit(&points, &[1.0; 60]).unwrap();
        back.second.reverse();
        let same = plain
            .second
            .iter()
            .zip(&back.second)
            .filter(|(a, b)| a == b)
            .count();
        assert!(same == 60 || same == 0, "{same}");
    }

    #[test]
    fn few_or_equal_strokes_are_one_snare() {
        assert!(struck(&[], &[], &[], &[]).is_empty());
        let row = vec![-1.0f32; features::FEATURES];
        for count in [1, 23, 24, 60] {
            let rows = vec![row.as_slice(); count];
            let at: Vec<usize> = (0..count).collect();
            let struck = struck(&rows, &vec![true; count], &at, &[]);
            assert_eq!(struck, vec![Struck::First; count]);
        }
    }
}
