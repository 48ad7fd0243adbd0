//! Weights of what is heard in a reading, in the order of its marks.

use super::reading::MARKS;

/// Log odds per unit of each mark.
pub(super) const WEIGHTS: [f64; MARKS] = [
    6.0, 0.0, -1.5, 0.0, 0.0, 0.0, 0.0, -0.5, -2.0, // fit, tempo, strokes per beat, thirds, fifths
    2.0, 0.0, 0.0, -0.5, // kick: on one, on the back beats, on others, on the half
    -1.5, 2.0, 0.0, -0.5, // snare
    0.0, 0.0, 0.0, 0.0, // tom
    0.5, 0.5, 0.5, 0.0, // hat
    0.0, 0.5, 0.0, 0.0, // foot
    0.5, 0.5, 0.5, 0.0, // ride
    1.0, 0.0, 0.0, 0.0, // crash
    0.0, 0.0, 0.0, 0.0, // other
    3.0, 1.0, 2.0, 1.0, 4.0, 0.0, 0.0, 0.3, // what tells bar from bar
    -2.0, -1.0, 0.5, -1.5, -2.0, -1.5, // bars of 2 to 7
];
