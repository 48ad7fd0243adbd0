//! Drums with heads: kicks, snares, toms, and the stick across the rim.
//!
//! A head rings in the modes of a round membrane, whose frequencies stand as the zeros of Bessel functions
//! **[=]**: 1, 1.59, 2.14, 2.30, 2.65, 2.92. Frequencies and ringing times **[M]** from the trade's table of sounds:
//! kick body 40 to 80 Hz, click 2.5 to 4 kHz; snare body 150 to 250 Hz, wires 2 to 10 kHz; second snare 250 to
//! 400 Hz, brighter and shorter; rack toms 95 to 260 Hz; floor toms 60 to 120 Hz.

use super::recipe::{Mode, Noise, Recipe};

/// A round membrane's frequencies over its lowest, with the level and the share of the ringing time of each **[M]**.
const MEMBRANE: [(f64, f64, f64); 6] = [
    (1.0, 1.0, 1.0),
    (1.594, 0.5, 0.6),
    (2.136, 0.28, 0.4),
    (2.296, 0.2, 0.35),
    (2.653, 0.14, 0.3),
    (2.918, 0.1, 0.25),
];

fn head(hz: f64, ring: f64, bend: f64, settle: f64) -> Vec<Mode> {
    let mode = |(ratio, level, share): &(f64, f64, f64)| Mode {
        hz: hz * ratio,
        level: *level,
        ring: ring * share,
        bend,
        settle,
    };
    MEMBRANE.iter().map(mode).collect()
}

/// The snare's wires buzz faintly along with every other drum.
const SYMPATHY: Noise = Noise {
    low: 2000.0,
    high: 8000.0,
    level: 0.006,
    rise: 0.005,
    ring: 0.25,
};

/// A kick with its lowest mode at `hz`: a head that starts an octave and more above it, and the beater's click.
pub(super) fn kick(hz: f64, ring: f64) -> Recipe {
    let body = |ratio: f64, level: f64, share: f64, bend: f64| Mode {
        hz: hz * ratio,
        level,
        ring: ring * share,
        bend,
        settle: 0.009,
    };
    Recipe {
        modes: vec![
            body(1.0, 1.0, 1.0, 1.9),
            body(2.9, 0.3, 0.3, 0.5),
            Mode::steady(2900.0, 0.7, 0.02),
        ],
        noises: vec![
            Noise::burst(2500.0, 4000.0, 1.5, 0.016),
            Noise::burst(250.0, 1200.0, 0.3, 0.05),
            SYMPATHY,
        ],
    }
}

/// A snare with its head at `hz` and wires that rattle in a band.
pub(super) fn snare(hz: f64, ring: f64, wires: Noise) -> Recipe {
    let mut modes = head(hz, ring, 0.06, 0.015);
    // The two heads and the air between them part the lowest mode in two.
    modes.push(Mode::steady(hz * 1.78, 0.55, ring * 0.7));
    Recipe {
        modes,
        noises: vec![
            wires,
            Noise::burst(wires.low * 1.3, wires.high, 0.9, 0.018),
            Noise::burst(700.0, 3000.0, 0.25, 0.05),
        ],
    }
}

/// A tom with its lowest mode at `hz`; the stick's attack is the duller the lower the drum.
pub(super) fn tom(hz: f64, ring: f64) -> Recipe {
    let attack = 2500.0 + 8.0 * hz;
    Recipe {
        modes: head(hz, ring, 0.14, 0.045),
        noises: vec![
            Noise::burst(attack, attack * 1.8, 0.9, 0.02),
            Noise::burst(400.0, 2000.0, 0.22, 0.05),
            SYMPATHY,
        ],
    }
}

/// The stick laid across the rim: wood on metal, a little of the drum below.
pub(super) fn cross_stick(hz: f64, ring: f64) -> Recipe {
    Recipe {
        modes: vec![
            Mode::steady(hz, 0.12, ring * 3.0),
            Mode::steady(430.0, 0.3, ring),
            Mode::steady(1050.0, 0.8, ring * 1.2),
            Mode::steady(1720.0, 1.0, ring),
            Mode::steady(2640.0, 0.6, ring * 0.7),
            Mode::steady(4150.0, 0.4, ring * 0.4),
        ],
        noises: vec![Noise::burst(2000.0, 9000.0, 0.4, 0.012)],
    }
}
