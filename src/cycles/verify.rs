//! A claim about a length, held against what was found: is the figure so many steps long?

use serde::{Deserialize, Serialize};

use super::{Cycle, Cycles, LengthTried, find};
use crate::grid::{Grid, Placed};
use crate::options::CycleOptions;
use crate::units::Bits;

/// Two lengths whose bits are closer than this cannot be told apart: the odds are less than a thousand to one.
const CLOSE: Bits = Bits(10.0);

/// Rivals that are named.
const RIVALS: usize = 3;

/// What the recording says about a claim.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// It is so, beyond doubt.
    Certain,
    /// It is so as far as can be heard.
    Likely,
    /// The recording does not decide it.
    Open,
    /// The recording says otherwise.
    Contradicted,
}

impl Verdict {
    /// The word that files and the command use.
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Certain => "certain",
            Verdict::Likely => "likely",
            Verdict::Open => "open",
            Verdict::Contradicted => "contradicted",
        }
    }
}

/// How the claimed length stands to a figure that was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Relation {
    /// It is the figure's length.
    Same {
        /// Steps in the figure.
        steps: u32,
    },
    /// It is several whole cycles of the figure.
    MultipleOf {
        /// Steps in the figure.
        steps: u32,
    },
    /// Several of it make one cycle of the figure.
    FractionOf {
        /// Steps in the figure.
        steps: u32,
    },
    /// It is the number of struck notes in the figure, not of its steps.
    Notes {
        /// Steps in the figure.
        steps: u32,
    },
}

/// What is claimed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Claim {
    /// The figure is so many steps long.
    pub length_steps: u32,
}

/// A claim with what the recording says about it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Verification {
    /// The claim.
    pub claim: Claim,
    /// What the recording says.
    pub verdict: Verdict,
    /// Bits that a cycle of the claimed length saves over the best bar-locked account; none when the length was not
    /// tried, because the recording is too short for four repeats of it.
    pub bits: Option<Bits>,
    /// The best other lengths that save anything, best first.
    pub rivals: Vec<LengthTried>,
    /// How the claim stands to a figure that was found, if it has to do with one.
    pub relation: Option<Relation>,
    /// Why, in short sentences.
    pub reasons: Vec<String>,
}

/// Is the claim "the figure is `length` steps long" what the recording says? Steps are those of the grid.
pub fn verify(placed: &[Placed], grid: &Grid, options: &CycleOptions, length: u32) -> Verification {
    judge(&find(placed, grid, options), length)
}

/// The same from cycles that are already found.
pub fn judge(cycles: &Cycles, length: u32) -> Verification {
    let bits = cycles.lengths.iter().find(|l| l.steps == length).map(|l| l.bits);
    let mut rivals: Vec<LengthTried> = cycles
        .lengths
        .iter()
        .filter(|l| l.steps != length)
        .copied()
        .collect();
    rivals.retain(|l| l.bits > Bits(0.0));
    rivals.sort_by(|a, b| b.bits.0.total_cmp(&a.bits.0));
    rivals.truncate(RIVALS);
    let related = cycles
        .found
        .iter()
        .find_map(|c| relate(c, length).map(|r| (c, r)));
    let same = cycles.found.iter().find(|c| c.length_steps == length);
    let (verdict, relation, reasons) = match (same, related, cycles.found.first()) {
        (Some(cycle), _, _) => confirm(cycle),
        (None, Some((cycle, relation)), _) => related_to(cycle, relation, length, bits),
        (None, None, Some(other)) => (contradict(other.bits, bits), None, vec![instead(other)]),
        (None, None, None) => unfound(length, bits),
    };
    Verification {
        claim: Claim { length_steps: length },
        verdict,
        bits,
        rivals,
        relation,
        reasons,
    }
}

type Judgement = (Verdict, Option<Relation>, Vec<String>);

/// How a length stands to a figure of another length.
fn relate(cycle: &Cycle, length: u32) -> Option<Relation> {
    let steps = cycle.length_steps;
    if length == 0 || steps == length {
        None
    } else if length == cycle.length_notes {
        Some(Relation::Notes { steps })
    } else if length.is_multiple_of(steps) {
        Some(Relation::MultipleOf { steps })
    } else if steps.is_multiple_of(length) {
        Some(Relation::FractionOf { steps })
    } else {
        None
    }
}

impl Cycle {
    /// How sure it is that this figure repeats at this length.
    pub fn verdict(&self) -> Verdict {
        self.grade
    }
}

/// The claimed length is that of a figure found.
fn confirm(cycle: &Cycle) -> Judgement {
    let steps = cycle.length_steps;
    let verdict = cycle.verdict();
    let reasons = vec![
        format!(
            "A figure of {steps} steps in {} comes round {} times from bar {} to bar {}.",
            list(cycle),
            cycle.repeats,
            cycle.start.bar,
            cycle.end.bar
        ),
        format!("{:.0} % of its notes are there.", 100.0 * cycle.kept),
        format!(
            "It saves {:.0} bits over the best account without it.",
            cycle.bits.0
        ),
    ];
    (verdict, Some(Relation::Same { steps }), reasons)
}

/// The claimed length has to do with a figure of another length.
fn related_to(cycle: &Cycle, relation: Relation, length: u32, bits: Option<Bits>) -> Judgement {
    let steps = cycle.length_steps;
    let why = match relation {
        Relation::Same { .. } => format!("The figure has {steps} steps."),
        Relation::Notes { .. } => {
            format!("The figure has {length} notes but {steps} steps, rests counted: only the steps decide.")
        }
        Relation::MultipleOf { .. } => {
            format!(
                "{length} steps are {} cycles of a figure of {steps}.",
                length / steps.max(1)
            )
        }
        Relation::FractionOf { .. } => {
            format!("{length} steps are a part of a figure of {steps}; the whole repeats, the part does not.")
        }
    };
    (
        contradict(cycle.bits, bits),
        Some(relation),
        vec![why, instead(cycle)],
    )
}

/// Nothing was found at all.
fn unfound(length: u32, bits: Option<Bits>) -> Judgement {
    match bits {
        None => {
            let why = format!(
                "There are not four repeats of {length} steps in the recording, or they are too long to search."
            );
            (Verdict::Open, None, vec![why])
        }
        Some(bits) if bits > Bits(0.0) => {
            let why = format!(
                "A cycle of {length} steps saves {:.0} bits, too few to tell it from chance.",
                bits.0
            );
            (Verdict::Open, None, vec![why])
        }
        Some(_) => {
            let why =
                format!("A cycle of {length} steps explains nothing that the bar does not explain as well.");
            (Verdict::Contradicted, None, vec![why])
        }
    }
}

/// Another figure speaks against the claim, unless the two are too close to tell.
fn contradict(other: Bits, claimed: Option<Bits>) -> Verdict {
    match claimed {
        Some(bits) if bits > Bits(0.0) && other - bits < CLOSE => Verdict::Open,
        _ => Verdict::Contradicted,
    }
}

/// What the recording says instead.
fn instead(cycle: &Cycle) -> String {
    format!(
        "What repeats is a figure of {} steps in {}, {} times; it saves {:.0} bits.",
        cycle.length_steps,
        list(cycle),
        cycle.repeats,
        cycle.bits.0
    )
}

/// The voices of a figure as a player reads them.
fn list(cycle: &Cycle) -> String {
    let names: Vec<String> = cycle.voices.iter().map(|v| v.name().replace('_', " ")).collect();
    match names.as_slice() {
        [] => "no voice".to_owned(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}
