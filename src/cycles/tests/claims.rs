//! Claims about a length.

use super::{grid, placed, repeat};
use crate::cycles::{Relation, Verdict, Verification, verify};
use crate::grid::Meter;
use crate::names::Voice;
use crate::options::CycleOptions;

/// A figure of ten steps and nine notes over sixteen, and a claim about it.
fn claim(length: u32) -> Verification {
    let grid = grid(Meter::COMMON, 4, 16 * 12);
    let strokes = repeat("ABBAB.ABAB", (Voice::Snare2, Voice::HatFoot), 0, 16 * 12);
    verify(&placed(&strokes, &grid), &grid, &CycleOptions::default(), length)
}

#[test]
fn the_length_of_a_planted_figure_is_certain() {
    let answer = claim(10);
    assert_eq!(answer.verdict, Verdict::Certain);
    assert_eq!(answer.relation, Some(Relation::Same { steps: 10 }));
    assert!(answer.bits.is_some_and(|b| b.0 > 50.0) && answer.reasons[0].contains("10 steps"));
}

#[test]
fn other_lengths_are_contradicted_and_told_how_they_stand_to_the_figure() {
    for (length, relation) in [
        (20, Some(Relation::MultipleOf { steps: 10 })),
        (5, Some(Relation::FractionOf { steps: 10 })),
        (9, Some(Relation::Notes { steps: 10 })),
        (11, None),
        (16, None),
    ] {
        let answer = claim(length);
        assert_eq!(
            (answer.verdict, answer.relation),
            (Verdict::Contradicted, relation),
            "{length}"
        );
        assert_eq!(answer.rivals[0].steps, 10, "{length}");
    }
}

#[test]
fn a_length_with_no_figure_behind_it_is_contradicted_and_one_too_long_to_try_is_open() {
    let grid = grid(Meter::COMMON, 4, 16 * 12);
    let strokes = repeat("A.B.A.B.A.B.A.BB", (Voice::Kick, Voice::Snare), 0, 16 * 12);
    let placed = placed(&strokes, &grid);
    let verdict = |length| verify(&placed, &grid, &CycleOptions::default(), length);
    assert_eq!(verdict(5).verdict, Verdict::Contradicted);
    let silence = verify(&[], &grid, &CycleOptions::default(), 5);
    assert_eq!((silence.verdict, silence.bits), (Verdict::Open, None));
}

#[test]
fn no_length_is_no_claim_that_holds() {
    assert_eq!(claim(0).verdict, Verdict::Contradicted);
}

#[test]
fn verdicts_have_their_names_in_files() {
    let names = [
        Verdict::Certain,
        Verdict::Likely,
        Verdict::Open,
        Verdict::Contradicted,
    ]
    .map(|v| serde_json::to_string(&v).unwrap());
    assert_eq!(
        names,
        ["\"certain\"", "\"likely\"", "\"open\"", "\"contradicted\""]
    );
}
