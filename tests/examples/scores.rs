//! Writes studies of invented playing and their scores, for the outside checks.
//!
//!     scores FOLDER COUNT SEED
//!
//! Every study has a folder `study-001` and so on with `hits.tsv`, `study.json`, and the score in three layouts:
//! `hands-feet.musicxml`, `one.musicxml`, `figure-solo.musicxml`, `recording.mid` and `straight.mid`.

use std::error::Error;
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;

use overbar::cycles::Cycles;
use overbar::grid::{Grid, Meter, Placed, Swing, UnevenBeat};
use overbar::names::{Layer, Limb, Mark, Voice};
use overbar::notation::{midi, musicxml, score::Score};
use overbar::options::{Options, ScoreLayout, ScoreOptions, ScoreTempo};
use overbar::study::{self, RecordingFacts, Stroke, Study, corrections};
use overbar::units::{Bpm, Decibels, Millis, Seconds, Steps};
use overbar::voices::Hit;
use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

const METERS: [[u32; 2]; 8] = [[4, 4], [3, 4], [5, 4], [6, 8], [12, 8], [7, 8], [2, 2], [5, 8]];
const STEPS: [u32; 8] = [1, 2, 3, 4, 5, 6, 8, 12];

/// A grid whose tempo wanders, with a pick-up and beats of their own division now and then.
fn grid(dice: &mut ChaCha8Rng) -> Grid {
    let meter = Meter::from(*METERS.choose(dice).unwrap_or(&[4, 4]));
    let bars = dice.random_range(2..10u32);
    let tempo = dice.random_range(50.0..180.0);
    let first = dice.random_range(0..meter.beats_per_bar());
    let count = bars * meter.beats_per_bar() + first + 1;
    let mut time = dice.random_range(0.0..2.5);
    let beats: Vec<Seconds> = (0..count)
        .map(|_| {
            let now = Seconds(time);
            time += 60.0 / (tempo * dice.random_range(0.97..1.03));
            now
        })
        .collect();
    let steps = *STEPS.choose(dice).unwrap_or(&4);
    let mut uneven = Vec::new();
    for beat in 0..beats.len().saturating_sub(1) {
        if dice.random_bool(0.08) {
            let own = *[3u32, 5, 6, 7].choose(dice).unwrap_or(&3);
            if !steps.is_multiple_of(own) {
                uneven.push(UnevenBeat { beat, steps: own });
            }
        }
    }
    let swings = matches!(steps, 2 | 4) && meter.beats_per_bar() == meter.count && dice.random_bool(0.2);
    Grid {
        tempo: Bpm(tempo),
        meter,
        steps_per_beat: steps,
        beats,
        first_downbeat: first as usize,
        swing: swings.then_some(Swing {
            ratio: 1.6,
            spread: 0.1,
        }),
        uneven,
        sure: 0.9,
        ..Grid::none()
    }
}

/// Strokes on steps, a few milliseconds beside them.
fn strokes(dice: &mut ChaCha8Rng, grid: &Grid) -> Vec<Stroke> {
    let density = dice.random_range(0.15..0.8);
    let last = grid.beats.len().saturating_sub(1);
    let mut all = Vec::new();
    for beat in 0..last {
        let own = grid
            .uneven
            .iter()
            .find(|uneven| uneven.beat == beat)
            .map(|uneven| uneven.steps);
        let (Some(from), Some(to)) = (grid.beats.get(beat), grid.beats.get(beat + 1)) else {
            continue;
        };
        let index = beat as i64 - grid.first_downbeat as i64;
        for step in 0..own.unwrap_or(grid.steps_per_beat) {
            if !dice.random_bool(density) {
                continue;
            }
            let (step, settled) = match own {
                Some(own) => {
                    let at = *from + (*to - *from) * (f64::from(step) / f64::from(own));
                    let near = f64::from(step) / f64::from(own) * f64::from(grid.steps_per_beat);
                    (index * i64::from(grid.steps_per_beat) + near.round() as i64, at)
                }
                None => {
                    let step = index * i64::from(grid.steps_per_beat) + i64::from(step);
                    (step, grid.time_of(Steps(step)).unwrap_or_default())
                }
            };
            chord(dice, grid, step, settled, &mut all);
        }
    }
    all.sort_by(|a, b| a.hit.time.0.total_cmp(&b.hit.time.0));
    all
}

/// One to three voices struck together.
fn chord(dice: &mut ChaCha8Rng, grid: &Grid, step: i64, settled: Seconds, all: &mut Vec<Stroke>) {
    let count = dice.random_range(1..=3);
    let mut voices: Vec<Voice> = Voice::ALL.choose_multiple(dice, count).copied().collect();
    voices.sort_unstable();
    let late = dice.random_range(-0.004..0.004);
    for voice in voices {
        let mark = if dice.random_bool(0.3) {
            Mark::ALL.choose(dice).copied()
        } else {
            None
        };
        let grace = match mark {
            Some(Mark::Flam) => Some(Millis(25.0)),
            Some(Mark::Drag) => Some(Millis(60.0)),
            _ => None,
        };
        let time = Seconds((settled.0 + late).max(0.0));
        all.push(Stroke {
            hit: Hit {
                time,
                voice,
                level: Decibels(dice.random_range(-30.0..0.0)),
                mark,
                grace,
                sure: 0.9,
            },
            step: Some(Steps(step)),
            place: Some(grid.place_of(Steps(step))),
            late: Some((time - settled).to_millis()),
            limb: Limb::ALL.choose(dice).copied(),
            layer: if dice.random_bool(0.5) {
                Some(Layer::Ostinato)
            } else {
                Some(Layer::Solo)
            },
        });
    }
}

fn invented(dice: &mut ChaCha8Rng, number: usize) -> Study {
    let grid = grid(dice);
    let strokes = strokes(dice, &grid);
    let seconds = grid.beats.last().copied().unwrap_or_default() + Seconds(4.0);
    let facts = RecordingFacts {
        file: format!("invented <{number}> & so on.wav"),
        sha256: "0".repeat(64),
        seconds,
        sample_rate: 44_100,
        channels: 2,
    };
    let hits: Vec<Hit> = strokes.iter().map(|stroke| stroke.hit).collect();
    let placed: Vec<Placed> = strokes
        .iter()
        .filter_map(|s| {
            Some(Placed {
                hit: s.hit,
                step: s.step?,
                late: s.late?,
            })
        })
        .collect();
    let cycles = Cycles {
        layer: vec![None; placed.len()],
        ..Cycles::default()
    };
    let mut study = Study::new(
        facts,
        Options::default(),
        &hits,
        grid,
        &placed,
        cycles,
        Vec::new(),
    );
    study.strokes = strokes;
    study
}

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [folder, count, seed] = args.as_slice() else {
        return Err("usage: scores FOLDER COUNT SEED".into());
    };
    let mut dice = ChaCha8Rng::seed_from_u64(seed.parse()?);
    for number in 1..=count.parse::<usize>()? {
        let study = invented(&mut dice, number);
        let own = Path::new(folder).join(format!("study-{number:03}"));
        fs::create_dir_all(&own)?;
        study::write(&own, &study, &corrections::load(&own)?)?;
        // As every file is made: from what the folder says.
        let study = study::read(&own)?;
        for (name, layout) in [
            ("hands-feet", ScoreLayout::HandsFeet),
            ("one", ScoreLayout::OneVoice),
            ("figure-solo", ScoreLayout::FigureSolo),
        ] {
            let score = Score::of(&study, layout);
            let mut file = BufWriter::new(File::create(own.join(format!("{name}.musicxml")))?);
            musicxml::write(&study, &score, ScoreTempo::Recording, &mut file)?;
            file.flush()?;
        }
        let score = Score::of(&study, ScoreLayout::HandsFeet);
        for (name, tempo) in [
            ("recording", ScoreTempo::Recording),
            ("straight", ScoreTempo::Straight),
        ] {
            let options = ScoreOptions {
                tempo,
                ..ScoreOptions::default()
            };
            fs::write(
                own.join(format!("{name}.mid")),
                midi::write(&study, &score, &options),
            )?;
        }
    }
    Ok(())
}
