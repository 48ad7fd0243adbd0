//! Tempo and share of clean rounds over the takes, with the fitted curve and where it leads.

use super::pattern::write;
use crate::charts::Chart;
use crate::charts::page::{Heading, open};
use crate::charts::palette::{
    COUNT, FAINT, FIGURE, FIGURE_LIGHT, INK, MARGIN, PAPER, QUIET, TOP, WIDTH, WORDS,
};
use crate::charts::svg::{Svg, Type, whole, width};
use crate::study::Study;

/// One take.
#[derive(Debug, Clone, PartialEq)]
pub struct Day {
    /// When, as a date.
    pub date: String,
    /// Tempo as a share of the original's.
    pub tempo: f64,
    /// Clean rounds as a share of those played; `None` when no whole round was.
    pub clean: Option<f64>,
}

/// The fitted curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Its height at each take, from the first.
    pub heights: Vec<f64>,
    /// Where it leads, and the standard error of that; `None` when that cannot be told.
    pub asymptote: Option<(f64, f64)>,
}

/// Height of the page: A4 cut in half.
const HEIGHT: i64 = 1485;
const LEFT: i64 = MARGIN + 130;
const RIGHT: i64 = WIDTH - MARGIN - 60;
const HIGH: i64 = TOP + 60;
const LOW: i64 = HEIGHT - 420;

/// Draws the takes; `answer` is the plain answer.
pub fn progress(study: &Study, days: &[Day], curve: Option<&Curve>, answer: &str) -> Chart {
    let heading = Heading {
        chart: "Progress",
        page: (1, 1),
        desc: format!("{} takes. {answer}", days.len()),
        height: HEIGHT,
    };
    let mut svg = open(study, &heading);
    let top = days
        .iter()
        .map(|d| d.tempo)
        .filter(|t| t.is_finite())
        .fold(1.0, f64::max)
        .min(2.0)
        + 0.05;
    let y = |share: f64| LOW - whole((share / top).clamp(0.0, 1.0) * (LOW - HIGH) as f64);
    let wide = (RIGHT - LEFT) as f64 / days.len().max(2) as f64;
    let x = |n: usize| LEFT + whole((n as f64 + 0.5) * wide);
    for percent in (0..=whole(top * 100.0)).step_by(20) {
        let at = y(percent as f64 / 100.0);
        svg.line(
            (LEFT, at),
            (RIGHT, at),
            if percent == 100 { INK } else { FAINT },
            3,
        );
        svg.text(
            LEFT - 16,
            at + 12,
            Type::size(COUNT).end(),
            &format!("{percent} %"),
        );
    }
    draw_curve(&mut svg, curve, &x, &y);
    // A day of many takes is named once, and only where its name has room.
    let (mut dated, mut free): (Option<&str>, i64) = (None, 0);
    for (n, day) in days.iter().enumerate() {
        if let Some(clean) = day.clean.filter(|c| c.is_finite()) {
            svg.put(&format!(
                r#"<rect data-clean="{clean:.3}" x="{}" y="{}" width="26" height="26" fill="{PAPER}" stroke="{INK}" stroke-width="4"/>"#,
                x(n) - 13,
                y(clean) - 13
            ));
        }
        svg.put(&format!(
            r#"<circle data-tempo="{:.3}" cx="{}" cy="{}" r="14" fill="{FIGURE}"/>"#,
            day.tempo,
            x(n),
            y(day.tempo)
        ));
        let half = width(&day.date, COUNT) / 2;
        if dated != Some(day.date.as_str()) && x(n) - half > free {
            (dated, free) = (Some(day.date.as_str()), x(n) + half + COUNT / 2);
            svg.text(x(n), LOW + 50, Type::size(COUNT).fill(QUIET).middle(), &day.date);
        }
    }
    let foot = write(&mut svg, MARGIN, LOW + 130, Type::size(WORDS).bold(), answer, 92);
    legend(&mut svg, foot + 20, curve);
    Chart {
        name: "progress".to_owned(),
        svg: svg.finish(),
    }
}

fn draw_curve(svg: &mut Svg, curve: Option<&Curve>, x: &dyn Fn(usize) -> i64, y: &dyn Fn(f64) -> i64) {
    let Some(curve) = curve else {
        return;
    };
    if let Some((asymptote, error)) = curve.asymptote {
        let (high, low) = (y(asymptote + error), y(asymptote - error));
        svg.put(&format!(
            r#"<rect x="{LEFT}" y="{high}" width="{}" height="{}" fill="{FIGURE_LIGHT}" fill-opacity="0.35"/>"#,
            RIGHT - LEFT,
            (low - high).max(2)
        ));
        svg.put(&format!(
            r#"<path d="M{LEFT} {}H{RIGHT}" stroke="{FIGURE}" stroke-width="4" stroke-dasharray="16 12"/>"#,
            y(asymptote)
        ));
    }
    let points: Vec<String> = curve
        .heights
        .iter()
        .enumerate()
        .map(|(n, h)| format!("{} {}", x(n), y(*h)))
        .collect();
    if points.len() > 1 {
        svg.put(&format!(
            r#"<path d="M{}" fill="none" stroke="{FIGURE}" stroke-width="5"/>"#,
            points.join("L")
        ));
    }
}

fn legend(svg: &mut Svg, y: i64, curve: Option<&Curve>) {
    svg.put(&format!(
        r#"<circle cx="{}" cy="{}" r="14" fill="{FIGURE}"/>"#,
        MARGIN + 14,
        y - 12
    ));
    svg.text(
        MARGIN + 44,
        y,
        Type::size(WORDS),
        "tempo, as a share of the original's",
    );
    svg.put(&format!(
        r#"<rect x="{}" y="{}" width="26" height="26" fill="{PAPER}" stroke="{INK}" stroke-width="4"/>"#,
        MARGIN + 840,
        y - 25
    ));
    svg.text(MARGIN + 884, y, Type::size(WORDS), "clean rounds, as a share");
    if curve.is_some_and(|c| c.asymptote.is_some()) {
        svg.put(&format!(
            r#"<path d="M{} {}h60" stroke="{FIGURE}" stroke-width="4" stroke-dasharray="16 12"/>"#,
            MARGIN + 1420,
            y - 12
        ));
        svg.text(MARGIN + 1500, y, Type::size(WORDS), "where it leads");
    }
}
