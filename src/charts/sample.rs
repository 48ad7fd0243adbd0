//! Invented studies for the tests: a figure over the bar on ride bell and kick under a freer line, with a seed.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::cycles::{Broken, Carrier, Cycle, FigureNote, Home, LengthTried, Moment, Round, Verdict, home};
use crate::grid::{Grid, Meter};
use crate::names::{Layer, Mark, Voice};
use crate::options::Options;
use crate::study::{RecordingFacts, Stroke, Study};
use crate::units::{Bits, Bpm, Decibels, Seconds, Steps};
use crate::voices::Hit;

/// What is played.
pub(crate) struct Score {
    pub(crate) bars: i64,
    pub(crate) meter: Meter,
    pub(crate) steps_per_beat: u32,
    /// Length of the figure; 0 is none.
    pub(crate) length: u32,
}

/// Ten steps over sixteen for twenty bars.
pub(crate) const TEN_OVER_SIXTEEN: Score = Score {
    bars: 20,
    meter: Meter::COMMON,
    steps_per_beat: 4,
    length: 10,
};

/// A study of nothing.
pub(crate) fn empty() -> Study {
    Study {
        recording: RecordingFacts {
            file: String::new(),
            sha256: String::new(),
            seconds: Seconds(0.0),
            sample_rate: 44_100,
            channels: 1,
        },
        options: Options::default(),
        strokes: Vec::new(),
        grid: Grid::none(),
        cycles: Vec::new(),
        open: None,
        lengths: Vec::new(),
        stickings: Default::default(),
        voices: Vec::new(),
        groups: Vec::new(),
        warnings: Vec::new(),
    }
}

/// A grid at about 116 bpm that wanders a little.
fn grid(score: &Score) -> Grid {
    let beats = score.bars * i64::from(score.meter.beats_per_bar()) + 1;
    let mut time = 0.42;
    let beats = (0..beats)
        .map(|beat| {
            let now = Seconds(time);
            time += 60.0 / (116.0 + 2.0 * (beat as f64 / 13.0).sin());
            now
        })
        .collect();
    Grid {
        tempo: Bpm(116.0),
        meter: score.meter,
        steps_per_beat: score.steps_per_beat,
        beats,
        sure: 0.95,
        ..Grid::none()
    }
}

/// Which steps of the figure strike what: ride bell on 1, 4, 7, 9; kick on 1, 6, 8.
fn figure(length: u32) -> Vec<FigureNote> {
    let bell = [1, 4, 7, 9, 12, 15];
    let kick = [1, 6, 8, 14];
    (1..=length)
        .filter_map(|step| {
            let mut voices = Vec::new();
            if kick.contains(&step) {
                voices.push(Voice::Kick);
            }
            if bell.contains(&step) {
                voices.push(Voice::RideBell);
            }
            (!voices.is_empty()).then_some(FigureNote {
                step,
                voices,
                limb: None,
            })
        })
        .collect()
}

struct Player<'a> {
    grid: &'a Grid,
    random: ChaCha8Rng,
    strokes: Vec<Stroke>,
}

impl Player<'_> {
    fn strike(&mut self, step: i64, voice: Voice, level: f64, layer: Layer) {
        let late = self.random.random_range(-0.006..0.006);
        let time = self.grid.time_of(Steps(step)).unwrap() + Seconds(late);
        let mark = match layer {
            Layer::Solo if level > -4.0 => Some(Mark::Accent),
            Layer::Solo if level < -20.0 => Some(Mark::Ghost),
            Layer::Solo if voice == Voice::Snare && self.random.random_bool(0.08) => Some(Mark::Flam),
            _ => None,
        };
        let unsure = self.random.random_bool(0.015);
        let sure = if unsure { 0.41 } else { 0.97 };
        self.strokes.push(Stroke {
            hit: Hit {
                time,
                voice,
                level: Decibels(level),
                mark,
                grace: None,
                sure,
            },
            step: Some(Steps(step)),
            place: Some(self.grid.place_of(Steps(step))),
            late: Some(Seconds(late).to_millis()),
            limb: None,
            layer: Some(layer),
        });
    }
}

/// Plays a score: the figure from bar 1 on, and over it the left side's cells with rests between.
pub(crate) fn study(score: &Score) -> Study {
    let grid = grid(score);
    let steps = score.bars * i64::from(grid.steps_per_bar());
    let mut player = Player {
        grid: &grid,
        random: ChaCha8Rng::seed_from_u64(7),
        strokes: Vec::new(),
    };
    let notes = figure(score.length);
    let length = i64::from(score.length.max(1));
    let repeats = if score.length == 0 { 0 } else { steps / length };
    let broken = strike_figure(&mut player, &notes, length, repeats);
    strike_solo(&mut player, steps);
    let mut strokes = player.strokes;
    strokes.sort_by(|a, b| a.hit.time.0.total_cmp(&b.hit.time.0));
    let moment = |step: i64| {
        let place = grid.place_of(Steps(step));
        let time = grid.time_of(Steps(step)).unwrap();
        Moment {
            bar: place.bar,
            beat: place.beat,
            step: place.step,
            time,
        }
    };
    let (home_cycles, home_bars) = home(Steps(length), Steps(i64::from(grid.steps_per_bar())));
    let bar = grid.steps_per_bar();
    let cycle = (repeats > 0).then(|| Cycle {
        length_steps: score.length,
        length_notes: notes.len() as u32,
        length_seconds: Seconds(60.0 / 116.0 / f64::from(score.steps_per_beat) * length as f64),
        crosses_bar: !bar.is_multiple_of(score.length) && !score.length.is_multiple_of(bar),
        figure: notes.clone(),
        voices: vec![Voice::Kick, Voice::RideBell],
        start: moment(0),
        end: moment(repeats * length),
        repeats: repeats as u32,
        kept: 0.99,
        broken,
        bits: Bits(146.0),
        chance: 0.0,
        home_bars,
        home_cycles,
        resolved: None,
        carrier: Carrier::Voices,
        grade: Verdict::Certain,
        home: Home::of(
            &Round {
                length: score.length,
                struck: &notes.iter().map(|note| note.step).collect::<Vec<_>>(),
                span: (Steps(0), Steps(repeats * length)),
                anew: None,
            },
            &grid,
            8,
        ),
    });
    Study {
        recording: RecordingFacts {
            file: "harbour-solo.wav".to_owned(),
            sha256: "0".repeat(64),
            seconds: Seconds(60.0 / 116.0 * 4.0 * score.bars as f64 + 2.0),
            sample_rate: 44_100,
            channels: 2,
        },
        lengths: lengths(score.length, steps),
        strokes,
        grid,
        cycles: cycle.into_iter().collect(),
        ..empty()
    }
}

/// Strikes the figure; leaves out one kick and adds one.
fn strike_figure(player: &mut Player, notes: &[FigureNote], length: i64, repeats: i64) -> Vec<Broken> {
    let mut broken = Vec::new();
    let kicks = notes.iter().filter(|note| note.voices.contains(&Voice::Kick));
    let lacking = kicks.map(|note| note.step).max().unwrap_or(1);
    for k in 0..repeats {
        let start = k * length;
        let (lacks, gains) = (k == 6, k == 19);
        for note in notes {
            for &voice in &note.voices {
                if !(lacks && note.step == lacking && voice == Voice::Kick) {
                    let level = if voice == Voice::Kick { -6.0 } else { -10.0 };
                    player.strike(start + i64::from(note.step) - 1, voice, level, Layer::Ostinato);
                }
            }
        }
        if gains {
            player.strike(start + 3, Voice::Kick, -8.0, Layer::Solo);
        }
        if lacks || gains {
            broken.push(Broken {
                repeat: k as u32 + 1,
                start: player.grid.place_of(Steps(start)),
                missing: if lacks {
                    vec![(lacking, Voice::Kick)]
                } else {
                    Vec::new()
                },
                added: if gains { vec![(4, Voice::Kick)] } else { Vec::new() },
                moved: Vec::new(),
            });
        }
    }
    broken
}

/// The left side: cells of three to six steps on snare, toms and hats, with rests.
fn strike_solo(player: &mut Player, steps: i64) {
    let hands = [
        Voice::Snare,
        Voice::Snare,
        Voice::TomHigh,
        Voice::TomFloor,
        Voice::HatClosed,
    ];
    let mut step = 0;
    while step < steps {
        let cell: i64 = player.random.random_range(3..=6);
        let voice = hands[player.random.random_range(0..hands.len())];
        for i in 0..cell.min(steps - step) {
            if i == 0 {
                player.strike(step, voice, -2.0, Layer::Solo);
            } else if player.random.random_bool(0.6) {
                let level = player.random.random_range(-26.0..-7.0);
                let voice = hands[player.random.random_range(0..hands.len())];
                player.strike(step + i, voice, level, Layer::Solo);
            } else if player.random.random_bool(0.3) {
                player.strike(step + i, Voice::HatFoot, -16.0, Layer::Solo);
            }
        }
        if step % 64 < 6 && step > 0 {
            player.strike(step, Voice::Crash, 0.0, Layer::Solo);
        }
        step += cell;
    }
}

/// Bits as a search might give them: the true length first, its multiples less, the rest around nothing.
fn lengths(length: u32, steps: i64) -> Vec<LengthTried> {
    let mut random = ChaCha8Rng::seed_from_u64(11);
    (2..=(steps / 4).clamp(2, 48) as u32)
        .map(|steps| {
            let noise: f64 = random.random_range(-24.0..9.0);
            let bits = if length > 0 && steps == length {
                146.0
            } else if length > 0 && steps.is_multiple_of(length) {
                146.0 - 31.0 * f64::from(steps / length - 1)
            } else {
                noise - f64::from(steps) * 0.4
            };
            LengthTried {
                steps,
                bits: Bits(bits),
            }
        })
        .collect()
}
