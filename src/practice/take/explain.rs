//! The sound of an attempt, explained by the strokes that the study expects in it.
//!
//! In: the [`Spectrum`] of an attempt and its expected strokes with the times at which they fall due. Out: what every
//! voice sounds like in this very take, and when and how strongly each stroke is in it. The spectrum is a sum over strokes
//! of their voice's sound times a gain: non-negative matrix factorisation with sounds that last **[P: P. Smaragdis,
//! "Non-negative Matrix Factor Deconvolution", ICA 2004]**, informed by the written part **[P: C. Dittmar, D. Gärtner,
//! "Real-time transcription and separation of drum recordings based on NMF decomposition", DAFx 2014]**, fitted by the
//! multiplicative rules for the Kullback-Leibler divergence **[P: D. D. Lee, H. S. Seung, "Algorithms for non-negative
//! matrix factorization", NIPS 2000]**.

use rayon::prelude::*;

use super::spectrum::Spectrum;
use crate::names::Voice;

/// Frames that a sound lasts, 0.7 s; what rings longer is taken up by the next strokes' surroundings.
pub(super) const LAST: usize = 280;
/// A sound begins so many frames before the stroke falls due, 20 ms: a window sees it early, and players are early.
pub(super) const BEFORE: isize = 8;
/// Rounds of fitting and moving strokes to where they fit best, and steps of fitting in each.
const ROUNDS: usize = 3;
const FITTING: usize = 10;
/// How far a stroke may lie from where it is due, frames: 40 ms.
const ASTRAY: isize = 16;
/// Frames by which a stroke is placed: its attack, 100 ms.
const ATTACK: usize = 40;
/// A sound begins as what this share of its strokes does not reach.
const SHARED: f64 = 0.2;
/// A stroke heard less clearly than this share of what is usual for its voice is not moved.
const CLEAR: f64 = 0.3;
const TINY: f32 = 1e-4;
/// A stroke is believed to be so much stronger than what this share of its voice's strokes do not reach, at most: another
/// drum in its place would pass for a very strong one.
const LOUD: f64 = 0.9;
const LOUDER: f32 = 1.3;

/// What a voice sounds like in this take.
#[derive(Debug, Clone)]
pub(super) struct Source {
    pub(super) voice: Voice,
    /// [`LAST`] frames.
    shape: Vec<f32>,
    /// The median gain of its written strokes.
    pub(super) usual: f32,
    /// The most that one of them is believed to have.
    pub(super) most: f32,
    /// Written strokes.
    pub(super) written: usize,
    /// No voice of the study, but one of its drums tuned otherwise.
    pub(super) strange: bool,
}

/// A stroke in the explanation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Note {
    pub(super) source: usize,
    pub(super) step: i64,
    /// Where it is due, in frames, and where it lies.
    due: f64,
    pub(super) frame: isize,
    pub(super) fine: f64,
    pub(super) gain: f32,
    /// Which of the expected strokes it is; `None` for one that the sound alone speaks for.
    pub(super) written: Option<usize>,
    /// By how much it improves the explanation.
    pub(super) clear: f64,
}

impl Note {
    /// A stroke of `source` on `step`, due at a frame.
    pub(super) fn new(source: usize, step: i64, due: f64, written: Option<usize>) -> Note {
        Note {
            source,
            step,
            due,
            frame: due.round() as isize,
            fine: 0.0,
            gain: 1.0,
            written,
            clear: 0.0,
        }
    }
}

/// An explanation.
#[derive(Debug, Clone)]
pub(super) struct Explanation<'a> {
    pub(super) sound: &'a Spectrum,
    pub(super) sources: Vec<Source>,
    pub(super) notes: Vec<Note>,
    /// What sounds always.
    always: Vec<f32>,
    /// The whole of it.
    whole: Vec<f32>,
}

impl<'a> Explanation<'a> {
    /// Explains a sound by strokes of these voices: `(voice, step, frame at which it is due)`, each with its index.
    pub(super) fn of(sound: &'a Spectrum, due: &[(Voice, i64, f64)]) -> Explanation<'a> {
        let mut voices: Vec<Voice> = due.iter().map(|d| d.0).collect();
        voices.sort_unstable();
        voices.dedup();
        let notes: Vec<Note> = due
            .iter()
            .enumerate()
            .filter_map(|(index, (voice, step, frame))| {
                let source = voices.binary_search(voice).ok()?;
                Some(Note::new(source, *step, *frame, Some(index)))
            })
            .collect();
        let mut all = Explanation {
            sound,
            sources: Vec::new(),
            notes,
            always: vec![FLOOR; sound.width()],
            whole: Vec::new(),
        };
        all.sources = voices
            .par_iter()
            .enumerate()
            .map(|(source, voice)| all.first_guess(source, *voice))
            .collect();
        for round in 0..=ROUNDS {
            all.fit(FITTING);
            if round < ROUNDS {
                all.place();
            }
        }
        all.place_finely();
        all
    }

    fn first_guess(&self, source: usize, voice: Voice) -> Source {
        let own: Vec<&[f32]> = self
            .notes
            .iter()
            .filter(|n| n.source == source)
            .filter_map(|n| self.sound.rows(n.frame - BEFORE, LAST))
            .collect();
        let written = self.notes.iter().filter(|n| n.source == source).count();
        let mut cell: Vec<f32> = Vec::with_capacity(own.len());
        let shape = (0..LAST * self.sound.width())
            .map(|at| {
                cell.clear();
                cell.extend(own.iter().filter_map(|o| o.get(at)));
                cell.sort_unstable_by(f32::total_cmp);
                cell.get((cell.len() as f64 * SHARED) as usize)
                    .copied()
                    .unwrap_or(0.0)
                    + TINY
            })
            .collect();
        Source {
            voice,
            shape,
            usual: 1.0,
            most: f32::INFINITY,
            written,
            strange: false,
        }
    }

    /// Improves gains and sounds, `times` over.
    pub(super) fn fit(&mut self, times: usize) {
        for _ in 0..times {
            self.rebuild();
            self.fit_gains();
            self.rebuild();
            self.fit_shapes();
        }
        self.rebuild();
        for source in 0..self.sources.len() {
            let gains = self.gains(source);
            let at = |share: f64| gains.get((gains.len() as f64 * share) as usize).copied();
            if let Some(source) = self.sources.get_mut(source) {
                source.usual = at(0.5).unwrap_or(1.0).max(TINY);
                source.most = at(LOUD).map_or(f32::INFINITY, |g| g * LOUDER);
            }
        }
    }

    /// Gains of a source's written strokes, the softest first.
    fn gains(&self, source: usize) -> Vec<f32> {
        let own = self
            .notes
            .iter()
            .filter(|n| n.source == source && n.written.is_some());
        let mut gains: Vec<f32> = own.map(|n| n.gain).collect();
        gains.sort_unstable_by(f32::total_cmp);
        gains
    }

    /// The cells of the whole that a note touches, and the part of its sound that lies there.
    fn span(&self, note: &Note) -> Option<(std::ops::Range<usize>, std::ops::Range<usize>)> {
        span(note.frame, self.sound.width(), self.sound.frames())
    }

    /// Sums up the whole anew.
    pub(super) fn rebuild(&mut self) {
        let width = self.sound.width();
        let mut whole = std::mem::take(&mut self.whole);
        whole.clear();
        whole.extend((0..self.sound.frames()).flat_map(|_| self.always.iter().copied()));
        for note in &self.notes {
            let Some(source) = self.sources.get(note.source) else {
                continue;
            };
            if let Some((cells, part)) = span(note.frame, width, self.sound.frames()) {
                let shape = source.shape.get(part).unwrap_or_default();
                let cells = whole.get_mut(cells).unwrap_or_default();
                cells.iter_mut().zip(shape).for_each(|(c, s)| *c += note.gain * s);
            }
        }
        self.whole = whole;
    }

    fn fit_gains(&mut self) {
        let gains: Vec<f32> = self
            .notes
            .par_iter()
            .map(|note| {
                let Some((cells, part)) = self.span(note) else {
                    return note.gain;
                };
                let shape = self
                    .sources
                    .get(note.source)
                    .and_then(|s| s.shape.get(part))
                    .unwrap_or_default();
                let heard = self.sound.cells().get(cells.clone()).unwrap_or_default();
                let told = self.whole.get(cells).unwrap_or_default();
                let (mut up, mut down) = (0.0f32, 0.0f32);
                for ((s, v), r) in shape.iter().zip(heard).zip(told) {
                    up += s * v / r;
                    down += s;
                }
                if down > 0.0 {
                    note.gain * up / down
                } else {
                    note.gain
                }
            })
            .collect();
        self.notes
            .iter_mut()
            .zip(gains)
            .for_each(|(note, gain)| note.gain = gain);
    }

    fn fit_shapes(&mut self) {
        let width = self.sound.width();
        let (sound, whole, notes) = (self.sound, &self.whole, &self.notes);
        let factors: Vec<f32> = self
            .sources
            .par_iter_mut()
            .enumerate()
            .map(|(index, source)| {
                let own = || notes.iter().filter(|n| n.source == index);
                if own().next().is_none() {
                    return 1.0;
                }
                let mut up = vec![0.0f32; LAST * width];
                let mut down = [0.0f32; LAST];
                for note in own() {
                    let Some((cells, part)) = span(note.frame, width, sound.frames()) else {
                        continue;
                    };
                    let heard = sound.cells().get(cells.clone()).unwrap_or_default();
                    let told = whole.get(cells).unwrap_or_default();
                    let rows = part.start / width..part.end / width;
                    down.get_mut(rows)
                        .unwrap_or_default()
                        .iter_mut()
                        .for_each(|d| *d += note.gain);
                    let up = up.get_mut(part).unwrap_or_default();
                    for ((u, v), r) in up.iter_mut().zip(heard).zip(told) {
                        *u += note.gain * v / r;
                    }
                }
                let rows = source.shape.chunks_mut(width).zip(up.chunks(width)).zip(down);
                for ((shape, up), down) in rows {
                    if down > 1e-6 {
                        shape.iter_mut().zip(up).for_each(|(s, u)| *s *= u / down);
                    }
                }
                // The usual gain is one, so that gains of different voices compare.
                let mut gains: Vec<f32> = own().filter(|n| n.written.is_some()).map(|n| n.gain).collect();
                gains.sort_unstable_by(f32::total_cmp);
                let usual = gains.get(gains.len() / 2).copied().unwrap_or(1.0);
                if usual < 1e-6 || source.strange {
                    return 1.0;
                }
                source.shape.iter_mut().for_each(|s| *s *= usual);
                1.0 / usual
            })
            .collect();
        for note in &mut self.notes {
            note.gain *= factors.get(note.source).copied().unwrap_or(1.0);
        }
        let mut quotient = vec![0.0f32; width];
        for (heard, told) in self.sound.cells().chunks(width).zip(self.whole.chunks(width)) {
            for ((q, v), r) in quotient.iter_mut().zip(heard).zip(told) {
                *q += v / r;
            }
        }
        let frames = self.sound.frames().max(1) as f32;
        self.always
            .iter_mut()
            .zip(quotient)
            .for_each(|(a, q)| *a *= q / frames);
    }

    /// For every note: by how many frames it would lie better, and by how much it improves the explanation there.
    fn better_places(&self) -> Vec<(f64, f64)> {
        self.notes
            .par_iter()
            .map(|note| self.better_place(note).unwrap_or((0.0, 0.0)))
            .collect()
    }

    fn better_place(&self, note: &Note) -> Option<(f64, f64)> {
        let width = self.sound.width();
        let from = note.frame - BEFORE - ASTRAY;
        let count = ATTACK + 2 * ASTRAY as usize;
        let heard = self.sound.rows(from, count)?;
        let shape = &self.sources.get(note.source)?.shape;
        let mut rest = self
            .whole
            .get(from as usize * width..(from as usize + count) * width)?
            .to_vec();
        let own = rest.iter_mut().skip(ASTRAY as usize * width);
        own.zip(shape)
            .for_each(|(r, s)| *r = (*r - note.gain * s).max(TINY));
        let attack = shape.get(..ATTACK * width)?;
        let sum: f32 = attack.iter().sum();
        let gains: Vec<f64> = (0..=2 * ASTRAY as usize)
            .map(|shift| {
                let cells = shift * width..(shift + ATTACK) * width;
                let (heard, rest) = match (heard.get(cells.clone()), rest.get(cells)) {
                    (Some(heard), Some(rest)) => (heard, rest),
                    _ => return 0.0,
                };
                let mut gain = note.gain.max(0.3);
                for _ in 0..4 {
                    let up: f32 = attack
                        .iter()
                        .zip(heard)
                        .zip(rest)
                        .map(|((s, v), r)| s * v / (r + gain * s))
                        .sum();
                    gain *= up / sum.max(TINY);
                }
                attack
                    .iter()
                    .zip(heard)
                    .zip(rest)
                    .map(|((s, v), r)| {
                        let with = r + gain * s;
                        f64::from(v * (with / r).ln() - gain * s)
                    })
                    .sum()
            })
            .collect();
        let best = (0..gains.len()).max_by(|a, b| gains[*a].total_cmp(&gains[*b]))?;
        let fine = match gains.get(best.wrapping_sub(1)..best + 2) {
            Some([a, b, c]) if a - 2.0 * b + c < 0.0 => 0.5 * (a - c) / (a - 2.0 * b + c),
            _ => 0.0,
        };
        Some((best as f64 - ASTRAY as f64 + fine, gains[best]))
    }

    /// Moves strokes to where they fit best. A voice's usual distance from where it is due stays in its sound.
    fn place(&mut self) {
        let better = self.better_places();
        for source in 0..self.sources.len() {
            let own: Vec<usize> = (0..self.notes.len())
                .filter(|n| self.notes[*n].source == source)
                .collect();
            let usual = middle(own.iter().map(|n| better[*n].1));
            let clear = |n: &usize| better[*n].1 > 0.0 && better[*n].1 >= CLEAR * usual;
            let off = |n: usize| self.notes[n].frame as f64 - self.notes[n].due + better[n].0;
            let centre = middle(own.iter().filter(|n| clear(n)).map(|n| off(*n)));
            let moves: Vec<(usize, f64)> = own
                .iter()
                .map(|n| {
                    let by = off(*n) - centre;
                    (
                        *n,
                        if clear(n) && by.abs() <= ASTRAY as f64 {
                            by
                        } else {
                            0.0
                        },
                    )
                })
                .collect();
            for (n, by) in moves {
                self.notes[n].frame = (self.notes[n].due + by).round() as isize;
            }
        }
    }

    /// Where between two frames each stroke lies, and how clearly it is heard.
    pub(super) fn place_finely(&mut self) {
        let better = self.better_places();
        for (note, (by, clear)) in self.notes.iter_mut().zip(better) {
            (note.fine, note.clear) = (by.clamp(-3.0, 3.0), clear);
        }
    }

    /// The whole explanation of `count` frames from `from` on.
    pub(super) fn told(&self, from: isize, count: usize) -> Option<&[f32]> {
        let (from, width) = (usize::try_from(from).ok()?, self.sound.width());
        self.whole.get(from * width..(from + count) * width)
    }

    /// What a stroke of a source at a frame adds to `count` frames from `from` on, at a gain of one.
    pub(super) fn added(&self, source: usize, frame: isize, from: isize, count: usize) -> Vec<f32> {
        let width = self.sound.width();
        let mut out = vec![0.0f32; count * width];
        let Some(source) = self.sources.get(source) else {
            return out;
        };
        let off = frame - BEFORE - from;
        let (skip, drop) = (off.max(0) as usize, (-off).max(0) as usize);
        let shape = source
            .shape
            .get((drop * width).min(LAST * width)..)
            .unwrap_or_default();
        out.iter_mut()
            .skip(skip * width)
            .zip(shape)
            .for_each(|(o, s)| *o = *s);
        out
    }

    /// A source that sounds like `like` with all frequencies `ratio` times as high; its index.
    pub(super) fn strange(&mut self, like: usize, ratio: f64, voice: Voice) -> Option<usize> {
        let width = self.sound.width();
        let shape = self.sources.get(like)?.shape.clone();
        let mut moved = shape.clone();
        for (row, out) in shape.chunks(width).zip(moved.chunks_mut(width)) {
            self.sound.moved(row, ratio, out);
        }
        self.sources.push(Source {
            voice,
            shape: moved,
            usual: 1.0,
            most: f32::INFINITY,
            written: 0,
            strange: true,
        });
        Some(self.sources.len() - 1)
    }

    /// When a stroke was struck, but for its voice's own distance: seconds.
    pub(super) fn time(&self, note: &Note) -> f64 {
        self.sound.time(note.frame as f64 + note.fine)
    }

    /// How long after the frame at which it lies a voice begins to sound, seconds: where its attack has half its height.
    pub(super) fn delay(&self, source: usize) -> f64 {
        let width = self.sound.width();
        let Some(source) = self.sources.get(source) else {
            return 0.0;
        };
        let rows: Vec<f32> = source
            .shape
            .chunks(width)
            .take(ATTACK)
            .map(|row| row.iter().sum())
            .collect();
        let high = rows.iter().copied().fold(0.0, f32::max);
        let at = rows.iter().position(|r| *r >= 0.5 * high).unwrap_or(0);
        let (below, above) = (
            at.checked_sub(1)
                .and_then(|a| rows.get(a))
                .copied()
                .unwrap_or(0.0),
            rows.get(at).copied().unwrap_or(high),
        );
        let share = (0.5 * high - below) / (above - below).max(TINY);
        self.sound
            .time(at as f64 - 1.0 + f64::from(share) - BEFORE as f64)
            - self.sound.time(0.0)
    }
}

/// What always sounds begins as this.
const FLOOR: f32 = 1e-3;

/// The cells that a stroke at a frame touches, and which part of its sound.
fn span(
    frame: isize,
    width: usize,
    frames: usize,
) -> Option<(std::ops::Range<usize>, std::ops::Range<usize>)> {
    let from = frame - BEFORE;
    let first = from.max(0);
    let last = (from + LAST as isize).min(frames as isize);
    let cells = |row: isize| row as usize * width;
    (last > first).then(|| (cells(first)..cells(last), cells(first - from)..cells(last - from)))
}

fn middle(numbers: impl Iterator<Item = f64>) -> f64 {
    super::curve::median(numbers.collect())
}
