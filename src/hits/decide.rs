//! Evidence -> the probability that something was struck.
//!
//! A small network of two hidden layers. Its weights were fitted by `tests/fitting/hits.py` to performances rendered
//! from played parts (Groove MIDI Dataset, CC BY 4.0) and single recorded strokes; no annotated recording was used.

/// Units of the hidden layers.
const HIDDEN: [usize; 2] = [32, 16];

/// The weights as text: layer by layer, one row a unit, the unit's bias first.
const TABLE: &str = include_str!("weights.txt");

/// The fitted network.
pub(super) struct Network {
    layers: Vec<Vec<Vec<f32>>>,
}

impl Network {
    /// The network that is built in.
    pub(super) fn built_in() -> Network {
        let mut rows = TABLE.lines().filter(|line| !line.starts_with('#')).map(|line| {
            line.split_ascii_whitespace()
                .filter_map(|w| w.parse().ok())
                .collect()
        });
        let layers = [HIDDEN[0], HIDDEN[1], 1]
            .iter()
            .map(|units| rows.by_ref().take(*units).collect())
            .collect();
        Network { layers }
    }

    /// The probability that a candidate with this evidence is a stroke.
    pub(super) fn probability(&self, evidence: &[f32]) -> f64 {
        let mut values = evidence.to_vec();
        let last = self.layers.len().saturating_sub(1);
        for (number, layer) in self.layers.iter().enumerate() {
            values = layer
                .iter()
                .map(|row| {
                    let (bias, weights) = row.split_first().unwrap_or((&0.0, &[]));
                    let sum: f32 = weights.iter().zip(&values).map(|(w, v)| w * v).sum();
                    if number < last {
                        (bias + sum).max(0.0)
                    } else {
                        bias + sum
                    }
                })
                .collect();
        }
        let log_odds = f64::from(values.first().copied().unwrap_or(f32::MIN));
        1.0 / (1.0 + (-log_odds).exp())
    }
}

#[cfg(test)]
mod tests {
    use super::super::evidence::EVIDENCE;
    use super::*;

    #[test]
    fn the_table_of_weights_has_the_shape_of_the_network() {
        let shapes: Vec<(usize, Vec<usize>)> = Network::built_in()
            .layers
            .iter()
            .map(|layer| (layer.len(), layer.iter().map(Vec::len).collect()))
            .collect();
        let expected = [(HIDDEN[0], EVIDENCE), (HIDDEN[1], HIDDEN[0]), (1, HIDDEN[1])]
            .map(|(units, inputs)| (units, vec![inputs + 1; units]));
        assert_eq!(shapes, expected);
    }
}
