//! A claim about a length, held against what was found: is the figure so many steps long?

use serde::{Deserialize, Serialize};

use super::search::LEAST;
use super::{Broken, Cycle, Cycles, LengthTried, find_asked};
use crate::grid::{Grid, Placed};
use crate::names::Voice;
use crate::options::CycleOptions;
use crate::units::{Bits, Seconds};
use crate::voices::Hit;

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

/// In what a length is claimed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Unit {
    /// Steps of the grid, rests counted.
    #[default]
    Steps,
    /// Struck notes.
    Notes,
    /// Beats.
    Beats,
}

impl Unit {
    /// All of them.
    pub const ALL: [Unit; 3] = [Unit::Steps, Unit::Notes, Unit::Beats];

    /// The word that files and the command use.
    pub fn name(self) -> &'static str {
        match self {
            Unit::Steps => "steps",
            Unit::Notes => "notes",
            Unit::Beats => "beats",
        }
    }
}

/// What is claimed: that a figure of this length repeats.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Claim {
    /// How long it is, in `unit`.
    pub length: f64,
    /// In what.
    pub unit: Unit,
    /// The same in steps: for notes as many, for beats what the grid makes of them.
    pub length_steps: u32,
    /// Only these voices; all where there are none.
    pub voices: Vec<Voice>,
    /// Only from here.
    pub from: Option<Seconds>,
    /// Only to here.
    pub to: Option<Seconds>,
}

/// A length that no grid can hold.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BadClaim {
    /// Not a whole number.
    #[error("{length} {} are {steps:.2} steps on this grid; a figure has a whole number of steps: claim it in steps", .unit.name())]
    Broken {
        /// The length.
        length: f64,
        /// Its unit.
        unit: Unit,
        /// What that makes in steps.
        steps: f64,
    },
    /// Too short or too long.
    #[error("a figure of {length} {} cannot be; a length is from 1 to 4096 steps", .unit.name())]
    OutOfRange {
        /// The length.
        length: f64,
        /// Its unit.
        unit: Unit,
    },
}

/// Longer than any figure.
const LONGEST: f64 = 4096.0;

impl Claim {
    /// A claim about all voices over the whole recording.
    pub fn new(length: f64, unit: Unit, grid: &Grid) -> Result<Claim, BadClaim> {
        let steps = match unit {
            Unit::Steps | Unit::Notes => length,
            Unit::Beats => length * f64::from(grid.steps_per_beat),
        };
        if !(1.0..=LONGEST).contains(&steps) {
            return Err(BadClaim::OutOfRange { length, unit });
        }
        if (steps - steps.round()).abs() > 1e-6 {
            return Err(BadClaim::Broken { length, unit, steps });
        }
        Ok(Claim {
            length,
            unit,
            length_steps: steps.round() as u32,
            voices: Vec::new(),
            from: None,
            to: None,
        })
    }

    /// Whether a hit is among those that the claim is about.
    fn covers(&self, hit: &Hit) -> bool {
        (self.voices.is_empty() || self.voices.contains(&hit.voice))
            && self.from.is_none_or(|from| hit.time >= from)
            && self.to.is_none_or(|to| hit.time <= to)
    }
}

/// A claim with what the recording says about it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Verification {
    /// The claim.
    pub claim: Claim,
    /// What the recording says.
    pub verdict: Verdict,
    /// Bits that a cycle of the claimed length saves over the best bar-locked account; none when the length was not
    /// tried, because there are not four repeats of it and four bars, when nothing of it repeats at all, or when notes
    /// were claimed that no figure has.
    pub bits: Option<Bits>,
    /// How often shuffled music does as well as the figure that was found with that length.
    pub chance: Option<f64>,
    /// The best other lengths that save anything, best first.
    pub rivals: Vec<LengthTried>,
    /// How the claim stands to a figure that was found, if it has to do with one.
    pub relation: Option<Relation>,
    /// The repeats of that figure that are not whole.
    pub broken: Vec<Broken>,
    /// Why, in short sentences.
    pub reasons: Vec<String>,
}

/// Is the claim what the recording says? Only the hits that it covers are searched.
pub fn verify(placed: &[Placed], grid: &Grid, options: &CycleOptions, claim: &Claim) -> Verification {
    let covered: Vec<Placed> = placed.iter().filter(|p| claim.covers(&p.hit)).copied().collect();
    let cycles = find_asked(&covered, grid, options, Some(claim.length_steps as usize));
    judge(&cycles, claim, lasts(&covered, grid, claim))
}

/// Whether there are repeats and bars enough to call a figure of the claimed length an ostinato.
fn lasts(covered: &[Placed], grid: &Grid, claim: &Claim) -> bool {
    let steps = covered.iter().map(|placed| placed.step.0);
    let (Some(first), Some(last)) = (steps.clone().min(), steps.max()) else {
        return false;
    };
    let (length, bar) = (i64::from(claim.length_steps), i64::from(grid.steps_per_bar()));
    // The last repeat may stop on its last note.
    let whole = (last - first).saturating_add(1 + length.min(bar) / 4);
    whole >= LEAST as i64 * length.max(bar)
}

/// The same from cycles that are already found, in music that is long enough for the claim or not.
fn judge(cycles: &Cycles, claim: &Claim, lasts: bool) -> Verification {
    let figures: Vec<&Cycle> = cycles.found.iter().chain(&cycles.open).collect();
    let of_notes = |c: &&&Cycle| c.length_notes == claim.length_steps;
    // So many notes are as long as the figure that has them.
    let length = match claim.unit {
        Unit::Notes => figures.iter().find(of_notes).map(|c| c.length_steps),
        Unit::Steps | Unit::Beats => Some(claim.length_steps),
    };
    let tried = |l: &&LengthTried| Some(l.steps) == length;
    let bits = cycles.lengths.iter().find(tried).map(|l| l.bits);
    let mut rivals: Vec<LengthTried> = cycles.lengths.iter().filter(|l| !tried(l)).copied().collect();
    rivals.retain(|l| l.bits > Bits(0.0));
    rivals.sort_by(|a, b| b.bits.0.total_cmp(&a.bits.0));
    rivals.truncate(RIVALS);
    let same = figures.iter().find(|c| Some(c.length_steps) == length);
    // Beside a figure that is proved, one that is not is no answer.
    let unproved = same.filter(|c| c.grade == Verdict::Open && !cycles.found.is_empty());
    let same = same.filter(|_| unproved.is_none());
    let related = cycles.found.iter().find_map(|c| relate(c, claim).map(|r| (c, r)));
    let (verdict, relation, mut reasons) = match (same, related, cycles.found.first()) {
        (Some(cycle), _, _) => confirm(cycle),
        (None, Some((cycle, relation)), _) => related_to(cycle, relation, claim, bits),
        (None, None, Some(other)) => (contradict(other.bits, bits), None, vec![instead(other)]),
        (None, None, None) => unfound(claim, bits, lasts),
    };
    if let Some(cycle) = unproved.filter(|c| c.bits > Bits(0.0)) {
        reasons.push(format!(
            "In {} something of {} steps comes and goes, too little to tell it from chance.",
            list(cycle),
            cycle.length_steps
        ));
    }
    if let Some(cycle) = same.filter(|_| claim.unit == Unit::Notes) {
        let (notes, steps) = (cycle.length_notes, cycle.length_steps);
        reasons.insert(
            0,
            format!("{notes} notes are right; in steps, rests counted, the figure is {steps} long."),
        );
    }
    Verification {
        claim: claim.clone(),
        verdict,
        bits,
        chance: same.filter(|c| c.grade != Verdict::Open).map(|c| c.chance),
        rivals,
        relation,
        broken: same.map(|c| c.broken.clone()).unwrap_or_default(),
        reasons,
    }
}

type Judgement = (Verdict, Option<Relation>, Vec<String>);

/// How a claim stands to a figure of another length.
fn relate(cycle: &Cycle, claim: &Claim) -> Option<Relation> {
    let (steps, length) = (cycle.length_steps, claim.length_steps);
    let (whole, what) = match claim.unit {
        Unit::Notes => (cycle.length_notes, cycle.length_notes),
        Unit::Steps | Unit::Beats => (steps, cycle.length_notes),
    };
    if length == 0 || whole == 0 {
        None
    } else if claim.unit != Unit::Notes && length == what {
        Some(Relation::Notes { steps })
    } else if length.is_multiple_of(whole) {
        Some(Relation::MultipleOf { steps })
    } else if whole.is_multiple_of(length) {
        Some(Relation::FractionOf { steps })
    } else if claim.unit == Unit::Notes && length == steps {
        Some(Relation::Same { steps })
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
    let (whole, broken) = (cycle.repeats, cycle.broken.len());
    let mut reasons = vec![
        format!(
            "A figure of {steps} steps in {} comes round {whole} times from bar {} to bar {}; {broken} of them are not whole.",
            list(cycle),
            cycle.start.bar,
            cycle.end.bar
        ),
        format!("{:.0} % of its notes are there.", 100.0 * cycle.kept),
        format!(
            "It saves {:.0} bits over the best account without it.",
            cycle.bits.0
        ),
    ];
    if cycle.grade == Verdict::Open {
        reasons.push("That is too little, or it comes and goes too much, to tell it from chance.".to_owned());
    }
    (cycle.grade, Some(Relation::Same { steps }), reasons)
}

/// The claimed length has to do with a figure of another length.
fn related_to(cycle: &Cycle, relation: Relation, claim: &Claim, bits: Option<Bits>) -> Judgement {
    let steps = cycle.length_steps;
    let claimed = format!("{} {}", claim.length, claim.unit.name());
    let why = match relation {
        Relation::Same { .. } => {
            format!(
                "The figure has {steps} steps, rests counted, but {} notes.",
                cycle.length_notes
            )
        }
        Relation::Notes { .. } => {
            format!(
                "Right in notes, not in steps: the figure has {} notes but {steps} steps, rests counted; only the steps decide when it is home.",
                cycle.length_notes
            )
        }
        Relation::MultipleOf { .. } => {
            format!("{claimed} are several whole cycles of a figure of {steps} steps.")
        }
        Relation::FractionOf { .. } => {
            format!(
                "{claimed} are a part of a figure of {steps} steps; the whole repeats, the part does not."
            )
        }
    };
    let verdict = match claim.unit {
        Unit::Notes => Verdict::Contradicted,
        Unit::Steps | Unit::Beats => contradict(cycle.bits, bits),
    };
    (verdict, Some(relation), vec![why, instead(cycle)])
}

/// Nothing was found at all.
fn unfound(claim: &Claim, bits: Option<Bits>, lasts: bool) -> Judgement {
    let claimed = format!("{} {}", claim.length, claim.unit.name());
    match bits {
        None if claim.unit == Unit::Notes => {
            let why = format!("No figure is proved here, and the closest one has other than {claimed}.");
            (Verdict::Open, None, vec![why])
        }
        None => {
            let part = claim.from.is_some() || claim.to.is_some() || !claim.voices.is_empty();
            let here = if part {
                "What is looked at"
            } else {
                "The recording"
            };
            let why = if lasts {
                format!("Nothing of {claimed} repeats well enough to be weighed.")
            } else {
                format!(
                    "{here} has fewer than four repeats of {claimed}, or fewer than four bars: too little to tell."
                )
            };
            (Verdict::Open, None, vec![why])
        }
        Some(bits) if bits > Bits(0.0) => {
            let why = format!(
                "A cycle of {claimed} saves {:.0} bits, too few to tell it from chance.",
                bits.0
            );
            (Verdict::Open, None, vec![why])
        }
        Some(_) => {
            let why = format!("A cycle of {claimed} explains nothing that the bar does not explain as well.");
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
    let names: Vec<&str> = cycle.voices.iter().map(|v| v.said()).collect();
    match names.as_slice() {
        [] => "no voice".to_owned(),
        [only] => (*only).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}
