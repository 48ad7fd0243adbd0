//! Writes SVG that a person can read and compare: one element a line, whole numbers, text as text.
//!
//! In: positions in tenths of a millimetre. Out: SVG 1.1 with a title and a description for readers who listen.
//! The drawn charts need titles inside elements, data attributes and dashes, which a plotting library's backend
//! does not write; the graph of [`super::evidence`] is plotted by one.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::palette::{FACE, INK, PAPER};

/// A page that is being drawn.
#[derive(Debug)]
pub(crate) struct Svg {
    out: String,
    depth: usize,
    /// Its own id, with which those of its elements begin.
    name: String,
    /// How often each id has been given.
    ids: BTreeMap<String, usize>,
}

/// How words look.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Type {
    size: i64,
    bold: bool,
    fill: &'static str,
    anchor: &'static str,
}

impl Type {
    /// Plain words that begin at their place.
    pub(crate) fn size(size: i64) -> Self {
        Type {
            size,
            bold: false,
            fill: INK,
            anchor: "start",
        }
    }

    /// The same, bold.
    pub(crate) fn bold(self) -> Self {
        Type { bold: true, ..self }
    }

    /// The same in another colour.
    pub(crate) fn fill(self, fill: &'static str) -> Self {
        Type { fill, ..self }
    }

    /// The same, centred on its place.
    pub(crate) fn middle(self) -> Self {
        Type {
            anchor: "middle",
            ..self
        }
    }

    /// The same, ending at its place.
    pub(crate) fn end(self) -> Self {
        Type {
            anchor: "end",
            ..self
        }
    }
}

impl Svg {
    /// An empty white page, `width` by `height` tenths of a millimetre, with this id.
    pub(crate) fn new(name: &str, (width, height): (i64, i64), title: &str, desc: &str) -> Self {
        let mut svg = Svg {
            out: String::new(),
            depth: 0,
            name: name.to_owned(),
            ids: BTreeMap::new(),
        };
        svg.put(&format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" id="{name}" lang="en" role="img" aria-labelledby="{name}-title {name}-desc" width="{}mm" height="{}mm" viewBox="0 0 {width} {height}" font-family="{FACE}">"#,
            width as f64 / 10.0,
            height as f64 / 10.0,
        ));
        svg.depth = 1;
        svg.put(&format!(r#"<title id="{name}-title">{}</title>"#, escape(title)));
        svg.put(&format!(r#"<desc id="{name}-desc">{}</desc>"#, escape(desc)));
        svg.put(&format!(
            r#"<rect width="{width}" height="{height}" fill="{PAPER}"/>"#
        ));
        svg
    }

    /// The id of an element: the page's own and what the element is; the second of the same name gets a number.
    pub(crate) fn id(&mut self, what: &str) -> String {
        let times = self.ids.entry(what.to_owned()).or_default();
        *times += 1;
        match *times {
            1 => format!("{}-{what}", self.name),
            again => format!("{}-{what}-{again}", self.name),
        }
    }

    /// One element, as it stands.
    pub(crate) fn put(&mut self, element: &str) {
        for _ in 0..self.depth {
            self.out.push(' ');
        }
        self.out.push_str(element);
        self.out.push('\n');
    }

    /// Opens a group with these attributes.
    pub(crate) fn open(&mut self, attributes: &str) {
        self.put(&format!("<g {attributes}>"));
        self.depth += 1;
    }

    /// Closes the group opened last.
    pub(crate) fn close(&mut self) {
        self.depth = self.depth.saturating_sub(1).max(1);
        self.put("</g>");
    }

    /// Words at their baseline.
    pub(crate) fn text(&mut self, x: i64, y: i64, look: Type, words: &str) {
        let mut element = format!(r#"<text x="{x}" y="{y}" font-size="{}""#, look.size);
        if look.bold {
            element.push_str(r#" font-weight="bold""#);
        }
        if look.fill != INK {
            // Writing to a String cannot fail.
            let _ = write!(element, r#" fill="{}""#, look.fill);
        }
        if look.anchor != "start" {
            let _ = write!(element, r#" text-anchor="{}""#, look.anchor);
        }
        let _ = write!(element, ">{}</text>", escape(words));
        self.put(&element);
    }

    /// A straight line.
    pub(crate) fn line(&mut self, from: (i64, i64), to: (i64, i64), colour: &str, width: i64) {
        self.put(&format!(
            r#"<path d="M{} {}L{} {}" stroke="{colour}" stroke-width="{width}"/>"#,
            from.0, from.1, to.0, to.1
        ));
    }

    /// The whole document.
    pub(crate) fn finish(mut self) -> String {
        self.out.push_str("</svg>\n");
        self.out
    }
}

/// Text that XML may carry: markup escaped, characters that XML forbids left out, no line breaks.
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\n' | '\r' | '\t' => out.push(' '),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => {}
            c => out.push(c),
        }
    }
    out
}

/// About how wide words are; letters of plain sans faces are half as wide as high, on average [M].
pub(crate) fn width(words: &str, size: i64) -> i64 {
    words.chars().count() as i64 * size * 52 / 100
}

/// Words in lines of at most so much room; a longer word has a line of its own.
pub(crate) fn wrap(words: &str, size: i64, room: i64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split(' ') {
        match lines.last_mut() {
            Some(line) if width(&format!("{line} {word}"), size) <= room => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// Words cut to a length with an ellipsis when they are longer.
pub(crate) fn shorten(words: &str, most: usize) -> String {
    if words.chars().count() <= most {
        return words.to_owned();
    }
    let kept: String = words.chars().take(most.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// The nearest whole number; what is no number becomes 0, so that none reaches a page.
pub(crate) fn whole(value: f64) -> i64 {
    value.round() as i64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_in_a_name_is_escaped_and_forbidden_characters_are_left_out() {
        assert_eq!(
            escape("a<b> & \"c\"\u{1}\u{ffff}\nd"),
            "a&lt;b&gt; &amp; &quot;c&quot; d"
        );
    }

    #[test]
    fn long_words_end_in_an_ellipsis_and_short_ones_stay() {
        assert_eq!(shorten("kick", 4), "kick");
        assert_eq!(shorten("kicks", 4), "kic…");
    }

    #[test]
    fn what_is_no_number_never_reaches_the_page() {
        assert_eq!((whole(f64::NAN), whole(1.5), whole(-0.2)), (0, 2, 0));
    }
}
