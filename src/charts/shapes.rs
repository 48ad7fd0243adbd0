//! How a stroke looks: shape by voice family, size by level, solid for the figure, hollow for the free line.
//!
//! In: a stroke and its place on the page in tenths of a millimetre. Out: one path that carries its place in words,
//! and small signs beside it. Parentheses for ghosts, > for accents and small notes for grace strokes are the
//! signs of common notation [C].

use super::palette::{DOUBT, FIGURE, INK, LEVELS, PAPER, STROKE, SURE};
use super::svg::{Svg, Type, escape, whole};
use crate::names::{Mark, Voice};
use crate::study::Stroke;
use crate::units::Decibels;

/// How a stroke is filled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Weight {
    /// Belongs to the figure: solid, in the figure's colour.
    Figure,
    /// Belongs to the free line over a figure: hollow.
    Solo,
    /// There is no figure to tell it from: solid black.
    Alone,
    /// A note of the figure that was not struck: a broken outline.
    Missing,
}

/// The shape with its fill and outline, as attributes. A hollow cross would clog, so hats of the free line are thin
/// crosses and hats of the figure broad ones.
fn body(voice: Voice, (x, y): (i64, i64), r: i64, weight: Weight) -> String {
    let (fill, colour, width, dashes) = match weight {
        Weight::Figure => (FIGURE, FIGURE, 4, ""),
        Weight::Solo => (PAPER, INK, 5, ""),
        Weight::Alone => (INK, INK, 4, ""),
        Weight::Missing => (PAPER, DOUBT, 4, r#" stroke-dasharray="6 4""#),
    };
    if is_hat(voice) && matches!(weight, Weight::Solo | Weight::Missing) {
        let side = 2 * r;
        return format!(
            r#"d="M{} {}l{side} {side}m0 -{side}l-{side} {side}" fill="none" stroke="{colour}" stroke-width="6"{dashes}"#,
            x - r,
            y - r,
        );
    }
    let shape = outline(voice, x, y, r);
    format!(r#"d="{shape}" fill="{fill}" stroke="{colour}" stroke-width="{width}"{dashes}"#)
}

/// Half the width of a stroke of this level, between `largest` and the smallest share of it.
pub(super) fn size(level: Decibels, largest: i64) -> i64 {
    let (loud, soft) = LEVELS;
    let share = ((level.0 - soft) / (loud - soft)).clamp(0.0, 1.0);
    let share = if share.is_nan() { 0.5 } else { share };
    let smallest = largest as f64 * STROKE.1 as f64 / STROKE.0 as f64;
    whole(smallest + (largest as f64 - smallest) * share)
}

/// Whether a voice is drawn as a cross.
pub(super) fn is_hat(voice: Voice) -> bool {
    matches!(voice, Voice::HatClosed | Voice::HatOpen | Voice::HatFoot)
}

/// The outline of a voice's shape, `r` from its middle to its edge.
pub(super) fn outline(voice: Voice, x: i64, y: i64, r: i64) -> String {
    match voice {
        Voice::Kick | Voice::KickLeft => polygon(x, y, r, &[(-1.0, 0.8), (0.0, -1.0), (1.0, 0.8)]),
        Voice::Snare | Voice::Snare2 => format!(
            "M{} {y}a{r} {r} 0 1 1 {} 0a{r} {r} 0 1 1 {} 0z",
            x - r,
            2 * r,
            -2 * r
        ),
        Voice::CrossStick => polygon(x, y, r, &[(-1.0, -0.4), (1.0, -0.4), (1.0, 0.4), (-1.0, 0.4)]),
        Voice::TomHigh | Voice::TomMid | Voice::TomLow | Voice::TomFloor | Voice::TomFloor2 => {
            let top = y - whole(r as f64 * 0.7);
            let deep = whole(r as f64 * 1.6);
            format!("M{} {top}h{}a{r} {deep} 0 0 1 {} 0z", x - r, 2 * r, -2 * r)
        }
        Voice::HatClosed | Voice::HatOpen | Voice::HatFoot => polygon(x, y, r, &CROSS),
        Voice::Ride | Voice::RideBell => {
            polygon(x, y, r, &[(0.0, -1.1), (1.0, 0.0), (0.0, 1.1), (-1.0, 0.0)])
        }
        Voice::Crash | Voice::Crash2 | Voice::Splash | Voice::China => star(x, y, r),
        Voice::Cowbell => polygon(x, y, r, &[(-0.5, -0.9), (0.5, -0.9), (1.0, 0.9), (-1.0, 0.9)]),
        Voice::Other => polygon(
            x,
            y,
            r,
            &[
                (-1.0, 0.0),
                (-0.5, -0.9),
                (0.5, -0.9),
                (1.0, 0.0),
                (0.5, 0.9),
                (-0.5, 0.9),
            ],
        ),
    }
}

/// A broad diagonal cross, by its corners.
const CROSS: [(f64, f64); 12] = [
    (-1.0, -0.62),
    (-0.62, -1.0),
    (0.0, -0.38),
    (0.62, -1.0),
    (1.0, -0.62),
    (0.38, 0.0),
    (1.0, 0.62),
    (0.62, 1.0),
    (0.0, 0.38),
    (-0.62, 1.0),
    (-1.0, 0.62),
    (-0.38, 0.0),
];

fn polygon(x: i64, y: i64, r: i64, corners: &[(f64, f64)]) -> String {
    let mut path = String::new();
    for (i, (dx, dy)) in corners.iter().enumerate() {
        let letter = if i == 0 { 'M' } else { 'L' };
        path.push_str(&format!(
            "{letter}{} {}",
            x + whole(dx * r as f64),
            y + whole(dy * r as f64)
        ));
    }
    path.push('z');
    path
}

/// Six points, like a cymbal's splash of sound.
fn star(x: i64, y: i64, r: i64) -> String {
    let corners: Vec<(f64, f64)> = (0..12)
        .map(|i| {
            let reach = if i % 2 == 0 { 1.15 } else { 0.5 };
            let angle = f64::from(i) * std::f64::consts::PI / 6.0;
            (reach * angle.sin(), -reach * angle.cos())
        })
        .collect();
    polygon(x, y, r, &corners)
}

/// Draws a stroke with its signs. `place` is where it is, in words.
pub(super) fn stroke(
    svg: &mut Svg,
    (x, y): (i64, i64),
    largest: i64,
    stroke: &Stroke,
    weight: Weight,
    place: &str,
) {
    let hit = &stroke.hit;
    let r = size(hit.level, largest);
    plain(svg, (x, y), r, stroke, weight, place);
    if let Some(mark) = hit.mark {
        sign(svg, (x, y), r, mark);
    }
    if hit.sure < SURE {
        doubt(svg, (x, y), r);
    }
}

/// Draws a stroke of this size without signs.
pub(super) fn plain(svg: &mut Svg, (x, y): (i64, i64), r: i64, stroke: &Stroke, weight: Weight, place: &str) {
    let hit = &stroke.hit;
    let name = hit.voice.said();
    let id = svg.id(&format!("{}-{:.3}", hit.voice, finite(hit.time.0)));
    svg.put(&format!(
        r#"<path id="{id}" data-voice="{}" data-time="{:.3}" {}><title>{}</title></path>"#,
        hit.voice,
        finite(hit.time.0),
        body(hit.voice, (x, y), r, weight),
        escape(&format!("{name}, {place}, {}", hit.time.clock())),
    ));
}

/// A note of the figure that was not struck.
pub(super) fn missing(svg: &mut Svg, (x, y): (i64, i64), r: i64, voice: Voice, title: &str) {
    svg.put(&format!(
        r#"<path data-missing="{voice}" {}><title>{}</title></path>"#,
        body(voice, (x, y), r, Weight::Missing),
        escape(title),
    ));
}

/// A stroke on the figure's voices that the figure does not have: a cross.
pub(super) fn added(svg: &mut Svg, (x, y): (i64, i64), r: i64, voice: Voice, title: &str) {
    svg.put(&format!(
        r#"<path data-added="{voice}" d="M{} {y}h{}M{x} {}v{}" stroke="{DOUBT}" stroke-width="7"><title>{}</title></path>"#,
        x - r,
        2 * r,
        y - r,
        2 * r,
        escape(title),
    ));
}

/// A note of the figure that is struck beside its place: its outline there, and an arrow to where it is struck.
pub(super) fn moved(svg: &mut Svg, (x, y): (i64, i64), to: i64, r: i64, voice: Voice, title: &str) {
    missing(svg, (x, y), r, voice, title);
    let side = (to - x).signum();
    let (from, tip) = (x + side * r, to - side * r / 2);
    let head = r.min(9);
    svg.put(&format!(
        r#"<path data-moved="{voice}" d="M{from} {y}H{tip}m{} {}l{} {head}l{} {head}" stroke="{DOUBT}" stroke-width="5" fill="none"/>"#,
        -side * head,
        -head,
        side * head,
        -side * head,
    ));
}

/// The shape alone, for legends.
pub(super) fn example(svg: &mut Svg, (x, y): (i64, i64), r: i64, voice: Voice, weight: Weight) {
    svg.put(&format!("<path {}/>", body(voice, (x, y), r, weight)));
}

/// The sign for an accent, a ghost, a flam or a drag beside a stroke.
pub(super) fn sign(svg: &mut Svg, (x, y): (i64, i64), r: i64, mark: Mark) {
    match mark {
        Mark::Accent => svg.put(&format!(
            r#"<path d="M{} {}l24 7l-24 7" fill="none" stroke="{INK}" stroke-width="4"/>"#,
            x - 12,
            y - r - 21,
        )),
        Mark::Ghost => {
            let (half, out) = (r + 3, r + 4);
            svg.put(&format!(
                r#"<path d="M{} {}q-8 {half} 0 {}M{} {}q8 {half} 0 {}" fill="none" stroke="{INK}" stroke-width="4"/>"#,
                x - out, y - half, 2 * half, x + out, y - half, 2 * half,
            ));
        }
        Mark::Flam => grace(svg, x - r - 4, y - r),
        Mark::Drag => {
            grace(svg, x - r - 4, y - r);
            grace(svg, x - r - 18, y - r);
        }
    }
}

fn grace(svg: &mut Svg, x: i64, y: i64) {
    svg.put(&format!(r#"<circle cx="{x}" cy="{y}" r="6" fill="{INK}"/>"#));
}

/// The question mark of an unsure stroke.
pub(super) fn doubt(svg: &mut Svg, (x, y): (i64, i64), r: i64) {
    svg.text(x + r + 1, y - r + 12, Type::size(36).bold().fill(DOUBT), "?");
}

fn finite(value: f64) -> f64 {
    if value.is_finite() { value } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn louder_strokes_are_never_smaller() {
        let sizes: Vec<i64> = (-60..=0)
            .map(|db| size(Decibels(f64::from(db)), STROKE.0))
            .collect();
        assert!(sizes.is_sorted());
        assert_eq!((sizes[0], sizes[60]), (STROKE.1, STROKE.0));
        let odd = size(Decibels(f64::NAN), STROKE.0);
        assert!(odd > STROKE.1 && odd < STROKE.0);
    }

    #[test]
    fn neighbouring_families_have_shapes_of_their_own() {
        let of = |voice| outline(voice, 0, 0, 19);
        let families = [
            Voice::Kick,
            Voice::Snare,
            Voice::CrossStick,
            Voice::TomHigh,
            Voice::HatClosed,
            Voice::Ride,
            Voice::Crash,
            Voice::Cowbell,
            Voice::Other,
        ];
        for (i, &a) in families.iter().enumerate() {
            assert!(families.iter().skip(i + 1).all(|&b| of(a) != of(b)), "{a}");
        }
    }
}
