//! The player's kit put onto what the program has found: groups renamed and merged, their limbs filled in.
//!
//! The kit acts before the corrections of single strokes, which therefore win. Corrections know strokes by the voice
//! under which the last run wrote them; when the kit has changed since, they follow their strokes to the new name.

use std::collections::BTreeMap;
use std::path::PathBuf;

use super::super::tick::Tick;
use super::super::{GroupFacts, KitFile, Stroke, build};
use super::{Corrections, Found, Written};
use crate::files::shown;
use crate::names::{Limb, Voice};
use crate::stickings::body::{BodyTables, Handed};
use crate::voices::kit::{Entry, Kit};
use crate::voices::{self, Group, Hit, Timbre};

/// Sounds farther apart than this are not the same drum in two recordings; see [`apart`].
const SAME_DRUM: f64 = 2.0;

/// The kit of a study, and what one run has made of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub(in crate::study) struct KitNow {
    /// What the player says.
    pub(in crate::study) kit: Kit,
    /// What the player says of himself, and of how the drums are reached.
    pub(in crate::study) body: BodyTables,
    /// The voice that each group bore when the study was written last, where it was not the group's own.
    pub(in crate::study) was: BTreeMap<Voice, Voice>,
    /// Another study's kit to start from, and where it lies.
    pub(in crate::study) other: Option<(PathBuf, KitFile)>,
    /// What was taken from it.
    adopted: Vec<Adopted>,
    groups: Vec<Group>,
    /// The group of each stroke.
    of: BTreeMap<Found, Voice>,
}

impl KitNow {
    /// Lets the last run have written the names of this one.
    pub(super) fn names_are_new(&mut self) {
        let now = self
            .kit
            .edited()
            .map(|(group, _)| (group, self.kit.voice_of(group)));
        self.was = now.collect();
    }
}

/// An entry of another kit that stands for a group of this recording.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Adopted {
    group: Voice,
    from: Voice,
    by_sound: bool,
}

impl Corrections {
    /// Renames the groups as the player's kit says. `groups` are the voices of `hits` with their sounds. Strokes of two
    /// groups that become one drum and strike together are one stroke, the surer of the two.
    pub fn apply_kit(&mut self, mut hits: Vec<Hit>, groups: Vec<Group>) -> Vec<Hit> {
        let now = &mut self.kit;
        if let Some((_, other)) = &now.other {
            now.adopted = adopt(&mut now.kit, &other.groups, &groups);
        }
        let renamed = groups
            .iter()
            .any(|group| now.kit.voice_of(group.voice) != group.voice);
        now.groups = groups;
        now.of.clear();
        // Of two strokes that become one, the surer comes first and stays.
        hits.sort_by(|a, b| (Tick::of(a.time).cmp(&Tick::of(b.time))).then(b.sure.total_cmp(&a.sure)));
        hits.retain_mut(|hit| {
            let group = hit.voice;
            hit.voice = now.kit.voice_of(group);
            let found = Found {
                time: Tick::of(hit.time),
                voice: hit.voice,
            };
            let first = !renamed || !now.of.contains_key(&found);
            now.of.entry(found).or_insert(group);
            first
        });
        hits.sort_by(|a, b| a.time.0.total_cmp(&b.time.0).then(a.voice.cmp(&b.voice)));
        if renamed {
            voices::mark_again(&mut hits);
        }
        hits
    }

    /// Which limb plays a voice, where the player's kit says so.
    pub fn limbs(&self) -> Vec<(Voice, Limb)> {
        let kit = &self.kit.kit;
        let named = kit
            .edited()
            .map(|(group, entry)| (kit.voice_of(group), entry.limb));
        named.filter_map(|(voice, limb)| Some((voice, limb?))).collect()
    }

    /// The groups of a study's strokes: what the player calls them, how often they strike, where to hear them.
    pub fn groups(&self, strokes: &[Stroke]) -> Vec<GroupFacts> {
        let groups: Vec<Option<Voice>> = strokes
            .iter()
            .map(|stroke| self.kit.of.get(&Written::of(stroke).found()).copied())
            .collect();
        let facts = |group: &Group| {
            let own: Vec<usize> = (0..strokes.len())
                .filter(|at| groups.get(*at) == Some(&Some(group.voice)))
                .collect();
            let entry = self.kit.kit.0.get(&group.voice).cloned().unwrap_or_default();
            GroupFacts {
                group: group.voice,
                voice: entry.voice.unwrap_or(group.voice),
                limb: entry.limb,
                note: entry.note,
                hits: own.len(),
                example_times: build::examples(&own, strokes),
                sound: group.sound,
            }
        };
        self.kit.groups.iter().map(facts).collect()
    }

    /// Fills in the limbs of whole groups.
    pub(super) fn apply_limbs(&self, strokes: &mut [Stroke]) {
        for stroke in strokes {
            stroke.limb = self.limb_of_group(stroke).or(stroke.limb);
        }
    }

    /// The limb that the player gave to the whole group of a stroke.
    pub(super) fn limb_of_group(&self, stroke: &Stroke) -> Option<Limb> {
        let group = self.kit.of.get(&Written::of(stroke).found())?;
        self.kit.kit.limb_of(*group)
    }

    /// Whether the player gave a limb to any group.
    pub(super) fn gives_limbs(&self) -> bool {
        Voice::ALL
            .iter()
            .any(|group| self.kit.kit.limb_of(*group).is_some())
    }

    /// The voice under which the last run would have written a stroke of this run.
    pub(super) fn was(&self, hit: &Hit) -> Voice {
        let found = Found {
            time: Tick::of(hit.time),
            voice: hit.voice,
        };
        let group = self.kit.of.get(&found).copied().unwrap_or(hit.voice);
        self.kit.was.get(&group).copied().unwrap_or(group)
    }

    /// The voice that strokes written as `was` by the last run bear now, though this run has not found them.
    pub(super) fn renamed(&self, was: Voice) -> Voice {
        let bore = |group: &&Voice| self.kit.was.get(group).copied().unwrap_or(**group) == was;
        let mut now = Voice::ALL
            .iter()
            .filter(bore)
            .map(|group| self.kit.kit.voice_of(*group));
        let first = now.next().unwrap_or(was);
        if now.any(|voice| voice == was) { was } else { first }
    }

    /// Begins with another study's kit: `file` is where it was read. What this study's own kit file says stays.
    pub fn start_from(&mut self, file: PathBuf, kit: KitFile) {
        if self.kit.body == BodyTables::default() {
            self.kit.body = kit.body.clone();
        }
        self.kit.other = Some((file, kit));
    }

    /// What the player says of himself, and of how the drums are reached.
    pub fn body(&self) -> &BodyTables {
        &self.kit.body
    }

    /// What the kit has changed, a line each; to be asked after it was applied.
    pub fn kit_lines(&self) -> Vec<String> {
        let heard = |group: Voice| self.kit.groups.iter().any(|g| g.voice == group);
        let mut lines: Vec<String> = (self.kit.kit.edited())
            .filter(|(group, _)| heard(*group))
            .map(|(group, entry)| said(group, entry))
            .collect();
        lines.extend(who(&self.kit.body));
        let gone = self.kit.kit.edited().filter(|(group, _)| !heard(*group));
        lines.extend(
            gone.map(|(group, _)| format!("{} is not heard here; what you say of it is kept", group.said())),
        );
        if let Some((file, other)) = &self.kit.other {
            let how = |a: &Adopted| {
                let way = if a.by_sound { "by its sound" } else { "by name" };
                let was = if a.from == a.group {
                    String::new()
                } else {
                    format!("{} as ", a.from.said())
                };
                format!("{was}{} {way}", a.group.said())
            };
            let mut taken: Vec<String> = self.kit.adopted.iter().map(how).collect();
            let left = other
                .groups
                .edited()
                .filter(|(group, _)| self.kit.adopted.iter().all(|a| a.from != *group));
            let left: Vec<&str> = left.map(|(group, _)| group.said()).collect();
            if self.kit.body == other.body && other.body != BodyTables::default() {
                taken.push("player and reach".to_owned());
            }
            let mut line = match taken.len() {
                0 => format!("{} fits nothing here", shown(file)),
                _ => format!("from {}: {}", shown(file), taken.join(", ")),
            };
            if !left.is_empty() {
                line += &format!("; not taken: {}", left.join(", "));
            }
            lines.push(line);
        }
        lines
    }
}

/// What is other than usual with player and reach.
fn who(body: &BodyTables) -> Option<String> {
    let mut parts = Vec::new();
    if body.body.handed == Handed::Left {
        parts.push("left-handed".to_owned());
    }
    if body.body.double_pedal {
        parts.push("double pedal".to_owned());
    }
    if !body.reach.is_empty() {
        let voices: Vec<String> = body.reach.keys().map(|voice| voice.replace('_', " ")).collect();
        parts.push(format!("reach of {}", voices.join(", ")));
    }
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn said(group: Voice, entry: &Entry) -> String {
    let mut parts = Vec::new();
    parts.extend(entry.voice.map(|voice| format!("is {}", voice.said())));
    parts.extend(entry.limb.map(|limb| format!("played by {limb}")));
    if !entry.note.is_empty() {
        parts.push(entry.note.split_whitespace().collect::<Vec<_>>().join(" "));
    }
    format!("{} {}", group.said(), parts.join(", "))
}

/// Takes over from `other` what it says of the drums that are heard here: those that sound alike first, nearest
/// first, then those of the same name. Groups that `kit` speaks of keep what it says.
fn adopt(kit: &mut Kit, other: &Kit, groups: &[Group]) -> Vec<Adopted> {
    let own: Vec<&Group> = groups
        .iter()
        .filter(|group| !kit.0.get(&group.voice).is_some_and(Entry::is_edited))
        .collect();
    let mut offers: Vec<(f64, Adopted)> = Vec::new();
    for group in &own {
        for (from, entry) in other
            .0
            .iter()
            .filter(|(from, _)| family(**from) == family(group.voice))
        {
            let far = entry.sound.map(|sound| apart(&sound, &group.sound));
            let offer = |by_sound| Adopted {
                group: group.voice,
                from: *from,
                by_sound,
            };
            match far {
                Some(far) if far < SAME_DRUM => offers.push((far, offer(true))),
                _ if *from == group.voice => offers.push((f64::INFINITY, offer(false))),
                _ => {}
            }
        }
    }
    offers.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.group.cmp(&b.1.group)));
    let mut adopted: Vec<Adopted> = Vec::new();
    for (_, offer) in offers {
        if adopted
            .iter()
            .all(|a| a.group != offer.group && a.from != offer.from)
        {
            adopted.push(offer);
        }
    }
    adopted.sort_by_key(|a| a.group);
    let taken = adopted.clone();
    for Adopted { group, from, .. } in &taken {
        let Some(entry) = other.0.get(from) else { continue };
        let voice = other.voice_of(*from);
        // A name that the other player never chose must not merge two drums of this recording.
        let stays = |g: &&&Group| g.voice == voice && taken.iter().all(|a| a.group != voice);
        let merges = entry.voice.is_none() && own.iter().any(|g| stays(&g));
        let mut entry = entry.clone();
        entry.voice = Some(voice).filter(|voice| voice != group && !merges);
        kit.0.insert(*group, entry);
    }
    adopted
}

/// How far apart two sounds are: 1 is two semitones of pitch, half an octave of brightness or twice the ring [M].
fn apart(a: &Timbre, b: &Timbre) -> f64 {
    let octaves = |a: f64, b: f64| (a.max(1e-3) / b.max(1e-3)).log2();
    let pitch = match (a.pitch_hz, b.pitch_hz) {
        (Some(a), Some(b)) => 6.0 * octaves(a, b),
        _ => 0.0,
    };
    let bright = 2.0 * octaves(a.bright_hz, b.bright_hz);
    let ring = octaves(a.ring_s, b.ring_s);
    (pitch.powi(2) + bright.powi(2) + ring.powi(2)).sqrt()
}

/// Voices that one could be taken for another of.
fn family(voice: Voice) -> u8 {
    use Voice::{Cowbell, CrossStick, HatClosed, HatFoot, HatOpen, Kick, KickLeft, Other, Snare, Snare2};
    match voice {
        Kick | KickLeft => 0,
        Snare | Snare2 => 1,
        CrossStick => 2,
        HatClosed | HatOpen | HatFoot => 3,
        Cowbell => 4,
        Other => 5,
        drum if drum < HatClosed => 6,
        _ => 7,
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::examples::hit;
    use super::*;
    use crate::names::{Limb, Mark};

    fn group(voice: Voice, pitch: f64) -> Group {
        Group {
            voice,
            sound: Timbre {
                pitch_hz: Some(pitch),
                bright_hz: 900.0,
                ring_s: 0.4,
                pan: None,
            },
        }
    }

    fn file(groups: Kit) -> KitFile {
        KitFile {
            groups,
            ..KitFile::default()
        }
    }

    fn kit(text: &str) -> Corrections {
        let mut corrections = Corrections::default();
        corrections.kit.kit = Kit::read(text).unwrap();
        corrections
    }

    #[test]
    fn two_groups_given_one_voice_become_one_drum() {
        let mut corrections = kit("[group.snare_2]\nvoice = 'snare'\nlimb = 'LH'");
        let hits = vec![
            hit(1.0, Voice::Snare),
            hit(1.0, Voice::Snare2),
            hit(2.0, Voice::Snare2),
        ];
        let groups = vec![group(Voice::Snare, 180.0), group(Voice::Snare2, 300.0)];
        let merged = corrections.apply_kit(hits, groups);
        let strokes: Vec<(f64, Voice)> = merged.iter().map(|h| (h.time.0, h.voice)).collect();
        assert_eq!(strokes, [(1.0, Voice::Snare), (2.0, Voice::Snare)]);
        assert_eq!(corrections.kit_lines(), ["snare 2 is snare, played by LH"]);
    }

    #[test]
    fn two_groups_swap_their_names() {
        let mut corrections = kit("[group.snare]\nvoice = 'snare_2'\n[group.snare_2]\nvoice = 'snare'");
        let hits = vec![hit(1.0, Voice::Snare), hit(1.0, Voice::Snare2)];
        let swapped = corrections.apply_kit(hits, vec![group(Voice::Snare, 1.0), group(Voice::Snare2, 1.0)]);
        assert_eq!(swapped.len(), 2);
        assert_eq!(
            corrections.was(&swapped[0]),
            Voice::Snare2,
            "the last run knew no kit"
        );
    }

    #[test]
    fn a_kit_that_renames_nothing_changes_no_hit() {
        let mut corrections = kit("[group.snare]\nlimb = 'LH'\n[group.crash]\nvoice = 'china'");
        let mut hits = vec![hit(1.0, Voice::Snare), hit(1.0, Voice::Ride)];
        hits[1].mark = Some(Mark::Flam);
        let groups = vec![group(Voice::Snare, 180.0), group(Voice::Ride, 1.0)];
        assert_eq!(corrections.apply_kit(hits.clone(), groups), hits);
        let gone = "crash is not heard here; what you say of it is kept";
        assert_eq!(corrections.kit_lines(), ["snare played by LH", gone]);
    }

    #[test]
    fn drums_that_sound_alike_are_found_again_under_another_name() {
        let sound =
            |pitch: f64| format!("sound = {{ pitch_hz = {pitch}, bright_hz = 880, ring_s = 0.42 }}\n");
        let text = format!(
            "[group.tom_high]\nvoice = 'tom_mid'\nlimb = 'LH'\n{}[group.tom_mid]\nvoice = 'tom_floor'\n{}[group.china]\nvoice = 'splash'\n",
            sound(200.0),
            sound(120.0)
        );
        let mut corrections = Corrections::default();
        corrections.start_from("other.toml".into(), file(Kit::read(&text).unwrap()));
        // Here the lower drum is taken for the high tom, as the only one in its range.
        let hits = vec![
            hit(1.0, Voice::TomHigh),
            hit(2.0, Voice::TomLow),
            hit(3.0, Voice::Snare),
        ];
        let groups = vec![
            group(Voice::Snare, 180.0),
            group(Voice::TomHigh, 122.0),
            group(Voice::TomLow, 198.0),
        ];
        let hits = corrections.apply_kit(hits, groups);
        let voices: Vec<Voice> = hits.iter().map(|h| h.voice).collect();
        assert_eq!(voices, [Voice::TomFloor, Voice::TomMid, Voice::Snare]);
        assert_eq!(corrections.kit.kit.limb_of(Voice::TomLow), Some(Limb::LeftHand));
        let last = corrections.kit_lines().pop().unwrap();
        let wanted = "from other.toml: mid tom as high tom by its sound, high tom as low tom by its sound; not taken: china";
        assert_eq!(last, wanted);
    }

    #[test]
    fn what_this_study_s_own_kit_says_stays_when_it_starts_from_another() {
        let mut corrections = kit("[group.snare]\nvoice = 'tom_high'");
        let other =
            Kit::read("[group.snare]\nvoice = 'cross_stick'\n[group.kick]\nnote = '22 inch'").unwrap();
        corrections.start_from("other.toml".into(), file(other));
        corrections.apply_kit(vec![], vec![group(Voice::Kick, 55.0), group(Voice::Snare, 180.0)]);
        assert_eq!(corrections.kit.kit.voice_of(Voice::Snare), Voice::TomHigh);
        assert_eq!(corrections.kit.kit.0[&Voice::Kick].note, "22 inch");
    }
}
