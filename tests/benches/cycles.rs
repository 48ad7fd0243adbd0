//! How long the search for figures takes on solos of up to an hour, and how that grows.
//!
//!     cargo bench --bench cycles
//!
//! Invented: eight voices at random, two of which play a figure of seven steps through the middle half. Each figure is
//! the median of three runs; the last column is the time over n log n, the first row being 1.

use std::error::Error;
use std::hint::black_box;
use std::io::{self, Write};
use std::time::Instant;

use overbar::cycles;
use overbar::grid::{Grid, Placed};
use overbar::names::Voice;
use overbar::options::CycleOptions;
use overbar::units::{Bpm, Decibels, Millis, Seconds, Steps};
use overbar::voices::Hit;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

const FREE: [Voice; 6] = [
    Voice::Kick,
    Voice::Snare,
    Voice::TomHigh,
    Voice::TomFloor,
    Voice::HatClosed,
    Voice::Crash,
];
const FIGURE: [(i64, Voice); 4] = [
    (0, Voice::RideBell),
    (2, Voice::HatFoot),
    (3, Voice::RideBell),
    (5, Voice::HatFoot),
];

fn solo(steps: i64) -> (Vec<Placed>, Grid) {
    let mut random = ChaCha8Rng::seed_from_u64(steps as u64);
    let beat = Bpm(120.0).beat();
    let grid = Grid {
        tempo: Bpm(120.0),
        beats: (0..steps / 4 + 2).map(|b| Seconds(b as f64 * beat.0)).collect(),
        ..Grid::none()
    };
    let place = |step: i64, voice: Voice| Placed {
        hit: Hit {
            time: grid.time_of(Steps(step)).unwrap_or_default(),
            voice,
            level: Decibels(-6.0),
            mark: None,
            grace: None,
            sure: 1.0,
        },
        step: Steps(step),
        late: Millis(0.0),
    };
    let mut placed = Vec::new();
    for step in 0..steps {
        let figure = FIGURE.iter().filter(|(phase, _)| step % 7 == *phase);
        if (steps / 4..3 * steps / 4).contains(&step) {
            placed.extend(figure.map(|(_, voice)| place(step, *voice)));
        }
        let free = FREE.iter().filter(|_| random.random_bool(0.2));
        placed.extend(free.map(|voice| place(step, *voice)).collect::<Vec<_>>());
    }
    (placed, grid)
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut first = None;
    for steps in [5_000i64, 10_000, 20_000, 40_000] {
        let (placed, grid) = solo(steps);
        let mut runs: Vec<f64> = (0..3)
            .map(|_| {
                let start = Instant::now();
                black_box(cycles::find(&placed, &grid, &CycleOptions::default()));
                start.elapsed().as_secs_f64()
            })
            .collect();
        runs.sort_by(f64::total_cmp);
        let per = runs[1] / (steps as f64 * (steps as f64).ln());
        let growth = per / *first.get_or_insert(per);
        writeln!(
            io::stdout(),
            "{steps:>6} steps {:>8.2} s   {growth:.2} of n log n",
            runs[1]
        )?;
    }
    Ok(())
}
