//! Invented pieces: figures planted in free lines and degraded the way listening degrades them, and solos with none.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::Stroke;
use crate::grid::Meter;
use crate::names::Voice;

/// Meters that planted figures run over.
pub(super) const METERS: [Meter; 4] = [
    Meter { count: 3, unit: 4 },
    Meter { count: 4, unit: 4 },
    Meter { count: 5, unit: 4 },
    Meter { count: 7, unit: 8 },
];

/// Voices of figures, by limbs that play as a pair.
const PAIRS: [(Voice, Voice); 4] = [
    (Voice::Snare2, Voice::HatFoot),
    (Voice::RideBell, Voice::Kick),
    (Voice::Kick, Voice::HatFoot),
    (Voice::Ride, Voice::KickLeft),
];

/// Voices of free lines.
pub(super) const DRUMS: [Voice; 4] = [Voice::Snare, Voice::TomHigh, Voice::TomMid, Voice::TomFloor];

/// A figure that was planted.
#[derive(Debug, Clone)]
pub(super) struct Planted {
    pub(super) length: i64,
    pub(super) span: (i64, i64),
    pub(super) every_bars: Option<i64>,
    /// The notes of one cycle: step from 0, and voice.
    pub(super) notes: Vec<(i64, Voice)>,
    /// The voices it is played on.
    pub(super) voices: Vec<Voice>,
}

impl Planted {
    /// Where in the cycle a step of the span lies.
    fn phase(&self, step: i64, bar: i64) -> i64 {
        match self.every_bars {
            Some(bars) => step.rem_euclid(bars * bar) % self.length,
            None => (step - self.span.0).rem_euclid(self.length),
        }
    }

    /// All strokes as written.
    fn strokes(&self, bar: i64) -> Vec<Stroke> {
        let on = |step: i64| {
            let phase = self.phase(step, bar);
            self.notes
                .iter()
                .filter(move |n| n.0 == phase)
                .map(move |n| (step, n.1))
        };
        (self.span.0..self.span.1).flat_map(on).collect()
    }
}

/// A piece on a grid.
#[derive(Debug, Clone)]
pub(super) struct Piece {
    pub(super) meter: Meter,
    pub(super) per_beat: u32,
    pub(super) steps: i64,
    pub(super) strokes: Vec<Stroke>,
    pub(super) planted: Vec<Planted>,
    /// The strokes of the planted figures, those moved by a step among them.
    pub(super) figures: Vec<Stroke>,
}

impl Piece {
    pub(super) fn bar(&self) -> i64 {
        i64::from(self.meter.beats_per_bar() * self.per_beat)
    }
}

/// How often and where a figure comes.
#[derive(Debug, Clone, Copy)]
pub(super) enum Repeats {
    /// Four, or as many as four bars hold when that is more.
    Four,
    /// Six to twelve, or as many as four bars hold when that is more.
    SixOrMore,
    /// Sixteen to twenty-four: what a player would call an ostinato without being asked.
    Many,
}

/// A figure of so many steps that no shorter one explains: two fifths to four fifths of its steps are struck, in one
/// voice or in two.
pub(super) fn figure(length: i64, (a, b): (Voice, Voice), random: &mut ChaCha8Rng) -> Vec<(i64, Voice)> {
    let two = random.random_bool(0.7);
    let (least, most) = ((2 * length + 4) / 5, (4 * length) / 5);
    loop {
        let rate = random.random_range(0.4..0.8);
        let notes: Vec<(i64, Voice)> = (0..length)
            .filter_map(|step| {
                let voice = if two && random.random_bool(0.5) { b } else { a };
                random.random_bool(rate).then_some((step, voice))
            })
            .collect();
        let struck = notes.len() as i64;
        if own_length(&notes, length) && struck >= least && struck <= most.max(1) {
            return notes;
        }
    }
}

/// Whether no part of a cycle repeats to make it.
fn own_length(notes: &[(i64, Voice)], length: i64) -> bool {
    let shorter = (1..length).filter(|d| length % d == 0);
    let turned = |d: i64| {
        let mut turned: Vec<_> = notes.iter().map(|(s, v)| ((s + d) % length, *v)).collect();
        turned.sort_unstable();
        turned
    };
    let mut sorted = notes.to_vec();
    sorted.sort_unstable();
    !notes.is_empty() && shorter.into_iter().all(|d| turned(d) != sorted)
}

/// A length from 2 to 24 that crosses the bar.
fn crossing_length(bar: i64, random: &mut ChaCha8Rng) -> i64 {
    loop {
        let length = random.random_range(2..25);
        if bar % length != 0 && length % bar != 0 {
            return length;
        }
    }
}

/// A tenth of a figure's strokes left out, a twentieth moved by a step; and a tenth that are added anywhere in its span.
fn degrade(
    strokes: &[Stroke],
    (from, to): (i64, i64),
    random: &mut ChaCha8Rng,
) -> (Vec<Stroke>, Vec<Stroke>) {
    let (mut out, mut added) = (Vec::new(), Vec::new());
    for &(step, voice) in strokes {
        if random.random_bool(0.1) {
            continue;
        }
        let moved = random.random_bool(0.05);
        let by = if random.random_bool(0.5) { 1 } else { -1 };
        out.push((if moved { (step + by).max(0) } else { step }, voice));
    }
    for &(_, voice) in strokes {
        if random.random_bool(0.1) {
            added.push((random.random_range(from..to), voice));
        }
    }
    (out, added)
}

/// Strokes at will: on each step of a stretch one of the voices, this often.
fn at_will((from, to): (i64, i64), voices: &[Voice], rate: f64, random: &mut ChaCha8Rng) -> Vec<Stroke> {
    let mut strokes = Vec::new();
    for step in from..to {
        if random.random_bool(rate) {
            strokes.push((step, voices[random.random_range(0..voices.len())]));
        }
    }
    strokes
}

fn finish(mut piece: Piece, density: f64, same: f64, random: &mut ChaCha8Rng) -> Piece {
    let bar = piece.bar();
    let mut strokes = Vec::new();
    let mut own: Vec<Voice> = Vec::new();
    for planted in &piece.planted {
        let (figure, added) = degrade(&planted.strokes(bar), planted.span, random);
        strokes.extend(figure.iter().chain(&added));
        piece.figures.extend(figure);
        own.extend(&planted.voices);
    }
    let whole = (0, piece.steps);
    for planted in &piece.planted {
        strokes.extend(at_will(whole, &planted.voices, same, random));
    }
    let others: Vec<Voice> = DRUMS.into_iter().filter(|v| !own.contains(v)).collect();
    strokes.extend(at_will(whole, &others, density, random));
    strokes.sort_unstable();
    strokes.dedup();
    piece.strokes = strokes;
    piece
}

fn plain(seed: u64) -> (ChaCha8Rng, Meter, u32, i64) {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let meter = METERS[random.random_range(0..METERS.len())];
    let per_beat = [3u32, 4, 5, 6, 8][random.random_range(0..5)];
    let bar = i64::from(meter.beats_per_bar() * per_beat);
    (random, meter, per_beat, bar)
}

fn planted(
    length: i64,
    span: (i64, i64),
    every_bars: Option<i64>,
    pair: (Voice, Voice),
    random: &mut ChaCha8Rng,
) -> Planted {
    let notes = figure(length, pair, random);
    let mut voices: Vec<Voice> = notes.iter().map(|n| n.1).collect();
    voices.sort_unstable();
    voices.dedup();
    Planted {
        length,
        span,
        every_bars,
        notes,
        voices,
    }
}

/// One figure of 2 to 24 steps over the bar, which begins in one of the first bars and stops in one of the last; free
/// strokes on other drums on 20 to 60 of 100 steps, on its own drums on up to `same`.
pub(super) fn one_figure(seed: u64, repeats: Repeats, same: std::ops::Range<f64>) -> Piece {
    let (mut random, meter, per_beat, bar) = plain(seed);
    let length = crossing_length(bar, &mut random);
    let count = match repeats {
        Repeats::Four => 4,
        Repeats::SixOrMore => random.random_range(6..13),
        Repeats::Many => random.random_range(16..25),
    };
    let lasts = (count * length).max((4 * bar + length - 1) / length * length);
    let (before, after) = (random.random_range(0..4), random.random_range(0..4));
    let from = before * bar + random.random_range(0..bar) * i64::from(before > 0);
    let steps = (from + lasts + bar - 1) / bar * bar + after * bar;
    let pair = PAIRS[random.random_range(0..PAIRS.len())];
    let planted = planted(length, (from, from + lasts), None, pair, &mut random);
    let (density, same) = (random.random_range(0.2..0.6), random.random_range(same));
    let piece = Piece {
        meter,
        per_beat,
        steps,
        strokes: Vec::new(),
        planted: vec![planted],
        figures: Vec::new(),
    };
    finish(piece, density, same, &mut random)
}

/// A figure that starts anew with every bar or every second one, at least two cycles and a rest later.
pub(super) fn reset_figure(seed: u64) -> Piece {
    let (mut random, meter, per_beat, bar) = plain(seed);
    let every = random.random_range(1..3);
    let length = loop {
        let length = random.random_range(2..25);
        if bar % length != 0 && length % bar != 0 && (every * bar) % length != 0 && 2 * length <= every * bar
        {
            break length;
        }
    };
    let bars = random.random_range(8..17) / every * every;
    let pair = PAIRS[random.random_range(0..PAIRS.len())];
    let planted = planted(length, (0, bars * bar), Some(every), pair, &mut random);
    let (density, same) = (random.random_range(0.2..0.6), random.random_range(0.0..0.2));
    let piece = Piece {
        meter,
        per_beat,
        steps: bars * bar,
        strokes: Vec::new(),
        planted: vec![planted],
        figures: Vec::new(),
    };
    finish(piece, density, same, &mut random)
}

/// Two figures at once, on limbs of their own.
pub(super) fn two_figures(seed: u64) -> Piece {
    let (mut random, meter, per_beat, bar) = plain(seed);
    let first = crossing_length(bar, &mut random);
    let second = loop {
        let length = crossing_length(bar, &mut random);
        if length != first {
            break length;
        }
    };
    let bars = (6 * first.max(second)).max(8 * bar) / bar + 1;
    let span = (0, bars * bar);
    let two = vec![
        planted(first, span, None, (Voice::Snare2, Voice::HatFoot), &mut random),
        planted(second, span, None, (Voice::RideBell, Voice::Kick), &mut random),
    ];
    let (density, same) = (random.random_range(0.2..0.6), random.random_range(0.0..0.2));
    let piece = Piece {
        meter,
        per_beat,
        steps: bars * bar,
        strokes: Vec::new(),
        planted: two,
        figures: Vec::new(),
    };
    finish(piece, density, same, &mut random)
}

/// Strokes at random, each voice at a rate of its own.
pub(super) fn random_solo(seed: u64) -> Piece {
    let (mut random, meter, per_beat, bar) = plain(seed);
    let steps = bar * random.random_range(8..40);
    let voices = [
        Voice::Kick,
        Voice::Snare,
        Voice::TomMid,
        Voice::HatFoot,
        Voice::Ride,
    ];
    let mut strokes = Vec::new();
    for voice in voices.into_iter().take(random.random_range(2..6)) {
        let rate = random.random_range(0.05..0.6);
        strokes.extend(at_will((0, steps), &[voice], rate, &mut random));
    }
    strokes.sort_unstable();
    Piece {
        meter,
        per_beat,
        steps,
        strokes,
        planted: Vec::new(),
        figures: Vec::new(),
    }
}

/// A groove of one or two bars with a fill every fourth or eighth bar, played with slips.
pub(super) fn groove(seed: u64) -> Piece {
    let (mut random, meter, per_beat, bar) = plain(seed);
    let pattern = bar * random.random_range(1..3);
    let fill = [4, 8][random.random_range(0..2)];
    let steps = bar * random.random_range(8..40);
    let mut strokes = Vec::new();
    for (voice, rate) in [(Voice::Kick, 0.25), (Voice::Snare, 0.2), (Voice::HatClosed, 0.6)] {
        let groove: Vec<bool> = (0..pattern).map(|_| random.random_bool(rate)).collect();
        for step in (0..steps).filter(|s| s / bar % fill != fill - 1) {
            if groove[(step % pattern) as usize] != random.random_bool(0.03) {
                strokes.push((step, voice));
            }
        }
    }
    for first in (0..steps)
        .step_by(bar as usize)
        .filter(|s| s / bar % fill == fill - 1)
    {
        let line = cells(bar, bar, &DRUMS, Some(Voice::Kick), &mut random);
        strokes.extend(line.into_iter().map(|(s, v)| (s + first, v)));
    }
    strokes.sort_unstable();
    Piece {
        meter,
        per_beat,
        steps,
        strokes,
        planted: Vec::new(),
        figures: Vec::new(),
    }
}

/// A solo of cells in changing permutations, now and then over a second line of cells.
pub(super) fn cell_solo(seed: u64) -> Piece {
    let (mut random, meter, per_beat, bar) = plain(seed);
    let steps = bar * random.random_range(8..30);
    let mut strokes = cells(steps, bar, &DRUMS, Some(Voice::Kick), &mut random);
    if seed.is_multiple_of(3) {
        strokes.extend(cells(steps, bar, &[Voice::Ride], None, &mut random));
    }
    strokes.sort_unstable();
    Piece {
        meter,
        per_beat,
        steps,
        strokes,
        planted: Vec::new(),
        figures: Vec::new(),
    }
}

/// A free line of short cells: each begun from one of its notes, on drums of its own, three to seven times, and some
/// strokes left out. `F` is the foot, which may be silent.
pub(super) fn cells(
    steps: i64,
    bar: i64,
    hands: &[Voice],
    foot: Option<Voice>,
    random: &mut ChaCha8Rng,
) -> Vec<Stroke> {
    const CELLS: [&[&[u8]]; 4] = [
        &[b"RLF", b"RFF", b"RLL"],
        &[b"RLRF", b"RFFR", b"RLFF", b"RRFF"],
        &[b"RLRLF", b"RLLRF", b"RFRFF"],
        &[b"RLRLFF", b"RLLRFF", b"RLRRFF", b"RFRRFR"],
    ];
    let pool: Vec<&[u8]> = CELLS.iter().map(|c| c[random.random_range(0..c.len())]).collect();
    let (mut line, mut step, mut last) = (Vec::new(), 0i64, (1, 0));
    while step < steps {
        let cell = pool[random.random_range(0..pool.len())];
        let start = random.random_range(0..cell.len());
        let length = cell.len() as i64;
        // The next cell never goes on where the last one was: that would be the same figure on other drums.
        let now = (length, (start as i64 - step).rem_euclid(length));
        let kin = length % 3 == 0 && last.0 % 3 == 0;
        if step > 0 && (kin || now == last) {
            continue;
        }
        last = now;
        let drums: Vec<Voice> = cell
            .iter()
            .map(|_| hands[random.random_range(0..hands.len())])
            .collect();
        // A cell that stays for four bars would be an ostinato by any definition.
        let most = (7 * bar / 2) / cell.len() as i64;
        for _ in 0..random.random_range(3..8).min(most) {
            for (note, drum) in drums.iter().enumerate() {
                let played = !random.random_bool(0.05);
                let voice = if cell[(note + start) % cell.len()] == b'F' {
                    foot
                } else {
                    Some(*drum)
                };
                if step < steps && played {
                    line.extend(voice.map(|v| (step, v)));
                }
                step += 1;
            }
        }
    }
    line
}
