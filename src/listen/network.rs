//! The trained network, run with plain matrix products.
//!
//! The convolutions over time and frequency run on short tiles of frames that stay in the processor's cache, the
//! layers over time on the whole stretch. Maps are rows of time: `map[(channel * bands + band) * frames + frame]`. Batch normalisation is folded into
//! the weights. Every layer pads with zeros at the ends of the recording, as in training.

use std::ops::Range;
use std::sync::OnceLock;

use ndarray::linalg::general_mat_mul;
use ndarray::{ArrayView2, ArrayViewMut2, ShapeBuilder};

use super::SOUNDS;
use super::features::BANDS;

const CHANNELS: [usize; 3] = [16, 32, 64];
const HIDDEN: usize = 160;
const DILATIONS: [usize; 8] = [1, 2, 4, 8, 16, 32, 1, 2];
/// Bands are pooled by these factors, one after the other.
const POOLS: [usize; 3] = [2, 3, 4];

/// Frames that the convolutions over time and frequency see on either side: one each.
const EDGE: usize = 5;
/// Frames of a tile, without its edges.
const TILE: usize = 128;

/// Frames on either side that one output depends on: the edge and the sum of the dilations.
pub(super) const CONTEXT: usize = EDGE + 66;

/// Weights as 16-bit floats, least significant byte first, in the order in which [`Network::read`] takes them.
static WEIGHTS: &[u8] = include_bytes!("weights.f16");

pub(super) struct Network {
    first: Dense,
    separable: Vec<Separable>,
    join: Dense,
    dilated: Vec<Dense>,
    last: Dense,
}

/// Weights, outputs by inputs (by taps), and a bias for each output.
pub(super) struct Dense {
    weights: Vec<f32>,
    bias: Vec<f32>,
}

/// Three by three taps for each channel, then a dense mixture of channels.
struct Separable {
    taps: Vec<f32>,
    mix: Dense,
}

/// Reads numbers from the weights' file; what is not there reads as 0, which a test rules out.
pub(super) struct Source<'a>(pub(super) &'a [u8]);

impl Source<'_> {
    pub(super) fn take(&mut self, count: usize) -> Vec<f32> {
        let (now, later) = self.0.split_at((2 * count).min(self.0.len()));
        self.0 = later;
        let mut out: Vec<f32> = now
            .chunks_exact(2)
            .map(|b| half(u16::from_le_bytes([b[0], b[1]])))
            .collect();
        out.resize(count, 0.0);
        out
    }

    pub(super) fn dense(&mut self, outputs: usize, inputs: usize) -> Dense {
        Dense {
            weights: self.take(outputs * inputs),
            bias: self.take(outputs),
        }
    }
}

/// The value of a 16-bit float (IEEE 754 binary16).
fn half(bits: u16) -> f32 {
    let sign = if bits & 0x8000 == 0 { 1.0 } else { -1.0 };
    let fraction = f32::from(bits & 0x3ff);
    match (bits >> 10) & 0x1f {
        0 => sign * fraction * 2f32.powi(-24),
        exponent => sign * (1.0 + fraction / 1024.0) * 2f32.powi(i32::from(exponent) - 15),
    }
}

impl Network {
    /// The network with its committed weights, read once.
    pub(super) fn trained() -> &'static Network {
        static NETWORK: OnceLock<Network> = OnceLock::new();
        NETWORK.get_or_init(|| Network::read(&mut Source(WEIGHTS)))
    }

    fn read(source: &mut Source<'_>) -> Network {
        let [a, b, c] = CHANNELS;
        let first = source.dense(a, 9);
        let separable = [(a, b), (b, b), (b, c), (c, c)]
            .iter()
            .map(|&(inputs, outputs)| Separable {
                taps: source.take(inputs * 9),
                mix: source.dense(outputs, inputs),
            })
            .collect();
        let left = BANDS / POOLS.iter().product::<usize>();
        let join = source.dense(HIDDEN, c * left);
        let dilated = DILATIONS
            .iter()
            .map(|_| source.dense(HIDDEN, 3 * HIDDEN))
            .collect();
        let last = source.dense(SOUNDS, HIDDEN);
        Network {
            first,
            separable,
            join,
            dilated,
            last,
        }
    }

    /// From [`BANDS`] rows of `frames` features to the likelihood of every sound in every frame.
    pub(super) fn run(&self, features: &[f32], frames: usize) -> Vec<[f32; SOUNDS]> {
        let mut line = vec![0.0; HIDDEN * frames];
        for start in (0..frames).step_by(TILE) {
            let end = (start + TILE).min(frames);
            let (first, last) = (start.saturating_sub(EDGE), (end + EDGE).min(frames));
            let tile = self.front(features, frames, first..last);
            let rows = line.chunks_exact_mut(frames).zip(tile.chunks_exact(last - first));
            rows.for_each(|(to, from)| to[start..end].copy_from_slice(&from[start - first..end - first]));
        }
        for (layer, &dilation) in self.dilated.iter().zip(&DILATIONS) {
            residual(layer, dilation, &mut line, frames);
        }
        let mut out = vec![0.0; SOUNDS * frames];
        self.last.add(&line, frames, &mut out);
        let sigmoid = |x: f32| 1.0 / (1.0 + (-x).exp());
        (0..frames)
            .map(|t| std::array::from_fn(|s| sigmoid(out[s * frames + t])))
            .collect()
    }

    /// The convolutions over time and frequency for the frames `tile` of all `frames`: [`HIDDEN`] rows.
    fn front(&self, features: &[f32], frames: usize, tile: Range<usize>) -> Vec<f32> {
        let count = tile.len();
        let mut seen = vec![0.0; BANDS * count];
        for (to, from) in seen.chunks_exact_mut(count).zip(features.chunks_exact(frames)) {
            let inside = from[tile.clone()].iter();
            to.iter_mut()
                .zip(inside)
                .for_each(|(to, f)| *to = (f + 5.0) / 3.0);
        }
        let mut map = pool(
            &self.first_layer(&seen, count),
            CHANNELS[0],
            BANDS,
            POOLS[0],
            count,
        );
        let mut bands = BANDS / POOLS[0];
        let stages = self
            .separable
            .chunks_exact(2)
            .zip(&POOLS[1..])
            .zip(&CHANNELS[1..]);
        for ((pair, &factor), &channels) in stages {
            for layer in pair {
                map = layer.run(&map, bands, count);
            }
            map = pool(&map, channels, bands, factor, count);
            bands /= factor;
        }
        let mut out = vec![0.0; HIDDEN * count];
        self.join.add(&map, count, &mut out);
        relu(&mut out);
        out
    }

    fn first_layer(&self, seen: &[f32], frames: usize) -> Vec<f32> {
        let mut out = vec![0.0; CHANNELS[0] * BANDS * frames];
        for (channel, map) in out.chunks_exact_mut(BANDS * frames).enumerate() {
            map.fill(self.first.bias[channel]);
            add_taps(seen, &self.first.weights[channel * 9..][..9], BANDS, frames, map);
        }
        relu(&mut out);
        out
    }
}

/// `line += relu(three taps, `dilation` frames apart, of line)`.
fn residual(layer: &Dense, dilation: usize, line: &mut [f32], frames: usize) {
    let out = convolve(layer, 3, dilation, line, frames);
    line.iter_mut().zip(&out).for_each(|(l, o)| *l += o.max(0.0));
}

/// `bias + taps of line`, an odd number of them `dilation` frames apart, for rows of `frames`; zeros outside. The
/// weights of one tap, outputs by inputs, lie after those of the other.
pub(super) fn convolve(layer: &Dense, taps: usize, dilation: usize, line: &[f32], frames: usize) -> Vec<f32> {
    let (inputs, outputs) = (line.len() / frames.max(1), layer.bias.len());
    let reach = dilation * (taps / 2);
    let wide = frames + 2 * reach;
    let mut padded = vec![0.0; inputs * wide];
    for (to, from) in padded.chunks_exact_mut(wide).zip(line.chunks_exact(frames)) {
        to[reach..reach + frames].copy_from_slice(from);
    }
    let mut out = vec![0.0; outputs * frames];
    for (row, bias) in out.chunks_exact_mut(frames).zip(&layer.bias) {
        row.fill(*bias);
    }
    for (tap, weights) in layer.weights.chunks_exact(outputs * inputs).enumerate() {
        product(weights, &padded[tap * dilation..], wide, inputs, frames, &mut out);
    }
    out
}

impl Dense {
    /// `out = bias + weights * map`, for maps of `columns` values in a row.
    pub(super) fn add(&self, map: &[f32], columns: usize, out: &mut [f32]) {
        for (row, bias) in out.chunks_exact_mut(columns).zip(&self.bias) {
            row.fill(*bias);
        }
        product(
            &self.weights,
            map,
            columns,
            map.len() / columns.max(1),
            columns,
            out,
        );
    }
}

impl Separable {
    fn run(&self, map: &[f32], bands: usize, frames: usize) -> Vec<f32> {
        let size = bands * frames;
        let mut tapped = vec![0.0; map.len()];
        for (channel, (to, from)) in tapped
            .chunks_exact_mut(size)
            .zip(map.chunks_exact(size))
            .enumerate()
        {
            add_taps(from, &self.taps[channel * 9..][..9], bands, frames, to);
        }
        let mut out = vec![0.0; self.mix.bias.len() * size];
        self.mix.add(&tapped, size, &mut out);
        relu(&mut out);
        out
    }
}

/// `out += weights * map`: weights are outputs by `inputs`, row `i` of the map starts at `i * stride`.
fn product(weights: &[f32], map: &[f32], stride: usize, inputs: usize, columns: usize, out: &mut [f32]) {
    let outputs = out.len() / columns.max(1);
    // Shapes that do not fit their slices are ruled out by the callers, all in this file; a test runs every layer.
    let weights = ArrayView2::from_shape((outputs, inputs), weights);
    let map = ArrayView2::from_shape((inputs, columns).strides((stride, 1)), map);
    let out = ArrayViewMut2::from_shape((outputs, columns), out);
    if let (Ok(weights), Ok(map), Ok(mut out)) = (weights, map, out) {
        general_mat_mul(1.0, &weights, &map, 1.0, &mut out);
    }
}

/// Adds a three by three filter (bands by frames) of `from` to `to`, zeros outside.
fn add_taps(from: &[f32], taps: &[f32], bands: usize, frames: usize, to: &mut [f32]) {
    for band in 0..bands {
        let row = &mut to[band * frames..][..frames];
        for (i, three) in taps.chunks_exact(3).enumerate() {
            let Some(source) = (band + i).checked_sub(1).filter(|b| *b < bands) else {
                continue;
            };
            add_three(&from[source * frames..][..frames], three, row);
        }
    }
}

/// Adds a filter of three taps of `line` to `row`, zeros outside.
fn add_three(line: &[f32], taps: &[f32], row: &mut [f32]) {
    let &[before, here, after] = taps else {
        return;
    };
    // Both ends first, so that all between is one plain loop.
    if let [first, .., last] = row {
        *first += here * line[0] + after * line[1];
        *last += before * line[line.len() - 2] + here * line[line.len() - 1];
    } else {
        row.iter_mut().zip(line).for_each(|(o, x)| *o += here * x);
    }
    let between = row
        .iter_mut()
        .skip(1)
        .zip(line)
        .zip(line.iter().skip(1))
        .zip(line.iter().skip(2));
    between.for_each(|(((o, x), y), z)| *o += before * x + here * y + after * z);
}

/// The largest of every `factor` neighbouring bands.
fn pool(map: &[f32], channels: usize, bands: usize, factor: usize, frames: usize) -> Vec<f32> {
    let left = bands / factor;
    let mut out = vec![f32::NEG_INFINITY; channels * left * frames];
    for channel in 0..channels {
        for band in 0..left * factor {
            let to = &mut out[(channel * left + band / factor) * frames..][..frames];
            let from = &map[(channel * bands + band) * frames..][..frames];
            to.iter_mut().zip(from).for_each(|(o, x)| *o = o.max(*x));
        }
    }
    out
}

fn relu(map: &mut [f32]) {
    map.iter_mut().for_each(|x| *x = x.max(0.0));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_file_of_weights_holds_the_network_and_nothing_else() {
        let mut source = Source(WEIGHTS);
        Network::read(&mut source);
        let [a, b, c] = CHANNELS;
        let mixes = [(a, b), (b, b), (b, c), (c, c)].map(|(i, o)| 9 * i + i * o + o);
        let joined = (c * BANDS / POOLS.iter().product::<usize>() + 1) * HIDDEN;
        let dilated = DILATIONS.len() * (3 * HIDDEN + 1) * HIDDEN;
        let all = 10 * a + mixes.iter().sum::<usize>() + joined + dilated + (HIDDEN + 1) * SOUNDS;
        assert_eq!((WEIGHTS.len(), source.0.len()), (2 * all, 0));
    }

    #[test]
    fn the_context_holds_all_that_an_output_depends_on() {
        assert_eq!(CONTEXT, EDGE + DILATIONS.iter().sum::<usize>());
    }

    #[test]
    fn halves_are_read_as_the_standard_says() {
        let known = [
            (0x3c00, 1.0),
            (0xc000, -2.0),
            (0x7bff, 65504.0),
            (0x0001, 5.960_464_5e-8),
            (0x3555, 0.333_251_95),
        ];
        known
            .iter()
            .for_each(|(bits, value)| assert_eq!(half(*bits), *value));
    }
}
