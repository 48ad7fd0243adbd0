//! What is drawn on a staff before it is known where on the page the staff stands: marks with heights from its top
//! line, and how far up and down they reach.

use super::glyphs::glyph;
use crate::charts::page::home_sign;
use crate::charts::palette::INK;
use crate::charts::svg::{Svg, Type, escape, whole};

/// A staff space in tenths of a millimetre: a staff of 7.2 mm, as parts for a music stand have it \[C\].
pub(super) const SPACE: f64 = 18.0;
/// The size of grace notes \[C\].
pub(super) const GRACE: f64 = 0.6;

/// One mark; heights are from the top line of the staff, down.
#[derive(Debug)]
enum Mark {
    Glyph {
        name: &'static str,
        at: (f64, f64),
        small: bool,
        extra: String,
    },
    Line {
        from: (f64, f64),
        to: (f64, f64),
        colour: &'static str,
        width: i64,
    },
    Beam {
        from: f64,
        to: f64,
        y: f64,
        height: f64,
    },
    Text {
        at: (f64, f64),
        look: Type,
        words: String,
    },
    House {
        at: (f64, f64),
    },
}

/// Marks.
#[derive(Debug, Default)]
pub(super) struct Ink {
    marks: Vec<Mark>,
    /// How far they reach up (negative) and down.
    pub(super) top: f64,
    pub(super) bottom: f64,
}

impl Ink {
    /// For a staff, whose lines reach as far down as they do.
    pub(super) fn staff() -> Ink {
        Ink {
            bottom: 4.0 * SPACE,
            ..Ink::default()
        }
    }

    fn reach(&mut self, top: f64, bottom: f64) {
        self.top = self.top.min(top);
        self.bottom = self.bottom.max(bottom);
    }

    /// A glyph with its origin at a place; `extra` are further attributes, and content after `>` if it has any.
    pub(super) fn glyph(&mut self, name: &str, at: (f64, f64), small: bool, extra: String) {
        let Some((name, glyph)) = glyph(name) else {
            return;
        };
        let [_, top, _, bottom] = glyph.bounds(if small { SPACE * GRACE } else { SPACE });
        self.reach(at.1 + top, at.1 + bottom);
        self.marks.push(Mark::Glyph {
            name,
            at,
            small,
            extra,
        });
    }

    pub(super) fn line(&mut self, from: (f64, f64), to: (f64, f64), colour: &'static str, width: i64) {
        self.reach(from.1.min(to.1), from.1.max(to.1));
        self.marks.push(Mark::Line {
            from,
            to,
            colour,
            width,
        });
    }

    /// A beam whose upper edge is at `y`.
    pub(super) fn beam(&mut self, from: f64, to: f64, y: f64, height: f64) {
        self.reach(y, y + height);
        self.marks.push(Mark::Beam { from, to, y, height });
    }

    /// Words at their baseline.
    pub(super) fn text(&mut self, at: (f64, f64), look: Type, size: i64, words: impl Into<String>) {
        self.reach(at.1 - 0.75 * size as f64, at.1 + 0.22 * size as f64);
        self.marks.push(Mark::Text {
            at,
            look,
            words: words.into(),
        });
    }

    /// The sign for home, its middle at a place.
    pub(super) fn house(&mut self, at: (f64, f64)) {
        self.reach(at.1 - 20.0, at.1 + 18.0);
        self.marks.push(Mark::House { at });
    }

    /// Draws everything with the staff's top line at `y`; gives the names of the glyphs that were used.
    pub(super) fn put(&self, svg: &mut Svg, y: f64) {
        for mark in &self.marks {
            match mark {
                Mark::Glyph {
                    name,
                    at,
                    small,
                    extra,
                } => {
                    let id = id(name, *small);
                    let (x, y) = (whole(at.0), whole(at.1 + y));
                    let end = if extra.contains('>') { "</use>" } else { "/>" };
                    svg.put(&format!(r##"<use href="#{id}" x="{x}" y="{y}"{extra}{end}"##));
                }
                Mark::Line {
                    from,
                    to,
                    colour,
                    width,
                } => svg.line(
                    (whole(from.0), whole(from.1 + y)),
                    (whole(to.0), whole(to.1 + y)),
                    colour,
                    *width,
                ),
                Mark::Beam {
                    from,
                    to,
                    y: top,
                    height,
                } => svg.put(&format!(
                    r#"<rect x="{}" y="{}" width="{}" height="{}" fill="{INK}"/>"#,
                    whole(*from),
                    whole(top + y),
                    whole(*to) - whole(*from),
                    whole(*height),
                )),
                Mark::House { at } => home_sign(svg, whole(at.0), whole(at.1 + y)),
                Mark::Text { at, look, words } => svg.text(whole(at.0), whole(at.1 + y), *look, words),
            }
        }
    }

    /// The glyphs that are used: name, and whether small.
    pub(super) fn glyphs(&self) -> impl Iterator<Item = (&'static str, bool)> {
        self.marks.iter().filter_map(|mark| match mark {
            Mark::Glyph { name, small, .. } => Some((*name, *small)),
            _ => None,
        })
    }
}

fn id(name: &str, small: bool) -> String {
    format!("{}{}", name.replace('_', "-"), if small { "-small" } else { "" })
}

/// The outlines that a page uses, to be drawn by name.
pub(super) fn define(svg: &mut Svg, glyphs: impl Iterator<Item = (&'static str, bool)>) {
    let used: std::collections::BTreeSet<(&str, bool)> = glyphs.collect();
    svg.put("<defs>");
    for (name, small) in used {
        if let Some((name, glyph)) = glyph(name) {
            let scale = SPACE * 4.0 / 1000.0 * if small { GRACE } else { 1.0 };
            svg.put(&format!(
                r#"<path id="{}" transform="scale({scale:.4})" d="{}"/>"#,
                id(name, small),
                glyph.path
            ));
        }
    }
    svg.put("</defs>");
}

/// Attributes that name an element and say what it is to those who listen.
pub(super) fn titled(attributes: &str, title: &str) -> String {
    format!(" {attributes}><title>{}</title>", escape(title))
}
