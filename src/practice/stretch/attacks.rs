//! Attacks that nobody listed: a stroke that the chart leaves out must not be smeared either.
//!
//! In: samples and the attacks that are known. Out: the places where the sound, or its brighter part, suddenly has
//! more power than just before, away from the known ones. An attack found for nothing does no harm: a few milliseconds
//! are copied instead of stretched.

use super::samples;

/// The sound is weighed in blocks of a millisecond.
const BLOCK: usize = samples(1);
/// Blocks that count as now, and before that as just before.
const NOW: usize = 3;
const BEFORE: usize = 12;
/// By how much the power must rise: 8 dB [M].
const RISE: f32 = 6.3;
/// No two attacks are nearer than this, known ones included.
const APART: usize = samples(25);
/// What lies so far under the loudest block is silence: 60 dB.
const SILENCE: f32 = 1e-6;

/// Attacks of `source` that lie away from `known` ones, rising.
pub fn more_attacks(source: &[Vec<f32>], known: &[usize]) -> Vec<usize> {
    let mut rises: Vec<(f32, usize)> = [power(source, false), power(source, true)]
        .iter()
        .flat_map(|blocks| rises(blocks))
        .collect();
    rises.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut all: Vec<usize> = known.to_vec();
    all.sort_unstable();
    let mut found = Vec::new();
    for (_, at) in rises {
        let place = all.partition_point(|a| *a < at);
        let near = |other: Option<&usize>| other.is_some_and(|a| a.abs_diff(at) < APART);
        if !near(all.get(place)) && !near(place.checked_sub(1).and_then(|p| all.get(p))) {
            all.insert(place, at);
            found.push(at);
        }
    }
    found.sort_unstable();
    found
}

/// Power of every block over all channels; of the differences between neighbouring samples, which favour what is
/// bright, when `bright`.
fn power(source: &[Vec<f32>], bright: bool) -> Vec<f32> {
    let length = source.iter().map(Vec::len).max().unwrap_or(0);
    let mut blocks = vec![0.0f32; length / BLOCK];
    for channel in source {
        for (block, samples) in blocks.iter_mut().zip(channel.chunks_exact(BLOCK)) {
            *block += if bright {
                samples
                    .iter()
                    .zip(samples.iter().skip(1))
                    .map(|(a, b)| (b - a) * (b - a))
                    .sum::<f32>()
            } else {
                samples.iter().map(|s| s * s).sum()
            };
        }
    }
    blocks
}

/// Where the power rises most, with how much.
fn rises(blocks: &[f32]) -> Vec<(f32, usize)> {
    let floor = blocks.iter().fold(0.0f32, |most, b| most.max(*b)) * SILENCE;
    if floor <= 0.0 {
        return Vec::new();
    }
    let mean = |from: usize, to: usize| {
        let part = blocks
            .get(from.min(blocks.len())..to.min(blocks.len()))
            .unwrap_or_default();
        part.iter().sum::<f32>() / part.len().max(1) as f32
    };
    let rise: Vec<f32> = (0..blocks.len())
        .map(|k| mean(k, k + NOW) / (mean(k.saturating_sub(BEFORE), k) + floor))
        .collect();
    let highest = |k: &usize| {
        let own = rise.get(*k).copied().unwrap_or_default();
        let around = rise
            .get(k.saturating_sub(BEFORE)..(k + BEFORE).min(rise.len()))
            .unwrap_or_default();
        own >= RISE && around.iter().all(|r| *r <= own)
    };
    (0..rise.len())
        .filter(highest)
        .filter_map(|k| Some((*rise.get(k)?, k * BLOCK)))
        .collect()
}
