//! Layers of weights times maps: many sums side by side, with the widest instructions that there are.
//!
//! A map is rows of columns; row `i` begins at `i * stride`, and behind the columns that are wanted it is filled up to whole
//! [`COLUMNS`], whose sums nobody looks at.

use pulp::{Arch, Simd, WithSimd};

/// Outputs and vectors of columns that are summed side by side: as many sums as the processor has room for at hand.
pub(super) const ROWS: usize = 5;
pub(super) const WIDE: usize = 2;

/// Columns that are worked out at once where vectors have sixteen numbers; elsewhere a part of them.
pub(super) const COLUMNS: usize = 16 * WIDE;

type Sums<S> = [[<S as Simd>::f32s; WIDE]; ROWS];

/// Weights of some outputs, [`ROWS`] of them together, input by input.
pub(super) struct Packed(Vec<f32>);

impl Packed {
    /// From weights that lie output by output.
    pub(super) fn new(weights: &[f32], inputs: usize) -> Packed {
        let outputs = weights.len() / inputs.max(1);
        let at = |output: usize, input: usize| weights.get(output * inputs + input).copied();
        let four = |first: usize, input: usize| {
            (first..first + ROWS).map(move |output| at(output, input).unwrap_or(0.0))
        };
        let blocks = (0..outputs).step_by(ROWS);
        Packed(
            blocks
                .flat_map(|first| (0..inputs).flat_map(move |input| four(first, input)))
                .collect(),
        )
    }

    /// The weights of each [`ROWS`] outputs.
    #[inline(always)]
    pub(super) fn blocks(&self, inputs: usize) -> std::slice::ChunksExact<'_, f32> {
        self.0.chunks_exact(ROWS * inputs)
    }
}

/// Weights of one tap or more, and a bias for each output.
pub(super) struct Layer {
    inputs: usize,
    taps: Vec<Packed>,
    bias: Vec<f32>,
}

impl Layer {
    /// From weights, outputs by inputs, those of one tap after those of the other.
    pub(super) fn new(weights: &[f32], bias: Vec<f32>, inputs: usize) -> Layer {
        Layer {
            inputs,
            taps: (weights.chunks_exact((bias.len() * inputs).max(1)))
                .map(|tap| Packed::new(tap, inputs))
                .collect(),
            bias,
        }
    }

    pub(super) fn outputs(&self) -> usize {
        self.bias.len()
    }
}

/// Adds weights times [`COLUMNS`] (or a part of them) of a map, from column `first` on, to some sums.
#[inline(always)]
pub(super) fn add<S: Simd>(
    simd: S,
    weights: &[f32],
    (map, stride): (&[f32], usize),
    first: usize,
    mut sums: Sums<S>,
) -> Sums<S> {
    let (weights, _) = weights.as_chunks::<ROWS>();
    for (weights, row) in weights.iter().zip(map.chunks_exact(stride)) {
        let row = row.get(first..first + width::<S>()).unwrap_or_default();
        let Some(row) = S::as_simd_f32s(row).0.first_chunk::<WIDE>() else {
            break;
        };
        for (sums, weight) in sums.iter_mut().zip(weights) {
            let weight = simd.splat_f32s(*weight);
            for (sum, x) in sums.iter_mut().zip(row) {
                *sum = simd.mul_add_e_f32s(weight, *x, *sum);
            }
        }
    }
    sums
}

/// How many columns [`add`] works out at once.
#[inline(always)]
pub(super) fn width<S: Simd>() -> usize {
    WIDE * S::F32_LANES
}

/// What a layer makes of a map.
pub(super) struct Made<'a> {
    pub(super) layer: &'a Layer,
    /// Columns between two taps.
    pub(super) dilation: usize,
    /// The map and its stride, the first column of what the first tap sees, and how many columns are wanted.
    pub(super) map: (&'a [f32], usize),
    pub(super) first: usize,
    pub(super) columns: usize,
}

impl Made<'_> {
    /// Hands what is made to `put`: output, first column, and sums of as many columns as there are from there on.
    #[inline(always)]
    pub(super) fn each<S: Simd>(&self, simd: S, mut put: impl FnMut(usize, usize, &[S::f32s; WIDE])) {
        let Layer { inputs, taps, bias } = self.layer;
        for first in (0..self.columns).step_by(width::<S>()) {
            for (block, bias) in bias.chunks(ROWS).enumerate() {
                let bias = |row: usize| simd.splat_f32s(bias.get(row).copied().unwrap_or(0.0));
                let mut sums: Sums<S> = [[bias(0); WIDE]; ROWS];
                for (row, sums) in sums.iter_mut().enumerate() {
                    *sums = [bias(row); WIDE];
                }
                for (tap, weights) in taps.iter().enumerate() {
                    let weights = weights.blocks(*inputs).nth(block).unwrap_or_default();
                    sums = add(
                        simd,
                        weights,
                        self.map,
                        self.first + first + tap * self.dilation,
                        sums,
                    );
                }
                for (row, sums) in sums.iter().enumerate() {
                    put(block * ROWS + row, first, sums);
                }
            }
        }
    }

    /// Raises rows of `out`, which lie `apart`, to what is made: what is below them is lost. Only for whole [`COLUMNS`].
    #[inline(always)]
    pub(super) fn raise<S: Simd>(&self, simd: S, out: &mut [f32], apart: usize) {
        let outputs = self.layer.outputs();
        self.each(
            simd,
            #[inline(always)]
            |output, first, sums| {
                let row = output * apart + first;
                let end = output * apart + self.columns;
                if output >= outputs {
                    return;
                }
                let row = out.get_mut(row..end).unwrap_or_default();
                for (to, sum) in S::as_mut_simd_f32s(row).0.iter_mut().zip(sums) {
                    *to = simd.max_f32s(*to, *sum);
                }
            },
        );
    }

    /// The rows that are made.
    pub(super) fn rows(self) -> Vec<f32> {
        let mut out = vec![0.0; self.layer.outputs() * self.columns];
        Arch::new().dispatch(Rows {
            made: self,
            out: &mut out,
        });
        out
    }
}

struct Rows<'a> {
    made: Made<'a>,
    out: &'a mut [f32],
}

impl WithSimd for Rows<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let columns = self.made.columns;
        let out = self.out;
        self.made.each(
            simd,
            #[inline(always)]
            |output, first, sums| {
                let row = out.get_mut(output * columns + first..(output + 1) * columns);
                let row = row.unwrap_or_default().chunks_mut(S::F32_LANES);
                row.zip(sums)
                    .for_each(|(to, sum)| simd.partial_store_f32s(to, *sum));
            },
        );
    }
}

/// `bias + taps of line`, an odd number of them `dilation` frames apart, for rows of `frames`; zeros outside.
pub(super) fn convolve(layer: &Layer, dilation: usize, line: &[f32], frames: usize) -> Vec<f32> {
    let reach = dilation * (layer.taps.len() / 2);
    let stride = frames.next_multiple_of(COLUMNS) + 2 * reach;
    let mut padded = vec![0.0; layer.inputs * stride];
    for (to, from) in padded
        .chunks_exact_mut(stride)
        .zip(line.chunks_exact(frames.max(1)))
    {
        to[reach..reach + frames].copy_from_slice(from);
    }
    let made = Made {
        layer,
        dilation,
        map: (&padded, stride),
        first: 0,
        columns: frames,
    };
    made.rows()
}
