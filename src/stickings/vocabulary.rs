//! The free line -> its vocabulary: the few cells by which it is written down shortest.
//!
//! Minimum description length [P: J. Rissanen, Automatica 14, 1978]: a cell is worth having when the line with it, plus the
//! cell itself, takes fewer bits than without. Cells are sought where something repeats at once, added one by one as
//! long as one saves bits, and taken out again when others have made them needless.

use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

use super::cell::{Symbol, Variant, class, is_primitive, variants};
use super::line::Line;
use super::tiling::{Priced, Tiling, tile};

/// The shortest and the longest cell.
const LENGTHS: std::ops::RangeInclusive<usize> = 2..=9;
/// A cell is worth having when it saves so many bits [M].
const WORTH: f64 = 1.0;
/// So many candidates of each length are weighed.
const CANDIDATES: usize = 6;
/// Cells of up to so many strokes are few enough to try them all.
const SHORT: usize = 6;
/// Each permutation is a thing to learn of its own: bits for it, beside those by which a tiling names it [M].
const PERMUTATION: f64 = 0.9;
/// So many cells are added in vain before the search ends.
const PATIENCE: usize = 2;
/// How much later all cells together may begin.
const SHIFTS: [isize; 6] = [1, -1, 2, -2, 3, -3];
/// Rests in cells are rare, and a hit that was not heard makes one: bits for each [M].
const REST: f64 = 8.0;
/// A line of more steps is long: an hour of playing has a hundred times as many.
const LONG: usize = 1024;
/// So many stretches of a long line are searched.
const STRETCHES: usize = 8;
/// How often the prices of a tiling are learnt from it.
const ROUNDS: usize = 3;
/// More cells than this are no reduction.
const MOST_CELLS: usize = 12;
const LONGER: usize = 1;
const POLISH: usize = 1;
const EACHS: usize = 1;

/// A vocabulary and the line cut by it.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Vocabulary {
    /// Cells.
    pub(super) cells: Vec<Vec<Symbol>>,
    /// Every way to play each of them.
    pub(super) variants: Vec<Variant>,
    /// The line.
    pub(super) tiling: Tiling,
    /// Bits for the cells and the line.
    bits: f64,
}

/// The costs of every cell tried so far, each computed once.
#[derive(Debug)]
struct Weigher<'a> {
    line: &'a Line,
    costs: BTreeMap<Vec<Symbol>, [Rc<Vec<f32>>; 2]>,
}

impl Weigher<'_> {
    /// These cells with every permutation of theirs.
    fn weigh(&mut self, cells: Vec<Vec<Symbol>>) -> Vocabulary {
        let all = cells.iter().enumerate();
        let variants = all
            .flat_map(|(n, cell)| variants(n, cell, self.line.hand))
            .collect();
        self.weigh_these(cells, variants)
    }

    /// The same with fewer permutations, as long as that saves bits.
    fn fewer(&mut self, mut best: Vocabulary) -> Vocabulary {
        loop {
            let used = self.used(&best);
            let mut next: Option<Vocabulary> = None;
            for at in 0..used.len() {
                let mut less = used.clone();
                less.remove(at);
                let with = self.weigh_these(best.cells.clone(), less);
                if with.bits < next.as_ref().unwrap_or(&best).bits {
                    next = Some(with);
                }
            }
            match next {
                Some(next) => best = next,
                None => return best,
            }
        }
    }

    /// The same with more permutations, as long as one saves bits: prices learnt from a tiling offer nothing that it
    /// lacks, so that each has to be brought in.
    fn more(&mut self, mut best: Vocabulary) -> Vocabulary {
        let all = best.cells.iter().enumerate();
        let hand = self.line.hand;
        let all: Vec<Variant> = all.flat_map(|(n, cell)| variants(n, cell, hand)).collect();
        loop {
            let used = self.used(&best);
            let mut next: Option<Vocabulary> = None;
            for variant in all
                .iter()
                .filter(|variant| used.iter().all(|own| own.symbols != variant.symbols))
            {
                let mut more = used.clone();
                more.push(variant.clone());
                let with = self.weigh_these(best.cells.clone(), more);
                if with.bits < next.as_ref().unwrap_or(&best).bits {
                    next = Some(with);
                }
            }
            match next {
                Some(next) => best = next,
                None => return best,
            }
        }
    }

    /// The same begun elsewhere: where every cell begins alike, all of them can begin a step later and fit as well
    /// but for where the line and its drums change.
    fn shifted(&mut self, mut best: Vocabulary) -> Vocabulary {
        for by in SHIFTS {
            let turned = |variant: &Variant| Variant {
                from: (variant.from as isize + by).rem_euclid(variant.symbols.len() as isize) as usize,
                symbols: turned(&variant.symbols, by),
                ..variant.clone()
            };
            let variants: Vec<Variant> = self.used(&best).iter().map(turned).collect();
            if variants
                .iter()
                .any(|variant| variant.symbols.first().is_none_or(|symbol| symbol.is_empty()))
            {
                continue;
            }
            let with = self.weigh_these(best.cells.clone(), variants);
            if with.bits < best.bits {
                best = with;
            }
        }
        best
    }

    fn turned_one_by_one(&mut self, mut best: Vocabulary) -> Vocabulary {
        loop {
            let used = self.used(&best);
            let mut next: Option<Vocabulary> = None;
            for at in 0..used.len() {
                for by in [1, -1] {
                    let mut with = used.clone();
                    let variant = &used[at];
                    with[at] = Variant {
                        from: (variant.from as isize + by).rem_euclid(variant.symbols.len() as isize) as usize,
                        symbols: turned(&variant.symbols, by),
                        ..variant.clone()
                    };
                    if with[at].symbols.first().is_none_or(|symbol| symbol.is_empty()) || used.iter().any(|own| own.symbols == with[at].symbols) { continue; }
                    let with = self.weigh_these(best.cells.clone(), with);
                    if with.bits < next.as_ref().unwrap_or(&best).bits { next = Some(with); }
                }
            }
            match next { Some(next) => best = next, None => return best }
        }
    }

    fn used(&self, vocabulary: &Vocabulary) -> Vec<Variant> {
        let used = |v: &usize| vocabulary.tiling.tiles.iter().any(|tile| tile.variant == *v);
        let all = (0..vocabulary.variants.len()).filter(used);
        all.filter_map(|v| vocabulary.variants.get(v).cloned()).collect()
    }

    fn weigh_these(&mut self, cells: Vec<Vec<Symbol>>, variants: Vec<Variant>) -> Vocabulary {
        let line = self.line;
        let priced = variants.iter().map(|variant| {
            let mut symbols = variant.symbols.clone();
            symbols.rotate_right(variant.from);
            let length = symbols.len();
            let costs = self.costs.entry(symbols);
            let [costs, fresh] = costs
                .or_insert_with_key(|cell| [line.costs(cell), line.fresh(cell)].map(Rc::new))
                .clone();
            Priced {
                costs,
                fresh,
                length,
                from: variant.from,
            }
        });
        let priced: Vec<Priced> = priced.collect();
        let tiling = tile(line, &priced, ROUNDS);
        let letters = (line.hand.limbs.list().len().max(2) as f64).log2();
        let lengths = (LENGTHS.count() as f64).log2();
        let rests = |cell: &Vec<Symbol>| cell.iter().filter(|symbol| symbol.is_empty()).count();
        let price = |cell: &Vec<Symbol>| lengths + letters * cell.len() as f64 + REST * rests(cell) as f64;
        Vocabulary {
            bits: tiling.bits + cells.iter().map(price).sum::<f64>() + PERMUTATION * tiling.used() as f64,
            cells,
            variants,
            tiling,
        }
    }
}

/// The vocabulary of a line. That of a long one is sought in stretches from all over it.
pub(super) fn find(line: &Line) -> Vocabulary {
    if line.len() <= LONG {
        return search(line);
    }
    with_cells(line, search(&line.excerpt(STRETCHES, LONG / STRETCHES)).cells)
}

/// The vocabulary once more, for the same line with other limbs here and there. A long one keeps its cells.
pub(super) fn again(line: &Line, before: Vocabulary) -> Vocabulary {
    if line.len() <= LONG {
        search(line)
    } else {
        with_cells(line, before.cells)
    }
}

/// A line cut by these cells.
fn with_cells(line: &Line, cells: Vec<Vec<Symbol>>) -> Vocabulary {
    let mut weigher = Weigher {
        line,
        costs: BTreeMap::new(),
    };
    let best = weigher.weigh(cells);
    in_order(best, &mut weigher)
}

fn search(line: &Line) -> Vocabulary {
    let mut weigher = Weigher {
        line,
        costs: BTreeMap::new(),
    };
    let mut best = weigher.weigh(Vec::new());
    let mut last = best.clone();
    let candidates = candidates(line);
    let longer = if LONGER > 0 { longer(line, &candidates) } else { Vec::new() };
    for candidates in [candidates, longer] {
    // A cell may pay only together with the next: a few are added before it is said that none does.
    let mut in_vain = 0;
    while last.cells.len() < MOST_CELLS && in_vain < PATIENCE {
        let mut next: Option<Vocabulary> = None;
        for cell in candidates.iter().filter(|cell| !last.cells.contains(cell)) {
            let mut cells = last.cells.clone();
            cells.push(cell.clone());
            let with = weigher.weigh(cells);
            if next.as_ref().is_none_or(|next| with.bits < next.bits) {
                next = Some(with);
            }
        }
        let Some(next) = next else { break };
        last = next;
        in_vain += 1;
        if last.bits < best.bits - WORTH {
            last = without_needless(last, &mut weigher);
            best = last.clone();
            in_vain = 0;
        }
    }
    last = best.clone();
    }
    let mut best = in_order(best, &mut weigher);
    for _ in 0..POLISH {
    let before = best.bits;
    best = weigher.more(best);
    best = weigher.fewer(best);
    best = weigher.shifted(best);
    if EACHS > 0 { best = weigher.turned_one_by_one(best); }
    if best.bits >= before - 0.01 { break; }
    }
    in_order(best, &mut weigher)
}

/// Takes out cells without which the line is no dearer: bits never rise, so that the search comes to an end.
fn without_needless(mut best: Vocabulary, weigher: &mut Weigher) -> Vocabulary {
    for at in (0..best.cells.len()).rev() {
        let mut cells = best.cells.clone();
        cells.remove(at);
        let less = weigher.weigh(cells);
        if less.bits <= best.bits {
            best = less;
        }
    }
    best
}

/// A cell begun so many steps later.
fn turned(symbols: &[Symbol], by: isize) -> Vec<Symbol> {
    let mut turned = symbols.to_vec();
    turned.rotate_left(by.rem_euclid(symbols.len().max(1) as isize) as usize);
    turned
}

/// Turns each cell so that its first permutation is the one that covers most, and sorts them by what they cover.
fn in_order(best: Vocabulary, weigher: &mut Weigher) -> Vocabulary {
    let steps = |wanted: &dyn Fn(&Variant) -> bool| -> usize {
        let tiles = best.tiling.tiles.iter();
        let own = tiles.filter(|tile| best.variants.get(tile.variant).is_some_and(wanted));
        own.map(|tile| tile.to - tile.from).sum()
    };
    let mut cells: Vec<(usize, Vec<Symbol>)> = Vec::new();
    for at in 0..best.cells.len() {
        let own = best.variants.iter().filter(|variant| variant.cell == at);
        let most = own.max_by_key(|variant| {
            (
                steps(&|v| v == *variant),
                std::cmp::Reverse(variant.symbols.clone()),
            )
        });
        let covered = steps(&|variant| variant.cell == at);
        cells.extend(most.map(|variant| (covered, variant.symbols.clone())));
    }
    cells.sort_by(|a, b| b.0.cmp(&a.0).then_with(|| a.1.cmp(&b.1)));
    let cells: Vec<Vec<Symbol>> = cells
        .into_iter()
        .filter(|(covered, _)| *covered > 0)
        .map(|(_, cell)| cell)
        .collect();
    let all = cells.iter().enumerate();
    let all = all.flat_map(|(n, cell)| variants(n, cell, weigher.line.hand));
    let used = |variant: &Variant| steps(&|own| own.symbols == variant.symbols) > 0;
    let used = all.filter(used).collect();
    weigher.weigh_these(cells, used)
}

/// Cells that the line plays twice at once, those first of which it plays most, of each length a few; in a line of
/// two limbs all short cells besides, for who plays what there may be open.
fn candidates(line: &Line) -> Vec<Vec<Symbol>> {
    let mut all = Vec::new();
    for length in LENGTHS {
        let mut counts: BTreeMap<Vec<Symbol>, usize> = BTreeMap::new();
        for at in 0..(line.len() + 1).saturating_sub(2 * length) {
            let (Some(a), Some(b)) = (
                line.played.get(at..at + length),
                line.played.get(at + length..at + 2 * length),
            ) else {
                continue;
            };
            let Some(cell) = merged(a, b) else { continue };
            let strokes = cell.iter().filter(|symbol| !symbol.is_empty()).count();
            if strokes >= 2 && 2 * strokes >= length && is_primitive(&cell) {
                *counts.entry(class(&cell, line.hand)).or_default() += 1;
            }
        }
        let mut most: Vec<(Vec<Symbol>, usize)> =
            counts.into_iter().filter(|(_, count)| *count > 1).collect();
        most.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        all.extend(most.into_iter().take(CANDIDATES).map(|(cell, _)| cell));
    }
    for cell in short(line) {
        if !all.contains(&cell) {
            all.push(cell);
        }
    }
    all
}

fn longer(line: &Line, known: &[Vec<Symbol>]) -> Vec<Vec<Symbol>> {
    let mut all = of_length(line, SHORT + 1..=9);
    all.retain(|cell| !known.contains(cell) && !thrice(cell));
    all
}

/// Whether a limb strikes three times in a row while the cell goes on.
fn thrice(cell: &[Symbol]) -> bool {
    let at = |n: usize| cell[n % cell.len()];
    (0..cell.len()).any(|n| at(n) == at(n + 1) && at(n) == at(n + 2))
}

/// Every cell of up to [`SHORT`] strokes of a line's two limbs.
fn short(line: &Line) -> Vec<Vec<Symbol>> { of_length(line, 2..=SHORT) }
fn of_length(line: &Line, lengths: std::ops::RangeInclusive<usize>) -> Vec<Vec<Symbol>> {
    let [a, b] = line.hand.limbs.list()[..] else {
        return Vec::new();
    };
    let mut all: BTreeSet<Vec<Symbol>> = BTreeSet::new();
    for length in lengths {
        for number in 0..1u32 << length {
            let limb = |n: usize| if number >> n & 1 == 1 { a } else { b };
            let cell: Vec<Symbol> = (0..length).map(|n| Symbol::of(&[limb(n)])).collect();
            if is_primitive(&cell) {
                all.insert(class(&cell, line.hand));
            }
        }
    }
    all.into_iter().collect()
}

/// Two statements of one cell, of which one step may be left out in one of them.
fn merged(a: &[Symbol], b: &[Symbol]) -> Option<Vec<Symbol>> {
    let mut apart = 0;
    let both = a.iter().zip(b).map(|(x, y)| {
        if x == y {
            return Some(*x);
        }
        apart += 1;
        match (x.is_empty(), y.is_empty()) {
            (true, false) => Some(*y),
            (false, true) => Some(*x),
            _ => None,
        }
    });
    let both: Option<Vec<Symbol>> = both.collect();
    both.filter(|_| apart <= 1)
}
