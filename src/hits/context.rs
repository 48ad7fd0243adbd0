//! Candidates with a first opinion -> what the strokes around each lead one to expect there.
//!
//! Music repeats: where strokes lie at some distance from each other again and again, one that is hardly heard at
//! that distance from others may be believed, and a trace that repeats nothing may not. The distances are those that
//! the recording shows within some seconds, by the autocorrelation of the opinions; no beat or bar is assumed.

use rayon::prelude::*;

/// A candidate's sample and the log odds that it is a stroke.
pub(super) type Opinion = (usize, f32);

/// Numbers a candidate.
pub const CONTEXT: usize = 10;

/// Samples a cell: 10 ms.
const CELL: usize = 441;
/// Cells on each side within which a stroke counts as being at the right distance: 20 ms.
const LOOSE: usize = 2;
/// Cells for which the distances are measured at once: 4 s.
const BLOCK: usize = 400;
/// Cells on each side of a block that are listened to as well: 6 s.
const AROUND: usize = 600;
/// Distances that are looked at, cells: 80 ms to 4 s.
const SHORTEST: usize = 8;
const LONGEST: usize = 400;
/// How many of the best distances are also looked at alone.
const BEST: usize = 16;
/// Distances that are worked out side by side.
const SIDE: usize = 16;
/// Log odds of a neighbour that is not there.
const ABSENT: f32 = -9.0;
/// Log odds beyond which a first opinion is not taken seriously.
const SURE: f32 = 9.2;

/// The numbers of every candidate, in the order of the opinions.
pub(super) fn contexts(opinions: &[Opinion]) -> Vec<[f32; CONTEXT]> {
    let rhythm = Rhythm::of(opinions);
    let mut order: Vec<usize> = (0..opinions.len()).collect();
    order.sort_by_key(|index| opinions[*index].0);
    let sorted: Vec<Opinion> = order.iter().map(|index| opinions[*index]).collect();
    let blocks: Vec<&[Opinion]> = sorted
        .chunk_by(|a, b| a.0 / CELL / BLOCK == b.0 / CELL / BLOCK)
        .collect();
    let expected: Vec<Vec<[f32; 5]>> = blocks.par_iter().map(|block| rhythm.block(block)).collect();
    let mut out = vec![[0.0; CONTEXT]; opinions.len()];
    for ((place, index), expected) in order.iter().enumerate().zip(expected.iter().flatten()) {
        let near = neighbours(&sorted, place);
        let own = sorted[place].1.clamp(-SURE, SURE);
        let [a, b, c, d, e] = *expected;
        let [before, after, earlier, later] = near;
        out[*index] = [own, a, b, c, d, e, before, after, earlier, later];
    }
    out
}

/// The best log odds up to 60 ms before and after a candidate, and 60 to 150 ms before and after it.
fn neighbours(sorted: &[Opinion], place: usize) -> [f32; 4] {
    const NEAR: usize = 6 * CELL;
    const FAR: usize = 15 * CELL;
    let own = sorted[place].0;
    let best = |side: &mut dyn Iterator<Item = &Opinion>| {
        let mut best = [ABSENT; 2];
        for (sample, odds) in side.take_while(|(sample, _)| sample.abs_diff(own) < FAR) {
            let far = usize::from(sample.abs_diff(own) >= NEAR);
            best[far] = best[far].max(odds.clamp(-SURE, SURE));
        }
        best
    };
    let [before, earlier] = best(&mut sorted[..place].iter().rev());
    let [after, later] = best(&mut sorted[place + 1..].iter());
    [before, after, earlier, later]
}

/// How probable strokes are, cell by cell.
struct Rhythm {
    /// The likeliest stroke that begins in the cell.
    cells: Vec<f32>,
    /// The likeliest stroke within [`LOOSE`] cells.
    near: Vec<f32>,
}

impl Rhythm {
    fn of(opinions: &[Opinion]) -> Rhythm {
        let last = opinions.iter().map(|(sample, _)| sample / CELL).max();
        let mut cells = vec![0.0f32; last.map_or(0, |last| last + 1)];
        for (sample, odds) in opinions {
            let cell = &mut cells[sample / CELL];
            *cell = cell.max(1.0 / (1.0 + (-odds).exp()));
        }
        let near = (0..cells.len())
            .map(|n| {
                let end = (n + LOOSE + 1).min(cells.len());
                cells[n.saturating_sub(LOOSE)..end]
                    .iter()
                    .copied()
                    .fold(0.0, f32::max)
            })
            .collect();
        Rhythm { cells, near }
    }

    /// What is expected at each candidate of one block.
    fn block(&self, block: &[Opinion]) -> Vec<[f32; 5]> {
        let first = block
            .first()
            .map_or(0, |(sample, _)| sample / CELL / BLOCK * BLOCK);
        let start = first.saturating_sub(AROUND);
        let end = (first + BLOCK + AROUND).min(self.cells.len());
        let (cells, near) = (&self.cells[start..end], &self.near[start..end]);
        let usual = near.iter().sum::<f32>() / near.len().max(1) as f32;
        let returns = returning(cells, near);
        let weights: Vec<f32> = returns.iter().map(|r| (r - usual).max(0.0).powi(2)).collect();
        let strongest = returns.iter().copied().fold(0.0, f32::max);
        let mut ranked: Vec<usize> = (0..weights.len()).collect();
        ranked.sort_by(|a, b| weights[*b].total_cmp(&weights[*a]).then(a.cmp(b)));
        block
            .iter()
            .map(|(sample, _)| {
                let cell = sample / CELL - start;
                let all = expectation(near, &weights, cell, 0..weights.len());
                let best = expectation(near, &weights, cell, ranked.iter().copied().take(BEST));
                [all, best, usual, (all / (usual + 0.02)).min(20.0), strongest]
            })
            .collect()
    }
}

/// How probable a stroke is at each distance after another, from [`SHORTEST`] to [`LONGEST`] cells.
fn returning(cells: &[f32], near: &[f32]) -> Vec<f32> {
    let mut sum = 0.0;
    let sums = cells.iter().map(|cell| {
        sum += cell;
        sum
    });
    let sums: Vec<f32> = std::iter::once(0.0).chain(sums).collect();
    let mut returns = vec![0.0f32; LONGEST - SHORTEST];
    for (block, both) in returns.chunks_mut(SIDE).enumerate() {
        // Sums of many distances grow side by side, each in its own order; there are no strokes beyond the end.
        let first = SHORTEST + block * SIDE;
        for (n, cell) in cells.iter().enumerate() {
            let later = near.get(n + first..).unwrap_or_default();
            both.iter_mut()
                .zip(later)
                .for_each(|(both, near)| *both += cell * near);
        }
        for (lag, both) in (first..).zip(both) {
            let there = near.len().checked_sub(lag).and_then(|count| sums.get(count));
            *both /= there.copied().unwrap_or(0.0).max(1e-3);
        }
    }
    returns
}

/// The mean probability of strokes at the distances numbered `lags` before and after `cell`, by weight.
fn expectation(near: &[f32], weights: &[f32], cell: usize, lags: impl Iterator<Item = usize>) -> f32 {
    let (mut sum, mut total) = (0.0, 1e-6);
    for lag in lags {
        let weight = weights[lag];
        let before = cell.checked_sub(lag + SHORTEST).and_then(|n| near.get(n));
        for value in before.into_iter().chain(near.get(cell + lag + SHORTEST)) {
            sum += weight * value;
            total += weight;
        }
    }
    sum / total
}
