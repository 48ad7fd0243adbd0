//! The trained network.
//!
//! The convolutions over time and frequency run on short tiles of frames that stay in the processor's cache, the
//! layers over time on the whole stretch. Maps are rows of time: `map[(channel * bands + band) * stride + frame]`. Batch
//! normalisation is folded into the weights. Every layer pads with zeros at the ends of the recording, as in training.

use std::ops::Range;
use std::sync::OnceLock;

use pulp::{Arch, Simd, WithSimd};

use super::SOUNDS;
use super::features::BANDS;
use super::line::{Line, Step};
use super::product::{COLUMNS, Layer, Made};

const CHANNELS: [usize; 3] = [16, 32, 64];
pub(super) const HIDDEN: usize = 160;
const DILATIONS: [usize; 8] = [1, 2, 4, 8, 16, 32, 1, 2];
/// Bands are pooled by these factors, one after the other.
const POOLS: [usize; 3] = [2, 3, 4];

/// Frames that the convolutions over time and frequency see on either side: one each.
const EDGE: usize = 5;
/// Frames of a tile, without its edges: with them whole [`COLUMNS`].
const TILE: usize = 5 * COLUMNS - 2 * EDGE;

/// Frames on either side that one output depends on: the edge and the sum of the dilations.
pub(super) const CONTEXT: usize = EDGE + 66;

/// Weights as 16-bit floats, least significant byte first, in the order in which [`Network::read`] takes them.
static WEIGHTS: &[u8] = include_bytes!("weights.f16");

pub(super) struct Network {
    /// Three by three taps of each channel, and their biases.
    first: Vec<f32>,
    base: Vec<f32>,
    separable: Vec<Separable>,
    join: Layer,
    dilated: Vec<Step>,
    last: Layer,
}

/// Three by three taps for each channel, then a dense mixture of channels.
struct Separable {
    taps: Vec<f32>,
    mix: Layer,
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

    /// Weights, outputs by inputs, tap by tap, and then biases.
    pub(super) fn layer(&mut self, outputs: usize, inputs: usize, taps: usize) -> Layer {
        let weights = self.take(outputs * inputs * taps);
        Layer::new(&weights, self.take(outputs), inputs)
    }
}

/// The value of a 16-bit float (IEEE 754 binary16).
fn half(bits: u16) -> f32 {
    /// The smallest number that is more than 0, 2 to the power of -24, and what exponents differ by.
    const LEAST: f32 = 1.0 / 16_777_216.0;
    const SHIFT: u32 = 127 - 15;
    let sign = u32::from(bits & 0x8000) << 16;
    let size = match bits & 0x7fff {
        low @ ..0x400 => f32::from(low) * LEAST,
        high => f32::from_bits((u32::from(high) << 13) + (SHIFT << 23)),
    };
    f32::from_bits(size.to_bits() | sign)
}

impl Network {
    /// The network with its committed weights, read once.
    pub(super) fn trained() -> &'static Network {
        static NETWORK: OnceLock<Network> = OnceLock::new();
        NETWORK.get_or_init(|| Network::read(&mut Source(WEIGHTS)))
    }

    fn read(source: &mut Source<'_>) -> Network {
        let [a, b, c] = CHANNELS;
        let (first, base) = (source.take(9 * a), source.take(a));
        let separable = [(a, b), (b, b), (b, c), (c, c)]
            .iter()
            .map(|&(inputs, outputs)| Separable {
                taps: source.take(inputs * 9),
                mix: source.layer(outputs, inputs, 1),
            })
            .collect();
        let left = BANDS / POOLS.iter().product::<usize>();
        let join = source.layer(HIDDEN, c * left, 1);
        let dilated = DILATIONS
            .iter()
            .map(|dilation| {
                let weights = source.take(3 * HIDDEN * HIDDEN);
                Step::new(*dilation, &weights, source.take(HIDDEN))
            })
            .collect();
        let last = source.layer(SOUNDS, HIDDEN, 1);
        Network {
            first,
            base,
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
        let (mut line, mut next) = (Line::new(frames), Line::new(frames));
        let mut room = Room::default();
        let seen = around(reach);
        for start in seen.clone().step_by(TILE) {
            let end = (start + TILE).min(seen.end);
            let (first, last) = (start.saturating_sub(EDGE), (end + EDGE).min(frames));
            let count = last - first;
            Arch::new().dispatch(Front {
                network: self,
                features,
                frames,
                tile: first..last,
                room: &mut room,
            });
            let rows = line.rows(start..end).zip(room.out.chunks_exact(wide(count)));
            rows.for_each(|(to, from)| to.copy_from_slice(&from[start - first..end - first]));
        }
        for step in &self.dilated {
            reach -= step.dilation();
            step.run(&line, around(reach), &mut room.map, &mut next);
            std::mem::swap(&mut line, &mut next);
        }
        let count = wanted.len();
        let out = Made {
            layer: &self.last,
            dilation: 0,
            map: line.map(),
            first: Line::BEFORE + wanted.start,
            columns: count,
        }
        .rows();
        let sigmoid = |x: f32| 1.0 / (1.0 + (-x).exp());
        (0..count)
            .map(|t| std::array::from_fn(|s| sigmoid(out[s * count + t])))
            .collect()
    }
}

/// The stride of rows of so many frames.
fn wide(frames: usize) -> usize {
    frames.next_multiple_of(COLUMNS)
}

/// Maps that are being worked out, used again for every tile.
#[derive(Default)]
struct Room {
    map: Vec<f32>,
    tapped: Vec<f32>,
    out: Vec<f32>,
}

/// The convolutions over time and frequency for the frames `tile` of all `frames`: [`HIDDEN`] rows in `room.out`.
struct Front<'a> {
    network: &'a Network,
    features: &'a [f32],
    frames: usize,
    tile: Range<usize>,
    room: &'a mut Room,
}

impl WithSimd for Front<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let count = self.tile.len();
        let stride = wide(count);
        let Room { map, tapped, out } = self.room;
        let from = self.features.chunks_exact(self.frames);
        clear(out, BANDS * stride);
        for (to, from) in out.chunks_exact_mut(stride).zip(from) {
            let inside = from[self.tile.clone()].iter();
            to.iter_mut()
                .zip(inside)
                .for_each(|(to, f)| *to = (f + 5.0) / 3.0);
        }
        self.network.first_layer(out, count, tapped, map);
        let mut bands = BANDS / POOLS[0];
        let factors = [1, POOLS[1], 1, POOLS[2]];
        for (layer, factor) in self.network.separable.iter().zip(factors) {
            layer.run(simd, map, bands, count, factor, tapped, out);
            std::mem::swap(map, out);
            bands /= factor;
        }
        clear(out, HIDDEN * stride);
        let join = Made {
            layer: &self.network.join,
            dilation: 0,
            map: (map, stride),
            first: 0,
            columns: stride,
        };
        join.raise(simd, out, stride);
    }
}

impl Network {
    /// The first convolution, pooled.
    #[inline(always)]
    fn first_layer(&self, seen: &[f32], frames: usize, tapped: &mut Vec<f32>, out: &mut Vec<f32>) {
        let stride = wide(frames);
        clear(out, CHANNELS[0] * BANDS / POOLS[0] * stride);
        clear(tapped, stride);
        let channels = out.chunks_exact_mut(BANDS / POOLS[0] * stride);
        let weights = self.first.as_chunks::<9>().0.iter().zip(&self.base);
        for (map, (taps, base)) in channels.zip(weights) {
            for (pooled, row) in map.chunks_exact_mut(stride).enumerate() {
                for band in pooled * POOLS[0]..(pooled + 1) * POOLS[0] {
                    take_taps(seen, band, taps, *base, stride, &mut tapped[..frames]);
                    // From 0 on, which rectifies.
                    row.iter_mut()
                        .zip(tapped.iter())
                        .for_each(|(o, x)| *o = o.max(*x));
                }
            }
        }
    }
}

impl Separable {
    /// From `map` to `out`, the largest of every `factor` neighbouring bands, and 0 at least.
    #[inline(always)]
    #[expect(clippy::too_many_arguments)]
    fn run<S: Simd>(
        &self,
        simd: S,
        map: &[f32],
        bands: usize,
        frames: usize,
        factor: usize,
        tapped: &mut Vec<f32>,
        out: &mut Vec<f32>,
    ) {
        let (stride, taps) = (wide(frames), self.taps.as_chunks::<9>().0);
        clear(tapped, taps.len() * stride);
        clear(out, self.mix.outputs() * bands / factor * stride);
        for band in 0..bands {
            let channels = tapped
                .chunks_exact_mut(stride)
                .zip(map.chunks_exact(bands * stride));
            for ((to, from), taps) in channels.zip(taps) {
                take_taps(from, band, taps, 0.0, stride, &mut to[..frames]);
            }
            let made = Made {
                layer: &self.mix,
                dilation: 0,
                map: (tapped, stride),
                first: 0,
                columns: stride,
            };
            let rows = out.get_mut(band / factor * stride..).unwrap_or_default();
            made.raise(simd, rows, bands / factor * stride);
        }
    }
}

/// Makes a map of so many zeros.
fn clear(map: &mut Vec<f32>, length: usize) {
    map.clear();
    map.resize(length, 0.0);
}

/// Makes `row` of `base` and a three by three filter (bands by frames) of `from` around a band, zeros outside.
#[inline(always)]
fn take_taps(from: &[f32], band: usize, taps: &[f32; 9], base: f32, stride: usize, row: &mut [f32]) {
    let frames = row.len();
    let line = |band: usize| from.get(band * stride..band * stride + frames);
    let near = [band.checked_sub(1).and_then(line), line(band), line(band + 1)];
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
