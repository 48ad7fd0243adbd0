//! What the network heard at each onset -> the same, read against the recording's own sounds.
//!
//! The network knows drums in general. The strokes that it is sure of show how this kit sounds in this room, so a
//! logistic regression from what each onset adds to the sound to each class is fitted to the network's own verdicts, each with
//! the weight of its sureness, and then has half a say (self-training: Scudder, IEEE Trans. Information Theory 11,
//! 1965). Where a class of the recording falls into strokes and other things, the emptiest place between the two
//! tells how likely is likely enough.
//!
//! In: log odds of each class at each onset, and the rows of the onsets. Out: log odds, and the least that counts.

use super::classes::Class;
use super::features;

/// Log odds of the main classes.
pub(super) type LogOdds = [f32; Class::MAIN.len()];

/// Log odds at which the network is undecided; it was trained to rather hear too much.
const UNDECIDED: f32 = 0.6;
/// Log odds of clear strokes, and of what clearly is none.
const CLEAR: f32 = 1.5;
const CLEARLY_NOT: f32 = -2.0;
/// So many clear strokes, and so many clear others, can be learned from.
const EXAMPLES: (usize, usize) = (3, 4);
/// Log odds that are taken seriously.
pub(super) const MOST: f32 = 6.0;
/// The own sounds' share in the decision.
const SAY: f32 = 0.5;
/// Onsets that are learned from at most, evenly chosen.
const LESSONS: usize = 2000;
/// Weight of the pull to zero on each coefficient, for numbers of unit variance in a space of unit dimension.
const RIDGE: f64 = 0.05;
/// Steps of Newton's method.
const STEPS: usize = 8;

/// The log odds of every onset, read against the recording. `rows` are those of the same onsets.
pub(super) fn read_against_itself(heard: &[LogOdds], rows: &[Vec<f32>]) -> Vec<LogOdds> {
    let sounds: Vec<Vec<f32>> = rows.iter().map(|row| features::added(row)).collect();
    let standard = Standard::of(&sounds);
    let every = heard.len().div_ceil(LESSONS).max(1);
    let lessons: Vec<Vec<f64>> = (sounds.iter().step_by(every))
        .map(|sound| standard.put(sound))
        .collect();
    let lessons: Vec<&[f64]> = lessons.iter().map(Vec::as_slice).collect();
    let mut read = heard.to_vec();
    for class in 0..Class::MAIN.len() {
        let verdicts: Vec<f32> = heard.iter().map(|odds| odds[class].clamp(-MOST, MOST)).collect();
        let clear = verdicts.iter().filter(|v| **v > CLEAR).count();
        let not = verdicts.iter().filter(|v| **v < CLEARLY_NOT).count();
        if clear < EXAMPLES.0 || not < EXAMPLES.1 {
            continue;
        }
        let taught: Vec<f64> = verdicts
            .iter()
            .step_by(every)
            .map(|v| probability(f64::from(v - UNDECIDED)))
            .collect();
        let coefficients = regression(&lessons, &taught);
        for ((odds, sound), verdict) in read.iter_mut().zip(&sounds).zip(&verdicts) {
            let own = (dot(&coefficients, &standard.put(sound)) as f32).clamp(-MOST, MOST) + UNDECIDED;
            odds[class] = (1.0 - SAY) * verdict + SAY * own;
        }
    }
    read
}

/// Log odds from which on each class counts as struck on this recording.
pub(super) fn least(read: &[LogOdds]) -> LogOdds {
    std::array::from_fn(|class| {
        let mut odds: Vec<f32> = read.iter().map(|odds| odds[class]).collect();
        odds.sort_by(|a, b| b.total_cmp(a));
        let least = emptiest(&odds).unwrap_or(USUAL);
        // A class that never strikes clearly is not on this kit: it would need much better odds.
        let best = odds.get(..(odds.len() * 3 / 100).max(2)).unwrap_or_default();
        let clear = !best.is_empty() && best.iter().sum::<f32>() / best.len() as f32 >= CLEAR;
        if clear { least } else { least.max(IF_NEVER_CLEAR) }
    })
}

/// The least log odds where a band plays along: there no emptiest place parts strokes from other things.
pub(super) const LEAST_IN_MIX: f32 = -0.2;

/// The least log odds where nothing tells better, and of a class that never strikes clearly.
const USUAL: f32 = 0.55;
const IF_NEVER_CLEAR: f32 = 2.5;
/// Where the least log odds may lie, how finely they are searched, and the width of each onset's bump in the density.
const BETWEEN: (f32, f32) = (-0.9, 1.2);
const PLACES: usize = 33;
const SMOOTH: f32 = 0.35;

/// Where the fewest of `odds` lie.
fn emptiest(odds: &[f32]) -> Option<f32> {
    let serious: Vec<f32> = odds.iter().copied().filter(|x| *x > -MOST).collect();
    if serious.len() < EXAMPLES.0 + 2 {
        return None;
    }
    let density = |at: f32| -> f32 {
        serious
            .iter()
            .map(|x| (-0.5 * ((at - x) / SMOOTH).powi(2)).exp())
            .sum()
    };
    let place = |n: usize| BETWEEN.0 + (BETWEEN.1 - BETWEEN.0) * n as f32 / (PLACES - 1) as f32;
    let places = (0..PLACES).map(|n| (place(n), density(place(n))));
    places.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(at, _)| at)
}

/// Mean and spread of each number over the recording.
struct Standard {
    mean: Vec<f64>,
    spread: Vec<f64>,
}

impl Standard {
    fn of(sounds: &[Vec<f32>]) -> Standard {
        let width = sounds.first().map_or(0, Vec::len);
        let count = sounds.len().max(1) as f64;
        let mean: Vec<f64> = (0..width)
            .map(|n| sounds.iter().map(|s| f64::from(s[n])).sum::<f64>() / count)
            .collect();
        let spread = (0..width)
            .map(|n| {
                let squares = sounds.iter().map(|s| (f64::from(s[n]) - mean[n]).powi(2));
                (squares.sum::<f64>() / count).sqrt() + 1e-6
            })
            .collect();
        Standard { mean, spread }
    }

    /// Each number against its mean and spread, in a space of unit dimension; then a constant 1. Worked out where it
    /// is wanted: for hours of strokes it would take much room.
    fn put(&self, sound: &[f32]) -> Vec<f64> {
        let scale = 1.0 / (self.mean.len().max(1) as f64).sqrt();
        let own = sound.iter().zip(&self.mean).zip(&self.spread);
        own.map(|((x, m), s)| (f64::from(*x) - m) / s * scale)
            .chain([1.0])
            .collect()
    }
}

/// Coefficients of the logistic regression from `sounds` to `taught` (0 to 1), which weigh the more the surer they are.
fn regression(sounds: &[&[f64]], taught: &[f64]) -> Vec<f64> {
    let width = sounds.first().map_or(0, |s| s.len());
    let mut coefficients = vec![0.0; width];
    for _ in 0..STEPS {
        let mut slope = vec![0.0; width];
        let mut curve = vec![0.0; width * width];
        for n in 0..width {
            // The constant is not pulled.
            let pull = if n + 1 == width { 1e-3 } else { RIDGE };
            slope[n] = pull * coefficients[n];
            curve[n * width + n] = pull;
        }
        for (sound, taught) in sounds.iter().zip(taught) {
            let expected = probability(dot(&coefficients, sound));
            let weight = (2.0 * taught - 1.0).abs();
            let bend = weight * expected * (1.0 - expected) + 1e-6;
            let off = weight * (expected - taught);
            for (n, x) in sound.iter().enumerate() {
                slope[n] += off * x;
                let row = &mut curve[n * width..=n * width + n];
                row.iter_mut().zip(*sound).for_each(|(c, y)| *c += bend * x * y);
            }
        }
        let step = solved(&mut curve, slope);
        coefficients.iter_mut().zip(step).for_each(|(c, s)| *c -= s);
    }
    coefficients
}

/// Solves a symmetric positive system, of which the lower half is given, by Cholesky's factors.
fn solved(matrix: &mut [f64], mut right: Vec<f64>) -> Vec<f64> {
    let width = right.len();
    for n in 0..width {
        for k in 0..=n {
            let sum: f64 = (0..k)
                .map(|j| matrix[n * width + j] * matrix[k * width + j])
                .sum();
            let rest = matrix[n * width + k] - sum;
            matrix[n * width + k] = if k == n {
                rest.max(f64::MIN_POSITIVE).sqrt()
            } else {
                rest / matrix[k * width + k]
            };
        }
    }
    for n in 0..width {
        let sum: f64 = (0..n).map(|j| matrix[n * width + j] * right[j]).sum();
        right[n] = (right[n] - sum) / matrix[n * width + n];
    }
    for n in (0..width).rev() {
        let sum: f64 = (n + 1..width).map(|j| matrix[j * width + n] * right[j]).sum();
        right[n] = (right[n] - sum) / matrix[n * width + n];
    }
    right
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn probability(log_odds: f64) -> f64 {
    1.0 / (1.0 + (-log_odds).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_system_is_solved() {
        // 4x + 2y = 10, 2x + 3y = 11: x = 1, y = 3 [=]; the upper half is never looked at.
        let found = solved(&mut [4.0, f64::NAN, 2.0, 3.0], vec![10.0, 11.0]);
        assert!((found[0] - 1.0).abs() < 1e-12 && (found[1] - 3.0).abs() < 1e-12);
    }

    /// Onsets whose sound is high (a hat) or low; the network hears every third hat badly.
    fn hats_and_others() -> (Vec<LogOdds>, Vec<Vec<f32>>) {
        (0..60)
            .map(|n| {
                let hat = n % 2 == 0;
                let heard = match (hat, n % 6) {
                    (true, 4) => -0.5,
                    (true, _) => 3.0,
                    (false, _) => -4.0,
                };
                let mut row = vec![0.0; features::FEATURES];
                for (k, x) in row.iter_mut().enumerate() {
                    *x = if hat { 1.0 } else { -1.0 } + 0.3 * ((n * 7 + k * 13) % 11) as f32 / 11.0;
                }
                ([-6.0, -6.0, -6.0, heard, -6.0], row)
            })
            .unzip()
    }

    #[test]
    fn badly_heard_strokes_that_sound_like_clear_ones_count() {
        let (heard, rows) = hats_and_others();
        let read = read_against_itself(&heard, &rows);
        let least = least(&read);
        let named: Vec<bool> = read.iter().map(|odds| odds[3] > least[3]).collect();
        assert!(
            named.iter().enumerate().all(|(n, named)| *named == (n % 2 == 0)),
            "{read:?} {least:?}"
        );
    }

    #[test]
    fn a_class_without_clear_strokes_is_left_as_it_was_heard_and_needs_more() {
        let (mut heard, rows) = hats_and_others();
        heard.iter_mut().for_each(|odds| odds[3] = odds[3].min(1.2));
        assert_eq!(read_against_itself(&heard, &rows), heard);
        assert_eq!(least(&heard)[3], IF_NEVER_CLEAR);
    }

    #[test]
    fn the_least_odds_lie_where_strokes_and_others_part() {
        let odds: Vec<f32> = (0..20).map(|n| if n % 2 == 0 { 2.0 } else { -1.5 }).collect();
        let least = emptiest(&odds).unwrap();
        assert!((-0.5..1.0).contains(&least), "{least}");
    }

    #[test]
    fn nothing_heard_stays_nothing() {
        assert!(read_against_itself(&[], &[]).is_empty());
        assert_eq!(least(&[]), [IF_NEVER_CLEAR; 5]);
    }
}
