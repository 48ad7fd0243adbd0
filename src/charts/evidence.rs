//! How many bits every length tried would save over the best account by the bar.
//!
//! In: the lengths tried. Out: one page of half A4. The graph is plotted by plotters, which knows scales and axes, at
//! a scale of tenths of a millimetre; its marks are then set into a page like every other chart's.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::page::{Heading, open};
use super::palette::{COUNT, FACE, FIGURE, FIGURE_LIGHT, INK, MARGIN, QUIET, RULE, TOP, WIDTH, WORDS};
use super::svg::{Svg, Type, whole, width};
use super::words;
use super::{Chart, ChartKind};
use crate::study::Study;

/// Height of the page: A4 cut in half.
const HEIGHT: i64 = 1485;
/// The graph's size.
const GRAPH: (u32, u32) = ((WIDTH - 2 * MARGIN) as u32, 730);
/// How many rivals are named.
const RIVALS: usize = 3;
/// Bars that cost more than this share of what the best one saves are cut at the foot of the graph.
const DEEPEST: f64 = 0.3;
/// The graph reaches up to at least so many bits, so that a few do not look like much [M].
const LEAST: f64 = 40.0;
/// Room that a label needs around it.
const LABEL: (i32, i32) = (84, 44);
/// plotters writes its sizes divided by this.
const TYPE_SCALE: f64 = 1.24;

/// How a length stands to the winner.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    Winner,
    /// A multiple of the winner's length: it repeats the figure twice or more, so it must save something too.
    Multiple(u32),
    /// Among the best of the rest.
    Rival,
    Other,
}

impl Rank {
    fn fill(self) -> &'static str {
        match self {
            Rank::Winner => FIGURE,
            Rank::Multiple(_) => FIGURE_LIGHT,
            Rank::Rival => INK,
            Rank::Other => RULE,
        }
    }
}

/// A length, its bits and its rank.
#[derive(Debug, Clone, Copy)]
struct Length {
    steps: u32,
    bits: f64,
    rank: Rank,
}

/// Draws the evidence.
pub(super) fn draw(study: &Study) -> Chart {
    let lengths = rank(study);
    let heading = Heading {
        chart: "Evidence",
        page: (1, 1),
        desc: verdict(&lengths),
        height: HEIGHT,
    };
    let mut svg = open(study, &heading);
    let title = "Bits that every length saves over the best account by the bar";
    svg.text(MARGIN, TOP + 40, Type::size(WORDS).bold(), title);
    if lengths.is_empty() {
        svg.text(
            MARGIN,
            TOP + 130,
            Type::size(WORDS),
            "No length was tried: too few strokes lie on a grid.",
        );
    } else {
        svg.open(&format!(r#"transform="translate({MARGIN} {})""#, TOP + 70));
        plot(&mut svg, &lengths);
        svg.close();
        svg.text(MARGIN, HEIGHT - 210, Type::size(WORDS), &verdict(&lengths));
        if let Some(cycle) = study.cycles.first() {
            let shuffled = match of(cycle.chance, 1000.0) {
                0 => "never in 1000".to_owned(),
                1 => "once in 1000".to_owned(),
                times => format!("{times} times in 1000"),
            };
            let words = format!(
                "{} of 100 expected notes are there. Shuffled music did as well {shuffled}.",
                of(cycle.kept, 100.0),
            );
            svg.text(MARGIN, HEIGHT - 154, Type::size(WORDS), &words);
        }
        legend(&mut svg, &lengths);
    }
    Chart {
        name: ChartKind::Evidence.to_string(),
        svg: svg.finish(),
    }
}

/// A share as so many of that many.
fn of(share: f64, all: f64) -> i64 {
    whole(share.clamp(0.0, 1.0) * all)
}

/// Every length with its rank, rising.
fn rank(study: &Study) -> Vec<Length> {
    let winner = study
        .cycles
        .first()
        .map(|cycle| cycle.length_steps)
        .filter(|&steps| steps > 0);
    let mut lengths: Vec<Length> = study
        .lengths
        .iter()
        .filter(|tried| tried.bits.0.is_finite())
        .map(|tried| Length {
            steps: tried.steps,
            bits: tried.bits.0.clamp(-1e9, 1e9),
            rank: match winner {
                Some(steps) if steps == tried.steps => Rank::Winner,
                Some(steps) if tried.steps.is_multiple_of(steps) => Rank::Multiple(tried.steps / steps),
                _ => Rank::Other,
            },
        })
        .collect();
    if let Some(cycle) = study
        .cycles
        .first()
        .filter(|cycle| cycle.length_steps > 0 && cycle.bits.0.is_finite())
        && lengths.iter().all(|length| length.rank != Rank::Winner)
    {
        lengths.push(Length {
            steps: cycle.length_steps,
            bits: cycle.bits.0.clamp(-1e9, 1e9),
            rank: Rank::Winner,
        });
    }
    lengths.sort_by_key(|length| length.steps);
    let mut others: Vec<&mut Length> = lengths
        .iter_mut()
        .filter(|length| length.rank == Rank::Other && length.bits > 0.0)
        .collect();
    others.sort_by(|a, b| b.bits.total_cmp(&a.bits));
    for length in others.into_iter().take(RIVALS) {
        length.rank = Rank::Rival;
    }
    lengths
}

/// What the graph says, in a sentence or two.
fn verdict(lengths: &[Length]) -> String {
    let best = |wanted: fn(Rank) -> bool| {
        lengths
            .iter()
            .filter(|length| wanted(length.rank))
            .max_by(|a, b| a.bits.total_cmp(&b.bits))
    };
    let told = |length: &Length| format!("{}, {:.0} bits", words::count(length.steps, "step"), length.bits);
    let rival = best(|rank| rank == Rank::Rival);
    match (best(|rank| rank == Rank::Winner), rival) {
        (Some(winner), Some(rival)) => {
            format!(
                "Found: {}. The best length that is no multiple of it: {}.",
                told(winner),
                told(rival)
            )
        }
        (Some(winner), None) => format!(
            "Found: {}. No length but its multiples saves anything.",
            told(winner)
        ),
        (None, Some(rival)) => format!(
            "No figure was found. The best length: {}: too little.",
            told(rival)
        ),
        (None, None) => "No figure was found. No length saves anything.".to_owned(),
    }
}

fn colour(hex: &str) -> RGBColor {
    let part = |at: usize| {
        hex.get(at..at + 2)
            .and_then(|two| u8::from_str_radix(two, 16).ok())
            .unwrap_or(0)
    };
    RGBColor(part(1), part(3), part(5))
}

fn type_of(size: i64, fill: &str) -> TextStyle<'static> {
    (FACE, size as f64 * TYPE_SCALE).into_font().color(&colour(fill))
}

/// Whole numbers only: there is no half step, and bits are read to the bit.
fn whole_label(value: &f64) -> String {
    if (value - value.round()).abs() < 1e-6 {
        format!("{}", value.round() as i64)
    } else {
        String::new()
    }
}

/// Plots the bars and sets what plotters wrote, without its outer element, into the page: one element a line.
fn plot(svg: &mut Svg, lengths: &[Length]) {
    let mut written = String::new();
    let drawn = draw_bars(&mut written, lengths);
    let inner = written
        .split_once('>')
        .and_then(|(_, rest)| rest.rsplit_once("</svg>"))
        .map(|(inner, _)| inner);
    let (Ok(()), Some(inner)) = (drawn, inner) else {
        svg.text(0, 60, Type::size(WORDS), "The graph could not be drawn.");
        return;
    };
    let mut element = String::new();
    for line in inner.lines() {
        element.push_str(line);
        // plotters gives words a line of their own.
        if element.ends_with("/>") || element.ends_with("</text>") {
            svg.put(&std::mem::take(&mut element));
        }
    }
}

fn draw_bars(written: &mut String, lengths: &[Length]) -> Result<(), Box<dyn std::error::Error>> {
    let first = lengths.first().map_or(0, |length| length.steps);
    let last = lengths.last().map_or(1, |length| length.steps);
    let (top, foot) = reach(lengths);
    let root = SVGBackend::with_string(written, GRAPH).into_drawing_area();
    let mut chart = ChartBuilder::on(&root)
        .margin_top(20)
        .x_label_area_size(110)
        .y_label_area_size(150)
        .build_cartesian_2d(f64::from(first) - 0.8..f64::from(last) + 0.8, foot..top)?;
    chart
        .configure_mesh()
        .disable_x_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(colour(super::palette::FAINT).stroke_width(2))
        .axis_style(colour(INK).stroke_width(3))
        .x_labels(14)
        .y_labels(6)
        .x_label_formatter(&whole_label)
        .y_label_formatter(&whole_label)
        .label_style(type_of(COUNT, INK))
        .axis_desc_style(type_of(WORDS, QUIET))
        .x_desc("length in steps")
        .y_desc("bits saved")
        .draw()?;
    chart.draw_series(lengths.iter().map(|length| {
        let x = f64::from(length.steps);
        let half = if length.rank == Rank::Winner { 0.45 } else { 0.3 };
        Rectangle::new(
            [(x - half, 0.0), (x + half, length.bits.max(foot))],
            colour(length.rank.fill()).filled(),
        )
    }))?;
    let zero = [(f64::from(first) - 0.8, 0.0), (f64::from(last) + 0.8, 0.0)];
    chart.draw_series(LineSeries::new(zero, colour(INK).stroke_width(4)))?;
    let mut labelled: Vec<(i32, i32)> = Vec::new();
    let mut ranked: Vec<&Length> = lengths
        .iter()
        .filter(|length| length.rank != Rank::Other)
        .collect();
    ranked.sort_by_key(|length| length.rank);
    for length in ranked {
        let at = (f64::from(length.steps), length.bits.max(0.0));
        let (x, y) = chart.backend_coord(&at);
        if labelled
            .iter()
            .any(|(a, b)| (a - x).abs() < LABEL.0 && (b - y).abs() < LABEL.1)
        {
            continue;
        }
        labelled.push((x, y));
        let (words, style) = match length.rank {
            Rank::Winner => (length.steps.to_string(), bold(WORDS, FIGURE)),
            Rank::Multiple(times) => (format!("×{times}"), type_of(COUNT, FIGURE)),
            _ => (length.steps.to_string(), bold(COUNT, INK)),
        };
        let style = style.pos(Pos::new(HPos::Center, VPos::Bottom));
        chart.draw_series([EmptyElement::at(at) + Text::new(words, (0, -6), style)])?;
    }
    root.present()?;
    Ok(())
}

fn bold(size: i64, fill: &str) -> TextStyle<'static> {
    (FACE, size as f64 * TYPE_SCALE, FontStyle::Bold)
        .into_font()
        .color(&colour(fill))
}

/// The top and the foot of the graph in bits.
fn reach(lengths: &[Length]) -> (f64, f64) {
    let most = lengths.iter().map(|length| length.bits).fold(LEAST, f64::max);
    let least = lengths.iter().map(|length| length.bits).fold(0.0, f64::min);
    (most * 1.15, (least * 1.1).max(-most * DEEPEST))
}

fn legend(svg: &mut Svg, lengths: &[Length]) {
    let y = HEIGHT - 70;
    let mut x = MARGIN;
    let (_, foot) = reach(lengths);
    let found = lengths.iter().any(|length| length.rank == Rank::Winner);
    let entries: &[(Rank, &str)] = if found {
        &[
            (Rank::Winner, "the figure's length"),
            (Rank::Multiple(2), "its multiples"),
            (Rank::Rival, "best of the rest"),
            (Rank::Other, "others"),
        ]
    } else {
        &[(Rank::Rival, "best lengths"), (Rank::Other, "others")]
    };
    for &(rank, words) in entries {
        svg.put(&format!(
            r#"<rect x="{x}" y="{}" width="24" height="36" fill="{}"/>"#,
            y - 32,
            rank.fill()
        ));
        svg.text(x + 40, y, Type::size(WORDS), words);
        x += 90 + width(words, WORDS);
    }
    if lengths.iter().any(|length| length.bits < foot) {
        svg.text(x, y, Type::size(WORDS).fill(QUIET), "cut at the foot");
    }
}
