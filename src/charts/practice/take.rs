//! One take: every stroke of the passage on its step, as late or early as it came, what is wrong, the tempo from beat to
//! beat, and how late every limb is.

use super::pattern::write;
use crate::charts::Chart;
use crate::charts::page::{Heading, open};
use crate::charts::palette::{
    A4, COUNT, DOUBT, FAINT, FIGURE, INK, MARGIN, NUMBER, PAPER, QUIET, RULE, TOP, WIDTH, WORDS,
};
use crate::charts::svg::{Svg, Type, escape, whole};
use crate::study::Study;
use crate::units::Steps;

/// A stroke that is there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TakeStroke {
    /// Its step from bar 1.
    pub step: i64,
    /// It belongs to the figure.
    pub figure: bool,
    /// ms after the fitted tempo.
    pub late: f64,
}

/// Something wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Its step from bar 1.
    pub step: i64,
    /// What is wrong, in words.
    pub words: String,
}

/// How late a limb is.
#[derive(Debug, Clone, PartialEq)]
pub struct Lateness {
    /// Which limb or drum.
    pub name: String,
    /// ms, the median.
    pub late: f64,
    /// ms, half of the strokes lie within this of it.
    pub spread: f64,
}

/// All that the picture shows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TakePicture {
    /// Title line: file, tempo, share.
    pub words: String,
    /// Strokes that are there.
    pub strokes: Vec<TakeStroke>,
    /// What is wrong.
    pub faults: Vec<Fault>,
    /// Tempo of each beat: (step, bpm).
    pub tempos: Vec<(i64, f64)>,
    /// Lateness of limbs.
    pub limbs: Vec<Lateness>,
    /// Rounds to home: (first step, step after the last, clean).
    pub rounds: Vec<(i64, i64, bool)>,
    /// What to work on next.
    pub next: Vec<String>,
}

/// ms at the edge of a line's band.
const REACH: f64 = 50.0;
/// Bars on a line, height of a line, of its band.
const BARS: i64 = 4;
const LINE: i64 = 190;
const BAND: i64 = 96;
/// Width of the bar numbers.
const NAMES: i64 = 110;
/// Lines on a page.
const FIRST: usize = 5;
const OTHERS: usize = 12;

/// Draws a take, on as many pages as its bars need.
pub fn take(study: &Study, picture: &TakePicture) -> Vec<Chart> {
    let bar = i64::from(study.grid.steps_per_bar().max(1));
    let steps = || {
        let struck = picture.strokes.iter().map(|s| s.step);
        struck.chain(picture.faults.iter().map(|f| f.step))
    };
    // Bars before the first that was played, and after the last, are none of the take's.
    let first = steps().min().unwrap_or(0).div_euclid(bar) * bar;
    let after = steps().max().unwrap_or(0).div_euclid(bar) * bar + bar;
    let mut lines: Vec<i64> = steps().map(|s| (s - first).div_euclid(bar * BARS)).collect();
    lines.sort_unstable();
    lines.dedup();
    let (head, tail) = lines.split_at(FIRST.min(lines.len()));
    let mut pages: Vec<&[i64]> = vec![head];
    pages.extend(tail.chunks(OTHERS));
    let count = pages.len();
    let draw = |(i, lines): (usize, &&[i64])| {
        let heading = Heading {
            chart: "Take",
            page: (i + 1, count),
            desc: format!(
                "{} {} strokes there, {} faults.",
                picture.words,
                picture.strokes.len(),
                picture.faults.len()
            ),
            height: A4,
        };
        let mut svg = open(study, &heading);
        let mut y = TOP;
        if i == 0 {
            y = summary(&mut svg, picture);
        }
        for line in *lines {
            let from = first + *line * BARS * bar;
            let to = (from + BARS * bar).min(after);
            draw_line(&mut svg, study, picture, y, (from, to), bar);
            y += LINE;
        }
        key(&mut svg);
        Chart {
            name: if i == 0 {
                "take".to_owned()
            } else {
                format!("take-{:02}", i + 1)
            },
            svg: svg.finish(),
        }
    };
    pages.iter().enumerate().map(draw).collect()
}

/// Words, tempo curve and limbs at the head of the first page; gives back where the lines begin.
fn summary(svg: &mut Svg, picture: &TakePicture) -> i64 {
    let mut y = write(
        svg,
        MARGIN,
        TOP + 30,
        Type::size(WORDS).bold(),
        &picture.words,
        88,
    ) + 14;
    svg.text(MARGIN, y, Type::size(NUMBER).bold(), "Work on next");
    y += 58;
    for line in &picture.next {
        y = write(svg, MARGIN, y, Type::size(WORDS), line, 92) + 6;
    }
    y += 30;
    let half = (WIDTH - 2 * MARGIN) / 2;
    tempo(svg, picture, (MARGIN, y), half - 60);
    let rows = limbs(svg, picture, (MARGIN + half + 40, y), half - 40);
    y + rows.max(330) + 40
}

fn tempo(svg: &mut Svg, picture: &TakePicture, (left, top): (i64, i64), wide: i64) {
    svg.text(left, top + 34, Type::size(WORDS).bold(), "Tempo, beat by beat");
    let values = || picture.tempos.iter().map(|t| t.1).filter(|b| b.is_finite());
    let (low, high) = (
        values().fold(f64::INFINITY, f64::min),
        values().fold(0.0, f64::max),
    );
    if high <= 0.0 {
        return;
    }
    let (low, high) = ((low - 2.0).floor(), (high + 2.0).ceil());
    let (from, to) = (top + 60, top + 300);
    let y = |bpm: f64| to - whole((bpm - low) / (high - low) * (to - from) as f64);
    for bpm in [low, (low + high) / 2.0, high] {
        svg.line((left + 110, y(bpm)), (left + wide, y(bpm)), FAINT, 3);
        svg.text(
            left + 96,
            y(bpm) + 12,
            Type::size(COUNT).end(),
            &format!("{bpm:.0}"),
        );
    }
    let count = picture.tempos.len().max(2) as f64 - 1.0;
    let points: Vec<String> = picture
        .tempos
        .iter()
        .enumerate()
        .map(|(n, (_, bpm))| {
            format!(
                "{} {}",
                left + 110 + whole(n as f64 / count * (wide - 110) as f64),
                y(*bpm)
            )
        })
        .collect();
    svg.put(&format!(
        r#"<path data-chart="tempo" d="M{}" fill="none" stroke="{INK}" stroke-width="5"/>"#,
        points.join("L")
    ));
}

fn limbs(svg: &mut Svg, picture: &TakePicture, (left, top): (i64, i64), wide: i64) -> i64 {
    svg.text(left, top + 34, Type::size(WORDS).bold(), "Early and late, in ms");
    let middle = left + 230 + (wide - 330) / 2;
    let x = |ms: f64| middle + whole((ms / REACH).clamp(-1.0, 1.0) * ((wide - 330) / 2) as f64);
    for (n, limb) in picture.limbs.iter().enumerate() {
        let y = top + 86 + 46 * n as i64;
        svg.text(left, y + 12, Type::size(COUNT), &limb.name);
        svg.line((x(-REACH), y), (x(REACH), y), RULE, 2);
        svg.line(
            (x(limb.late - limb.spread), y),
            (x(limb.late + limb.spread), y),
            INK,
            10,
        );
        svg.put(&format!(
            r#"<circle data-late="{:.1}" cx="{}" cy="{y}" r="13" fill="{}"/>"#,
            limb.late,
            x(limb.late),
            if limb.late.abs() >= 12.0 { DOUBT } else { INK }
        ));
        svg.text(
            left + wide,
            y + 12,
            Type::size(COUNT).end(),
            &format!("{:+}", whole(limb.late)),
        );
    }
    let last = top + 60 + 46 * picture.limbs.len() as i64;
    svg.line((middle, top + 60), (middle, last), INK, 3);
    last - top + 20
}

/// One line of bars: a band whose middle is in time, dots below it late, above it early; faults as marks with words.
fn draw_line(
    svg: &mut Svg,
    study: &Study,
    picture: &TakePicture,
    top: i64,
    (from, to): (i64, i64),
    bar: i64,
) {
    let left = MARGIN + NAMES;
    let step = (WIDTH - MARGIN - left) as f64 / (bar * BARS) as f64;
    let right = left + whole((to - from) as f64 * step);
    let x = |at: i64| left + whole((at - from) as f64 * step + step / 2.0);
    let (high, middle) = (top + 46, top + 46 + BAND / 2);
    let inside = |at: i64| (from..to).contains(&at);
    for (first, after, clean) in &picture.rounds {
        let (a, b) = ((*first).max(from), (*after).min(to));
        if a < b && *clean {
            let edge = |at: i64| left + whole((at - from) as f64 * step);
            svg.put(&format!(
                r##"<rect data-clean="{first}" x="{}" y="{high}" width="{}" height="{BAND}" fill="#e8f1f8"/>"##,
                edge(a),
                edge(b) - edge(a)
            ));
        }
    }
    svg.line((left, middle), (right, middle), RULE, 3);
    for edge in [high, high + BAND] {
        svg.line((left, edge), (right, edge), FAINT, 2);
    }
    for at in (from..=to).filter(|s| s.rem_euclid(bar) == 0) {
        let edge = left + whole((at - from) as f64 * step);
        svg.line((edge, high), (edge, high + BAND), INK, 4);
        if inside(at) {
            let number = study.grid.place_of(Steps(at)).bar.to_string();
            svg.text(edge + 8, high - 10, Type::size(COUNT).bold(), &number);
        }
    }
    svg.text(left - 16, high + 24, Type::size(28).fill(QUIET).end(), "early");
    svg.text(left - 16, high + BAND, Type::size(28).fill(QUIET).end(), "late");
    for stroke in picture.strokes.iter().filter(|s| inside(s.step)) {
        let y = middle + whole((stroke.late / REACH).clamp(-1.0, 1.0) * (BAND / 2) as f64);
        let (fill, edge) = if stroke.figure {
            (FIGURE, FIGURE)
        } else {
            (PAPER, INK)
        };
        svg.put(&format!(
            r#"<circle data-step="{}" cx="{}" cy="{y}" r="8" fill="{fill}" stroke="{edge}" stroke-width="3"/>"#,
            stroke.step,
            x(stroke.step)
        ));
    }
    for fault in picture.faults.iter().filter(|f| inside(f.step)) {
        let (cx, y) = (x(fault.step), high + BAND + 26);
        svg.put(&format!(
            r#"<path data-fault="{}" d="M{} {}l24 24m0 -24l-24 24" stroke="{DOUBT}" stroke-width="7"><title>{}</title></path>"#,
            fault.step,
            cx - 12,
            y - 12,
            escape(&fault.words)
        ));
    }
}

fn key(svg: &mut Svg) {
    let y = A4 - 70;
    svg.put(&format!(
        r#"<circle cx="{}" cy="{}" r="8" fill="{FIGURE}"/>"#,
        MARGIN + 12,
        y - 12
    ));
    svg.text(MARGIN + 40, y, Type::size(WORDS), "figure");
    svg.put(&format!(
        r#"<circle cx="{}" cy="{}" r="8" fill="{PAPER}" stroke="{INK}" stroke-width="3"/>"#,
        MARGIN + 232,
        y - 12
    ));
    svg.text(MARGIN + 260, y, Type::size(WORDS), "solo");
    svg.put(&format!(
        r#"<path d="M{} {}l24 24m0 -24l-24 24" stroke="{DOUBT}" stroke-width="7"/>"#,
        MARGIN + 400,
        y - 24
    ));
    svg.text(MARGIN + 444, y, Type::size(WORDS), "something wrong");
    svg.put(&format!(
        r##"<rect x="{}" y="{}" width="60" height="36" fill="#e8f1f8"/>"##,
        MARGIN + 820,
        y - 30
    ));
    svg.text(MARGIN + 896, y, Type::size(WORDS), "a clean round to home");
    svg.text(
        MARGIN + 1390,
        y,
        Type::size(WORDS).fill(QUIET),
        "band: 50 ms to each side",
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::charts::sample;

    #[test]
    fn only_bars_that_were_played_are_drawn() {
        let study = sample::study(&sample::TEN_OVER_SIXTEEN);
        let bar = i64::from(study.grid.steps_per_bar());
        let stroke = |step| TakeStroke {
            step,
            figure: true,
            late: 0.0,
        };
        // From within bar 3 to the first step of bar 8: a line of four bars and one of two.
        let picture = TakePicture {
            strokes: (2 * bar + 3..=7 * bar).map(stroke).collect(),
            ..TakePicture::default()
        };
        let pages = take(&study, &picture);
        assert_eq!(pages.len(), 1);
        let svg = &pages[0].svg;
        let number = |n: i64| svg.contains(&format!(">{n}</text>"));
        let drawn: Vec<i64> = (-2..20).filter(|n| number(*n)).collect();
        assert_eq!(drawn, [3, 4, 5, 6, 7, 8]);
        assert_eq!(svg.matches(">early</text>").count(), 2);
    }
}
