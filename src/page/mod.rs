//! [`Study`] -> `study.html`: one page that opens from disk without a network, shows the figure and the solo, plays the
//! recording at any speed, and takes corrections.
//!
//! In: a study, its `hits.tsv`, and what [`sound`] says of the recording. Out: one HTML document with everything in it
//! but the sound, which lies beside it in `sound/` as scripts: a page opened from disk may load scripts, but no other
//! file. The document is assembled from the plain files in this folder; the same study gives the same bytes.

mod data;

pub mod drums;

mod flac;

pub mod sound;

#[cfg(test)]
mod tests;

use std::fmt::Write as _;
use std::io::{self, Write};

use crate::charts::look;
use crate::study::Study;
use sound::Sound;

/// What the page has to know besides the study itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source<'a> {
    /// The text of `hits.tsv` as it was written.
    pub hits: &'a str,
    /// Its SHA-256, hexadecimal: corrections are kept under it.
    pub digest: &'a str,
    /// The command that makes the study anew, without the study's folder.
    pub command: &'a str,
    /// The sound beside the page.
    pub sound: &'a Sound,
}

/// The file of [`now`] in the study's folder.
pub const NOW: &str = "sound/now.js";

const PAGE: &str = include_str!("page.html");
const STYLE: &str = include_str!("page.css");
/// What is worked out beside the page's own thread.
const WORKER: &str = concat!(
    include_str!("script/stretch.js"),
    include_str!("script/spectrum.js"),
    include_str!("script/worker.js"),
);
/// The page's own scripts, in the order in which they use each other.
const SCRIPTS: [&str; 13] = [
    include_str!("script/study.js"),
    include_str!("script/sheet.js"),
    include_str!("script/edits.js"),
    include_str!("script/store.js"),
    include_str!("script/player.js"),
    include_str!("script/drums.js"),
    include_str!("script/draw.js"),
    include_str!("script/stack.js"),
    include_str!("script/solo.js"),
    include_str!("script/desk.js"),
    include_str!("script/spots.js"),
    include_str!("script/controls.js"),
    include_str!("script/main.js"),
];

/// Writes the page of a study to `out`, bit by bit, as that of hours is large.
pub fn write(study: &Study, source: &Source, out: &mut dyn Write) -> io::Result<()> {
    let data = data::of(study, source);
    let title = escape(&look::look(study).title);
    let style = style();
    fill(PAGE, out, |name, out| match name {
        "title" => out.write_all(title.as_bytes()),
        "style" => out.write_all(style.as_bytes()),
        "study" => Ok(serde_json::to_writer(InScript(out), &data)?),
        "worker" => out.write_all(WORKER.as_bytes()),
        "script" => SCRIPTS
            .iter()
            .try_for_each(|script| out.write_all(script.as_bytes())),
        other => write!(out, "{{{other}}}"),
    })
}

/// The script that tells an open page which study lies in the folder now.
pub fn now(digest: &str) -> String {
    format!("overbar.now(\"{}\");\n", escape(digest))
}

/// Writes a template in which `{name}` stands for what `put` writes for that name.
fn fill(
    template: &str,
    out: &mut dyn Write,
    mut put: impl FnMut(&str, &mut dyn Write) -> io::Result<()>,
) -> io::Result<()> {
    let mut rest = template;
    while let Some((before, name, after)) = slot(rest) {
        out.write_all(before.as_bytes())?;
        put(name, out)?;
        rest = after;
    }
    out.write_all(rest.as_bytes())
}

/// The first `{name}` of a template, with what stands before and after it.
fn slot(template: &str) -> Option<(&str, &str, &str)> {
    template.match_indices('{').find_map(|(at, _)| {
        let (before, from) = template.split_at(at);
        let (name, after) = from.strip_prefix('{')?.split_once('}')?;
        let is_name = !name.is_empty() && name.bytes().all(|byte| byte.is_ascii_lowercase());
        is_name.then_some((before, name, after))
    })
}

/// The page's style, with the charts' colours and faces at its head.
fn style() -> String {
    let mut style = String::from(":root {\n");
    for (name, colour) in look::colours() {
        // Writing to a String cannot fail.
        let _ = writeln!(style, "  --{name}: {colour};");
    }
    let _ = writeln!(style, "  --face: {};\n}}", look::face());
    style + STYLE
}

/// JSON on its way into a script element: nothing in it can end the element.
struct InScript<'w>(&'w mut dyn Write);

impl Write for InScript<'_> {
    fn write(&mut self, json: &[u8]) -> io::Result<usize> {
        for (at, part) in json.split(|byte| *byte == b'<').enumerate() {
            if at > 0 {
                self.0.write_all(b"\\u003c")?;
            }
            self.0.write_all(part)?;
        }
        Ok(json.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}
