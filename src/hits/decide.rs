//! Evidence, then context -> the log odds that something was struck.
//!
//! Two sums of small decision trees (Friedman, "Greedy function approximation: a gradient boosting machine", Annals
//! of Statistics 29, 2001), fitted by `tests/fitting/hits.py` to performances rendered from played parts (Groove MIDI
//! Dataset, CC BY 4.0) and single strokes; no annotated recording was used.

/// Many small trees whose leaves add up to log odds.
pub(crate) struct Trees {
    /// The nodes of all trees, a parent before its children, the lower child right after its parent.
    nodes: Vec<Node>,
    /// Where each tree begins.
    roots: Vec<usize>,
    /// Log odds before any tree has spoken.
    base: f32,
}

/// One place of a tree; small, as all trees are gone through for every candidate.
enum Node {
    /// Goes on to the next node up to `limit` of number `input`, else to node `above`.
    Split { input: u16, limit: f32, above: u32 },
    /// Ends with this share of the log odds.
    Leaf(f32),
}

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
            trees.roots.push(trees.nodes.len());
            trees.grow(&mut line.split_ascii_whitespace());
        }
        trees
    }

    /// Reads one node and all below it.
    fn grow<'a>(&mut self, words: &mut impl Iterator<Item = &'a str>) {
        let word = words.next().unwrap_or("0");
        let Some((input, limit)) = word.split_once(':') else {
            self.nodes.push(Node::Leaf(word.parse().unwrap_or(0.0)));
            return;
        };
        let own = self.nodes.len();
        self.nodes.push(Node::Leaf(0.0));
        self.grow(words);
        let split = Node::Split {
            input: input.parse().unwrap_or(0),
            limit: limit.parse().unwrap_or(0.0),
            above: self.nodes.len() as u32,
        };
        if let Some(node) = self.nodes.get_mut(own) {
            *node = split;
        }
        self.grow(words);
    }

    /// The log odds that a candidate of which these numbers speak is a stroke.
    pub(crate) fn log_odds(&self, numbers: &[f32]) -> f32 {
        self.roots
            .iter()
            .fold(self.base, |sum, root| sum + self.leaf(*root, numbers))
    }

    fn leaf(&self, root: usize, numbers: &[f32]) -> f32 {
        let mut place = root;
        loop {
            match self.nodes.get(place) {
                Some(Node::Split { input, limit, above }) => {
                    let value = numbers.get(usize::from(*input)).copied().unwrap_or(0.0);
                    place = if value <= *limit {
                        place + 1
                    } else {
                        *above as usize
                    };
                }
                Some(Node::Leaf(value)) => return *value,
                None => return 0.0,
            }
        }
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
