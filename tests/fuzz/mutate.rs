//! A seed -> an input with some damage: bits, bytes, numbers, pieces taken out, doubled or brought in from elsewhere.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

/// Numbers at which programs stumble.
const EDGES: [u64; 14] = [
    0,
    1,
    2,
    7,
    8,
    0x7F,
    0x80,
    0xFF,
    0x7FFF,
    0xFFFF,
    0x7FFF_FFFF,
    0x8000_0000,
    0xFFFF_FFFF,
    u64::MAX,
];
/// The same as text.
const NUMBERS: [&str; 16] = [
    "0",
    "-1",
    "1e999",
    "-0.0",
    "NaN",
    "inf",
    "1e-320",
    "0.5",
    "4294967296",
    "9223372036854775807",
    "-9223372036854775808",
    "18446744073709551616",
    "1,5",
    "999999999999999999999999999999",
    "",
    "1.7976931348623157e308",
];
/// No input grows beyond this.
const LARGEST: usize = 1 << 20;

/// `seed` with one to eight pieces of damage; `other` and `words` are what pieces are brought in from.
pub(crate) fn mutated(seed: &[u8], other: &[u8], words: &[&str], dice: &mut ChaCha8Rng) -> Vec<u8> {
    let mut bytes = seed.to_vec();
    for _ in 0..dice.random_range(1..=8) {
        damage(&mut bytes, other, words, dice);
    }
    bytes.truncate(LARGEST);
    bytes
}

fn damage(bytes: &mut Vec<u8>, other: &[u8], words: &[&str], dice: &mut ChaCha8Rng) {
    let at = dice.random_range(0..=bytes.len());
    let length = (1usize << dice.random_range(0..9)).min(bytes.len() - at);
    match dice.random_range(0..12) {
        0 => flip(bytes, at, dice),
        1 => {
            if let Some(byte) = bytes.get_mut(at) {
                *byte = dice.random();
            }
        }
        2 | 3 => {
            let edge = EDGES[dice.random_range(0..EDGES.len())];
            let edge = edge.wrapping_add(dice.random_range(0..3)).wrapping_sub(1);
            let size = [1, 2, 4, 8][dice.random_range(0..4)];
            let coded = if dice.random() {
                edge.to_le_bytes()
            } else {
                edge.swap_bytes().to_le_bytes()
            };
            let coded = if dice.random() {
                &coded[..size]
            } else {
                &coded[8 - size..]
            };
            bytes
                .iter_mut()
                .skip(at)
                .zip(coded)
                .for_each(|(byte, new)| *byte = *new);
        }
        4 => drop(bytes.drain(at..at + length)),
        5 => {
            let piece = bytes[at..at + length].to_vec();
            let times = dice.random_range(1..20);
            let to = dice.random_range(0..=bytes.len());
            drop(bytes.splice(to..to, piece.repeat(times)));
        }
        6 => {
            let from = dice.random_range(0..=other.len());
            let end = (from + (1 << dice.random_range(0..10))).min(other.len());
            drop(bytes.splice(at..at + length, other[from..end].iter().copied()));
        }
        7 => bytes.truncate(at),
        8 | 9 => number(bytes, at, dice),
        10 if !words.is_empty() => {
            let word = words[dice.random_range(0..words.len())];
            let end = if dice.random() {
                at
            } else {
                at + length.min(word.len())
            };
            drop(bytes.splice(at..end, word.bytes()));
        }
        _ => flip(bytes, at, dice),
    }
}

fn flip(bytes: &mut [u8], at: usize, dice: &mut ChaCha8Rng) {
    if let Some(byte) = bytes.get_mut(at) {
        *byte ^= 1 << dice.random_range(0..8);
    }
}

/// Replaces the next number that stands there as text.
fn number(bytes: &mut Vec<u8>, at: usize, dice: &mut ChaCha8Rng) {
    let Some(start) = bytes.iter().skip(at).position(u8::is_ascii_digit).map(|n| at + n) else {
        return;
    };
    let is_part = |byte: &u8| byte.is_ascii_digit() || *byte == b'.';
    let length = bytes.iter().skip(start).take_while(|byte| is_part(byte)).count();
    let new = NUMBERS[dice.random_range(0..NUMBERS.len())];
    drop(bytes.splice(start..start + length, new.bytes()));
}
