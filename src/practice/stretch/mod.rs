//! Slower sound, or a little faster, with its pitch kept and its attacks sharp.
//!
//! In: samples at [`RATE`], one slice a channel, the attacks that are known in them, and a speed
//! from 0.3 to 1.1. Out: the same sound in 1/speed times the time. Every attack is copied whole to its place; what rings
//! between two attacks is stretched by waveform-similarity overlap-add **[P: W. Verhelst, M. Roelands, "An overlap-add
//! technique based on waveform similarity (WSOLA) for high quality time-scale modification of speech", ICASSP 1993]**,
//! held to the attack on either side. All channels move together, so every drum keeps its place between left and right.

mod attacks;
mod tail;

#[cfg(test)]
mod tests;

pub use attacks::more_attacks;

use rayon::prelude::*;

use crate::audio::RATE;
use tail::Tail;

/// The slowest and the fastest speed, as shares of the recording's own.
pub const SPEEDS: (f64, f64) = (0.3, 1.1);

/// Samples of `milliseconds`.
const fn samples(milliseconds: usize) -> usize {
    milliseconds * RATE as usize / 1000
}

/// Copied before an attack: found times stray by a millisecond or two [M].
const LEAD: usize = samples(4);
/// Copied from an attack on, unless the next one comes sooner: longer than any stroke's rise in TRADE 6 but the slow
/// bloom of a crash [M].
const KEPT: usize = samples(25);
/// Attacks nearer than this to the first of them are one, copied whole: limbs that strike together do not meet, and a
/// grace stroke keeps its distance.
const ONE: usize = samples(25);
/// What is copied of an attack fades in over this, before the attack.
const FADE: usize = samples(2);

/// A stretch of output: which samples are copied whole, and the tail that leads to the next ones.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Piece {
    /// Source samples copied whole.
    copied: (usize, usize),
    /// Samples from the first to the last of the attacks in them.
    wide: usize,
    /// Where they begin in the output.
    at: usize,
    /// Where the next piece begins in the source and in the output.
    next: (usize, usize),
}

/// The place in the slowed sound of a place in the source, both in samples.
pub fn moved(sample: usize, speed: f64) -> usize {
    (sample as f64 / in_range(speed)).round() as usize
}

fn in_range(speed: f64) -> f64 {
    if speed.is_finite() {
        speed.clamp(SPEEDS.0, SPEEDS.1)
    } else {
        1.0
    }
}

/// Plays `source` at `speed` (a share of its own; held to [`SPEEDS`]). `attacks` are the samples at which something is
/// struck, in any order; each lands on [`moved`] of itself. Shorter channels are filled up with silence.
pub fn stretch(source: &[Vec<f32>], attacks: &[usize], speed: f64) -> Vec<Vec<f32>> {
    let length = source.iter().map(Vec::len).max().unwrap_or(0);
    let mut source = source.to_vec();
    source.iter_mut().for_each(|channel| channel.resize(length, 0.0));
    let speed = in_range(speed);
    if speed == 1.0 || length == 0 {
        return source;
    }
    let plan = plan(length, attacks, speed);
    let guide = tail::Guide::of(&source);
    let pieces: Vec<Vec<Vec<f32>>> = plan
        .par_iter()
        .map(|piece| render(&source, &guide, piece))
        .collect();
    let mut out: Vec<Vec<f32>> = vec![Vec::with_capacity(moved(length, speed)); source.len()];
    for piece in pieces {
        for (whole, part) in out.iter_mut().zip(piece) {
            whole.extend(part);
        }
    }
    out
}

/// Cuts the source at its attacks. The pieces follow each other without a gap, in the source and in the output.
fn plan(length: usize, attacks: &[usize], speed: f64) -> Vec<Piece> {
    let mut struck: Vec<usize> = attacks.iter().copied().filter(|a| *a < length).collect();
    struck.sort_unstable();
    let mut together: Vec<(usize, usize)> = Vec::with_capacity(struck.len());
    for attack in struck {
        match together.last_mut().filter(|(first, _)| attack - *first < ONE) {
            Some((_, last)) => *last = attack,
            None => together.push((attack, attack)),
        }
    }
    // Each attack's piece begins a little before it, at the same distance in the output.
    let starts = together.iter().map(|(a, last)| {
        let lead = LEAD.min(*a).min(moved(*a, speed));
        (a - lead, moved(*a, speed) - lead, lead + KEPT, last - a)
    });
    let opening = (together.first().is_none_or(|(a, _)| *a > LEAD)).then_some((0, 0, 0, 0));
    let starts: Vec<(usize, usize, usize, usize)> = opening.into_iter().chain(starts).collect();
    let end = (length, moved(length, speed), 0, 0);
    let following = starts.iter().skip(1).chain(std::iter::once(&end));
    starts
        .iter()
        .zip(following)
        .map(|(&(from, at, kept, wide), &(next, next_at, ..))| {
            let next_at = next_at.max(at);
            let mut to = (from + kept + wide).min(next);
            let wanted = next_at - at;
            if wanted < next - from {
                // Faster sound has to drop something: the copy ends early enough to turn into the next attack's lead.
                to = to.min(from + wanted.saturating_sub(FADE));
            }
            Piece {
                copied: (from, to),
                wide,
                at,
                next: (next, next_at),
            }
        })
        .collect()
}

/// One piece of output, one slice a channel: the attack, then its tail, which ends in the first samples of the next
/// attack's lead so that nothing jumps there.
fn render(source: &[Vec<f32>], guide: &tail::Guide, piece: &Piece) -> Vec<Vec<f32>> {
    let (from, to) = piece.copied;
    let wanted = piece.next.1 - piece.at;
    let mut out: Vec<Vec<f32>> = source
        .iter()
        .map(|channel| {
            channel
                .get(from..to.min(from + wanted))
                .unwrap_or_default()
                .to_vec()
        })
        .collect();
    let copied = out.first().map_or(0, Vec::len);
    if copied < wanted {
        let tail = Tail {
            begin: to,
            // A grain may reach back behind the attack's first rise, never over it.
            earliest: (from + LEAD + piece.wide + KEPT / 2).min(to),
            end: piece.next.0,
            wanted: wanted - copied,
        };
        tail.render(source, guide, &mut out);
    }
    out
}
