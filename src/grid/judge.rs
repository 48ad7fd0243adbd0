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

use ndarray::linalg::general_mat_mul;
use ndarray::{ArrayView2, ArrayViewMut2, ShapeBuilder};

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

    /// The outputs, those below 0 as 0, for `count` rows of inputs at once. The inputs of each row are as many parts as
    /// there are `parts`, one after the other; row after row of a part lies in its slice.
    fn bent_rows(&self, parts: &[&[f32]], count: usize) -> Vec<f32> {
        let outputs = self.bias.len();
        let inputs = self.weights.len() / outputs.max(1);
        let width = inputs / parts.len().max(1);
        let mut out: Vec<f32> = (0..count).flat_map(|_| &self.bias).copied().collect();
        for (number, part) in parts.iter().enumerate() {
            let weights = self.weights.get(number * width..).unwrap_or_default();
            // Shapes that do not fit their slices are ruled out by the callers, all in this file; a test compares with
            // one row at a time.
            let part = ArrayView2::from_shape((count, width), part.get(..count * width).unwrap_or_default());
            let weights = ArrayView2::from_shape((width, outputs).strides((1, inputs)), weights);
            let sums = ArrayViewMut2::from_shape((count, outputs), &mut out);
            if let (Ok(part), Ok(weights), Ok(mut sums)) = (part, weights, sums) {
                general_mat_mul(1.0, &part, &weights, 1.0, &mut sums);
            }
        }
        out.iter_mut().for_each(|x| *x = x.max(0.0));
        out
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
    /// State of every beat, [`WIDTH`] numbers each; 0 where nothing is struck.
    states: Vec<f32>,
    /// Mean of the states.
    mean: Vec<f32>,
    /// How much every beat sounds like a beat one; 0 where nothing is struck.
    ones: Vec<f32>,
    /// Their sum, and that of the softplus of those of beats in which something is struck.
    all: f32,
    norm: f32,
}

/// The networks.
pub(super) struct Judge {
    members: Vec<Network>,
}

/// What the judge makes of a row of beats.
pub(super) struct Opinion<'a> {
    judge: &'a Judge,
    beats: Beats<'a>,
    impressions: Vec<Impression>,
}

/// A row of beats as the networks take it.
struct Beats<'a> {
    pulse: &'a Pulse,
    /// How many are struck, at least 1.
    lively: f32,
}

/// Beats that are looked at in one matrix product.
const AT_ONCE: usize = 512;

impl<'a> Beats<'a> {
    fn of(pulse: &'a Pulse) -> Self {
        Beats {
            pulse,
            lively: pulse.lively.iter().filter(|l| **l).count().max(1) as f32,
        }
    }

    /// What `layer` sees in each beat.
    fn seen(&self, layer: &Layer) -> Vec<f32> {
        let mut seen = Vec::with_capacity(self.pulse.lively.len() * WIDTH);
        let mut rows = Vec::with_capacity(AT_ONCE * BEAT);
        let parts = self
            .pulse
            .patterns
            .chunks(AT_ONCE)
            .zip(self.pulse.heard.chunks(AT_ONCE));
        for (patterns, heard) in parts {
            rows.clear();
            for (pattern, heard) in patterns.iter().zip(heard) {
                rows.extend(pattern);
                rows.extend(heard.iter().map(|h| *h as f32));
            }
            seen.extend(layer.bent_rows(&[&rows], patterns.len()));
        }
        seen
    }

    /// Leaves nothing where nothing is struck.
    fn hush(&self, states: &mut [f32]) {
        let rows = states.chunks_exact_mut(WIDTH).zip(&self.pulse.lively);
        rows.filter(|(_, struck)| !**struck)
            .for_each(|(state, _)| state.fill(0.0));
    }
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
    pub(super) fn hear<'a>(&'a self, pulse: &'a Pulse, marks: &[f32]) -> Opinion<'a> {
        let beats = Beats::of(pulse);
        Opinion {
            judge: self,
            impressions: self.members.iter().map(|m| m.hear(&beats, marks)).collect(),
            beats,
        }
    }
}

impl Opinion<'_> {
    /// The score of bars of `bar` beats whose first begins on beat `first`, with their marks.
    pub(super) fn score(&self, bar: usize, first: usize, marks: &[f32]) -> f64 {
        let each = self.judge.members.iter().zip(&self.impressions);
        let sum: f32 = each
            .map(|(m, i)| m.score(&self.beats, i, bar, first, marks))
            .sum();
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

    fn hear(&self, beats: &Beats<'_>, marks: &[f32]) -> Impression {
        let mut states = beats.seen(&self.beat);
        beats.hush(&mut states);
        for (layer, reach) in self.around.iter().zip(REACH) {
            states = look_around(layer, reach, &states);
            beats.hush(&mut states);
        }
        let mut mean = vec![0.0; WIDTH];
        for state in states.chunks_exact(WIDTH) {
            mean.iter_mut()
                .zip(state)
                .for_each(|(m, s)| *m += s / beats.lively);
        }
        let marks = self.pulse_marks.even(marks);
        let both: Vec<f32> = mean.iter().chain(&marks).copied().collect();
        let rows = states.chunks_exact(WIDTH).zip(&beats.pulse.lively);
        let ones: Vec<f32> = rows
            .map(|(state, struck)| if *struck { self.one.single(state) } else { 0.0 })
            .collect();
        let softplus = |one: &f32| one.max(0.0) + (-one.abs()).exp().ln_1p();
        let lively = ones
            .iter()
            .zip(&beats.pulse.lively)
            .filter(|(_, struck)| **struck);
        Impression {
            score: self.pulse[1].single(&self.pulse[0].bent(&both)),
            marks,
            all: ones.iter().sum(),
            norm: lively.map(|(one, _)| softplus(one)).sum(),
            ones,
            states,
            mean,
        }
    }

    fn score(&self, beats: &Beats<'_>, heard: &Impression, bar: usize, first: usize, marks: &[f32]) -> f32 {
        let mut inputs = heard.marks.clone();
        inputs.extend(BARS.map(|length| f32::from(u8::from(length == bar))));
        inputs.extend(self.bar_marks.even(marks));
        let (mut count, mut sum, mut mean) = (0.0, 0.0, vec![0.0; WIDTH]);
        let begins = heard
            .states
            .chunks_exact(WIDTH)
            .zip(&heard.ones)
            .zip(&beats.pulse.lively);
        let begins = begins.skip(first % bar.max(1)).step_by(bar.max(1));
        for ((state, one), _) in begins.filter(|(_, struck)| **struck) {
            count += 1.0;
            sum += one;
            mean.iter_mut().zip(state).for_each(|(m, s)| *m += s);
        }
        let contrast = sum / f32::max(count, 1.0) - (heard.all - sum) / f32::max(beats.lively - count, 1.0);
        inputs.extend([
            contrast,
            (sum - heard.norm) / beats.lively,
            contrast * beats.lively.sqrt() / 8.0,
        ]);
        let state = mean.iter().zip(&heard.mean);
        inputs.extend(state.map(|(on, all)| on / f32::max(count, 1.0) - all));
        heard.score + self.reading[1].single(&self.reading[0].bent(&inputs)) + self.direct.single(&inputs)
    }
}

/// Every state with what `layer` sees in it and in those `reach` beats before and after.
fn look_around(layer: &Layer, reach: usize, states: &[f32]) -> Vec<f32> {
    let edge = reach * WIDTH;
    let mut padded = vec![0.0; states.len() + 2 * edge];
    padded[edge..edge + states.len()].copy_from_slice(states);
    let parts = [&padded[..], &padded[edge..], &padded[2 * edge..]];
    let mut seen = layer.bent_rows(&parts, states.len() / WIDTH);
    seen.iter_mut().zip(states).for_each(|(new, state)| *new += state);
    seen
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

    #[test]
    fn many_rows_at_once_give_what_each_gives_alone() {
        let number = |i: usize| ((i * 7919 + 13) % 201) as f32 / 100.0 - 1.0;
        let layer = Layer {
            weights: (0..5 * 12).map(number).collect(),
            bias: (0..5).map(number).collect(),
        };
        let parts: Vec<Vec<f32>> = (0..3)
            .map(|part| (0..7 * 4).map(|i| number(i + 31 * part)).collect())
            .collect();
        let all = layer.bent_rows(&parts.iter().map(Vec::as_slice).collect::<Vec<_>>(), 7);
        for (row, outputs) in all.chunks_exact(5).enumerate() {
            let inputs: Vec<f32> = parts.iter().flat_map(|p| &p[row * 4..][..4]).copied().collect();
            for (a, b) in outputs.iter().zip(layer.bent(&inputs)) {
                assert!((a - b).abs() < 1e-5, "{row}: {a} {b}");
            }
        }
    }
}
