//! Overbar turns a drum recording into a study: every hit on a grid, the figure that some limbs repeat across
//! the bar line with proof of its length, and charts to read.
//!
//! The modules stand in the order in which the data flows; a later one may use an earlier one, never the other way.
//! [`study_of`] is the whole way on one page.

pub mod units;

pub mod names;

pub mod files;

pub mod options;

pub mod audio;

pub mod listen;

pub mod hits;

pub mod voices;

pub mod grid;

pub mod cycles;

pub mod stickings;

pub mod study;

pub mod charts;

pub mod notation;

pub mod practice;

pub mod page;

pub mod cli;

use audio::Recording;
use listen::Heard;
use options::{CycleOptions, Ear, Options};
use study::corrections::Corrections;
use study::{RecordingFacts, Study};

/// A part of the work, for those who watch it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Decoding the file.
    Read,
    /// Finding hits.
    Hits,
    /// Naming voices.
    Voices,
    /// Finding the grid.
    Grid,
    /// Searching for figures.
    Cycles,
    /// Finding limbs and stickings.
    Stickings,
    /// Writing the study folder.
    Write,
}

/// From a recording to its study. The player's kit and corrections are put in as soon as the hits have voices, so that
/// the grid and the figures follow from them; `watch` hears of each stage as it begins.
pub fn study_of(
    recording: &Recording,
    options: &Options,
    corrections: &mut Corrections,
    mut watch: impl FnMut(Stage),
) -> Study {
    watch(Stage::Hits);
    let heard = match options.ear {
        Ear::Trained if options.hits.mix => listen::listen_through_a_band(recording),
        Ear::Trained => listen::listen(recording),
        Ear::Fast => Heard::default(),
    };
    let onsets = hits::find(recording, &heard, &options.hits);
    watch(Stage::Voices);
    let named = voices::name(recording, &heard, &onsets, &options.voices);
    // Of hours this is much, and nobody asks for it any more.
    drop((heard, onsets));
    let groups = voices::measure(recording, &named);
    let named = corrections.apply_kit(named, groups);
    let stretch = recording.start..=recording.start + recording.seconds();
    let hits = corrections.apply_hits(named, &stretch);
    watch(Stage::Grid);
    let grid = grid::find(&hits, &options.grid);
    watch(Stage::Cycles);
    let told = CycleOptions {
        limbs: corrections.limbs(),
        ..options.cycles.clone()
    };
    let (grid, placed, cycles) = cycles::settle(&hits, grid, &options.grid, &told);
    let facts = RecordingFacts::from(&recording.source);
    let mut warnings = recording.warnings.clone();
    if options.hits.mix {
        warnings.push(voices::LESS_SURE_IN_MIX.into());
    }
    let mut options = options.clone();
    // What the kit file says of the player comes in here: options are what the command was given.
    if let Ok(body) = corrections.body().clone().try_into() {
        options.stickings.body = body;
    }
    let mut study = Study::new(facts, options, &hits, grid, &placed, cycles, warnings);
    watch(Stage::Stickings);
    study.share_out(&[]);
    corrections.apply_rows(&mut study.strokes);
    if corrections.says_who_plays() {
        study.share_out(&corrections.named(&study.strokes));
        corrections.apply_rows(&mut study.strokes);
    }
    study.groups = corrections.groups(&study.strokes);
    study
}
