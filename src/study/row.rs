//! The cells of one line of `hits.tsv` -> its [`Row`], or what is wrong with them.

use std::str::FromStr;

use super::error::BadCell;
use super::sheet::{Header, Row};
use super::tick::Tick;
use crate::grid::Place;
use crate::names::UnknownName;
use crate::units::{Decibels, Millis, Seconds};

/// More bars than this, a fortnight at 300 bpm, are a slip of the keyboard.
const MOST_BARS: f64 = 1e6;

/// A second before the stroke, in milliseconds, is no grace stroke any more.
const MOST_GRACE: f64 = 1000.0;

/// Reads one row after the other and gathers what is wrong with them.
pub(super) struct RowReader<'a> {
    header: &'a Header,
    end: Option<Seconds>,
    line: usize,
    /// The bad cells so far.
    pub(super) bad: Vec<BadCell>,
    /// Decimals of the most precise time so far, at most 5.
    pub(super) decimals: u32,
}

impl<'a> RowReader<'a> {
    /// A reader of rows under this header. Times after `end`, where it is known, are bad.
    pub(super) fn new(header: &'a Header, end: Option<Seconds>) -> RowReader<'a> {
        RowReader {
            header,
            end,
            line: 0,
            bad: Vec::new(),
            decimals: 0,
        }
    }

    /// The row in these cells of the file's line `line`; `None` if any of them is bad, which is noted.
    pub(super) fn row(&mut self, line: usize, cells: &[String]) -> Option<Row> {
        self.line = line;
        let before = self.bad.len();
        let time = self.time(cells);
        let voice = self.present(cells, "voice").then(|| self.name(cells, "voice"));
        let number = |reader: &mut Self, column| reader.number(cells, column, "is no number; leave it empty");
        let level = number(self, "level");
        let late = number(self, "late");
        let sure = number(self, "sure");
        let (bar, beat, step) = (
            self.count(cells, "bar"),
            self.count(cells, "beat"),
            self.count(cells, "step"),
        );
        let limb = self.name(cells, "limb");
        let layer = self.name(cells, "layer");
        let mark = self.name(cells, "mark");
        let grace = self.grace(cells);
        let (time, voice) = (time?, voice.flatten().flatten()?);
        (self.bad.len() == before).then(|| Row {
            time,
            voice,
            level: level.map(Decibels),
            place: bar
                .zip(beat)
                .zip(step)
                .map(|((bar, beat), step)| Place { bar, beat, step }),
            late: late.map(Millis),
            limb,
            layer,
            mark,
            grace,
            sure,
            own: self.header.own(cells),
        })
    }

    fn time(&mut self, cells: &[String]) -> Option<Tick> {
        const WANTED: &str = "is no time; write seconds from the start of the recording, such as 12.34567";
        if !self.present(cells, "time") {
            return None;
        }
        let time = Seconds(self.number(cells, "time", WANTED)?);
        let given = self.header.cell(cells, "time").unwrap_or_default().to_owned();
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
        let present = self
            .header
            .cell(cells, column)
            .is_some_and(|cell| !cell.is_empty());
        if !present {
            self.refuse(
                column,
                "",
                "is missing; a row needs a time and a voice, or remove the row",
            );
        }
        present
    }

    /// A number with a decimal point or comma; `None` if there is none, or a bad one, which is noted.
    fn number(&mut self, cells: &[String], column: &'static str, remedy: &str) -> Option<f64> {
        let given = self.header.cell(cells, column).filter(|cell| !cell.is_empty())?;
        match given.replacen(',', ".", 1).parse::<f64>() {
            Ok(number) if number.is_finite() => Some(number),
            _ => {
                self.refuse(column, given, remedy);
                None
            }
        }
    }

    /// How long before the stroke its grace stroke begins; the outer `None` if there is no such cell, or a bad one, which
    /// is noted.
    fn grace(&mut self, cells: &[String]) -> Option<Option<Tick>> {
        const REMEDY: &str =
            "is no number of milliseconds before the stroke, such as 23.5; or leave it empty";
        let given = self.header.cell(cells, "grace")?;
        if given.is_empty() {
            return Some(None);
        }
        let number = self.number(cells, "grace", REMEDY)?;
        if number > 0.0 && number <= MOST_GRACE {
            return Some(Some(Tick::of_grace(Millis(number))));
        }
        self.refuse("grace", given, REMEDY);
        None
    }

    /// A bar, beat or step; `None` if there is none, or one that no music has, which is noted.
    fn count(&mut self, cells: &[String], column: &'static str) -> Option<i64> {
        const REMEDY: &str = "is no whole number of a bar, beat or step; leave it empty";
        let number = self.number(cells, column, REMEDY)?;
        if number.fract() == 0.0 && number.abs() <= MOST_BARS {
            return Some(number as i64);
        }
        let given = self.header.cell(cells, column).unwrap_or_default();
        self.refuse(column, given, REMEDY);
        None
    }

    /// A name; the outer `None` if there is no such cell, or a bad one, which is noted.
    fn name<T: FromStr<Err = UnknownName>>(
        &mut self,
        cells: &[String],
        column: &'static str,
    ) -> Option<Option<T>> {
        let given = self.header.cell(cells, column)?;
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

    fn refuse(&mut self, column: &str, value: &str, remedy: &str) {
        self.bad.push(BadCell {
            line: self.line,
            column: column.to_owned(),
            value: value.to_owned(),
            remedy: remedy.to_owned(),
        });
    }
}
