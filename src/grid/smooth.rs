//! Beats near the truth -> beats on a smooth tempo curve (s): least squares of the strokes' distances from their
//! steps against changes of tempo.
//!
//! The curve runs straight between beats, so every stroke touches two unknowns and every change of tempo three: the
//! equations have five diagonals and are solved in one pass (Cholesky factors of a banded matrix).

use super::division::Division;
use super::events::Event;

/// Spread of strokes around their step in seconds (TRADE 5) [P: Fujii 2011].
const SPREAD: f64 = 0.010;
/// Usual change of the beat's length from one beat to the next, as a share of it [M].
const SWAY: f64 = 0.012;

/// Where each event lies in beats, counted from `beats[0]`. Empty with fewer than two beats.
pub(super) fn places(events: &[Event], beats: &[f64]) -> Vec<f64> {
    let Some(last) = beats.len().checked_sub(2) else {
        return Vec::new();
    };
    let place = |e: &Event| {
        let i = beats
            .partition_point(|b| *b <= e.time)
            .saturating_sub(1)
            .min(last);
        i as f64 + (e.time - beats[i]) / (beats[i + 1] - beats[i])
    };
    events.iter().map(place).collect()
}

/// Draws `beats` onto a smooth curve through the events that lie near a step of `division`.
pub(super) fn smooth(events: &[Event], beats: &[f64], division: Division) -> Vec<f64> {
    let count = beats.len();
    if count < 3 {
        return beats.to_vec();
    }
    let period = (beats[count - 1] - beats[0]) / (count - 1) as f64;
    let mut diagonals = vec![[0.0; 3]; count];
    let mut right = vec![0.0; count];
    for (event, place) in events.iter().zip(places(events, beats)) {
        let step = division.place(division.nearest(place));
        let off = (place - step) * period;
        // A stroke three spreads off its step hardly pulls (a robust weight).
        let weight = event.weight / (SPREAD * SPREAD) / (1.0 + (off / (2.0 * SPREAD)).powi(4));
        let i = (step.floor().max(0.0) as usize).min(count - 2);
        let b = step - i as f64;
        let a = 1.0 - b;
        diagonals[i][0] += weight * a * a;
        diagonals[i][1] += weight * a * b;
        diagonals[i + 1][0] += weight * b * b;
        right[i] += weight * a * event.time;
        right[i + 1] += weight * b * event.time;
    }
    let stiff = 1.0 / (SWAY * period).powi(2);
    for i in 0..count - 2 {
        for (row, c) in [1.0, -2.0, 1.0].into_iter().enumerate() {
            for (column, d) in [1.0, -2.0, 1.0].into_iter().enumerate().skip(row) {
                diagonals[i + row][column - row] += stiff * c * d;
            }
        }
    }
    let smoothed = solve(diagonals, right);
    let rising = smoothed.windows(2).all(|w| w[1] - w[0] > 0.3 * period);
    if rising { smoothed } else { beats.to_vec() }
}

/// Solves a symmetric positive system whose row i holds the entries (i, i), (i, i+1), (i, i+2).
fn solve(mut rows: Vec<[f64; 3]>, mut right: Vec<f64>) -> Vec<f64> {
    let count = rows.len();
    for i in 0..count {
        let [pivot, one, two] = rows[i];
        let pivot = pivot.max(1e-12);
        rows[i][0] = pivot;
        let (f, g) = (one / pivot, two / pivot);
        if i + 1 < count {
            rows[i + 1][0] -= f * one;
            rows[i + 1][1] -= f * two;
            right[i + 1] -= f * right[i];
        }
        if i + 2 < count {
            rows[i + 2][0] -= g * two;
            right[i + 2] -= g * right[i];
        }
    }
    for i in (0..count).rev() {
        let after = |k: usize| right.get(i + k).copied().unwrap_or(0.0);
        right[i] = (right[i] - rows[i][1] * after(1) - rows[i][2] * after(2)) / rows[i][0];
    }
    right
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_solution_fulfils_the_equations() {
        let rows = vec![
            [4.0, 1.0, 0.5],
            [5.0, -1.0, 0.3],
            [6.0, 2.0, 0.0],
            [7.0, 0.0, 0.0],
        ];
        let right = vec![1.0, 2.0, 3.0, 4.0];
        let x = solve(rows, right.clone());
        let full = [
            [4.0, 1.0, 0.5, 0.0],
            [1.0, 5.0, -1.0, 0.3],
            [0.5, -1.0, 6.0, 2.0],
            [0.0, 0.3, 2.0, 7.0],
        ];
        for (row, r) in full.iter().zip(right) {
            let sum: f64 = row.iter().zip(&x).map(|(a, b)| a * b).sum();
            assert!((sum - r).abs() < 1e-9, "{sum} {r}");
        }
    }

    #[test]
    fn beats_that_are_a_little_off_are_drawn_to_the_strokes() {
        let event = |i: u32| Event {
            time: 0.125 * f64::from(i),
            weight: 1.0,
            struck: Default::default(),
            accent: 0.0,
        };
        let events: Vec<Event> = (0..80).map(event).collect();
        let beats: Vec<f64> = (0..21)
            .map(|i| 0.5 * f64::from(i) + 0.02 * f64::from(i % 2))
            .collect();
        let smoothed = smooth(
            &events,
            &smooth(&events, &beats, Division::even(4)),
            Division::even(4),
        );
        for (i, beat) in smoothed.iter().enumerate() {
            assert!((beat - 0.5 * i as f64).abs() < 0.003, "{i}: {beat}");
        }
    }
}
