//! The free line by cell: every statement a tile, told apart by colour, by the shape of its ends and by its letters.
//!
//! In: the study. Out: pages of bars as on the grid chart, one row of letters a line: who plays each stroke. A tile
//! bears the letter of its cell and, where a cell has several, the number of the permutation; strokes that no cell
//! explains stand bare. Over each stroke is the sign of its drum.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use super::page::{Heading, Sheet, open_on};
use super::palette::{CELLS, COUNT, DOUBT, FAINT, INK, NUMBER, QUIET, SMALL, WORDS};
use super::score::{LINE_STEPS, Line, Note, Score};
use super::shapes::{self, Weight};
use super::svg::{Svg, Type, whole, width, wrap};
use super::{Chart, ChartKind};
use crate::names::{Layer, Limb, Mark, Voice};
use crate::options::Paper;
use crate::stickings::Cell;
use crate::study::Study;

/// Left of the bars on A4, where the clock stands.
const LEFT: i64 = 190;
/// A phone's line holds at most so many steps: a bar of sixteenths, half a bar of sixteenth-triplets.
const PHONE_STEPS: i64 = 16;
/// Height of a line.
const LINE: i64 = 307;
/// Above the tiles: numbers, and the drums.
const ABOVE: i64 = 172;
/// How large the drums are, and how far over the tiles.
const DRUM: (i64, i64) = (13, 34);
/// Height of a tile.
const TILE: i64 = 84;
/// Room for the legend on A4, from the last line on.
const FOOT: i64 = 430;

/// The letter by which charts name a cell.
pub(super) fn letter(number: usize) -> String {
    char::from_u32('A' as u32 + number as u32 % 26).map_or_else(String::new, String::from)
}

/// A colour and a shape for each cell.
pub(super) fn tile(svg: &mut Svg, number: usize, (x, y): (i64, i64), wide: i64, high: i64) {
    let fill = CELLS[number % CELLS.len()];
    let (w, h, e) = (wide, high, (high / 6).min(wide / 8));
    let half = h / 2;
    let path = match number % 4 {
        0 => format!("M{x} {y}h{w}v{h}h-{w}z"),
        1 => format!(
            "M{} {y}h{}l{e} {half}l-{e} {half}h-{}l-{e} -{half}z",
            x + e,
            w - 2 * e,
            w - 2 * e
        ),
        2 => format!(
            "M{} {y}h{}q{e} 0 {e} {half}q0 {half} -{e} {half}h-{}q-{e} 0 -{e} -{half}q0 -{half} {e} -{half}z",
            x + e,
            w - 2 * e,
            w - 2 * e
        ),
        _ => format!("M{} {y}h{}l-{e} {h}h-{}z", x + e, w - e, w - e),
    };
    svg.put(&format!(
        r#"<path data-cell="{number}" d="{path}" fill="{fill}" stroke="{INK}" stroke-width="3"/>"#
    ));
}

fn is_free(note: &Note) -> bool {
    note.stroke.layer != Some(Layer::Ostinato)
}

/// One statement on the line.
struct Tile {
    cell: usize,
    permutation: u32,
    from: i64,
    to: i64,
}

struct Plan<'a> {
    score: Score<'a>,
    tiles: Vec<Tile>,
    step: f64,
    vocabulary: &'a [Cell],
    sheet: Sheet,
    /// Left of the bars.
    left: i64,
    /// The drums of the free line, those whose signs are alike numbered.
    drums: Vec<(Voice, String)>,
}

/// The drums of the free line. Toms, or rides, have one sign: a number tells them apart.
fn drums(score: &Score) -> Vec<(Voice, String)> {
    let free = score.notes.iter().filter(|note| is_free(note));
    let voices: BTreeSet<Voice> = free.map(|note| note.stroke.hit.voice).collect();
    let alike = |a: Voice, b: Voice| shapes::outline(a, 0, 0, 99) == shapes::outline(b, 0, 0, 99);
    let number = |voice: Voice| {
        let same: Vec<Voice> = voices
            .iter()
            .copied()
            .filter(|other| alike(voice, *other))
            .collect();
        let place = same.iter().position(|other| *other == voice).unwrap_or(0) + 1;
        if same.len() > 1 {
            place.to_string()
        } else {
            String::new()
        }
    };
    voices.iter().map(|voice| (*voice, number(*voice))).collect()
}

/// Draws the free line.
pub(super) fn draw(
    study: &Study,
    bars: Option<&RangeInclusive<i64>>,
    paper: Paper,
    put: &mut dyn FnMut(Chart),
) {
    let score = Score::of(study);
    let sheet = Sheet::of(paper);
    let (left, most) = if sheet.phone {
        (0, PHONE_STEPS)
    } else {
        (LEFT, LINE_STEPS)
    };
    let plan = Plan {
        sheet,
        left,
        step: ((sheet.room() - left) as f64 / score.line_steps(most) as f64).min(100.0),
        tiles: tiles(&study.stickings.vocabulary),
        vocabulary: &study.stickings.vocabulary,
        drums: drums(&score),
        score,
    };
    let lines: Vec<(i64, i64)> = (plan.score.lines(bars, most).into_iter())
        .filter_map(|line| match line {
            Line::Steps(from, to) => Some((from, to)),
            Line::Silent(..) => None,
        })
        .collect();
    let foot = plan.foot(study);
    let fit = ((sheet.most() - sheet.top(study) - foot) / LINE).max(1) as usize;
    let pages: Vec<&[(i64, i64)]> = if lines.is_empty() {
        vec![&[]]
    } else {
        lines.chunks(fit).collect()
    };
    let count = pages.len();
    let chart = |(number, page): (usize, &&[(i64, i64)])| Chart {
        name: format!("{}-{:02}", sheet.name(ChartKind::Solo), number + 1),
        svg: plan.page(study, page, (number + 1, count)),
    };
    pages.iter().enumerate().map(chart).for_each(put);
}

fn tiles(vocabulary: &[Cell]) -> Vec<Tile> {
    let mut all = Vec::new();
    for (cell, found) in vocabulary.iter().enumerate() {
        let length = i64::from(found.steps.max(1));
        for run in &found.r#where {
            let [from, end] = run.steps;
            let starts = (0..i64::from(run.times))
                .map(|n| from.saturating_add(n * length))
                .take_while(|at| *at < end);
            all.extend(starts.map(|from| Tile {
                cell,
                permutation: run.permutation,
                from,
                to: from.saturating_add(length).min(end),
            }));
        }
    }
    all.sort_by_key(|tile| tile.from);
    all
}

impl Plan<'_> {
    fn x(&self, from: i64, at: i64) -> i64 {
        self.sheet.margin + self.left + whole((at - from) as f64 * self.step)
    }

    fn page(&self, study: &Study, lines: &[(i64, i64)], page: (usize, usize)) -> String {
        let (top, foot) = (self.sheet.top(study), self.foot(study));
        let desc = format!(
            "The free line cut into its cells: {}.",
            self.vocabulary
                .iter()
                .enumerate()
                .map(|(n, cell)| format!("{} is {}", letter(n), cell.cell))
                .collect::<Vec<_>>()
                .join(", ")
        );
        let heading = Heading {
            chart: "Free line",
            page,
            desc,
            height: self.sheet.height(top + LINE * lines.len().max(1) as i64 + foot),
        };
        let mut svg = open_on(study, &heading, self.sheet);
        if lines.is_empty() {
            svg.text(
                self.sheet.margin,
                top + 60,
                Type::size(NUMBER).bold(),
                "Nothing is struck here.",
            );
        }
        for (row, (from, to)) in lines.iter().enumerate() {
            self.line(&mut svg, top + LINE * row as i64, *from, *to);
        }
        self.legend(&mut svg, study, heading.height - foot + 85);
        svg.finish()
    }

    fn line(&self, svg: &mut Svg, top: i64, from: i64, to: i64) {
        let y = top + ABOVE;
        let clock = if self.sheet.phone {
            self.sheet.right()
        } else {
            self.x(from, from) - 24
        };
        svg.text(
            clock,
            top + 44,
            Type::size(WORDS).fill(QUIET).end(),
            &self.score.clock(from),
        );
        for step in from..=to {
            let place = self.score.place(step);
            if step.rem_euclid(self.score.bar()) == 0 {
                svg.line(
                    (self.x(from, step), y - 12),
                    (self.x(from, step), y + TILE + 12),
                    INK,
                    5,
                );
            } else if step.rem_euclid(self.score.beat()) == 0 {
                svg.line(
                    (self.x(from, step), y - 8),
                    (self.x(from, step), y + TILE + 8),
                    FAINT,
                    3,
                );
            }
            if step < to && place.step == 1 && !self.score.by_clock {
                let (look, words) = match place.beat {
                    1 => (Type::size(NUMBER).bold(), place.bar),
                    beat => (Type::size(WORDS).fill(QUIET), beat),
                };
                svg.text(self.x(from, step), top + 44, look, &words.to_string());
            }
        }
        let here = self.tiles.iter().filter(|tile| tile.from < to && tile.to > from);
        for one in here {
            let (a, b) = (one.from.max(from), one.to.min(to));
            let left = self.x(from, a) + 2;
            tile(svg, one.cell, (left, y), self.x(from, b) - 4 - left, TILE);
            let several = self
                .vocabulary
                .get(one.cell)
                .is_some_and(|cell| cell.permutations.len() > 1);
            let number = if several {
                (one.permutation + 1).to_string()
            } else {
                String::new()
            };
            svg.text(
                left + 4,
                y + TILE + 36,
                Type::size(COUNT).bold(),
                &format!("{}{number}", letter(one.cell)),
            );
        }
        self.letters(svg, y, from, to);
    }

    /// Who plays each free stroke; an accent stands over it.
    fn letters(&self, svg: &mut Svg, y: i64, from: i64, to: i64) {
        let mut over = (i64::MIN, DRUM.1);
        let free = || self.score.between(from, to).iter().filter(|note| is_free(note));
        for note in free() {
            let at = note.step();
            let x = (self.x(from, at) + self.x(from, at + 1)) / 2;
            let inside = self.tiles.iter().any(|tile| (tile.from..tile.to).contains(&at));
            let (up, word) = match note.stroke.limb {
                Some(Limb::RightHand) => (34, "R"),
                Some(Limb::LeftHand) => (34, "L"),
                Some(Limb::RightFoot | Limb::LeftFoot) => (TILE - 10, "F"),
                None => (34, "?"),
            };
            let look = Type::size(COUNT).middle();
            let look = if inside { look } else { look.fill(DOUBT) };
            let look = if note.stroke.hit.mark == Some(Mark::Accent) {
                look.bold()
            } else {
                look
            };
            // Both hands at once stand side by side.
            let other = |limb| free().any(|o| o.step() == at && o.stroke.limb == Some(limb));
            let aside = (self.x(from, at + 1) - self.x(from, at)) / 4;
            let aside = match note.stroke.limb {
                Some(Limb::RightHand) if other(Limb::LeftHand) => aside,
                Some(Limb::LeftHand) if other(Limb::RightHand) => -aside,
                _ => 0,
            };
            svg.text(x + aside, y + up, look, word);
            // Of what is struck at once one drum stands over the other, its number and accent beside it.
            let above = over.0 == at;
            let (r, high) = (DRUM.0, if above { over.1 } else { DRUM.1 });
            over = (at, high + 2 * r + 10);
            let voice = note.stroke.hit.voice;
            shapes::example(svg, (x, y - high), r, voice, Weight::Alone);
            let number = self
                .drums
                .iter()
                .find(|(own, number)| *own == voice && !number.is_empty());
            if let Some((_, number)) = number {
                let (x, up, look) = if above {
                    (x - r - 4, high - 10, Type::size(SMALL).end())
                } else {
                    over.1 += 20;
                    (x, high + 18, Type::size(SMALL).middle())
                };
                svg.text(x, y - up, look, number);
            }
            if note.stroke.hit.mark == Some(Mark::Accent) {
                let (x, up) = if above {
                    (x + r + 4, high + 6)
                } else {
                    over.1 += 16;
                    (x - 9, over.1 - 20)
                };
                svg.put(&format!(
                    r#"<path d="M{x} {}l18 6l-18 6" fill="none" stroke="{INK}" stroke-width="4"/>"#,
                    y - up
                ));
            }
        }
    }

    /// Room for the legend.
    fn foot(&self, study: &Study) -> i64 {
        if self.sheet.phone {
            self.legend(&mut Svg::new("", (1, 1), "", ""), study, 85) + 40
        } else {
            FOOT
        }
    }

    /// Cells, drums and what is left, from this height on; gives the last line's.
    fn legend(&self, svg: &mut Svg, study: &Study, mut y: i64) -> i64 {
        let (margin, right) = (self.sheet.margin, self.sheet.right());
        svg.line((margin, y - 60), (right, y - 60), INK, 2);
        let mut x = margin;
        for (number, cell) in self.vocabulary.iter().enumerate() {
            let words = format!("{}: {}, {:.0} %", letter(number), cell.cell, cell.share * 100.0);
            let wide = 100 + width(&words, WORDS);
            if x + wide > right && x > margin {
                (x, y) = (margin, y + 64);
            }
            tile(svg, number, (x, y - 36), 70, 46);
            svg.text(x + 86, y, Type::size(WORDS), &words);
            x += wide + 36;
        }
        (x, y) = (margin, y + 64);
        for (voice, number) in &self.drums {
            let words = format!("{number} {}", voice.said());
            let wide = 50 + width(&words, WORDS);
            if x + wide > right && x > margin {
                (x, y) = (margin, y + 60);
            }
            shapes::example(svg, (x + 16, y - 13), DRUM.0, *voice, Weight::Alone);
            svg.text(x + 40, y, Type::size(WORDS), words.trim());
            x += wide + 36;
        }
        let words = match study.stickings.unexplained {
            Some(rest) if !self.vocabulary.is_empty() => format!(
                "strokes in no cell: {:.0} %; number after a letter: permutation; R, L hands, F feet",
                rest * 100.0
            ),
            _ => "No cell was found that comes often enough.".to_owned(),
        };
        y += 66;
        let lines = wrap(&words, WORDS, self.sheet.room());
        for (row, line) in lines.iter().enumerate() {
            svg.text(margin, y + 52 * row as i64, Type::size(WORDS), line);
        }
        y + 52 * (lines.len() as i64 - 1)
    }
}
