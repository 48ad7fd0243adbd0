//! The plan from the present tempo to the target, with boxes to tick.

use super::caution;
use super::pattern::write;
use crate::charts::Chart;
use crate::charts::page::{Heading, open};
use crate::charts::palette::{A4, COUNT, FIGURE, INK, MARGIN, QUIET, RULE, TOP, WIDTH, WORDS};
use crate::charts::svg::{Svg, Type};
use crate::study::Study;

/// One line of the plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Rung {
    /// Rounds at a tempo: the tempo, what the rounds are, how long one lasts, boxes to tick.
    Rounds {
        /// `76 bpm`.
        tempo: String,
        /// `66 % of the target`, `full tempo`.
        words: String,
        /// `16.8 s a round`.
        length: String,
        /// Clean rounds to tick.
        boxes: u32,
    },
    /// A rest.
    Rest(String),
}

const ROW: i64 = 62;
const LETTERS: usize = 98;

/// Draws the plan on as many pages as it needs; `rules` are printed above it.
pub fn ladder(study: &Study, rungs: &[Rung], rules: &[String]) -> Vec<Chart> {
    let words: i64 = rules
        .iter()
        .map(|r| super::pattern::broken(r, LETTERS).len() as i64)
        .sum();
    let first = A4 - TOP - caution::height() - 80 - words * super::pattern::LEADING - 120;
    let (first, others) = ((first / ROW).max(1) as usize, ((A4 - TOP - 140) / ROW) as usize);
    let (head, tail) = rungs.split_at(first.min(rungs.len()));
    let mut pages: Vec<&[Rung]> = vec![head];
    pages.extend(tail.chunks(others));
    let count = pages.len();
    let page = |(i, rungs): (usize, &&[Rung])| {
        let heading = Heading {
            chart: "Ladder",
            page: (i + 1, count),
            desc: "A plan of tempos with boxes to tick for clean rounds.".to_owned(),
            height: A4,
        };
        let mut svg = open(study, &heading);
        let mut y = TOP;
        if i == 0 {
            caution::draw(&mut svg, y);
            y += caution::height() + 70;
            for rule in rules {
                y = write(&mut svg, MARGIN, y, Type::size(WORDS), rule, LETTERS);
            }
        }
        for (n, rung) in rungs.iter().enumerate() {
            draw(&mut svg, y + 20 + ROW * n as i64, rung);
        }
        Chart {
            name: if count == 1 {
                "ladder".to_owned()
            } else {
                format!("ladder-{:02}", i + 1)
            },
            svg: svg.finish(),
        }
    };
    pages.iter().enumerate().map(page).collect()
}

fn draw(svg: &mut Svg, top: i64, rung: &Rung) {
    let base = top + 44;
    svg.line((MARGIN, top + ROW), (WIDTH - MARGIN, top + ROW), RULE, 2);
    match rung {
        Rung::Rest(words) => svg.text(MARGIN, base, Type::size(WORDS).fill(FIGURE), words),
        Rung::Rounds {
            tempo,
            words,
            length,
            boxes,
        } => {
            svg.text(MARGIN, base, Type::size(WORDS).bold(), tempo);
            svg.text(MARGIN + 270, base, Type::size(WORDS), words);
            svg.text(MARGIN + 870, base, Type::size(WORDS).fill(QUIET), length);
            for n in 0..i64::from((*boxes).min(10)) {
                let x = MARGIN + 1290 + 60 * n;
                svg.put(&format!(
                    r#"<rect x="{x}" y="{}" width="40" height="40" fill="none" stroke="{INK}" stroke-width="4"/>"#,
                    top + 12
                ));
            }
            svg.text(
                WIDTH - MARGIN,
                base,
                Type::size(COUNT).fill(QUIET).end(),
                "date ________",
            );
        }
    }
}
