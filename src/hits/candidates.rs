//! [`Bands`] -> [`Candidates`]: every moment at which something may have been struck, many more than were.
//!
//! Spectral flux with a maximum filter over neighbouring bands (Böck & Widmer, DAFx 2013), once for each of four
//! regions and once for all: a soft stroke shows in its own region while cymbals ring in another.

use super::HOP;
use super::bands::{BANDS, Bands};

/// Regions whose flux is followed: drums' bodies, low middle, stick and wires, cymbals, and all together.
pub(super) const REGIONS: usize = 5;

/// First and last band (exclusive) of each region.
const SPANS: [(usize, usize); REGIONS] = [(0, 5), (5, 10), (10, 15), (15, BANDS), (0, BANDS)];

/// Frames between the two levels that are compared: 10 ms, so that the two windows hardly overlap in energy.
const LAG: isize = 2;

/// Flux that a peak needs in its region, dB a band: lower than any stroke that can be heard.
const LEAST: [f32; REGIONS] = [3.0, 2.5, 2.0, 2.0, 1.2];

/// Frames on each side over which a candidate is the highest: 10 ms.
const REACH: usize = 2;

/// The frames at which the flux of some region peaks.
pub(super) struct Candidates {
    /// Frames that may be onsets, in order.
    pub(super) frames: Vec<usize>,
}

impl Candidates {
    /// The candidates among the frames of `bands`.
    pub(super) fn of(bands: &Bands) -> Candidates {
        // What a frame's flux exceeds the least by, best region: one curve whose peaks are the candidates.
        let salience: Vec<f32> = (0..bands.len() as isize)
            .map(|frame| {
                flux_at(bands, frame)
                    .iter()
                    .zip(LEAST)
                    .map(|(value, least)| value / least)
                    .fold(0.0, f32::max)
            })
            .collect();
        let frames = (0..salience.len())
            .filter(|&n| {
                let before = &salience[n.saturating_sub(REACH)..n];
                let after = &salience[n + 1..(n + 1 + REACH).min(salience.len())];
                salience[n] > 1.0
                    && before.iter().all(|other| *other < salience[n])
                    && after.iter().all(|other| *other <= salience[n])
            })
            .collect();
        Candidates { frames }
    }

    /// Frames from candidate number `index` back to the one before and on to the one after it.
    pub(super) fn gaps(&self, index: usize) -> (usize, usize) {
        let own = self.frames.get(index).copied().unwrap_or(0);
        let gap = |other: Option<usize>| {
            other
                .and_then(|index| self.frames.get(index))
                .map_or(usize::MAX / HOP, |n| n.abs_diff(own))
        };
        (gap(index.checked_sub(1)), gap(index.checked_add(1)))
    }
}

/// Flux of every region at a frame, mean dB a band; 0 outside the recording. It is worked out anew wherever it is
/// asked for: kept for every frame of hours it would take more room than all else.
pub(super) fn flux_at(bands: &Bands, frame: isize) -> [f32; REGIONS] {
    if (0..bands.len() as isize).contains(&frame) {
        flux(&bands.at(frame - LAG), &bands.at(frame))
    } else {
        [0.0; REGIONS]
    }
}

fn flux(before: &[f32; BANDS], now: &[f32; BANDS]) -> [f32; REGIONS] {
    let mut rises = [0.0f32; BANDS];
    for (band, rise) in rises.iter_mut().enumerate() {
        let near = &before[band.saturating_sub(1)..(band + 2).min(BANDS)];
        let highest = near.iter().copied().fold(f32::MIN, f32::max);
        // Two neighbours of a falling spectrum would hide a rise in the middle: half of each comparison.
        let own = now[band] - before[band];
        *rise = (own.min(0.5 * (own + now[band] - highest))).max(0.0);
    }
    SPANS.map(|(first, end)| rises[first..end].iter().sum::<f32>() / (end - first) as f32)
}
