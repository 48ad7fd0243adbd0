//! `study.html` and the sound beside it, written as the last part of `overbar study`.

use std::path::Path;
use std::{fs, io};

use anyhow::Error;
use rayon::prelude::*;

use crate::audio::{RATE, Recording};
use crate::options::{Ear, Options};
use crate::page::sound::{AROUND, Part, Sound, Written};
use crate::page::{self, Source, drums, sound};
use crate::study::{self, Outbox, Saved, Study};
use crate::units::Seconds;

/// The page's name in the study's folder.
pub(super) const PAGE: &str = "study.html";
/// The folder of its sound.
const SOUND: &str = "sound";

/// Writes what the page needs beside it: the recording's sound, at most `most` of it, and that of the drums. None at
/// all leaves a page that is silent. `drums` is what [`drums`] makes.
pub(super) fn write_sound(
    out: &Outbox,
    study: &Study,
    recording: &Recording,
    drums: &str,
    most: Seconds,
) -> Result<Sound, Error> {
    let mut sound = Sound::new(RATE, recording.channels(), recording.start, recording.len(), most);
    write_parts(out, study, recording, &mut sound)?;
    out.put(drums::NAME, drums.as_bytes())?;
    Ok(sound)
}

/// The sound of the drums, which is the same for every study.
pub(super) fn drums() -> String {
    drums::script(RATE)
}

/// Writes the page, whose sound is there; what the player should know of it comes back.
pub(super) fn write(
    folder: &Path,
    study: &Study,
    saved: &Saved,
    sound: &Sound,
) -> Result<Option<String>, Error> {
    let now = page::now(&saved.digest);
    study::write_file(folder, page::NOW, now.as_bytes())?;
    clear(&folder.join(SOUND), sound)?;
    let source = Source {
        hits: &saved.hits,
        digest: &saved.digest,
        command: &command(study),
        sound,
    };
    study::write_file_by(folder, PAGE, |out| page::write(study, &source, out))?;
    Ok((sound.length < sound.whole).then(|| {
        format!(
            "{PAGE} has the sound of the first {} only; --page-sound says how many minutes it may have",
            Seconds::from_sample(sound.length, RATE).clock()
        )
    }))
}

/// Writes the parts, as many at a time as there are cores, and gathers what is in them.
fn write_parts(out: &Outbox, study: &Study, recording: &Recording, sound: &mut Sound) -> Result<(), Error> {
    let strokes: Vec<usize> = study
        .strokes
        .iter()
        .filter(|stroke| stroke.hit.time >= recording.start)
        .map(|stroke| (stroke.hit.time - recording.start).to_sample(RATE))
        .collect();
    let made: Result<Vec<Written>, Error> = (0..sound.parts())
        .into_par_iter()
        .map_init(Part::default, |part, number| {
            take(part, recording, sound, number);
            let mut written = sound::write(sound, part, &strokes);
            let flac = std::mem::take(&mut written.flac);
            out.put_by(&sound::name(number), |out| sound::script(number, &flac, out))?;
            Ok(written)
        })
        .collect();
    sound.gather(made?.iter());
    Ok(())
}

/// Makes `part` the one of that number, in the room of the one it was.
fn take(part: &mut Part, recording: &Recording, sound: &Sound, number: usize) {
    let first = number * sound.part;
    let before = AROUND.min(first);
    (part.number, part.first) = (number, first);
    part.samples.resize_with(recording.channels(), Vec::new);
    for (channel, samples) in part.samples.iter_mut().enumerate() {
        samples.resize(before + sound.length_of(number) + AROUND, 0.0);
        recording.read(channel, (first - before) as isize, samples);
    }
}

/// Removes parts that a longer recording has left.
fn clear(folder: &Path, sound: &Sound) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        let stem = path.file_stem().and_then(|s| s.to_str()).unwrap_or_default();
        let number = stem.strip_prefix("part-").and_then(|n| n.parse::<usize>().ok());
        let ours = path.extension().is_some_and(|e| e == "js");
        if ours && number.is_some_and(|n| n > sound.parts()) {
            fs::remove_file(&path)?;
        }
    }
    Ok(())
}

/// The command that makes this study anew, but for where it lies; paths that were given are left to the player.
fn command(study: &Study) -> String {
    let Options {
        audio,
        ear,
        hits,
        grid,
        cycles,
        ..
    } = &study.options;
    let file = &study.recording.file;
    let mut words = vec![
        "overbar study".to_owned(),
        if file.contains(' ') {
            format!("\"{file}\"")
        } else {
            file.clone()
        },
    ];
    let usual = Options::default();
    let mut flag = |name: &str, value: Option<String>| {
        words.extend(value.map(|value| format!("--{name} {value}")));
    };
    flag("from", audio.from.map(|s| s.0.to_string()));
    flag("to", audio.to.map(|s| s.0.to_string()));
    flag("tempo", grid.tempo.map(|t| t.0.to_string()));
    flag("meter", grid.meter.map(|m| m.to_string()));
    flag("steps", grid.steps_per_beat.map(|s| s.to_string()));
    flag("downbeat", grid.downbeat.map(|s| s.0.to_string()));
    flag(
        "beats",
        (!grid.beats.is_empty()).then(|| "YOUR-TAPS.txt".to_owned()),
    );
    let phrase = cycles.phrase_bars;
    flag(
        "phrase",
        (phrase != usual.cycles.phrase_bars).then(|| phrase.to_string()),
    );
    if hits.mix {
        words.push("--mix".to_owned());
    }
    if *ear == Ear::Fast {
        words.push("--fast".to_owned());
    }
    words.join(" ")
}
