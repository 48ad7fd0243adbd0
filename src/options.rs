//! Options of every stage and their defaults, declared once for the library and for the command.

use crate::grid::Meter;
use crate::names::{Limb, Voice};
use crate::stickings::body::Body;
use crate::units::{Bpm, Seconds};

/// Which part of the file is studied.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AudioOptions {
    /// Leave out what comes before this time.
    pub from: Option<Seconds>,
    /// Leave out what comes after this time.
    pub to: Option<Seconds>,
}

/// How hits are found.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct HitOptions {
    /// There is a band on the recording.
    pub mix: bool,
}

/// How voices are named.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct VoiceOptions {
    /// There is a band on the recording.
    pub mix: bool,
}

/// What the player already knows about the grid; everything that is `None` or empty is found.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct GridOptions {
    /// Tempo, about.
    pub tempo: Option<Bpm>,
    /// Beats in a bar and the note that counts as one.
    pub meter: Option<Meter>,
    /// Steps in a beat.
    pub steps_per_beat: Option<u32>,
    /// The time of some bar's first beat.
    pub downbeat: Option<Seconds>,
    /// Beats that the player tapped or wrote down, rising.
    pub beats: Vec<Seconds>,
}

/// How the repeating figure is searched.
#[derive(Debug, Clone, PartialEq)]
pub struct CycleOptions {
    /// Bars of a phrase, against which a figure's way home is told.
    pub phrase_bars: u32,
    /// Which limb plays a voice, as the player's kit says: figures of a limb, or of two, are looked for as one line.
    pub limbs: Vec<(Voice, Limb)>,
    /// Shuffles that the chance of a figure is counted over, where it is rare and the music is not long.
    pub shuffles: u64,
}

impl Default for CycleOptions {
    fn default() -> Self {
        // Eight bars are a usual phrase [C].
        CycleOptions {
            phrase_bars: 8,
            limbs: Vec::new(),
            shuffles: 999,
        }
    }
}

/// Who plays, and on which kit.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StickingOptions {
    /// Kit and body.
    pub body: Body,
}

/// How the recording is listened to before anything else.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Ear {
    /// By the trained network, beside the flux of the spectrum.
    #[default]
    Trained,
    /// By the flux of the spectrum alone: faster, less sure.
    Fast,
}

/// All options of a study. `Options::default()` is what the command does when no flag is given.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Options {
    /// Which part of the file.
    pub audio: AudioOptions,
    /// Listening.
    pub ear: Ear,
    /// Hits.
    pub hits: HitOptions,
    /// Voices.
    pub voices: VoiceOptions,
    /// Grid hints.
    pub grid: GridOptions,
    /// Cycles.
    pub cycles: CycleOptions,
    /// Stickings.
    pub stickings: StickingOptions,
}

/// How practice sound is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Form {
    /// Counted in, once through.
    #[default]
    Once,
    /// Without a count-in, so that the end goes over into the beginning.
    Loop,
    /// The original first, then the slow.
    Beside,
}

/// How practice sound is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoundOptions {
    /// Share of the recording's speed, 0.3 to 1. Players begin at 50 to 60 % \[C\].
    pub speed: f64,
    /// Once, as a loop, or beside the original.
    pub form: Form,
    /// A click on beats, bars and starts of the figure.
    pub click: bool,
    /// Bars counted before the passage.
    pub count_in_bars: u32,
}

impl Default for SoundOptions {
    fn default() -> Self {
        SoundOptions {
            speed: 0.6,
            form: Form::Once,
            click: true,
            count_in_bars: 1,
        }
    }
}

/// In which order tempos are worked through.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Way {
    /// Upwards in steps \[C\].
    #[default]
    Steps,
    /// Slow and full tempo in turn: steady increase was no better than other patterns
    /// [P: Henley, Journal of Research in Music Education, 2001].
    Alternating,
}

/// How a plan leads from the present tempo to the target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LadderOptions {
    /// In steps or alternating.
    pub way: Way,
    /// The player's present tempo; `None` is 55 % of the target: players begin at 50 to 60 % \[C\].
    pub from: Option<Bpm>,
    /// The target; `None` is the study's tempo.
    pub to: Option<Bpm>,
    /// How much faster each step is: 2 to 5 bpm \[C\].
    pub step: Bpm,
    /// Clean rounds in a row before the next step: three \[C\].
    pub clean_rounds: u32,
    /// Failed rounds after which the tempo goes back: two \[C\].
    pub failed_rounds: u32,
    /// By what share it goes back then: 5 % \[C\].
    pub back: f64,
    /// Minutes of playing before a rest, and of rest: 5 in 25 (TRADE 10) \[C\].
    pub play_minutes: f64,
    /// Minutes of rest.
    pub rest_minutes: f64,
    /// By what share a week's minutes may exceed those of the week before \[M\].
    pub more_a_week: f64,
}

impl Default for LadderOptions {
    fn default() -> Self {
        LadderOptions {
            way: Way::Steps,
            from: None,
            to: None,
            step: Bpm(4.0),
            clean_rounds: 3,
            failed_rounds: 2,
            back: 0.05,
            play_minutes: 20.0,
            rest_minutes: 5.0,
            more_a_week: 0.1,
        }
    }
}

/// How an attempt is measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TakeOptions {
    /// A clean hit lies within this of the fitted tempo … \[M\]
    pub clean: Seconds,
    /// … and within this share of a step, whichever is smaller \[M\].
    pub clean_share: f64,
    /// The slowest and fastest speed, as shares of the original, at which an attempt is looked for.
    pub speeds: (f64, f64),
}

impl Default for TakeOptions {
    fn default() -> Self {
        TakeOptions {
            clean: Seconds(0.025),
            clean_share: 0.25,
            speeds: (0.25, 1.3),
        }
    }
}

/// How strokes are shared out to voices and staves of the written score.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ScoreLayout {
    /// Hands with stems up, feet with stems down: reads best for layered playing
    /// [P: Weinberg, Guide to Standardized Drumset Notation, 1998].
    #[default]
    HandsFeet,
    /// One voice: for dense linear playing.
    OneVoice,
    /// The free line on one staff, the figure on another below.
    FigureSolo,
}

impl ScoreLayout {
    /// All of them.
    pub const ALL: [ScoreLayout; 3] = [
        ScoreLayout::HandsFeet,
        ScoreLayout::OneVoice,
        ScoreLayout::FigureSolo,
    ];

    /// What it is called, also in the names of files.
    pub fn name(self) -> &'static str {
        match self {
            ScoreLayout::HandsFeet => "hands-feet",
            ScoreLayout::OneVoice => "one",
            ScoreLayout::FigureSolo => "figure-solo",
        }
    }

    /// How files of a score begin their names, such as `staff` or `staff-figure-solo`: the usual layout has none of its own.
    pub fn named(self, file: &str) -> String {
        if self == ScoreLayout::default() {
            file.to_owned()
        } else {
            format!("{file}-{}", self.name())
        }
    }
}

/// What the staff pages are drawn for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// A music stand.
    #[default]
    A4,
    /// A phone held upright.
    Phone,
    /// A slip as wide as A4 and as high as its notes: one drill.
    Slip,
}

/// How the steps under the staff are counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum CountHabit {
    /// 1 e & a, 1 trip let \[C\].
    #[default]
    Syllables,
    /// 1 ta & ta, 1 la li \[C\].
    Lalis,
    /// The number of the step in its beat.
    Numbers,
    /// The number of the step in the figure.
    Figure,
    /// Not at all.
    None,
}

/// Which tempo the written score has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ScoreTempo {
    /// The recording's, beat by beat; strokes come as late as they were played.
    #[default]
    Recording,
    /// The median tempo throughout; strokes stand on their steps.
    Straight,
}

/// What has a track of its own in the MIDI file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Tracks {
    /// Every limb.
    #[default]
    Limbs,
    /// The figure and the free line.
    Layers,
}

/// How the score of a study is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ScoreOptions {
    /// Voices and staves.
    pub layout: ScoreLayout,
    /// Paper of the staff pages.
    pub paper: Paper,
    /// The count under the staff.
    pub count: CountHabit,
    /// Tempo of the MusicXML and MIDI files.
    pub tempo: ScoreTempo,
    /// Tracks of the MIDI file.
    pub tracks: Tracks,
}
