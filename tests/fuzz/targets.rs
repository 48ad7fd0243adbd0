//! What is fuzzed: every reader of bytes that may come from anywhere, with words that it knows.

use std::fs;
use std::io;
use std::path::Path;

use overbar::options::AudioOptions;
use overbar::stickings::body::BodyTables;
use overbar::study::corrections;
use overbar::voices::kit::Kit;
use overbar::{audio, grid, notation, practice, study};

/// A reader.
pub(crate) struct Target {
    pub(crate) name: &'static str,
    /// Makes what must lie beside the input.
    pub(crate) prepare: fn(&Path) -> io::Result<()>,
    /// Seeds besides those in the corpus.
    pub(crate) seeds: fn() -> Vec<Vec<u8>>,
    /// Words of the format.
    pub(crate) words: &'static [&'static str],
    /// Reads an input, and tells how it went.
    pub(crate) run: fn(&[u8], &Path) -> String,
}

pub(crate) const TARGETS: [Target; 9] = [
    Target {
        name: "wav",
        prepare: nothing,
        seeds: none,
        words: &["RIFF", "RF64", "WAVE", "fmt ", "data", "ds64", "LIST", "bext"],
        run: sound,
    },
    Target {
        name: "coded",
        prepare: nothing,
        seeds: formats,
        words: &[
            "ftyp", "moov", "trak", "mdia", "stbl", "stsd", "stsz", "stts", "stsc", "stco", "elst", "edts",
            "esds", "mp4a", "fLaC", "OggS", "ID3", "Xing", "Info", "LAME", "FORM", "COMM", "SSND", "alac",
            "moof", "trun",
        ],
        run: sound,
    },
    Target {
        name: "hits",
        prepare: small_study,
        seeds: none,
        words: &[
            "time", "voice", "limb", "layer", "mark", "grace", "sure", "\t", "\t\t", "\n", "\r\n", "\"", "#",
            "kick", "snare_2", "RH", "ostinato", "flam", "bar", "beat", "step", "\u{feff}",
        ],
        run: |input, place| whole_study(input, &place.join("hits.tsv"), place),
    },
    Target {
        name: "json",
        prepare: small_study,
        seeds: none,
        words: &[
            "{",
            "}",
            "[",
            "]",
            ":",
            ",",
            "null",
            "true",
            "\"",
            "\\u0000",
            "\"version\"",
            "\"format\"",
            "-",
            "e308",
        ],
        run: |input, place| whole_study(input, &place.join("study.json"), place),
    },
    Target {
        name: "kit",
        prepare: nothing,
        seeds: none,
        words: &[
            "[group.", "]", "voice", "limb", "note", " = ", "\"", "'''", "#:", "\n", "snare", "{", "}",
            "inf", "[body]", "[reach.", "handed", "at", "true",
        ],
        run: |input, _| {
            let text = String::from_utf8_lossy(input);
            match Kit::read(&text).and_then(|_| BodyTables::read(&text)) {
                Ok(_) => "read".to_owned(),
                Err(fault) => fault.reason,
            }
        },
    },
    Target {
        name: "midi",
        prepare: nothing,
        seeds: none,
        words: &["MThd", "MTrk", "\u{0}", "\u{7f}"],
        run: score,
    },
    Target {
        name: "musicxml",
        prepare: nothing,
        seeds: none,
        words: &[
            "<note>",
            "</note>",
            "<chord/>",
            "<backup>",
            "</backup>",
            "<duration>",
            "</duration>",
            "<divisions>",
            "</divisions>",
            "<measure>",
            "</measure>",
            "<!ENTITY x \"&x;&x;\">",
            "<![CDATA[",
            "]]>",
            "<!DOCTYPE",
            "&#0;",
            "&x;",
            "<midi-unpitched>",
            "xmlns=\"\"",
            "<?xml",
        ],
        run: score,
    },
    Target {
        name: "beats",
        prepare: nothing,
        seeds: none,
        words: &["\n", "#", " ", "\t", ".", ",", "-", "e9"],
        run: |input, _| match grid::read_beats(&String::from_utf8_lossy(input)) {
            Ok(beats) => format!("read {}", beats.is_empty()),
            Err(error) => error.to_string(),
        },
    },
    Target {
        name: "takes",
        prepare: nothing,
        seeds: none,
        words: &[
            "{",
            "}",
            "[",
            "]",
            ":",
            ",",
            "null",
            "\"",
            "\n",
            "overbar-take",
            "-",
            "e308",
        ],
        run: |input, place| {
            if let Err(error) = fs::write(place.join(study::TAKES), input) {
                return error.to_string();
            }
            match practice::take::read(place) {
                Ok((entries, warnings)) => {
                    let (fit, answer) = practice::progress::answer(&entries);
                    let words = practice::progress::words(fit.as_ref(), &answer, entries.len());
                    format!("{} {} {words}", entries.is_empty(), warnings.is_empty())
                }
                Err(error) => error.to_string(),
            }
        },
    },
];

fn nothing(_: &Path) -> io::Result<()> {
    Ok(())
}

fn none() -> Vec<Vec<u8>> {
    Vec::new()
}

fn sound(input: &[u8], _: &Path) -> String {
    match audio::read_bytes(input.to_vec(), "take", &AudioOptions::default()) {
        Ok(recording) => {
            let mut some = [0.0; 256];
            recording.read_mono(-9, &mut some);
            assert!(some.iter().all(|x| x.is_finite()), "a sample that is no number");
            format!(
                "{} channels, {} Hz, {}",
                recording.channels(),
                recording.source.sample_rate,
                recording.warnings.concat()
            )
        }
        Err(error) => {
            let line = error.to_string();
            assert!(
                line.starts_with("take: ") && !line.contains('\n'),
                "{line:?} is not one line"
            );
            line
        }
    }
}

/// The recordings in every format.
fn formats() -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/formats");
    let mut paths: Vec<_> = fs::read_dir(folder)
        .map(|entries| entries.flatten().map(|entry| entry.path()).collect())
        .unwrap_or_default();
    paths.retain(|path| path.extension().is_some_and(|ending| ending != "py"));
    paths.sort();
    // A third of the sound is as good and three times as fast.
    let part = |bytes: Vec<u8>| [bytes[..bytes.len() / 3].to_vec(), bytes];
    paths
        .iter()
        .filter_map(|path| fs::read(path).ok())
        .flat_map(part)
        .collect()
}

/// Puts a small study there.
fn small_study(place: &Path) -> io::Result<()> {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus");
    fs::copy(corpus.join("hits/small.tsv"), place.join("hits.tsv"))?;
    fs::copy(corpus.join("json/small.json"), place.join("study.json"))?;
    Ok(())
}

/// Reads the study with the input as one of its files, as an output reads it and as the next run does.
fn whole_study(input: &[u8], file: &Path, place: &Path) -> String {
    if let Err(error) = fs::write(file, input) {
        return error.to_string();
    }
    let read = match study::read(place) {
        Ok(study) => format!("read {}", study.strokes.is_empty()),
        Err(error) => error.to_string(),
    };
    let loaded = match corrections::load(place) {
        Ok(loaded) => loaded.warnings.concat(),
        Err(error) => error.to_string(),
    };
    // Paths differ from run to run.
    format!("{read} | {loaded}").replace(&place.display().to_string(), "")
}

fn score(input: &[u8], _: &Path) -> String {
    match notation::read::parse(input, Path::new("score")) {
        Ok(written) => {
            let finite = written.notes.iter().all(|note| note.quarters.is_finite());
            assert!(finite, "a note that stands nowhere");
            written.warnings.concat()
        }
        Err(error) => error.to_string(),
    }
}
