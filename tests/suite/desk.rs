//! What the command tests work with: the program, recordings, a place to write, the demo's study.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use assert_cmd::Command;
use overbar::units::Seconds;
use serde_json::Value;

/// The demo: an invented solo over a figure of ten steps on sixteenths.
pub(crate) const DEMO: &str = "paper-lanterns";

/// Samples a second of the recordings that these tests make.
pub(crate) const RATE: u32 = 44_100;

/// The program as a player starts it.
pub(crate) fn overbar() -> Command {
    assert_cmd::cargo::cargo_bin_cmd!("overbar")
}

/// A place in the repository.
pub(crate) fn place(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// A recording that comes with the repository.
pub(crate) fn recording(name: &str) -> PathBuf {
    place("test-audio").join(format!("{name}.wav"))
}

/// What was played in a recording.
pub(crate) fn truth(name: &str) -> Value {
    json(&place("test-audio").join(format!("{name}.json")))
}

/// A file of JSON.
pub(crate) fn json(path: &Path) -> Value {
    serde_json::from_slice(&fs::read(path).unwrap()).unwrap()
}

/// A list of times in a file of JSON.
pub(crate) fn times(list: &Value) -> Vec<Seconds> {
    serde_json::from_value(list.clone()).unwrap()
}

/// The study of a recording in `folder`, made with `flags`; the program must say that it is done.
pub(crate) fn study(recording: &Path, folder: &Path, flags: &[&str]) -> Value {
    let out = ["--quiet".as_ref(), "--out".as_ref(), folder.as_os_str()];
    overbar()
        .arg("study")
        .arg(recording)
        .args(out)
        .args(flags)
        .assert()
        .success();
    json(&folder.join("study.json"))
}

/// The demo's study, made once for all tests that only read it.
pub(crate) fn demo() -> &'static Path {
    static MADE: OnceLock<PathBuf> = OnceLock::new();
    MADE.get_or_init(|| {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("demo").join(DEMO);
        if folder.exists() {
            fs::remove_dir_all(&folder).unwrap();
        }
        study(&recording(DEMO), &folder, &[]);
        folder
    })
}

/// A copy of a folder, to be changed.
pub(crate) fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for file in files(from) {
        let target = to.join(&file);
        fs::create_dir_all(target.parent().unwrap()).unwrap();
        fs::copy(from.join(&file), target).unwrap();
    }
}

/// Every file under a folder, by its path from there, sorted.
pub(crate) fn files(folder: &Path) -> Vec<PathBuf> {
    fn below(root: &Path, folder: &Path, found: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                below(root, &path, found);
            } else {
                found.push(path.strip_prefix(root).unwrap().to_owned());
            }
        }
    }
    let mut found = Vec::new();
    if folder.exists() {
        below(folder, folder, &mut found);
    }
    found.sort();
    found
}

/// The hits of a study as rows of cells, the header row first, comments left out.
pub(crate) fn rows(folder: &Path) -> Vec<Vec<String>> {
    let text = fs::read_to_string(folder.join("hits.tsv")).unwrap();
    let cells = |line: &str| line.split('\t').map(str::to_owned).collect();
    text.lines().filter(|l| !l.starts_with('#')).map(cells).collect()
}

/// The times at which a study has hits, strokes of one moment (30 ms) counted once.
pub(crate) fn moments(mut times: Vec<Seconds>) -> Vec<Seconds> {
    times.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut kept: Vec<Seconds> = Vec::new();
    for time in times {
        if kept.last().is_none_or(|last| (time - *last).0 > 0.03) {
            kept.push(time);
        }
    }
    kept
}

/// Writes a mono recording of 16-bit samples.
pub(crate) fn write_wav(path: &Path, samples: impl IntoIterator<Item = f64>) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for sample in samples {
        writer
            .write_sample((sample * f64::from(i16::MAX)).round() as i16)
            .unwrap();
    }
    writer.finalize().unwrap();
}
