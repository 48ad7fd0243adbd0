//! Enters the pipeline at the figures, with the true hits, voices and steps of annotated solos: what the search for
//! figures does when nothing was misheard, and what it says to claims about the planted lengths.
//!
//!     cargo run --release --example true_hits -- CLIPS STUDIES
//!
//! CLIPS holds NAME.json; a clip's `hits` are [time, voice, velocity, layer, limb, step], and `cycles` lie between times.
//! Clips without a layer are left out. A study of each is written to STUDIES/NAME, for a scorer. Printed are the share of
//! planted figures over the bar that come first (length within 2 %, stretches that overlap by 60 % of both together),
//! the clips half covered by figures that nobody planted, the F-measure of the strokes marked as the figure's, and the
//! verdict on every planted length, a step more and less, the double and the half.

#![allow(clippy::print_stdout, reason = "it is what the program is for")]

use std::error::Error;
use std::path::Path;

use overbar::cycles::{self, Claim, Cycle, Relation, Unit, Verdict};
use overbar::grid::{Grid, Meter, Placed};
use overbar::names::Mark;
use overbar::options::Options;
use overbar::study::{self, RecordingFacts, Study, corrections};
use overbar::units::{Bpm, Decibels, Millis, Seconds, Steps};
use overbar::voices::Hit;
use serde_json::Value;

/// Velocities from here on are accents.
const ACCENT: f64 = 104.0;

/// What was planted: length in steps and seconds, from when to when, whether it crosses the bar.
struct Planted {
    steps: u32,
    seconds: f64,
    from: f64,
    to: f64,
    crosses: bool,
}

struct Clip {
    seconds: f64,
    grid: Grid,
    placed: Vec<Placed>,
    figure: Vec<bool>,
    planted: Vec<Planted>,
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_default()
}

fn clip(truth: &Value) -> Result<Clip, Box<dyn Error>> {
    let whole = |value: &Value| value.as_u64().unwrap_or(4) as u32;
    let grid = Grid {
        tempo: Bpm(number(&truth["bpm"])),
        meter: Meter {
            count: whole(&truth["meter"][0]),
            unit: whole(&truth["meter"][1]),
        },
        steps_per_beat: whole(&truth["steps_per_beat"]),
        beats: list(&truth["beats"]).iter().map(|b| Seconds(number(b))).collect(),
        ..Grid::none()
    };
    let mut hits = list(&truth["hits"]).to_vec();
    hits.sort_by(|a, b| number(&a[0]).total_cmp(&number(&b[0])));
    let mut placed = Vec::new();
    for hit in &hits {
        let velocity = number(&hit[2]);
        placed.push(Placed {
            hit: Hit {
                time: Seconds(number(&hit[0])),
                voice: hit[1].as_str().unwrap_or_default().parse()?,
                level: Decibels(40.0 * (velocity.max(1.0) / 127.0).log10()),
                mark: (velocity >= ACCENT).then_some(Mark::Accent),
                grace: None,
                sure: 1.0,
            },
            step: Steps(hit[5].as_i64().unwrap_or_default()),
            late: Millis(0.0),
        });
    }
    let planted = list(&truth["cycles"]).iter().map(|c| Planted {
        steps: whole(&c["steps"]),
        seconds: number(&c["seconds"]),
        from: number(&c["start"]),
        to: number(&c["end"]),
        crosses: c["crosses_bar"] == true,
    });
    Ok(Clip {
        seconds: number(&truth["seconds"]),
        grid,
        placed,
        figure: hits.iter().map(|hit| hit[3] == "ostinato").collect(),
        planted: planted.collect(),
    })
}

/// Whether two stretches share 60 % of what they cover together.
fn overlap(cycle: &Cycle, planted: &Planted) -> bool {
    let (from, to) = (cycle.start.time.0, cycle.end.time.0);
    let both = to.min(planted.to) - from.max(planted.from);
    both >= 0.6 * (to.max(planted.to) - from.min(planted.from))
}

fn same(cycle: &Cycle, planted: &Planted, times: u32) -> bool {
    (cycle.length_seconds.0 / (planted.seconds * f64::from(times)) - 1.0).abs() < 0.02
}

/// Whether figures that match nothing planted, nor a multiple of it, cover half the clip.
fn is_false(clip: &Clip, found: &[&Cycle]) -> bool {
    let strange = |c: &&&Cycle| !clip.planted.iter().any(|p| (1..=4).any(|k| same(c, p, k)));
    let strangers: Vec<&&Cycle> = found.iter().filter(strange).collect();
    let ticks = (clip.seconds * 20.0) as usize + 1;
    let covered = (0..ticks).filter(|tick| {
        let time = *tick as f64 / 20.0;
        strangers
            .iter()
            .any(|c| c.start.time.0 <= time && time < c.end.time.0)
    });
    covered.count() * 2 >= ticks
}

/// `10 certain, 9 contradicted, 20 contradicted (2 × 10)`.
fn claims(clip: &Clip, planted: &Planted, wrong: &mut usize) -> Result<String, Box<dyn Error>> {
    let length = planted.steps;
    let mut told = Vec::new();
    let mut tried = vec![length, length - 1, length + 1, 2 * length];
    tried.extend(length.is_multiple_of(2).then_some(length / 2));
    for steps in tried {
        let claim = Claim::new(f64::from(steps), Unit::Steps, &clip.grid)?;
        let answer = cycles::verify(&clip.placed, &clip.grid, &Options::default().cycles, &claim);
        let relation = match answer.relation {
            Some(Relation::MultipleOf { steps }) => format!(" (several of {steps})"),
            Some(Relation::FractionOf { steps }) => format!(" (a part of {steps})"),
            _ => String::new(),
        };
        let right = if steps == length {
            matches!(answer.verdict, Verdict::Certain | Verdict::Likely)
        } else {
            answer.verdict == Verdict::Contradicted || !relation.is_empty()
        };
        *wrong += usize::from(!right);
        told.push(format!("{steps} {}{relation}", answer.verdict.name()));
    }
    Ok(told.join(", "))
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut given = std::env::args().skip(1);
    let (Some(clips), Some(studies)) = (given.next(), given.next()) else {
        return Err("usage: true_hits CLIPS STUDIES".into());
    };
    let mut names: Vec<_> = std::fs::read_dir(&clips)?.collect::<Result<_, _>>()?;
    names.sort_by_key(std::fs::DirEntry::file_name);
    let (mut right, mut planted, mut false_ones, mut wrong) = (0, 0, 0, 0);
    let (mut both, mut marked, mut true_ones) = (0u32, 0u32, 0u32);
    for entry in names {
        let path = entry.path();
        let name = path
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        if path.extension().is_none_or(|e| e != "json") {
            continue;
        }
        let truth: Value = serde_json::from_str(&std::fs::read_to_string(&path)?)?;
        if truth["suite"] != "layered" {
            continue;
        }
        let clip = clip(&truth)?;
        let found = cycles::find(&clip.placed, &clip.grid, &Options::default().cycles);
        let crossing: Vec<&Cycle> = found.found.iter().filter(|c| c.crosses_bar).collect();
        let over: Vec<&Planted> = clip.planted.iter().filter(|p| p.crosses).collect();
        let first = &crossing[..over.len().min(crossing.len())];
        planted += over.len();
        right += over
            .iter()
            .filter(|p| first.iter().any(|c| same(c, p, 1) && overlap(c, p)))
            .count();
        false_ones += usize::from(is_false(&clip, &crossing));
        if clip.figure.contains(&true) {
            for (is_figure, layer) in clip.figure.iter().zip(&found.layer) {
                both += u32::from(*is_figure && layer.is_some());
                marked += u32::from(layer.is_some());
                true_ones += u32::from(*is_figure);
            }
        }
        let lengths: Vec<String> = crossing
            .iter()
            .map(|c| format!("{} {} {:.0} bits", c.length_steps, c.grade.name(), c.bits.0))
            .collect();
        println!("{name}: {}", lengths.join(", "));
        for planted in &clip.planted {
            println!("    {}", claims(&clip, planted, &mut wrong)?);
        }
        write(&clip, found, &Path::new(&studies).join(&name), &name)?;
    }
    println!(
        "cycle {:.2} ({right} of {planted}), false {false_ones}, layer {:.3}; {wrong} verdicts wrong",
        f64::from(right as u32) / f64::from(planted.max(1) as u32),
        2.0 * f64::from(both) / f64::from((marked + true_ones).max(1u32)),
    );
    Ok(())
}

fn write(clip: &Clip, found: cycles::Cycles, folder: &Path, name: &str) -> Result<(), Box<dyn Error>> {
    let hits: Vec<Hit> = clip.placed.iter().map(|p| p.hit).collect();
    let facts = RecordingFacts {
        file: format!("{name}.wav"),
        sha256: "0".repeat(64),
        seconds: Seconds(clip.seconds),
        sample_rate: 44_100,
        channels: 1,
    };
    let grid = clip.grid.clone();
    let mut study = Study::new(
        facts,
        Options::default(),
        &hits,
        grid,
        &clip.placed,
        found,
        Vec::new(),
    );
    study.share_out(&[]);
    study::write(folder, &study, &corrections::load(folder)?)?;
    Ok(())
}
