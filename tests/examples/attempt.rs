//! An attempt at a study, played by the kit with mistakes that are known.
//!
//!     attempt STUDY SEED SPEED LATE DRIFT KIT FLAGS OUT
//!
//! SPEED is the share of the study's tempo, LATE how late the left foot is in ms, DRIFT how much slower the end is as a
//! share, KIT one of plain, dry, roomy, singing. FLAGS holds any of: m a metronome is heard, f a false start, p it begins
//! in the middle of the passage, c no mistakes. Prints as JSON what was planted.

use std::error::Error;
use std::io::{self, Write};
use std::path::Path;

use overbar::audio::{self, RATE};
use overbar::names::Voice;
use overbar::practice::drums::{Character, Kit, Strike};
use overbar::study::{self, Study};
use overbar::units::Seconds;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

/// A stroke that will be played.
#[derive(Clone, Copy)]
struct Note {
    step: i64,
    voice: Voice,
    velocity: f64,
    /// Steps by which it is moved.
    moved: i64,
}

/// Mistakes lie at least so many steps apart, and as far from both ends.
const APART: i64 = 9;

fn notes(study: &Study) -> Vec<Note> {
    let loudest = |voice: Voice| {
        let own = study.strokes.iter().filter(|s| s.hit.voice == voice);
        own.map(|s| s.hit.level.0).fold(f64::NEG_INFINITY, f64::max)
    };
    let mut notes: Vec<Note> = study
        .strokes
        .iter()
        .filter_map(|s| {
            Some(Note {
                step: s.step?.0,
                voice: s.hit.voice,
                velocity: 10f64
                    .powf((s.hit.level.0 - loudest(s.hit.voice)) / 30.0)
                    .clamp(0.3, 1.0),
                moved: 0,
            })
        })
        .collect();
    notes.sort_by_key(|n| (n.step, n.voice));
    notes.dedup_by_key(|n| (n.step, n.voice));
    notes
}

/// Plants mistakes and tells them: drops, strokes on the wrong drum, strokes too many, and one slip of order.
fn plant(notes: &mut Vec<Note>, dice: &mut ChaCha8Rng) -> Vec<Value> {
    let (first, last) = (notes[0].step + APART, notes[notes.len() - 1].step - APART);
    let mut taken: Vec<i64> = Vec::new();
    let mut told = Vec::new();
    let drums = [Voice::Snare, Voice::TomMid, Voice::TomFloor, Voice::Kick];
    for kind in [
        "missed", "missed", "missed", "wrong", "wrong", "wrong", "extra", "extra", "slip",
    ] {
        for _ in 0..2000 {
            let at = dice.random_range(0..notes.len());
            let note = notes[at];
            let here: Vec<Voice> = notes
                .iter()
                .filter(|n| n.step == note.step)
                .map(|n| n.voice)
                .collect();
            let free =
                taken.iter().all(|t| (t - note.step).abs() >= APART) && (first..last).contains(&note.step);
            if !free || note.velocity < 0.4 {
                continue;
            }
            let other = drums[dice.random_range(0..drums.len())];
            match kind {
                "missed" => {
                    notes.remove(at);
                    told.push(json!({"kind": kind, "step": note.step, "voice": note.voice}));
                }
                "wrong" if !here.contains(&other) && drums.contains(&note.voice) => {
                    notes[at].voice = other;
                    told.push(
                        json!({"kind": kind, "step": note.step, "wanted": note.voice, "played": other}),
                    );
                }
                "extra" if !here.contains(&other) => {
                    notes.push(Note {
                        voice: other,
                        velocity: 0.8,
                        ..note
                    });
                    told.push(json!({"kind": kind, "step": note.step, "voice": other}));
                }
                "slip" => {
                    let next = notes
                        .iter()
                        .position(|n| n.step == note.step + 1 && !here.contains(&n.voice));
                    let Some(next) = next.filter(|_| drums.contains(&note.voice)) else {
                        continue;
                    };
                    let second = notes[next].voice;
                    let there: Vec<Voice> = notes
                        .iter()
                        .filter(|n| n.step == note.step + 1)
                        .map(|n| n.voice)
                        .collect();
                    if there.contains(&note.voice) || !drums.contains(&second) {
                        continue;
                    }
                    notes[at].voice = second;
                    notes[next].voice = note.voice;
                    told.push(
                        json!({"kind": kind, "step": note.step, "first": note.voice, "second": second}),
                    );
                }
                _ => continue,
            }
            taken.push(note.step);
            break;
        }
    }
    notes.sort_by_key(|n| (n.step, n.voice));
    told
}

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [folder, seed, speed, late, drift, kit, flags, out] = args.as_slice() else {
        return Err("usage: attempt STUDY SEED SPEED LATE DRIFT KIT FLAGS OUT".into());
    };
    let study = study::read(Path::new(folder))?;
    let (seed, speed, late, drift): (u64, f64, f64, f64) =
        (seed.parse()?, speed.parse()?, late.parse()?, drift.parse()?);
    let mut dice = ChaCha8Rng::seed_from_u64(seed);
    let mut notes = notes(&study);
    let bar = i64::from(study.grid.steps_per_bar());
    if flags.contains('p') {
        notes.retain(|n| n.step >= 3 * bar + 5);
    }
    let told = if flags.contains('c') {
        Vec::new()
    } else {
        plant(&mut notes, &mut dice)
    };
    let (first, last) = (notes[0].step as f64, notes[notes.len() - 1].step as f64);
    let step = study.grid.tempo.beat().0 / f64::from(study.grid.steps_per_beat) / speed;
    // The step grows evenly from the first to the last; the mean is `step`.
    let time = |at: f64| {
        let (x, n) = (at - first, (last - first).max(1.0));
        step * (x + drift * (x * x / (2.0 * n) - x / 2.0))
    };
    let begin = if flags.contains('f') { 6.0 } else { 2.0 };
    let mut strikes: Vec<Strike> = Vec::new();
    for note in &notes {
        let foot = if matches!(note.voice, Voice::HatFoot | Voice::KickLeft) {
            late / 1000.0
        } else {
            0.0
        };
        let jitter = (0..6).map(|_| dice.random_range(-0.5..0.5)).sum::<f64>() * 0.707 * 0.005;
        strikes.push(Strike {
            time: Seconds(begin + time((note.step + note.moved) as f64) + foot + jitter),
            voice: note.voice,
            velocity: note.velocity * 0.9,
        });
    }
    if flags.contains('f') {
        let start: Vec<Strike> = strikes
            .iter()
            .take_while(|s| s.time.0 < begin + 2.0)
            .copied()
            .collect();
        strikes.extend(start.iter().map(|s| Strike {
            time: s.time - Seconds(5.0),
            ..*s
        }));
    }
    let character = match kit.as_str() {
        "dry" => Character::DRY,
        "roomy" => Character::ROOMY,
        "singing" => Character::SINGING,
        _ => Character::PLAIN,
    };
    let length = begin + time(last) + 1.5;
    let mut sound = Kit::new(seed, character).render(&strikes, Seconds(length));
    if flags.contains('m') {
        let beats = ((last - first) as i64) / i64::from(study.grid.steps_per_beat);
        for beat in 0..=beats {
            let at = begin + time(first + (beat * i64::from(study.grid.steps_per_beat)) as f64);
            let start = Seconds(at).to_sample(RATE);
            for i in 0..1300 {
                let t = i as f64 / f64::from(RATE);
                let tick = 0.12 * (-t / 0.005).exp() * (std::f64::consts::TAU * 1000.0 * t).sin();
                for channel in &mut sound {
                    if let Some(s) = channel.get_mut(start + i) {
                        *s += tick as f32;
                    }
                }
            }
        }
    }
    audio::write_wav(Path::new(out), &sound, RATE)?;
    let original = study.grid.tempo.0 * speed;
    writeln!(
        io::stdout(),
        "{}",
        json!({"planted": told, "strokes": notes.len(), "tempo": original, "seconds": time(last), "first": first, "last": last})
    )?;
    Ok(())
}
