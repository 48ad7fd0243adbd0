//! One run of every stage up to the figure, timed, for the comparison with a general audio library.
//!
//!     analyse RECORDING
//!
//! Out, as JSON on standard output: seconds per stage, the most memory this process has held by the end of each, hits,
//! beats, and the most memory in all, in KiB (Linux only; 0 elsewhere).

use std::error::Error;
use std::io;
use std::path::PathBuf;
use std::time::Instant;

use overbar::options::Options;
use overbar::{audio, cycles, grid, hits, listen, voices};

/// Runs `work` and notes its time under `stage`.
fn timed<T>(
    times: &mut serde_json::Map<String, serde_json::Value>,
    stage: &str,
    work: impl FnOnce() -> T,
) -> T {
    let start = Instant::now();
    let made = work();
    let seconds = start.elapsed().as_secs_f64();
    times.insert(stage.to_owned(), serde_json::json!([seconds, peak_kib()]));
    made
}

/// The high-water mark of resident memory, as the kernel counts it.
fn peak_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    line.and_then(|l| l.trim().trim_end_matches(" kB").parse().ok())
        .unwrap_or(0)
}

fn main() -> Result<(), Box<dyn Error>> {
    let file = PathBuf::from(std::env::args_os().nth(1).ok_or("usage: analyse RECORDING")?);
    let options = Options::default();
    let mut times = serde_json::Map::new();
    let recording = timed(&mut times, "read", || audio::read(&file, &options.audio))?;
    let heard = timed(&mut times, "listen", || listen::listen(&recording));
    let onsets = timed(&mut times, "hits", || {
        hits::find(&recording, &heard, &options.hits)
    });
    let named = timed(&mut times, "voices", || {
        voices::name(&recording, &heard, &onsets, &options.voices)
    });
    let found = timed(&mut times, "grid", || grid::find(&named, &options.grid));
    let placed = timed(&mut times, "steps", || grid::place(&named, &found));
    let figures = timed(&mut times, "cycles", || {
        cycles::find(&placed, &found, &options.cycles)
    });
    let part = |part: usize| {
        let parts = times
            .iter()
            .map(|(stage, both)| (stage.clone(), both[part].clone()));
        parts.collect::<serde_json::Map<_, _>>()
    };
    let told = serde_json::json!({
        "seconds": part(0),
        "peak_kib_after": part(1),
        "hits": named.len(),
        "beats": found.beats.len(),
        "figures": figures.found.len(),
        "peak_kib": peak_kib(),
    });
    serde_json::to_writer(io::stdout().lock(), &told)?;
    Ok(())
}
