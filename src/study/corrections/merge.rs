//! The rows written last, the rows in the file now, the corrections so far -> all corrections.

use std::collections::{BTreeMap, BTreeSet};

use super::super::pairs::pairs;
use super::super::sheet::{Row, Sheet};
use super::super::tick::Tick;
use super::{Correction, Corrections, Edit, Found, SAME_STROKE, Written};

/// How far a player may move a row and it still counts as moved rather than as deleted and added anew. Both lead to
/// the same strokes; moved says it better and keeps what the program knew of the row.
const MOVED: u64 = Tick::millis(100);

impl Corrections {
    /// Takes up what the player did to `sheet` since the rows `written` were written.
    pub(super) fn merge(self, written: &[Written], sheet: &Sheet) -> Corrections {
        let behind = self.behind(written.iter().map(Written::found));
        let mut strokes = self.strokes;
        let known = strokes.len();
        let mut untouched = Vec::new();
        let mut gone = vec![true; written.len()];
        let mut new = Vec::new();
        for (row, was) in sheet.rows.iter().zip(which_was_which(written, sheet)) {
            let Some((at, was)) = was.and_then(|at| Some((at, written.get(at)?))) else {
                new.push(row);
                continue;
            };
            gone[at] = false;
            let edit = difference(was, row, sheet.decimals);
            match behind[at].and_then(|c| strokes.get_mut(c)) {
                Some(correction) => correction.overlay(edit),
                None if edit == Edit::default() => untouched.push(was.found()),
                None => strokes.push(Correction::of(vec![was.found()], Some(edit))),
            }
        }
        for (at, was) in written.iter().enumerate().filter(|(at, _)| gone[*at]) {
            match behind[at].and_then(|c| strokes.get_mut(c)) {
                Some(correction) => correction.row = None,
                None => strokes.push(Correction::of(vec![was.found()], None)),
            }
        }
        let revived = add(&mut strokes, &new);
        // One without a row in this file waits for its part of the recording; only others can have fallen silent.
        let waits: BTreeSet<usize> = (0..known)
            .filter(|at| !behind.contains(&Some(*at)) && !revived.contains(at))
            .collect();
        let (kept, silent): (Vec<_>, Vec<_>) = (strokes.into_iter().enumerate())
            .partition(|(at, correction)| waits.contains(at) || !correction.says_nothing());
        untouched.extend(
            silent
                .iter()
                .filter(|(_, c)| c.row.is_some())
                .flat_map(|(_, c)| &c.instead_of),
        );
        let mut strokes: Vec<Correction> = kept.into_iter().map(|(_, c)| c).collect();
        let neighbours = neighbours(&strokes, &untouched);
        strokes.extend(
            neighbours
                .into_iter()
                .map(|f| Correction::of(vec![f], Some(Edit::default()))),
        );
        strokes.sort_by_key(|c| c.stroke().or(c.instead_of.first().copied()));
        Corrections {
            strokes,
            columns: sheet.own_columns.clone(),
            comments: sheet.comments.clone(),
            unsorted: None,
            kit: self.kit,
        }
    }
}

impl Correction {
    pub(super) fn of(instead_of: Vec<Found>, row: Option<Edit>) -> Correction {
        Correction {
            instead_of,
            row,
            in_force: false,
        }
    }

    /// Puts a newer edit over what was said before.
    fn overlay(&mut self, newer: Edit) {
        let Some(edit) = &mut self.row else { return };
        edit.time = newer.time.or(edit.time);
        edit.voice = newer.voice.or(edit.voice);
        edit.limb = newer.limb.or(edit.limb);
        edit.layer = newer.layer.or(edit.layer);
        edit.mark = newer.mark.or(edit.mark);
        edit.grace = newer.grace.or(edit.grace);
        edit.own = newer.own;
        if let Some(found) = self.instead_of.first() {
            edit.time = edit.time.filter(|time| *time != found.time);
            edit.voice = edit.voice.filter(|voice| *voice != found.voice);
        }
    }

    /// Whether all is as if it were not there: an added row that is gone, or an edit taken back.
    fn says_nothing(&self) -> bool {
        match &self.row {
            None => self.instead_of.is_empty(),
            Some(edit) => *edit == Edit::default() && self.instead_of.len() < 2,
        }
    }
}

/// For each row of the sheet, which of the rows written last it was: exact matches first, then another voice at the
/// same time, then the same voice moved, then both.
fn which_was_which(written: &[Written], sheet: &Sheet) -> Vec<Option<usize>> {
    let half = rounding(sheet.decimals);
    let mut was = vec![None; sheet.rows.len()];
    let mut taken = vec![false; written.len()];
    let passes: [(u64, bool); 4] = [(half, true), (half, false), (MOVED, true), (MOVED, false)];
    for (window, same_voice) in passes {
        let left: Vec<usize> = (0..sheet.rows.len()).filter(|r| was[*r].is_none()).collect();
        let right: Vec<usize> = (0..written.len()).filter(|w| !taken[*w]).collect();
        let rows: Vec<Tick> = left.iter().map(|r| sheet.rows[*r].time).collect();
        let times: Vec<Tick> = right.iter().map(|w| written[*w].0).collect();
        let cost = |l: usize, r: usize| {
            let (row, written) = (&sheet.rows[left[l]], &written[right[r]]);
            let differs = difference(written, row, sheet.decimals) != Edit::default();
            let apart = row.time.apart(written.0);
            (!same_voice || row.voice == written.1).then_some(apart * 2 + u64::from(differs))
        };
        for (l, r) in pairs(&rows, &times, window, cost) {
            was[left[l]] = Some(right[r]);
            taken[right[r]] = true;
        }
    }
    was
}

/// How far a time may lie from the one written when the most precise time in the file has so many decimals: a
/// spreadsheet that shows fewer writes fewer, which is no edit.
pub(super) fn rounding(decimals: u32) -> u64 {
    match decimals {
        // Whole seconds are no rounding of anything a player could still use.
        0 | 5.. => 0,
        some => 10u64.pow(5 - some) / 2,
    }
}

/// What the row says other than what was written.
fn difference(written: &Written, row: &Row, decimals: u32) -> Edit {
    let Written(time, voice, limb, layer, mark, grace) = written;
    Edit {
        time: (row.time.apart(*time) > rounding(decimals)).then_some(row.time),
        voice: (row.voice != *voice).then_some(row.voice),
        limb: row.limb.filter(|said| said != limb),
        layer: row.layer.filter(|said| said != layer),
        mark: row.mark.filter(|said| said != mark),
        grace: row.grace.filter(|said| said != grace),
        own: row.own.clone(),
    }
}

/// Takes up rows that were not there: those put back where one was deleted, and new ones. The result says which
/// deletions were taken back.
fn add(strokes: &mut Vec<Correction>, new: &[&Row]) -> BTreeSet<usize> {
    let times: Vec<Tick> = new.iter().map(|row| row.time).collect();
    let deleted = strokes.iter().enumerate().filter(|(_, c)| c.row.is_none());
    let places: Vec<(usize, Found)> = deleted
        .flat_map(|(at, c)| c.instead_of.iter().map(move |found| (at, *found)))
        .collect();
    let deletions: Vec<Tick> = places.iter().map(|(_, found)| found.time).collect();
    let same =
        |l: usize, r: usize| (new[l].voice == places[r].1.voice).then_some(times[l].apart(deletions[r]));
    let mut back = BTreeMap::new();
    for (l, r) in pairs(&times, &deletions, SAME_STROKE, same) {
        back.insert(l, places[r].0);
    }
    for (at, row) in new.iter().enumerate() {
        // What stands in a row is the player's word; what does not is left to the program.
        let mut edit = Edit {
            time: Some(row.time),
            voice: Some(row.voice),
            limb: row.limb.filter(Option::is_some),
            layer: row.layer.filter(Option::is_some),
            mark: row.mark.filter(Option::is_some),
            grace: row.grace.filter(Option::is_some),
            own: row.own.clone(),
        };
        match back
            .get(&at)
            .and_then(|c| strokes.get_mut(*c))
            .filter(|c| c.row.is_none())
        {
            Some(correction) => {
                if let Some(found) = correction.instead_of.first() {
                    edit.time = edit.time.filter(|time| *time != found.time);
                    edit.voice = edit.voice.filter(|voice| *voice != found.voice);
                }
                correction.row = Some(edit);
            }
            None => strokes.push(Correction::of(Vec::new(), Some(edit))),
        }
    }
    back.into_values().collect()
}

/// The program's own rows so close to a correction of the same voice that the next run could take one for the other:
/// the stroke after a grace stroke that the player added, the one of two that the player left.
fn neighbours(strokes: &[Correction], untouched: &[Found]) -> Vec<Found> {
    let speaking = |c: &&Correction| c.row.as_ref().is_none_or(Edit::moves);
    let mut near: Vec<Found> = strokes
        .iter()
        .filter(speaking)
        .flat_map(|c| c.instead_of.iter().copied().chain(c.stroke()))
        .collect();
    near.sort();
    let close = |found: &&Found| {
        let first = near.partition_point(|n| n.time < found.time.minus(SAME_STROKE));
        let mut around = near
            .iter()
            .skip(first)
            .take_while(|n| n.time <= found.time.plus(SAME_STROKE));
        around.any(|n| n.voice == found.voice)
    };
    untouched.iter().filter(close).copied().collect()
}
