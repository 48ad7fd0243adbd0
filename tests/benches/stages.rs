//! How long each stage takes on ten minutes of drums, and the front end beside the transform it cannot do without.
//!
//!     cargo bench --bench stages
//!
//! Ten minutes are the demo's bars, looped. Each figure is the median of five runs, with the fastest and the slowest.
//! The transform is a bare short-time Fourier transform of the same window and hop, written as it comes, with
//! nothing done to its spectra.

use std::error::Error;
use std::fs::File;
use std::hint::black_box;
use std::io::{self, Write};
use std::path::Path;
use std::time::Instant;

use overbar::audio::{self, RATE, Recording};
use overbar::options::Options;
use overbar::units::Seconds;
use overbar::{cycles, grid, hits, listen, voices};
use realfft::RealFftPlanner;

const MINUTES: usize = 10;
const RUNS: usize = 5;

/// Ten minutes of the demo, mono: its whole bars over and over, so that the music goes on.
fn ten_minutes(demo: &Recording, downbeats: &[Seconds]) -> Vec<f32> {
    let sample = |time: Option<&Seconds>| time.map_or(0, |t| t.to_sample(RATE));
    let (first, last) = (sample(downbeats.first()), sample(downbeats.last()));
    let mut bars = vec![0.0f32; last.saturating_sub(first)];
    demo.read_mono(first as isize, &mut bars);
    bars.into_iter()
        .cycle()
        .take(MINUTES * 60 * RATE as usize)
        .collect()
}

/// Times `work` and tells; gives back what it made last.
fn time<T>(what: &str, mut work: impl FnMut() -> T) -> io::Result<T> {
    let mut last = black_box(work()); // not counted: caches, page faults
    let mut runs = Vec::with_capacity(RUNS);
    for _ in 0..RUNS {
        let start = Instant::now();
        last = black_box(work());
        runs.push(start.elapsed().as_secs_f64() * 1000.0);
    }
    runs.sort_by(f64::total_cmp);
    let (fastest, median, slowest) = (runs[0], runs[RUNS / 2], runs[RUNS - 1]);
    writeln!(
        io::stdout(),
        "{what:<24}{median:>10.1} ms   ({fastest:.1} to {slowest:.1})"
    )?;
    Ok(last)
}

/// Tells how many bare transforms `work` takes, both on this one thread and in turn, so that other work on the machine
/// strikes both.
fn beside<T>(what: &str, samples: &[f32], mut work: impl FnMut() -> T) -> io::Result<()> {
    let seconds = |start: Instant| start.elapsed().as_secs_f64();
    let mut runs = Vec::with_capacity(RUNS);
    black_box(work()); // not counted, as above
    for _ in 0..RUNS {
        let start = Instant::now();
        black_box(bare_transform(black_box(samples)));
        let bare = seconds(start);
        let start = Instant::now();
        black_box(work());
        let own = seconds(start);
        runs.push((own / bare, own * 1000.0, bare * 1000.0));
    }
    runs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let ((least, ..), (median, own, bare), (most, ..)) = (runs[0], runs[RUNS / 2], runs[RUNS - 1]);
    writeln!(
        io::stdout(),
        "{what}, one thread: {median:.2} bare transforms ({least:.2} to {most:.2}); {own:.0} ms, {bare:.0} ms"
    )
}

/// Power of every bin of every frame, summed so that nothing is left out.
fn bare_transform(samples: &[f32]) -> f32 {
    let transform = RealFftPlanner::<f32>::new().plan_fft_forward(hits::WINDOW);
    let step = std::f32::consts::TAU / hits::WINDOW as f32;
    let window: Vec<f32> = (0..hits::WINDOW)
        .map(|n| 0.5 - 0.5 * (n as f32 * step).cos())
        .collect();
    let (mut input, mut output) = (transform.make_input_vec(), transform.make_output_vec());
    let mut scratch = transform.make_scratch_vec();
    let mut power = 0.0;
    for frame in samples.windows(hits::WINDOW).step_by(hits::HOP) {
        for ((i, s), w) in input.iter_mut().zip(frame).zip(&window) {
            *i = s * w;
        }
        if transform
            .process_with_scratch(&mut input, &mut output, &mut scratch)
            .is_ok()
        {
            power += output.iter().map(|bin| bin.norm_sqr()).sum::<f32>();
        }
    }
    power
}

fn main() -> Result<(), Box<dyn Error>> {
    let options = Options::default();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("test-audio/paper-lanterns");
    let truth: serde_json::Value = serde_json::from_reader(File::open(demo.with_extension("json"))?)?;
    let downbeats: Vec<Seconds> = serde_json::from_value(truth["downbeats"].clone())?;
    let samples = ten_minutes(
        &audio::read(&demo.with_extension("wav"), &options.audio)?,
        &downbeats,
    );
    let folder = tempfile::tempdir()?;
    let long = folder.path().join("ten-minutes.wav");
    audio::write_wav(&long, std::slice::from_ref(&samples), RATE)?;

    let recording = time("read", || audio::read(&long, &options.audio))?;
    let recording = recording?;
    let heard = time("listen", || listen::listen(&recording))?;
    let onsets = time("hits", || hits::find(&recording, &heard, &options.hits))?;
    let named = time("voices", || {
        voices::name(&recording, &heard, &onsets, &options.voices)
    })?;
    let found = time("grid", || grid::find(&named, &options.grid))?;
    let placed = time("steps", || grid::place(&named, &found))?;
    let figures = time("cycles", || cycles::find(&placed, &found, &options.cycles))?;

    let alone = rayon::ThreadPoolBuilder::new().num_threads(1).build()?;
    alone.install(|| {
        beside("front end", &samples, || hits::front_end(&recording))?;
        beside("hits", &samples, || hits::find(&recording, &heard, &options.hits))?;
        beside("listen", &samples, || listen::listen(&recording))
    })?;
    let threads = rayon::current_num_threads();
    writeln!(
        io::stdout(),
        "{} onsets, {} figures in {MINUTES} minutes, on {threads} threads but where one is named",
        onsets.len(),
        figures.found.len()
    )?;
    Ok(())
}
