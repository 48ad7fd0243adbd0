//! What can be typed, and how it becomes options. The argument parser's types stay in this folder.

use std::path::PathBuf;
use std::str::FromStr;

use clap::error::ErrorKind;
use clap::{Args, CommandFactory, Parser, Subcommand};

use super::line::{LimbPair, LineFlags};
use crate::charts::ChartKind;
use crate::cycles::Unit;
use crate::grid::Meter;
use crate::names::Voice;
use crate::notation::staff;
use crate::options::{
    AudioOptions, CountHabit, CycleOptions, Ear, Form, GridOptions, HitOptions, LadderOptions, Options,
    Paper, ScoreLayout, ScoreOptions, ScoreTempo, SoundOptions, StickingOptions, Tracks, VoiceOptions, Way,
};
use crate::practice;
use crate::practice::drills::Cell;
use crate::units::{Bpm, Seconds};

/// Turn a drum recording into a study: every hit on a grid, the figure that some limbs repeat across the bar
/// line with proof of its length, and charts to read.
#[derive(Debug, Parser)]
#[command(
    name = "overbar",
    version,
    max_term_width = 100,
    arg_required_else_help = true
)]
pub(super) struct Line {
    #[command(subcommand)]
    pub(super) command: Command,
}

/// Refuses what each argument may say but all together may not.
pub(super) fn checked(line: Line) -> Result<Line, clap::Error> {
    let conflict = match &line.command {
        Command::Study(args) => args
            .meant_for_one()
            .map(|option| format!("{option} can hold for one recording only; study that one by itself")),
        Command::Drill(args) => args.meant_otherwise(),
        _ => None,
    };
    match conflict {
        Some(words) => Err(Line::command().error(ErrorKind::ArgumentConflict, words)),
        None => Ok(line),
    }
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    Study(StudyArgs),
    Verify(VerifyArgs),
    Chart(ChartArgs),
    Drill(DrillArgs),
    Take(TakeArgs),
    #[command(hide = true)]
    Manual(ManualArgs),
}

/// Listen to a recording and make its study folder: hits, grid, repeating figure, charts.
///
/// Run it again after editing hits.tsv in the study folder: your edits are kept, and the grid, the figure and
/// the charts are made anew from them.
#[derive(Debug, Args)]
pub(super) struct StudyArgs {
    /// The recording: WAV, FLAC, MP3, M4A, Ogg Vorbis, AIFF, or a film with one of their sounds; several make a
    /// study each
    #[arg(required = true, value_name = "RECORDING")]
    pub(super) recordings: Vec<PathBuf>,

    /// The study folder, or of several recordings the folder for their study folders [default: output/ and the
    /// recording's name]
    #[arg(long, value_name = "DIR")]
    pub(super) out: Option<PathBuf>,

    /// Listen without the trained network: faster, with more to correct
    #[arg(long)]
    pub(super) fast: bool,

    /// Start from the kit of another study: its kit.toml, with the names, limbs and notes that you gave there
    #[arg(long, value_name = "FILE")]
    pub(super) kit: Option<PathBuf>,

    /// How many minutes of sound may lie beside study.html; 0 leaves the page silent
    #[arg(long, value_name = "MINUTES", default_value = "20", allow_negative_numbers = true, value_parser = clap::value_parser!(u32).range(0..=600))]
    pub(super) page_sound: u32,

    #[command(flatten)]
    pub(super) hints: Hints,

    #[command(flatten)]
    pub(super) talk: Talk,
}

/// Is the figure as long as somebody says, or is it played as somebody wrote it?
///
/// A length is weighed against every other length; a written score is held against the recording bar by bar.
#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("said").required(true).args(["length", "score"]))]
pub(super) struct VerifyArgs {
    /// The study folder
    pub(super) study: PathBuf,

    /// The claimed length of the figure
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true, value_parser = length)]
    pub(super) length: Option<f64>,

    /// What the length counts: steps (rests counted), notes (struck ones) or beats
    #[arg(long = "in", value_name = "UNIT", default_value = "steps", value_parser = unit, requires = "length")]
    pub(super) unit: Unit,

    /// Look at these voices only, such as kick,hat_foot
    #[arg(long, value_name = "VOICES", value_delimiter = ',', value_parser = named::<Voice>)]
    pub(super) voices: Vec<Voice>,

    /// Look from here on, in seconds from the beginning of the file
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true, value_parser = seconds)]
    pub(super) from: Option<Seconds>,

    /// Look up to here, in seconds from the beginning of the file
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true, value_parser = seconds)]
    pub(super) to: Option<Seconds>,

    /// A written score to hold against the recording: a MIDI file, or MusicXML that is not compressed
    #[arg(long, value_name = "FILE")]
    pub(super) score: Option<PathBuf>,

    #[command(flatten)]
    pub(super) talk: Talk,
}

/// Draw the charts of a study again, all of it or some bars.
#[derive(Debug, Args)]
pub(super) struct ChartArgs {
    /// The study folder
    pub(super) study: PathBuf,

    /// Only this chart: grid, stack, evidence, staircase, strip, solo, learn, cells, tempo, or staff with the score's
    /// other files [default: all]
    #[arg(long, value_name = "CHART", value_parser = named::<Picture>)]
    pub(super) chart: Option<Picture>,

    /// Only these bars, such as 5-12
    #[arg(long, value_name = "FROM-TO", value_parser = named::<Bars>)]
    pub(super) bars: Option<Bars>,

    /// The cells between these two limbs, figure and all, such as RH,LF: draws solo, learn and cells
    #[arg(long, value_name = "LIMB,LIMB", value_parser = named::<LimbPair>, conflicts_with_all = ["easier", "my_kit"])]
    pub(super) limbs: Option<LimbPair>,

    #[command(flatten)]
    pub(super) suits: LineFlags,

    #[command(flatten)]
    pub(super) score: ScoreFlags,

    #[command(flatten)]
    pub(super) talk: Talk,
}

/// A chart, or the written score.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Picture {
    Chart(ChartKind),
    Staff,
}

impl FromStr for Picture {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == staff::NAME {
            return Ok(Picture::Staff);
        }
        let found = text.parse().map(Picture::Chart);
        found.map_err(|error: crate::names::UnknownName| format!("{error}, {}", staff::NAME))
    }
}

/// How the score is written.
#[derive(Debug, Args, Clone, Copy)]
#[command(next_help_heading = "The written score")]
pub(super) struct ScoreFlags {
    /// Voices and staves: hands-feet, one, or figure-solo on two staves
    #[arg(long, value_name = "LAYOUT", default_value = "hands-feet", value_parser = layout)]
    layout: ScoreLayout,

    /// What the staff, the free line and the cells are drawn for: a4 or phone
    #[arg(long, value_name = "PAPER", default_value = "a4", value_parser = paper)]
    paper: Paper,

    /// How steps are counted under the staff: syllables (1 e & a), lalis (1 la li), numbers, figure, none
    #[arg(long, value_name = "HABIT", default_value = "syllables", value_parser = count)]
    count: CountHabit,

    /// One tempo throughout in MusicXML and MIDI, strokes on their steps, instead of the recording's
    #[arg(long)]
    straight: bool,

    /// What has a MIDI track of its own: limbs or layers
    #[arg(long, value_name = "WHAT", default_value = "limbs", value_parser = tracks)]
    tracks: Tracks,
}

impl ScoreFlags {
    /// The options that these flags stand for; no flag at all gives `ScoreOptions::default()`.
    pub(super) fn options(self) -> ScoreOptions {
        ScoreOptions {
            layout: self.layout,
            paper: self.paper,
            count: self.count,
            tempo: if self.straight {
                ScoreTempo::Straight
            } else {
                ScoreTempo::Recording
            },
            tracks: self.tracks,
        }
    }
}

/// Make practice material from a study: sheets, a ladder of tempos and every drill as sound; or, with --bars or
/// --repeats, those bars slowed, and played by a synthesised kit.
///
/// Everything lands in practice/ in the study folder.
#[derive(Debug, Args)]
pub(super) struct DrillArgs {
    /// The study folder
    pub(super) study: PathBuf,

    /// The recording that the study was made of, to slow it
    #[arg(long, value_name = "FILE")]
    pub(super) recording: Option<PathBuf>,

    /// These bars, such as 5-8
    #[arg(long, value_name = "FROM-TO", value_parser = named::<Bars>, conflicts_with = "repeats")]
    bars: Option<Bars>,

    /// These repeats of the figure, such as 1-8
    #[arg(long, value_name = "FROM-TO", value_parser = named::<Bars>)]
    repeats: Option<Bars>,

    /// How fast, in percent of the recording [default: 60]
    #[arg(long, value_name = "PERCENT", value_parser = clap::value_parser!(u32).range(30..=100))]
    speed: Option<u32>,

    /// A loop without a seam and without a count-in
    #[arg(long = "loop", conflicts_with = "beside")]
    looped: bool,

    /// The original first, then the slow
    #[arg(long)]
    beside: bool,

    /// No click; beats, bars and starts of the figure click otherwise
    #[arg(long)]
    no_click: bool,

    /// Bars to count in
    #[arg(long, value_name = "BARS", default_value_t = 1, value_parser = clap::value_parser!(u32).range(0..=4))]
    count_in: u32,

    /// What the kit plays: all, figure or solo [default: all]
    #[arg(long, value_name = "LINE", value_parser = line)]
    line: Option<practice::Line>,

    #[command(flatten)]
    pub(super) suits: LineFlags,

    /// A sticking to practise, such as RLRRLL or six:RLRRLL; may be given several times
    #[arg(long = "cell", value_name = "CELL", value_parser = named::<Cell>)]
    pub(super) cells: Vec<Cell>,

    /// Your present tempo: the ladder begins here, and the kit plays at it [default: 55 % of the target]
    #[arg(long, value_name = "BPM", allow_negative_numbers = true, value_parser = tempo)]
    pub(super) tempo: Option<Bpm>,

    /// The tempo to reach [default: the study's]
    #[arg(long, value_name = "BPM", allow_negative_numbers = true, value_parser = tempo)]
    target: Option<Bpm>,

    /// By how much the ladder climbs
    #[arg(long, value_name = "BPM", allow_negative_numbers = true, value_parser = climb)]
    climb: Option<Bpm>,

    /// Slow and full tempo in turn instead of a steady climb
    #[arg(long)]
    alternating: bool,

    /// Sheets and ladder only, no sound
    #[arg(long)]
    pub(super) no_sound: bool,

    #[command(flatten)]
    pub(super) talk: Talk,
}

/// Measure an attempt: tempo reached, steadiness, what is missing, extra, wrong or late, clean rounds, and what to work
/// on next. Without a recording, what all takes so far say together.
///
/// The attempt may begin anywhere in the study, at any tempo. It is added to takes.jsonl in the study folder.
#[derive(Debug, Args)]
pub(super) struct TakeArgs {
    /// The study folder
    pub(super) study: PathBuf,

    /// The attempt, a recording as for `study`
    pub(super) recording: Option<PathBuf>,

    /// The bars that were to be played, such as 5-8 [default: all]
    #[arg(long, value_name = "FROM-TO", value_parser = named::<Bars>)]
    pub(super) bars: Option<Bars>,

    #[command(flatten)]
    pub(super) talk: Talk,
}

/// Write what belongs beside an installed program: manual pages and the completions of shells.
#[derive(Debug, Args)]
pub(super) struct ManualArgs {
    /// The folder to write them to
    pub(super) folder: PathBuf,
}

/// Which part of a study is meant.
#[derive(Debug, Clone, Copy)]
pub(super) enum Part {
    Bars(Bars),
    Repeats(Bars),
}

impl Part {
    /// As files are named after it: `bars-5-8`.
    pub(super) fn name(self) -> String {
        let (what, bars) = match self {
            Part::Bars(bars) => ("bars", bars),
            Part::Repeats(bars) => ("repeats", bars),
        };
        format!("{what}-{}-{}", bars.first, bars.last)
    }
}

impl DrillArgs {
    /// Which part is to be heard; `None` is the whole set of sheets.
    pub(super) fn part(&self) -> Option<Part> {
        self.bars.map(Part::Bars).or(self.repeats.map(Part::Repeats))
    }

    /// What the kit plays of some bars or repeats.
    pub(super) fn line(&self) -> practice::Line {
        self.line.unwrap_or(practice::Line::All)
    }

    /// What was said that has no meaning for what is asked: of bars without any named, or of the sheets with some.
    fn meant_otherwise(&self) -> Option<String> {
        let of_bars = [
            (self.speed.is_some(), "--speed"),
            (self.beside, "--beside"),
            (self.line.is_some(), "--line"),
            (!self.suits.is_plain(), "--easier and --my-kit"),
        ];
        let of_sheets = [
            (!self.cells.is_empty(), "--cell"),
            (self.target.is_some(), "--target"),
            (self.climb.is_some(), "--climb"),
            (self.alternating, "--alternating"),
            (self.no_sound, "--no-sound"),
        ];
        let first =
            |said: &[(bool, &'static str)]| said.iter().find(|(said, _)| *said).map(|(_, name)| *name);
        match self.part() {
            None => first(&of_bars).map(|option| {
                let tempo = if option == "--speed" {
                    "; drills are played at --tempo"
                } else {
                    ""
                };
                format!("{option} can hold for some bars only: name them with --bars or --repeats{tempo}")
            }),
            Some(_) => first(&of_sheets)
                .map(|option| format!("{option} is for sheets and ladder: leave out --bars and --repeats")),
        }
    }

    /// The sound that these flags stand for; no flag at all gives `SoundOptions::default()`.
    pub(super) fn sound(&self) -> SoundOptions {
        let usual = SoundOptions::default();
        SoundOptions {
            speed: self
                .speed
                .map_or(usual.speed, |percent| f64::from(percent) / 100.0),
            form: match (self.looped, self.beside) {
                (true, _) => Form::Loop,
                (_, true) => Form::Beside,
                _ => Form::Once,
            },
            click: !self.no_click,
            count_in_bars: self.count_in,
        }
    }

    /// The ladder that these flags stand for; no flag at all gives `LadderOptions::default()`.
    pub(super) fn ladder(&self) -> LadderOptions {
        let usual = LadderOptions::default();
        LadderOptions {
            way: if self.alternating {
                Way::Alternating
            } else {
                Way::Steps
            },
            from: self.tempo,
            to: self.target,
            step: self.climb.unwrap_or(usual.step),
            ..usual
        }
    }
}

/// What you already know about the recording. Everything you leave out is found; what you say is obeyed.
#[derive(Debug, Args)]
#[command(next_help_heading = "What you already know")]
pub(super) struct Hints {
    /// Start here, in seconds from the beginning of the file
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true, value_parser = seconds)]
    from: Option<Seconds>,

    /// Stop here, in seconds from the beginning of the file
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true, value_parser = seconds)]
    to: Option<Seconds>,

    /// The tempo, about, in beats a minute
    #[arg(long, value_name = "BPM", allow_negative_numbers = true, value_parser = tempo)]
    tempo: Option<Bpm>,

    /// The meter, such as 4/4 or 7/8
    #[arg(long, value_name = "METER", value_parser = named::<Meter>)]
    meter: Option<Meter>,

    /// Steps in a beat: 4 for sixteenths, 3 for eighth-triplets, 6 for sixteenth-triplets
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true, value_parser = clap::value_parser!(u32).range(1..=12))]
    steps: Option<u32>,

    /// When the first beat of some bar falls, in seconds from the beginning of the file
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true, value_parser = seconds)]
    downbeat: Option<Seconds>,

    /// Bars in a phrase: ways to bring the figure home are told for it
    #[arg(long, value_name = "BARS", default_value = "8", allow_negative_numbers = true, value_parser = clap::value_parser!(u32).range(1..=64))]
    phrase: u32,

    /// Beats you tapped or wrote down: a text file with one time in seconds a line
    #[arg(long, value_name = "FILE", conflicts_with = "tempo")]
    pub(super) beats: Option<PathBuf>,

    /// There is a band on the recording, not drums alone
    #[arg(long)]
    mix: bool,
}

impl StudyArgs {
    /// What was said that only one recording can mean, if several are to be studied.
    pub(super) fn meant_for_one(&self) -> Option<&'static str> {
        let hints = &self.hints;
        let said = [
            (hints.from.is_some(), "--from"),
            (hints.to.is_some(), "--to"),
            (hints.downbeat.is_some(), "--downbeat"),
            (hints.beats.is_some(), "--beats"),
        ];
        let first = said.iter().find(|(said, _)| *said);
        first.map(|(_, name)| *name).filter(|_| self.recordings.len() > 1)
    }
}

impl Hints {
    /// The options that these flags stand for; no flag at all gives `Options::default()`.
    pub(super) fn options(&self, fast: bool) -> Options {
        Options {
            ear: if fast { Ear::Fast } else { Ear::Trained },
            audio: AudioOptions {
                from: self.from,
                to: self.to,
            },
            hits: HitOptions { mix: self.mix },
            voices: VoiceOptions { mix: self.mix },
            grid: GridOptions {
                tempo: self.tempo,
                meter: self.meter,
                steps_per_beat: self.steps,
                downbeat: self.downbeat,
                // The command reads the file that they are in.
                beats: Vec::new(),
            },
            cycles: CycleOptions {
                phrase_bars: self.phrase,
                ..CycleOptions::default()
            },
            stickings: StickingOptions::default(),
        }
    }
}

/// How much the command says, and to whom.
#[derive(Debug, Args, Default, Clone, Copy)]
#[command(next_help_heading = "Output")]
pub(super) struct Talk {
    /// Print the result for another program, as JSON
    #[arg(long)]
    pub(super) json: bool,

    /// Print nothing but errors
    #[arg(long)]
    pub(super) quiet: bool,
}

/// A stretch of bars, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Bars {
    pub(super) first: i64,
    pub(super) last: i64,
}

impl Bars {
    /// As files of these bars alone end: `-bars-5-8`.
    pub(super) fn suffix(self) -> String {
        format!("-bars-{}-{}", self.first, self.last)
    }
}

impl FromStr for Bars {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let bad = || format!("{text:?} names no bars; write one bar, such as 5, or a stretch, such as 5-12");
        let number = |part: &str| {
            part.trim()
                .parse::<i64>()
                .ok()
                .filter(|bar| (0..=1_000_000).contains(bar))
        };
        let (first, last) = text.split_once('-').unwrap_or((text, text));
        match (number(first), number(last)) {
            (Some(first), Some(last)) if first <= last => Ok(Bars { first, last }),
            _ => Err(bad()),
        }
    }
}

fn named<T: FromStr>(text: &str) -> Result<T, String>
where
    T::Err: ToString,
{
    text.parse().map_err(|error: T::Err| error.to_string())
}

fn unit(text: &str) -> Result<Unit, String> {
    let known = Unit::ALL.map(Unit::name).join(", ");
    let found = Unit::ALL.into_iter().find(|unit| unit.name() == text);
    found.ok_or_else(|| format!("a length counts one of: {known}"))
}

fn length(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() && value > 0.0 => Ok(value),
        _ => Err("a length is a number above 0, such as 10".to_owned()),
    }
}

fn seconds(text: &str) -> Result<Seconds, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() && value >= 0.0 => Ok(Seconds(value)),
        _ => Err("a time is a number of seconds, 0 or more, such as 12.5".to_owned()),
    }
}

fn tempo(text: &str) -> Result<Bpm, String> {
    match text.parse::<f64>() {
        Ok(value) if (20.0..=400.0).contains(&value) => Ok(Bpm(value)),
        _ => Err("a tempo is a number of beats a minute from 20 to 400".to_owned()),
    }
}

fn climb(text: &str) -> Result<Bpm, String> {
    match text.parse::<f64>() {
        Ok(value) if (0.5..=50.0).contains(&value) => Ok(Bpm(value)),
        _ => Err("a climb is a number of beats a minute from 0.5 to 50".to_owned()),
    }
}

/// The value of one of these words.
fn one_of<T: Copy>(text: &str, known: &[(&str, T)]) -> Result<T, String> {
    let found = known.iter().find(|(word, _)| *word == text);
    found.map(|(_, value)| *value).ok_or_else(|| {
        let words: Vec<&str> = known.iter().map(|(word, _)| *word).collect();
        format!("use one of: {}", words.join(", "))
    })
}

fn layout(text: &str) -> Result<ScoreLayout, String> {
    one_of(text, &ScoreLayout::ALL.map(|layout| (layout.name(), layout)))
}

fn paper(text: &str) -> Result<Paper, String> {
    one_of(text, &[("a4", Paper::A4), ("phone", Paper::Phone)])
}

fn count(text: &str) -> Result<CountHabit, String> {
    let known = [
        ("syllables", CountHabit::Syllables),
        ("lalis", CountHabit::Lalis),
        ("numbers", CountHabit::Numbers),
        ("figure", CountHabit::Figure),
        ("none", CountHabit::None),
    ];
    one_of(text, &known)
}

fn tracks(text: &str) -> Result<Tracks, String> {
    one_of(text, &[("limbs", Tracks::Limbs), ("layers", Tracks::Layers)])
}

fn line(text: &str) -> Result<practice::Line, String> {
    match text {
        "all" => Ok(practice::Line::All),
        "figure" => Ok(practice::Line::Figure),
        "solo" => Ok(practice::Line::Solo),
        _ => Err("use one of: all, figure, solo".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_well_formed() {
        use clap::CommandFactory;
        Line::command().debug_assert();
    }

    #[test]
    fn no_flag_at_all_means_the_default_options() {
        let line = Line::try_parse_from(["overbar", "study", "a.wav"]).unwrap();
        let Command::Study(args) = line.command else {
            panic!("not a study");
        };
        assert_eq!(args.hints.options(args.fast), Options::default());
    }

    #[test]
    fn no_flag_at_all_means_the_default_score() {
        let line = Line::try_parse_from(["overbar", "chart", "a"]).unwrap();
        let Command::Chart(args) = line.command else {
            panic!("not a chart");
        };
        assert_eq!(args.score.options(), ScoreOptions::default());
    }

    #[test]
    fn no_flag_at_all_means_the_default_practice() {
        let line = super::Line::try_parse_from(["overbar", "drill", "a"]).unwrap();
        let Command::Drill(args) = line.command else {
            panic!("not a drill");
        };
        assert_eq!(args.sound(), SoundOptions::default());
        assert_eq!(args.ladder(), LadderOptions::default());
    }

    #[test]
    fn a_stretch_of_bars_reads_as_one_bar_or_two() {
        assert_eq!("5".parse(), Ok(Bars { first: 5, last: 5 }));
        assert_eq!("5-12".parse(), Ok(Bars { first: 5, last: 12 }));
        for bad in ["", "-", "12-5", "x", "5-", "-3", "99999999999999999999"] {
            assert!(bad.parse::<Bars>().is_err(), "{bad}");
        }
    }

    #[test]
    fn times_and_tempi_out_of_range_are_refused() {
        for bad in ["-1", "nan", "inf", "x", ""] {
            assert!(seconds(bad).is_err(), "{bad}");
            assert!(tempo(bad).is_err(), "{bad}");
        }
        assert!(tempo("1e9").is_err());
    }
}
