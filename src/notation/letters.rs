//! Widths of letters in Helvetica and its bold face, which all faces of the pages' family have: so words can be fitted
//! and a PDF can set them without carrying a font **[P: Adobe, Core 14 AFM files]**.

/// Widths of the characters from space to tilde, in thousandths of the size.
const PLAIN: [u16; 95] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556, 556, 556,
    556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667, 611, 778, 722, 278,
    500, 667, 556, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469,
    556, 333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556, 556, 556, 333, 500,
    278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
];
/// The same of the bold face.
const BOLD: [u16; 95] = [
    278, 333, 474, 556, 556, 889, 722, 238, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556, 556, 556,
    556, 556, 556, 556, 556, 333, 333, 584, 584, 584, 611, 975, 722, 722, 722, 722, 667, 611, 778, 722, 278,
    556, 722, 611, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 333, 278, 333, 584,
    556, 333, 556, 611, 556, 611, 556, 333, 611, 611, 278, 278, 556, 278, 889, 611, 611, 611, 611, 389, 556,
    333, 611, 556, 778, 556, 556, 500, 389, 280, 389, 584,
];
/// Other characters are about as wide as a figure \[M\]; the ellipsis is as wide as the face is high.
const OTHER: u16 = 556;
const ELLIPSIS: u16 = 1000;

/// The width of words, in the unit of `size`.
pub(crate) fn width(words: &str, size: f64, bold: bool) -> f64 {
    let table = if bold { &BOLD } else { &PLAIN };
    let of = |c: char| match c {
        '…' => ELLIPSIS,
        c => (c as usize)
            .checked_sub(32)
            .and_then(|i| table.get(i))
            .copied()
            .unwrap_or(OTHER),
    };
    words.chars().map(|c| f64::from(of(c))).sum::<f64>() * size / 1000.0
}

/// Words cut to a width with an ellipsis where they are wider.
pub(crate) fn fit(words: &str, size: f64, bold: bool, most: f64) -> String {
    if width(words, size, bold) <= most {
        return words.to_owned();
    }
    let mut kept = words.to_owned();
    while kept.pop().is_some() {
        let shown = format!("{}…", kept.trim_end());
        if width(&shown, size, bold) <= most {
            return shown;
        }
    }
    String::new()
}

/// Words broken into lines of at most this width; a word that is wider by itself is cut.
pub(crate) fn wrap(words: &str, size: f64, bold: bool, most: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split(' ') {
        let longer = lines.last().map(|line| format!("{line} {word}"));
        match longer.filter(|line| width(line, size, bold) <= most) {
            Some(line) => {
                lines.pop();
                lines.push(line);
            }
            None => lines.push(fit(word, size, bold, most)),
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_as_wide_as_their_letters_and_are_cut_to_fit() {
        assert_eq!(width("bar", 1000.0, false), 1445.0);
        assert_eq!(width("bar", 1000.0, true), 1556.0);
        let cut = fit("a very long name of a tune", 40.0, false, 200.0);
        assert!(cut.ends_with('…') && width(&cut, 40.0, false) <= 200.0, "{cut}");
        assert_eq!(fit("short", 40.0, false, 200.0), "short");
        assert_eq!(wrap("two words", 40.0, false, 120.0), ["two", "words"]);
        assert_eq!(wrap("two words", 40.0, false, 400.0), ["two words"]);
    }
}
