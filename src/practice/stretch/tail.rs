//! What rings between two attacks, made longer: grains of the source laid over each other where they fit best.
//!
//! The first grain goes on where the copied attack stops, the last one ends where the next attack begins, so both joins
//! are the source's own. Between, each grain is taken from near the place that is due, where its waveform continues
//! what has been written best. Where two grains that do not resemble each other overlap (hiss), their sum is raised to
//! the power that either had, so that a cymbal does not flutter.

use super::{FADE, samples};

/// Longest grain: two periods of the lowest drum.
const GRAIN: usize = samples(40);
/// Shortest grain.
const SHORTEST: usize = samples(3);
/// How far from the place that is due a grain may be taken: more than half a period of the lowest drum.
const REACH: usize = samples(10);
/// The search first looks at every so many samples.
const COARSE: usize = 4;

/// The sum of all channels by which grains are compared, and the same at a quarter of the rate.
pub(super) struct Guide {
    fine: Vec<f32>,
    coarse: Vec<f32>,
}

impl Guide {
    pub(super) fn of(source: &[Vec<f32>]) -> Self {
        let length = source.first().map_or(0, Vec::len);
        let mut fine = vec![0.0f32; length];
        for channel in source {
            fine.iter_mut().zip(channel).for_each(|(sum, s)| *sum += s);
        }
        let coarse = fine
            .chunks(COARSE)
            .map(|four| four.iter().sum::<f32>() / COARSE as f32)
            .collect();
        Guide { fine, coarse }
    }

    /// The place between `low` and `high` whose next `length` samples resemble those from `model` on most; of equal
    /// ones the nearest to `due`.
    fn best(&self, model: usize, length: usize, (low, high): (usize, usize), due: usize) -> usize {
        let rough = |at: usize| {
            let n = length / COARSE;
            resemblance(
                part(&self.coarse, model / COARSE, n),
                part(&self.coarse, at / COARSE, n),
            )
        };
        let nearest = |a: &(f32, usize), b: &(f32, usize)| {
            a.0.total_cmp(&b.0)
                .then(b.1.abs_diff(due).cmp(&a.1.abs_diff(due)))
        };
        let first = (low..=high)
            .step_by(COARSE)
            .map(|at| (rough(at), at))
            .max_by(nearest)
            .map_or(due, |best| best.1);
        let fine = |at: usize| resemblance(part(&self.fine, model, length), part(&self.fine, at, length));
        (first.saturating_sub(COARSE).max(low)..=(first + COARSE).min(high))
            .map(|at| (fine(at), at))
            .max_by(nearest)
            .map_or(first, |best| best.1)
    }
}

fn part(samples: &[f32], from: usize, length: usize) -> &[f32] {
    let from = from.min(samples.len());
    samples
        .get(from..(from + length).min(samples.len()))
        .unwrap_or_default()
}

/// The cosine of two waveforms; 0 where one of them is silent.
fn resemblance(a: &[f32], b: &[f32]) -> f32 {
    let (mut both, mut one, mut other) = (0.0f32, 0.0f32, 0.0f32);
    for (x, y) in a.iter().zip(b) {
        both += x * y;
        one += x * x;
        other += y * y;
    }
    let power = (one * other).sqrt();
    if power > 1e-12 { both / power } else { 0.0 }
}

/// The sound between two attacks.
pub(super) struct Tail {
    /// Where the copied attack stopped.
    pub(super) begin: usize,
    /// No grain begins before this.
    pub(super) earliest: usize,
    /// Where the next attack's copy begins; no grain reaches over it.
    pub(super) end: usize,
    /// Samples to write.
    pub(super) wanted: usize,
}

impl Tail {
    /// Writes the tail to the end of `out`.
    pub(super) fn render(&self, source: &[Vec<f32>], guide: &Guide, out: &mut [Vec<f32>]) {
        let room = self.end.saturating_sub(self.earliest);
        let grain = (room * 2 / 3).clamp(SHORTEST, GRAIN).min(room.max(2));
        let hop = (grain / 2).max(1);
        let mut written = 0;
        // What has been written so far goes on, in the source, from here.
        let mut goes_on = self.begin;
        while written < self.wanted {
            let left = self.wanted - written;
            let last = left <= grain;
            let length = left.min(hop);
            let at = if last {
                // Ends where the next attack's copy begins.
                self.end.saturating_sub(left)
            } else {
                let share = written as f64 / self.wanted as f64;
                let due = self.begin as f64 + share * (self.end.saturating_sub(self.begin)) as f64;
                let (low, high) = (self.earliest, self.end.saturating_sub(grain).max(self.earliest));
                let due = (due as usize).clamp(low, high);
                let reach = (due.saturating_sub(REACH).max(low), (due + REACH).min(high));
                if (reach.0..=reach.1).contains(&goes_on) && goes_on.abs_diff(due) <= hop {
                    goes_on
                } else {
                    guide.best(goes_on, hop, reach, due)
                }
            };
            let length = if last { left } else { length };
            join(source, guide, out, (goes_on, at), length, hop.min(length));
            written += length;
            goes_on = at + length;
        }
    }
}

/// Appends `length` samples of the source from `at` on, faded in over the first `fade` of them while what goes on from
/// `goes_on` fades out.
fn join(
    source: &[Vec<f32>],
    guide: &Guide,
    out: &mut [Vec<f32>],
    (goes_on, at): (usize, usize),
    length: usize,
    fade: usize,
) {
    if goes_on == at {
        for (out, channel) in out.iter_mut().zip(source) {
            out.extend(padded(channel, at, length));
        }
        return;
    }
    let fade = fade.max(FADE.min(length));
    let alike = resemblance(part(&guide.fine, goes_on, fade), part(&guide.fine, at, fade)).clamp(0.0, 1.0);
    for (out, channel) in out.iter_mut().zip(source) {
        let (old, new) = (padded(channel, goes_on, fade), padded(channel, at, length));
        let mut old = old.into_iter();
        out.extend(new.into_iter().enumerate().map(|(i, new)| match old.next() {
            None => new,
            Some(old) => {
                let turn = 0.5 - 0.5 * (std::f32::consts::PI * (i as f32 + 0.5) / fade as f32).cos();
                let power =
                    (turn * turn + (1.0 - turn) * (1.0 - turn) + 2.0 * alike * turn * (1.0 - turn)).sqrt();
                (old * (1.0 - turn) + new * turn) / power.max(0.5)
            }
        }));
    }
}

/// Samples from `from` on, silence after the end.
fn padded(channel: &[f32], from: usize, length: usize) -> Vec<f32> {
    let mut samples = part(channel, from, length).to_vec();
    samples.resize(length, 0.0);
    samples
}
