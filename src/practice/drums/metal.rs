//! Cymbals, hats and the cowbell.
//!
//! A cymbal rings in very many modes without order, the high ones shorter than the low ones, and its highest part
//! builds up after the blow as the low modes feed it **[P: N. Fletcher & T. Rossing, The Physics of Musical
//! Instruments, 2nd ed., Springer, 1998, ch. 20]**. Here: some tens of modes that belong to the one cymbal, and noise
//! in bands with rises of their own. Frequencies and ringing times **[M]** from the trade's table of sounds.

use super::dice::Dice;
use super::recipe::{Mode, Noise, Recipe};

/// The frequencies at which one cymbal rings, Hz: evenly strewn by pitch, none in order.
pub(super) fn partials(count: usize, low: f64, high: f64, dice: &mut Dice) -> Vec<f64> {
    let octaves = (high / low).log2() / count.max(1) as f64;
    (0..count)
        .map(|i| low * 2f64.powf(octaves * (i as f64 + 0.5 + 0.45 * dice.even())))
        .collect()
}

/// How strongly the modes of a cymbal are excited: loudest about `centre` Hz, 1/e at `width` octaves from it; those
/// at 1 kHz ring for `ring` seconds.
struct Shape {
    centre: f64,
    width: f64,
    ring: f64,
}

/// The modes at `partials`, together of level 1; where the stick meets the cymbal favours some of them.
fn modes(partials: &[f64], shape: &Shape, dice: &mut Dice) -> Vec<Mode> {
    let mut modes: Vec<Mode> = partials
        .iter()
        .map(|&hz| {
            let off = (hz / shape.centre).log2() / shape.width;
            let here = 10f64.powf(0.25 * dice.even());
            Mode::steady(hz, (-off * off).exp() * here, shape.ring * (1000.0 / hz).sqrt())
        })
        .collect();
    let sum: f64 = modes.iter().map(|m| m.level * m.level).sum();
    let whole = (2.0 / sum.max(1e-12)).sqrt();
    modes.iter_mut().for_each(|m| m.level *= whole);
    modes
}

const fn wash(low: f64, high: f64, level: f64, rise: f64, ring: f64) -> Noise {
    Noise {
        low,
        high,
        level,
        rise,
        ring,
    }
}

/// Hats struck closed: short, above 5 kHz.
pub(super) fn hat_closed(partials: &[f64], ring: f64, dice: &mut Dice) -> Recipe {
    let shape = Shape {
        centre: 7500.0,
        width: 1.3,
        ring: ring * 0.4,
    };
    Recipe {
        modes: modes(partials, &shape, dice),
        noises: vec![
            wash(5500.0, 16_000.0, 0.9, 0.0, ring * 0.13),
            Noise::burst(900.0, 6000.0, 0.25, 0.02),
        ],
    }
}

/// Hats struck open: the plates sizzle against each other.
pub(super) fn hat_open(partials: &[f64], ring: f64, dice: &mut Dice) -> Recipe {
    let shape = Shape {
        centre: 6000.0,
        width: 1.5,
        ring: ring * 3.2,
    };
    Recipe {
        modes: modes(partials, &shape, dice),
        noises: vec![
            wash(4500.0, 15_000.0, 0.9, 0.003, ring * 1.1),
            Noise::burst(900.0, 9000.0, 0.6, 0.015),
        ],
    }
}

/// Hats closed by the foot: softer, duller, as short.
pub(super) fn hat_foot(partials: &[f64], ring: f64, dice: &mut Dice) -> Recipe {
    let shape = Shape {
        centre: 5000.0,
        width: 1.2,
        ring: ring * 0.25,
    };
    Recipe {
        modes: modes(partials, &shape, dice),
        noises: vec![
            wash(4000.0, 13_000.0, 0.9, 0.001, ring * 0.11),
            Noise::burst(300.0, 1200.0, 0.25, 0.04),
        ],
    }
}

/// The ride on its bow: a ping between 2 and 8 kHz over a long low wash.
pub(super) fn ride(partials: &[f64], ring: f64, dice: &mut Dice) -> Recipe {
    let shape = Shape {
        centre: 3600.0,
        width: 1.5,
        ring: ring * 6.5,
    };
    Recipe {
        modes: modes(partials, &shape, dice),
        noises: vec![
            Noise::burst(2500.0, 9000.0, 2.0, 0.025),
            wash(3000.0, 12_000.0, 0.3, 0.008, ring * 1.4),
        ],
    }
}

/// The ride on its bell: a few strong modes between 1 and 5 kHz, and a little of the bow.
pub(super) fn ride_bell(bell: &[f64], bow: &[f64], ring: f64, dice: &mut Dice) -> Recipe {
    let shape = Shape {
        centre: 2300.0,
        width: 1.3,
        ring: ring * 4.6,
    };
    let struck = Recipe {
        modes: modes(bell, &shape, dice),
        noises: vec![Noise::burst(2500.0, 9000.0, 1.2, 0.015)],
    };
    struck.with(ride(bow, ring, dice), 0.25)
}

/// A crash: a wash from 0.3 to 12 kHz whose highs bloom.
pub(super) fn crash(partials: &[f64], ring: f64, dice: &mut Dice) -> Recipe {
    let shape = Shape {
        centre: 1800.0,
        width: 1.9,
        ring: ring * 5.0,
    };
    Recipe {
        modes: modes(partials, &shape, dice),
        noises: vec![
            Noise::burst(1500.0, 11_000.0, 1.7, 0.03),
            wash(300.0, 2000.0, 0.4, 0.004, ring * 1.6),
            wash(2000.0, 6000.0, 0.8, 0.010, ring * 2.2),
            wash(6000.0, 12_000.0, 0.7, 0.025, ring * 1.8),
        ],
    }
}

/// A splash: a small crash, quick and short.
pub(super) fn splash(partials: &[f64], ring: f64, dice: &mut Dice) -> Recipe {
    let shape = Shape {
        centre: 4200.0,
        width: 1.4,
        ring: ring * 2.4,
    };
    Recipe {
        modes: modes(partials, &shape, dice),
        noises: vec![
            Noise::burst(2500.0, 12_000.0, 1.0, 0.025),
            wash(3000.0, 13_000.0, 0.8, 0.004, ring * 0.8),
        ],
    }
}

/// A china: rough, its turned-up edge rattling in the middle of the spectrum.
pub(super) fn china(partials: &[f64], ring: f64, dice: &mut Dice) -> Recipe {
    let shape = Shape {
        centre: 1300.0,
        width: 1.5,
        ring: ring * 3.0,
    };
    Recipe {
        modes: modes(partials, &shape, dice),
        noises: vec![
            Noise::burst(800.0, 9000.0, 1.1, 0.03),
            wash(700.0, 4000.0, 1.0, 0.003, ring * 1.5),
            wash(4000.0, 9000.0, 0.5, 0.012, ring * 1.2),
        ],
    }
}

/// A cowbell: two tones that fit nothing, and their overtones **[M]**.
pub(super) fn cowbell(tuning: f64, ring: f64) -> Recipe {
    let tone = |hz: f64, level: f64, share: f64| Mode::steady(hz * tuning, level, ring * 0.5 * share);
    Recipe {
        modes: vec![
            tone(562.0, 0.8, 1.0),
            tone(845.0, 1.0, 1.0),
            tone(1690.0, 0.5, 0.6),
            tone(2310.0, 0.4, 0.5),
            tone(3380.0, 0.3, 0.35),
            tone(4600.0, 0.2, 0.3),
        ],
        noises: vec![Noise::burst(2000.0, 8000.0, 0.4, 0.012)],
    }
}

/// Something else that is struck: a block of wood.
pub(super) fn block(tuning: f64, ring: f64) -> Recipe {
    Recipe {
        modes: vec![
            Mode::steady(780.0 * tuning, 1.0, ring * 0.12),
            Mode::steady(2050.0 * tuning, 0.5, ring * 0.07),
            Mode::steady(3900.0 * tuning, 0.2, ring * 0.04),
        ],
        noises: vec![Noise::burst(1500.0, 6000.0, 0.3, 0.01)],
    }
}
