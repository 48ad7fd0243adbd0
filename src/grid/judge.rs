//! Marks of a reading -> its score: a small network fitted to performances and invented parts whose grid is known.
//!
//! One layer of hidden units beside a direct weighted sum; the mean of two such networks, fitted from two starts,
//! which is again one with twice the units. Scores are log odds between readings of the same hits.
//! `tests/fitting/grid.rs` fits it and writes `judge.bin`: 32-bit floats, little-endian, in the order of the fields.

use std::sync::OnceLock;

use super::reading::MARKS;

/// Hidden units.
pub(super) const HIDDEN: usize = 32;
/// Number of values in the file.
#[cfg(test)]
pub(super) const VALUES: usize = MARKS * 3 + HIDDEN * (MARKS + 2);

/// The network.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Judge {
    /// What every mark is on average, then its spread.
    pub(super) usual: [Vec<f32>; 2],
    /// Per hidden unit, a weight for every mark.
    pub(super) hidden: Vec<f32>,
    /// Per hidden unit, its bias.
    pub(super) bias: Vec<f32>,
    /// Per hidden unit, its weight in the score.
    pub(super) out: Vec<f32>,
    /// Weight of every mark in the score.
    pub(super) direct: Vec<f32>,
}

impl Judge {
    /// The fitted network.
    pub(super) fn fitted() -> &'static Judge {
        static FITTED: OnceLock<Judge> = OnceLock::new();
        FITTED.get_or_init(|| Judge::read(include_bytes!("judge.bin")))
    }

    /// Reads the file's bytes; values that are missing count as 0.
    fn read(bytes: &[u8]) -> Judge {
        let (words, _) = bytes.as_chunks::<4>();
        let mut values = words.iter().map(|w| f32::from_le_bytes(*w));
        let mut next = |count: usize| {
            (0..count)
                .map(|_| values.next().unwrap_or(0.0))
                .collect::<Vec<f32>>()
        };
        Judge {
            usual: [next(MARKS), next(MARKS)],
            hidden: next(HIDDEN * MARKS),
            bias: next(HIDDEN),
            out: next(HIDDEN),
            direct: next(MARKS),
        }
    }

    /// The marks as the network takes them.
    pub(super) fn even(&self, marks: &[f32]) -> Vec<f32> {
        let [mean, spread] = &self.usual;
        let usual = mean.iter().zip(spread);
        marks
            .iter()
            .zip(usual)
            .map(|(m, (mean, spread))| (m - mean) / spread.max(0.01))
            .collect()
    }

    /// What the hidden units say.
    pub(super) fn units(&self, even: &[f32]) -> Vec<f32> {
        let unit = |(weights, bias): (&[f32], &f32)| (dot(weights, even) + bias).tanh();
        self.hidden
            .chunks_exact(MARKS)
            .zip(&self.bias)
            .map(unit)
            .collect()
    }

    /// The score as it is fitted.
    pub(super) fn raw(&self, even: &[f32], units: &[f32]) -> f32 {
        dot(&self.out, units) + dot(&self.direct, even)
    }

    /// The score of a reading with these marks.
    pub(super) fn score(&self, marks: &[f32]) -> f64 {
        let even = self.even(marks);
        f64::from(self.raw(&even, &self.units(&even)))
    }
}

fn dot(a: &[f32], b: &[f32]) -> f32 {
    // Eight sums at once: the compiler turns them into vector instructions, in an order that is always the same.
    let mut sums = [0.0f32; 8];
    let (a, a_rest) = a.as_chunks::<8>();
    let (b, b_rest) = b.as_chunks::<8>();
    for (a, b) in a.iter().zip(b) {
        for (sum, (x, y)) in sums.iter_mut().zip(a.iter().zip(b)) {
            *sum += x * y;
        }
    }
    sums.iter().sum::<f32>() + a_rest.iter().zip(b_rest).map(|(x, y)| x * y).sum::<f32>()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fitted_file_holds_every_value_and_nothing_more() {
        assert_eq!(include_bytes!("judge.bin").len(), VALUES * 4);
        assert!(Judge::fitted().usual[1].iter().all(|s| *s > 0.0));
    }
}
