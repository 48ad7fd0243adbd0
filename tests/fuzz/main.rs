//! Fuzzes every reader of files: damaged inputs, one after the other, none of which may end in a panic or take long.
//!
//!     cargo run --release --example fuzz -- [--seconds N] [--count N] [--seed N] [--threads N] [TARGET…]
//!
//! Without a number every target runs for two seconds; `--seconds` and `--count` are for each target, whichever is
//! reached first. Every input that was ever found to crash lies in `crashes/` and is replayed first; a new one is
//! written there, named by its target and its digest, and the run fails. An input that answers as none before it did
//! becomes a seed of further ones.

mod mutate;
mod targets;

use std::collections::HashSet;
use std::error::Error;
use std::io::Write as _;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::time::{Duration, Instant};
use std::{fs, io, thread};

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use sha2::{Digest, Sha256};

use mutate::mutated;
use targets::{TARGETS, Target};

/// An input that takes longer than this, whenever it is run, is as bad as a crash.
const LONGEST: Duration = Duration::from_secs(10);
/// Inputs that are kept as seeds for each target, at most.
const MOST_SEEDS: usize = 2000;
/// Seeds larger than this only slow the rest down.
const LARGEST_SEED: usize = 1 << 17;

struct Plan {
    seconds: f64,
    count: u64,
    seed: u64,
    threads: u64,
    targets: Vec<&'static Target>,
}

/// What one target has gone through.
struct Tally {
    runs: u64,
    answers: usize,
    slowest: Duration,
    bad: Vec<String>,
}

fn main() -> Result<(), Box<dyn Error>> {
    let plan = plan()?;
    let mut out = io::stdout();
    // What panics is told once, with its input, by the tally.
    std::panic::set_hook(Box::new(|_| {}));
    let (mut runs, mut failed) = (0, false);
    writeln!(
        out,
        "seed {}; target, executions, seconds, different answers, slowest",
        plan.seed
    )?;
    for target in &plan.targets {
        let begun = Instant::now();
        let tally = fuzz(target, &plan)?;
        writeln!(
            out,
            "{:<10} {:>9} {:>7.1} s {:>5} {:>7.1} ms",
            target.name,
            tally.runs,
            begun.elapsed().as_secs_f64(),
            tally.answers,
            tally.slowest.as_secs_f64() * 1000.0
        )?;
        out.flush()?;
        tally.bad.iter().try_for_each(|bad| writeln!(out, "  {bad}"))?;
        runs += tally.runs;
        failed |= !tally.bad.is_empty();
    }
    writeln!(out, "{runs} executions in all")?;
    if failed {
        return Err("an input panicked or took too long".into());
    }
    Ok(())
}

fn plan() -> Result<Plan, Box<dyn Error>> {
    let mut plan = Plan {
        seconds: 2.0,
        count: u64::MAX,
        seed: 1,
        threads: 1,
        targets: Vec::new(),
    };
    let (mut timed, mut counted) = (false, false);
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut value = || words.next().ok_or(format!("{word} needs a number"));
        match word.as_str() {
            "--seconds" => (plan.seconds, timed) = (value()?.parse()?, true),
            "--count" => (plan.count, counted) = (value()?.parse()?, true),
            "--seed" => plan.seed = value()?.parse()?,
            "--threads" => plan.threads = value()?.parse()?,
            name => {
                let target = TARGETS.iter().find(|target| target.name == name);
                plan.targets.push(target.ok_or_else(|| {
                    let known: Vec<&str> = TARGETS.iter().map(|target| target.name).collect();
                    format!("{name} is no target; there are {}", known.join(", "))
                })?);
            }
        }
    }
    if counted && !timed {
        plan.seconds = f64::INFINITY;
    }
    if plan.targets.is_empty() {
        plan.targets = TARGETS.iter().collect();
    }
    Ok(plan)
}

fn here(folder: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/fuzz")
        .join(folder)
}

/// The files of a folder by name, none if there is no such folder.
fn files(folder: &Path) -> io::Result<Vec<(String, Vec<u8>)>> {
    let mut found = Vec::new();
    if folder.is_dir() {
        for entry in fs::read_dir(folder)? {
            let path = entry?.path();
            let name = path
                .file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned();
            found.push((name, fs::read(&path)?));
        }
    }
    found.sort();
    Ok(found)
}

fn fuzz(target: &'static Target, plan: &Plan) -> Result<Tally, Box<dyn Error>> {
    let mut seeds: Vec<Vec<u8>> = files(&here("corpus").join(target.name))?
        .into_iter()
        .map(|(_, bytes)| bytes)
        .collect();
    seeds.extend((target.seeds)());
    if seeds.is_empty() {
        return Err(format!("{}: no seeds in tests/fuzz/corpus", target.name).into());
    }
    let prefix = format!("{}-", target.name);
    let crashes = files(&here("crashes"))?;
    let crashes = crashes.into_iter().filter(|(name, _)| name.starts_with(&prefix));
    let mut work = Work::new(target, seeds.clone(), plan.seed)?;
    for input in crashes.map(|(_, bytes)| bytes).chain(seeds.clone()) {
        work.run(&input);
    }
    let share = plan.count.div_ceil(plan.threads.max(1));
    let end =
        Instant::now() + Duration::try_from_secs_f64(plan.seconds).unwrap_or(Duration::from_secs(1 << 30));
    let others: Mutex<Vec<Work>> = Mutex::new(Vec::new());
    thread::scope(|scope| {
        for number in 1..plan.threads {
            let (seeds, others) = (seeds.clone(), &others);
            scope.spawn(move || {
                if let Ok(mut other) = Work::new(target, seeds, plan.seed + 1000 * number) {
                    other.go_on(share, end);
                    if let Ok(mut all) = others.lock() {
                        all.push(other);
                    }
                }
            });
        }
        work.go_on(share, end);
    });
    let mut tally = work.tally;
    for other in others.into_inner().unwrap_or_default() {
        tally.runs += other.tally.runs;
        tally.answers = tally.answers.max(other.tally.answers);
        tally.slowest = tally.slowest.max(other.tally.slowest);
        tally.bad.extend(other.tally.bad);
    }
    Ok(tally)
}

/// One thread's work on one target.
struct Work {
    target: &'static Target,
    place: tempfile::TempDir,
    dice: ChaCha8Rng,
    seeds: Vec<Vec<u8>>,
    answers: HashSet<String>,
    tally: Tally,
}

impl Work {
    fn new(target: &'static Target, seeds: Vec<Vec<u8>>, seed: u64) -> Result<Work, Box<dyn Error>> {
        let place = tempfile::tempdir()?;
        (target.prepare)(place.path())?;
        Ok(Work {
            target,
            place,
            dice: ChaCha8Rng::seed_from_u64(seed),
            seeds,
            answers: HashSet::new(),
            tally: Tally {
                runs: 0,
                answers: 0,
                slowest: Duration::ZERO,
                bad: Vec::new(),
            },
        })
    }

    fn go_on(&mut self, count: u64, end: Instant) {
        while self.tally.runs < count && Instant::now() < end {
            let first = self.dice.random_range(0..self.seeds.len());
            let second = self.dice.random_range(0..self.seeds.len());
            let input = mutated(
                &self.seeds[first],
                &self.seeds[second],
                self.target.words,
                &mut self.dice,
            );
            if self.run(&input) && self.seeds.len() < MOST_SEEDS && input.len() <= LARGEST_SEED {
                self.seeds.push(input);
            }
        }
    }

    /// Whether the input was answered as none before it.
    fn run(&mut self, input: &[u8]) -> bool {
        let run = || {
            let begun = Instant::now();
            let answer = catch_unwind(AssertUnwindSafe(|| (self.target.run)(input, self.place.path())));
            (answer, begun.elapsed())
        };
        let (answer, mut took) = run();
        // The machine may have been busy with something else.
        for _ in 0..2 {
            if took > LONGEST {
                took = took.min(run().1);
            }
        }
        self.tally.runs += 1;
        self.tally.slowest = self.tally.slowest.max(took);
        let fault = match &answer {
            Err(panic) => Some(
                panic
                    .downcast_ref::<String>()
                    .cloned()
                    .or_else(|| panic.downcast_ref::<&str>().map(|words| (*words).to_owned()))
                    .unwrap_or_else(|| "a panic".to_owned()),
            ),
            Ok(_) if took > LONGEST => Some(format!("{:.1} s", took.as_secs_f64())),
            Ok(_) => None,
        };
        if let Some(fault) = fault {
            let digest = Sha256::digest(input);
            let name = format!(
                "{}-{:02x}{:02x}{:02x}{:02x}",
                self.target.name, digest[0], digest[1], digest[2], digest[3]
            );
            let path = here("crashes").join(&name);
            if self.answers.insert(shape(&fault)) {
                let kept =
                    fs::write(&path, input).map_or_else(|e| e.to_string(), |()| path.display().to_string());
                self.tally.bad.push(format!("{fault}: {kept}"));
            }
            return false;
        }
        let new = self.answers.insert(shape(&answer.unwrap_or_default()));
        self.tally.answers = self.answers.len();
        new
    }
}

/// An answer without its numbers, so that like faults count as one.
fn shape(answer: &str) -> String {
    answer.chars().filter(|c| !c.is_ascii_digit()).take(400).collect()
}
