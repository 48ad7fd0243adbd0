//! The layers over time, each adding to its line what it makes of three of its frames.
//!
//! Four frames that lie as far from each other as the taps are worked out together from six, with six products instead of
//! twelve: the filter F(4, 3) of Winograd, Arithmetic complexity of computations (SIAM 1980), with the matrices of Lavin and
//! Gray, Fast algorithms for convolutional neural networks (CVPR 2016).

use std::ops::Range;

use pulp::{Arch, Simd, WithSimd};

use super::network::HIDDEN;
use super::product::{COLUMNS, Packed, ROWS, WIDE, add, width};

/// Frames that are worked out together, those that they need, and products that are made for them.
const MADE: usize = 4;
const NEEDED: usize = MADE + 2;

/// Sets of such frames that are handled as one: each of the [`MADE`] or [`NEEDED`] is so many frames.
const GROUP: usize = 8;
const GROUPS: usize = COLUMNS / GROUP;

/// Numbers of a map of [`COLUMNS`] columns.
const MAP: usize = HIDDEN * COLUMNS;

type Group<const N: usize> = [[f32; GROUP]; N];

/// [`HIDDEN`] rows of time, each with silence on either side, as far as the widest dilation reaches.
pub(super) struct Line {
    values: Vec<f32>,
    stride: usize,
}

impl Line {
    pub(super) const BEFORE: usize = 32;
    /// The widest dilation, and what is filled up to whole groups.
    const AFTER: usize = 32 + MADE * 32;

    pub(super) fn new(frames: usize) -> Self {
        let stride = frames + Self::BEFORE + Self::AFTER;
        Line {
            values: vec![0.0; HIDDEN * stride],
            stride,
        }
    }

    /// All rows and how far they lie apart; frame 0 is [`Line::BEFORE`].
    pub(super) fn map(&self) -> (&[f32], usize) {
        (&self.values, self.stride)
    }

    /// The frames `columns` of every row.
    pub(super) fn rows(&mut self, columns: Range<usize>) -> impl Iterator<Item = &mut [f32]> {
        let inside = Self::BEFORE + columns.start..Self::BEFORE + columns.end;
        self.values
            .chunks_exact_mut(self.stride)
            .map(move |row| &mut row[inside.clone()])
    }
}

/// One layer.
pub(super) struct Step {
    dilation: usize,
    weights: [Packed; NEEDED],
    bias: Vec<f32>,
}

impl Step {
    /// From the weights of three taps, outputs by inputs, `dilation` frames apart.
    pub(super) fn new(dilation: usize, weights: &[f32], bias: Vec<f32>) -> Step {
        let (a, rest) = weights.split_at(weights.len() / 3);
        let (b, c) = rest.split_at(rest.len() / 2);
        let of = |share: [f64; 3]| -> Packed {
            let three = a.iter().zip(b).zip(c);
            let sum = |((a, b), c): ((&f32, &f32), &f32)| {
                (share[0] * f64::from(*a) + share[1] * f64::from(*b) + share[2] * f64::from(*c)) as f32
            };
            Packed::new(&three.map(sum).collect::<Vec<f32>>(), HIDDEN)
        };
        let (sixth, less) = (1.0 / 6.0, 1.0 / 24.0);
        Step {
            dilation,
            weights: [
                of([0.25, 0.0, 0.0]),
                of([-sixth, -sixth, -sixth]),
                of([-sixth, sixth, -sixth]),
                of([less, 2.0 * less, sixth]),
                of([less, -2.0 * less, sixth]),
                of([0.0, 0.0, 1.0]),
            ],
            bias,
        }
    }

    /// Frames between two taps.
    pub(super) fn dilation(&self) -> usize {
        self.dilation
    }

    /// Makes the frames `columns` of `to`: those of `from` and what the taps add, where that is more than nothing.
    pub(super) fn run(&self, from: &Line, columns: Range<usize>, room: &mut Vec<f32>, to: &mut Line) {
        room.resize(2 * NEEDED * HIDDEN * COLUMNS, 0.0);
        Arch::new().dispatch(Run {
            step: self,
            from,
            columns,
            room,
            to,
        });
    }

    /// Where in a row the first frame that each group needs lies, for the frames `columns`.
    fn groups(&self, columns: &Range<usize>) -> Vec<usize> {
        let first = Line::BEFORE + columns.start - self.dilation;
        if self.dilation < GROUP {
            return (0..columns.len())
                .step_by(MADE * GROUP)
                .map(|at| first + at)
                .collect();
        }
        (0..columns.len())
            .step_by(MADE * self.dilation)
            .flat_map(|block| {
                (0..self.dilation)
                    .step_by(GROUP)
                    .map(move |at| first + block + at)
            })
            .collect()
    }
}

struct Run<'a> {
    step: &'a Step,
    from: &'a Line,
    columns: Range<usize>,
    /// What the groups of some columns become before the products, and these, a map for each of [`NEEDED`].
    room: &'a mut [f32],
    to: &'a mut Line,
}

impl WithSimd for Run<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let (step, stride, end) = (self.step, self.from.stride, Line::BEFORE + self.columns.end);
        let (seen, products) = self.room.split_at_mut(NEEDED * MAP);
        for groups in step.groups(&self.columns).chunks(GROUPS) {
            for (number, row) in self.from.values.chunks_exact(stride).enumerate() {
                for (at, group) in groups.iter().enumerate() {
                    let parts = before(&pick(row, *group, step.dilation));
                    for (map, part) in seen.chunks_exact_mut(MAP).zip(parts) {
                        map[number * COLUMNS + at * GROUP..][..GROUP].copy_from_slice(&part);
                    }
                }
            }
            let maps = seen.chunks_exact(MAP).zip(products.chunks_exact_mut(MAP));
            for ((map, products), weights) in maps.zip(&step.weights) {
                multiply(simd, weights, map, products);
            }
            let rows = (self.from.values.chunks_exact(stride)).zip(self.to.values.chunks_exact_mut(stride));
            for (number, ((old, new), bias)) in rows.zip(&step.bias).enumerate() {
                for (at, group) in groups.iter().enumerate() {
                    let own = |n: usize| -> [f32; GROUP] {
                        let place = n * MAP + number * COLUMNS + at * GROUP;
                        products[place..].first_chunk().copied().unwrap_or_default()
                    };
                    let made = after(&std::array::from_fn(own), *bias);
                    put(&made, step.dilation, (old, new), *group..end);
                }
            }
        }
    }
}

/// Makes `products` of weights times a map, both of [`HIDDEN`] rows of [`COLUMNS`].
#[inline(always)]
fn multiply<S: Simd>(simd: S, weights: &Packed, map: &[f32], products: &mut [f32]) {
    let blocks = products.chunks_exact_mut(ROWS * COLUMNS);
    for (weights, rows) in weights.blocks(HIDDEN).zip(blocks) {
        for first in (0..COLUMNS).step_by(width::<S>()) {
            let none = [[simd.splat_f32s(0.0); WIDE]; ROWS];
            let sums = add(simd, weights, (map, COLUMNS), first, none);
            for (row, sums) in rows.chunks_exact_mut(COLUMNS).zip(sums) {
                let places = S::as_mut_simd_f32s(&mut row[first..]).0;
                places.iter_mut().zip(sums).for_each(|(place, sum)| *place = sum);
            }
        }
    }
}

/// The frames of a group, which begin at `group`.
#[inline(always)]
fn pick(row: &[f32], group: usize, dilation: usize) -> Group<NEEDED> {
    match dilation {
        1 => pick_close::<1>(&row[group..]),
        2 => pick_close::<2>(&row[group..]),
        4 => pick_close::<4>(&row[group..]),
        _ => std::array::from_fn(|n| {
            let part = row[group + n * dilation..].first_chunk();
            part.copied().unwrap_or_default()
        }),
    }
}

/// The same where the taps lie closer than a group is long.
#[inline(always)]
fn pick_close<const DILATION: usize>(row: &[f32]) -> Group<NEEDED> {
    let row = &row[..MADE * GROUP + 2 * DILATION];
    std::array::from_fn(|n| std::array::from_fn(|lane| row[place::<DILATION>(n, lane)]))
}

/// Where lane `lane` of the `n`th frame lies behind the first that the group needs.
#[inline(always)]
fn place<const DILATION: usize>(n: usize, lane: usize) -> usize {
    lane / DILATION * MADE * DILATION + lane % DILATION + n * DILATION
}

/// Writes what is made for a group; nothing beyond the end of `range`, which begins with the first frame that the group
/// needs.
#[inline(always)]
fn put(made: &Group<MADE>, dilation: usize, (old, new): (&[f32], &mut [f32]), range: Range<usize>) {
    match dilation {
        1 => put_close::<1>(made, (old, new), range),
        2 => put_close::<2>(made, (old, new), range),
        4 => put_close::<4>(made, (old, new), range),
        _ => {
            for (n, made) in made.iter().enumerate() {
                put_at(made, (old, new), range.start + (n + 1) * dilation..range.end);
            }
        }
    }
}

#[inline(always)]
fn put_close<const DILATION: usize>(
    made: &Group<MADE>,
    (old, new): (&[f32], &mut [f32]),
    range: Range<usize>,
) {
    let mut flat = [0.0; MADE * GROUP];
    for (n, made) in made.iter().enumerate() {
        for (lane, x) in made.iter().enumerate() {
            flat[place::<DILATION>(n, lane)] = *x;
        }
    }
    put_at(&flat, (old, new), range.start + DILATION..range.end);
}

/// Makes `new` of `old` and `more` from the beginning of `range` on, not beyond its end.
#[inline(always)]
fn put_at<const N: usize>(more: &[f32; N], (old, new): (&[f32], &mut [f32]), range: Range<usize>) {
    let sum = |new: &mut [f32], old: &[f32]| {
        new.iter_mut()
            .zip(old.iter().zip(more))
            .for_each(|(n, (o, more))| *n = o + more);
    };
    let whole = range.start..range.start + N;
    if whole.end <= range.end {
        sum(&mut new[whole.clone()][..N], &old[whole][..N]);
    } else if range.start < range.end {
        sum(&mut new[range.clone()], &old[range]);
    }
}

/// What a group becomes before the products.
#[inline(always)]
fn before(x: &Group<NEEDED>) -> Group<NEEDED> {
    let [a, b, c, d, e, f] = x;
    let mut out = [[0.0; GROUP]; NEEDED];
    let [first, plus, less, double, other, last] = &mut out;
    for n in 0..GROUP {
        let (near, far) = (d[n] - 4.0 * b[n], e[n] - 4.0 * c[n]);
        let (odd, even) = (2.0 * (d[n] - b[n]), e[n] - c[n]);
        first[n] = 4.0 * a[n] - 5.0 * c[n] + e[n];
        plus[n] = far + near;
        less[n] = far - near;
        double[n] = even + odd;
        other[n] = even - odd;
        last[n] = 4.0 * b[n] - 5.0 * d[n] + f[n];
    }
    out
}

/// What products become: the sums of the taps with `bias`, where they are more than nothing.
#[inline(always)]
fn after(x: &Group<NEEDED>, bias: f32) -> Group<MADE> {
    let [a, b, c, d, e, f] = x;
    let mut out = [[0.0; GROUP]; MADE];
    let [first, second, third, fourth] = &mut out;
    for n in 0..GROUP {
        let (sum, less) = (b[n] + c[n], b[n] - c[n]);
        let (far, apart) = (d[n] + e[n], d[n] - e[n]);
        first[n] = (a[n] + sum + far + bias).max(0.0);
        second[n] = (less + 2.0 * apart + bias).max(0.0);
        third[n] = (sum + 4.0 * far + bias).max(0.0);
        fourth[n] = (less + 8.0 * apart + f[n] + bias).max(0.0);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(state: &mut u32) -> f32 {
        *state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (*state >> 8) as f32 / (1 << 23) as f32 - 1.0
    }

    /// Of the last output only, the sums of three taps by the definition.
    fn by_definition(weights: &[f32], bias: f32, line: &Line, dilation: usize, frame: usize) -> f32 {
        let at = |input: usize, tap: usize| {
            let place = Line::BEFORE + frame + tap * dilation - dilation;
            line.values[input * line.stride + place]
        };
        let weight = |tap: usize, input: usize| weights[(tap * HIDDEN + HIDDEN - 1) * HIDDEN + input];
        let sum: f32 = (0..3)
            .flat_map(|tap| (0..HIDDEN).map(move |input| (tap, input)))
            .map(|(tap, input)| weight(tap, input) * at(input, tap))
            .sum();
        at(HIDDEN - 1, 1) + (bias + sum).max(0.0)
    }

    #[test]
    fn frames_worked_out_together_are_those_of_the_definition() {
        let mut state = 9;
        let weights: Vec<f32> = (0..3 * HIDDEN * HIDDEN)
            .map(|_| 0.1 * noise(&mut state))
            .collect();
        let bias: Vec<f32> = (0..HIDDEN).map(|_| noise(&mut state)).collect();
        for dilation in [1, 2, 4, 8, 16, 32] {
            for (frames, columns) in [(1, 0..1), (150, 0..150), (150, 37..75), (200, 3..200)] {
                let mut line = Line::new(frames);
                for row in line.rows(0..frames) {
                    row.iter_mut().for_each(|x| *x = noise(&mut state));
                }
                let (mut room, mut made) = (Vec::new(), Line::new(frames));
                Step::new(dilation, &weights, bias.clone()).run(&line, columns.clone(), &mut room, &mut made);
                let last = &made.values[(HIDDEN - 1) * made.stride..];
                for (place, found) in last.iter().enumerate() {
                    let frame = place.wrapping_sub(Line::BEFORE);
                    let expected = if columns.contains(&frame) {
                        by_definition(&weights, bias[HIDDEN - 1], &line, dilation, frame)
                    } else {
                        0.0
                    };
                    let off = (found - expected).abs();
                    assert!(
                        off < 1e-4,
                        "{dilation}, {columns:?}, {frame}: {found}, {expected}"
                    );
                }
            }
        }
    }
}
