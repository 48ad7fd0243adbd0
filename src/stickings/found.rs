//! Limbs and vocabulary -> [`Found`]: the values that files, charts and words are made of.

use std::collections::{BTreeMap, BTreeSet};

use super::body::Body;
use super::cell::Variant;
use super::frame::Frame;
use super::habits::Habits;
use super::impossible::impossible;
use super::limbs::{NOBODY_SAID, Shared, Work, is_foot};
use super::line::Line;
use super::report::{Accents, Cell, Drums, Meeting, Permutation, Run, Stickings, Way};
use super::rudiments::{HandStroke, name_cell};
use super::spread::spread;
use super::tiling::Tile;
use super::vocabulary::{self, Vocabulary};
use super::{Found, Hands, Played, adapt};
use crate::cycles::Moment;
use crate::grid::Grid;
use crate::names::{Limb, Voice};
use crate::units::Steps;

/// So many ways to share out the work are told.
const WAYS: usize = 3;

/// See [`super::find`].
pub(super) fn find(hits: &[Played], frames: &[Frame], grid: &Grid, body: &Body) -> Found {
    let settled = spread(hits, frames);
    let work = Work {
        hits,
        frames,
        body,
        pinned: &settled.limbs,
        expected: NOBODY_SAID,
    };
    // Of hours, lines and accounts are large: none is kept once it has been read.
    let mut shared = work.share();
    let mut line = Line::of(&work, &shared, &Habits::of(hits, &shared.limbs, &[], body));
    let mut vocabulary = Vocabulary::default();
    for known in [false, true] {
        vocabulary = if known {
            vocabulary::again(&line, vocabulary)
        } else {
            vocabulary::find(&line)
        };
        let expected = expected(hits.len(), &line, &vocabulary);
        let work = Work {
            expected: &expected,
            ..work
        };
        let begins = begins(hits.len(), &line, &vocabulary);
        drop(std::mem::take(&mut line));
        let ways = std::mem::take(&mut shared).ways;
        shared = work.share_so(ways);
        line = Line::of(&work, &shared, &Habits::of(hits, &shared.limbs, &begins, body));
    }
    let report = Report {
        hits,
        frames,
        grid,
        line: &line,
        vocabulary: &vocabulary,
    };
    let mut found = Found {
        margins: shared
            .limbs
            .iter()
            .zip(&shared.more)
            .map(|(limb, more)| margin(*limb, more))
            .collect(),
        cells: report.cells(),
        stickings: Stickings {
            vocabulary: report.vocabulary(),
            unexplained: report.unexplained(),
            ways: ways(&shared),
            impossible: impossible(hits, &shared, grid),
            followed: settled.followed,
            lines: Vec::new(),
        },
        limbs: shared.limbs,
    };
    found.stickings.lines = adapt::easier(hits, &found);
    found
}

/// The limb that each tile gives to the single strokes in it.
fn expected(count: usize, line: &Line, vocabulary: &Vocabulary) -> Vec<Option<Limb>> {
    let mut expected = vec![None; count];
    for tile in &vocabulary.tiling.tiles {
        let symbols = vocabulary
            .variants
            .get(tile.variant)
            .map_or(&[][..], |variant| &variant.symbols);
        for (step, symbol) in (tile.from..tile.to).zip(symbols) {
            let hits = line.hits.get(step).map_or(&[][..], Vec::as_slice);
            if let ([hit], [limb]) = (hits, symbol.list().as_slice())
                && let Some(slot) = expected.get_mut(*hit)
            {
                *slot = Some(*limb);
            }
        }
    }
    expected
}

/// The strokes that are a hand's first of a stretch of one cell.
fn begins(count: usize, line: &Line, vocabulary: &Vocabulary) -> Vec<bool> {
    let mut begins = vec![false; count];
    let mut before: Option<&Tile> = None;
    let mut open: Vec<Limb> = Vec::new();
    for tile in &vocabulary.tiling.tiles {
        if before.is_none_or(|before| before.variant != tile.variant || before.to != tile.from) {
            open = vec![Limb::RightHand, Limb::LeftHand];
        }
        before = Some(tile);
        let symbols = vocabulary
            .variants
            .get(tile.variant)
            .map_or(&[][..], |variant| &variant.symbols);
        for (step, symbol) in (tile.from..tile.to).zip(symbols) {
            if let [hit] = line.hits.get(step).map_or(&[][..], Vec::as_slice)
                && open.iter().any(|limb| symbol.has(*limb))
                && let Some(slot) = begins.get_mut(*hit)
            {
                *slot = true;
                open.retain(|limb| !symbol.has(*limb));
            }
        }
    }
    begins
}

fn margin(limb: Option<Limb>, more: &[f64; 4]) -> f64 {
    let others = Limb::ALL
        .iter()
        .zip(more)
        .filter(|(other, _)| Some(**other) != limb);
    others.map(|(_, more)| *more).fold(f64::INFINITY, f64::min)
}

fn ways(shared: &Shared) -> Vec<Way> {
    let best = shared.ways.first().map_or(0.0, |way| way.cost);
    let told = shared.ways.iter().take(WAYS).map(|way| Way {
        figure: way.figure.clone(),
        hands: way.hands,
        more_bits: way.cost - best,
    });
    told.filter(|way| !way.figure.is_empty() || way.hands != Hands::Both || shared.ways.len() > 1)
        .collect()
}

struct Report<'a> {
    hits: &'a [Played],
    frames: &'a [Frame],
    grid: &'a Grid,
    line: &'a Line,
    vocabulary: &'a Vocabulary,
}

impl Report<'_> {
    fn variant(&self, tile: &Tile) -> Option<&Variant> {
        self.vocabulary.variants.get(tile.variant)
    }

    fn hits_in(&self, from: usize, to: usize) -> impl Iterator<Item = usize> {
        self.line
            .hits
            .get(from..to)
            .unwrap_or_default()
            .iter()
            .flatten()
            .copied()
    }

    /// For each hit the cell that it is part of.
    fn cells(&self) -> Vec<Option<usize>> {
        let mut cells = vec![None; self.hits.len()];
        for tile in &self.vocabulary.tiling.tiles {
            for hit in self.hits_in(tile.from, tile.to) {
                if let Some(slot) = cells.get_mut(hit) {
                    *slot = self.variant(tile).map(|variant| variant.cell);
                }
            }
        }
        cells
    }

    fn strokes(&self) -> usize {
        self.line.hits.iter().map(Vec::len).sum()
    }

    fn unexplained(&self) -> Option<f64> {
        let all = self.strokes();
        let explained = self.cells().iter().flatten().count();
        (all > 0).then(|| (all - explained.min(all)) as f64 / all as f64)
    }

    fn moment(&self, step: usize) -> Moment {
        let step = Steps(self.line.first.saturating_add(step as i64));
        let place = self.grid.place_of(step);
        Moment {
            bar: place.bar,
            beat: place.beat,
            step: place.step,
            time: self.grid.time_of(step).unwrap_or_default(),
        }
    }

    fn vocabulary(&self) -> Vec<Cell> {
        let cells = self.cells();
        let all = self.strokes().max(1) as f64;
        let mut before = 0.0;
        let mut told = Vec::new();
        for (number, symbols) in self.vocabulary.cells.iter().enumerate() {
            let share = cells.iter().filter(|cell| **cell == Some(number)).count() as f64 / all;
            before += share;
            let letters = self.line.hand.letters(symbols);
            let permutations = self.permutations(number);
            told.push(Cell {
                name: self.name(symbols).unwrap_or_else(|| letters.clone()),
                cell: letters,
                steps: symbols.len() as u32,
                share,
                together: before.min(1.0),
                opens: self.opens(number, &cells),
                r#where: self.runs(number, &permutations),
                permutations: permutations
                    .into_iter()
                    .map(|(_, permutation)| permutation)
                    .collect(),
                drums: self.drums(number),
                figures: self.meetings(number),
            });
        }
        told
    }

    /// The rudiments that a cell of two limbs is.
    fn name(&self, symbols: &[super::cell::Symbol]) -> Option<String> {
        let limbs = self.line.hand.limbs.list();
        let [one, _] = limbs.as_slice() else { return None };
        let stroke = |symbol: &super::cell::Symbol| match symbol.list().as_slice() {
            [limb] => Some(HandStroke {
                right: limb == one,
                ..HandStroke::default()
            }),
            _ => None,
        };
        let line: Option<Vec<HandStroke>> = symbols.iter().map(stroke).collect();
        let names = name_cell(&line?);
        let among = match limbs.iter().filter(|limb| is_foot(**limb)).count() {
            0 => "",
            1 => ", between hand and foot",
            _ => ", with the feet",
        };
        (!names.is_empty()).then(|| format!("{}{among}", names.join(" or ")))
    }

    fn tiles(&self, cell: usize) -> impl Iterator<Item = (&Tile, &Variant)> {
        let tiles = self.vocabulary.tiling.tiles.iter();
        tiles.filter_map(move |tile| Some((tile, self.variant(tile).filter(|variant| variant.cell == cell)?)))
    }

    /// With the number of the variant; those played most first.
    fn permutations(&self, cell: usize) -> Vec<(usize, Permutation)> {
        let mut all: BTreeMap<usize, Permutation> = BTreeMap::new();
        for (tile, variant) in self.tiles(cell) {
            let one = all.entry(tile.variant).or_insert_with(|| Permutation {
                cell: self.line.hand.letters(&variant.symbols),
                begins: variant.from as u32 + 1,
                mirror: variant.mirror,
                times: 0,
                accents: Vec::new(),
            });
            one.times += 1;
            let accented = |step: &usize| {
                self.hits_in(*step, step + 1)
                    .any(|hit| self.hits.get(hit).is_some_and(|h| h.accent))
            };
            let on: Vec<u32> = (tile.from..tile.to)
                .filter(accented)
                .map(|step| (step - tile.from) as u32 + 1)
                .collect();
            match one.accents.iter_mut().find(|accents| accents.on == on) {
                Some(accents) => accents.times += 1,
                None => one.accents.push(Accents { on, times: 1 }),
            }
        }
        let mut list: Vec<(usize, Permutation)> = all.into_iter().collect();
        for (_, permutation) in &mut list {
            permutation
                .accents
                .sort_by(|a, b| b.times.cmp(&a.times).then_with(|| a.on.cmp(&b.on)));
        }
        list.sort_by(|a, b| b.1.times.cmp(&a.1.times).then(a.0.cmp(&b.0)));
        list
    }

    fn runs(&self, cell: usize, permutations: &[(usize, Permutation)]) -> Vec<Run> {
        let mut runs: Vec<(usize, usize, usize, u32)> = Vec::new();
        let mut whole = true;
        for (tile, variant) in self.tiles(cell) {
            // After a cut one it begins anew.
            let goes_on = std::mem::replace(&mut whole, tile.to - tile.from == variant.symbols.len());
            match runs.last_mut() {
                Some((variant, _, to, times)) if goes_on && *variant == tile.variant && *to == tile.from => {
                    *to = tile.to;
                    *times += 1;
                }
                _ => runs.push((tile.variant, tile.from, tile.to, 1)),
            }
        }
        let first = self.line.first;
        let run = |(variant, from, to, times): &(usize, usize, usize, u32)| Run {
            start: self.moment(*from),
            end: self.moment(*to),
            steps: [first + *from as i64, first + *to as i64],
            permutation: permutations
                .iter()
                .position(|(own, _)| own == variant)
                .unwrap_or(0) as u32,
            times: *times,
        };
        runs.iter().map(run).collect()
    }

    /// The bars whose free strokes are all explained by this cell and those before it, and not without it.
    fn opens(&self, cell: usize, cells: &[Option<usize>]) -> Vec<i64> {
        let mut last: BTreeMap<i64, Option<usize>> = BTreeMap::new();
        for (hit, cell) in self
            .hits
            .iter()
            .zip(cells)
            .filter(|(hit, _)| hit.figure.is_none())
        {
            let Some(step) = hit.step else { continue };
            let cell = cell.unwrap_or(usize::MAX);
            let bar = last.entry(self.grid.place_of(step).bar).or_default();
            *bar = Some(bar.map_or(cell, |other| other.max(cell)));
        }
        last.into_iter()
            .filter(|(_, needs)| *needs == Some(cell))
            .map(|(bar, _)| bar)
            .collect()
    }

    fn drums(&self, cell: usize) -> Vec<Drums> {
        let mut all: Vec<Drums> = Vec::new();
        for (tile, variant) in self.tiles(cell) {
            let mut limbs: BTreeMap<Limb, BTreeSet<Voice>> = BTreeMap::new();
            for (step, symbol) in (tile.from..tile.to).zip(&variant.symbols) {
                for hit in self.hits_in(step, step + 1) {
                    if let ([limb], Some(hit)) = (symbol.list().as_slice(), self.hits.get(hit)) {
                        limbs.entry(*limb).or_default().insert(hit.voice);
                    }
                }
            }
            let limbs = limbs
                .into_iter()
                .map(|(limb, voices)| (limb, voices.into_iter().collect()))
                .collect();
            match all.iter_mut().find(|drums| drums.limbs == limbs) {
                Some(drums) => drums.times += 1,
                None => all.push(Drums { limbs, times: 1 }),
            }
        }
        all.sort_by_key(|drums| std::cmp::Reverse(drums.times));
        all
    }

    fn meetings(&self, cell: usize) -> Vec<Meeting> {
        let length = self.vocabulary.cells.get(cell).map_or(1, Vec::len).max(1) as u64;
        let meeting = |(number, frame): (usize, &Frame)| {
            let used: BTreeSet<u32> = (self.tiles(cell))
                .map(|(tile, _)| Steps(self.line.first + tile.from as i64))
                .filter(|step| frame.holds(*step))
                .map(|step| frame.phase(step) as u32 + 1)
                .collect();
            let figure = frame.length.unsigned_abs().max(1);
            let home = figure / gcd(figure, length) * length;
            Meeting {
                figure: number as u32,
                home_steps: home as u32,
                alignments: (home / length) as u32,
                used: used.into_iter().collect(),
            }
        };
        let all = self.frames.iter().enumerate().map(meeting);
        all.filter(|meeting| !meeting.used.is_empty()).collect()
    }
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}
