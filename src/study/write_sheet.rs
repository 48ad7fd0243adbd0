//! Strokes -> the text of `hits.tsv`, with the player's own columns and comments in their places.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::Stroke;
use super::cells::quote;
use super::sheet::{COLUMNS, Comment};
use super::tick::Tick;
use crate::names::{Layer, Limb, Mark, Voice};

/// The comment lines at the top of the file: what may be edited, and how.
pub(super) fn guide() -> Vec<String> {
    let names = |all: Vec<&str>| all.join(", ");
    vec![
        "# One row is one stroke. Edit time, voice, limb, layer, mark and grace as you like, add rows, delete rows."
            .to_owned(),
        "# The next run of overbar study keeps your edits and works the other columns out anew.".to_owned(),
        "# A new row needs only a time (seconds from the start of the recording) and a voice.".to_owned(),
        format!(
            "# voice: {}",
            names(Voice::ALL.iter().map(|v| v.name()).collect())
        ),
        format!(
            "# limb: {} or empty",
            names(Limb::ALL.iter().map(|v| v.name()).collect())
        ),
        format!(
            "# layer: {} or empty",
            names(Layer::ALL.iter().map(|v| v.name()).collect())
        ),
        format!(
            "# mark: {} or empty",
            names(Mark::ALL.iter().map(|v| v.name()).collect())
        ),
        "# grace: ms from the (first) grace stroke to the stroke itself, or empty".to_owned(),
        "# Columns and comment lines of your own are kept.".to_owned(),
    ]
}

/// The text of the file. `strokes` are sorted by time; `own` gives what stands in the player's columns of each stroke.
pub(super) fn sheet_text(
    strokes: &[Stroke],
    own: &[BTreeMap<String, String>],
    own_columns: &[String],
    comments: &[Comment],
) -> String {
    let mut text = String::new();
    let mut line = |cells: &str| {
        text.push_str(cells);
        text.push('\n');
    };
    guide().iter().for_each(|g| line(g));
    let (above, mut between): (Vec<&Comment>, Vec<&Comment>) =
        comments.iter().partition(|c| c.time.is_none());
    above.iter().for_each(|c| line(&c.line));
    let own_names = own_columns.iter().map(|name| quote(name));
    let header: Vec<String> = COLUMNS.iter().map(|c| (*c).to_owned()).chain(own_names).collect();
    line(&header.join("\t"));
    between.sort_by_key(|c| c.time);
    let mut between = between.into_iter().peekable();
    let nothing = BTreeMap::new();
    for (at, stroke) in strokes.iter().enumerate() {
        let time = Tick::of(stroke.hit.time);
        while let Some(comment) = between.next_if(|c| c.time <= Some(time)) {
            line(&comment.line);
        }
        let mut cells = row(stroke);
        let own = own.get(at).unwrap_or(&nothing);
        for column in own_columns {
            let _ = write!(cells, "\t{}", quote(own.get(column).map_or("", String::as_str)));
        }
        line(&cells);
    }
    between.for_each(|c| line(&c.line));
    text
}

fn row(stroke: &Stroke) -> String {
    let hit = &stroke.hit;
    let whole = |number: Option<i64>| number.map_or_else(String::new, |n| n.to_string());
    let cells: [String; 12] = [
        Tick::of(hit.time).to_string(),
        hit.voice.to_string(),
        decimals(hit.level.0, 1),
        whole(stroke.place.map(|p| p.bar)),
        whole(stroke.place.map(|p| p.beat)),
        whole(stroke.place.map(|p| p.step)),
        stroke.late.map_or_else(String::new, |late| decimals(late.0, 1)),
        stroke.limb.map_or_else(String::new, |l| l.to_string()),
        stroke.layer.map_or_else(String::new, |l| l.to_string()),
        hit.mark.map_or_else(String::new, |m| m.to_string()),
        hit.grace.map_or_else(String::new, |grace| decimals(grace.0, 1)),
        decimals(hit.sure, 2),
    ];
    cells.join("\t")
}

/// A number with so many decimals, and never a negative nought.
fn decimals(number: f64, count: usize) -> String {
    let text = format!("{number:.count$}");
    match text.strip_prefix('-') {
        Some(size) if size.bytes().all(|b| matches!(b, b'0' | b'.')) => size.to_owned(),
        _ => text,
    }
}
