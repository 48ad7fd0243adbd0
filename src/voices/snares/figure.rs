//! How well a drum keeps to a figure: whether its strokes come back at one distance in time.
//!
//! In: the moments at which anything is struck, and how likely the drum is among what is struck at each. Out: the
//! distance at which it repeats best, the correlation there (K. Pearson, Proc. Royal Society 58, 1895), and what the
//! same place one repeat before and after says of each moment. No grid is needed, and none is known yet.

use crate::units::Seconds;

/// Distances that are tried, and how finely: from a figure of two quick steps to one over some bars.
const SHORTEST: Seconds = Seconds(0.25);
const LONGEST: Seconds = Seconds(6.0);
const FINENESS: Seconds = Seconds(0.01);
/// What lies within this time of a place is on it.
const ON_IT: Seconds = Seconds(0.03);
/// Fewest moments that have a place a repeat away.
const FEWEST: usize = 20;

/// A drum's figure.
#[derive(Debug)]
pub(super) struct Figure {
    /// How well its places agree, 1 at best.
    pub(super) agrees: f64,
    /// For each moment, the share of the places one repeat before and after on which the drum is struck; `None` where
    /// both lie outside.
    beside: Vec<Option<f64>>,
    /// Mean of `beside`, mean of what was struck there, and what one says of the other.
    line: (f64, f64, f64),
}

impl Figure {
    /// The figure that `struck` (0 to 1 a moment) keeps to best; `None` where nothing repeats.
    pub(super) fn of(times: &[Seconds], struck: &[f64]) -> Option<Figure> {
        let count = ((LONGEST - SHORTEST).0 / FINENESS.0).round() as usize;
        let distances = (0..count).map(|n| SHORTEST + Seconds(FINENESS.0 * n as f64));
        let figures = distances.filter_map(|distance| Figure::at(times, struck, distance));
        figures.reduce(|best, next| if next.agrees > best.agrees { next } else { best })
    }

    fn at(times: &[Seconds], struck: &[f64], distance: Seconds) -> Option<Figure> {
        let (first, last) = (*times.first()?, *times.last()?);
        let (before, after) = (places(times, Seconds(-distance.0)), places(times, distance));
        let beside: Vec<Option<f64>> = (times.iter().zip(before.iter().zip(&after)))
            .map(|(time, places)| {
                let inside = [*time - distance > first - ON_IT, *time + distance < last + ON_IT];
                let sides = [places.0, places.1]
                    .into_iter()
                    .zip(inside)
                    .filter(|(_, inside)| *inside);
                let of = |place: &Option<usize>| place.and_then(|p| struck.get(p)).copied().unwrap_or(0.0);
                let (sum, sides) = sides.fold((0.0, 0.0), |(sum, n), (place, _)| (sum + of(place), n + 1.0));
                (sides > 0.0).then(|| sum / sides)
            })
            .collect();
        let pairs: Vec<(f64, f64)> = beside
            .iter()
            .zip(struck)
            .filter_map(|(b, s)| Some(((*b)?, *s)))
            .collect();
        if pairs.len() < FEWEST {
            return None;
        }
        let mean = |of: fn(&(f64, f64)) -> f64| pairs.iter().map(of).sum::<f64>() / pairs.len() as f64;
        let (x, y) = (mean(|p| p.0), mean(|p| p.1));
        let sum = |of: &dyn Fn(f64, f64) -> f64| pairs.iter().map(|p| of(p.0 - x, p.1 - y)).sum::<f64>();
        let (xx, yy, xy) = (sum(&|x, _| x * x), sum(&|_, y| y * y), sum(&|x, y| x * y));
        let agrees = xy / (xx * yy).sqrt();
        agrees.is_finite().then_some(Figure {
            agrees,
            beside,
            line: (x, y, xy / xx),
        })
    }

    /// How likely the drum is struck at a moment, as far as its figure tells.
    pub(super) fn likely(&self, moment: usize) -> f64 {
        let (x, y, slope) = self.line;
        let beside = self.beside.get(moment).copied().flatten().unwrap_or(x);
        y + slope * (beside - x)
    }
}

/// For each moment, the moment `distance` away from it.
fn places(times: &[Seconds], distance: Seconds) -> Vec<Option<usize>> {
    let mut near = 0;
    let away = |n: usize, from: Seconds| times.get(n).map_or(f64::INFINITY, |t| (*t - from).0.abs());
    times
        .iter()
        .map(|time| {
            let from = *time + distance;
            while away(near + 1, from) <= away(near, from) && near + 1 < times.len() {
                near += 1;
            }
            (away(near, from) < ON_IT.0).then_some(near)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Moments on every step of 150 ms, a little early and late in turn.
    fn steps(count: usize) -> Vec<Seconds> {
        let late = |n: usize| 0.004 * ((n * 7 % 5) as f64 - 2.0);
        (0..count)
            .map(|n| Seconds(1.0 + 0.15 * n as f64 + late(n)))
            .collect()
    }

    #[test]
    fn a_figure_of_seven_steps_is_found_and_tells_its_places() {
        let struck: Vec<f64> = (0..100)
            .map(|n| f64::from(u8::from([0, 2, 3, 5].contains(&(n % 7)))))
            .collect();
        let figure = Figure::of(&steps(100), &struck).unwrap();
        assert!(figure.agrees > 0.99, "{}", figure.agrees);
        for (moment, struck) in struck.iter().enumerate() {
            assert!((figure.likely(moment) - struck).abs() < 0.02, "{moment}");
        }
    }

    #[test]
    fn a_place_where_the_drum_was_not_heard_is_told_by_the_repeats_beside_it() {
        let mut struck: Vec<f64> = (0..100).map(|n| f64::from(u8::from(n % 5 == 0))).collect();
        struck[50] = 0.0;
        let figure = Figure::of(&steps(100), &struck).unwrap();
        assert!(figure.likely(50) > 0.8 && figure.likely(51) < 0.1);
    }

    #[test]
    fn strokes_without_an_order_keep_to_no_figure() {
        // A linear congruential generator's high bits (Knuth's MMIX constants, from memory).
        let mut dice = 1u64;
        let struck: Vec<f64> = (0..150)
            .map(|_| {
                dice = dice
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1_442_695_040_888_963_407);
                f64::from(u8::from(dice >> 62 == 0))
            })
            .collect();
        let figure = Figure::of(&steps(150), &struck).unwrap();
        assert!(figure.agrees < 0.6, "{}", figure.agrees);
    }

    #[test]
    fn nothing_and_always_the_same_repeat_nothing() {
        assert!(Figure::of(&[], &[]).is_none());
        assert!(Figure::of(&steps(60), &[1.0; 60]).is_none());
        assert!(Figure::of(&steps(10), &[0.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.0, 1.0]).is_none());
    }
}
