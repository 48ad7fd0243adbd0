//! Lengths that are published: Euclidean rhythms and rudiments, played as lines over meters that they cross.

use super::{Stroke, crossing, grid, search};
use crate::cycles::{Cycles, Verdict};
use crate::grid::Meter;
use crate::names::Voice;

/// E(k, n): k strokes spread over n steps as evenly as can be, as G. Toussaint, "The Euclidean algorithm generates
/// traditional musical rhythms" (BRIDGES 2005), writes them [P]: x is a stroke.
const EUCLIDEAN: [(usize, &str); 14] = [
    (2, "x.x.."),
    (3, "x.x.x.."),
    (3, "x..x..x."),
    (4, "x.x.x.x.."),
    (4, "x..x..x..x."),
    (5, "x.xx.xx."),
    (5, "x.x.x.x.x.."),
    (5, "x..x.x..x.x."),
    (5, "x..x..x..x..x..."),
    (7, "x.xx.x.xx.x."),
    (7, "x..x.x.x..x.x.x."),
    (9, "x.xx.x.x.xx.x.x."),
    (11, "x..x.x.x.x.x..x.x.x.x.x."),
    (13, "x.xx.x.x.x.x.xx.x.x.x.x."),
];

/// Bjorklund's algorithm as Toussaint gives it: groups of one kind are dealt out to those of the other, until at most one
/// is left over.
fn euclidean(strokes: usize, steps: usize) -> String {
    let (mut heads, mut tails) = (
        vec!["x".to_owned(); strokes],
        vec![".".to_owned(); steps - strokes],
    );
    while tails.len() > 1 {
        let pairs = heads.len().min(tails.len());
        let mut left: Vec<String> = heads.split_off(pairs);
        left.extend(tails.split_off(pairs));
        heads = heads.iter().zip(&tails).map(|(a, b)| format!("{a}{b}")).collect();
        tails = left;
    }
    heads.concat() + &tails.concat()
}

/// Whether two rows are the same, begun on another step.
fn rotations(a: &str, b: &str) -> bool {
    a.len() == b.len() && format!("{a}{a}").contains(b)
}

/// A row of strokes on two drums: `x` or `R` on one, `L` on the other.
fn played(row: &str, bars: i64, bar: i64) -> Vec<Stroke> {
    let letters = row.as_bytes();
    let stroke = |step: i64| {
        let voice = match letters[step as usize % letters.len()] {
            b'x' | b'R' => Voice::Snare,
            b'L' => Voice::TomFloor,
            _ => return None,
        };
        Some((step, voice))
    };
    (0..bars * bar).filter_map(stroke).collect()
}

fn lengths(found: &Cycles) -> Vec<usize> {
    found.found.iter().map(|c| c.length_steps as usize).collect()
}

#[test]
fn euclidean_rhythms_are_as_published() {
    for (strokes, row) in EUCLIDEAN {
        let ours = euclidean(strokes, row.len());
        assert!(
            rotations(&ours, row),
            "E({strokes}, {}): {ours} and {row}",
            row.len()
        );
    }
}

/// Over every meter of 3, 4, 5 and 7 beats and 4 steps that it crosses, whatever comes first is as long as the rhythm.
#[test]
fn euclidean_rhythms_over_other_meters_are_found_with_their_length() {
    let mut tried = 0;
    for (_, row) in EUCLIDEAN {
        for count in [3, 4, 5, 7] {
            let (bar, length) = (4 * i64::from(count), row.len() as i64);
            if bar % length == 0 || length % bar == 0 {
                continue;
            }
            let bars = (24 * length / bar).max(12);
            let grid = grid(Meter { count, unit: 4 }, 4, bars * bar);
            let found = search(&played(row, bars, bar), &grid);
            assert_eq!(lengths(&found)[..1], [row.len()], "{row} over {count}/4");
            assert_ne!(crossing(&found)[0].grade, Verdict::Open);
            tried += 1;
        }
    }
    assert!(tried > 40, "{tried}");
}

/// The Percussive Arts Society's International Drum Rudiments, 1984 [P], stickings [M]: number, main strokes until the
/// same hand leads again (steps, where there are rests), and the sticking of so many. Without accents some are shorter than that, or the same as
/// others: single strokes repeat after two, and so does all that alternates.
const RUDIMENTS: [(&str, usize, &str); 42] = [
    ("1 single stroke roll", 2, "RL"),
    ("2 single stroke four", 2, "RLRL"),
    ("3 single stroke seven", 2, "RLRLRLRLRLRLRL"),
    ("4 multiple bounce roll", 2, "RL"),
    ("5 triple stroke roll", 6, "RRRLLL"),
    ("6 double stroke open roll", 4, "RRLL"),
    ("7 five stroke roll", 10, "RRLLRLLRRL"),
    ("8 six stroke roll", 6, "RLLRRL"),
    ("9 seven stroke roll", 7, "RRLLRRL"),
    ("10 nine stroke roll", 18, "RRLLRRLLRLLRRLLRRL"),
    ("11 ten stroke roll", 10, "RRLLRRLLRL"),
    ("12 eleven stroke roll", 11, "RRLLRRLLRRL"),
    ("13 thirteen stroke roll", 26, "RRLLRRLLRRLLRLLRRLLRRLLRRL"),
    ("14 fifteen stroke roll", 15, "RRLLRRLLRRLLRRL"),
    (
        "15 seventeen stroke roll",
        34,
        "RRLLRRLLRRLLRRLLRLLRRLLRRLLRRLLRRL",
    ),
    ("16 single paradiddle", 8, "RLRRLRLL"),
    ("17 double paradiddle", 12, "RLRLRRLRLRLL"),
    ("18 triple paradiddle", 16, "RLRLRLRRLRLRLRLL"),
    ("19 single paradiddle-diddle", 6, "RLRRLL"),
    ("20 flam", 2, "RL"),
    ("21 flam accent", 2, "RLRLRL"),
    ("22 flam tap", 4, "RRLL"),
    ("23 flamacue", 2, "RLRLRLRLRL"),
    ("24 flam paradiddle", 8, "RLRRLRLL"),
    ("25 single flammed mill", 8, "RRLRLLRL"),
    ("26 flam paradiddle-diddle", 12, "RLRRLLLRLLRR"),
    ("27 pataflafla", 4, "RLRL"),
    ("28 swiss army triplet", 3, "RRL"),
    ("29 inverted flam tap", 4, "RLLR"),
    ("30 flam drag", 8, "RLLRLRRL"),
    ("30 flam drag, its doubles twice as fast", 12, "R.LLR.L.RRL."),
    ("31 drag", 2, "RL"),
    ("32 single drag tap", 4, "RLLR"),
    ("33 double drag tap", 6, "RRLLLR"),
    ("34 lesson 25", 3, "RLR"),
    ("35 single dragadiddle", 10, "RRLRRLLRLL"),
    (
        "35 single dragadiddle, its doubles twice as fast",
        16,
        "RRL.R.R.LLR.L.L.",
    ),
    ("36 drag paradiddle 1", 10, "RRLRRLLRLL"),
    ("37 drag paradiddle 2", 12, "RRRLRRLLLRLL"),
    ("38 single ratamacue", 8, "RLRLLRLR"),
    ("39 double ratamacue", 10, "RRLRLLLRLR"),
    ("40 triple ratamacue", 12, "RRRLRLLLLRLR"),
];

#[test]
fn rudiments_played_as_lines_repeat_after_their_published_lengths() {
    for (name, length, sticking) in RUDIMENTS {
        // The shortest part of the sticking that repeats to make it, by hand.
        let own = (1..=sticking.len())
            .find(|d| {
                sticking.len().is_multiple_of(*d) && sticking[..*d].repeat(sticking.len() / d) == sticking
            })
            .unwrap();
        // In a bar that it crosses, the length of what repeats comes first.
        let crosses = |bar: usize| !bar.is_multiple_of(own) && !own.is_multiple_of(bar);
        let count = [4usize, 3, 5, 7].into_iter().find(|count| crosses(4 * count));
        let (Some(count), true) = (count, own > 2) else {
            assert!(own <= 4, "{name}: {own}");
            continue;
        };
        let bars = (24 * own / (4 * count)).max(16) as i64;
        let meter = Meter {
            count: count as u32,
            unit: 4,
        };
        let bar = 4 * count as i64;
        let found = search(&played(sticking, bars, bar), &grid(meter, 4, bars * bar));
        assert_eq!(lengths(&found)[..1], [own], "{name}");
        assert!(
            own == length || length.is_multiple_of(own) || own.is_multiple_of(length),
            "{name}: {own}, {length}"
        );
    }
}
