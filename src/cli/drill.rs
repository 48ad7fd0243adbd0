//! `overbar drill`: practice sounds, sheets and the tempo ladder of a study.

use std::path::{Path, PathBuf};

use anyhow::{Error, anyhow};

use super::args::{DrillArgs, Part};
use super::line::Suited;
use super::print;
use super::summary::row;
use crate::audio::{self, RATE, Recording};
use crate::charts::{self, Chart, Exercise};
use crate::files::shown;
use crate::notation::score::Score;
use crate::notation::{pdf, staff};
use crate::options::{Form, LadderOptions, Options, Paper, ScoreLayout, ScoreOptions, SoundOptions};
use crate::practice::drills::{Drill, Drills, Kind, drills, key_cells};
use crate::practice::{Line, Pace, Passage, ladder, loudness, sound};
use crate::study::{self, Kin, PRACTICE, RecordingFacts, Study};
use crate::units::Bpm;

pub(super) fn run(args: &DrillArgs) -> Result<(), Error> {
    let study = study::read(&args.study)?;
    let _lock = study::lock(&args.study)?;
    let Suited {
        study,
        suffix: suited,
        mind,
    } = args.suits.suit(study, &args.study)?;
    let recording = match &args.recording {
        Some(file) => Some(audio::read(file, &Options::default().audio)?),
        None => None,
    };
    let mut made = Made {
        folder: &args.study,
        files: Vec::new(),
        ladder: None,
        mind: study.warnings.iter().cloned().chain(mind).collect(),
        suited,
    };
    if let Some(recording) = &recording {
        made.mind
            .extend(check_recording(&study, &(&recording.source).into())?);
    }
    match args.part() {
        Some(part) => made.passage(args, &study, recording.as_ref(), part)?,
        None => made.sheets(args, &study, recording.as_ref())?,
    }
    made.tell(args)
}

/// Whether this is the study's recording: what the player should know where it may be the same sound saved anew.
fn check_recording(study: &Study, recording: &RecordingFacts) -> Result<Option<String>, Error> {
    let words = format!(
        "{} is not the file that the study was made of ({})",
        recording.file, study.recording.file
    );
    match recording.kin(&study.recording) {
        Kin::Same => Ok(None),
        Kin::AsLong => Ok(Some(format!("{words}, but as long"))),
        Kin::Other => Err(anyhow!("{words}: give that one, or make a study of this one")),
    }
}

/// What has been written, and what the player should know.
struct Made<'a> {
    folder: &'a Path,
    files: Vec<PathBuf>,
    /// Where the ladder begins, and why.
    ladder: Option<String>,
    mind: Vec<String>,
    /// How the names of a line that suits the player end.
    suited: String,
}

impl Made<'_> {
    /// Slow sound of the recording and the model of some bars or repeats.
    fn passage(
        &mut self,
        args: &DrillArgs,
        study: &Study,
        recording: Option<&Recording>,
        part: Part,
    ) -> Result<(), Error> {
        let passage = match part {
            Part::Bars(bars) => Passage::bars(study, bars.first, bars.last)?,
            Part::Repeats(repeats) => Passage::repeats(study, repeats.first, repeats.last)?,
        };
        let options = args.sound();
        let name = part.name();
        let form = match options.form {
            Form::Once => "",
            Form::Loop => "-loop",
            Form::Beside => "-beside",
        };
        let percent = (options.speed * 100.0).round();
        let mut like = None;
        if let Some(recording) = recording {
            let slow = sound::slow(study, recording, &passage, &options)?;
            self.wav(&format!("{name}-slow-{percent}{form}"), &slow)?;
            like = Some(sound::loudness_of(study, recording, &passage)?);
        } else {
            self.mind
                .push("without --recording only the model is played, not the recording itself".to_owned());
        }
        let line = match args.line() {
            Line::All => "",
            Line::Figure => "-figure",
            Line::Solo => "-solo",
        };
        let (pace, at) = match args.tempo {
            Some(tempo) => (Pace::Steady(tempo), format!("{:.0}-bpm", tempo.0)),
            None => (Pace::Recording(options.speed), percent.to_string()),
        };
        let plain = SoundOptions {
            form: if options.form == Form::Beside {
                Form::Once
            } else {
                options.form
            },
            ..options
        };
        let model = sound::model(study, &passage, args.line(), pace, like, &plain)?;
        let form = if options.form == Form::Loop { "-loop" } else { "" };
        self.wav(&format!("{name}-model{line}{}-{at}{form}", self.suited), &model)
    }

    /// The sheets, the ladder, and every drill as sound at the tempo with which the ladder begins.
    fn sheets(
        &mut self,
        args: &DrillArgs,
        study: &Study,
        recording: Option<&Recording>,
    ) -> Result<(), Error> {
        let plan = args.ladder();
        let cells = if args.cells.is_empty() {
            key_cells(study)
        } else {
            args.cells.clone()
        };
        let Drills { drills, left_out } = drills(study, &cells)?;
        let (from, to) = ladder::ends(&plan, study.grid.tempo);
        self.clear("sheet")?;
        let exercises: Vec<Exercise> = drills.iter().map(|drill| exercise(drill, from, to)).collect();
        self.charts(&charts::sheets(study, &exercises, &left_out))?;
        self.ladder(study, &drills, &plan)?;
        let like = match recording {
            Some(recording) => sound::loudness_of(study, recording, &Passage::whole(study)?)?,
            None => loudness::USUAL,
        };
        self.clear("drill")?;
        self.staves(study, &drills, from)?;
        if !args.no_sound {
            for drill in &drills {
                let sound = drill.sound(from, like, &args.sound())?;
                self.wav(&drill.file(), &sound)?;
            }
        }
        self.mind.extend(left_out);
        Ok(())
    }

    /// Every drill on a staff, and all of them to print.
    fn staves(&mut self, study: &Study, drills: &[Drill], tempo: Bpm) -> Result<(), Error> {
        let options = ScoreOptions {
            layout: ScoreLayout::HandsFeet,
            paper: Paper::Slip,
            ..ScoreOptions::default()
        };
        let mut slips = Vec::new();
        for drill in drills {
            let own = drill.written(study, tempo);
            let score = Score::of(&own, options.layout);
            slips.extend(
                staff::draw(&own, &score, &options)
                    .into_iter()
                    .take(1)
                    .map(|slip| Chart {
                        name: drill.file(),
                        ..slip
                    }),
            );
        }
        self.charts(&slips)?;
        let svgs: Vec<&str> = slips.iter().map(|slip| slip.svg.as_str()).collect();
        let name = format!("{PRACTICE}/drills.pdf");
        study::write_file(self.folder, &name, &pdf::write(&svgs))?;
        self.files.push(self.folder.join(name));
        Ok(())
    }

    fn ladder(&mut self, study: &Study, drills: &[Drill], options: &LadderOptions) -> Result<(), Error> {
        let bar = f64::from(study.grid.meter.beats_per_bar());
        // A round to home where there is a figure, else four bars.
        let home = drills.iter().find(|d| d.kind == Kind::Staircase);
        let round = |tempo: Bpm| match home {
            Some(drill) => drill.round(tempo),
            None => tempo.beat() * (4.0 * bar),
        };
        let plan = ladder::plan(options, study.grid.tempo, round);
        let rungs = ladder::rungs(options, study.grid.tempo, &plan, round);
        self.clear("ladder")?;
        self.ladder = Some(ladder::begins(options, study.grid.tempo));
        self.charts(&charts::ladder(
            study,
            &rungs,
            &ladder::rules(options, study.grid.tempo),
        ))
    }

    fn charts(&mut self, charts: &[Chart]) -> Result<(), Error> {
        for chart in charts {
            let name = format!("{PRACTICE}/{}.svg", chart.name);
            study::write_file(self.folder, &name, chart.svg.as_bytes())?;
            self.files.push(self.folder.join(name));
        }
        Ok(())
    }

    fn wav(&mut self, name: &str, sound: &[Vec<f32>]) -> Result<(), Error> {
        let folder = self.folder.join(PRACTICE);
        std::fs::create_dir_all(&folder)?;
        let file = folder.join(format!("{name}.wav"));
        audio::write_wav(&file, sound, RATE)?;
        self.files.push(file);
        Ok(())
    }

    /// Removes pages and sounds of an earlier, longer set: `NAME.svg`, `NAME-NN.svg` and `NAME-NN.wav`.
    fn clear(&self, name: &str) -> Result<(), Error> {
        let Ok(entries) = std::fs::read_dir(self.folder.join(PRACTICE)) else {
            return Ok(());
        };
        for entry in entries {
            let path = entry?.path();
            let stem = path.file_stem().and_then(|s| s.to_str()).unwrap_or_default();
            let rest = stem
                .strip_prefix(name)
                .map(|rest| rest.strip_prefix('-').unwrap_or(rest));
            let is_ours = rest.is_some_and(|rest| rest.is_empty() || rest.parse::<u32>().is_ok());
            if is_ours && path.extension().is_some_and(|e| e == "svg" || e == "wav") {
                std::fs::remove_file(&path)?;
            }
        }
        Ok(())
    }

    fn tell(&self, args: &DrillArgs) -> Result<(), Error> {
        let files: Vec<String> = self.files.iter().map(|f| shown(f)).collect();
        if args.talk.json {
            let json = serde_json::json!({ "files": files, "ladder": self.ladder, "warnings": self.mind });
            return Ok(print(&[json.to_string()])?);
        }
        if !args.talk.quiet {
            print(&files)?;
            print(&self.ladder.iter().map(|l| row("ladder", l)).collect::<Vec<_>>())?;
            print(&self.mind.iter().map(|m| row("mind", m)).collect::<Vec<_>>())?;
        }
        Ok(())
    }
}

/// A drill as the sheet prints it: a round's length at the first, the middle and the last tempo of the ladder.
fn exercise(drill: &Drill, from: Bpm, to: Bpm) -> Exercise {
    let middle = Bpm(((from.0 + to.0) / 2.0).round());
    let at = |tempo: &Bpm| format!("{:.1} s at {:.0}", drill.round(*tempo).0, tempo.0);
    let mut tempos = vec![from, middle, to];
    tempos.dedup();
    let lengths: Vec<String> = tempos.iter().map(at).collect();
    let beats = f64::from(drill.pattern.steps) / f64::from(drill.pattern.per_beat.max(1));
    Exercise {
        number: drill.number,
        title: drill.title.clone(),
        how: drill.how.clone(),
        round: format!(
            "A round is {} steps, {beats} {}: {} bpm.",
            drill.pattern.steps,
            if beats == 1.0 { "beat" } else { "beats" },
            lengths.join(", ")
        ),
        pattern: drill.pattern.clone(),
    }
}
