//! Bars and figures settle each other: a figure that crosses the bar comes back in bars of its own, and hits that are
//! heard with it can be read in those.
//!
//! A figure of five sixteenths over 4/4 is home every five beats, so a listener who does not know of the figure hears
//! 5/4. Once it is found, it is taken out and the bars are read from what is left.

use super::{Cycle, Cycles, Verdict, find};
use crate::grid::{Grid, Meter, Placed, bars_anew, place};
use crate::options::{CycleOptions, GridOptions};
use crate::voices::Hit;

/// Beats in the bars in which a figure is looked for [M]; in one of two neighbours every figure crosses.
const BARS: [u32; 4] = [4, 3, 5, 7];

/// The grid with bars that owe nothing to a figure shorter than they are, the hits on their steps, and the figures.
/// A hinted meter or beat one is left alone.
pub fn settle(
    hits: &[Hit],
    grid: Grid,
    hints: &GridOptions,
    options: &CycleOptions,
) -> (Grid, Vec<Placed>, Cycles) {
    let settled = |grid: Grid| {
        let placed = place(hits, &grid);
        let cycles = find(&placed, &grid, options);
        (grid, placed, cycles)
    };
    let first = settled(grid);
    let hinted = hints.meter.is_some() || hints.downbeat.is_some();
    if hinted || !first.2.found.iter().any(|cycle| divides_the_bar(cycle, &first.0)) {
        return first;
    }
    let mut most = (0.0, Vec::new(), None);
    for count in BARS {
        let meter = Meter { count, unit: 4 };
        // The first one's own bars are tried already.
        let other = (meter != first.0.meter).then(|| {
            settled(Grid {
                meter,
                ..first.0.clone()
            })
        });
        let (_, placed, cycles) = other.as_ref().unwrap_or(&first);
        let crossing = |cycle: &&Cycle| cycle.crosses_bar && cycle.grade == Verdict::Certain;
        let bits = cycles.found.iter().filter(crossing).map(|c| c.bits.0).sum();
        if bits > most.0 {
            let free = placed
                .iter()
                .zip(&cycles.layer)
                .filter(|(_, figure)| figure.is_none());
            let free = free.map(|(p, _)| p.hit).collect();
            most = (bits, free, cycles.found.first().map(|c| c.start.time));
        }
    }
    let anew = bars_anew(first.0.clone(), &most.1, most.2);
    if anew == first.0 { first } else { settled(anew) }
}

/// Whether several cycles of a figure that is beyond doubt make one bar: it may be what makes the bar be heard.
fn divides_the_bar(cycle: &Cycle, grid: &Grid) -> bool {
    let (length, bar) = (cycle.length_steps, grid.steps_per_bar());
    cycle.grade == Verdict::Certain && length < bar && bar.is_multiple_of(length.max(1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::names::Voice;
    use crate::units::{Bpm, Decibels, Seconds};
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    const BEAT: f64 = 0.5;
    const BEATS: usize = 64;

    /// Sixteenths in 4/4: a figure of `length` steps on the pedal hat and a second snare, and a free line of toms whose
    /// bars begin with a loud kick, half of them with a crash.
    fn solo(length: usize, seed: u64) -> Vec<Hit> {
        let mut dice = ChaCha8Rng::seed_from_u64(seed);
        let mut hits = Vec::new();
        let mut strike = |step: usize, voice: Voice, level: f64, late: f64| {
            hits.push(Hit {
                time: Seconds(0.4 + step as f64 * BEAT / 4.0 + 0.003 * late),
                voice,
                level: Decibels(level),
                mark: None,
                grace: None,
                sure: 1.0,
            });
        };
        let figure: Vec<bool> = (0..length).map(|i| i % 3 != 1).collect();
        for step in 0..BEATS * 4 {
            let late = dice.random_range(-1.0..1.0);
            strike(
                step,
                if figure[step % length] {
                    Voice::HatFoot
                } else {
                    Voice::Snare2
                },
                -14.0,
                late,
            );
            if step % 16 == 0 {
                let crash = dice.random::<bool>();
                strike(step, if crash { Voice::Crash } else { Voice::Kick }, -3.0, late);
            } else if dice.random::<f64>() < 0.5 {
                let free = [Voice::TomHigh, Voice::TomFloor, Voice::Kick];
                strike(step, free[dice.random_range(0..3)], -11.0, late);
            }
        }
        hits
    }

    fn in_bars_of(count: u32) -> Grid {
        Grid {
            tempo: Bpm(60.0 / BEAT),
            meter: Meter { count, unit: 4 },
            steps_per_beat: 4,
            beats: (0..=BEATS).map(|i| Seconds(0.4 + i as f64 * BEAT)).collect(),
            sure: 0.9,
            ..Grid::none()
        }
    }

    #[test]
    fn bars_that_a_short_figure_feigned_are_read_anew() {
        for seed in 0..3 {
            for (length, feigned) in [(5, 5), (10, 5), (3, 3), (7, 7)] {
                let (grid, _, cycles) = settle(
                    &solo(length, seed),
                    in_bars_of(feigned),
                    &GridOptions::default(),
                    &CycleOptions::default(),
                );
                let found = cycles
                    .found
                    .first()
                    .map(|c| (c.length_steps as usize, c.crosses_bar));
                assert_eq!(
                    (grid.meter.count, grid.first_downbeat),
                    (4, 0),
                    "{length}, {seed}"
                );
                assert_eq!(found, Some((length, true)), "{length}, {seed}");
            }
        }
    }

    #[test]
    fn where_figures_are_all_there_is_bars_are_usual_ones() {
        // Two figures at once, of ten and twelve sixteenths, and no free line.
        let hits: Vec<Hit> = (0..BEATS * 4)
            .flat_map(|step| {
                let drum = |on: bool, a: Voice, b: Voice| if on { a } else { b };
                [
                    drum(step % 10 % 3 != 1, Voice::HatFoot, Voice::Snare2),
                    drum([0, 2, 5, 7, 9].contains(&(step % 12)), Voice::Snare, Voice::Kick),
                ]
                .map(|voice| Hit {
                    time: Seconds(0.4 + step as f64 * BEAT / 4.0),
                    voice,
                    level: Decibels(-9.0),
                    mark: None,
                    grace: None,
                    sure: 1.0,
                })
            })
            .collect();
        let (grid, _, cycles) = settle(
            &hits,
            in_bars_of(5),
            &GridOptions::default(),
            &CycleOptions::default(),
        );
        assert_eq!((grid.meter, grid.first_downbeat), (Meter::COMMON, 0));
        assert_eq!(grid.rivals.first().map(|r| r.meter.count), Some(5));
        assert_eq!(cycles.found.iter().filter(|c| c.crosses_bar).count(), 2);
    }

    #[test]
    fn bars_that_hold_without_the_figure_stay() {
        for seed in 0..3 {
            for length in [5, 7, 8, 11] {
                let (grid, ..) = settle(
                    &solo(length, seed),
                    in_bars_of(4),
                    &GridOptions::default(),
                    &CycleOptions::default(),
                );
                assert_eq!(grid, in_bars_of(4), "{length}, {seed}");
            }
        }
    }

    #[test]
    fn a_hinted_meter_stays() {
        let hints = GridOptions {
            meter: Some(Meter { count: 5, unit: 4 }),
            ..GridOptions::default()
        };
        let (grid, ..) = settle(&solo(5, 1), in_bars_of(5), &hints, &CycleOptions::default());
        assert_eq!(grid, in_bars_of(5));
    }
}
