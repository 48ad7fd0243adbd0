//! The text of a kit file -> what it says of player and reach: its tables `[body]` and `[reach.VOICE]`.
//!
//! The rest of the file is read in `voices::kit`. A fault names its line, what stands there, and what would do.

use std::ops::Range;

use toml_edit::{Item, TableLike};

use super::body::{Body, BodyTables, Handed, ReachTable};
use crate::names::{Limb, Voice};
use crate::voices::kit::{BODY, KitFault, REACH, Reader, article, nearest};

/// Keys of the two kinds of table.
const BODY_KEYS: [&str; 2] = ["handed", "double_pedal"];
const REACH_KEYS: [&str; 4] = ["have", "limbs", "lead", "at"];

impl BodyTables {
    /// Reads them out of the text of a kit file, and makes sure that a [`Body`] can be made of them.
    pub fn read(text: &str) -> Result<BodyTables, KitFault> {
        let reader = Reader::new(text);
        let document = reader.document()?;
        let mut tables = BodyTables::default();
        if let Some(item) = document.get(BODY) {
            let table = reader.table(
                item,
                document.key_span(BODY),
                BODY,
                "a table with handed and double_pedal",
            )?;
            tables.player(table, &reader)?;
        }
        let Some(item) = document.get(REACH) else {
            return Ok(tables);
        };
        let wanted = "a table for each voice, such as [reach.snare_2]";
        let all = reader.table(item, document.key_span(REACH), REACH, wanted)?;
        for (name, item) in all.iter() {
            let span = all.key(name).and_then(|key| key.span());
            let voice = reader.voice(name, span.clone(), "voice")?;
            let what = format!("reach.{name}");
            let table = reader.table(item, span.clone(), &what, "a table with have, limbs, lead and at")?;
            let reach = reach(table, voice, &reader)?;
            if tables.reach.insert(voice.name().to_owned(), reach).is_some() {
                return Err(reader.fault(span, format!("reach.{voice} stands twice; keep one")));
            }
            // One after the other, so that a fault is told on the line where its own table begins.
            Body::try_from(tables.clone()).map_err(|bad| reader.fault(span, bad.to_string()))?;
        }
        Ok(tables)
    }

    fn player(&mut self, table: &dyn TableLike, reader: &Reader) -> Result<(), KitFault> {
        for (key, item) in table.iter() {
            let span = table.key(key).and_then(|key| key.span());
            match key {
                "handed" => {
                    let text = reader.string(item, span.clone(), "handed")?;
                    self.body.handed = match text.trim().to_lowercase().as_str() {
                        "right" => Handed::Right,
                        "left" => Handed::Left,
                        _ => {
                            let reason = format!("handed is {text:?}, and must be \"right\" or \"left\"");
                            return Err(reader.fault(span, reason));
                        }
                    };
                }
                "double_pedal" => self.body.double_pedal = truth(item, span, "double_pedal", reader)?,
                _ => return Err(unknown(key, span, "[body]", &BODY_KEYS, reader)),
            }
        }
        Ok(())
    }
}

fn reach(table: &dyn TableLike, voice: Voice, reader: &Reader) -> Result<ReachTable, KitFault> {
    let mut reach = ReachTable::default();
    for (key, item) in table.iter() {
        let span = table.key(key).and_then(|key| key.span());
        let what = format!("reach.{voice}.{key}");
        match key {
            "have" => reach.have = Some(truth(item, span, &what, reader)?),
            "limbs" => {
                let list = item.as_array().ok_or_else(|| {
                    let kind = article(item.type_name());
                    reader.fault(
                        span.clone(),
                        format!("{what} is {kind}, and must be a list such as [\"RH\", \"LH\"]"),
                    )
                })?;
                let limbs = list
                    .iter()
                    .map(|value| limb(value.as_str().unwrap_or_default(), &what));
                let limbs: Result<Vec<Limb>, String> = limbs.collect();
                reach.limbs = Some(limbs.map_err(|reason| reader.fault(span, reason))?);
            }
            "lead" => {
                let text = reader.string(item, span.clone(), &what)?;
                let lead = limb(text, &what).map_err(|reason| reader.fault(span, reason))?;
                reach.lead = Some(lead);
            }
            "at" => reach.at = Some(place(item, span, &what, reader)?),
            _ => {
                return Err(unknown(
                    key,
                    span,
                    &format!("[reach.{voice}]"),
                    &REACH_KEYS,
                    reader,
                ));
            }
        }
    }
    Ok(reach)
}

fn truth(item: &Item, span: Option<Range<usize>>, what: &str, reader: &Reader) -> Result<bool, KitFault> {
    let reason = || {
        format!(
            "{what} is {}, and must be true or false",
            article(item.type_name())
        )
    };
    item.as_bool().ok_or_else(|| reader.fault(span, reason()))
}

fn limb(text: &str, what: &str) -> Result<Limb, String> {
    let unknown = |_| format!("{what}: the limb {text:?} is unknown; use RH, LH, RF or LF");
    text.trim().to_uppercase().parse().map_err(unknown)
}

fn place(item: &Item, span: Option<Range<usize>>, what: &str, reader: &Reader) -> Result<[f64; 2], KitFault> {
    let number = |value: &toml_edit::Value| value.as_float().or_else(|| value.as_integer().map(|n| n as f64));
    let list: Option<Vec<f64>> = item.as_array().and_then(|list| list.iter().map(number).collect());
    match list.as_deref() {
        Some([right, front]) => Ok([*right, *front]),
        _ => {
            let reason =
                format!("{what} must be two numbers, metres to the right and to the front: [-0.4, 0.3]");
            Err(reader.fault(span, reason))
        }
    }
}

fn unknown(key: &str, span: Option<Range<usize>>, table: &str, keys: &[&str], reader: &Reader) -> KitFault {
    let near = nearest(key, keys.iter().copied());
    reader.fault(
        span,
        format!("{key:?} is unknown in {table}; did you mean {near:?}?"),
    )
}

/// Where a key of the whole document stands.
trait KeySpan {
    fn key_span(&self, name: &str) -> Option<Range<usize>>;
}

impl KeySpan for toml_edit::Document<&str> {
    fn key_span(&self, name: &str) -> Option<Range<usize>> {
        self.as_table().key(name).and_then(|key| key.span())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_that_says_nothing_of_player_and_reach_is_as_usual() {
        for text in [
            "",
            "[group.snare]\nvoice = 'snare'",
            "[body]\n[reach]\n",
            "[body]\nhanded = 'right'\ndouble_pedal = false",
        ] {
            assert_eq!(BodyTables::read(text).unwrap(), BodyTables::default(), "{text:?}");
        }
    }

    #[test]
    fn what_is_said_becomes_a_body() {
        let text = "[body]\nhanded = 'Left' # since ever\ndouble_pedal = true\n[reach.snare_2]\nlimbs = ['rh']\nlead = 'RH'\nat = [1, -0.25]\n[reach.\"Tom Low\"]\nhave = false\n";
        let body = Body::try_from(BodyTables::read(text).unwrap()).unwrap();
        assert_eq!(body.handed, Handed::Left);
        assert!(body.double_pedal && !body.has(Voice::TomLow) && body.has(Voice::TomMid));
        assert_eq!(body.reach(Voice::Snare2).lead, Some(Limb::RightHand));
        assert_eq!(body.reach(Voice::Snare2).at, (1.0, -0.25));
    }

    #[test]
    fn every_fault_names_its_line_and_what_would_do() {
        for (text, line, wanted) in [
            ("[body]\nhanded = 'both'", 2, "must be \"right\" or \"left\""),
            ("[body]\nhanded = 3", 2, "an integer, and must be text"),
            (
                "[body]\ndouble_pedal = 'yes'",
                2,
                "a string, and must be true or false",
            ),
            ("[body]\nhandet = 'left'", 2, "did you mean \"handed\""),
            ("body = 3", 1, "must be a table with handed"),
            ("\n[reach.snair]", 2, "did you mean \"snare\""),
            ("[reach.snare]\nlimb = ['RH']", 2, "did you mean \"limbs\""),
            ("[reach.snare]\nlimbs = 'RH'", 2, "a list such as"),
            (
                "[reach.snare]\nlimbs = ['RH', 'XH']",
                2,
                "\"XH\" is unknown; use RH, LH, RF or LF",
            ),
            ("[reach.snare]\nlimbs = [2]", 2, "use RH, LH, RF or LF"),
            (
                "[reach.kick]\n[reach.snare]\nlimbs = []",
                2,
                "nobody may play the snare",
            ),
            ("[reach.snare]\nlimbs = ['RH', 'RF']", 1, "mixes hands and feet"),
            (
                "[reach.snare]\nlimbs = ['RH']\nlead = 'LH'",
                1,
                "LH is not among its limbs (RH)",
            ),
            ("[reach.snare]\nat = 0.5", 2, "two numbers"),
            ("[reach.snare]\nat = [0.5]", 2, "two numbers"),
            ("[reach.snare]\nat = [0.5, 7]", 1, "out of reach"),
            ("[reach.snare]\nat = [nan, 0]", 1, "out of reach"),
            ("[reach.snare]\nhave = 1", 2, "true or false"),
            ("[reach.snare]\n[reach.Snare]", 2, "stands twice"),
        ] {
            let fault = BodyTables::read(text).unwrap_err().to_string();
            assert!(fault.starts_with(&format!("line {line}: ")), "{text:?}: {fault}");
            assert!(
                fault.contains(wanted) && !fault.contains('\n'),
                "{text:?}: {fault}"
            );
        }
    }
}
