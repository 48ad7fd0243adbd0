//! Outlines of the engraving font: note heads, rests, flags, numbers, the clef.
//!
//! Sixty outlines of Bravura **[P: SMuFL 1.4, W3C Music Notation Community Group; font by Steinberg, SIL Open Font
//! License 1.1]** stand in `glyphs.txt`, so that a page needs no font to be installed and none is embedded.

use std::collections::BTreeMap;
use std::sync::LazyLock;

/// Units of the font in a staff space.
const UNITS: f64 = 250.0;

/// One outline.
#[derive(Debug)]
pub(super) struct Glyph {
    /// Left, top, right and bottom of its box, in units of the font.
    bounds: [f64; 4],
    /// Its path.
    pub(super) path: &'static str,
}

impl Glyph {
    /// Left, top, right and bottom of its box in tenths of a millimetre, at so many to a staff space.
    pub(super) fn bounds(&self, space: f64) -> [f64; 4] {
        self.bounds.map(|edge| edge * space / UNITS)
    }

    /// Its width, at so many tenths of a millimetre to a staff space.
    pub(super) fn width(&self, space: f64) -> f64 {
        let [left, _, right, _] = self.bounds(space);
        right - left
    }
}

static GLYPHS: LazyLock<BTreeMap<&'static str, Glyph>> = LazyLock::new(|| {
    let lines = include_str!("glyphs.txt")
        .lines()
        .filter(|line| !line.starts_with('#'));
    lines.filter_map(read).collect()
});

fn read(line: &'static str) -> Option<(&'static str, Glyph)> {
    let mut cells = line.split('\t');
    let name = cells.next()?;
    let numbers: Vec<f64> = cells
        .by_ref()
        .take(8)
        .filter_map(|cell| cell.parse().ok())
        .collect();
    let bounds = numbers.get(..4)?.try_into().ok()?;
    Some((
        name,
        Glyph {
            bounds,
            path: cells.next()?,
        },
    ))
}

/// A glyph by its name.
pub(super) fn glyph(name: &str) -> Option<(&'static str, &'static Glyph)> {
    GLYPHS.get_key_value(name).map(|(name, glyph)| (*name, glyph))
}

/// The width of a glyph; 0 for one that is not there.
pub(super) fn width(name: &str, space: f64) -> f64 {
    glyph(name).map_or(0.0, |(_, glyph)| glyph.width(space))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_of_the_file_is_a_glyph_and_a_round_head_is_wider_than_a_space() {
        let lines = include_str!("glyphs.txt")
            .lines()
            .filter(|line| !line.starts_with('#'));
        assert_eq!(GLYPHS.len(), lines.count());
        let head = width("head", 18.0);
        assert!(head > 18.0 && head < 24.0, "{head}");
        for name in [
            "clef",
            "rest_1",
            "rest_32",
            "flag_64_down",
            "time_9",
            "tuplet_7",
            "paren_left",
            "accent",
        ] {
            assert!(glyph(name).is_some(), "{name}");
        }
    }
}
