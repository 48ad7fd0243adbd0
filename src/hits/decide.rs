//! Evidence, then context -> the log odds that something was struck.
//!
//! Two sums of small decision trees (Friedman, "Greedy function approximation: a gradient boosting machine", Annals
//! of Statistics 29, 2001), fitted by `tests/fitting/hits.py` to performances rendered from played parts (Groove MIDI
//! Dataset, CC BY 4.0) and single strokes; no annotated recording was used.

/// Many small trees whose leaves add up to log odds.
///
/// They are not walked one by one, as every turn would have to be guessed: every split whose limit is passed strikes the
/// leaves below it, and the first leaf that is left is where the walk would end (Lucchese et al., "QuickScorer: a fast
/// algorithm to rank documents with additive ensembles of regression trees", SIGIR 2015).
pub(crate) struct Trees {
    /// The splits of all trees: those that ask for one number together, the lowest limit first.
    splits: Vec<Split>,
    /// Where the splits end that ask for each number.
    ends: Vec<usize>,
    /// The leaves of all trees, their shares of the log odds, and where those of each tree begin.
    leaves: Vec<f32>,
    firsts: Vec<usize>,
    /// Log odds before any tree has spoken.
    base: f32,
}

struct Split {
    /// Up to it the walk goes on below, else above.
    limit: f32,
    tree: u16,
    /// A bit for each leaf of the tree that is not below.
    left: u32,
}

/// Leaves that a tree may have.
const MOST_LEAVES: usize = u32::BITS as usize;

impl Trees {
    /// The trees that judge a candidate by its evidence.
    pub(super) fn first() -> Trees {
        Trees::read(include_str!("evidence.txt"))
    }

    /// The trees that judge it again in its context.
    pub(super) fn second() -> Trees {
        Trees::read(include_str!("context.txt"))
    }

    /// Reads a table: the base, then a tree a line, parents first: `input:limit` splits, a bare number ends.
    pub(crate) fn read(table: &str) -> Trees {
        let mut lines = table.lines().filter(|line| !line.starts_with('#'));
        let base = lines.next().and_then(|line| line.parse().ok()).unwrap_or(0.0);
        let mut trees = Trees {
            splits: Vec::new(),
            ends: Vec::new(),
            leaves: Vec::new(),
            firsts: Vec::new(),
            base,
        };
        let mut splits = Vec::new();
        for line in lines {
            trees.firsts.push(trees.leaves.len());
            trees.grow(&mut line.split_ascii_whitespace(), &mut splits);
        }
        splits.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.limit.total_cmp(&b.1.limit)));
        let inputs = splits.last().map_or(0, |(input, _)| input + 1);
        trees.ends = (0..inputs)
            .map(|input| splits.partition_point(|split| split.0 <= input))
            .collect();
        trees.splits = splits.into_iter().map(|(_, split)| split).collect();
        trees
    }

    /// Reads one node of the last tree and all below it; each split goes with the number that it asks for.
    fn grow<'a>(&mut self, words: &mut impl Iterator<Item = &'a str>, splits: &mut Vec<(usize, Split)>) {
        let word = words.next().unwrap_or("0");
        let Some((input, limit)) = word.split_once(':') else {
            self.leaves.push(word.parse().unwrap_or(0.0));
            return;
        };
        let tree = self.firsts.len().saturating_sub(1);
        let first = self.firsts.last().copied().unwrap_or(0);
        // A bit for each leaf that has been read of this tree.
        let read = |trees: &Trees| (1u64 << (trees.leaves.len() - first).min(MOST_LEAVES)) - 1;
        let before = read(self);
        self.grow(words, splits);
        let below = read(self) & !before;
        let split = Split {
            limit: limit.parse().unwrap_or(0.0),
            tree: tree as u16,
            left: !(below as u32),
        };
        splits.push((input.parse().unwrap_or(0), split));
        self.grow(words, splits);
    }

    /// The log odds that a candidate of which these numbers speak is a stroke.
    pub(crate) fn log_odds(&self, numbers: &[f32]) -> f32 {
        let mut left = vec![u32::MAX; self.firsts.len()];
        let mut from = 0;
        for (input, end) in self.ends.iter().enumerate() {
            let value = numbers.get(input).copied().unwrap_or(0.0);
            let below = |split: &&Split| value <= split.limit;
            let passed = self.splits.get(from..*end).unwrap_or_default().iter();
            for split in passed.take_while(|split| !below(split)) {
                if let Some(left) = left.get_mut(usize::from(split.tree)) {
                    *left &= split.left;
                }
            }
            from = *end;
        }
        let ends = self.firsts.iter().zip(left);
        ends.fold(self.base, |sum, (first, left)| {
            let leaf = self.leaves.get(first + left.trailing_zeros() as usize);
            sum + leaf.copied().unwrap_or(0.0)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::{CONTEXT, EVIDENCE};
    use super::*;

    #[test]
    fn the_built_in_trees_are_whole_and_ask_only_for_numbers_that_exist() {
        for (table, trees, numbers) in [
            (include_str!("evidence.txt"), Trees::first(), EVIDENCE),
            (include_str!("context.txt"), Trees::second(), CONTEXT),
        ] {
            let words: Vec<&str> = table
                .lines()
                .filter(|line| !line.starts_with('#'))
                .skip(1)
                .flat_map(str::split_ascii_whitespace)
                .collect();
            assert!(trees.firsts.len() > 10);
            assert_eq!(trees.splits.len() + trees.leaves.len(), words.len());
            let ends = trees.firsts.iter().skip(1).copied().chain([trees.leaves.len()]);
            let most = trees
                .firsts
                .iter()
                .zip(ends)
                .map(|(first, end)| end - first)
                .max();
            assert!(most <= Some(MOST_LEAVES));
            for word in words {
                let (input, limit) = word.split_once(':').unwrap_or(("0", word));
                assert!(input.parse::<usize>().unwrap() < numbers);
                assert!(limit.parse::<f32>().unwrap().is_finite());
            }
        }
    }

    #[test]
    fn a_tree_is_walked_as_it_is_written() {
        let trees = Trees::read("# note\n0.5\n1:2.0 0:0.0 10 20 40\n0:5 100 200");
        let odds = [[-1.0, 1.0], [1.0, 2.0], [6.0, 3.0]].map(|numbers| trees.log_odds(&numbers));
        assert_eq!(odds, [110.5, 120.5, 240.5]);
    }

    /// The walk that a table speaks of, node by node.
    fn walked(table: &str, numbers: &[f32]) -> f32 {
        fn walk<'a>(words: &mut impl Iterator<Item = &'a str>, numbers: &[f32]) -> f32 {
            let word = words.next().unwrap();
            let Some((input, limit)) = word.split_once(':') else {
                return word.parse().unwrap();
            };
            let below = walk(words, numbers);
            let above = walk(words, numbers);
            let value = numbers[input.parse::<usize>().unwrap()];
            if value <= limit.parse().unwrap() {
                below
            } else {
                above
            }
        }
        let mut lines = table.lines().filter(|line| !line.starts_with('#'));
        let base: f32 = lines.next().unwrap().parse().unwrap();
        lines.fold(base, |sum, line| {
            sum + walk(&mut line.split_ascii_whitespace(), numbers)
        })
    }

    #[test]
    fn striking_leaves_ends_where_walking_ends() {
        let mut state = 3u32;
        for (table, trees) in [
            (include_str!("evidence.txt"), Trees::first()),
            (include_str!("context.txt"), Trees::second()),
        ] {
            for round in 0..40 {
                let mut numbers: Vec<f32> = (0..EVIDENCE)
                    .map(|_| {
                        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                        4.0 * ((state >> 8) as f32 / (1 << 23) as f32 - 1.0)
                    })
                    .collect();
                if round == 0 {
                    numbers[5] = f32::NAN;
                }
                assert_eq!(trees.log_odds(&numbers), walked(table, &numbers));
            }
        }
    }
}
