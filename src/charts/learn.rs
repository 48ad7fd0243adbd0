//! How much of the free line each cell opens, as a staircase in the order in which to learn them.
//!
//! In: the vocabulary. Out: one page of half A4; a stair for each cell, as high as all cells up to it explain.

use super::page::{Heading, open};
use super::palette::{COUNT, FAINT, INK, MARGIN, QUIET, TOP, WIDTH, WORDS};
use super::solo::{letter, tile};
use super::svg::{Type, shorten, whole};
use super::{Chart, ChartKind};
use crate::study::Study;

/// Height of the page: A4 cut in half.
const HEIGHT: i64 = 1485;
/// Room left of the stairs for the scale.
const SCALE: i64 = 130;
/// So many stairs fit.
const MOST: usize = 12;

/// Draws the staircase.
pub(super) fn draw(study: &Study) -> Chart {
    let cells = &study.stickings.vocabulary;
    let said = match cells.get(..3.min(cells.len())).and_then(<[_]>::last) {
        None => "No cell was found that comes often enough.".to_owned(),
        Some(last) if cells.len() == 1 => {
            format!("With this cell: {:.0} % of the free line.", last.together * 100.0)
        }
        Some(last) => format!(
            "With the first {}: {:.0} % of the free line.",
            cells.len().min(3),
            last.together * 100.0
        ),
    };
    let heading = Heading {
        chart: "Learn first",
        page: (1, 1),
        desc: said.clone(),
        height: HEIGHT,
    };
    let mut svg = open(study, &heading);
    svg.text(MARGIN, TOP + 40, Type::size(WORDS).bold(), &said);
    let (top, foot) = (TOP + 110, HEIGHT - 330);
    let left = MARGIN + SCALE;
    let y = |share: f64| foot - whole((foot - top) as f64 * share.clamp(0.0, 1.0));
    for percent in [0, 25, 50, 75, 100] {
        let at = y(f64::from(percent) / 100.0);
        svg.line((left, at), (WIDTH - MARGIN, at), FAINT, 3);
        svg.text(
            left - 20,
            at + 13,
            Type::size(WORDS).fill(QUIET).end(),
            &format!("{percent} %"),
        );
    }
    let wide = (WIDTH - MARGIN - left) / cells.len().clamp(1, MOST) as i64;
    let mut before = 0.0;
    for (number, cell) in cells.iter().take(MOST).enumerate() {
        let x = left + wide * number as i64;
        let (high, low) = (y(cell.together), y(before));
        if low - high >= 8 {
            tile(&mut svg, number, (x + 8, high), wide - 16, low - high);
        }
        svg.line((x, high), (x + wide, high), INK, 6);
        svg.text(
            x + wide / 2,
            high - 20,
            Type::size(WORDS).bold().middle(),
            &format!("{:.0} %", cell.together * 100.0),
        );
        let letters = (wide / (WORDS / 2 + 2)).max(3) as usize;
        svg.text(
            x + wide / 2,
            foot + 56,
            Type::size(WORDS).bold().middle(),
            &letter(number),
        );
        svg.text(
            x + wide / 2,
            foot + 106,
            Type::size(COUNT).middle(),
            &shorten(&cell.cell, letters),
        );
        let opens = match cell.opens.len() {
            0 => "no bar alone".to_owned(),
            1 => "opens 1 bar".to_owned(),
            bars => format!("opens {bars} bars"),
        };
        svg.text(
            x + wide / 2,
            foot + 152,
            Type::size(COUNT).fill(QUIET).middle(),
            &shorten(&opens, letters),
        );
        before = cell.together;
    }
    svg.text(
        MARGIN,
        HEIGHT - 90,
        Type::size(WORDS),
        "Height: share of the free line's strokes that this cell and those before it explain.",
    );
    Chart {
        name: ChartKind::Learn.to_string(),
        svg: svg.finish(),
    }
}
