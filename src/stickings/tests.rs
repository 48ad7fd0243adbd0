//! What must hold of limbs and cells on invented solos whose truth is known. The constants were chosen on seeds below
//! 1000; these tests use others.

#![allow(clippy::print_stdout, reason = "tells what was measured")]

use super::body::{Body, BodyTables};
use super::invented::{Kept, Planted, Solo, Wish, solo};
use super::*;

const KEPT: [Kept; 5] = [Kept::Left, Kept::Right, Kept::Feet, Kept::Hand, Kept::Nobody];

fn wish(kept: Kept) -> Wish {
    Wish {
        kept,
        bars: 14,
        cells: vec![("RLL", 1), ("RRLRL", 1), ("RLLR", 1), ("RLRLLR", 1)],
        rests: 0.05,
    }
}

fn right_limbs(solo: &Solo, found: &Found) -> usize {
    found
        .limbs
        .iter()
        .zip(&solo.limbs)
        .filter(|(found, limb)| **found == Some(**limb))
        .count()
}

/// Steps of the planted stretches on which a cell of the same length was found that begins on the same steps; and the
/// same for the same length alone.
fn right_steps(planted: &[Planted], stickings: &Stickings) -> (usize, usize, usize) {
    let runs: Vec<(&Cell, &Run)> = stickings
        .vocabulary
        .iter()
        .flat_map(|cell| cell.r#where.iter().map(move |run| (cell, run)))
        .collect();
    let (mut begun, mut length, mut all) = (0, 0, 0);
    for stretch in planted {
        for step in stretch.steps.0..stretch.steps.1 {
            all += 1;
            let own = runs
                .iter()
                .find(|(_, run)| (run.steps[0]..run.steps[1]).contains(&step));
            let Some((cell, run)) = own.filter(|(cell, _)| cell.steps as usize == stretch.length) else {
                continue;
            };
            length += 1;
            begun += usize::from((run.steps[0] - stretch.steps.0) % i64::from(cell.steps) == 0);
        }
    }
    (begun, length, all)
}

#[test]
#[ignore = "measures"]
fn measure() {
    let (mut right, mut hits) = (0, 0);
    let (mut begun, mut length, mut steps, mut extra) = (0, 0, 0, 0);
    let base: u64 = std::env::var("SEED")
        .ok()
        .and_then(|s| s.parse().ok())
        .unwrap_or(1);
    for kept in KEPT {
        for seed in base..base + 8 {
            let solo = solo(&wish(kept), seed);
            let found = solo.found();
            let r = right_limbs(&solo, &found);
            let (b, l, a) = right_steps(&solo.planted, &found.stickings);
            let cells: Vec<&str> = found
                .stickings
                .vocabulary
                .iter()
                .map(|c| c.cell.as_str())
                .collect();
            println!(
                "{kept:?} {seed}: limbs {r}/{} begun {b} length {l} of {a} {cells:?} unexplained {:?}",
                solo.hits.len(),
                found.stickings.unexplained
            );
            (right, hits) = (right + r, hits + solo.hits.len());
            (begun, length, steps) = (begun + b, length + l, steps + a);
            extra = extra.max(cells.len().saturating_sub(4));
        }
    }
    println!(
        "limbs {:.4}, cells begun right {:.3}, length right {:.3}, extra {extra}",
        right as f64 / hits as f64,
        begun as f64 / steps as f64,
        length as f64 / steps as f64
    );
}
