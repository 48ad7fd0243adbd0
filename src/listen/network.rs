//! The trained network, run with plain matrix products.
//!
//! The convolutions over time and frequency run on short tiles of frames that stay in the processor's cache, the
//! layers over time on the whole stretch. Maps are rows of time: `map[(channel * bands + band) * frames + frame]`. Batch normalisation is folded into
//! the weights. Every layer pads with zeros at the ends of the recording, as in training.

use std::ops::Range;
use std::sync::OnceLock;

use ndarray::linalg::general_mat_mul;
use ndarray::{ArrayView2, ArrayViewMut2, ShapeBuilder};
use pulp::{Arch, Simd, WithSimd};

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

    /// From [`BANDS`] rows of `frames` features to the likelihood of every sound in the frames `wanted`. Of the others
    /// only what those depend on is worked out.
    pub(super) fn run(&self, features: &[f32], frames: usize, wanted: Range<usize>) -> Vec<[f32; SOUNDS]> {
        let around = |reach: usize| wanted.start.saturating_sub(reach)..(wanted.end + reach).min(frames);
        let mut reach = CONTEXT - EDGE;
        let (mut line, mut room) = (Line::new(frames), Room::default());
        let seen = around(reach);
        for start in seen.clone().step_by(TILE) {
            let end = (start + TILE).min(seen.end);
            let (first, last) = (start.saturating_sub(EDGE), (end + EDGE).min(frames));
            self.front(features, frames, first..last, &mut room);
            let rows = line.rows(start..end).zip(room.out.chunks_exact(last - first));
            rows.for_each(|(to, from)| to.copy_from_slice(&from[start - first..end - first]));
        }
        for (layer, &dilation) in self.dilated.iter().zip(&DILATIONS) {
            reach -= dilation;
            line.add(layer, dilation, around(reach), &mut room.out);
        }
        let count = wanted.len();
        let mut out = vec![0.0; SOUNDS * count];
        self.last.bias(count, &mut out);
        let from = line.from(wanted.start);
        product(&self.last.weights, from, line.stride, HIDDEN, count, &mut out);
        let sigmoid = |x: f32| 1.0 / (1.0 + (-x).exp());
        (0..count)
            .map(|t| std::array::from_fn(|s| sigmoid(out[s * count + t])))
            .collect()
    }

    /// The convolutions over time and frequency for the frames `tile` of all `frames`: [`HIDDEN`] rows in `room.out`.
    fn front(&self, features: &[f32], frames: usize, tile: Range<usize>, room: &mut Room) {
        let count = tile.len();
        let Room {
            seen,
            map,
            tapped,
            out,
        } = room;
        seen.resize(BANDS * count, 0.0);
        for (to, from) in seen.chunks_exact_mut(count).zip(features.chunks_exact(frames)) {
            let inside = from[tile.clone()].iter();
            to.iter_mut()
                .zip(inside)
                .for_each(|(to, f)| *to = (f + 5.0) / 3.0);
        }
        self.first_layer(seen, count, out);
        pool(out, CHANNELS[0], BANDS, POOLS[0], count, map);
        let mut bands = BANDS / POOLS[0];
        let stages = self
            .separable
            .chunks_exact(2)
            .zip(&POOLS[1..])
            .zip(&CHANNELS[1..]);
        for ((pair, &factor), &channels) in stages {
            for layer in pair {
                layer.run(map, bands, count, tapped, out);
                std::mem::swap(map, out);
            }
            pool(map, channels, bands, factor, count, out);
            std::mem::swap(map, out);
            bands /= factor;
        }
        out.resize(HIDDEN * count, 0.0);
        self.join.add(map, count, out);
        relu(out);
    }

    fn first_layer(&self, seen: &[f32], frames: usize, out: &mut Vec<f32>) {
        out.resize(CHANNELS[0] * BANDS * frames, 0.0);
        for (channel, map) in out.chunks_exact_mut(BANDS * frames).enumerate() {
            let taps = &self.first.weights[channel * 9..][..9];
            Arch::new().dispatch(Taps {
                from: seen,
                taps,
                base: self.first.bias[channel],
                frames,
                to: map,
            });
        }
        relu(out);
    }
}

/// Maps that are being worked out, used again for every tile.
#[derive(Default)]
struct Room {
    seen: Vec<f32>,
    map: Vec<f32>,
    tapped: Vec<f32>,
    out: Vec<f32>,
}

/// [`HIDDEN`] rows of time, each with silence on either side, as far as the widest dilation reaches.
struct Line {
    values: Vec<f32>,
    stride: usize,
}

impl Line {
    const MARGIN: usize = 32;

    fn new(frames: usize) -> Self {
        let stride = frames + 2 * Self::MARGIN;
        Line {
            values: vec![0.0; HIDDEN * stride],
            stride,
        }
    }

    /// All rows, from frame `first` of the first row on.
    fn from(&self, first: usize) -> &[f32] {
        &self.values[Self::MARGIN + first..]
    }

    /// The frames `columns` of every row.
    fn rows(&mut self, columns: Range<usize>) -> impl Iterator<Item = &mut [f32]> {
        let inside = Self::MARGIN + columns.start..Self::MARGIN + columns.end;
        self.values
            .chunks_exact_mut(self.stride)
            .map(move |row| &mut row[inside.clone()])
    }

    /// Adds relu(three taps of itself, `dilation` frames apart) in the frames `columns`, worked out in `room`.
    fn add(&mut self, layer: &Dense, dilation: usize, columns: Range<usize>, room: &mut Vec<f32>) {
        let count = columns.len();
        room.resize(HIDDEN * count, 0.0);
        layer.bias(count, room);
        for (tap, weights) in layer.weights.chunks_exact(HIDDEN * HIDDEN).enumerate() {
            let first = Self::MARGIN + columns.start + tap * dilation - dilation;
            product(weights, &self.values[first..], self.stride, HIDDEN, count, room);
        }
        for (row, more) in self.rows(columns).zip(room.chunks_exact(count)) {
            row.iter_mut().zip(more).for_each(|(l, o)| *l += o.max(0.0));
        }
    }
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
    /// Fills rows of `columns` values with the bias of each.
    fn bias(&self, columns: usize, out: &mut [f32]) {
        let rows = out.chunks_exact_mut(columns.max(1)).zip(&self.bias);
        rows.for_each(|(row, bias)| row.fill(*bias));
    }

    /// `out = bias + weights * map`, for maps of `columns` values in a row.
    pub(super) fn add(&self, map: &[f32], columns: usize, out: &mut [f32]) {
        self.bias(columns, out);
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
    fn run(&self, map: &[f32], bands: usize, frames: usize, tapped: &mut Vec<f32>, out: &mut Vec<f32>) {
        let size = bands * frames;
        tapped.resize(map.len(), 0.0);
        let channels = tapped.chunks_exact_mut(size).zip(map.chunks_exact(size));
        for ((to, from), taps) in channels.zip(self.taps.chunks_exact(9)) {
            Arch::new().dispatch(Taps {
                from,
                taps,
                base: 0.0,
                frames,
                to,
            });
        }
        out.resize(self.mix.bias.len() * size, 0.0);
        self.mix.add(tapped, size, out);
        relu(out);
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

/// Makes `to` of `base` and a three by three filter (bands by frames) of `from`, zeros outside; with the widest
/// instructions that there are.
struct Taps<'a> {
    from: &'a [f32],
    taps: &'a [f32],
    base: f32,
    frames: usize,
    to: &'a mut [f32],
}

impl WithSimd for Taps<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        take_taps(self.from, self.taps, self.base, self.frames, self.to);
    }
}

#[inline(always)]
fn take_taps(from: &[f32], taps: &[f32], base: f32, frames: usize, to: &mut [f32]) {
    let lines = |band: usize| from.get(band * frames..(band + 1) * frames);
    for (band, row) in to.chunks_exact_mut(frames).enumerate() {
        let near = [band.checked_sub(1).and_then(lines), lines(band), lines(band + 1)];
        let taps = taps.as_chunks::<3>().0;
        match (near, taps) {
            ([Some(above), Some(here), Some(below)], &[a, b, c]) => {
                take_nine([above, here, below], [a, b, c], base, row);
            }
            _ => {
                row.fill(base);
                let there = near.into_iter().zip(taps);
                there.for_each(|(line, taps)| add_three(line.unwrap_or_default(), *taps, row));
            }
        }
    }
}

/// `base` and filters of three taps, one for each line, zeros outside.
#[inline(always)]
fn take_nine(lines: [&[f32]; 3], taps: [[f32; 3]; 3], base: f32, row: &mut [f32]) {
    let ends = row.len().saturating_sub(1);
    for at in [0, ends] {
        row[at] = base;
        for (line, [before, here, after]) in lines.iter().zip(taps) {
            let left = at.checked_sub(1).map_or(0.0, |left| before * line[left]);
            let right = line.get(at + 1).map_or(0.0, |right| after * right);
            row[at] += left + here * line[at] + right;
        }
    }
    let inner = row.get_mut(1..ends).unwrap_or_default();
    let count = inner.len();
    let part = |line: usize, from: usize| lines[line].get(from..from + count).unwrap_or_default();
    let parts: [[&[f32]; 3]; 3] = std::array::from_fn(|line| std::array::from_fn(|from| part(line, from)));
    let [[a, b, c], [d, e, f], [g, h, i]] = parts;
    let above = a.iter().zip(b).zip(c);
    let here = d.iter().zip(e).zip(f);
    let below = g.iter().zip(h).zip(i);
    let sum = |taps: [f32; 3], ((x, y), z): ((&f32, &f32), &f32)| taps[0] * x + taps[1] * y + taps[2] * z;
    for (((o, above), here), below) in inner.iter_mut().zip(above).zip(here).zip(below) {
        *o = base + sum(taps[0], above) + sum(taps[1], here) + sum(taps[2], below);
    }
}

/// Adds a filter of three taps of `line` to `row`, zeros outside.
fn add_three(line: &[f32], [before, here, after]: [f32; 3], row: &mut [f32]) {
    row.iter_mut().zip(line).enumerate().for_each(|(at, (o, y))| {
        let left = at.checked_sub(1).map_or(0.0, |left| before * line[left]);
        let right = line.get(at + 1).map_or(0.0, |right| after * right);
        *o += left + here * y + right;
    });
}

/// The largest of every `factor` neighbouring bands.
fn pool(map: &[f32], channels: usize, bands: usize, factor: usize, frames: usize, out: &mut Vec<f32>) {
    let left = bands / factor;
    out.resize(channels * left * frames, 0.0);
    out.fill(f32::NEG_INFINITY);
    for channel in 0..channels {
        for band in 0..left * factor {
            let to = &mut out[(channel * left + band / factor) * frames..][..frames];
            let from = &map[(channel * bands + band) * frames..][..frames];
            to.iter_mut().zip(from).for_each(|(o, x)| *o = o.max(*x));
        }
    }
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
