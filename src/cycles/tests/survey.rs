//! The same pieces as in the suites, in numbers that take minutes, told as tables:
//!
//!     OVERBAR_SEED=70000 cargo test --release --lib cycles::tests::survey -- --ignored --nocapture
//!
//! `OVERBAR_SEED` is the first seed and `OVERBAR_PIECES` the number of pieces of a kind (200).

use std::collections::BTreeSet;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::invented::{
    Piece, Repeats, cell_solo, groove, one_figure, random_solo, reset_figure, two_figures,
};
use super::suites::{Told, both_lengths, claims, found, grade_of, has_length, is_resolved, near_ends};
use super::{Stroke, grid, options, placed};
use crate::cycles::code::{Codes, Room, Tally};
use crate::cycles::strokes::{Turn, tally};
use crate::cycles::{Cycles, Verdict, find};
use crate::names::{Mark, Voice};

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
#[ignore = "takes minutes: what claims are told"]
fn claims_about_planted_figures() {
    for (name, repeats) in [
        ("4 repeats", Repeats::Four),
        ("6 and more", Repeats::SixOrMore),
        ("16 and more", Repeats::Many),
    ] {
        let make = |seed| one_figure(seed, repeats, 0.0..0.2);
        let told: Vec<Told> = seeds().into_par_iter().map(|seed| claims(&make(seed))).collect();
        let right = told.iter().filter(|t| t.proved).count();
        let (open, believed) = told
            .iter()
            .fold((0, 0), |sum, t| (sum.0 + t.open, sum.1 + t.believed));
        println!(
            "{name}, seeds {:?}: of {} right {right} proved, wrong ones open {open}, believed {believed}",
            seeds(),
            told.len()
        );
    }
}

/// What is found when every fifth stroke, about, is an accent.
fn with_accents(piece: &Piece, seed: u64) -> Cycles {
    let grid = grid(piece.meter, piece.per_beat, piece.steps);
    let mut placed = placed(&piece.strokes, &grid);
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    for p in &mut placed {
        p.hit.mark = random.random_bool(0.2).then_some(Mark::Accent);
    }
    find(&placed, &grid, &options())
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
            .map(|seed| (seed, grade_of(&with_accents(&make(seed), seed))))
            .filter(|(_, grade)| grade.is_some())
            .collect();
        println!("{kind}, seeds {:?}: {grades:?}", seeds());
    }
}

/// The length that an oracle chooses which knows the figure's voices and its stretch: the one whose cycle makes their
/// strokes there cheapest to write down, the shortest of those that are within two bits.
fn oracle_by_cost(piece: &Piece) -> i64 {
    let planted = &piece.planted[0];
    let (from, to) = planted.span;
    let rows: Vec<Vec<u8>> = planted.voices.iter().map(|v| row(piece, *v)).collect();
    let codes = Codes::new(piece.steps as usize + 1);
    let (mut counts, mut room) = (Tally::default(), Room::default());
    let mut cost = |length: i64| -> f64 {
        let each = rows.iter().map(|row| {
            let span = (from as usize, (to as usize).min(row.len()));
            tally(row, span, Turn::free(length as usize), &mut counts);
            codes.bits(&counts, &mut room)
        });
        each.sum()
    };
    let costs: Vec<(i64, f64)> = lengths(piece).map(|l| (l, cost(l))).collect();
    let least = costs.iter().map(|c| c.1).fold(f64::INFINITY, f64::min);
    let mut near = costs.into_iter().filter(|c| c.1 <= least + 2.0);
    near.next().map_or(0, |c| c.0)
}

/// The length that an oracle chooses which knows the very notes as well: those are laid out anew at every length, cut or
/// with rests after them, and the length at which most of them meet strokes beyond what density explains is taken.
fn oracle_by_notes(piece: &Piece) -> i64 {
    let planted = &piece.planted[0];
    let (from, to) = planted.span;
    let rows: Vec<(Voice, Vec<u8>)> = planted.voices.iter().map(|v| (*v, row(piece, *v))).collect();
    let told = |length: i64| -> f64 {
        let each = rows.iter().map(|(voice, row)| {
            let hit = |step: i64| row.get(step as usize).is_some_and(|h| *h > 0);
            let density = (from..to).filter(|s| hit(*s)).count() as f64 / (to - from) as f64;
            let density = density.clamp(0.02, 0.98);
            let notes = (from..to).filter(|s| {
                let phase = (s - from) % length;
                planted.notes.contains(&(phase, *voice))
            });
            // A note of the figure is struck in 85 of 100 repeats (10 missing, 5 moved).
            let tells = |s: i64| {
                if hit(s) {
                    (0.85f64.max(density) / density).log2()
                } else {
                    (0.15f64.min(1.0 - density) / (1.0 - density)).log2()
                }
            };
            notes.map(tells).sum::<f64>()
        });
        each.sum()
    };
    lengths(piece)
        .max_by(|a, b| told(*a).total_cmp(&told(*b)))
        .unwrap_or(0)
}

fn row(piece: &Piece, voice: Voice) -> Vec<u8> {
    let mut row = vec![0; piece.steps as usize + 2];
    for (step, _) in piece.strokes.iter().filter(|s| s.1 == voice) {
        row[*step as usize] = 1;
    }
    row
}

/// Lengths over the bar of which four fit into the planted stretch.
fn lengths(piece: &Piece) -> impl Iterator<Item = i64> {
    let (bar, planted) = (piece.bar(), piece.planted[0].span);
    (2..=(planted.1 - planted.0) / 4).filter(move |l| bar % l != 0 && l % bar != 0)
}

#[test]
#[ignore = "takes minutes: a table beside two oracles"]
fn strokes_at_will_on_the_figures_own_voices() {
    println!(
        "seeds {:?}, 6 repeats and more, percent of lengths right",
        seeds()
    );
    println!("at will    search   knows voices and stretch   knows the notes too");
    for density in [0.0..0.2, 0.2..0.4, 0.4..0.6, 0.6..0.8] {
        let make = |seed| one_figure(seed, Repeats::SixOrMore, density.clone());
        let search = share(make, |p| has_length(&found(p), p));
        let by_cost = share(make, |p| oracle_by_cost(p) == p.planted[0].length);
        let by_notes = share(make, |p| oracle_by_notes(p) == p.planted[0].length);
        println!("{density:?} {search:>8.1} {by_cost:>8.1} {by_notes:>20.1}");
    }
}

/// Where the planted length is found: how many strokes are the figure's and marked so, how many are marked, and how many
/// are the figure's.
fn marked(piece: &Piece) -> [usize; 3] {
    let grid = grid(piece.meter, piece.per_beat, piece.steps);
    let placed = placed(&piece.strokes, &grid);
    let found = find(&placed, &grid, &options());
    if found.found.is_empty() || !has_length(&found, piece) {
        return [0; 3];
    }
    let figure: BTreeSet<&Stroke> = piece.figures.iter().collect();
    let layer = piece.strokes.iter().zip(&found.layer);
    let layer: Vec<&Stroke> = layer.filter_map(|(s, figure)| figure.map(|_| s)).collect();
    let both = layer.iter().filter(|stroke| figure.contains(**stroke)).count();
    [both, layer.len(), figure.len()]
}

#[test]
#[ignore = "takes minutes: how well strokes are told apart"]
fn layers_of_planted_figures() {
    for density in [0.0..0.01, 0.0..0.2, 0.2..0.4] {
        let make = |seed| one_figure(seed, Repeats::Many, density.clone());
        let sums = seeds().into_par_iter().map(|seed| marked(&make(seed)));
        let sums = sums.reduce(|| [0; 3], |a, b| [a[0] + b[0], a[1] + b[1], a[2] + b[2]]);
        let [both, told, all] = sums.map(|sum| sum as f64);
        println!(
            "at will {density:?}: {:.3} of the marked strokes are the figure's, {:.3} of the figure's are marked, F {:.3}",
            both / told,
            both / all,
            2.0 * both / (told + all)
        );
    }
}
