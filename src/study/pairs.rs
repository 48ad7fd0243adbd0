//! One-to-one pairing of times: which of these is which of those.

use super::tick::Tick;

/// Pairs each of `left` with at most one of `right` that is at most `window` ticks away, cheapest first.
///
/// `cost` says what a pair costs, or `None` where the two cannot be the same. Both index the slices as given; equal
/// costs go by the order of `left`, then of `right`. The result is in the order in which the pairs were made.
pub(super) fn pairs(
    left: &[Tick],
    right: &[Tick],
    window: u64,
    cost: impl Fn(usize, usize) -> Option<u64>,
) -> Vec<(usize, usize)> {
    let mut order: Vec<usize> = (0..right.len()).collect();
    order.sort_by_key(|r| right[*r]);
    let mut offers = Vec::new();
    for (l, at) in left.iter().enumerate() {
        let first = order.partition_point(|r| right[*r] < at.minus(window));
        let near = order
            .iter()
            .skip(first)
            .take_while(|r| right[**r] <= at.plus(window));
        offers.extend(near.filter_map(|r| cost(l, *r).map(|price| (price, l, *r))));
    }
    offers.sort_unstable();
    let (mut left_taken, mut right_taken) = (vec![false; left.len()], vec![false; right.len()]);
    let mut made = Vec::new();
    for (_, l, r) in offers {
        if !left_taken[l] && !right_taken[r] {
            (left_taken[l], right_taken[r]) = (true, true);
            made.push((l, r));
        }
    }
    made
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    fn ticks(times: &[f64]) -> Vec<Tick> {
        times.iter().map(|t| Tick::of(Seconds(*t))).collect()
    }

    #[test]
    fn the_nearest_pair_first_and_each_once() {
        let (left, right) = (ticks(&[1.0, 1.02, 5.0]), ticks(&[5.2, 1.019, 1.04]));
        let apart = |l: usize, r: usize| Some(left[l].apart(right[r]));
        let made = pairs(&left, &right, Tick::millis(50), apart);
        assert_eq!(made, [(1, 1), (0, 2)]);
    }

    #[test]
    fn what_cannot_be_the_same_is_not_paired() {
        let times = ticks(&[1.0]);
        assert_eq!(pairs(&times, &times, 0, |_, _| None), []);
        assert_eq!(pairs(&times, &[], 10, |_, _| Some(0)), []);
    }
}
