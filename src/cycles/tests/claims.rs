//! Claims about a length.

use super::{grid, options, placed, repeat};
use crate::cycles::{BadClaim, Claim, Relation, Unit, Verdict, Verification, verify};
use crate::grid::Meter;
use crate::names::Voice;
use crate::units::Seconds;

/// A claim about a figure of ten steps and nine notes over sixteen, which hands and feet play freely over.
fn claim_in(length: f64, unit: Unit) -> Verification {
    let grid = grid(Meter::COMMON, 4, 16 * 12);
    let strokes = repeat("ABBAB.ABAB", (Voice::Snare2, Voice::HatFoot), 0, 16 * 12);
    let claim = Claim::new(length, unit, &grid).unwrap();
    verify(&placed(&strokes, &grid), &grid, &options(), &claim)
}

fn claim(length: u32) -> Verification {
    claim_in(f64::from(length), Unit::Steps)
}

#[test]
fn a_length_in_beats_or_notes_is_the_same_claim_in_other_words() {
    assert_eq!(
        claim_in(2.5, Unit::Beats),
        Verification {
            claim: claim_in(2.5, Unit::Beats).claim,
            ..claim(10)
        }
    );
    let notes = claim_in(9.0, Unit::Notes);
    assert_eq!(
        (notes.verdict, notes.relation),
        (Verdict::Certain, Some(Relation::Same { steps: 10 }))
    );
    assert!(
        notes.reasons[0].contains("9 notes are right"),
        "{:?}",
        notes.reasons
    );
    let ten = claim_in(10.0, Unit::Notes);
    assert_eq!(
        (ten.verdict, ten.relation),
        (Verdict::Contradicted, Some(Relation::Same { steps: 10 }))
    );
}

#[test]
fn lengths_that_no_grid_can_hold_are_refused_with_what_they_would_be() {
    let grid = grid(Meter::COMMON, 4, 64);
    let refused = |length, unit| Claim::new(length, unit, &grid).unwrap_err();
    assert!(matches!(refused(2.3, Unit::Beats), BadClaim::Broken { .. }));
    assert!(refused(2.3, Unit::Beats).to_string().contains("9.20 steps"));
    for length in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e9] {
        assert!(
            matches!(refused(length, Unit::Steps), BadClaim::OutOfRange { .. }),
            "{length}"
        );
    }
}

#[test]
fn a_claim_about_some_voices_or_some_time_looks_at_those_alone() {
    let grid = grid(Meter::COMMON, 4, 16 * 24);
    let mut strokes = repeat("ABBAB.ABAB", (Voice::Snare2, Voice::HatFoot), 0, 16 * 12);
    strokes.extend(repeat(
        "A.AB.AB",
        (Voice::Snare2, Voice::HatFoot),
        16 * 12,
        16 * 24,
    ));
    let placed = placed(&strokes, &grid);
    let half = grid.time_of(crate::units::Steps(16 * 12)).unwrap();
    let ask = |length, from, to, voices: &[Voice]| {
        let claim = Claim {
            from,
            to,
            voices: voices.to_vec(),
            ..Claim::new(length, Unit::Steps, &grid).unwrap()
        };
        verify(&placed, &grid, &options(), &claim).verdict
    };
    assert_eq!(ask(10.0, None, Some(half), &[]), Verdict::Certain);
    assert_eq!(ask(7.0, None, Some(half), &[]), Verdict::Contradicted);
    assert_eq!(ask(7.0, Some(half), None, &[]), Verdict::Certain);
    assert_eq!(ask(10.0, None, Some(half), &[Voice::HatFoot]), Verdict::Certain);
    assert_eq!(ask(10.0, None, Some(half), &[Voice::Kick]), Verdict::Open);
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
    let five = Claim::new(5.0, Unit::Steps, &grid).unwrap();
    let verdict = |claim: &Claim| verify(&placed, &grid, &options(), claim);
    assert_eq!(verdict(&five).verdict, Verdict::Contradicted);
    let few = verify(
        &placed,
        &grid,
        &options(),
        &Claim {
            to: Some(Seconds(2.0)),
            ..five.clone()
        },
    );
    assert_eq!(few.verdict, Verdict::Open);
    assert!(few.reasons[0].contains("fewer than four"), "{:?}", few.reasons);
    let silence = verify(&[], &grid, &options(), &five);
    assert_eq!((silence.verdict, silence.bits), (Verdict::Open, None));
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
