//! SVG path data -> lines and curves of a PDF. Reads the commands that the pages use: M, L, H, V, C and Z, absolute and
//! relative; a path ends where it has another.

use pdf_writer::Content;

/// Draws a path's lines; filling or stroking them is left to the caller.
pub(super) fn trace(content: &mut Content, path: &str) {
    let mut reader = Words { rest: path };
    let (mut at, mut start) = ((0.0, 0.0), (0.0, 0.0));
    let mut command = 'M';
    loop {
        if let Some(next) = reader.command() {
            command = next;
        } else if reader.is_done() {
            return;
        }
        let relative = command.is_ascii_lowercase();
        let (dx, dy) = if relative { at } else { (0.0, 0.0) };
        match command.to_ascii_uppercase() {
            'Z' => {
                content.close_path();
                at = start;
                continue;
            }
            'M' => {
                let Some([x, y]) = reader.numbers() else { return };
                at = (x + dx, y + dy);
                start = at;
                content.move_to(at.0, at.1);
                // Further pairs are lines.
                command = if relative { 'l' } else { 'L' };
            }
            'L' => {
                let Some([x, y]) = reader.numbers() else { return };
                at = (x + dx, y + dy);
                content.line_to(at.0, at.1);
            }
            'H' => {
                let Some([x]) = reader.numbers() else { return };
                at.0 = x + dx;
                content.line_to(at.0, at.1);
            }
            'V' => {
                let Some([y]) = reader.numbers() else { return };
                at.1 = y + dy;
                content.line_to(at.0, at.1);
            }
            'C' => {
                let Some([a, b, c, d, x, y]) = reader.numbers() else {
                    return;
                };
                content.cubic_to(a + dx, b + dy, c + dx, d + dy, x + dx, y + dy);
                at = (x + dx, y + dy);
            }
            _ => return,
        }
    }
}

/// Path data, word by word.
struct Words<'a> {
    rest: &'a str,
}

impl Words<'_> {
    fn skip(&mut self) {
        self.rest = self.rest.trim_start_matches([' ', ',', '\n', '\t']);
    }

    fn is_done(&mut self) -> bool {
        self.skip();
        self.rest.is_empty()
    }

    /// The command that stands next, if one does.
    fn command(&mut self) -> Option<char> {
        self.skip();
        let next = self.rest.chars().next().filter(char::is_ascii_alphabetic)?;
        self.rest = self.rest.get(1..)?;
        Some(next)
    }

    fn numbers<const N: usize>(&mut self) -> Option<[f32; N]> {
        let mut numbers = [0.0; N];
        for number in &mut numbers {
            *number = self.number()?;
        }
        Some(numbers)
    }

    fn number(&mut self) -> Option<f32> {
        self.skip();
        let ends =
            |(i, c): (usize, char)| (i > 0 && c == '-') || !(c.is_ascii_digit() || c == '-' || c == '.');
        let end = self
            .rest
            .char_indices()
            .find(|place| ends(*place))
            .map_or(self.rest.len(), |(i, _)| i);
        let (word, rest) = self.rest.split_at_checked(end)?;
        self.rest = rest;
        word.parse().ok()
    }
}
