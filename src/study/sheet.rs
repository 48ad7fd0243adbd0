//! `hits.tsv` -> [`Sheet`]: its rows, the columns and comments that are the player's own, every bad cell named.

use std::collections::BTreeMap;
use std::path::Path;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::cells::{Record, decode, records};
use super::error::{BadCell, StudyError};
use super::tick::Tick;
use super::write_sheet::guide;
use crate::grid::Place;
use crate::names::{Layer, Limb, Mark, UnknownName, Voice};
use crate::units::{Decibels, Millis, Seconds};

/// The columns that this program writes, in its order.
pub(super) const COLUMNS: [&str; 11] = [
    "time", "voice", "level", "bar", "beat", "step", "late", "limb", "layer", "mark", "sure",
];

/// The name given to cells that stand beyond the header row.
const UNNAMED: &str = "note";

/// A row as the file has it. The outer `None` of limb, layer and mark means that the row has no such cell, which is
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
        let mut reader = Reader {
            header: &header,
            end,
            line: 0,
            bad: Vec::new(),
            decimals: 0,
        };
        let mut sheet = reader.read(&records);
        if !reader.bad.is_empty() {
            return Err(StudyError::BadCells {
                file: file.to_owned(),
                cells: reader.bad,
            });
        }
        sheet.rows.sort_by_key(|row| row.time);
        Ok(sheet)
    }
}

/// Where the columns stand.
struct Header {
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

struct Reader<'a> {
    header: &'a Header,
    end: Option<Seconds>,
    line: usize,
    bad: Vec<BadCell>,
    decimals: u32,
}

impl Reader<'_> {
    fn read(&mut self, records: &[Record]) -> Sheet {
        let mut sheet = Sheet {
            own_columns: self.header.names.iter().filter(|n| is_own(n)).cloned().collect(),
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
                Record::Cells { line, .. } if *line == self.header.line => begun = true,
                Record::Cells { line, cells } => {
                    self.line = *line;
                    let Some(row) = self.row(cells) else { continue };
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
        sheet.decimals = self.decimals;
        sheet
    }

    /// The row in these cells; `None` if any of them is bad, which is noted.
    fn row(&mut self, cells: &[String]) -> Option<Row> {
        let before = self.bad.len();
        let time = self.time(cells);
        let voice = self.present(cells, "voice").then(|| self.name(cells, "voice"));
        let number = |reader: &mut Self, column| reader.number(cells, column, "is no number; leave it empty");
        let level = number(self, "level");
        let late = number(self, "late");
        let sure = number(self, "sure");
        let (bar, beat, step) = (number(self, "bar"), number(self, "beat"), number(self, "step"));
        let limb = self.name(cells, "limb");
        let layer = self.name(cells, "layer");
        let mark = self.name(cells, "mark");
        let (time, voice) = (time?, voice.flatten().flatten()?);
        (self.bad.len() == before).then(|| Row {
            time,
            voice,
            level: level.map(Decibels),
            place: bar.zip(beat).zip(step).map(|((bar, beat), step)| Place {
                bar: bar as i64,
                beat: beat as i64,
                step: step as i64,
            }),
            late: late.map(Millis),
            limb,
            layer,
            mark,
            sure,
            own: self.own(cells),
        })
    }

    fn time(&mut self, cells: &[String]) -> Option<Tick> {
        const WANTED: &str = "is no time; write seconds from the start of the recording, such as 12.34567";
        if !self.present(cells, "time") {
            return None;
        }
        let time = Seconds(self.number(cells, "time", WANTED)?);
        let given = self.cell(cells, "time").unwrap_or_default().to_owned();
        if time < Seconds(0.0) {
            self.refuse("time", &given, "is before the start of the recording");
            return None;
        }
        // The end itself is rounded in the file.
        if let Some(end) = self.end.filter(|end| time > *end + Seconds(0.001)) {
            let remedy = format!(
                "is after the end of the recording at {:.5} s; was the decimal point lost?",
                end.0
            );
            self.refuse("time", &given, &remedy);
            return None;
        }
        let decimals = match given.split_once(['.', ',']) {
            Some((_, digits)) if digits.bytes().all(|b| b.is_ascii_digit()) => digits.len().min(5) as u32,
            Some(_) => 5,
            None => 0,
        };
        self.decimals = self.decimals.max(decimals);
        Some(Tick::of(time))
    }

    /// Whether there is something in a cell that every row needs.
    fn present(&mut self, cells: &[String], column: &'static str) -> bool {
        let present = self.cell(cells, column).is_some_and(|cell| !cell.is_empty());
        if !present {
            self.refuse(
                column,
                "",
                "is missing; a row needs a time and a voice, or remove the row",
            );
        }
        present
    }

    /// The cell under `column`, if the row reaches that far.
    fn cell<'c>(&self, cells: &'c [String], column: &str) -> Option<&'c str> {
        let at = self.header.names.iter().position(|name| name == column)?;
        cells.get(at).map(String::as_str)
    }

    /// A number with a decimal point or comma; `None` if there is none, or a bad one, which is noted.
    fn number(&mut self, cells: &[String], column: &'static str, remedy: &str) -> Option<f64> {
        let given = self.cell(cells, column).filter(|cell| !cell.is_empty())?;
        match given.replacen(',', ".", 1).parse::<f64>() {
            Ok(number) if number.is_finite() => Some(number),
            _ => {
                self.refuse(column, given, remedy);
                None
            }
        }
    }

    /// A name; the outer `None` if there is no such cell, or a bad one, which is noted.
    fn name<T: FromStr<Err = UnknownName>>(
        &mut self,
        cells: &[String],
        column: &'static str,
    ) -> Option<Option<T>> {
        let given = self.cell(cells, column)?;
        if given.is_empty() {
            return Some(None);
        }
        // Spreadsheets put a capital at the start of a cell; people write a space for an underscore.
        let plain = given.to_lowercase().replace([' ', '-'], "_");
        match plain.parse().or_else(|_| given.to_uppercase().parse()) {
            Ok(name) => Some(Some(name)),
            Err(UnknownName { known, .. }) => {
                self.refuse(column, given, &format!("is unknown; use one of: {known}"));
                None
            }
        }
    }

    fn own(&self, cells: &[String]) -> BTreeMap<String, String> {
        let named = cells
            .iter()
            .enumerate()
            .map(|(at, cell)| (self.header.name(at), cell.clone()));
        named
            .filter(|(name, cell)| is_own(name) && !cell.is_empty())
            .collect()
    }

    fn refuse(&mut self, column: &str, value: &str, remedy: &str) {
        self.bad.push(BadCell {
            line: self.line,
            column: column.to_owned(),
            value: value.to_owned(),
            remedy: remedy.to_owned(),
        });
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
