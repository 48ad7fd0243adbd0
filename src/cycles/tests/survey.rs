//! The same pieces as in the suites, in numbers that take minutes, told as tables:
//!
//!     OVERBAR_SEED=70000 cargo test --release --lib cycles::tests::survey -- --ignored --nocapture
//!
//! `OVERBAR_SEED` is the first seed and `OVERBAR_PIECES` the number of pieces of a kind (200).

use rayon::prelude::*;

use super::invented::{
    Piece, Repeats, cell_solo, groove, one_figure, random_solo, reset_figure, two_figures,
};
use super::suites::{both_lengths, found, grade_of, has_length, is_resolved, near_ends};
use crate::cycles::Verdict;

fn number(name: &str, default: u64) -> u64 {
    let given = std::env::var(name).ok();
    given.map_or(default, |text| text.parse().unwrap())
}

fn seeds() -> std::ops::Range<u64> {
    let first = number("OVERBAR_SEED", 70_000);
    first..first + number("OVERBAR_PIECES", 200)
}

/// The share of pieces for which something holds, in percent.
fn share(make: impl Fn(u64) -> Piece + Sync, holds: impl Fn(&Piece) -> bool + Sync) -> f64 {
    let pieces: Vec<u64> = seeds().collect();
    let held = pieces.par_iter().filter(|seed| holds(&make(**seed))).count();
    100.0 * held as f64 / pieces.len() as f64
}

#[test]
#[ignore = "takes minutes: a table of what is found"]
fn planted_figures() {
    println!("seeds {:?}, percent", seeds());
    for (name, repeats) in [("4 repeats", Repeats::Four), ("6 and more", Repeats::SixOrMore)] {
        let make = |seed| one_figure(seed, repeats, 0.0..0.2);
        let first = share(make, |p| has_length(&found(p), p));
        let ends = share(make, |p| {
            let found = found(p);
            has_length(&found, p) && near_ends(&found, p)
        });
        println!("{name}: length first {first:.1}, and ends within a cycle {ends:.1}");
    }
    let resets = share(reset_figure, |p| is_resolved(&found(p), p));
    let pairs = share(two_figures, |p| both_lengths(&found(p), p));
    println!("reset {resets:.1}, two at once {pairs:.1}");
}

#[test]
#[ignore = "takes minutes: counts false figures"]
fn solos_without_a_figure() {
    for (kind, make) in [
        ("random strokes", random_solo as fn(u64) -> Piece),
        ("grooves with fills", groove),
        ("solos of cells", cell_solo),
    ] {
        let grades: Vec<(u64, Option<Verdict>)> = seeds()
            .into_par_iter()
            .map(|seed| (seed, grade_of(&found(&make(seed)))))
            .filter(|(_, grade)| grade.is_some())
            .collect();
        println!("{kind}, seeds {:?}: {grades:?}", seeds());
    }
}

#[test]
#[ignore = "lab"]
fn lab_misses() {
    let all: Vec<String> = seeds()
        .into_par_iter()
        .filter_map(|seed| {
            let p = one_figure(seed, Repeats::SixOrMore, 0.0..0.2);
            let f = found(&p);
            if has_length(&f, &p) {
                return None;
            }
            let pl = &p.planted[0];
            let first = super::crossing(&f).first().copied().or(f.open.as_ref()).map(|c| {
                (
                    c.length_steps,
                    c.bits.0.round(),
                    c.resolved.clone().map(|r| r.every_bars),
                    c.grade,
                    c.voices.clone(),
                    (c.start.bar, c.end.bar),
                )
            });
            let own = f
                .lengths
                .iter()
                .find(|l| i64::from(l.steps) == pl.length)
                .map(|l| l.bits.0);
            let mut best: Vec<_> = f.lengths.iter().map(|l| (l.steps, l.bits.0.round())).collect();
            best.sort_by(|a, b| b.1.total_cmp(&a.1));
            best.truncate(3);
            Some(format!(
                "{seed} bar {} steps {} L {} span {:?} notes {:?} voices {:?}: first {:?} own {:?} best {:?}",
                p.bar(),
                p.steps,
                pl.length,
                pl.span,
                pl.notes.len(),
                pl.voices,
                first,
                own,
                best
            ))
        })
        .collect();
    for a in all {
        println!("{a}");
    }
}
