//! Which long lengths are worth a close look: those after which the same strokes come again for a while.
//!
//! For every length a stroke is foretold where one was struck a cycle ago. What that tells over the voice's own density
//! is added up over the stretch on which it tells most (Bentley, CACM 27, 1984), 64 steps at a time, so that every length
//! up to a quarter of an hour's solo is asked in little time.

use pulp::{Arch, Simd, WithSimd};
use rayon::prelude::*;

use super::search::{LEAST, LONGEST};
use super::streams::Stream;
use super::strokes::Strokes;

/// Longer figures are looked at closely when they are among so many that tell most.
const MOST: usize = 16;

/// Longer than any figure.
const LONGEST_OF_ALL: usize = 4096;

/// A figure's note is there again this often, about.
const AGAIN: f64 = 0.8;

/// Bits that a length must seem to tell, and by how much more than lengths that divide it.
const TELLS: f64 = 12.0;
const MORE: f64 = 6.0;

/// The steps of a voice, 64 to a word.
struct Bits {
    words: Vec<u64>,
    /// What a stroke that comes again tells, and what one that does not.
    again: f64,
    gone: f64,
}

impl Bits {
    /// None for a voice that is struck so often that a stroke tells nothing.
    fn of(stream: &Stream, (from, to): (usize, usize)) -> Option<Bits> {
        let hit = stream.hit.get(from..to)?;
        let struck = hit.iter().filter(|h| **h > 0).count();
        let rate = (struck as f64 + 0.5) / (hit.len() as f64 + 1.0);
        let word = |steps: &[u8]| {
            let bits = steps.iter().enumerate();
            bits.fold(0u64, |word, (at, hit)| word | u64::from(*hit > 0) << at)
        };
        (rate < AGAIN).then(|| Bits {
            words: hit.chunks(64).map(word).collect(),
            again: (AGAIN / rate).log2(),
            gone: ((1.0 - AGAIN) / (1.0 - rate)).log2(),
        })
    }

    /// What "as `length` steps ago" tells on the stretch on which it tells most.
    #[inline(always)]
    fn tells(&self, length: usize) -> f64 {
        let (far, by) = (length / 64, length % 64);
        let (mut sum, mut best) = (0.0f64, 0.0f64);
        for (at, now) in self.words.iter().enumerate().skip(far) {
            let low = self.words[at - far] << by;
            let high = match (by, at.checked_sub(far + 1)) {
                (1.., Some(before)) => self.words[before] >> (64 - by),
                _ => 0,
            };
            let before = low | high;
            let again = (before & now).count_ones();
            let gone = (before & !now).count_ones();
            sum = (sum + f64::from(again) * self.again + f64::from(gone) * self.gone).max(0.0);
            best = best.max(sum);
        }
        best
    }
}

/// What a length tells of a row, with instructions that count bits where there are such.
struct Tells<'a> {
    row: &'a Bits,
    length: usize,
}

impl WithSimd for Tells<'_> {
    type Output = f64;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> f64 {
        self.row.tells(self.length)
    }
}

/// The lengths beyond those that are all looked at closely, rising; and how many there are to choose from.
pub(super) fn long(strokes: &Strokes) -> (Vec<usize>, usize) {
    let longest = ((strokes.whole.1 - strokes.whole.0) / LEAST).min(LONGEST_OF_ALL);
    if longest <= LONGEST {
        return (Vec::new(), 0);
    }
    let single = strokes.streams.iter().filter(|s| s.voices.len() == 1);
    let rows: Vec<Bits> = single.filter_map(|s| Bits::of(s, strokes.whole)).collect();
    let tells: Vec<f64> = (0..=longest)
        .into_par_iter()
        .map(|length| {
            let tells = |row| Arch::new().dispatch(Tells { row, length });
            let each = rows.iter().map(|row| (tells(row) - TELLS).max(0.0));
            if length < 2 { 0.0 } else { each.sum() }
        })
        .collect();
    let own = |length: &usize| {
        let parts = (2..=length / 2).filter(|d| length.is_multiple_of(*d));
        let most = parts.map(|d| tells[d]).fold(0.0, f64::max);
        tells[*length] > most + MORE
    };
    let mut best: Vec<usize> = (LONGEST + 1..=longest)
        .filter(|l| tells[*l] > 0.0)
        .filter(own)
        .collect();
    best.sort_by(|a, b| tells[*b].total_cmp(&tells[*a]).then(a.cmp(b)));
    best.truncate(MOST);
    best.sort_unstable();
    (best, longest - LONGEST)
}
