//! What a player has changed in `hits.tsv`, kept from run to run and put onto whatever the program finds next.
//!
//! The program remembers the rows it wrote last. What stands in the file now is paired with them: what
//! differs is the player's word and becomes a correction. The next run applies them all to what it has found
//! afresh. None is ever dropped but by the player: one that finds nothing to correct waits.

mod apply;
mod kept;
mod kit;
mod load;
mod merge;

#[cfg(test)]
mod laws;

use std::collections::BTreeMap;

use serde::{Deserialize, Deserializer, Serialize};

use super::Stroke;
use super::sheet::{Comment, Sheet};
use super::tick::Tick;
use crate::names::{Layer, Limb, Mark, Voice};
use crate::stickings::body::BodyTables;
use crate::voices::Hit;

pub use kept::Kept;
pub use load::{Loaded, load};

/// How far the time of one stroke may move from run to run and still be taken for the same stroke: more than any
/// refinement of an onset moves it, less than the 50 ms between the closest equal hits of one voice.
const SAME_STROKE: u64 = Tick::millis(30);

/// All corrections of a study.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Corrections {
    /// One for each stroke that the player has something to say about.
    pub(super) strokes: Vec<Correction>,
    /// The player's own columns, in their order.
    pub(super) columns: Vec<String>,
    /// The player's comment lines, in the order of the file.
    pub(super) comments: Vec<Comment>,
    /// A file whose study was lost: what the player said in it and what the program did cannot be told apart until
    /// the program has found its own rows anew.
    #[serde(skip)]
    unsorted: Option<Sheet>,
    /// What the player says of whole groups of strokes; it is kept in a file of its own.
    #[serde(skip)]
    pub(super) kit: kit::KitNow,
}

/// A stroke as the program found it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub(super) struct Found {
    pub(super) time: Tick,
    pub(super) voice: Voice,
}

/// What the player says of one stroke.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Correction {
    /// The program's rows in whose place the player's row stands: none where the player has added it, usually one.
    pub(super) instead_of: Vec<Found>,
    /// The player's row; `null` where it was deleted.
    pub(super) row: Option<Edit>,
    /// Whether it took part in the run that wrote the rows; taken for granted until [`Corrections::apply_hits`] says.
    #[serde(skip, default = "yes")]
    in_force: bool,
}

/// What the player says in one row. `None` leaves a thing to the program; `Some(None)` says that it is empty.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Edit {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) time: Option<Tick>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) voice: Option<Voice>,
    #[serde(default, skip_serializing_if = "Option::is_none", deserialize_with = "said")]
    pub(super) limb: Option<Option<Limb>>,
    #[serde(default, skip_serializing_if = "Option::is_none", deserialize_with = "said")]
    pub(super) layer: Option<Option<Layer>>,
    #[serde(default, skip_serializing_if = "Option::is_none", deserialize_with = "said")]
    pub(super) mark: Option<Option<Mark>>,
    /// How long before the stroke its grace stroke begins.
    #[serde(default, skip_serializing_if = "Option::is_none", deserialize_with = "said")]
    pub(super) grace: Option<Option<Tick>>,
    /// What stands in the player's own columns.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub(super) own: BTreeMap<String, String>,
}

/// A row as the program wrote it last: time, voice, limb, layer, mark, grace (not written by earlier
/// versions).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Written(
    pub(super) Tick,
    pub(super) Voice,
    pub(super) Option<Limb>,
    pub(super) Option<Layer>,
    pub(super) Option<Mark>,
    #[serde(default)] pub(super) Option<Tick>,
);

fn yes() -> bool {
    true
}

/// Keeps apart a key that is not there (nothing said) and one that is `null` (said to be empty).
fn said<'de, D: Deserializer<'de>, T: Deserialize<'de>>(
    deserializer: D,
) -> Result<Option<Option<T>>, D::Error> {
    Option::deserialize(deserializer).map(Some)
}

impl Edit {
    /// Whether it says anything about the stroke itself; own columns say nothing of it.
    fn vouches(&self) -> bool {
        self.moves()
            || self.limb.is_some()
            || self.layer.is_some()
            || self.mark.is_some()
            || self.grace.is_some()
    }

    /// Puts the player's mark and grace stroke onto a hit; only flams and drags have grace strokes.
    fn mark(&self, hit: &mut Hit) {
        hit.mark = self.mark.unwrap_or(hit.mark);
        let said = self
            .grace
            .map(|grace| grace.map(|tick| tick.seconds().to_millis()));
        let graced = matches!(hit.mark, Some(Mark::Flam | Mark::Drag));
        hit.grace = said.unwrap_or(hit.grace.filter(|_| graced));
    }

    /// Whether it says which voice was struck, or when.
    fn moves(&self) -> bool {
        self.time.is_some() || self.voice.is_some()
    }
}

impl Correction {
    /// The stroke that the player's row stands for; `None` for a deletion.
    fn stroke(&self) -> Option<Found> {
        let edit = self.row.as_ref()?;
        let first = self.instead_of.first();
        Some(Found {
            time: edit.time.or(first.map(|found| found.time))?,
            voice: edit.voice.or(first.map(|found| found.voice))?,
        })
    }
}

impl Written {
    pub(super) fn of(stroke: &Stroke) -> Written {
        let hit = &stroke.hit;
        Written(
            Tick::of(hit.time),
            hit.voice,
            stroke.limb,
            stroke.layer,
            hit.mark,
            hit.grace.map(Tick::of_grace),
        )
    }

    fn found(&self) -> Found {
        Found {
            time: self.0,
            voice: self.1,
        }
    }
}

impl Corrections {
    /// Whether the player has said nothing at all.
    fn is_empty(&self) -> bool {
        let Corrections {
            strokes,
            columns,
            comments,
            unsorted,
            kit,
        } = self;
        let table = strokes.is_empty() && columns.is_empty() && comments.is_empty() && unsorted.is_none();
        table && kit.kit.edited().next().is_none() && kit.body == BodyTables::default()
    }

    /// The corrections in force, by the stroke that each has led to; those that vouch for it first.
    fn by_stroke(&self) -> BTreeMap<Found, Vec<usize>> {
        let mut map: BTreeMap<Found, Vec<usize>> = BTreeMap::new();
        for vouching in [true, false] {
            for (at, correction) in self.strokes.iter().enumerate() {
                let vouches = correction.row.as_ref().is_some_and(Edit::vouches);
                if let Some(stroke) = correction
                    .stroke()
                    .filter(|_| correction.in_force && vouches == vouching)
                {
                    map.entry(stroke).or_default().push(at);
                }
            }
        }
        map
    }

    /// For each stroke, the correction that stands behind it.
    fn behind(&self, strokes: impl Iterator<Item = Found>) -> Vec<Option<usize>> {
        let mut map = self.by_stroke();
        map.values_mut().for_each(|list| list.reverse());
        strokes.map(|stroke| map.get_mut(&stroke)?.pop()).collect()
    }

    /// What stands in the player's own columns of each stroke.
    pub(super) fn own(&self, strokes: &[Stroke]) -> Vec<BTreeMap<String, String>> {
        let behind = self.behind(strokes.iter().map(|s| Written::of(s).found()));
        let own = |at: &Option<usize>| Some(self.strokes.get((*at)?)?.row.as_ref()?.own.clone());
        behind.iter().map(|at| own(at).unwrap_or_default()).collect()
    }
}
