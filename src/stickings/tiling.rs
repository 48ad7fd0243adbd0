//! A line and a vocabulary -> the cheapest way to write the line down as cells, by a shortest path over its steps.
//!
//! Bits are paid for each tile: few to go on with the same cell, more to go over to another, and for each step that is not as the
//! cell has it. Steps outside tiles are written down plainly. Where the line leaves a cell in its middle the last tile may be
//! cut.

use std::rc::Rc;

use super::line::Line;

/// A cell played once, or a part of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Tile {
    /// Which variant of the vocabulary.
    pub(super) variant: usize,
    /// Its first step in the line, from 0.
    pub(super) from: usize,
    /// The step after its last.
    pub(super) to: usize,
}

/// How dear each choice is, in bits; learnt from the tiling itself.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Prices {
    /// From a tile to the same again, to another, to a plain step.
    tile: [f64; 3],
    /// From a plain step to a plain step, to a tile.
    plain: [f64; 2],
    variants: Vec<f64>,
}

/// A line cut into tiles.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Tiling {
    /// By step.
    pub(super) tiles: Vec<Tile>,
    /// Bits for the line.
    pub(super) bits: f64,
}

/// To leave a cell before its end, and where, beside what it costs to go over to another.
const CUT: f64 = 6.0;
/// That a line begins with strokes that are part of no cell, in bits [M].
const UPBEAT: f64 = 2.0;
/// In the first rounds a variant that was not taken is offered all the same, as if it had come so often.
const UNSEEN: [f64; 2] = [0.5, 0.1];

/// Where the path comes from. There is one for every state of every step, so it is small: a line has at most some
/// thousand variants, and cells of some steps.
#[derive(Debug, Clone, Copy, Default)]
struct Back {
    /// The state before, or the variant of a cut tile.
    before: u16,
    /// Steps since the tile's first.
    steps: u8,
    /// A cut tile ends in the state of a plain step and is told from one by this.
    cut: bool,
}

impl Tiling {
    /// How many different variants it has.
    pub(super) fn used(&self) -> usize {
        let mut used: Vec<usize> = self.tiles.iter().map(|tile| tile.variant).collect();
        used.sort_unstable();
        used.dedup();
        used.len()
    }
}

impl Prices {
    fn even(count: usize) -> Prices {
        Prices {
            tile: [0.3, 3.0, 4.0],
            plain: [0.3, 2.5],
            variants: vec![(count.max(1) as f64).log2(); count],
        }
    }

    /// The prices that the tiles of a line ask for: what is frequent is cheap, what never comes is as if it had come
    /// `unseen` times, and not offered again where that is 0.
    fn of(tiling: &Tiling, count: usize, line: &Line, unseen: f64) -> Prices {
        let mut starts = vec![unseen; count];
        let (mut tile, mut plain) = ([0.5; 3], [0.5; 2]);
        let mut before: Option<&Tile> = None;
        for next in &tiling.tiles {
            let end = before.map_or(line.lead, |tile| tile.to);
            let gap = next.from.saturating_sub(end);
            match before {
                Some(b) if gap == 0 && b.variant == next.variant => tile[0] += 1.0,
                Some(_) if gap == 0 => tile[1] += 1.0,
                _ => {
                    tile[2] += f64::from(before.is_some());
                    plain[0] += gap as f64;
                    plain[1] += 1.0;
                }
            }
            if let Some(slot) = starts
                .get_mut(next.variant)
                .filter(|_| !before.is_some_and(|b| gap == 0 && b.variant == next.variant))
            {
                *slot += 1.0;
            }
            before = Some(next);
        }
        let rest = line.len() - before.map_or(line.lead, |tile| tile.to).min(line.len());
        plain[0] += rest as f64;
        let sum = starts.iter().sum::<f64>().max(1.0);
        Prices {
            tile: tile.map(|count| -(count / tile.iter().sum::<f64>()).log2()),
            plain: plain.map(|count| -(count / plain.iter().sum::<f64>()).log2()),
            variants: starts.iter().map(|count| -(count / sum).log2()).collect(),
        }
    }
}

/// A variant as the path needs it: where its costs stand, and at which of the cell's symbols it begins.
#[derive(Debug, Clone)]
pub(super) struct Priced {
    /// For every step one row of as many numbers as the cell has symbols.
    pub(super) costs: Rc<Vec<f32>>,
    /// The same for what is paid more where it begins.
    pub(super) fresh: Rc<Vec<f32>>,
    /// Steps in the cell.
    pub(super) length: usize,
    /// Its first symbol.
    pub(super) from: usize,
}

/// The cheapest tiling, its prices learnt in a few rounds.
pub(super) fn tile(line: &Line, variants: &[Priced], rounds: usize) -> Tiling {
    let mut prices = Prices::even(variants.len());
    let mut best = shortest(line, variants, &prices);
    for round in 0..rounds {
        let unseen = UNSEEN.get(round).copied().unwrap_or(0.0);
        prices = Prices::of(&best, variants.len(), line, unseen);
        best = shortest(line, variants, &prices);
    }
    best
}

fn shortest(line: &Line, variants: &[Priced], prices: &Prices) -> Tiling {
    let (steps, count) = (line.len(), variants.len());
    // State `count` is a plain step, or the beginning.
    let wide = count + 1;
    // No tile reaches further than the longest cell: costs are kept as far.
    let kept = variants
        .iter()
        .map(|variant| variant.length)
        .max()
        .unwrap_or(1)
        .max(1)
        + 1;
    let mut cost = vec![f64::INFINITY; kept * wide];
    let mut back = vec![Back::default(); (steps + 1) * wide];
    let mut own = vec![f64::INFINITY; wide];
    // Before its first hit the line costs nothing, and it begins with its first cell.
    let lead = line.lead.min(steps);
    for at in 1..=lead {
        back[at * wide + count] = Back {
            before: count as u16,
            steps: 1,
            cut: false,
        };
    }
    for at in 0..steps {
        let here = &mut cost[at % kept * wide..][..wide];
        own.copy_from_slice(here);
        here.fill(f64::INFINITY);
        if at <= lead {
            own[count] = 0.0;
        }
        let tiled = (0..count)
            .min_by(|a, b| own[*a].total_cmp(&own[*b]))
            .unwrap_or(count);
        let mut offer = |to: usize, state: usize, price: f64, before: usize, cut: bool| {
            let slot = &mut cost[to % kept * wide + state];
            if price < *slot && (to > lead || state < count) {
                *slot = price;
                back[to * wide + state] = Back {
                    before: before as u16,
                    steps: (to - at) as u8,
                    cut,
                };
            }
        };
        let [again, other, leave] = prices.tile;
        let [stay, enter] = prices.plain;
        let cheaper = |a: (f64, usize), b: (f64, usize)| if b.0 < a.0 { b } else { a };
        let (cost_plain, before) = cheaper((own[count] + stay, count), (own[tiled] + leave, tiled));
        let upbeat = if at == lead { UPBEAT } else { 0.0 };
        offer(
            at + 1,
            count,
            cost_plain + upbeat + f64::from(line.plain[at]),
            before,
            false,
        );
        // A cut cell ends as a plain step does, from where a cell is entered, not gone over to.
        let going_over = (other - enter).max(0.0);
        let enter = if at <= lead { 0.0 } else { enter };
        let (fresh, came) = cheaper((own[count] + enter, count), (own[tiled] + other, tiled));
        for (v, variant) in variants.iter().enumerate() {
            let Priced {
                costs, length, from, ..
            } = variant;
            if prices.variants[v].is_infinite() {
                continue;
            }
            let begins = f64::from(variant.fresh[at * length + from]);
            let (start, before) = cheaper((fresh + prices.variants[v] + begins, came), (own[v] + again, v));
            let mut sum = start;
            for n in 0..*length {
                if at + n >= steps {
                    break;
                }
                sum += f64::from(costs[(at + n) * length + (from + n) % length]);
                let whole = n + 1 == *length;
                // Where the line ends its last cell is cut for nothing.
                let cut = if at + n + 1 == steps {
                    0.0
                } else {
                    CUT + going_over
                };
                // Only a cell that has come once whole may be cut.
                if whole {
                    offer(at + n + 1, v, sum, before, false);
                } else if before == v {
                    offer(at + n + 1, count, sum + cut, v, true);
                }
            }
        }
    }
    let last = &mut cost[steps % kept * wide..][..wide];
    if steps == lead {
        last[count] = 0.0;
    }
    trace(last, &back)
}

/// The path to the cheapest of the `last` states.
fn trace(last: &[f64], back: &[Back]) -> Tiling {
    let wide = last.len();
    let mut state = (0..wide)
        .min_by(|a, b| last[*a].total_cmp(&last[*b]))
        .unwrap_or(0);
    let mut tiling = Tiling {
        tiles: Vec::new(),
        bits: last.get(state).copied().unwrap_or(0.0),
    };
    let mut at = back.len() / wide.max(1) - 1;
    while at > 0 {
        let Back { before, steps, cut } = back[at * wide + state];
        let (before, from) = (usize::from(before), at - usize::from(steps.max(1)));
        let variant = if cut { before } else { state };
        if variant + 1 < wide {
            tiling.tiles.push(Tile {
                variant,
                from,
                to: at,
            });
        }
        state = before;
        at = from;
    }
    tiling.tiles.reverse();
    tiling
}
