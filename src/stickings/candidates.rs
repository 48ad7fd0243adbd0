//! A line -> the cells of which its vocabulary may be made: what it plays twice at once, and, where two limbs play it, whatever
//! short cells there are.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

use super::cell::{Symbol, class, is_primitive};
use super::line::Line;

/// The shortest and the longest cell.
pub(super) const LENGTHS: RangeInclusive<usize> = 2..=9;
/// So many candidates of each length are weighed.
const CANDIDATES: usize = 6;
/// Cells of up to so many strokes are few enough to try them all.
const SHORT: usize = 6;

/// Cells that the line plays twice at once, those first of which it plays most, of each length a few; in a line of
/// two limbs all short cells besides, for who plays what there may be open.
pub(super) fn candidates(line: &Line) -> Vec<Vec<Symbol>> {
    let mut all = Vec::new();
    for length in LENGTHS {
        let mut counts: BTreeMap<Vec<Symbol>, usize> = BTreeMap::new();
        for at in 0..(line.len() + 1).saturating_sub(2 * length) {
            let (Some(a), Some(b)) = (
                line.played.get(at..at + length),
                line.played.get(at + length..at + 2 * length),
            ) else {
                continue;
            };
            let Some(cell) = merged(a, b) else { continue };
            let strokes = cell.iter().filter(|symbol| !symbol.is_empty()).count();
            if strokes >= 2 && 2 * strokes >= length && is_primitive(&cell) {
                *counts.entry(class(&cell, line.hand)).or_default() += 1;
            }
        }
        let mut most: Vec<(Vec<Symbol>, usize)> =
            counts.into_iter().filter(|(_, count)| *count > 1).collect();
        most.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        all.extend(most.into_iter().take(CANDIDATES).map(|(cell, _)| cell));
    }
    for cell in of_two_limbs(line, *LENGTHS.start()..=SHORT) {
        if !all.contains(&cell) {
            all.push(cell);
        }
    }
    all
}

/// Every longer cell of a line's two limbs that is not `known`, but for those in which one of them strikes three times in
/// a row: such are many, and players seldom build solos from them [C].
pub(super) fn longer(line: &Line, known: &[Vec<Symbol>]) -> Vec<Vec<Symbol>> {
    let mut all = of_two_limbs(line, SHORT + 1..=*LENGTHS.end());
    all.retain(|cell| !known.contains(cell) && !strikes_thrice(cell));
    all
}

/// Whether a limb strikes three times in a row while the cell goes on.
fn strikes_thrice(cell: &[Symbol]) -> bool {
    let at = |n: usize| cell[n % cell.len()];
    (0..cell.len()).any(|n| at(n) == at(n + 1) && at(n) == at(n + 2))
}

/// Every cell of a line's two limbs.
fn of_two_limbs(line: &Line, lengths: RangeInclusive<usize>) -> Vec<Vec<Symbol>> {
    let [a, b] = line.hand.limbs.list()[..] else {
        return Vec::new();
    };
    let mut all: BTreeSet<Vec<Symbol>> = BTreeSet::new();
    for length in lengths {
        for number in 0..1u32 << length {
            let limb = |n: usize| if number >> n & 1 == 1 { a } else { b };
            let cell: Vec<Symbol> = (0..length).map(|n| Symbol::of(&[limb(n)])).collect();
            if is_primitive(&cell) {
                all.insert(class(&cell, line.hand));
            }
        }
    }
    all.into_iter().collect()
}

/// Two statements of one cell, of which one step may be left out in one of them.
fn merged(a: &[Symbol], b: &[Symbol]) -> Option<Vec<Symbol>> {
    let mut apart = 0;
    let both = a.iter().zip(b).map(|(x, y)| {
        if x == y {
            return Some(*x);
        }
        apart += 1;
        match (x.is_empty(), y.is_empty()) {
            (true, false) => Some(*y),
            (false, true) => Some(*x),
            _ => None,
        }
    });
    let both: Option<Vec<Symbol>> = both.collect();
    both.filter(|_| apart <= 1)
}
