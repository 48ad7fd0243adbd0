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

use std::fmt::Write;

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

/// The page of a study.
pub fn html(study: &Study, source: &Source) -> String {
    let data = in_script(&data::of(study, source).to_string());
    let parts = [
        ("{title}", escape(&look::look(study).title)),
        ("{style}", style()),
        ("{study}", data),
        ("{worker}", WORKER.to_owned()),
        ("{script}", SCRIPTS.concat()),
    ];
    fill(PAGE, &parts)
}

/// The script that tells an open page which study lies in the folder now.
pub fn now(digest: &str) -> String {
    format!("overbar.now(\"{}\");\n", escape(digest))
}

/// Puts `parts` where their names stand in the template. What is put in is not searched again.
fn fill(template: &str, parts: &[(&str, String)]) -> String {
    let mut page = String::new();
    let mut rest = template;
    loop {
        let found = parts
            .iter()
            .filter_map(|(name, text)| Some((rest.find(name)?, name.len(), text)));
        let Some((at, length, text)) = found.min_by_key(|(at, ..)| *at) else {
            page.push_str(rest);
            return page;
        };
        let (before, after) = rest.split_at(at);
        page.push_str(before);
        page.push_str(text);
        rest = after.get(length..).unwrap_or_default();
    }
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

/// JSON that can stand inside a script element: nothing in it can end the element.
fn in_script(json: &str) -> String {
    json.replace('<', "\\u003c")
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}
