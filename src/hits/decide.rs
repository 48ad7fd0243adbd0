//! Evidence, then context -> the log odds that something was struck.
//!
//! Two sums of small decision trees (Friedman, "Greedy function approximation: a gradient boosting machine", Annals
//! of Statistics 29, 2001), fitted by `tests/fitting/hits.py` to performances rendered from played parts (Groove MIDI
//! Dataset, CC BY 4.0) and single strokes; no annotated recording was used.

/// Many small trees whose leaves add up to log odds.
pub(crate) struct Trees {
    /// The nodes of all trees, a parent before its children, the lower child right after its parent.
    nodes: Vec<Node>,
    /// Where each tree begins, and how many splits its longest way has.
    roots: Vec<(usize, usize)>,
    /// Log odds before any tree has spoken.
    base: f32,
}

/// One place of a tree; small, as all trees are gone through for every candidate.
#[derive(Clone, Copy, Default)]
struct Node {
    /// Goes on to the next node up to this limit of number `input`, else `above` nodes further. Where `above` is 0 the
    /// way ends with this share of the log odds.
    limit: f32,
    input: u16,
    above: u16,
}

/// Trees that are gone through side by side, so that none waits for the other.
const SIDE: usize = 8;

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
            nodes: Vec::new(),
            roots: Vec::new(),
            base,
        };
        for line in lines {
            let root = trees.nodes.len();
            let depth = trees.grow(&mut line.split_ascii_whitespace());
            trees.roots.push((root, depth));
        }
        trees
    }

    /// Reads one node and all below it; how many splits the longest way down has.
    fn grow<'a>(&mut self, words: &mut impl Iterator<Item = &'a str>) -> usize {
        let word = words.next().unwrap_or("0");
        let own = self.nodes.len();
        self.nodes.push(Node::default());
        let (input, limit) = word.split_once(':').unwrap_or(("0", word));
        let mut node = Node {
            limit: limit.parse().unwrap_or(0.0),
            input: input.parse().unwrap_or(0),
            above: 0,
        };
        let mut depth = 0;
        if word.contains(':') {
            let below = self.grow(words);
            node.above = u16::try_from(self.nodes.len() - own).unwrap_or(0);
            depth = 1 + below.max(self.grow(words));
        }
        if let Some(place) = self.nodes.get_mut(own) {
            *place = node;
        }
        depth
    }

    /// The log odds that a candidate of which these numbers speak is a stroke.
    pub(crate) fn log_odds(&self, numbers: &[f32]) -> f32 {
        let (sides, rest) = self.roots.as_chunks::<SIDE>();
        let sum = sides.iter().fold(self.base, |sum, roots| {
            self.leaves(roots, numbers)
                .iter()
                .fold(sum, |sum, leaf| sum + leaf)
        });
        rest.iter()
            .fold(sum, |sum, root| sum + self.leaves(&[*root], numbers)[0])
    }

    /// Where the ways down some trees end.
    fn leaves<const N: usize>(&self, roots: &[(usize, usize); N], numbers: &[f32]) -> [f32; N] {
        let node = |place: usize| self.nodes.get(place).copied().unwrap_or_default();
        let mut places = roots.map(|(root, _)| root);
        let depth = roots.iter().map(|(_, depth)| *depth).max().unwrap_or(0);
        for _ in 0..depth {
            for place in &mut places {
                let Node { limit, input, above } = node(*place);
                let value = numbers.get(usize::from(input)).copied().unwrap_or(0.0);
                // Both ways stay where the way has ended.
                *place += if value <= limit {
                    usize::from(above != 0)
                } else {
                    usize::from(above)
                };
            }
        }
        places.map(|place| node(place).limit)
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
            assert!(trees.roots.len() > 10);
            assert_eq!(trees.nodes.len(), words.len());
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
}
