//! Scores comparisons of times for the outside checks.
//!
//! In, as JSON on standard input: a list of {truth, estimate, window}, all in seconds. Out, as JSON: for each
//! {onset: {f, precision, recall}, beat, beat_trimmed}.

#[path = "../suite/score.rs"]
mod score;

use std::io;

use overbar::units::Seconds;
use serde::{Deserialize, Serialize};

#[derive(Deserialize)]
struct Comparison {
    truth: Vec<Seconds>,
    estimate: Vec<Seconds>,
    window: Seconds,
}

#[derive(Serialize)]
struct Figures {
    onset: score::Score,
    beat: f64,
    beat_trimmed: f64,
}

fn main() -> Result<(), serde_json::Error> {
    let comparisons: Vec<Comparison> = serde_json::from_reader(io::stdin().lock())?;
    let figures = comparisons.iter().map(|c| Figures {
        onset: score::onsets(&c.truth, &c.estimate, c.window),
        beat: score::beats(&c.truth, &c.estimate).f,
        beat_trimmed: score::beats(score::trimmed(&c.truth), score::trimmed(&c.estimate)).f,
    });
    serde_json::to_writer(io::stdout().lock(), &figures.collect::<Vec<_>>())
}
