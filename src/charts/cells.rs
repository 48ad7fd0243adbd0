//! A card for each cell: how it is played, how it meets the figure, where it lives.
//!
//! In: the vocabulary. Out: pages of cards, three to a page of A4; on a phone they stand one under the other, as high as
//! they are.

use super::page::{Heading, Sheet, open_on};
use super::palette::{COUNT, FIGURE, INK, NUMBER, QUIET, WORDS};
use super::solo::{letter, tile};
use super::svg::{Svg, Type, shorten, wrap};
use super::words;
use super::{Chart, ChartKind};
use crate::options::Paper;
use crate::stickings::{Cell, Drums, Meeting, Permutation};
use crate::study::Study;

/// What is said where there is no cell.
const NONE: &str = "No cell was found that comes often enough.";
/// Height of a card on A4, and how many a page holds.
const CARD: i64 = 820;
const ON_A_PAGE: usize = 3;
/// Under the last line of a card on a phone.
const BELOW: i64 = 90;
/// So many permutations are written out.
const PERMUTATIONS: usize = 6;
/// So many ways to spread a cell over the drums are told.
const DRUMS: usize = 2;

/// Draws the cards.
pub(super) fn draw(study: &Study, paper: Paper) -> Vec<Chart> {
    let sheet = Sheet::of(paper);
    let top = sheet.top(study);
    let cells: Vec<(usize, &Cell)> = study.stickings.vocabulary.iter().enumerate().collect();
    let on_a_page = if sheet.phone { 1 } else { ON_A_PAGE };
    let pages: Vec<&[(usize, &Cell)]> = if cells.is_empty() {
        vec![&[]]
    } else {
        cells.chunks(on_a_page).collect()
    };
    let count = pages.len();
    let chart = |(number, page): (usize, &&[(usize, &Cell)])| {
        let high = |(n, cell): &(usize, &Cell)| {
            let mut unseen = Svg::new("", (1, 1), "", "");
            Card { sheet, study }.draw(&mut unseen, 0, *n, cell)
        };
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
            height: sheet.height(top + page.iter().map(high).sum::<i64>().max(120)),
        };
        let mut svg = open_on(study, &heading, sheet);
        if page.is_empty() {
            svg.text(sheet.margin, top + 60, Type::size(WORDS).bold(), NONE);
        }
        for (row, (n, cell)) in page.iter().enumerate() {
            Card { sheet, study }.draw(&mut svg, top + CARD * row as i64, *n, cell);
        }
        Chart {
            name: format!("{}-{:02}", sheet.name(ChartKind::Cells), number + 1),
            svg: svg.finish(),
        }
    };
    pages.iter().enumerate().map(chart).collect()
}

/// What a card is drawn on, and from.
struct Card<'a> {
    sheet: Sheet,
    study: &'a Study,
}

impl Card<'_> {
    /// One line, cut where it is too long; on a phone as many lines as it takes. Gives where the next begins.
    fn words(&self, svg: &mut Svg, y: i64, (size, look): (i64, Type), words: &str) -> i64 {
        let mut lines = wrap(words, size, self.sheet.room());
        if !self.sheet.phone && lines.len() > 1 {
            lines.truncate(1);
            lines.iter_mut().for_each(|line| line.push('…'));
        }
        for (row, line) in lines.iter().enumerate() {
            svg.text(self.sheet.margin, y + (size + 12) * row as i64, look, line);
        }
        y + (size + 12) * (lines.len() as i64 - 1)
    }

    /// Draws it and gives its height.
    fn draw(&self, svg: &mut Svg, top: i64, number: usize, cell: &Cell) -> i64 {
        let (margin, right) = (self.sheet.margin, self.sheet.right());
        tile(svg, number, (margin, top), 110, 84);
        let look = Type::size(NUMBER).bold().middle();
        svg.text(margin + 55, top + 60, look, &letter(number));
        svg.text(
            margin + 140,
            top + 60,
            Type::size(68).bold(),
            &shorten(&cell.cell, if self.sheet.phone { 22 } else { 30 }),
        );
        let share = format!(
            "{:.0} % of the free line, {:.0} % with those before",
            cell.share * 100.0,
            cell.together * 100.0
        );
        let name = if cell.name == cell.cell {
            "no rudiment of the list"
        } else {
            &cell.name
        };
        let mut y = top + 126;
        let words = (WORDS, Type::size(WORDS));
        if self.sheet.phone {
            y = self.words(svg, y + 20, words, &share) + 56;
        } else {
            svg.text(right, top + 58, Type::size(WORDS).end(), &share);
        }
        y = self.words(svg, y, (WORDS, Type::size(WORDS).fill(QUIET)), name) + 64;
        y = self.permutations(svg, y, cell) + 12;
        let small = (COUNT, Type::size(COUNT));
        for drums in drums(cell) {
            y = self.words(svg, y, small, &drums) + 50;
        }
        y += 4;
        for meeting in cell.figures.iter().take(2) {
            y = self.meets(svg, y, meeting);
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
        y = self.words(svg, y, small, &format!("lives in bars {}", bars.join(", ")));
        let high = if self.sheet.phone { y - top + BELOW } else { CARD };
        svg.line((margin, top + high - 70), (right, top + high - 70), INK, 2);
        high
    }

    /// Every permutation with how often it comes, how it is begun and where its accents fall: two columns on A4.
    fn permutations(&self, svg: &mut Svg, y: i64, cell: &Cell) -> i64 {
        let columns = if self.sheet.phone { 1 } else { 2 };
        let told = cell.permutations.iter().take(PERMUTATIONS);
        for (n, permutation) in told.enumerate() {
            let x = self.sheet.margin + (n as i64 % columns) * self.sheet.room() / columns;
            let y = y + 56 * (n as i64 / columns);
            let (name, words) = (
                format!("{}  {}", n + 1, permutation.cell),
                permutation_words(n, permutation),
            );
            svg.text(x, y, Type::size(WORDS).bold(), &shorten(&name, 24));
            let most = if self.sheet.phone { 33 } else { 36 };
            svg.text(x + 330, y, Type::size(COUNT), &shorten(&words, most));
        }
        y + 56 * (cell.permutations.len().min(PERMUTATIONS) as i64 + columns - 1).div_euclid(columns)
    }
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

impl Card<'_> {
    /// The steps of the figure, those marked on which the cell begins in this solo.
    fn meets(&self, svg: &mut Svg, y: i64, meeting: &Meeting) -> i64 {
        let figure = self.study.cycles.get(meeting.figure as usize);
        let steps = figure.map_or(0, |cycle| cycle.length_steps);
        let text = format!(
            "against the figure of {steps}: home after {} steps, {}; begins here on",
            meeting.home_steps,
            words::count(meeting.alignments, "alignment")
        );
        let y = self.words(svg, y, (COUNT, Type::size(COUNT)), &text);
        let room = (self.sheet.room() / i64::from(steps.max(1))).min(70);
        for step in 1..=steps.min(100) {
            let x = self.sheet.margin + 20 + room * i64::from(step - 1);
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
}
