//! [`Candidate`] -> [`Cycle`]: where the figure starts, what it strikes, how often it comes round whole, and which hits
//! belong to it.

use super::broken::{Broken, Spot, moved};
use super::search::{Candidate, Search};
use super::streams::{Stream, alike};
use super::strokes::{Strokes, Turn};
use super::{Carrier, Cycle, FigureNote, Home, Moment, Resolved, Round, Verdict, home};
use crate::grid::{Grid, Placed};
use crate::names::{Limb, Voice};
use crate::units::{Bits, Seconds, Steps};

/// Figures begin with the bar more readily than elsewhere, and with a beat more readily than between: bits for each,
/// in 1/256 bit.
const ON_THE_BAR: i32 = 4 * 256;
const ON_A_BEAT: i32 = 256;

/// One stream's share of a figure.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Line {
    /// Index of the stream.
    pub(super) stream: usize,
    /// For each phase the voice struck there, if any.
    pub(super) notes: Vec<Option<Voice>>,
}

/// Some steps held against the figure.
#[derive(Debug, Default)]
struct Compared {
    /// Notes they should have.
    notes: usize,
    /// Those that are not there: step, and the line in whose place it is; rising.
    missing: Vec<Spot>,
    /// Strokes of the figure's voices that the figure does not have.
    added: Vec<Spot>,
}

/// A figure with its stretch settled: it starts on `from`, which is phase 0, and ends before `to`.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Figure {
    /// Length and starts.
    pub(super) turn: Turn,
    /// First step and the step after the last.
    pub(super) span: (usize, usize),
    /// Its lines.
    pub(super) lines: Vec<Line>,
    /// Bits saved.
    pub(super) bits: f64,
}

impl Figure {
    /// Settles where a candidate's figure starts and ends.
    pub(super) fn of(candidate: &Candidate, search: &Search, strokes: &Strokes) -> Self {
        let masks: Vec<(usize, Vec<bool>)> = candidate
            .parts
            .iter()
            .map(|p| (p.stream, search.figure(candidate, p.stream)))
            .collect();
        let struck = |step: usize| masks.iter().any(|(_, m)| m[candidate.turn.phase(step)]);
        let (begin, stop) = candidate.span;
        let from = if candidate.turn.round > 0 {
            let near = begin
                .saturating_sub(candidate.turn.length / 2)
                .max(strokes.whole.0);
            (near..stop).find(|s| candidate.turn.starts(*s)).unwrap_or(begin)
        } else {
            start(candidate, &search.gains(candidate), strokes, &struck)
        };
        let turn = Turn {
            origin: if candidate.turn.round > 0 {
                candidate.turn.origin
            } else {
                from
            },
            ..candidate.turn
        };
        let span = (from, end(turn, (from, stop), &struck));
        let settled = Candidate {
            turn,
            span: (from, candidate.span.1),
            ..candidate.clone()
        };
        let lines = candidate
            .parts
            .iter()
            .map(|p| line(p.stream, &settled, &search.figure(&settled, p.stream), strokes))
            .collect();
        Figure {
            turn,
            span,
            lines,
            bits: candidate.bits,
        }
    }

    /// The cycle as players and files see it.
    pub(super) fn cycle(&self, strokes: &Strokes, grid: &Grid, chance: f64, grade: Verdict) -> Cycle {
        let length = self.turn.length;
        let mut figure = Vec::new();
        for phase in 0..length {
            let mut voices: Vec<Voice> = self
                .lines
                .iter()
                .filter_map(|l| l.notes.get(phase).copied().flatten())
                .collect();
            voices.sort();
            if !voices.is_empty() {
                figure.push(FigureNote {
                    step: phase as u32 + 1,
                    limb: foot(&voices),
                    voices,
                });
            }
        }
        let carrier = self.carrier(strokes);
        let mut voices: Vec<Voice> = match carrier {
            Carrier::Voices => figure.iter().flat_map(|n| n.voices.clone()).collect(),
            Carrier::Accents | Carrier::Line => self.carriers(strokes),
        };
        voices.sort();
        voices.dedup();
        let repeats = self.repeats();
        let all = self.compare(self.span.0, self.span.1, strokes);
        let whole = repeats
            .iter()
            .filter(|(a, b)| b - a == length || self.turn.round > 0)
            .count();
        let (home_cycles, home_bars) = home(Steps(length as i64), Steps(strokes.bar as i64));
        Cycle {
            length_steps: length as u32,
            length_notes: figure.len() as u32,
            length_seconds: step_seconds(grid) * length as f64,
            crosses_bar: strokes.crosses(length),
            figure,
            voices,
            carrier,
            start: moment(self.span.0, strokes, grid),
            end: moment(self.span.1, strokes, grid),
            repeats: whole as u32,
            kept: (all.notes - all.missing.len()) as f64 / all.notes.max(1) as f64,
            broken: self.broken(&all, &repeats, strokes, grid),
            bits: Bits(self.bits),
            chance,
            home_bars,
            home_cycles,
            resolved: (self.turn.round > 0).then(|| Resolved {
                every_bars: (self.turn.round / strokes.bar) as u32,
            }),
            grade,
            home: Home::default(),
        }
    }

    /// How the cycle comes home against phrases of so many bars.
    pub(super) fn home(&self, cycle: &Cycle, strokes: &Strokes, grid: &Grid, phrase_bars: u32) -> Home {
        let on_grid = |step: usize| Steps(strokes.first + step as i64);
        let struck: Vec<u32> = cycle.figure.iter().map(|n| n.step).collect();
        let round = Round {
            length: cycle.length_steps,
            struck: &struck,
            span: (on_grid(self.span.0), on_grid(self.span.1)),
            anew: cycle
                .resolved
                .as_ref()
                .map(|r| (r.every_bars, on_grid(self.turn.origin))),
        };
        Home::of(&round, grid, phrase_bars)
    }

    /// What carries it: accents or the whole line only where nothing else does.
    fn carrier(&self, strokes: &Strokes) -> Carrier {
        let carriers = self.lines.iter().map(|line| strokes.streams[line.stream].carrier);
        carriers
            .reduce(|a, b| if a == b { a } else { Carrier::Voices })
            .unwrap_or_default()
    }

    /// The voices that strike notes of a figure which falls on whichever drum.
    fn carriers(&self, strokes: &Strokes) -> Vec<Voice> {
        let mut voices = Vec::new();
        for line in &self.lines {
            let stream = &strokes.streams[line.stream];
            let struck = (self.span.0..self.span.1).filter(|s| line.notes[self.turn.phase(*s)].is_some());
            let struck: Vec<usize> = struck.collect();
            let has = |v: &&Voice| struck.iter().any(|s| strokes.carries(stream.carrier, **v, *s));
            voices.extend(stream.voices.iter().filter(has).copied());
        }
        voices
    }

    /// Where each repeat starts and stops; the last may be cut.
    fn repeats(&self) -> Vec<(usize, usize)> {
        let starts: Vec<usize> = (self.span.0..self.span.1)
            .filter(|s| self.turn.starts(*s))
            .collect();
        let ends = starts.iter().skip(1).copied().chain([self.span.1]);
        starts.iter().copied().zip(ends).collect()
    }

    /// The repeats that are not whole.
    fn broken(
        &self,
        all: &Compared,
        repeats: &[(usize, usize)],
        strokes: &Strokes,
        grid: &Grid,
    ) -> Vec<Broken> {
        let mut broken: Vec<Broken> = (1..)
            .zip(repeats)
            .map(|(repeat, &(from, _))| Broken {
                repeat,
                start: grid.place_of(Steps(strokes.first + from as i64)),
                missing: Vec::new(),
                added: Vec::new(),
                moved: Vec::new(),
            })
            .collect();
        let repeat_of = |step: usize| repeats.partition_point(|r| r.0 <= step).checked_sub(1);
        let place = |step: usize| self.turn.phase(step) as u32 + 1;
        let mut gone: Vec<Spot> = Vec::new();
        for (&(step, line), by) in all.missing.iter().zip(moved(&all.missing, &all.added)) {
            let note = self.lines[line]
                .notes
                .get(self.turn.phase(step))
                .copied()
                .flatten();
            let (Some(index), Some(voice)) = (repeat_of(step), note) else {
                continue;
            };
            match by {
                Some(by) => {
                    broken[index].moved.push((place(step), voice, by));
                    gone.push((step.saturating_add_signed(by as isize), line));
                }
                None => broken[index].missing.push((place(step), voice)),
            }
        }
        gone.sort_unstable();
        for spot in all.added.iter().filter(|spot| gone.binary_search(spot).is_err()) {
            let voice = strokes.voice_at(self.lines[spot.1].stream, spot.0);
            if let (Some(index), Some(voice)) = (repeat_of(spot.0), voice) {
                broken[index].added.push((place(spot.0), voice));
            }
        }
        broken.retain(|b| !(b.missing.is_empty() && b.added.is_empty() && b.moved.is_empty()));
        broken
    }

    /// Holds the steps of a stretch against the figure.
    fn compare(&self, from: usize, to: usize, strokes: &Strokes) -> Compared {
        let mut compared = Compared::default();
        for step in from..to {
            let phase = self.turn.phase(step);
            for (index, line) in self.lines.iter().enumerate() {
                let stream = &strokes.streams[line.stream];
                let hit = stream.hit.get(step).is_some_and(|h| *h > 0);
                let note = line.notes.get(phase).copied().flatten();
                // A crash where the bell belongs is the figure's note on another cymbal.
                let instead = |note: Voice| strokes.strikes_alike(note, step);
                let instead = |note: Voice| stream.carrier == Carrier::Voices && instead(note);
                match (note, hit || note.is_some_and(instead)) {
                    (Some(_), there) => {
                        compared.notes += 1;
                        if !there {
                            compared.missing.push((step, index));
                        }
                    }
                    (None, true) => compared.added.push((step, index)),
                    (None, false) => {}
                }
            }
        }
        compared
    }

    /// The share of the figure's notes that are there, and the share of its voices' strokes that the figure has.
    pub(super) fn holds(&self, strokes: &Strokes) -> (f64, f64) {
        let all = self.compare(self.span.0, self.span.1, strokes);
        let there = (all.notes - all.missing.len()) as f64;
        (
            there / all.notes.max(1) as f64,
            there / (there + all.added.len() as f64).max(1.0),
        )
    }

    /// Of the quarters of its stretch the one that keeps least: the share of the figure's notes that are there.
    pub(super) fn weakest_quarter(&self, strokes: &Strokes) -> f64 {
        let (from, to) = self.span;
        let edge = |quarter: usize| from + (to - from) * quarter / 4;
        let kept = (0..4).map(|q| {
            let part = self.compare(edge(q), edge(q + 1), strokes);
            (part.notes - part.missing.len()) as f64 / part.notes.max(1) as f64
        });
        kept.fold(1.0, f64::min)
    }

    /// Where strokes are that belong to the figure a step from here: step and line, rising. On a line that is struck at
    /// will so often that most of its notes which seem to be moved would seem so by chance, there are none.
    fn strayed(&self, strokes: &Strokes) -> Vec<Spot> {
        let all = self.compare(self.span.0, self.span.1, strokes);
        let went = moved(&all.missing, &all.added);
        let mut strayed = Vec::new();
        for (index, line) in self.lines.iter().enumerate() {
            let gone = all.missing.iter().zip(&went).filter(|(spot, _)| spot.1 == index);
            let here: Vec<Spot> = gone
                .clone()
                .filter_map(|(&(step, line), by)| {
                    by.map(|by| (step.saturating_add_signed(by as isize), line))
                })
                .collect();
            let rests = line.notes.iter().filter(|note| note.is_none()).count();
            let share = rests as f64 / line.notes.len().max(1) as f64;
            let steps = (self.span.1 - self.span.0) as f64 * share;
            let added = all.added.iter().filter(|spot| spot.1 == index).count();
            let at_will = (added - here.len()) as f64 / steps.max(1.0);
            // A note that is missing has a rest before it this often, and one after it.
            let by_chance = gone.count() as f64 * (1.0 - (1.0 - at_will * share).powi(2));
            if 2.0 * by_chance <= here.len() as f64 {
                strayed.extend(here);
            }
        }
        strayed.sort_unstable();
        strayed
    }

    /// Marks the hits that belong to this figure with its index.
    pub(super) fn claim(
        &self,
        index: usize,
        placed: &[Placed],
        strokes: &Strokes,
        layer: &mut [Option<usize>],
    ) {
        let strayed = self.strayed(strokes);
        for (hit, owner) in placed.iter().zip(layer) {
            let step = hit.step.0 - strokes.first;
            if owner.is_some() || step < self.span.0 as i64 || step >= self.span.1 as i64 {
                continue;
            }
            let step = step as usize;
            let phase = self.turn.phase(step);
            let belongs = (0..).zip(&self.lines).any(|(index, line)| {
                let Stream { voices, carrier, .. } = &strokes.streams[line.stream];
                let there = |v: Voice| strokes.carries(*carrier, v, step);
                let voice = hit.hit.voice;
                let Some(note) = line.notes.get(phase).copied().flatten() else {
                    let strays = strayed.binary_search(&(step, index)).is_ok();
                    return strays && voices.contains(&voice) && there(voice);
                };
                if *carrier != Carrier::Voices {
                    return voices.contains(&voice) && there(voice);
                }
                voice == note
                    || !there(note) && voices.contains(&voice)
                    || alike(voice, note) && !voices.iter().any(|v| there(*v))
            });
            if belongs {
                *owner = Some(index);
            }
        }
    }
}

/// The step on which a freely running figure starts: near the beginning of its stretch, on a struck note, on a
/// downbeat or a beat where that costs little.
fn start(candidate: &Candidate, gains: &[i32], strokes: &Strokes, struck: &dyn Fn(usize) -> bool) -> usize {
    let (a, length) = (candidate.span.0, candidate.turn.length);
    let low = a.saturating_sub(length).max(strokes.whole.0);
    let high = (a + length).min(candidate.span.1.saturating_sub(1));
    let value = |step: usize| {
        let between = gains
            .get(a.min(step)..a.max(step))
            .unwrap_or_default()
            .iter()
            .sum::<i32>();
        let moved = if step < a { between } else { -between };
        let place = if step.is_multiple_of(strokes.bar) {
            ON_THE_BAR
        } else if step.is_multiple_of(strokes.beat) {
            ON_A_BEAT
        } else {
            0
        };
        moved + place
    };
    (low..=high)
        .filter(|s| struck(*s))
        .max_by_key(|s| (value(*s), std::cmp::Reverse(*s)))
        .unwrap_or(a)
}

/// The step after the last: the end of the last repeat when all its notes are in the stretch, else the stretch's end.
fn end(turn: Turn, (from, to): (usize, usize), struck: &dyn Fn(usize) -> bool) -> usize {
    let mut step = to;
    while step > from && !turn.starts(step) {
        if struck(step) {
            return to;
        }
        step += 1;
        if step - to > turn.length {
            return to;
        }
    }
    step
}

/// Which voice a stream strikes on each phase of its figure: the one that does so most often.
fn line(stream: usize, candidate: &Candidate, mask: &[bool], strokes: &Strokes) -> Line {
    let Stream { voices, carrier, .. } = &strokes.streams[stream];
    let notes = mask.iter().enumerate().map(|(phase, struck)| {
        let steps = (candidate.span.0..candidate.span.1).filter(|s| candidate.turn.phase(*s) == phase);
        let steps: Vec<usize> = steps.collect();
        let often = |v: &Voice| {
            steps
                .iter()
                .filter(|s| strokes.carries(*carrier, *v, **s))
                .count()
        };
        let most = voices
            .iter()
            .copied()
            .max_by_key(|v| (often(v), std::cmp::Reverse(*v)));
        if *struck { most } else { None }
    });
    Line {
        stream,
        notes: notes.collect(),
    }
}

/// The foot that plays these voices, when it is one foot alone and known.
fn foot(voices: &[Voice]) -> Option<Limb> {
    match voices {
        [Voice::Kick] => Some(Limb::RightFoot),
        [Voice::KickLeft | Voice::HatFoot] => Some(Limb::LeftFoot),
        _ => None,
    }
}

/// A step as bar, beat, step and time.
fn moment(step: usize, strokes: &Strokes, grid: &Grid) -> Moment {
    let step = Steps(strokes.first + step as i64);
    let place = grid.place_of(step);
    Moment {
        bar: place.bar,
        beat: place.beat,
        step: place.step,
        time: grid.time_of(step).unwrap_or(Seconds(0.0)),
    }
}

/// The median step.
fn step_seconds(grid: &Grid) -> Seconds {
    let mut beats: Vec<f64> = grid.beats.windows(2).map(|w| (w[1] - w[0]).0).collect();
    beats.sort_by(f64::total_cmp);
    let beat = match beats.get(beats.len() / 2) {
        Some(middle) => *middle,
        None if grid.tempo.0 > 0.0 => grid.tempo.beat().0,
        None => 0.0,
    };
    Seconds(beat / f64::from(grid.steps_per_beat.max(1)))
}
