//! Fits the judge of readings to performances and invented parts whose grid is known, by maximum likelihood of the
//! right beats and the right bars among all that are weighed, with a quadratic price on the weights. Seeded; first
//! holds out every third performance and every third seed of invented parts and says how often the chosen reading is
//! right there, then fits to all and writes `src/grid/judge.bin`.
//!
//!     GROOVES=folder-of-the-groove-midi-dataset PRACTICE=file cargo test --release --lib make_practice -- --ignored
//!     PRACTICE=file cargo test --release --lib fit_the_judge -- --ignored --nocapture

#[path = "parts.rs"]
mod parts;

use std::path::Path;

use rand::seq::SliceRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::events::gather;
use super::judge::{HIDDEN, Judge, VALUES};
use super::reading::{MARKS, Reading};
use super::search::readings;
use crate::options::GridOptions;
use parts::{Example, Groove, example, grooves};

/// The readings of one example: marks as the network takes them, and how right each is: 2 in its bars, 1 in its
/// beats alone.
struct Set {
    marks: Vec<Vec<f32>>,
    right: Vec<u8>,
    held_out: bool,
    kind: u8,
}

/// Kinds of material, told apart when the result is measured.
const KINDS: [&str; 3] = ["played", "invented groove", "invented solo"];
/// Rounds over all examples.
const ROUNDS: usize = 8;
/// Price of a squared weight.
const PRICE: f32 = 0.01;
/// Networks whose mean is the judge.
const MEMBERS: usize = 2;
/// Examples between two steps.
const BATCH: usize = 12;
/// Share of the wrong readings that are kept for the fit.
const KEPT: f64 = 0.15;

fn number(name: &str, usual: usize) -> usize {
    std::env::var(name)
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(usual)
}

#[test]
#[ignore = "takes minutes and the data set; run it to fit the judge anew"]
fn make_practice() {
    let folder = std::env::var("GROOVES").expect("GROOVES names the data set's folder");
    let path = std::env::var("PRACTICE").expect("PRACTICE names the file to write");
    let grooves = grooves(Path::new(&folder));
    let first = number("FIRST", 0);
    let sets: Vec<Set> = (first..first + number("EXAMPLES", 3000))
        .into_par_iter()
        .filter_map(|seed| set(&grooves, seed as u64))
        .collect();
    let reached = |level: u8| sets.iter().filter(|s| s.right.contains(&level)).count();
    println!(
        "{} examples, right beats are among the readings of {}, right bars too of {}",
        sets.len(),
        sets.iter().filter(|s| s.right.iter().any(|r| *r > 0)).count(),
        reached(2)
    );
    let mut bytes: Vec<u8> = Vec::new();
    for set in sets.iter().filter(|s| s.right.contains(&2)) {
        bytes.extend((set.right.len() as u32).to_le_bytes());
        bytes.extend([u8::from(set.held_out), set.kind]);
        bytes.extend(&set.right);
        bytes.extend(set.marks.iter().flatten().flat_map(|m| m.to_le_bytes()));
    }
    std::fs::write(path, bytes).expect("the practice can be written");
}

fn read_practice(path: &str) -> Vec<Set> {
    let bytes = std::fs::read(path).expect("PRACTICE can be read");
    let (mut rest, mut sets) = (bytes.as_slice(), Vec::new());
    while let Some((head, tail)) = rest.split_at_checked(6) {
        let count = u32::from_le_bytes(head[..4].try_into().expect("four bytes")) as usize;
        let (right, tail) = tail.split_at(count);
        let (marks, tail) = tail.split_at(count * MARKS * 4);
        let values: Vec<f32> = marks
            .as_chunks::<4>()
            .0
            .iter()
            .map(|b| f32::from_le_bytes(*b))
            .collect();
        sets.push(Set {
            marks: values.chunks(MARKS).map(<[f32]>::to_vec).collect(),
            right: right.to_vec(),
            held_out: head[4] == 1,
            kind: head[5],
        });
        rest = tail;
    }
    sets
}

#[test]
#[ignore = "takes minutes and the data set; run it to fit the judge anew"]
fn fit_the_judge() {
    let mut sets = read_practice(&std::env::var("PRACTICE").expect("PRACTICE names the file to read"));
    let mut start = Judge::blank(HIDDEN / MEMBERS);
    start.usual = usual(sets.iter().flat_map(|s| &s.marks));
    for marks in sets.iter_mut().flat_map(|s| &mut s.marks) {
        *marks = start.even(marks);
    }
    let (held, seen): (Vec<&Set>, Vec<&Set>) = sets.iter().partition(|s| s.held_out);
    println!("{} examples, {} held out", sets.len(), held.len());
    let trial = fit(&start, &seen);
    for (name, sets) in [("seen", &seen), ("held out", &held)] {
        for (k, kind) in KINDS.iter().enumerate() {
            let sets: Vec<&Set> = sets
                .iter()
                .filter(|s| usize::from(s.kind) == k)
                .copied()
                .collect();
            let (beats, bars, log_share) = measure(&trial, &sets, 1.0);
            println!(
                "{name}, {kind}: {} examples, beats {beats:.3}, bars {bars:.3}, mean log share {log_share:.3}",
                sets.len()
            );
        }
    }
    for doubt in [1.0, 1.25, 1.5, 2.0] {
        println!(
            "held out: mean log share {:.3} with doubt {doubt}",
            measure(&trial, &held, doubt).2
        );
    }
    let judge = if number("ALL", 1) == 1 {
        fit(&start, &sets.iter().collect::<Vec<_>>())
    } else {
        trial
    };
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/grid/judge.bin");
    std::fs::write(std::env::var("JUDGE").map_or(path, Into::into), judge.bytes())
        .expect("judge.bin can be written");
}

fn set(grooves: &[Groove], seed: u64) -> Option<Set> {
    let example = example(grooves, seed)?;
    let readings = readings(&gather(&example.hits), &GridOptions::default());
    let right: Vec<u8> = rightness(&readings, &example);
    let held_out = example
        .source
        .map_or(seed.is_multiple_of(3), |s| s.is_multiple_of(3));
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let keep: Vec<bool> = right
        .iter()
        .map(|r| *r == 2 || dice.random::<f64>() < KEPT)
        .collect();
    let kept = |i: &usize| keep[*i];
    Some(Set {
        marks: (0..right.len())
            .filter(kept)
            .map(|i| readings[i].marks.clone())
            .collect(),
        right: (0..right.len()).filter(kept).map(|i| right[i]).collect(),
        held_out,
        kind: KINDS.iter().position(|k| *k == example.kind).unwrap_or(0) as u8,
    })
}

/// Whether nine of ten beats of each reading are right within 70 ms, and its beats one too.
fn rightness(readings: &[Reading], example: &Example) -> Vec<u8> {
    let mut last: Option<(std::sync::Arc<[f64]>, bool)> = None;
    let mut each = |reading: &Reading| {
        let beats = match &last {
            Some((beats, right)) if std::sync::Arc::ptr_eq(beats, &reading.beats) => *right,
            _ => {
                let right = f_measure(&reading.beats, &example.beats) >= 0.9;
                last = Some((std::sync::Arc::clone(&reading.beats), right));
                right
            }
        };
        if !beats {
            return 0;
        }
        let ones: Vec<f64> = reading
            .beats
            .iter()
            .skip(reading.first)
            .step_by(reading.bar)
            .copied()
            .collect();
        1 + u8::from(f_measure(&ones, &example.downbeats) >= 0.9)
    };
    readings.iter().map(&mut each).collect()
}

fn f_measure(found: &[f64], truth: &[f64]) -> f64 {
    let (Some(start), Some(end)) = (truth.first(), truth.last()) else {
        return 0.0;
    };
    let found: Vec<f64> = found
        .iter()
        .copied()
        .filter(|t| *t > start - 0.1 && *t < end + 0.1)
        .collect();
    let near = |t: &&f64| {
        let i = found.partition_point(|f| *f < **t - 0.07);
        found.get(i).is_some_and(|f| *f <= **t + 0.07)
    };
    2.0 * truth.iter().filter(near).count() as f64 / (truth.len() + found.len()).max(1) as f64
}

/// Mean and spread of every mark.
fn usual<'a>(all: impl Iterator<Item = &'a Vec<f32>>) -> [Vec<f32>; 2] {
    let (mut count, mut sums, mut squares) = (0.0, vec![0.0; MARKS], vec![0.0; MARKS]);
    for marks in all {
        count += 1.0;
        for (k, mark) in marks.iter().enumerate() {
            sums[k] += f64::from(*mark);
            squares[k] += f64::from(mark * mark);
        }
    }
    let mean = |k: usize| sums[k] / count;
    let spread = |k: usize| f64::sqrt((squares[k] / count - mean(k).powi(2)).max(0.0)) + 0.05;
    [
        (0..MARKS).map(|k| mean(k) as f32).collect(),
        (0..MARKS).map(|k| spread(k) as f32).collect(),
    ]
}

/// Share of `sets` whose best reading has the right beats, and the right bars too, and the mean logarithm of the share
/// of readings with the right bars.
fn measure(judge: &Judge, sets: &[&Set], doubt: f32) -> (f64, f64, f64) {
    let each = sets.par_iter().map(|set| {
        let score = |e: &Vec<f32>| judge.raw(e, &judge.units(e)) / doubt;
        let shares = shares(&set.marks.iter().map(score).collect::<Vec<_>>());
        let best = (0..shares.len())
            .max_by(|a, b| shares[*a].total_cmp(&shares[*b]))
            .expect("a set has readings");
        let right = set.right[best];
        [
            f64::from(u8::from(right > 0)),
            f64::from(u8::from(right > 1)),
            f64::from(share(&shares, &set.right, 2).ln()),
        ]
    });
    let sums = each
        .collect::<Vec<_>>()
        .iter()
        .fold([0.0; 3], |s, e| std::array::from_fn(|k| s[k] + e[k]));
    let mean = |k: usize| sums[k] / sets.len().max(1) as f64;
    (mean(0), mean(1), mean(2))
}

/// The share of readings that are at least as right as `level`.
fn share(shares: &[f32], right: &[u8], level: u8) -> f32 {
    let good = shares.iter().zip(right).filter(|(_, r)| **r >= level);
    good.map(|(s, _)| s).sum::<f32>() + 1e-9
}

fn shares(scores: &[f32]) -> Vec<f32> {
    let top = scores.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let weights: Vec<f32> = scores.iter().map(|s| (s - top).exp()).collect();
    let sum: f32 = weights.iter().sum();
    weights.iter().map(|w| w / sum).collect()
}

impl Judge {
    fn blank(units: usize) -> Judge {
        Judge {
            usual: [vec![0.0; MARKS], vec![1.0; MARKS]],
            hidden: vec![0.0; units * MARKS],
            bias: vec![0.0; units],
            out: vec![0.0; units],
            direct: vec![0.0; MARKS],
        }
    }

    fn fields(&mut self) -> [&mut Vec<f32>; 4] {
        [&mut self.hidden, &mut self.bias, &mut self.out, &mut self.direct]
    }

    fn bytes(&self) -> Vec<u8> {
        let [mean, spread] = &self.usual;
        let all = [mean, spread, &self.hidden, &self.bias, &self.out, &self.direct];
        let bytes: Vec<u8> = all.into_iter().flatten().flat_map(|v| v.to_le_bytes()).collect();
        assert_eq!(bytes.len(), VALUES * 4);
        bytes
    }

    /// The slope of minus the mean log share of the right beats and the right bars of `set`.
    fn slope(&self, set: &Set) -> Judge {
        let mut slope = Judge::blank(HIDDEN / MEMBERS);
        let units: Vec<Vec<f32>> = set.marks.iter().map(|e| self.units(e)).collect();
        let scores: Vec<f32> = set
            .marks
            .iter()
            .zip(&units)
            .map(|(e, u)| self.raw(e, u))
            .collect();
        let shares = shares(&scores);
        let (beats, bars) = (share(&shares, &set.right, 1), share(&shares, &set.right, 2));
        for (i, share) in shares.into_iter().enumerate() {
            let of = |level: u8, sum: f32| if set.right[i] >= level { share / sum } else { 0.0 };
            let pull = share - 0.5 * (of(1, beats) + of(2, bars));
            if pull.abs() < 1e-4 {
                continue;
            }
            for (s, e) in slope.direct.iter_mut().zip(&set.marks[i]) {
                *s += pull * e;
            }
            for (k, unit) in units[i].iter().enumerate() {
                slope.out[k] += pull * unit;
                let inner = pull * self.out[k] * (1.0 - unit * unit);
                slope.bias[k] += inner;
                for (s, e) in slope.hidden[k * MARKS..].iter_mut().zip(&set.marks[i]) {
                    *s += inner * e;
                }
            }
        }
        slope
    }
}

/// The mean of several networks as one.
fn fit(start: &Judge, sets: &[&Set]) -> Judge {
    let mut mean = Judge {
        usual: start.usual.clone(),
        ..Judge::blank(0)
    };
    for member in 0..MEMBERS {
        let one = fit_one(start, sets, member as u64);
        mean.hidden.extend(one.hidden);
        mean.bias.extend(one.bias);
        mean.out.extend(one.out.iter().map(|w| w / MEMBERS as f32));
        for (m, w) in mean.direct.iter_mut().zip(one.direct) {
            *m += w / MEMBERS as f32;
        }
    }
    mean
}

/// Fits by Adam (Kingma and Ba, ICLR 2015) with a step that falls along a half cosine.
fn fit_one(start: &Judge, sets: &[&Set], member: u64) -> Judge {
    let mut dice = ChaCha8Rng::seed_from_u64(7 + member);
    let mut judge = start.clone();
    for weight in judge.hidden.iter_mut().chain(&mut judge.out) {
        *weight = 0.35 * (dice.random::<f32>() - 0.5);
    }
    let (mut first, mut second) = (Judge::blank(HIDDEN / MEMBERS), Judge::blank(HIDDEN / MEMBERS));
    let mut steps = 0;
    for round in 0..ROUNDS {
        let pace = 0.002 * (1.0 + (std::f32::consts::PI * round as f32 / ROUNDS as f32).cos()) + 1e-5;
        let mut order: Vec<&Set> = sets.to_vec();
        order.shuffle(&mut dice);
        for batch in order.chunks(BATCH) {
            steps += 1;
            let (fade_first, fade_second) = (1.0 - 0.9f32.powi(steps), 1.0 - 0.99f32.powi(steps));
            let mut slopes: Vec<Judge> = batch.par_iter().map(|set| judge.slope(set)).collect();
            for (f, weights) in judge.fields().into_iter().enumerate() {
                for (k, weight) in weights.iter_mut().enumerate() {
                    let sum: f32 = slopes.iter_mut().map(|s| s.fields()[f][k]).sum();
                    let slope = sum / batch.len() as f32 + PRICE * *weight;
                    let (m, v) = (&mut first.fields()[f][k], &mut second.fields()[f][k]);
                    *m = 0.9 * *m + 0.1 * slope;
                    *v = 0.99 * *v + 0.01 * slope * slope;
                    *weight -= pace * (*m / fade_first) / ((*v / fade_second).sqrt() + 1e-8);
                }
            }
        }
    }
    judge
}
