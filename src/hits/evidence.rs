//! What speaks for and against a candidate: numbers about its surroundings, all relative to the recording's own
//! levels, from which [`decide`](super::decide) judges it.

use super::attack::{Attack, VIEWS};
use super::bands::{BANDS, Bands, SILENCE};
use super::candidates::{Candidates, REGIONS, flux_at};

/// Numbers a candidate.
pub const EVIDENCE: usize = BANDS * 9 + REGIONS * 10 + VIEWS * 2 + REGIONS + 6;

/// Levels of the recording that a candidate is compared with.
pub(super) struct Surroundings<'a> {
    bands: &'a Bands,
    candidates: &'a Candidates,
    /// Loud level of each band.
    loud: [f32; BANDS],
    /// Quiet level of each band.
    quiet: [f32; BANDS],
    /// Flux of strong candidates in each region.
    strong: [f32; REGIONS],
}

impl<'a> Surroundings<'a> {
    /// Measures the recording's own levels.
    pub(super) fn of(bands: &'a Bands, candidates: &'a Candidates) -> Self {
        let mut loud = [0.0; BANDS];
        let mut quiet = [0.0; BANDS];
        for band in 0..BANDS {
            let mut column = bands.column(band, 2);
            loud[band] = share(&mut column, 0.97);
            quiet[band] = share(&mut column, 0.1);
        }
        let mut strong = [0.0; REGIONS];
        for (region, strong) in strong.iter_mut().enumerate() {
            let mut column: Vec<f32> = candidates
                .frames
                .iter()
                .map(|&n| flux_at(bands, n as isize)[region])
                .collect();
            *strong = share(&mut column, 0.9).max(1.0);
        }
        Surroundings {
            bands,
            candidates,
            loud,
            quiet,
            strong,
        }
    }

    /// The numbers for candidate number `index`.
    pub(super) fn evidence(&self, index: usize, attack: &Attack) -> Vec<f32> {
        let mut out = Vec::with_capacity(EVIDENCE);
        let Some(&frame) = self.candidates.frames.get(index) else {
            return vec![0.0; EVIDENCE];
        };
        self.levels(frame as isize, &mut out);
        self.fluxes(frame as isize, &mut out);
        out.extend(attack.gains.map(|gain| gain.min(4.0)));
        out.extend(attack.rises.map(|rise| rise.min(40.0) / 20.0));
        self.neighbours(index, frame, &mut out);
        out
    }

    /// How the bands rise over what came before, fall after, and lie in the recording's range.
    fn levels(&self, frame: isize, out: &mut Vec<f32>) {
        // Every frame that is looked at below, from 20 before to 10 after.
        let near: [[f32; BANDS]; 31] = std::array::from_fn(|n| self.bands.at(frame + n as isize - 20));
        let at = |offset: isize| &near[(offset + 20) as usize];
        for band in 0..BANDS {
            let pre = 0.5 * (at(-4)[band] + at(-3)[band]);
            let long = (8..13).map(|n| at(-n)[band]).sum::<f32>() / 5.0;
            let past = (3..21).map(|n| at(-n)[band]).fold(SILENCE, f32::max);
            let now = at(0)[band].max(at(1)[band]);
            let after = (7..11).map(|n| at(n)[band]).sum::<f32>() / 4.0;
            out.extend(
                [
                    at(-1)[band] - pre,
                    now - pre,
                    now - at(-2)[band],
                    at(3)[band] - pre,
                    now - past,
                    after - now,
                    pre - long,
                    now - self.loud[band],
                    pre - self.quiet[band],
                ]
                .map(|db| db.clamp(-40.0, 40.0) / 20.0),
            );
        }
    }

    /// The flux of each region around the candidate, and the highest before and after it.
    fn fluxes(&self, frame: isize, out: &mut Vec<f32>) {
        // Every frame that is looked at below, 13 on each side.
        let near: [[f32; REGIONS]; 27] =
            std::array::from_fn(|n| flux_at(self.bands, frame + n as isize - 13));
        let at = |offset: isize, region: usize| near[(offset + 13) as usize][region];
        let highest =
            |from: isize, to: isize, region| (from..to).map(|n| at(n, region)).fold(0.0f32, f32::max);
        for region in 0..REGIONS {
            let own = highest(-1, 2, region);
            out.extend(
                [
                    at(-2, region),
                    at(-1, region),
                    at(0, region),
                    at(1, region),
                    at(2, region),
                    highest(-6, -2, region),
                    highest(-13, -6, region),
                    highest(3, 7, region),
                    highest(7, 14, region),
                ]
                .map(|flux| flux / 10.0),
            );
            out.push((own / self.strong[region]).min(3.0));
        }
    }

    /// The candidates next to this one, and the recording as a whole.
    fn neighbours(&self, index: usize, frame: usize, out: &mut Vec<f32>) {
        let frames = &self.candidates.frames;
        let gap = |other: Option<&usize>| other.map_or(40, |n| n.abs_diff(frame)).min(40) as f32 / 20.0;
        let all = |n: Option<&usize>| n.map_or(0.0, |n| flux_at(self.bands, *n as isize)[REGIONS - 1] / 10.0);
        let before = index.checked_sub(1).and_then(|i| frames.get(i));
        let after = frames.get(index + 1);
        out.extend(self.strong.map(|flux| flux / 10.0));
        out.extend([gap(before), gap(after), all(before), all(after)]);
        let seconds = self.bands.len() as f32 / 200.0;
        out.push(frames.len() as f32 / seconds.max(1.0) / 30.0);
        let depth: f32 = self.loud.iter().zip(&self.quiet).map(|(l, q)| l - q).sum();
        out.push(depth / BANDS as f32 / 20.0);
    }
}

/// The value under which `share` of the column lies; 0 when there is none.
fn share(column: &mut [f32], share: f64) -> f32 {
    if column.is_empty() {
        return 0.0;
    }
    let n = ((column.len() - 1) as f64 * share).round() as usize;
    *column.select_nth_unstable_by(n, f32::total_cmp).1
}
