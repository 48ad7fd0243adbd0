//! The free line -> its vocabulary: the few cells by which it is written down shortest.
//!
//! Minimum description length [P: J. Rissanen, Automatica 14, 1978]: a cell is worth having when the line with it, plus the
//! cell itself, takes fewer bits than without. Cells are sought where something repeats at once, added one by one as
//! long as one saves bits, and taken out again when others have made them needless.

use std::collections::BTreeMap;
use std::rc::Rc;

use super::candidates::{LENGTHS, candidates, longer};
use super::cell::{Symbol, Variant, variants};
use super::line::Line;
use super::tiling::{Priced, Tiling, tile};

/// A cell is worth having when it saves so many bits [M].
const WORTH: f64 = 1.0;
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
            let used: Vec<Variant> = self.used(&best);
            let variants: Vec<Variant> = used.iter().filter_map(|variant| variant.turned(by)).collect();
            if variants.len() < used.len() {
                continue;
            }
            let with = self.weigh_these(best.cells.clone(), variants);
            if with.bits < best.bits {
                best = with;
            }
        }
        best
    }

    /// The same with single permutations begun a step earlier or later, as long as that saves bits.
    fn shifted_alone(&mut self, mut best: Vocabulary) -> Vocabulary {
        loop {
            let used = self.used(&best);
            let mut next: Option<Vocabulary> = None;
            for (at, by) in (0..used.len()).flat_map(|at| [(at, 1), (at, -1)]) {
                let Some(turned) = used.get(at).and_then(|variant| variant.turned(by)) else {
                    continue;
                };
                if used.iter().any(|own| own.symbols == turned.symbols) {
                    continue;
                }
                let mut others = used.clone();
                others.splice(at..=at, [turned]);
                let with = self.weigh_these(best.cells.clone(), others);
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
    let usual = candidates(line);
    let longer = longer(line, &usual);
    for candidates in [usual, longer] {
        best = grown(best, &candidates, &mut weigher);
    }
    let best = in_order(best, &mut weigher);
    let best = weigher.more(best);
    let best = weigher.fewer(best);
    let best = weigher.shifted(best);
    let best = weigher.shifted_alone(best);
    in_order(best, &mut weigher)
}

/// With as many more cells as save bits.
fn grown(mut best: Vocabulary, candidates: &[Vec<Symbol>], weigher: &mut Weigher) -> Vocabulary {
    let mut last = best.clone();
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
            last = without_needless(last, weigher);
            best = last.clone();
            in_vain = 0;
        }
    }
    best
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
