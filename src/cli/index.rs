//! `index.html` in a folder of study folders: one line a study, with the way to it.
//!
//! The page says in its first line what it was when it was written; one that somebody has changed since is left alone.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::Error;
use sha2::{Digest, Sha256};

use super::many;
use crate::files;
use crate::study::{self, Study};

/// The page's name.
const NAME: &str = "index.html";
/// What its first line begins with; the digest of all that follows stands behind it.
const MARK: &str = "<!-- made by overbar study ";
/// A page of that name that is larger is somebody else's.
const MOST_BYTES: u64 = 64 << 20;
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
        mind.push(format!(
            "mind      {NAME} was changed by somebody and is left as it is"
        ));
    } else if folder.is_dir() {
        let body = page(&studies(folder)?);
        let text = format!("{MARK}{} -->\n{body}", digest(body.as_bytes()));
        study::write_file(folder, NAME, text.as_bytes())?;
    }
    Ok((path, mind))
}

/// Whether the page is as it was written.
fn is_ours(path: &Path) -> bool {
    let bytes = files::read(path, MOST_BYTES).unwrap_or_default();
    let text = String::from_utf8_lossy(&bytes);
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

fn page(studies: &[(PathBuf, Study)]) -> String {
    let mut page = HEAD.to_owned();
    for (folder, study) in studies {
        let name = Path::new(folder.file_name().unwrap_or_default());
        let view = VIEWS.iter().find(|view| folder.join(view).exists());
        let link = format!("{}/{}", address(name), view.unwrap_or(&""));
        let cells: String = many::cells(study)
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
