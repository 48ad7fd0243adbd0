//! `hits.tsv` -> [`Sheet`]: its rows, the columns and comments that are the player's own, every bad cell named.

use std::collections::BTreeMap;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::cells::{Record, decode, records};
use super::error::StudyError;
use super::row::RowReader;
use super::tick::Tick;
use super::write_sheet::guide;
use crate::grid::Place;
use crate::names::{Layer, Limb, Mark, Voice};
use crate::units::{Decibels, Millis, Seconds};

/// The columns that this program writes, in its order.
pub(super) const COLUMNS: [&str; 12] = [
    "time", "voice", "level", "bar", "beat", "step", "late", "limb", "layer", "mark", "grace", "sure",
];

/// The name given to cells that stand beyond the header row.
const UNNAMED: &str = "note";

/// A row as the file has it. The outer `None` of limb, layer, mark and grace means that the row has no such cell, which is
/// no statement; the inner one that the cell is empty, which is.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    pub(super) time: Tick,
    pub(super) voice: Voice,
    pub(super) level: Option<Decibels>,
    pub(super) place: Option<Place>,
    pub(super) late: Option<Millis>,
    pub(super) limb: Option<Option<Limb>>,
    pub(super) layer: Option<Option<Layer>>,
    pub(super) mark: Option<Option<Mark>>,
    pub(super) grace: Option<Option<Tick>>,
    pub(super) sure: Option<f64>,
    /// What stands in the player's own columns, empty cells left out.
    pub(super) own: BTreeMap<String, String>,
}

/// A comment line of the player's.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Comment {
    /// It stands above the first row that is not before this time; `null`: above the header row.
    pub(super) time: Option<Tick>,
    /// The line, with its `#`.
    pub(super) line: String,
}

/// Everything in the file.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Sheet {
    /// The rows, sorted by time; rows of one time in the order of the file.
    pub(super) rows: Vec<Row>,
    /// Names of the player's own columns, in the order of the file.
    pub(super) own_columns: Vec<String>,
    /// The player's comments, in the order of the file.
    pub(super) comments: Vec<Comment>,
    /// Decimals of the most precise time in the file, at most 5: a spreadsheet may have dropped some.
    pub(super) decimals: u32,
}

impl Sheet {
    /// Reads the bytes of the file called `file`. Times after `end`, where it is known, are refused.
    pub(super) fn read(bytes: &[u8], file: &Path, end: Option<Seconds>) -> Result<Sheet, StudyError> {
        let text = decode(bytes).map_err(|line| StudyError::NotText {
            file: file.to_owned(),
            line,
        })?;
        let records = records(&text);
        // A spreadsheet that sorted the whole sheet may have moved the header row down.
        let header = records
            .iter()
            .find_map(Header::of)
            .ok_or_else(|| StudyError::NoHeader {
                file: file.to_owned(),
            })?;
        if let Some(column) = header.twice() {
            return Err(StudyError::ColumnTwice {
                file: file.to_owned(),
                line: header.line,
                column,
            });
        }
        let mut reader = RowReader::new(&header, end);
        let mut sheet = Sheet::gather(&records, &header, &mut reader);
        if !reader.bad.is_empty() {
            return Err(StudyError::BadCells {
                file: file.to_owned(),
                cells: reader.bad,
            });
        }
        sheet.rows.sort_by_key(|row| row.time);
        Ok(sheet)
    }

    /// Everything in the records; bad cells are left to the reader to tell.
    fn gather(records: &[Record], header: &Header, reader: &mut RowReader) -> Sheet {
        let mut sheet = Sheet {
            own_columns: header.own_columns(),
            ..Sheet::default()
        };
        let (mut waiting, mut begun, mut last) = (Vec::new(), false, Tick::default());
        let ours = guide();
        for record in records {
            match record {
                Record::Comment(line) if ours.contains(line) => {}
                Record::Comment(line) if begun => waiting.push(line.clone()),
                Record::Comment(line) => sheet.comments.push(Comment {
                    time: None,
                    line: line.clone(),
                }),
                Record::Cells { line, .. } if *line == header.line => begun = true,
                Record::Cells { line, cells } => {
                    let Some(row) = reader.row(*line, cells) else {
                        continue;
                    };
                    for name in row.own.keys() {
                        if !sheet.own_columns.contains(name) {
                            sheet.own_columns.push(name.clone());
                        }
                    }
                    last = row.time;
                    let above = |line| Comment {
                        time: Some(last),
                        line,
                    };
                    sheet.comments.extend(waiting.drain(..).map(above));
                    sheet.rows.push(row);
                }
            }
        }
        let below = |line| Comment {
            time: Some(last.plus(1)),
            line,
        };
        sheet.comments.extend(waiting.drain(..).map(below));
        sheet.decimals = reader.decimals;
        sheet
    }
}

/// Where the columns stand.
pub(super) struct Header {
    /// Its line in the file, from 1.
    line: usize,
    /// Names as compared: known ones in lower case, others as they are.
    names: Vec<String>,
}

impl Header {
    /// The header row, if this record is one.
    fn of(record: &Record) -> Option<Header> {
        let Record::Cells { line, cells } = record else {
            return None;
        };
        let name = |cell: &String| {
            let lower = cell.to_ascii_lowercase();
            if COLUMNS.contains(&lower.as_str()) {
                lower
            } else {
                cell.clone()
            }
        };
        let mut names: Vec<String> = cells.iter().map(name).collect();
        while names.last().is_some_and(String::is_empty) {
            names.pop();
        }
        let has = |column: &str| names.iter().any(|name| name == column);
        (has("time") && has("voice")).then_some(Header { line: *line, names })
    }

    fn twice(&self) -> Option<String> {
        let repeated = |(at, name): &(usize, &String)| {
            !name.is_empty() && self.names.iter().take(*at).any(|n| n == *name)
        };
        self.names
            .iter()
            .enumerate()
            .find(repeated)
            .map(|(_, name)| name.clone())
    }

    fn own_columns(&self) -> Vec<String> {
        self.names.iter().filter(|name| is_own(name)).cloned().collect()
    }

    /// The cell of a row under `column`, if the row reaches that far.
    pub(super) fn cell<'c>(&self, cells: &'c [String], column: &str) -> Option<&'c str> {
        let at = self.names.iter().position(|name| name == column)?;
        cells.get(at).map(String::as_str)
    }

    /// The cells of a row in the player's own columns, by name, empty ones left out.
    pub(super) fn own(&self, cells: &[String]) -> BTreeMap<String, String> {
        let named = cells.iter().enumerate().map(|(at, cell)| (self.name(at), cell));
        named
            .filter(|(name, cell)| is_own(name) && !cell.is_empty())
            .map(|(name, cell)| (name, cell.clone()))
            .collect()
    }

    /// The name of column number `at`; those without a name get one that no other column has.
    fn name(&self, at: usize) -> String {
        match self.names.get(at) {
            Some(name) if !name.is_empty() => name.clone(),
            _ if self.names.iter().any(|name| name == UNNAMED) => format!("{UNNAMED}_{}", at + 1),
            _ if at == self.names.len() => UNNAMED.to_owned(),
            _ => format!("{UNNAMED}_{}", at + 1),
        }
    }
}

fn is_own(column: &str) -> bool {
    !column.is_empty() && !COLUMNS.contains(&column)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Sheet, StudyError> {
        Sheet::read(text.as_bytes(), Path::new("hits.tsv"), Some(Seconds(60.0)))
    }

    fn complaint(text: &str) -> String {
        read(text).unwrap_err().to_string()
    }

    #[test]
    fn columns_are_found_by_name_in_any_order_and_any_case() {
        let sheet = read("Mark\tVoice\tTIME\n\tSnare 2\t1.5\nghost\tkick\t0.5\n").unwrap();
        let rows: Vec<_> = sheet
            .rows
            .iter()
            .map(|r| (r.time.to_string(), r.voice, r.mark))
            .collect();
        let ghost = Some(Some(Mark::Ghost));
        assert_eq!(
            rows,
            [
                ("0.50000".to_owned(), Voice::Kick, ghost),
                ("1.50000".to_owned(), Voice::Snare2, Some(None))
            ]
        );
    }

    #[test]
    fn a_decimal_comma_is_a_decimal_point() {
        let sheet = read("time\tvoice\tlevel\n1,5\tkick\t-3,25\n").unwrap();
        assert_eq!(sheet.rows[0].time, Tick::of(Seconds(1.5)));
        assert_eq!(sheet.rows[0].level, Some(Decibels(-3.25)));
        assert_eq!(sheet.decimals, 1);
    }

    #[test]
    fn a_grace_stroke_is_read_in_milliseconds_and_nonsense_is_refused() {
        let sheet = read("time\tvoice\tmark\tgrace\n1.5\tsnare\tflam\t23,5\n2\tsnare\t\t\n").unwrap();
        let graces: Vec<_> = sheet.rows.iter().map(|row| row.grace).collect();
        assert_eq!(graces, [Some(Some(Tick::of(Seconds(0.0235)))), Some(None)]);
        for bad in ["-3", "soon", "5000"] {
            let said = complaint(&format!("time\tvoice\tgrace\n1\tsnare\t{bad}\n"));
            assert!(
                said.contains("is no number of milliseconds before the stroke"),
                "{said}"
            );
        }
    }

    #[test]
    fn a_short_row_says_nothing_about_the_cells_it_lacks() {
        let sheet = read("time\tvoice\tlimb\tlayer\n1.5\tkick\t\n").unwrap();
        assert_eq!((sheet.rows[0].limb, sheet.rows[0].layer), (Some(None), None));
    }

    #[test]
    fn own_columns_and_cells_beyond_the_header_are_kept_by_name() {
        let sheet = read("time\tvoice\tsource\n1\tkick\tfilm\tlisten again\n2\tkick\n").unwrap();
        assert_eq!(sheet.own_columns, ["source", "note"]);
        assert_eq!(sheet.rows[0].own["source"], "film");
        assert_eq!(sheet.rows[0].own["note"], "listen again");
        assert!(sheet.rows[1].own.is_empty());
    }

    #[test]
    fn comments_keep_their_places_and_the_programs_own_are_left_out() {
        let text = format!(
            "{}\n# mine\ntime\tvoice\n1\tkick\n# fill\n2\tsnare\n# end\n",
            guide().join("\n")
        );
        let sheet = read(&text).unwrap();
        let comments: Vec<_> = sheet.comments.iter().map(|c| (c.line.as_str(), c.time)).collect();
        let at = |seconds| Some(Tick::of(Seconds(seconds)));
        assert_eq!(
            comments,
            [("# mine", None), ("# fill", at(2.0)), ("# end", at(2.00001))]
        );
    }

    #[test]
    fn a_header_row_that_a_sort_moved_down_is_still_found() {
        let sheet = read("1\tkick\n2\tsnare\ntime\tvoice\n").unwrap();
        assert_eq!(sheet.rows.len(), 2);
    }

    #[test]
    fn every_bad_cell_is_named_with_its_line_column_value_and_remedy() {
        let text = "time\tvoice\tlimb\tlate\n# c\nsoon\tsnair\tfoot\tabc\n1\tkick\tRH\t\n\tkick\n2\n";
        let said = complaint(text);
        let lines: Vec<&str> = said.lines().collect();
        assert_eq!(lines.len(), 6, "{said}");
        assert!(lines[0].starts_with("hits.tsv, line 3, time: \"soon\" is no time; write seconds"));
        assert!(
            lines[1]
                .starts_with("hits.tsv, line 3, voice: \"snair\" is unknown; use one of: kick, kick_left")
        );
        assert!(lines[2].starts_with("hits.tsv, line 3, late: \"abc\" is no number"));
        assert!(
            lines[3].starts_with("hits.tsv, line 3, limb: \"foot\" is unknown; use one of: RH, LH, RF, LF")
        );
        assert!(lines[4].starts_with("hits.tsv, line 5, time: \"\" is missing"));
        assert!(lines[5].starts_with("hits.tsv, line 6, voice: \"\" is missing"));
    }

    #[test]
    fn times_outside_the_recording_are_refused() {
        assert!(complaint("time\tvoice\n-1\tkick\n").contains("before the start"));
        assert!(
            complaint("time\tvoice\n1234567\tkick\n")
                .contains("after the end of the recording at 60.00000 s")
        );
        assert!(complaint("time\tvoice\nNaN\tkick\n").contains("is no time"));
        assert!(complaint("time\tvoice\n1.234.567\tkick\n").contains("is no time"));
    }

    #[test]
    fn a_file_without_its_header_row_is_refused() {
        for text in ["", "\n\n", "1\tkick\n", "time,voice\n1,kick\n"] {
            assert!(complaint(text).contains("no line names the columns"), "{text:?}");
        }
    }

    #[test]
    fn a_column_that_stands_twice_is_refused() {
        assert!(complaint("time\tvoice\tTime\n").contains("the column time stands twice"));
    }
}
