//! Values that the tests of this module share: a bar of sixteenths at 120 in the tests' own invented recording.

use std::path::Path;

use super::corrections::{Loaded, load};
use super::{GroupFacts, RecordingFacts, Saved, Study, StudyError, write};
use crate::cycles::{
    Broken, Carrier, Cycle, Cycles, FigureNote, Home, LengthTried, Moment, Resolved, Verdict, home,
};
use crate::grid::{Grid, Meter, Place, Placed, Rival, Swing, UnevenBeat};
use crate::names::{Limb, Voice};
use crate::options::Options;
use crate::units::{Bits, Bpm, Decibels, Millis, Seconds, Steps};
use crate::voices::{Hit, Timbre};

/// The length of the recording.
pub(super) const END: Seconds = Seconds(30.0);

pub(super) fn facts() -> RecordingFacts {
    RecordingFacts {
        file: "five-walk.wav".into(),
        sha256: "ab".repeat(32),
        seconds: END,
        sample_rate: 48_000,
        channels: 2,
    }
}

pub(super) fn hit(time: f64, voice: Voice) -> Hit {
    Hit {
        time: Seconds(time),
        voice,
        level: Decibels(-6.3),
        mark: None,
        grace: None,
        sure: 0.75,
    }
}

/// 4/4 at 120 bpm, four steps a beat, one beat of pick-up.
pub(super) fn grid() -> Grid {
    Grid {
        tempo: Bpm(120.0),
        beats: (0..56)
            .map(|beat| Seconds(0.25 + 0.5 * f64::from(beat)))
            .collect(),
        first_downbeat: 1,
        sure: 0.9,
        rivals: vec![Rival {
            tempo_bpm: Bpm(60.0),
            meter: Meter { count: 2, unit: 4 },
            steps_per_beat: 8,
            share: 0.1,
        }],
        warnings: vec!["the tempo is far from steady".into()],
        ..Grid::none()
    }
}

/// Every hit on its nearest step.
pub(super) fn place(hits: &[Hit], grid: &Grid) -> Vec<Placed> {
    let placed = |hit: &Hit| {
        let step = Steps(grid.steps_at(hit.time)?.round() as i64);
        let late = Millis((hit.time - grid.time_of(step)?).0 * 1000.0);
        Some(Placed {
            hit: *hit,
            step,
            late,
        })
    };
    hits.iter().filter_map(placed).collect()
}

/// A figure of five sixteenths for the feet from bar 1 on, begun anew every two bars.
pub(super) fn five() -> Cycle {
    let (home_cycles, home_bars) = home(Steps(5), Steps(16));
    let note = |step, voice, limb| FigureNote {
        step,
        voices: vec![voice],
        limb: Some(limb),
    };
    let moment = |bar, time| Moment {
        bar,
        beat: 1,
        step: 1,
        time: Seconds(time),
    };
    Cycle {
        length_steps: 5,
        length_notes: 2,
        length_seconds: Seconds(0.625),
        crosses_bar: true,
        figure: vec![
            note(1, Voice::KickLeft, Limb::LeftFoot),
            note(4, Voice::Kick, Limb::RightFoot),
        ],
        voices: vec![Voice::Kick, Voice::KickLeft],
        start: moment(1, 0.75),
        end: moment(5, 8.75),
        repeats: 12,
        kept: 0.958_333,
        broken: vec![Broken {
            repeat: 3,
            start: Place {
                bar: 1,
                beat: 3,
                step: 3,
            },
            missing: vec![(4, Voice::Kick)],
            added: vec![],
            moved: vec![(1, Voice::KickLeft, 1)],
        }],
        bits: Bits(123.456),
        chance: 0.000_999,
        home_bars,
        home_cycles,
        resolved: Some(Resolved { every_bars: 2 }),
        carrier: Carrier::Voices,
        grade: Verdict::Certain,
        home: Home::default(),
    }
}

/// A study with something under every key.
pub(super) fn full_study() -> Study {
    let times = [
        (0.75, Voice::KickLeft),
        (1.125, Voice::Kick),
        (1.15, Voice::Snare),
        (4.75, Voice::KickLeft),
    ];
    let hits: Vec<Hit> = times.iter().map(|(time, voice)| hit(*time, *voice)).collect();
    let mut options = Options::default();
    options.grid.meter = Some(Meter::COMMON);
    options.grid.beats = vec![Seconds(0.75), Seconds(1.25)];
    options.audio.to = Some(Seconds(12.5));
    options.hits.mix = true;
    options.voices.mix = true;
    let cycles = Cycles {
        found: vec![five()],
        open: None,
        lengths: vec![
            LengthTried {
                steps: 4,
                bits: Bits(-3.25),
            },
            LengthTried {
                steps: 5,
                bits: Bits(123.456),
            },
        ],
        layer: vec![Some(0), Some(0), None, Some(0)],
    };
    let placed = place(&hits, &grid());
    let mut study = Study::new(
        facts(),
        options,
        &hits,
        Grid {
            uneven: vec![UnevenBeat { beat: 9, steps: 6 }],
            swing: Some(Swing {
                ratio: 1.25,
                spread: 0.125,
            }),
            ..grid()
        },
        &placed,
        cycles,
        vec!["a warning".into()],
    );
    study.groups = vec![GroupFacts {
        group: Voice::Snare,
        voice: Voice::Snare2,
        limb: Some(Limb::LeftHand),
        note: "10 inch".into(),
        hits: 1,
        example_times: vec![Seconds(1.15)],
        sound: Timbre {
            pitch_hz: Some(312.5),
            bright_hz: 2400.0,
            ring_s: 0.125,
            pan: Some(-0.25),
        },
    }];
    study
}

/// What `overbar study` does with a folder, the program having found these hits and neither grid nor figure.
pub(super) fn run(folder: &Path, hits: &[Hit]) -> Result<(Loaded, Saved), StudyError> {
    run_part(folder, hits, Seconds(0.0), END)
}

/// The same for a part of the recording.
pub(super) fn run_part(
    folder: &Path,
    hits: &[Hit],
    from: Seconds,
    to: Seconds,
) -> Result<(Loaded, Saved), StudyError> {
    let mut loaded = load(folder)?;
    let heard = hits
        .iter()
        .filter(|hit| (from..=to).contains(&hit.time))
        .copied()
        .collect();
    let hits = loaded.corrections.apply_hits(heard, &(from..=to));
    let mut study = Study::new(
        facts(),
        Options::default(),
        &hits,
        Grid::none(),
        &[],
        Cycles::default(),
        vec![],
    );
    loaded.corrections.apply_rows(&mut study.strokes);
    let saved = write(folder, &study, &loaded)?;
    Ok((loaded, saved))
}

/// The text of `hits.tsv`.
pub(super) fn text(folder: &Path) -> String {
    std::fs::read_to_string(folder.join("hits.tsv")).unwrap()
}

/// Replaces `hits.tsv` as an editor would.
pub(super) fn edit(folder: &Path, change: impl FnOnce(String) -> String) {
    let changed = change(text(folder));
    std::fs::write(folder.join("hits.tsv"), changed).unwrap();
}

/// The rows of `hits.tsv` without comments and header, their first two cells.
pub(super) fn rows(folder: &Path) -> Vec<(String, String)> {
    let text = text(folder);
    let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    let cells = |line: &str| {
        let mut cells = line.split('\t').map(str::to_owned);
        (cells.next().unwrap_or_default(), cells.next().unwrap_or_default())
    };
    rows.map(cells).collect()
}
