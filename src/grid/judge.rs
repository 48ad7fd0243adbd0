//! A row of beats and what is struck in them -> how well it is heard so, with bars of any length from any beat: a small
//! network fitted to performances and invented parts whose grid is known.
//!
//! Every beat is a row of numbers: what is struck on each twelfth of it, by kind, and what [`super::pulse`] hears in it.
//! Three layers look at the beats around (up to seven before and after). From their mean and the marks of the whole row
//! comes a score for the beats; from the states of the beats that would be beat one, against the others, and the marks
//! of the bars comes one for the bars. Scores are log odds between readings of the same hits. The judge is the mean of
//! networks fitted from different starts.
//!
//! `tests/fitting/grid/` makes the practice, fits it and writes `judge.bin`: 32-bit floats, little-endian, in the order
//! of the fields.

use std::sync::OnceLock;

use super::pulse::{HEARD, PATTERN, Pulse};
use super::reading::{BAR_MARKS, BARS, PULSE_MARKS};

/// Numbers that stand for one beat.
const BEAT: usize = PATTERN + HEARD;
/// Width of a beat's state.
const WIDTH: usize = 32;
/// Hidden units that weigh the beats, and the bars.
const UNITS: usize = 48;
/// How many beats away each layer looks.
const REACH: [usize; 3] = [1, 2, 4];
/// Lengths of bars.
const LENGTHS: usize = *BARS.end() - *BARS.start() + 1;
/// Numbers that stand for a reading.
const READING: usize = PULSE_MARKS + LENGTHS + BAR_MARKS + 3 + WIDTH;
/// Networks whose mean is the judge.
const MEMBERS: usize = 3;

/// Weighted sums of some numbers.
#[derive(Debug, Clone, PartialEq)]
struct Layer {
    /// For every output its weights.
    weights: Vec<f32>,
    /// For every output what it is without inputs.
    bias: Vec<f32>,
}

impl Layer {
    fn apply(&self, inputs: &[f32]) -> Vec<f32> {
        let rows = self.weights.chunks_exact(inputs.len().max(1));
        rows.zip(&self.bias)
            .map(|(row, bias)| dot(row, inputs) + bias)
            .collect()
    }

    /// The outputs, those below 0 as 0.
    fn bent(&self, inputs: &[f32]) -> Vec<f32> {
        let mut outputs = self.apply(inputs);
        outputs.iter_mut().for_each(|x| *x = x.max(0.0));
        outputs
    }

    /// The only output.
    fn single(&self, inputs: &[f32]) -> f32 {
        self.apply(inputs).first().copied().unwrap_or(0.0)
    }
}

/// What marks are on average, and their spread.
#[derive(Debug, Clone, PartialEq)]
struct Usual {
    mean: Vec<f32>,
    spread: Vec<f32>,
}

impl Usual {
    fn even(&self, marks: &[f32]) -> Vec<f32> {
        let usual = self.mean.iter().zip(&self.spread);
        marks
            .iter()
            .zip(usual)
            .map(|(m, (mean, spread))| (m - mean) / spread)
            .collect()
    }
}

/// One network.
#[derive(Debug, Clone, PartialEq)]
struct Network {
    pulse_marks: Usual,
    bar_marks: Usual,
    beat: Layer,
    around: [Layer; 3],
    one: Layer,
    pulse: [Layer; 2],
    reading: [Layer; 2],
    direct: Layer,
}

/// What a network makes of a row of beats.
struct Impression {
    /// Score of the beats.
    score: f32,
    /// Marks of the beats as the network takes them.
    marks: Vec<f32>,
    /// State of every beat in which something is struck; others have none.
    states: Vec<Option<Vec<f32>>>,
    /// Mean of the states.
    mean: Vec<f32>,
    /// How much every beat sounds like a beat one; 0 where nothing is struck.
    ones: Vec<f32>,
    /// Beats in which something is struck.
    lively: f32,
}

/// The networks.
pub(super) struct Judge {
    members: Vec<Network>,
}

/// What the judge makes of a row of beats.
pub(super) struct Opinion<'a> {
    judge: &'a Judge,
    impressions: Vec<Impression>,
}

impl Judge {
    /// The fitted networks.
    pub(super) fn fitted() -> &'static Judge {
        static FITTED: OnceLock<Judge> = OnceLock::new();
        FITTED.get_or_init(|| Judge::read(include_bytes!("judge.bin")))
    }

    /// Reads the file's bytes; values that are missing count as 0.
    fn read(bytes: &[u8]) -> Judge {
        let (words, _) = bytes.as_chunks::<4>();
        let mut values = words.iter().map(|w| f32::from_le_bytes(*w));
        let members = (0..MEMBERS).map(|_| Network::read(&mut values)).collect();
        Judge { members }
    }

    /// Listens to the beats of `pulse`, whose marks are `marks`.
    pub(super) fn hear(&self, pulse: &Pulse, marks: &[f32]) -> Opinion<'_> {
        Opinion {
            judge: self,
            impressions: self.members.iter().map(|m| m.hear(pulse, marks)).collect(),
        }
    }
}

impl Opinion<'_> {
    /// The score of bars of `bar` beats whose first begins on beat `first`, with their marks.
    pub(super) fn score(&self, bar: usize, first: usize, marks: &[f32]) -> f64 {
        let each = self.judge.members.iter().zip(&self.impressions);
        let sum: f32 = each.map(|(m, i)| m.score(i, bar, first, marks)).sum();
        f64::from(sum) / self.impressions.len().max(1) as f64
    }
}

impl Network {
    fn read(values: &mut impl Iterator<Item = f32>) -> Network {
        let mut next = |count: usize| {
            (0..count)
                .map(|_| values.next().unwrap_or(0.0))
                .collect::<Vec<f32>>()
        };
        let mut usual = |count: usize| Usual {
            mean: next(count),
            spread: next(count),
        };
        let (pulse_marks, bar_marks) = (usual(PULSE_MARKS), usual(BAR_MARKS));
        let mut layer = |inputs: usize, outputs: usize| Layer {
            weights: next(inputs * outputs),
            bias: next(outputs),
        };
        Network {
            pulse_marks,
            bar_marks,
            beat: layer(BEAT, WIDTH),
            around: [(); 3].map(|()| layer(3 * WIDTH, WIDTH)),
            one: layer(WIDTH, 1),
            pulse: [layer(WIDTH + PULSE_MARKS, UNITS), layer(UNITS, 1)],
            reading: [layer(READING, UNITS), layer(UNITS, 1)],
            direct: layer(READING, 1),
        }
    }

    fn hear(&self, pulse: &Pulse, marks: &[f32]) -> Impression {
        let rows = pulse.patterns.iter().zip(&pulse.heard).zip(&pulse.lively);
        let mut states: Vec<Option<Vec<f32>>> = rows
            .map(|((pattern, heard), lively)| {
                let row: Vec<f32> = pattern
                    .iter()
                    .copied()
                    .chain(heard.iter().map(|h| *h as f32))
                    .collect();
                lively.then(|| self.beat.bent(&row))
            })
            .collect();
        for (layer, reach) in self.around.iter().zip(REACH) {
            states = look_around(layer, reach, &states);
        }
        let lively = states.iter().flatten().count().max(1) as f32;
        let mut mean = vec![0.0; WIDTH];
        for state in states.iter().flatten() {
            mean.iter_mut().zip(state).for_each(|(m, s)| *m += s / lively);
        }
        let marks = self.pulse_marks.even(marks);
        let all: Vec<f32> = mean.iter().chain(&marks).copied().collect();
        let one = |state: &Option<Vec<f32>>| state.as_ref().map_or(0.0, |s| self.one.single(s));
        Impression {
            score: self.pulse[1].single(&self.pulse[0].bent(&all)),
            marks,
            ones: states.iter().map(one).collect(),
            states,
            mean,
            lively,
        }
    }

    fn score(&self, heard: &Impression, bar: usize, first: usize, marks: &[f32]) -> f32 {
        let mut inputs = heard.marks.clone();
        inputs.extend(BARS.map(|length| f32::from(u8::from(length == bar))));
        inputs.extend(self.bar_marks.even(marks));
        let (mut count, mut sum, mut mean) = (0.0, 0.0, vec![0.0; WIDTH]);
        let begins = heard
            .states
            .iter()
            .zip(&heard.ones)
            .skip(first % bar.max(1))
            .step_by(bar.max(1));
        for (state, one) in begins.filter_map(|(state, one)| Some((state.as_ref()?, one))) {
            count += 1.0;
            sum += one;
            mean.iter_mut().zip(state).for_each(|(m, s)| *m += s);
        }
        let all: f32 = heard.ones.iter().sum();
        let contrast = sum / f32::max(count, 1.0) - (all - sum) / f32::max(heard.lively - count, 1.0);
        let lively = heard.states.iter().zip(&heard.ones).filter(|(s, _)| s.is_some());
        let norm: f32 = lively
            .map(|(_, one)| one.max(0.0) + (-one.abs()).exp().ln_1p())
            .sum();
        inputs.extend([
            contrast,
            (sum - norm) / heard.lively,
            contrast * heard.lively.sqrt() / 8.0,
        ]);
        let state = mean.iter().zip(&heard.mean);
        inputs.extend(state.map(|(on, all)| on / f32::max(count, 1.0) - all));
        heard.score + self.reading[1].single(&self.reading[0].bent(&inputs)) + self.direct.single(&inputs)
    }
}

/// Every state with what `layer` sees in it and in those `reach` beats before and after.
fn look_around(layer: &Layer, reach: usize, states: &[Option<Vec<f32>>]) -> Vec<Option<Vec<f32>>> {
    let nothing = vec![0.0; WIDTH];
    let at = |index: Option<usize>| index.and_then(|i| states.get(i)?.as_ref()).unwrap_or(&nothing);
    let each = states.iter().enumerate().map(|(i, state)| {
        let state = state.as_ref()?;
        let seen: Vec<f32> = [at(i.checked_sub(reach)), state, at(i.checked_add(reach))]
            .into_iter()
            .flatten()
            .copied()
            .collect();
        Some(
            state
                .iter()
                .zip(layer.bent(&seen))
                .map(|(s, new)| s + new)
                .collect(),
        )
    });
    each.collect()
}

fn dot(a: &[f32], b: &[f32]) -> f32 {
    // Eight sums at once: the compiler turns them into vector instructions, in an order that is always the same.
    let mut sums = [0.0f32; 8];
    let (a, a_rest) = a.as_chunks::<8>();
    let (b, b_rest) = b.as_chunks::<8>();
    for (a, b) in a.iter().zip(b) {
        for (sum, (x, y)) in sums.iter_mut().zip(a.iter().zip(b)) {
            *sum += x * y;
        }
    }
    sums.iter().sum::<f32>() + a_rest.iter().zip(b_rest).map(|(x, y)| x * y).sum::<f32>()
}

#[cfg(test)]
mod tests {
    use super::super::pulse::Heard;
    use super::*;

    #[test]
    fn the_fitted_file_holds_every_value_and_nothing_more() {
        let bytes = include_bytes!("judge.bin");
        let (words, rest) = bytes.as_chunks::<4>();
        assert!(rest.is_empty());
        let mut values = words.iter().map(|w| f32::from_le_bytes(*w));
        for _ in 0..MEMBERS {
            let network = Network::read(&mut values);
            assert_eq!(network.direct.weights.len(), READING);
            assert!(network.bar_marks.spread.iter().all(|s| *s > 0.0));
            assert!(
                network.direct.bias.iter().all(|b| *b != 0.0),
                "the last value is there"
            );
        }
        assert_eq!(values.count(), 0);
    }

    /// What the framework that fitted the file makes of the same made-up marks: `tests/fitting/grid/golden.py`.
    const GOLDEN: [f64; 27] = [
        -162.33730, -126.32026, -119.04681, -162.40392, -115.50974, -136.40352, -147.60295, -136.41423,
        -155.96979, -146.69348, -112.75930, -142.67473, -140.59904, -135.87657, -138.37263, -153.05728,
        -144.72362, -131.81163, -191.13454, -120.33805, -120.45599, -143.93340, -132.07527, -141.68631,
        -158.90424, -139.51390, -120.81368,
    ];

    #[test]
    fn made_up_marks_score_as_in_the_framework_that_fitted_the_file() {
        let mut drawn = 1_u64;
        let mut draw = || {
            drawn = (drawn * 1_103_515_245 + 12_345) % (1 << 31);
            drawn as f32 / (1_u64 << 31) as f32
        };
        let beats = 23;
        let patterns: Vec<_> = (0..beats).map(|_| std::array::from_fn(|_| draw())).collect();
        let heard: Vec<Heard> = (0..beats)
            .map(|_| std::array::from_fn(|_| f64::from(draw())))
            .collect();
        let lively: Vec<bool> = (0..beats).map(|_| draw() > 0.2).collect();
        let pulse_marks: Vec<f32> = (0..PULSE_MARKS).map(|_| 2.0 * draw() - 1.0).collect();
        let mut pulse = Pulse::new(&[], vec![0.0, 1.0], None);
        (pulse.patterns, pulse.heard, pulse.lively) = (patterns, heard, lively);
        let opinion = Judge::fitted().hear(&pulse, &pulse_marks);
        let readings = BARS.flat_map(|bar| (0..bar).map(move |first| (bar, first)));
        for ((bar, first), golden) in readings.zip(GOLDEN) {
            let marks: Vec<f32> = (0..BAR_MARKS).map(|_| 2.0 * draw() - 1.0).collect();
            let score = opinion.score(bar, first, &marks);
            assert!(
                (score - golden).abs() < 1e-5 * golden.abs(),
                "bars of {bar} from beat {first}: {score}, not {golden}"
            );
        }
    }
}
