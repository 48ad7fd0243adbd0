//! `index.html` in a folder of study folders: one line a study, with the way to it.
//!
//! The page says in its first line what it was when it was written; one that somebody has changed since is left alone.

use std::fs;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use anyhow::Error;
use sha2::{Digest, Sha256};

use crate::files;
use crate::study::{self, Lock, Study, StudyError};

/// The page's name.
const NAME: &str = "index.html";
/// What its first line begins with; the digest of all that follows stands behind it.
const MARK: &str = "<!-- made by overbar study ";
/// A page of that name that is larger is somebody else's.
const MOST_BYTES: u64 = 64 << 20;
/// How often and how long a run waits for another that writes the page: reading hundreds of studies takes a second.
const WAITS: u32 = 40;
const WAIT: Duration = Duration::from_millis(50);
/// What a study may hold to look at, best first.
const VIEWS: [&str; 4] = [
    "study.html",
    "charts/stack.svg",
    "charts/grid-01.svg",
    "charts/grid.svg",
];

const HEAD: &str = "<!doctype html>
<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\">
<title>Studies</title><style>
:root { color-scheme: light dark; font: 1.1rem/1.5 sans-serif }
body { max-width: 60rem; margin: 2rem auto; padding: 0 1rem }
table { border-collapse: collapse; width: 100% }
th, td { text-align: left; vertical-align: top; padding: .4rem 1rem .4rem 0; border-bottom: 1px solid #8888 }
td:nth-child(3) { text-align: right }
</style></head><body>
<h1>Studies</h1>
<table>
<tr><th>Recording<th>Length<th>Hits<th>Grid<th>Repeats
";

/// Writes the page for the studies that lie in `folder`. Gives its place and what the player should know.
pub(super) fn write(folder: &Path) -> Result<(PathBuf, Vec<String>), Error> {
    let path = folder.join(NAME);
    let mut mind = Vec::new();
    if path.exists() && !is_ours(&path) {
        mind.push(format!("{NAME} was changed by somebody and is left as it is"));
    } else if folder.is_dir() {
        let Some(_lock) = alone(folder)? else {
            mind.push(format!(
                "another run is at work on {NAME}: it may lack a study until the next"
            ));
            return Ok((path, mind));
        };
        let body = page(&studies(folder)?);
        let text = format!("{MARK}{} -->\n{body}", digest(body.as_bytes()));
        study::write_file(folder, NAME, text.as_bytes())?;
    }
    Ok((path, mind))
}

/// Waits a little for other runs that write the page, so that the last of them lists all.
fn alone(folder: &Path) -> Result<Option<Lock>, StudyError> {
    for _ in 0..WAITS {
        match study::lock(folder) {
            Err(StudyError::AtWork { .. }) => thread::sleep(WAIT),
            taken => return taken.map(Some),
        }
    }
    Ok(None)
}

/// Writes the page of `folder` anew for a study that was made there by itself, where there is one; a folder without one
/// may be anybody's and gets none. Gives what the player should know.
pub(super) fn refresh(folder: &Path) -> Vec<String> {
    let folder = if folder.as_os_str().is_empty() {
        Path::new(".")
    } else {
        folder
    };
    if !text(&folder.join(NAME)).starts_with(MARK) {
        return Vec::new();
    }
    match write(folder) {
        Ok((_, mind)) => mind,
        Err(error) => vec![format!("{NAME} could not be made anew: {error}")],
    }
}

/// What stands in a page; nothing where there is none.
fn text(path: &Path) -> String {
    let bytes = files::read(path, MOST_BYTES).unwrap_or_default();
    String::from_utf8_lossy(&bytes).into_owned()
}

/// Whether the page is as it was written.
fn is_ours(path: &Path) -> bool {
    let text = text(path);
    let said = text.strip_prefix(MARK).and_then(|rest| rest.split_once(" -->\n"));
    said.is_some_and(|(said, body)| said == digest(body.as_bytes()))
}

fn digest(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

/// The studies in a folder with the names of their folders, by name. What cannot be read is left out.
fn studies(folder: &Path) -> Result<Vec<(PathBuf, Study)>, Error> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if let Ok(study) = study::read(&path) {
            found.push((path, study));
        }
    }
    found.sort_by(|a, b| a.0.cmp(&b.0));
    Ok(found)
}

/// Length, hits, grid and figure, as the table and the page show them.
pub(super) fn cells(study: &Study) -> [String; 4] {
    [
        study.recording.seconds.clock(),
        study.strokes.len().to_string(),
        study.grid.statement(),
        figure(study).unwrap_or_else(|| "-".to_owned()),
    ]
}

/// The figure that matters most, in a few words.
pub(super) fn figure(study: &Study) -> Option<String> {
    let crossing = study.cycles.iter().find(|cycle| cycle.crosses_bar);
    let cycle = crossing.or(study.cycles.first())?;
    let way = if cycle.crosses_bar {
        "over the bar"
    } else {
        "with the bar"
    };
    Some(format!(
        "{} steps {way}, {}",
        cycle.length_steps,
        cycle.verdict().name()
    ))
}

fn page(studies: &[(PathBuf, Study)]) -> String {
    let mut page = HEAD.to_owned();
    for (folder, study) in studies {
        let name = Path::new(folder.file_name().unwrap_or_default());
        let view = VIEWS.iter().find(|view| folder.join(view).exists());
        let link = format!("{}/{}", address(name), view.unwrap_or(&""));
        let cells: String = cells(study)
            .iter()
            .map(|cell| format!("<td>{}", escaped(cell)))
            .collect();
        let line = format!(
            "<tr><td><a href=\"{link}\">{}</a>{cells}\n",
            escaped(&study.recording.file)
        );
        page.push_str(&line);
    }
    page.push_str("</table>\n</body></html>\n");
    page
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

/// A folder's name as part of an address.
fn address(name: &Path) -> String {
    let plain = |byte: &u8| byte.is_ascii_alphanumeric() || b"-_.~".contains(byte);
    let bytes = name.as_os_str().as_encoded_bytes();
    let letter = |byte: &u8| {
        if plain(byte) {
            char::from(*byte).to_string()
        } else {
            format!("%{byte:02X}")
        }
    };
    bytes.iter().map(letter).collect()
}
