//! A player's word on the groups of strokes that the program has found: which drum each is, who plays it, a note.
//!
//! In: the text of a kit file (TOML 1.0, <https://toml.io>), one table a group. Out: a [`Kit`], which holds only what
//! differs from what the program would say by itself. A group bears the name of the voice that the program takes it
//! for, so `[group.snare_2]` with `voice = "tom_high"` renames every stroke of that group at once. The tables `[body]` and
//! `[reach.VOICE]` of the same file are read where limbs are found.

use std::collections::BTreeMap;
use std::ops::Range;

use toml_edit::{Document, Item, TableLike};

use super::sounds::Timbre;
use crate::names::{Limb, Voice};

/// Keys that a group's table may have.
const KEYS: [&str; 4] = ["voice", "limb", "note", "sound"];

/// The table that holds the groups.
pub const GROUPS: &str = "group";
/// The table about the player.
pub const BODY: &str = "body";
/// The table that holds what is said of how voices are reached.
pub const REACH: &str = "reach";

/// What a player says of one group. `Default` says nothing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Entry {
    /// The voice it is, if not the one that the group is named after.
    pub voice: Option<Voice>,
    /// The limb that plays it.
    pub limb: Option<Limb>,
    /// Anything worth remembering.
    pub note: String,
    /// How it sounded in the recording that the file was written for.
    pub sound: Option<Timbre>,
}

impl Entry {
    /// Whether a player has said anything.
    pub fn is_edited(&self) -> bool {
        self.voice.is_some() || self.limb.is_some() || !self.note.is_empty()
    }
}

/// All entries of a kit file, by the group that each is about.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Kit(pub BTreeMap<Voice, Entry>);

/// What is wrong with a kit file, where, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {reason}")]
pub struct KitFault {
    /// Line in the file, from 1.
    pub line: usize,
    /// What is wrong and what would do.
    pub reason: String,
}

impl Kit {
    /// Reads the text of a kit file.
    pub fn read(text: &str) -> Result<Kit, KitFault> {
        Reader::new(text).kit()
    }

    /// The voice that a group's strokes bear.
    pub fn voice_of(&self, group: Voice) -> Voice {
        self.0.get(&group).and_then(|entry| entry.voice).unwrap_or(group)
    }

    /// The limb that plays a group, where the player has said so.
    pub fn limb_of(&self, group: Voice) -> Option<Limb> {
        self.0.get(&group)?.limb
    }

    /// The groups that a player has said something about.
    pub fn edited(&self) -> impl Iterator<Item = (Voice, &Entry)> {
        let entries = self.0.iter().map(|(group, entry)| (*group, entry));
        entries.filter(|(_, entry)| entry.is_edited())
    }
}

/// Reads values out of the text of a kit file, and knows on which line each fault is.
pub(crate) struct Reader<'t> {
    text: &'t str,
}

impl<'t> Reader<'t> {
    pub(crate) fn new(text: &'t str) -> Reader<'t> {
        // Some editors begin a file with a byte-order mark.
        Reader {
            text: text.strip_prefix('\u{feff}').unwrap_or(text),
        }
    }

    pub(crate) fn document(&self) -> Result<Document<&'t str>, KitFault> {
        Document::parse(self.text).map_err(|error| {
            let message = error.message().trim().replace('\n', "; ");
            let reason = if message.contains("duplicate") {
                format!("{} stands twice; keep one", self.at(error.span()))
            } else {
                format!("this is not TOML: {message}")
            };
            self.fault(error.span(), reason)
        })
    }

    fn kit(&self) -> Result<Kit, KitFault> {
        let document = self.document()?;
        let mut kit = Kit::default();
        for (name, item) in document.as_table() {
            let span = document.as_table().key(name).and_then(|key| key.span());
            if [BODY, REACH].contains(&name) {
                continue;
            }
            if name != GROUPS {
                let reason = format!(
                    "{name:?} is unknown here; a group is a table such as [group.snare], and there are [body] and [reach.snare]"
                );
                return Err(self.fault(span, reason));
            }
            let groups = self.table(
                item,
                span,
                "group",
                "a table for each group, such as [group.snare]",
            )?;
            for (name, item) in groups.iter() {
                let span = groups.key(name).and_then(|key| key.span());
                let group = self.voice(name, span.clone(), "group")?;
                let what = format!("group.{name}");
                let table = self.table(item, span.clone(), &what, "a table with voice, limb and note")?;
                if kit.0.insert(group, self.entry(table, group)?).is_some() {
                    return Err(self.fault(span, format!("the group {group} stands twice; keep one")));
                }
            }
        }
        Ok(kit)
    }

    fn entry(&self, table: &dyn TableLike, group: Voice) -> Result<Entry, KitFault> {
        let mut entry = Entry::default();
        for (key, item) in table.iter() {
            let span = item.span().or_else(|| table.key(key)?.span());
            match key {
                "voice" => {
                    let voice = self.voice(self.string(item, span.clone(), "voice")?, span, "voice")?;
                    entry.voice = Some(voice).filter(|voice| *voice != group);
                }
                "limb" => entry.limb = self.limb(self.string(item, span.clone(), "limb")?, span)?,
                "note" => entry.note = self.string(item, span, "note")?.trim().to_owned(),
                "sound" => entry.sound = self.sound(item, span)?,
                _ => {
                    let span = table.key(key).and_then(|key| key.span());
                    let near = nearest(key, KEYS);
                    let reason = format!("{key:?} is unknown in a group; did you mean {near:?}?");
                    return Err(self.fault(span, reason));
                }
            }
        }
        Ok(entry)
    }

    pub(crate) fn voice(
        &self,
        text: &str,
        span: Option<Range<usize>>,
        kind: &str,
    ) -> Result<Voice, KitFault> {
        let name = text.trim().to_lowercase().replace([' ', '-'], "_");
        name.parse().map_err(|_| {
            let near = nearest(&name, Voice::ALL.iter().map(|voice| voice.name()));
            let reason = format!("the {kind} {text:?} is unknown; did you mean {near:?}?");
            self.fault(span, reason)
        })
    }

    fn limb(&self, text: &str, span: Option<Range<usize>>) -> Result<Option<Limb>, KitFault> {
        let name = text.trim().to_uppercase();
        if name.is_empty() {
            return Ok(None);
        }
        let unknown = || format!("the limb {text:?} is unknown; use RH, LH, RF, LF, or leave it empty");
        name.parse().map(Some).map_err(|_| self.fault(span, unknown()))
    }

    fn sound(&self, item: &Item, span: Option<Range<usize>>) -> Result<Option<Timbre>, KitFault> {
        let table = self.table(item, span.clone(), "sound", "what the program has measured")?;
        let number = |name: &str| -> Result<Option<f64>, KitFault> {
            let Some(item) = table.get(name) else {
                return Ok(None);
            };
            let value = item.as_float().or_else(|| item.as_integer().map(|n| n as f64));
            let plain = value.filter(|value| value.is_finite());
            let reason =
                || format!("sound.{name} is not a number; take the line sound out to have it made anew");
            plain.map(Some).ok_or_else(|| self.fault(span.clone(), reason()))
        };
        let sound = |bright: f64, ring: f64| -> Result<Timbre, KitFault> {
            Ok(Timbre {
                pitch_hz: number("pitch_hz")?,
                bright_hz: bright,
                ring_s: ring,
                pan: number("pan")?,
            })
        };
        match (number("bright_hz")?, number("ring_s")?) {
            (Some(bright), Some(ring)) => sound(bright, ring).map(Some),
            _ => Ok(None),
        }
    }

    pub(crate) fn table<'i>(
        &self,
        item: &'i Item,
        span: Option<Range<usize>>,
        what: &str,
        wanted: &str,
    ) -> Result<&'i dyn TableLike, KitFault> {
        let reason = || format!("{what} is {}, and must be {wanted}", article(item.type_name()));
        item.as_table_like().ok_or_else(|| self.fault(span, reason()))
    }

    pub(crate) fn string<'i>(
        &self,
        item: &'i Item,
        span: Option<Range<usize>>,
        what: &str,
    ) -> Result<&'i str, KitFault> {
        let reason = || {
            format!(
                "{what} is {}, and must be text in quotes",
                article(item.type_name())
            )
        };
        item.as_str().ok_or_else(|| self.fault(span, reason()))
    }

    pub(crate) fn fault(&self, span: Option<Range<usize>>, reason: String) -> KitFault {
        let before = span
            .and_then(|span| self.text.get(..span.start))
            .unwrap_or_default();
        KitFault {
            line: before.matches('\n').count() + 1,
            reason,
        }
    }

    /// What stands in the file at `span`, its first line.
    fn at(&self, span: Option<Range<usize>>) -> &str {
        let text = span.and_then(|span| self.text.get(span)).unwrap_or_default();
        text.lines().next().unwrap_or_default().trim()
    }
}

pub(crate) fn article(kind: &str) -> String {
    let an = kind.starts_with(['a', 'e', 'i', 'o']);
    format!("{} {kind}", if an { "an" } else { "a" })
}

/// The name that is spelt most like `given`: fewest letters added, dropped or changed (V. Levenshtein, Soviet
/// Physics Doklady 10, 1966).
pub(crate) fn nearest<'n>(given: &str, names: impl IntoIterator<Item = &'n str>) -> &'n str {
    names
        .into_iter()
        .min_by_key(|name| changes(given, name))
        .unwrap_or_default()
}

fn changes(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut diagonal = std::mem::replace(&mut row[0], i + 1);
        for (j, y) in b.iter().enumerate() {
            let changed = diagonal + usize::from(x != *y);
            diagonal = row[j + 1];
            row[j + 1] = changed.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row.last().copied().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(text: &str) -> String {
        Kit::read(text).unwrap_err().to_string()
    }

    #[test]
    fn an_entry_holds_only_what_the_player_has_changed() {
        let kit = Kit::read(
            "[group.snare]\nvoice = \"snare\"\nlimb = \"\"\nnote = \"\"\n[group.tom_mid]\nvoice = \"Tom Floor\"\nlimb = 'rh'\nnote = '14 inch'\n",
        )
        .unwrap();
        let edited: Vec<Voice> = kit.edited().map(|(group, _)| group).collect();
        assert_eq!(edited, [Voice::TomMid]);
        assert_eq!(kit.voice_of(Voice::Snare), Voice::Snare);
        assert_eq!(kit.voice_of(Voice::TomMid), Voice::TomFloor);
        assert_eq!(kit.limb_of(Voice::TomMid), Some(Limb::RightHand));
        assert_eq!(kit.voice_of(Voice::Crash), Voice::Crash);
    }

    #[test]
    fn an_empty_file_says_nothing() {
        for text in [
            "",
            "\n\n",
            "# only a remark\n",
            "\u{feff}[group]\r\n",
            "[group.kick]",
        ] {
            assert_eq!(Kit::read(text).unwrap().edited().count(), 0, "{text:?}");
        }
    }

    #[test]
    fn every_fault_names_its_line_and_what_would_do() {
        let cases = [
            ("[group.snare]\nvoice = \"snair\"", 2, "\"snare\""),
            ("[group.snair]\nvoice = \"snare\"", 1, "\"snare\""),
            ("\n[group.kick]\nlimb = \"XH\"", 3, "RH, LH, RF, LF"),
            ("[group.kick]\nvoice = 7", 2, "an integer, and must be text"),
            ("[group.kick]\nnote = [1]", 2, "an array, and must be text"),
            ("[group.kick]\nvioce = \"kick\"", 2, "\"voice\""),
            ("[group.kick]\n[group.kick]\n", 2, "twice"),
            ("[group.kick]\n[group.Kick]\n", 2, "twice"),
            ("[grup.kick]\n", 1, "[group.snare]"),
            ("group = 3", 1, "an integer, and must be a table"),
            ("[group]\nkick = 'snare'", 2, "a string, and must be a table"),
            ("[group.kick]\nvoice = \"kick\nlimb = \"\"", 2, "not TOML"),
            ("[group.kick\n", 1, "not TOML"),
            (
                "[group.kick]\nsound = { bright_hz = 'x', ring_s = 1 }",
                2,
                "sound.bright_hz",
            ),
            (
                "[group.kick]\nsound = { bright_hz = nan, ring_s = 1 }",
                2,
                "sound.bright_hz",
            ),
        ];
        for (text, line, wanted) in cases {
            let fault = fault(text);
            assert!(fault.starts_with(&format!("line {line}: ")), "{text:?}: {fault}");
            assert!(
                fault.contains(wanted) && !fault.contains('\n'),
                "{text:?}: {fault}"
            );
        }
    }

    #[test]
    fn nonsense_is_refused_and_never_panics() {
        use rand::prelude::*;
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(5);
        let good = "[group.snare]\nvoice = \"snare\" # mine\nlimb = \"LH\"\nnote = 'ü'\nsound = { bright_hz = 1, ring_s = 2 }\n";
        let letters: Vec<char> = "[]{}=\"'#.\\\n,ü0truenan_".chars().collect();
        for _ in 0..3000 {
            let mut text: Vec<char> = good.chars().collect();
            for _ in 0..rng.random_range(1..6) {
                let at = rng.random_range(0..text.len());
                if rng.random_bool(0.5) {
                    text.remove(at);
                } else {
                    text.insert(at, *letters.choose(&mut rng).unwrap());
                }
            }
            if let Err(fault) = Kit::read(&text.into_iter().collect::<String>()) {
                assert!(fault.line >= 1 && !fault.reason.contains('\n'), "{fault}");
            }
        }
    }

    #[test]
    fn the_nearest_name_is_the_one_with_the_fewest_changes() {
        assert_eq!(changes("", "abc"), 3);
        assert_eq!(changes("kitten", "sitting"), 3);
        assert_eq!(changes("snare", "snare"), 0);
        assert_eq!(nearest("tom_hi", Voice::ALL.iter().map(|v| v.name())), "tom_high");
    }
}
