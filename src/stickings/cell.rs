//! Cells: short stickings, with their permutations and mirrors counted as one.

use super::body::{Limbs, mirrored};
use crate::names::Limb;

/// Who plays on one step: no limb is a rest.
pub(super) type Symbol = Limbs;

/// How a cell's limbs are named and mirrored: that depends on the line it is played in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Hand {
    /// The limbs of the line.
    pub(super) limbs: Limbs,
}

impl Hand {
    /// The line of these limbs.
    pub(super) fn of(symbols: &[Symbol]) -> Hand {
        let limbs: Vec<Limb> = symbols.iter().flat_map(|symbol| symbol.list()).collect();
        Hand {
            limbs: Limbs::of(&limbs),
        }
    }

    /// The two limbs of a pair exchanged; in a line of more limbs the hands.
    fn mirror(self, symbol: Symbol) -> Symbol {
        let all = self.limbs.list();
        let other = |limb: Limb| match all.as_slice() {
            [a, b] if *a == limb => *b,
            [a, b] if *b == limb => *a,
            _ if matches!(limb, Limb::RightHand | Limb::LeftHand) => mirrored(limb),
            _ => limb,
        };
        Limbs::of(&symbol.list().into_iter().map(other).collect::<Vec<_>>())
    }

    /// Whether it is one hand and one foot.
    pub(super) fn is_side(self) -> bool {
        matches!(self.limbs.list().as_slice(), [hand, foot] if !is_foot(*hand) && is_foot(*foot))
    }

    /// A step in letters: R and L are hands, F is the foot, H the hand of a line that has only one; four limbs are
    /// RH, LH, RF and LF; a rest is `-`, what is struck together stands in brackets.
    pub(super) fn letter(self, symbol: Symbol) -> String {
        let feet = self
            .limbs
            .list()
            .into_iter()
            .filter(|limb| is_foot(*limb))
            .count();
        let letter = |limb: Limb| match limb {
            _ if feet > 1 => limb.name(),
            Limb::RightFoot | Limb::LeftFoot => "F",
            _ if self.is_side() => "H",
            Limb::RightHand => "R",
            Limb::LeftHand => "L",
        };
        let letters: Vec<&str> = symbol.list().into_iter().map(letter).collect();
        match letters.as_slice() {
            [] => "-".to_owned(),
            [one] => (*one).to_owned(),
            many => format!("({})", many.concat()),
        }
    }

    /// A cell in letters.
    pub(super) fn letters(self, symbols: &[Symbol]) -> String {
        let letters: Vec<String> = symbols.iter().map(|symbol| self.letter(*symbol)).collect();
        let wide = letters
            .iter()
            .any(|letter| letter.len() > 1 && !letter.starts_with('('));
        letters.join(if wide { " " } else { "" })
    }
}

fn is_foot(limb: Limb) -> bool {
    matches!(limb, Limb::RightFoot | Limb::LeftFoot)
}

/// One way to play a cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Variant {
    /// Which cell.
    pub(super) cell: usize,
    /// From which of its steps it begins, from 0.
    pub(super) from: usize,
    /// Whether its limbs are exchanged.
    pub(super) mirror: bool,
    /// Its steps in this order.
    pub(super) symbols: Vec<Symbol>,
}

impl Variant {
    /// The same begun so many steps later; not where that is on a rest.
    pub(super) fn turned(&self, by: isize) -> Option<Variant> {
        let turn = |at: usize| (at as isize + by).rem_euclid(self.symbols.len().max(1) as isize) as usize;
        let mut turned = Variant {
            from: turn(self.from),
            ..self.clone()
        };
        turned.symbols.rotate_left(turn(0));
        turned
            .symbols
            .first()
            .is_some_and(|symbol| !symbol.is_empty())
            .then_some(turned)
    }
}

/// Every way to play a cell that is not the same as an earlier one: first its permutations, then those of its mirror.
/// Ways that begin with a rest are left out.
pub(super) fn variants(cell: usize, symbols: &[Symbol], hand: Hand) -> Vec<Variant> {
    let mut all: Vec<Variant> = Vec::new();
    for mirror in [false, true] {
        let side: Vec<Symbol> = match mirror {
            false => symbols.to_vec(),
            true => symbols.iter().map(|symbol| hand.mirror(*symbol)).collect(),
        };
        for from in 0..side.len() {
            let mut symbols = side.clone();
            symbols.rotate_left(from);
            let rests = symbols.first().is_none_or(|symbol| symbol.is_empty());
            if !rests && all.iter().all(|variant| variant.symbols != symbols) {
                all.push(Variant {
                    cell,
                    from,
                    mirror,
                    symbols,
                });
            }
        }
    }
    all
}

/// The one of a cell's variants by which it is recognised, whichever it was found as.
pub(super) fn class(symbols: &[Symbol], hand: Hand) -> Vec<Symbol> {
    let all = variants(0, symbols, hand)
        .into_iter()
        .map(|variant| variant.symbols);
    all.min().unwrap_or_default()
}

/// Whether a cell is no shorter cell several times over.
pub(super) fn is_primitive(symbols: &[Symbol]) -> bool {
    let length = symbols.len();
    (1..length)
        .filter(|part| length.is_multiple_of(*part))
        .all(|part| {
            let again = symbols.iter().zip(symbols.iter().skip(part));
            again.into_iter().any(|(a, b)| a != b)
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(crate) fn cell(letters: &str) -> Vec<Symbol> {
        let limb = |letter| match letter {
            'R' => Limb::RightHand,
            'L' => Limb::LeftHand,
            _ => Limb::RightFoot,
        };
        letters
            .chars()
            .map(|letter| {
                if letter == '-' {
                    Limbs::default()
                } else {
                    Limbs::of(&[limb(letter)])
                }
            })
            .collect()
    }

    #[test]
    fn permutations_and_mirrors_are_one_cell() {
        let hand = Hand::of(&cell("RL"));
        let of = |letters| class(&cell(letters), hand);
        for same in ["LLR", "LRL", "LRR", "RRL", "RLR"] {
            assert_eq!(of("RLL"), of(same), "{same}");
        }
        assert_ne!(of("RLRR"), of("RLLR"));
    }

    #[test]
    fn a_cell_has_as_many_variants_as_differ() {
        let hand = Hand::of(&cell("RL"));
        let count = |letters| variants(0, &cell(letters), hand).len();
        assert_eq!(
            (count("RLL"), count("RLLR"), count("RLRRLRLL"), count("RL")),
            (6, 4, 8, 2)
        );
    }

    #[test]
    fn what_repeats_inside_is_no_cell_of_its_own() {
        assert!(is_primitive(&cell("RLL")) && is_primitive(&cell("RLRR")));
        assert!(!is_primitive(&cell("RLRL")) && !is_primitive(&cell("RLLRLL")) && !is_primitive(&cell("RR")));
    }

    #[test]
    fn letters_are_those_of_the_line() {
        assert_eq!(Hand::of(&cell("RLF")).letters(&cell("RLF-")), "RLF-");
        assert_eq!(Hand::of(&cell("RF")).letters(&cell("RFF")), "HFF");
        let both = Limbs::of(&[Limb::RightHand, Limb::RightFoot]);
        assert_eq!(Hand::of(&cell("RLF")).letters(&[both]), "(RF)");
        let four = Hand::of(&[both, Limbs::of(&[Limb::LeftFoot])]);
        assert_eq!(
            four.letters(&[Limbs::of(&[Limb::RightHand]), Limbs::of(&[Limb::LeftFoot])]),
            "RH LF"
        );
    }
}
