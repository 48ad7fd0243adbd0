//! Invented solos for the tests, with the truth of who plays what: one limb or pair keeps up a figure, the others play
//! cells moved around the kit, with a player's looseness. Seeded.

use rand::prelude::*;
use rand_chacha::ChaCha8Rng;

use super::frame::Frame;
use super::{Found, Played, found};
use crate::grid::{Grid, Meter};
use crate::names::{Limb, Voice};
use crate::units::{Bpm, Seconds, Steps};

/// Who keeps up the figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kept {
    /// Left hand and left foot; the right side is free.
    Left,
    /// Right hand and right foot.
    Right,
    /// Both feet; both hands are free.
    Feet,
    /// The right hand; left hand and right foot are free.
    Hand,
    /// Nobody: the right side plays alone.
    Nobody,
}

/// A stretch of one permutation.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Planted {
    /// First step and the step after the last.
    pub(super) steps: (i64, i64),
    /// Strokes in the cell.
    pub(super) length: usize,
    /// The cell as it is begun, in letters: `R` is the first limb, `L` the second.
    pub(super) letters: String,
}

/// A solo and its truth.
#[derive(Debug, Clone)]
pub(super) struct Solo {
    pub(super) hits: Vec<Played>,
    pub(super) limbs: Vec<Limb>,
    pub(super) frames: Vec<Frame>,
    pub(super) grid: Grid,
    pub(super) planted: Vec<Planted>,
}

impl Solo {
    pub(super) fn found(&self) -> Found {
        found::find(
            &self.hits,
            &self.frames,
            &self.grid,
            &super::body::Body::default(),
        )
    }
}

/// What is to be played.
#[derive(Debug, Clone)]
pub(super) struct Wish {
    pub(super) kept: Kept,
    pub(super) bars: i64,
    /// Cells in letters, each with how many of its permutations.
    pub(super) cells: Vec<(&'static str, usize)>,
    /// Share of strokes left out.
    pub(super) rests: f64,
    /// How often a limb goes to another drum within a stretch, and where one begins.
    pub(super) moves: (f64, f64),
}

/// Cells that players build solos from, as TRADE 3 has them [C], the paradiddle among them.
const USUAL: [&str; 14] = [
    "RLL",
    "RRL",
    "RLRR",
    "RLLR",
    "RRL-",
    "RLRLL",
    "RLRRL",
    "RLRRLL",
    "RLLRRL",
    "RLRLLR",
    "RLRLRLL",
    "RLRRLRR",
    "RLRRLRLL",
    "RLRRLRRLL",
];

impl Wish {
    /// Anything that a player might play: two to five cells, some in one permutation and some in all.
    pub(super) fn any(kept: Kept, seed: u64) -> Wish {
        let mut random = ChaCha8Rng::seed_from_u64(seed ^ 0x5EED);
        let count = random.random_range(2..=5);
        let cells = USUAL
            .choose_multiple(&mut random, count)
            .copied()
            .collect::<Vec<_>>();
        let permutations = |cell: &&'static str| match random.random_range(0..4) {
            0 => cell.len(),
            1 => 2,
            _ => 1,
        };
        let permutations: Vec<usize> = cells.iter().map(permutations).collect();
        Wish {
            kept,
            bars: random.random_range(10..=20),
            cells: cells.into_iter().zip(permutations).collect(),
            rests: random.random_range(0.0..0.08),
            moves: (random.random_range(0.03..0.25), random.random_range(0.5..0.95)),
        }
    }
}

impl Wish {
    /// Cells that nobody chose: two to five of three to eight strokes, drawn at random, but for three in a row.
    pub(super) fn drawn(kept: Kept, seed: u64) -> Wish {
        let mut random = ChaCha8Rng::seed_from_u64(seed ^ 0x07E5);
        let count = random.random_range(2..=5);
        let mut cells: Vec<(&'static str, usize)> = Vec::new();
        while cells.len() < count {
            let length = *[3, 4, 4, 5, 5, 6, 6, 7, 8].choose(&mut random).unwrap();
            let letters: String = (0..length)
                .map(|_| if random.random_bool(0.5) { 'R' } else { 'L' })
                .collect();
            let on = letters.repeat(3);
            let again = (1..length).any(|part| length % part == 0 && on[part..].starts_with(&letters));
            if again || on.contains("RRR") || on.contains("LLL") {
                continue;
            }
            let permutations = match random.random_range(0..4) {
                0 => length,
                1 => 2,
                _ => 1,
            };
            // The tests are over before it matters.
            cells.push((Box::leak(letters.into_boxed_str()), permutations));
        }
        Wish {
            kept,
            bars: random.random_range(10..=20),
            cells,
            rests: random.random_range(0.0..0.1),
            moves: (random.random_range(0.03..0.3), random.random_range(0.4..0.95)),
        }
    }
}

struct Player {
    random: ChaCha8Rng,
    grid: Grid,
    hits: Vec<(Played, Limb)>,
    drums: [Option<Voice>; 4],
    moves: (f64, f64),
}

impl Player {
    fn strike(&mut self, step: i64, limb: Limb, voice: Voice, figure: Option<usize>) {
        let late = self.random.random_range(-0.008..0.008);
        let time = self.grid.time_of(Steps(step)).unwrap() + Seconds(late);
        self.hits.push((
            Played {
                time,
                step: Some(Steps(step)),
                voice,
                accent: figure.is_none() && self.random.random_bool(0.1),
                figure,
                pinned: None,
            },
            limb,
        ));
    }

    /// The limb's drum: it stays for a while, and moves when a stretch begins.
    fn drum(&mut self, limb: Limb, fresh: bool) -> Voice {
        let all: &[Voice] = match limb {
            Limb::RightHand => &[
                Voice::Snare,
                Voice::TomMid,
                Voice::TomFloor,
                Voice::Ride,
                Voice::Crash2,
            ],
            Limb::LeftHand => &[Voice::Snare, Voice::Snare, Voice::TomHigh],
            Limb::RightFoot => &[Voice::Kick],
            Limb::LeftFoot => &[Voice::HatFoot],
        };
        let moves = self
            .random
            .random_bool(if fresh { self.moves.1 } else { self.moves.0 });
        let choice = *all.choose(&mut self.random).unwrap();
        let drum = &mut self.drums[limb as usize];
        if moves || drum.is_none() {
            *drum = Some(choice);
        }
        drum.unwrap_or(choice)
    }
}

fn grid(bpm: f64, bars: i64, steps_per_beat: u32) -> Grid {
    let beats = (0..=bars * 4)
        .map(|beat| Seconds(0.4 + 60.0 / bpm * beat as f64))
        .collect();
    Grid {
        tempo: Bpm(bpm),
        meter: Meter { count: 4, unit: 4 },
        steps_per_beat,
        beats,
        ..Grid::none()
    }
}

/// Plays it.
pub(super) fn solo(wish: &Wish, seed: u64) -> Solo {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let steps_per_beat = *[4, 4, 6, 3].choose(&mut random).unwrap();
    // Steps of 95 to 150 ms, as dense solos have them.
    let step: f64 = random.random_range(0.095..0.15);
    let grid = grid(
        60.0 / (step * f64::from(steps_per_beat)),
        wish.bars,
        steps_per_beat,
    );
    let end = wish.bars * i64::from(grid.steps_per_bar());
    let mut player = Player {
        random,
        grid,
        hits: Vec::new(),
        drums: [None; 4],
        moves: wish.moves,
    };
    let frames: Vec<Frame> = figure(&mut player, wish.kept, end).into_iter().collect();
    let planted = cells(&mut player, wish, end);
    player.hits.sort_by(|a, b| a.0.time.0.total_cmp(&b.0.time.0));
    let (hits, limbs) = player.hits.into_iter().unzip();
    Solo {
        hits,
        limbs,
        frames,
        grid: player.grid,
        planted,
    }
}

fn figure(player: &mut Player, kept: Kept, end: i64) -> Option<Frame> {
    let parts: &[(Limb, Voice)] = match kept {
        Kept::Left => &[(Limb::LeftHand, Voice::Snare2), (Limb::LeftFoot, Voice::HatFoot)],
        Kept::Right => &[(Limb::RightHand, Voice::RideBell), (Limb::RightFoot, Voice::Kick)],
        Kept::Feet => &[(Limb::RightFoot, Voice::Kick), (Limb::LeftFoot, Voice::HatFoot)],
        Kept::Hand => &[(Limb::RightHand, Voice::Ride)],
        Kept::Nobody => return None,
    };
    let length = *[5, 7, 9, 10, 11].choose(&mut player.random).unwrap();
    let notes: Vec<Option<usize>> = (0..length)
        .map(|at| {
            let struck = at == 0 || player.random.random_bool(0.75);
            struck.then(|| {
                if at == 0 {
                    0
                } else {
                    player.random.random_range(0..parts.len())
                }
            })
        })
        .collect();
    for step in 0..end {
        if let Some(part) = notes[(step % length) as usize]
            && player.random.random_bool(0.97)
        {
            let (limb, voice) = parts[part];
            player.strike(step, limb, voice, Some(0));
        }
    }
    Some(Frame {
        length,
        start: 0,
        end,
        every: None,
    })
}

fn cells(player: &mut Player, wish: &Wish, end: i64) -> Vec<Planted> {
    let pair = match wish.kept {
        Kept::Left | Kept::Nobody => [Limb::RightHand, Limb::RightFoot],
        Kept::Right => [Limb::LeftHand, Limb::LeftFoot],
        Kept::Feet => [Limb::RightHand, Limb::LeftHand],
        Kept::Hand => [Limb::LeftHand, Limb::RightFoot],
    };
    let mut planted: Vec<Planted> = Vec::new();
    let (mut step, mut turn) = (0, 0);
    while step < end {
        // Every cell has its turn, and every one of its permutations.
        let (letters, permutations) = wish.cells[turn % wish.cells.len()];
        let from = turn / wish.cells.len() % permutations;
        turn += 1;
        let turned: String = letters[from..].chars().chain(letters[..from].chars()).collect();
        let times = player.random.random_range(4..=7);
        let to = (step + times * letters.len() as i64).min(end);
        let mut fresh = pair.to_vec();
        for at in step..to {
            let n = (at - step) as usize;
            let limb = pair[usize::from(turned.as_bytes()[n % turned.len()] == b'L')];
            let drum = player.drum(limb, fresh.contains(&limb));
            fresh.retain(|other| *other != limb);
            if turned.as_bytes()[n % turned.len()] != b'-' && !player.random.random_bool(wish.rests) {
                player.strike(at, limb, drum, None);
            }
        }
        planted.push(Planted {
            steps: (step, to),
            length: letters.len(),
            letters: turned,
        });
        step = to;
    }
    planted
}
