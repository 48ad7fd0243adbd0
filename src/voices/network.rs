//! The small network that hears classes in rows of features: read from its bytes, one pass a row.
//!
//! In: a row of [`FEATURES`](super::features::FEATURES) numbers. Out: one logit a class (0 is as likely as not).
//! Layers of weighted sums, negative results set to 0 between them (a multilayer perceptron: Rumelhart, Hinton &
//! Williams, Nature 323, 1986). Weights are 16-bit numbers with one unit a layer: two bytes each are exact enough.

/// One layer: weighted sums of what comes in.
#[derive(Debug, Clone, PartialEq)]
struct Layer {
    inputs: usize,
    /// What one unit of `weights` is worth.
    unit: f32,
    /// Output by output, `inputs` numbers each.
    weights: Vec<i16>,
    offsets: Vec<f32>,
}

/// The layers, first to last.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Network {
    layers: Vec<Layer>,
}

impl Network {
    /// Reads a network: number of sizes and the sizes (u32, inputs first, outputs last), then a layer at a time its
    /// unit (f32), weights (i16) and offsets (f32), all little-endian. `None` where bytes are missing or left over.
    pub(super) fn read(mut bytes: &[u8]) -> Option<Self> {
        let count = u32::from_le_bytes(take(&mut bytes)?);
        let mut sizes = Vec::new();
        for _ in 0..count {
            sizes.push(u32::from_le_bytes(take(&mut bytes)?) as usize);
        }
        let mut layers = Vec::new();
        for (&inputs, &outputs) in sizes.iter().zip(sizes.iter().skip(1)) {
            let unit = f32::from_le_bytes(take(&mut bytes)?);
            let (weights, rest) = bytes.split_at_checked(inputs.checked_mul(outputs)?.checked_mul(2)?)?;
            let (offsets, rest) = rest.split_at_checked(outputs.checked_mul(4)?)?;
            bytes = rest;
            layers.push(Layer {
                inputs,
                unit,
                weights: weights
                    .as_chunks()
                    .0
                    .iter()
                    .map(|b| i16::from_le_bytes(*b))
                    .collect(),
                offsets: offsets
                    .as_chunks()
                    .0
                    .iter()
                    .map(|b| f32::from_le_bytes(*b))
                    .collect(),
            });
        }
        (bytes.is_empty() && !layers.is_empty()).then_some(Network { layers })
    }

    /// How many numbers come in and go out.
    #[cfg(test)]
    pub(super) fn shape(&self) -> (usize, usize) {
        let first = self.layers.first().map_or(0, |layer| layer.inputs);
        (first, self.layers.last().map_or(0, |layer| layer.offsets.len()))
    }

    /// The logits for one row; numbers that the row lacks count as 0.
    pub(super) fn logits(&self, row: &[f32]) -> Vec<f32> {
        let mut values = row.to_vec();
        for (index, layer) in self.layers.iter().enumerate() {
            if index > 0 {
                values.iter_mut().for_each(|v| *v = v.max(0.0));
            }
            let sums = layer
                .weights
                .chunks_exact(layer.inputs.max(1))
                .zip(&layer.offsets);
            values = sums
                .map(|(weights, offset)| {
                    let products = weights.iter().zip(&values).map(|(w, v)| f32::from(*w) * v);
                    offset + layer.unit * products.sum::<f32>()
                })
                .collect();
        }
        values
    }
}

/// The next four bytes.
fn take(bytes: &mut &[u8]) -> Option<[u8; 4]> {
    let (four, rest) = bytes.split_first_chunk::<4>()?;
    *bytes = rest;
    Some(*four)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes_of(sizes: &[u32], layers: &[(f32, &[i16], &[f32])]) -> Vec<u8> {
        let mut bytes = (sizes.len() as u32).to_le_bytes().to_vec();
        sizes.iter().for_each(|s| bytes.extend(s.to_le_bytes()));
        for (unit, weights, offsets) in layers {
            bytes.extend(unit.to_le_bytes());
            weights.iter().for_each(|w| bytes.extend(w.to_le_bytes()));
            offsets.iter().for_each(|o| bytes.extend(o.to_le_bytes()));
        }
        bytes
    }

    #[test]
    fn a_network_of_two_layers_gives_what_is_reckoned_by_hand() {
        let bytes = bytes_of(
            &[2, 2, 1],
            &[(0.5, &[2, -4, -2, 4], &[1.0, 0.0]), (1.0, &[3, 1], &[-1.0])],
        );
        let network = Network::read(&bytes).unwrap();
        assert_eq!(network.shape(), (2, 1));
        // Hidden: 1 + x - 2y and -x + 2y, negatives set to 0; out: 3a + b - 1.
        assert_eq!(network.logits(&[2.0, 0.5]), [5.0]);
        assert_eq!(network.logits(&[0.0, 3.0]), [5.0]);
    }

    #[test]
    fn bytes_that_are_cut_short_or_left_over_are_no_network() {
        let bytes = bytes_of(&[1, 1], &[(1.0, &[1], &[0.0])]);
        assert!(Network::read(&bytes).is_some());
        for length in 0..bytes.len() {
            assert_eq!(Network::read(&bytes[..length]), None);
        }
        assert_eq!(Network::read(&[bytes, vec![0]].concat()), None);
    }
}
