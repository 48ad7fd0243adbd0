//! The bytes of a tab-separated file -> its records: cells as editors and spreadsheets write them, and comments.

/// One line of the file that is not blank.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Record {
    /// A line of cells.
    Cells {
        /// Its line in the file, from 1.
        line: usize,
        /// Its cells, unquoted and trimmed; never empty.
        cells: Vec<String>,
    },
    /// A line that begins with `#`, without the spaces and tabs at its end.
    Comment(String),
}

/// The text of a file in UTF-8, or in UTF-16 with its mark (some spreadsheets call that "Unicode text").
/// The error is the first line, from 1, that is neither.
pub(super) fn decode(bytes: &[u8]) -> Result<String, usize> {
    let wide = |pairs: &[u8], unit: fn([u8; 2]) -> u16| -> Result<String, usize> {
        let units = pairs.as_chunks().0.iter().map(|pair| unit(*pair));
        char::decode_utf16(units)
            .collect::<Result<String, _>>()
            .map_err(|_| 1)
    };
    let text = match bytes {
        [0xff, 0xfe, rest @ ..] => wide(rest, u16::from_le_bytes)?,
        [0xfe, 0xff, rest @ ..] => wide(rest, u16::from_be_bytes)?,
        [0xef, 0xbb, 0xbf, rest @ ..] => utf8(rest)?,
        _ => utf8(bytes)?,
    };
    Ok(text.replace("\r\n", "\n").replace('\r', "\n"))
}

fn utf8(bytes: &[u8]) -> Result<String, usize> {
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(text.to_owned()),
        Err(error) => {
            let good = bytes.get(..error.valid_up_to()).unwrap_or_default();
            Err(1 + good.iter().filter(|b| **b == b'\n').count())
        }
    }
}

/// The records of a text whose lines end in `\n`, blank lines left out.
pub(super) fn records(text: &str) -> Vec<Record> {
    let mut records = Vec::new();
    let (mut rest, mut line) = (text, 1);
    while !rest.is_empty() {
        let before = rest;
        if rest.starts_with('#') {
            let (comment, after) = rest.split_once('\n').unwrap_or((rest, ""));
            records.push(Record::Comment(comment.trim_end().to_owned()));
            rest = after;
        } else {
            let (cells, after) = split(rest);
            if cells.first().is_some_and(|cell| cell.starts_with('#')) {
                records.push(Record::Comment(
                    cells.join(" ").replace('\n', " ").trim_end().to_owned(),
                ));
            } else if cells.iter().any(|cell| !cell.is_empty()) {
                records.push(Record::Cells { line, cells });
            }
            rest = after;
        }
        let used = before.len() - rest.len();
        line += before.bytes().take(used).filter(|b| *b == b'\n').count();
    }
    records
}

/// The cells of the first record, and what follows its end of line.
fn split(text: &str) -> (Vec<String>, &str) {
    let mut cells = Vec::new();
    let mut rest = text;
    loop {
        let (cell, after) = quoted(rest).unwrap_or_else(|| plain(rest));
        cells.push(cell.trim().to_owned());
        match after.strip_prefix('\t') {
            Some(next) => rest = next,
            None => return (cells, after.strip_prefix('\n').unwrap_or(after)),
        }
    }
}

fn plain(text: &str) -> (String, &str) {
    let (cell, rest) = text.split_at(text.find(['\t', '\n']).unwrap_or(text.len()));
    (cell.to_owned(), rest)
}

/// A cell in quotes, which may hold tabs or ends of line. `None` if the text does not begin with one.
///
/// Both tabs and ends of line inside one cell mean that somebody typed a quote and never closed it: to believe that
/// cell would swallow rows, so it is no quoted cell then.
fn quoted(text: &str) -> Option<(String, &str)> {
    let mut rest = text.strip_prefix('"')?;
    let mut cell = String::new();
    loop {
        let (part, after) = rest.split_once('"')?;
        cell.push_str(part);
        match after.strip_prefix('"') {
            Some(next) => {
                cell.push('"');
                rest = next;
            }
            None => {
                let ends = after.is_empty() || after.starts_with(['\t', '\n']);
                let swallowed = cell.contains('\t') && cell.contains('\n');
                return (ends && !swallowed).then_some((cell, after));
            }
        }
    }
}

/// A cell as it is written: in quotes only where it must be.
pub(super) fn quote(cell: &str) -> String {
    if cell.starts_with(['"', '#']) || cell.contains(['\t', '\n', '\r']) {
        // Both together would read back as a quote that was never closed.
        let cell = if cell.contains('\t') {
            cell.replace('\n', " ")
        } else {
            cell.to_owned()
        };
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(line: usize, cells: &[&str]) -> Record {
        Record::Cells {
            line,
            cells: cells.iter().map(|c| (*c).to_owned()).collect(),
        }
    }

    #[test]
    fn lines_end_as_any_system_ends_them_and_marks_are_skipped() {
        for bytes in [
            &b"\xef\xbb\xbfa\tb\r\nc\r\n"[..],
            b"a\tb\rc",
            b"a\tb\nc\n",
            b"\xff\xfea\0\t\0b\0\n\0c\0",
        ] {
            let text = decode(bytes).unwrap();
            assert_eq!(
                records(&text),
                [cells(1, &["a", "b"]), cells(2, &["c"])],
                "{bytes:?}"
            );
        }
    }

    #[test]
    fn bytes_that_are_no_text_are_refused_with_their_line() {
        assert_eq!(decode(b"a\nb\xe9\n"), Err(2));
        assert_eq!(decode(b"\xff\xfe\x00\xd8"), Err(1));
    }

    #[test]
    fn blank_lines_and_trailing_tabs_do_no_harm() {
        let text = "a\tb\t\t\n\n\t\t\n  \nc\n";
        assert_eq!(records(text), [cells(1, &["a", "b", "", ""]), cells(5, &["c"])]);
    }

    #[test]
    fn quoted_cells_hold_tabs_or_line_ends_and_count_their_lines() {
        let text = "\"a\tb\"\t\"say \"\"so\"\"\"\n\"c\nd\"\te\nf\n";
        let expected = [
            cells(1, &["a\tb", "say \"so\""]),
            cells(2, &["c\nd", "e"]),
            cells(4, &["f"]),
        ];
        assert_eq!(records(text), expected);
    }

    #[test]
    fn a_quote_that_is_never_closed_swallows_no_row() {
        let text = "1\t\"loud\n2\tsoft\n3\tsoft\"\n";
        let expected = [
            cells(1, &["1", "\"loud"]),
            cells(2, &["2", "soft"]),
            cells(3, &["3", "soft\""]),
        ];
        assert_eq!(records(text), expected);
    }

    #[test]
    fn a_quote_inside_a_cell_is_a_quote() {
        assert_eq!(records("14\" tom\t\"a\" b"), [cells(1, &["14\" tom", "\"a\" b"])]);
    }

    #[test]
    fn comments_are_kept_whole_also_when_a_spreadsheet_has_padded_or_quoted_them() {
        let comment = Record::Comment("# here \"it\" begins".to_owned());
        let plain = records("# here \"it\" begins\t\t\n");
        assert_eq!(plain, std::slice::from_ref(&comment));
        assert_eq!(records("\"# here \"\"it\"\" begins\"\t\t\n"), [comment]);
    }

    #[test]
    fn every_cell_reads_back_as_it_was_written() {
        for cell in [
            "",
            "plain",
            "two words",
            "\"",
            "\"a\"",
            "a\"b",
            "a\tb",
            "a\nb",
            "# no comment",
        ] {
            let text = format!("x\t{}\ty\n", quote(cell));
            assert_eq!(records(&text), [cells(1, &["x", cell, "y"])], "{cell:?}");
        }
    }
}
