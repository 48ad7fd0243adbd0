//! `kit.toml`: the groups of strokes that were heard, for a player to rename, and who plays; read and written with comments.
//!
//! The file itself is where a player's word on the groups is kept. Each run writes its own comment lines, which begin
//! with `#:`, and the sounds it has measured anew, and adds groups that are new; everything else stays as it stands.

use std::fs;
use std::path::{Path, PathBuf};

use toml_edit::{DocumentMut, InlineTable, Item, Table, Value};

use super::error::StudyError;
use super::folder::{read_if_there, sha256};
use super::{GroupFacts, KIT, cells};
use crate::files::{self, shown};
use crate::names::Voice;
use crate::stickings::body::{Body, BodyTables, Handed, ReachTable};
use crate::voices::Timbre;
use crate::voices::kit::{BODY, GROUPS, Kit, REACH};

/// A file larger than this is no kit.
const MOST_BYTES: u64 = 1 << 20;

/// What begins a line of the program's own.
const OURS: &str = "#:";

/// The first lines of the file.
const GUIDE: &str = "\
#: The kit as it was heard: one table for each group of strokes that sound alike. Listen at the times given, then say
#: what it is. The next run of `overbar study` follows you; what you change in hits.tsv stroke by stroke still wins.
#:   voice  which drum it is. Two groups with the same voice become one drum.
#:   limb   who plays it: RH, LH, RF, LF, or empty
#:   note   anything you like
#: Lines that begin with #: and the sounds are written anew by each run. Comments of your own stay: begin them with #.
";

/// The lines over the table about the player.
const BODY_GUIDE: &str = "\
#: Who plays, and where the drums stand: by that each stroke gets its limb.
#:   handed        \"right\", or \"left\" for a kit that stands the other way round
#:   double_pedal  true where either foot may play the kick
#: What is other than usual with a voice goes into a table of its own; each of its lines may be left out:
#:   [reach.snare_2]
#:   have = true           false where your own kit lacks it
#:   limbs = [\"RH\", \"LH\"]  who may play it
#:   lead = \"LH\"           who plays it when nothing speaks against it
#:   at = [-0.4, 0.3]      metres to the right and to the front of your seat
#: In this study they are taken to be:
";

/// What a kit file says: of the groups, and of player and reach.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct KitFile {
    /// The groups.
    pub groups: Kit,
    /// Player and reach.
    pub body: BodyTables,
}

/// A kit file as it was found in a study's folder.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Found {
    /// Its text; `None` if there was none.
    pub(super) text: Option<String>,
    /// Digest of its bytes.
    pub(super) sha256: Option<String>,
}

/// Reads the kit file of the study in `folder`, if it has one.
pub(super) fn load(folder: &Path) -> Result<(Found, KitFile), StudyError> {
    let file = folder.join(KIT);
    if !file.exists() {
        return Ok((Found::default(), KitFile::default()));
    }
    let (text, kit) = read_text(&file)?;
    let sha256 = digest(&file)?;
    let text = Some(text);
    Ok((Found { text, sha256 }, kit))
}

/// Reads a kit file, such as another study's.
pub fn read_kit(file: &Path) -> Result<KitFile, StudyError> {
    read_text(file).map(|(_, kit)| kit)
}

/// What the kit file of the study in `folder` says of player and reach; as usual where there is none.
pub fn read_body(folder: &Path) -> Result<Body, StudyError> {
    let (_, said) = load(folder)?;
    let bad = |reason: String| StudyError::BadKit {
        file: folder.join(KIT),
        line: None,
        reason,
    };
    Body::try_from(said.body).map_err(|fault| bad(fault.to_string()))
}

/// The digest of a kit file, if it is there.
pub(super) fn digest(file: &Path) -> Result<Option<String>, StudyError> {
    Ok(read_if_there(file)?.as_deref().map(sha256))
}

fn read_text(file: &Path) -> Result<(String, KitFile), StudyError> {
    let bad = |line, reason: String| StudyError::BadKit {
        file: file.to_owned(),
        line,
        reason,
    };
    let facts = fs::metadata(file).map_err(StudyError::io("read", file))?;
    if facts.is_dir() {
        let inside = file.join(KIT);
        let hint = format!("is a folder; name the kit file in it, such as {}", shown(&inside));
        return Err(bad(None, hint));
    }
    if facts.len() > MOST_BYTES {
        return Err(bad(None, "is larger than 1 MB, which no kit file is".to_owned()));
    }
    let bytes = files::read(file, MOST_BYTES).map_err(StudyError::io("read", file))?;
    let text = cells::decode(&bytes).map_err(|line| StudyError::NotText {
        file: PathBuf::from(file),
        line,
    })?;
    let groups = Kit::read(&text).map_err(|fault| bad(Some(fault.line), fault.reason))?;
    let body = BodyTables::read(&text).map_err(|fault| bad(Some(fault.line), fault.reason))?;
    Ok((text, KitFile { groups, body }))
}

/// The text of the kit file: `old` with the groups of this run in it, and with what holds of player and reach.
pub(super) fn text(old: Option<&str>, groups: &[GroupFacts], body: &BodyTables) -> String {
    // What was read once reads again; if it did not, nothing of it would be touched.
    let Ok(mut document) = old.unwrap_or_default().parse::<DocumentMut>() else {
        return old.unwrap_or_default().to_owned();
    };
    let root = document.as_table_mut();
    let entry = root.entry(GROUPS).or_insert_with(|| {
        let mut table = Table::new();
        table.set_implicit(true);
        Item::Table(table)
    });
    if let Item::Table(tables) = entry {
        tables.decor_mut().clear_ours();
        forget(tables, groups);
        groups.iter().for_each(|facts| update(tables, facts));
        comment(tables, groups);
    }
    let guide = format!("\n{BODY_GUIDE}{}", reaches(groups, body));
    write_body(document.as_table_mut(), body, &guide);
    let trailing = without_ours(document.trailing().as_str().unwrap_or_default());
    document.set_trailing(trailing);
    document.to_string()
}

/// Writes what holds of player and reach where the file does not say it, and over it the guide.
fn write_body(root: &mut Table, body: &BodyTables, guide: &str) {
    let entry = root.entry(BODY).or_insert_with(|| Item::Table(Table::new()));
    let Some(table) = entry.as_table_like_mut() else {
        return;
    };
    let handed = match body.body.handed {
        Handed::Right => "right",
        Handed::Left => "left",
    };
    let text = |key: &str| {
        table
            .get(key)
            .and_then(Item::as_str)
            .map(|text| text.trim().to_lowercase())
    };
    let pedal = table.get("double_pedal").and_then(Item::as_bool);
    if text("handed").as_deref() != Some(handed) {
        set(table, "handed", handed.into());
    }
    if pedal != Some(body.body.double_pedal) {
        set(table, "double_pedal", body.body.double_pedal.into());
    }
    if let Item::Table(table) = entry {
        let own = own_comment(table).map_or_else(String::new, |own| format!("\n{own}"));
        table.decor_mut().set_prefix(format!("{own}{guide}"));
    }
    let missing: Vec<(&String, &ReachTable)> = (body.reach.iter())
        .filter(|(name, _)| !says_reach(root, name))
        .collect();
    if missing.is_empty() {
        return;
    }
    let all = root.entry(REACH).or_insert_with(|| {
        let mut table = Table::new();
        table.set_implicit(true);
        Item::Table(table)
    });
    if let Some(all) = all.as_table_like_mut() {
        for (name, reach) in missing {
            all.insert(name, Item::Table(reach_table(reach)));
        }
    }
}

fn says_reach(root: &Table, voice: &str) -> bool {
    let tables = root.get(REACH).and_then(Item::as_table_like);
    tables.is_some_and(|tables| tables.iter().any(|(name, _)| group_of(name) == group_of(voice)))
}

fn reach_table(reach: &ReachTable) -> Table {
    let mut table = Table::new();
    if let Some(have) = reach.have {
        set(&mut table, "have", have.into());
    }
    if let Some(limbs) = &reach.limbs {
        set(
            &mut table,
            "limbs",
            limbs.iter().map(|limb| limb.name()).collect(),
        );
    }
    if let Some(lead) = reach.lead {
        set(&mut table, "lead", lead.name().into());
    }
    if let Some(at) = reach.at {
        set(&mut table, "at", at.into_iter().collect());
    }
    table
}

/// How the voices that are heard are reached, a line each.
fn reaches(groups: &[GroupFacts], tables: &BodyTables) -> String {
    let Ok(body) = Body::try_from(tables.clone()) else {
        return String::new();
    };
    let mut voices: Vec<Voice> = groups
        .iter()
        .filter(|facts| facts.hits > 0)
        .map(|facts| facts.voice)
        .collect();
    voices.sort_unstable();
    voices.dedup();
    let line = |voice: &Voice| {
        let reach = body.reach(*voice);
        let limbs: Vec<&str> = reach.limbs.list().iter().map(|limb| limb.name()).collect();
        let lead = match reach.lead.filter(|_| limbs.len() > 1) {
            Some(lead) => format!(", {lead} leads"),
            None => String::new(),
        };
        let lacks = if body.has(*voice) {
            ""
        } else {
            "; your kit lacks it"
        };
        format!(
            "{OURS}   {:<11}  {}{lead}, at [{:.2}, {:.2}]{lacks}\n",
            voice.name(),
            limbs.join(" or "),
            reach.at.0,
            reach.at.1
        )
    };
    voices.iter().map(line).collect()
}

/// Takes out the tables of groups that are no longer heard and of which nobody has said anything.
fn forget(tables: &mut Table, groups: &[GroupFacts]) {
    let gone = |name: &str, item: &Item| {
        let group = group_of(name);
        let heard = groups.iter().any(|facts| Some(facts.group) == group);
        let said = |key: &str| {
            item.get(key)
                .and_then(Item::as_str)
                .unwrap_or_default()
                .to_owned()
        };
        let voice = said("voice");
        let silent = said("limb").is_empty()
            && said("note").is_empty()
            && (voice.is_empty() || group_of(&voice) == group);
        let own = item
            .as_table()
            .map(ToString::to_string)
            .unwrap_or_else(|| OURS.to_owned() + "\n#");
        let prefix = item
            .as_table()
            .and_then(|table| table.decor().prefix()?.as_str())
            .unwrap_or_default();
        !heard && silent && !without_ours(&own).contains('#') && !without_ours(prefix).contains('#')
    };
    let gone: Vec<String> = tables
        .iter()
        .filter(|(name, item)| gone(name, item))
        .map(|(name, _)| name.to_owned())
        .collect();
    gone.iter().for_each(|name| drop(tables.remove(name)));
}

/// Writes one group: its sound, and whatever is missing or was taken over from another study's kit.
fn update(tables: &mut Table, facts: &GroupFacts) {
    let name = tables
        .iter()
        .map(|(name, _)| name.to_owned())
        .find(|name| group_of(name) == Some(facts.group));
    let name = name.unwrap_or_else(|| facts.group.name().to_owned());
    let item = tables.entry(&name).or_insert_with(|| Item::Table(Table::new()));
    let Some(table) = item.as_table_like_mut() else {
        return;
    };
    let limb = facts.limb.map_or("", |limb| limb.name());
    let text = |key: &str| table.get(key).and_then(Item::as_str).map(|s| s.trim().to_owned());
    let same_voice = text("voice").is_some_and(|voice| group_of(&voice) == Some(facts.voice));
    let same_limb = text("limb").is_some_and(|said| said.eq_ignore_ascii_case(limb));
    let same_note = text("note").is_some_and(|note| note == facts.note);
    let wanted = [
        ("voice", same_voice, facts.voice.name()),
        ("limb", same_limb, limb),
        ("note", same_note, facts.note.as_str()),
    ];
    for (key, _, value) in wanted.into_iter().filter(|(_, same, _)| !same) {
        set(table, key, value.into());
    }
    let sound = sound(&facts.sound);
    if table.get("sound").map(|old| old.to_string().trim().to_owned())
        != Some(sound.to_string().trim().to_owned())
    {
        set(table, "sound", sound);
    }
}

/// Sets a value and keeps the comment behind the old one.
fn set(table: &mut dyn toml_edit::TableLike, key: &str, mut value: Value) {
    if let Some(old) = table.get(key).and_then(Item::as_value) {
        *value.decor_mut() = old.decor().clone();
    }
    table.insert(key, Item::Value(value));
}

fn sound(timbre: &Timbre) -> Value {
    let mut table = InlineTable::new();
    let mut number = |key: &str, value: f64, decimals: i32| {
        let factor = 10f64.powi(decimals);
        // Adding nought turns a negative nought into a plain one.
        table.insert(key, Value::from((value * factor).round() / factor + 0.0));
    };
    if let Some(pitch) = timbre.pitch_hz {
        number("pitch_hz", pitch, 1);
    }
    number("bright_hz", timbre.bright_hz, 0);
    number("ring_s", timbre.ring_s, 3);
    if let Some(pan) = timbre.pan {
        number("pan", pan, 2);
    }
    Value::InlineTable(table)
}

/// Writes the program's own comments: the guide over the first group, and over each what was heard.
fn comment(tables: &mut Table, groups: &[GroupFacts]) {
    let mut first = true;
    for (name, item) in tables.iter_mut() {
        let Item::Table(table) = item else { continue };
        let facts = groups
            .iter()
            .find(|facts| Some(facts.group) == group_of(name.get()));
        let heard = facts.map_or_else(|| format!("{OURS} not heard in the last run\n"), heard);
        let own = own_comment(table).map_or_else(String::new, |own| format!("{own}\n"));
        let guide = if first { GUIDE } else { "" };
        table.decor_mut().set_prefix(format!("{guide}\n{own}{heard}"));
        first = false;
    }
}

/// What a player wrote over a table.
fn own_comment(table: &Table) -> Option<String> {
    let all = table.decor().prefix().and_then(|p| p.as_str());
    let own = without_ours(all.unwrap_or_default());
    let own = own.trim_matches('\n');
    (!own.is_empty()).then(|| own.to_owned())
}

fn heard(facts: &GroupFacts) -> String {
    let times: Vec<String> = facts
        .example_times
        .iter()
        .map(|time| format!("{:.2}", time.0))
        .collect();
    let at = if times.is_empty() {
        String::new()
    } else {
        format!("; hear it at {} s", times.join(", "))
    };
    let strokes = if facts.hits == 1 { "stroke" } else { "strokes" };
    let pitch = facts
        .sound
        .pitch_hz
        .map_or_else(String::new, |hz| format!(", its body at {hz:.0} Hz"));
    format!("{OURS} {} {strokes}{pitch}{at}\n", facts.hits)
}

/// The lines of some white space and comments that are not the program's.
fn without_ours(text: &str) -> String {
    let lines = text
        .split_inclusive('\n')
        .filter(|line| !line.trim_start().starts_with(OURS));
    lines.collect()
}

fn group_of(name: &str) -> Option<Voice> {
    name.trim().to_lowercase().replace([' ', '-'], "_").parse().ok()
}

/// Taking the program's own lines out of what stands around something.
trait ClearOurs {
    fn clear_ours(&mut self);
}

impl ClearOurs for toml_edit::Decor {
    fn clear_ours(&mut self) {
        let prefix = self.prefix().and_then(|prefix| prefix.as_str()).map(without_ours);
        if let Some(prefix) = prefix {
            self.set_prefix(prefix);
        }
    }
}
