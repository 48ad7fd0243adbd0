//! Numbers that are mostly small -> bits: a count of ones' worth in unary, the rest as it is (Rice, "Some practical
//! universal noiseless coding techniques", JPL 79-22, 1979), in parts of a block that each have their own measure.

use super::BLOCK;
use super::bits::Bits;

/// The measure is written with 4 bits, whose highest value means something else.
const MOST: u32 = 14;
/// A block is cut into two to the power of this parts at most.
const FINEST: u32 = 6;
/// Bits in which a part's measure is written.
const SAID: u64 = 4;

/// The best measure for `count` numbers of this sum, and the bits that they take, about: rounding may save some.
pub(super) fn cost(sum: u64, count: u64) -> (u32, u64) {
    let near = (sum / count.max(1) + 1).ilog2();
    let tried = near.saturating_sub(2)..=near;
    let bits = |k: u32| (k, count * u64::from(k + 1) + (sum >> k));
    let all = tried.map(|k| bits(k.min(MOST)));
    all.min_by_key(|(_, cost)| *cost).unwrap_or_default()
}

/// How a block is cut into parts, as a power of two, and the measure of each.
fn parts(numbers: &[u32], known: usize) -> (u32, Vec<u32>) {
    let sum = |part: &[u32]| part.iter().map(|n| u64::from(*n)).sum::<u64>();
    let mut sums: Vec<u64> = numbers.chunks_exact(BLOCK >> FINEST).map(sum).collect();
    let mut best = (u64::MAX, 0, Vec::new());
    for power in (0..=FINEST).rev() {
        let length = (BLOCK >> power) as u64;
        let count = |at: usize| length - if at == 0 { known as u64 } else { 0 };
        let each = || sums.iter().enumerate().map(|(at, sum)| cost(*sum, count(at)));
        let all = each().map(|(_, cost)| cost + SAID).sum();
        if all < best.0 {
            best = (all, power, each().map(|(k, _)| k).collect());
        }
        sums = sums.chunks_exact(2).map(|two| two.iter().sum()).collect();
    }
    (best.1, best.2)
}

/// Writes the numbers of a block, of which the first `known` are not needed.
pub(super) fn put(out: &mut Bits, numbers: &[u32], known: usize) {
    const FOUR_BITS: u64 = 0;
    let (power, measures) = parts(numbers, known);
    out.put(FOUR_BITS, 2);
    out.put(u64::from(power), 4);
    let parts = numbers.chunks_exact(BLOCK >> power).zip(measures);
    for (at, (part, k)) in parts.enumerate() {
        out.put(u64::from(k), SAID as u32);
        let skip = if at == 0 { known } else { 0 };
        for number in part.iter().skip(skip) {
            let mut zeros = number >> k;
            while zeros > 16 {
                out.put(0, 16);
                zeros -= 16;
            }
            // At most 16 zeros, a one, and 14 bits.
            out.put(1 << k | u64::from(number & ((1 << k) - 1)), zeros + 1 + k);
        }
    }
}
