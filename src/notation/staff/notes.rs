//! The notes, rests, stems, beams and signs of one line of the score on a staff.
//!
//! Heads, stems and beams follow common engraving \[C\]: stems of three and a half spaces or to the beam, level beams
//! half a space thick, seconds on both sides of the stem, ghosts in parentheses, accents at the stem's end, grace
//! notes before their note at six tenths of its size.

use std::collections::BTreeMap;

use super::glyphs;
use super::ink::{GRACE, Ink, SPACE, titled};
use super::space::{Need, Spacing};
use crate::charts::palette::{DOUBT, FIGURE, INK, SMALL, SURE};
use crate::charts::svg::Type;
use crate::names::{Layer, Mark, Voice};
use crate::notation::kit::{Shape, written};
use crate::notation::score::{Beam, Edge, Event, Head, Line, Ticks};

/// The end of the stems of a beamed group that no head pushes further: three spaces over the top line, two and a half
/// under the bottom line.
const BEAM_UP: f64 = -3.0 * SPACE;
const BEAM_DOWN: f64 = 6.5 * SPACE;
/// The shortest stem to a beam, and the usual one to a flag.
const TO_BEAM: f64 = 3.0 * SPACE;
const TO_FLAG: f64 = 3.5 * SPACE;
/// From one beam to the next, and how thick one is.
const LEVEL: f64 = 0.72 * SPACE;
const THICK: f64 = 0.5 * SPACE;
/// A hook instead of a beam.
const HOOK: f64 = 14.0;
/// From a grace note to the next, and to its note.
const GRACE_APART: f64 = 17.0;

/// The cymbal that was struck last on each place that several share.
type Cymbals = BTreeMap<i64, Voice>;

/// An event and where its bar begins.
#[derive(Debug, Clone, Copy)]
pub(super) struct Placed<'a> {
    pub(super) event: &'a Event<'a>,
    pub(super) at: Ticks,
    /// Where its bar stands on the line, for rests of a whole bar.
    pub(super) bar: (f64, f64),
}

/// The width of a round head.
pub(super) fn head_width() -> f64 {
    glyphs::width("head", SPACE)
}

/// The height of a place from the staff's top line, F5.
fn height(voice: Voice) -> f64 {
    (10 - written(voice).place) as f64 * SPACE / 2.0
}

fn head_glyph(shape: Shape) -> &'static str {
    match shape {
        Shape::Round => "head",
        Shape::Cross => "head_x",
        Shape::Square => "head_square",
        Shape::Triangle => "head_triangle",
        Shape::CircleCross => "head_circle_x",
    }
}

/// The room that an event needs.
pub(super) fn need(event: &Event) -> Need {
    if event.heads.is_empty() {
        let width = glyphs::width(rest_glyph(event.value.power), SPACE).max(head_width());
        let right = if event.whole_bar {
            0.0
        } else {
            width + 6.0 * f64::from(event.value.dots)
        };
        return Need {
            left: 0.0,
            right,
            words: 0.0,
        };
    }
    let graces = event
        .heads
        .iter()
        .map(|head| head.graces.len())
        .max()
        .unwrap_or(0);
    let ghost = event.heads.iter().any(|head| head.is(Mark::Ghost));
    let mut places: Vec<i64> = event
        .heads
        .iter()
        .map(|head| written(head.voice()).place)
        .collect();
    places.sort_unstable();
    let second = places.windows(2).any(|pair| matches!(pair, [a, b] if b - a < 2));
    let flag = event.beams.is_empty() && event.value.beams() > 0;
    let paren = if ghost { 10.0 } else { 0.0 };
    let left = graces as f64 * GRACE_APART + paren + if second { 2.0 } else { 0.0 };
    let right = head_width()
        + paren
        + if second { head_width() } else { 0.0 }
        + if flag { 14.0 } else { 0.0 }
        + 9.0 * f64::from(event.value.dots);
    Need {
        left,
        right,
        words: 0.0,
    }
}

/// Draws one line; `alone` says that no other line shares its staff.
pub(super) fn line(ink: &mut Ink, line: Line, alone: bool, events: &[Placed], spacing: &Spacing) {
    let drawer = Drawer {
        down: line.is_below(),
        alone,
        spacing,
    };
    let mut tops: Vec<f64> = vec![0.0; events.len()];
    let mut cymbals = Cymbals::new();
    let mut from = 0;
    while from < events.len() {
        let to = group_end(events, from);
        let group = events.get(from..to).unwrap_or_default();
        let top = if group.iter().all(|placed| placed.event.heads.is_empty()) {
            group.iter().for_each(|placed| drawer.rest(ink, placed));
            drawer.clear()
        } else {
            drawer.group(ink, group, &mut cymbals)
        };
        tops.iter_mut().take(to).skip(from).for_each(|t| *t = top);
        from = to;
    }
    drawer.tuplets(ink, events, &tops);
}

/// The end of the group that begins here: a beam with all under it, or one event.
fn group_end(events: &[Placed], from: usize) -> usize {
    let begins = |placed: &Placed| placed.event.beams.first() == Some(&Beam::Begin);
    let ends = |placed: &Placed| placed.event.beams.first() == Some(&Beam::End);
    if !events.get(from).is_some_and(begins) {
        return from + 1;
    }
    let length = events.iter().skip(from).position(ends);
    length.map_or(from + 1, |length| from + length + 1)
}

fn rest_glyph(power: u32) -> &'static str {
    match power {
        0 => "rest_1",
        1 => "rest_2",
        2 => "rest_4",
        3 => "rest_8",
        4 => "rest_16",
        5 => "rest_32",
        _ => "rest_64",
    }
}

/// A chord's heads from the stem's far end, and the end of its stem.
struct Stem {
    x: f64,
    from: f64,
    near: f64,
}

struct Drawer<'a> {
    down: bool,
    alone: bool,
    spacing: &'a Spacing,
}

impl Drawer<'_> {
    /// Up or down, as a sign.
    fn way(&self) -> f64 {
        if self.down { 1.0 } else { -1.0 }
    }

    /// The further of two heights in the stems' way.
    fn further(&self, a: f64, b: f64) -> f64 {
        if self.down { a.max(b) } else { a.min(b) }
    }

    /// Where signs may begin when there is no stem.
    fn clear(&self) -> f64 {
        if self.down { 5.0 * SPACE } else { -SPACE }
    }

    fn rest(&self, ink: &mut Ink, placed: &Placed) {
        let event = placed.event;
        let middle = match (self.alone, self.down) {
            (true, _) => 2.0 * SPACE,
            (false, false) => 0.0,
            (false, true) => 4.0 * SPACE,
        };
        let name = rest_glyph(event.value.power);
        let width = glyphs::width(name, SPACE);
        let x = if event.whole_bar {
            0.5 * (placed.bar.0 + placed.bar.1 - width)
        } else {
            self.spacing.x(placed.at) + 0.5 * (head_width() - width).max(0.0)
        };
        // A whole rest hangs from the line above.
        let y = if event.value.power == 0 {
            middle - SPACE
        } else {
            middle
        };
        ink.glyph(name, (x, y), false, String::new());
        if event.value.dots > 0 {
            ink.glyph(
                "dot",
                (x + width + 4.0, middle - 0.5 * SPACE),
                false,
                String::new(),
            );
        }
    }

    /// Draws a beamed group or a single chord with its signs; gives the height beyond which is nothing.
    fn group(&self, ink: &mut Ink, group: &[Placed], cymbals: &mut Cymbals) -> f64 {
        let chords: Vec<(&Placed, Stem)> = group
            .iter()
            .filter(|placed| !placed.event.heads.is_empty())
            .map(|placed| (placed, self.chord(ink, placed)))
            .collect();
        let rests = group.iter().filter(|placed| placed.event.heads.is_empty());
        rests.for_each(|placed| self.rest(ink, placed));
        let levels = group
            .iter()
            .map(|placed| placed.event.value.beams())
            .max()
            .unwrap_or(0);
        let more = LEVEL * f64::from(levels.saturating_sub(2)) * self.way();
        let beamed = chords.len() > 1;
        let usual = match (beamed, self.down) {
            (true, false) => BEAM_UP,
            (true, true) => BEAM_DOWN,
            (false, _) => 2.0 * SPACE,
        };
        let length = if beamed { TO_BEAM } else { TO_FLAG };
        let end = chords.iter().fold(usual, |end, (_, stem)| {
            self.further(end, stem.near + length * self.way())
        }) + more;
        for (placed, stem) in &chords {
            let is_stemmed = placed.event.value.power > 0;
            if is_stemmed {
                ink.line((stem.x, stem.from), (stem.x, end), INK, 2);
            }
            if !beamed && placed.event.value.beams() > 0 {
                self.flag(ink, stem.x, end, placed.event.value.beams());
            }
        }
        self.beams(ink, &chords, end, levels);
        self.signs(ink, &chords, end, cymbals)
    }

    fn flag(&self, ink: &mut Ink, x: f64, end: f64, beams: u32) {
        let value = 4 << beams.min(4);
        let way = if self.down { "down" } else { "up" };
        ink.glyph(
            &format!("flag_{value}_{way}"),
            (x - 1.0, end),
            false,
            String::new(),
        );
    }

    fn beams(&self, ink: &mut Ink, chords: &[(&Placed, Stem)], end: f64, levels: u32) {
        for level in 0..levels as usize {
            let shift = LEVEL * level as f64;
            let y = if self.down {
                end - THICK - shift
            } else {
                end + shift
            };
            let mut begun = None;
            for (placed, stem) in chords {
                match placed.event.beams.get(level) {
                    Some(Beam::Begin) => begun = Some(stem.x),
                    Some(Beam::End) => {
                        if let Some(from) = begun.take() {
                            ink.beam(from - 1.0, stem.x + 1.0, y, THICK);
                        }
                    }
                    Some(Beam::HookRight) => ink.beam(stem.x - 1.0, stem.x + HOOK, y, THICK),
                    Some(Beam::HookLeft) => ink.beam(stem.x - HOOK, stem.x + 1.0, y, THICK),
                    Some(Beam::Through) | None => {}
                }
            }
        }
    }

    /// Draws the heads of a chord.
    fn chord(&self, ink: &mut Ink, placed: &Placed) -> Stem {
        let x = self.spacing.x(placed.at);
        let mut heads: Vec<&Head> = placed.event.heads.iter().collect();
        // From the far end of the stem towards its tip.
        heads.sort_by_key(|head| written(head.voice()).place);
        if self.down {
            heads.reverse();
        }
        let stem_x = if self.down {
            x + 1.0
        } else {
            x + head_width() - 1.0
        };
        let mut before: Option<(i64, bool)> = None;
        for head in &heads {
            let place = written(head.voice()).place;
            // Neighbours stand on both sides of the stem.
            let other = before.is_some_and(|(was, other)| (place - was).abs() < 2 && !other);
            before = Some((place, other));
            let width = glyphs::width(head_glyph(written(head.voice()).shape), SPACE);
            let left = match (self.down, other) {
                (false, false) => x + head_width() - width,
                (false, true) => x + head_width() - 2.0,
                (true, false) => x,
                (true, true) => x - width + 2.0,
            };
            self.head(ink, head, left, width, placed);
        }
        self.graces(ink, &heads, x);
        let first = heads
            .first()
            .map_or(0.0, |head| height(head.voice()) + self.join(head));
        let near = heads.last().map_or(0.0, |head| height(head.voice()));
        Stem {
            x: stem_x,
            from: first,
            near,
        }
    }

    /// Where the stem joins a head, from its middle.
    fn join(&self, head: &Head) -> f64 {
        let share = match written(head.voice()).shape {
            Shape::Round => 0.17,
            Shape::Cross | Shape::Square => 0.44,
            Shape::Triangle => -0.5,
            Shape::CircleCross => 0.0,
        };
        share * SPACE * self.way()
    }

    fn head(&self, ink: &mut Ink, head: &Head, left: f64, width: f64, placed: &Placed) {
        let y = height(head.voice());
        let place = written(head.voice()).place;
        for line in (12..=place).step_by(2) {
            let y = (10 - line) as f64 * SPACE / 2.0;
            ink.line((left - 6.0, y), (left + width + 6.0, y), INK, 2);
        }
        let hit = &head.stroke.hit;
        let colour = if hit.sure < SURE {
            format!(r#" fill="{DOUBT}""#)
        } else if head.stroke.layer == Some(Layer::Ostinato) {
            format!(r#" fill="{FIGURE}""#)
        } else {
            String::new()
        };
        let place_words = head
            .stroke
            .place
            .map(|place| format!(", {place}"))
            .unwrap_or_default();
        let title = format!("{}{place_words}, {}", hit.voice.said(), hit.time.clock());
        let data = format!(
            r#"id="staff-{0}-{1:.5}" data-voice="{0}" data-time="{1:.3}"{colour}"#,
            hit.voice, hit.time.0
        );
        ink.glyph(
            head_glyph(written(hit.voice).shape),
            (left, y),
            false,
            titled(&data, &title),
        );
        let mut right = left + width;
        if head.is(Mark::Ghost) {
            let paren = glyphs::width("paren_left", SPACE);
            ink.glyph("paren_left", (left - paren - 1.0, y), false, String::new());
            // The origin of the right one lies a third of its width inside its box.
            ink.glyph("paren_right", (right + 4.0, y), false, String::new());
            right += paren + 1.0;
        }
        if placed.event.value.dots > 0 {
            let up = if place.rem_euclid(2) == 0 {
                -0.5 * SPACE
            } else {
                0.0
            };
            ink.glyph("dot", (right + 4.0, y + up), false, String::new());
        }
    }

    /// Grace notes, stems up, those of a drag under two beams.
    fn graces(&self, ink: &mut Ink, heads: &[&Head], x: f64) {
        let ghost = if heads.iter().any(|head| head.is(Mark::Ghost)) {
            8.0
        } else {
            0.0
        };
        let most = heads.iter().map(|head| head.graces.len()).max().unwrap_or(0);
        let with: Vec<&&Head> = heads.iter().filter(|head| !head.graces.is_empty()).collect();
        let tip = with
            .iter()
            .map(|head| height(head.voice()))
            .fold(f64::INFINITY, f64::min)
            - 2.0 * SPACE;
        let mut stems = Vec::new();
        for nth in (1..=most).rev() {
            let left = x - ghost - GRACE_APART * nth as f64 + 1.0;
            let mut low = f64::NEG_INFINITY;
            for head in with.iter().filter(|head| head.graces.len() >= nth) {
                let y = height(head.voice());
                ink.glyph(
                    head_glyph(written(head.voice()).shape),
                    (left, y),
                    true,
                    String::new(),
                );
                low = low.max(y);
            }
            let stem = left + head_width() * GRACE - 1.0;
            ink.line((stem, low - 2.0), (stem, tip), INK, 2);
            stems.push(stem);
        }
        match stems.as_slice() {
            [] => {}
            [stem] => {
                ink.glyph("flag_8_up", (*stem, tip), true, String::new());
                ink.line((stem - 7.0, tip + 19.0), (stem + 10.0, tip + 5.0), INK, 2);
            }
            [first, .., last] => {
                ink.beam(first - 1.0, last + 1.0, tip, 5.0);
                ink.beam(first - 1.0, last + 1.0, tip + 8.0, 5.0);
            }
        }
    }

    /// Signs beyond the stems, in rows: accents, open hats and bells, doubts. Gives the height beyond them.
    fn signs(&self, ink: &mut Ink, chords: &[(&Placed, Stem)], end: f64, cymbals: &mut Cymbals) -> f64 {
        let middle = |placed: &Placed| self.spacing.x(placed.at) + 0.5 * head_width();
        let mut edge = end + 5.0 * self.way();
        let mut accented = false;
        for (placed, _) in chords
            .iter()
            .filter(|(placed, _)| has(placed, |head| head.is(Mark::Accent)))
        {
            let name = if self.down { "accent_below" } else { "accent" };
            let x = middle(placed) - 0.5 * glyphs::width(name, SPACE);
            ink.glyph(name, (x, edge), false, String::new());
            accented = true;
        }
        if accented {
            edge += 23.0 * self.way();
        }
        let mut row = |ink: &mut Ink, words: Vec<(f64, &'static str)>, look: Type, size: i64| {
            if words.is_empty() {
                return;
            }
            let base = if self.down {
                edge + 0.75 * size as f64
            } else {
                edge
            };
            for (x, word) in words {
                ink.text((x, base), look.middle(), size, word);
            }
            edge += 0.85 * size as f64 * self.way();
        };
        let open = chords
            .iter()
            .filter(|(placed, _)| has(placed, |head| head.voice() == Voice::HatOpen));
        row(
            ink,
            open.map(|(placed, _)| (middle(placed), "o")).collect(),
            Type::size(SMALL).bold(),
            SMALL,
        );
        let mut bells = Vec::new();
        for (placed, _) in chords {
            for head in &placed.event.heads {
                if let Some(word) = cymbal_word(head.voice(), cymbals) {
                    bells.push((middle(placed), word));
                }
            }
        }
        row(ink, bells, Type::size(SMALL), SMALL);
        let unsure = chords
            .iter()
            .filter(|(placed, _)| has(placed, |head| head.stroke.hit.sure < SURE));
        let look = Type::size(SMALL).bold().fill(DOUBT);
        row(
            ink,
            unsure.map(|(placed, _)| (middle(placed), "?")).collect(),
            look,
            SMALL,
        );
        edge
    }

    /// Numbers of tuplets beyond all else; with a bracket where no beam shows how far they reach.
    fn tuplets(&self, ink: &mut Ink, events: &[Placed], tops: &[f64]) {
        let mut first = None;
        for (i, placed) in events.iter().enumerate() {
            let Some((ratio, edge)) = placed.event.tuplet else {
                continue;
            };
            match (edge, first) {
                (Edge::First, _) => first = Some(i),
                (Edge::Last, Some(from)) => {
                    let members = events.get(from..=i).unwrap_or_default();
                    let heights = tops.get(from..=i).unwrap_or_default();
                    let beyond = heights.iter().fold(self.clear(), |y, top| self.further(y, *top));
                    self.tuplet(ink, members, beyond, ratio.actual);
                    first = None;
                }
                _ => {}
            }
        }
    }

    fn tuplet(&self, ink: &mut Ink, members: &[Placed], beyond: f64, number: u32) {
        let (Some(first), Some(last)) = (members.first(), members.last()) else {
            return;
        };
        let (from, to) = (self.spacing.x(first.at), self.spacing.x(last.at) + head_width());
        let digits: Vec<String> = number
            .to_string()
            .chars()
            .map(|c| format!("tuplet_{c}"))
            .collect();
        let wide: f64 = digits.iter().map(|name| glyphs::width(name, SPACE) + 1.0).sum();
        let middle = 0.5 * (from + to);
        let tall = 27.0;
        let base = if self.down { beyond + tall } else { beyond };
        let mut x = middle - 0.5 * wide;
        for name in &digits {
            ink.glyph(name, (x, base), false, String::new());
            x += glyphs::width(name, SPACE) + 1.0;
        }
        let whole = members
            .first()
            .is_some_and(|m| m.event.beams.first() == Some(&Beam::Begin))
            && members
                .last()
                .is_some_and(|m| m.event.beams.first() == Some(&Beam::End));
        if !whole {
            let y = base - 0.5 * tall;
            let tip = y - 8.0 * self.way();
            for (edge, inner) in [(from, middle - 0.5 * wide - 5.0), (to, middle + 0.5 * wide + 5.0)] {
                ink.line((edge, y), (inner, y), INK, 2);
                ink.line((edge, y), (edge, tip), INK, 2);
            }
        }
    }
}

fn has(placed: &Placed, is: impl Fn(&Head) -> bool) -> bool {
    placed.event.heads.iter().any(is)
}

/// What is said over a cymbal that shares its place with the one before: "bell" when the bell begins, "ride" when it
/// ends; so with splash and china.
fn cymbal_word(voice: Voice, cymbals: &mut Cymbals) -> Option<&'static str> {
    let word = match voice {
        Voice::RideBell => "bell",
        Voice::Ride => "ride",
        Voice::Splash => "splash",
        Voice::China => "china",
        _ => return None,
    };
    let was = cymbals.insert(written(voice).place, voice);
    let same = was == Some(voice) || (was.is_none() && voice == Voice::Ride);
    (!same).then_some(word)
}

/// A voice's head at its place, its middle at `x`, on a staff with its top line at `top`: for the legend.
pub(super) fn example(ink: &mut Ink, voice: Voice, x: f64, top: f64) {
    let name = head_glyph(written(voice).shape);
    let width = glyphs::width(name, SPACE);
    for line in (12..=written(voice).place).step_by(2) {
        let y = top + (10 - line) as f64 * SPACE / 2.0;
        ink.line((x - 0.5 * width - 6.0, y), (x + 0.5 * width + 6.0, y), INK, 2);
    }
    ink.glyph(name, (x - 0.5 * width, top + height(voice)), false, String::new());
    match voice {
        Voice::HatOpen => ink.text((x, top - 26.0), Type::size(SMALL).bold().middle(), SMALL, "o"),
        Voice::RideBell => ink.text((x, top - 22.0), Type::size(SMALL).middle(), SMALL, "bell"),
        _ => {}
    }
}

/// Grace notes before a head whose middle is at a height: for the legend.
pub(super) fn example_grace(ink: &mut Ink, count: usize, (x, y): (f64, f64)) {
    for nth in 0..count {
        ink.glyph("head", (x + GRACE_APART * nth as f64, y), true, String::new());
    }
    ink.glyph(
        "head",
        (x + GRACE_APART * count as f64 + 2.0, y),
        false,
        String::new(),
    );
}
