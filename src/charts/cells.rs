//! A card for each cell: how it is played, how it meets the figure, where it lives.
//!
//! In: the vocabulary. Out: pages of cards, three to a page.

use super::page::{Heading, open};
use super::palette::{A4, COUNT, FIGURE, INK, MARGIN, NUMBER, QUIET, TOP, WIDTH, WORDS};
use super::solo::{letter, tile};
use super::svg::{Svg, Type, shorten};
use super::words;
use super::{Chart, ChartKind};
use crate::stickings::{Cell, Drums, Meeting, Permutation};
use crate::study::Study;

/// What is said where there is no cell.
const NONE: &str = "No cell was found that comes often enough.";
/// Height of a card, and how many a page holds.
const CARD: i64 = 820;
const ON_A_PAGE: usize = 3;
/// So many permutations are written out.
const PERMUTATIONS: usize = 6;
/// Letters that fit into a line of words, and into one beside the permutations.
const ACROSS: usize = 88;
/// The same for smaller words.
const IN_WORDS: usize = 104;
/// So many ways to spread a cell over the drums are told.
const DRUMS: usize = 2;

/// Draws the cards.
pub(super) fn draw(study: &Study) -> Vec<Chart> {
    let cells: Vec<(usize, &Cell)> = study.stickings.vocabulary.iter().enumerate().collect();
    let pages: Vec<&[(usize, &Cell)]> = if cells.is_empty() {
        vec![&[]]
    } else {
        cells.chunks(ON_A_PAGE).collect()
    };
    let count = pages.len();
    let chart = |(number, page): (usize, &&[(usize, &Cell)])| {
        let heading = Heading {
            chart: "Cells",
            page: (number + 1, count),
            desc: if page.is_empty() {
                NONE.to_owned()
            } else {
                let named = page
                    .iter()
                    .map(|(n, cell)| format!("{}: {}", letter(*n), cell.cell));
                named.collect::<Vec<_>>().join(", ")
            },
            height: A4,
        };
        let mut svg = open(study, &heading);
        if page.is_empty() {
            svg.text(MARGIN, TOP + 60, Type::size(WORDS).bold(), NONE);
        }
        for (row, (n, cell)) in page.iter().enumerate() {
            card(&mut svg, study, TOP + CARD * row as i64, *n, cell);
        }
        Chart {
            name: format!("{}-{:02}", ChartKind::Cells, number + 1),
            svg: svg.finish(),
        }
    };
    pages.iter().enumerate().map(chart).collect()
}

fn card(svg: &mut Svg, study: &Study, top: i64, number: usize, cell: &Cell) {
    tile(svg, number, (MARGIN, top), 110, 84);
    svg.text(
        MARGIN + 55,
        top + 60,
        Type::size(NUMBER).bold().middle(),
        &letter(number),
    );
    svg.text(
        MARGIN + 140,
        top + 60,
        Type::size(68).bold(),
        &shorten(&cell.cell, 30),
    );
    let share = format!(
        "{:.0} % of the free line, {:.0} % with those before",
        cell.share * 100.0,
        cell.together * 100.0
    );
    svg.text(WIDTH - MARGIN, top + 58, Type::size(WORDS).end(), &share);
    let name = if cell.name == cell.cell {
        "no rudiment of the list".to_owned()
    } else {
        cell.name.clone()
    };
    let mut y = top + 126;
    svg.text(MARGIN, y, Type::size(WORDS).fill(QUIET), &shorten(&name, ACROSS));
    y += 64;
    for (n, permutation) in cell.permutations.iter().take(PERMUTATIONS).enumerate() {
        let (x, row) = (MARGIN + (n as i64 % 2) * (WIDTH - 2 * MARGIN) / 2, n as i64 / 2);
        let words = permutation_words(n, permutation);
        svg.text(
            x,
            y + 56 * row,
            Type::size(WORDS).bold(),
            &shorten(&format!("{}  {}", n + 1, permutation.cell), 24),
        );
        svg.text(x + 330, y + 56 * row, Type::size(COUNT), &shorten(&words, 36));
    }
    y += 56 * (cell.permutations.len().min(PERMUTATIONS) as i64 + 1).div_euclid(2) + 12;
    for drums in drums(cell) {
        svg.text(MARGIN, y, Type::size(COUNT), &shorten(&drums, IN_WORDS));
        y += 50;
    }
    y += 4;
    for meeting in cell.figures.iter().take(2) {
        y = meets(svg, study, y, meeting);
    }
    let bars: Vec<String> = (cell.r#where.iter())
        .map(|run| {
            if run.start.bar == run.end.bar {
                run.start.bar.to_string()
            } else {
                format!("{}-{}", run.start.bar, run.end.bar)
            }
        })
        .collect();
    svg.text(
        MARGIN,
        y,
        Type::size(COUNT),
        &shorten(&format!("lives in bars {}", bars.join(", ")), IN_WORDS),
    );
    svg.line(
        (MARGIN, top + CARD - 70),
        (WIDTH - MARGIN, top + CARD - 70),
        INK,
        2,
    );
}

/// The drums that carry a cell, a line for each of those played most.
fn drums(cell: &Cell) -> Vec<String> {
    let line = |(n, drums): (usize, &Drums)| {
        let limbs: Vec<String> = (drums.limbs.iter())
            .map(|(limb, voices)| format!("{limb} {}", words::voices(voices)))
            .collect();
        let rest: u32 = match n + 1 == DRUMS {
            true => cell.drums.iter().skip(DRUMS).map(|drums| drums.times).sum(),
            false => 0,
        };
        let rest = match rest {
            0 => String::new(),
            rest => format!("; on other drums {}", words::count(rest, "time")),
        };
        format!(
            "{}: {}{rest}",
            words::count(drums.times, "time"),
            limbs.join(", ")
        )
    };
    cell.drums.iter().take(DRUMS).enumerate().map(line).collect()
}

fn permutation_words(number: usize, permutation: &Permutation) -> String {
    let accents: Vec<String> = (permutation.accents.iter())
        .filter(|accents| !accents.on.is_empty())
        .take(3)
        .map(|accents| {
            accents
                .on
                .iter()
                .map(u32::to_string)
                .collect::<Vec<_>>()
                .join("+")
        })
        .collect();
    let begun = match (number, permutation.mirror) {
        (0, _) => String::new(),
        (_, false) => format!(", begun on {}", permutation.begins),
        (_, true) => format!(", mirror begun on {}", permutation.begins),
    };
    let accents = if accents.is_empty() {
        String::new()
    } else {
        format!(", accents on {}", accents.join(" or "))
    };
    format!("{}{begun}{accents}", words::count(permutation.times, "time"))
}

/// The steps of the figure, those marked on which the cell begins in this solo.
fn meets(svg: &mut Svg, study: &Study, y: i64, meeting: &Meeting) -> i64 {
    let steps = study
        .cycles
        .get(meeting.figure as usize)
        .map_or(0, |cycle| cycle.length_steps);
    let text = format!(
        "against the figure of {steps}: home after {} steps, {}; begins here on",
        meeting.home_steps,
        words::count(meeting.alignments, "alignment")
    );
    svg.text(MARGIN, y, Type::size(COUNT), &text);
    let room = ((WIDTH - 2 * MARGIN) / i64::from(steps.max(1))).min(70);
    for step in 1..=steps.min(100) {
        let x = MARGIN + 20 + room * i64::from(step - 1);
        let used = meeting.used.contains(&step);
        let look = Type::size(COUNT).middle();
        let look = if used {
            look.bold().fill(FIGURE)
        } else {
            look.fill(QUIET)
        };
        if room >= 40 || used {
            svg.text(x, y + 52, look, &step.to_string());
        }
        if used {
            svg.line((x - 18, y + 62), (x + 18, y + 62), FIGURE, 6);
        }
    }
    y + 116
}
