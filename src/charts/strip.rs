//! The whole recording on a strip: figures as blocks over the bars, repeats that are not whole marked.
//!
//! In: the study. Out: pages of A4. A line holds sixteen bars whatever the recording's length, so that recordings can
//! be laid beside each other; every figure has a lane of its own, the best one on top.

use super::page::{Heading, home_sign, open};
use super::palette::{A4, COUNT, DOUBT, FAINT, FIGURE, FOOT, INK, MARGIN, PAPER, QUIET, TOP, WIDTH, WORDS};
use super::score::{Repeat, Score, is_home, repeats};
use super::svg::{Svg, Type, whole, width};
use super::{Chart, ChartKind, words};
use crate::cycles::Cycle;
use crate::study::Study;

/// Bars in a line.
const BARS: i64 = 16;
/// Figures shown.
const FIGURES: usize = 4;
/// Height of a figure's lane, and of its blocks.
const LANE: i64 = 64;
const BLOCK: i64 = 44;
/// Above the lanes: bar numbers and clock time. Below: space.
const ABOVE: i64 = 62;
const SPACE: i64 = 40;
/// Lines of a strip at most: an edited study may name any bar.
const MOST_LINES: i64 = 2000;

struct Plan<'a> {
    score: Score<'a>,
    figures: Vec<(&'a Cycle, Vec<Repeat>)>,
    first: i64,
    last: i64,
    lines: i64,
}

/// Draws the strip.
pub(super) fn draw(study: &Study) -> Vec<Chart> {
    let score = Score::of(study);
    let shown = study
        .cycles
        .iter()
        .filter(|c| c.length_steps > 0 && !score.by_clock)
        .take(FIGURES);
    let figures: Vec<_> = shown.map(|cycle| (cycle, repeats(cycle, &score))).collect();
    let bars = |step: i64| score.bar_of(step);
    let first = score.notes.first().map_or(1, |n| bars(n.step()));
    let last = score.notes.last().map_or(first, |n| bars(n.step()));
    let lines = ((last - first) / BARS + 1).clamp(1, MOST_LINES);
    let plan = Plan {
        score,
        figures,
        first,
        last,
        lines,
    };
    let each = (A4 - TOP - FOOT - 80) / plan.line_height();
    let pages = lines.div_euclid(each.max(1)) + i64::from(lines.rem_euclid(each.max(1)) > 0);
    (0..pages.max(1))
        .map(|page| plan.page(study, page, pages.max(1), each.max(1)))
        .collect()
}

impl Plan<'_> {
    fn lanes(&self) -> i64 {
        self.figures.len().max(1) as i64
    }

    fn line_height(&self) -> i64 {
        ABOVE + LANE * self.lanes() + SPACE
    }

    fn page(&self, study: &Study, page: i64, pages: i64, each: i64) -> Chart {
        let lines = (self.lines - page * each).min(each);
        let height = if pages > 1 {
            A4
        } else {
            TOP + 80 + self.line_height() * lines + FOOT
        };
        let heading = Heading {
            chart: "Strip",
            page: (page as usize + 1, pages as usize),
            desc: "Figures as blocks over the bars of the whole recording.".to_owned(),
            height,
        };
        let mut svg = open(study, &heading);
        let title = match self.figures.len() {
            0 => "No figure was found; the bars and their times".to_owned(),
            _ => format!("The whole recording, {BARS} bars a line, one block a cycle"),
        };
        svg.text(MARGIN, TOP + 30, Type::size(WORDS).bold(), &title);
        for line in 0..lines {
            self.line(&mut svg, page * each + line, TOP + 80 + self.line_height() * line);
        }
        self.legend(&mut svg, height);
        let name = match page {
            0 => ChartKind::Strip.to_string(),
            _ => format!("{}-{:02}", ChartKind::Strip, page + 1),
        };
        Chart {
            name,
            svg: svg.finish(),
        }
    }

    /// Steps to tenths of a millimetre.
    fn x(&self, step: i64, from: i64) -> i64 {
        let wide = (WIDTH - 2 * MARGIN) as f64;
        MARGIN + whole((step - from) as f64 * wide / (BARS * self.score.bar()).max(1) as f64)
    }

    fn line(&self, svg: &mut Svg, line: i64, y: i64) {
        let bar = self.first + line * BARS;
        let bars = (self.last - bar + 1).clamp(1, BARS);
        let (from, to) = (self.score.bar_start(bar), self.score.bar_start(bar + bars));
        let (top, low) = (y + ABOVE, y + ABOVE + LANE * self.lanes());
        for b in 0..=bars {
            let x = self.x(self.score.bar_start(bar + b), from);
            let ends = b % 4 == 0 || b == bars;
            svg.line((x, top - 8), (x, low), if ends { INK } else { FAINT }, 3);
            if b < bars && b % 4 == 0 {
                let look = Type::size(COUNT).bold();
                let number = format!("bar {}", bar + b);
                svg.text(x + 6, top - 16, look, &number);
                let clock = self.score.clock(self.score.bar_start(bar + b));
                svg.text(
                    x + 24 + width(&number, COUNT),
                    top - 16,
                    Type::size(COUNT).fill(QUIET),
                    &clock,
                );
            }
        }
        svg.line((MARGIN, low), (self.x(to, from), low), INK, 3);
        for (lane, (cycle, repeats)) in self.figures.iter().enumerate() {
            let at = top + LANE * lane as i64 + (LANE - BLOCK) / 2;
            let inside = repeats.iter().filter(|r| r.from < to && r.to > from);
            for repeat in inside {
                self.block(svg, cycle, repeat, (from, to), at);
            }
        }
    }

    /// One cycle: filled and hollow by turns; one that is not whole is struck through.
    fn block(&self, svg: &mut Svg, cycle: &Cycle, repeat: &Repeat, (from, to): (i64, i64), y: i64) {
        let (a, b) = (
            self.x(repeat.from.max(from), from),
            self.x(repeat.to.min(to), from),
        );
        let fill = if repeat.number % 2 == 1 { FIGURE } else { PAPER };
        svg.put(&format!(
            r#"<rect x="{a}" y="{y}" width="{}" height="{BLOCK}" fill="{fill}" stroke="{FIGURE}" stroke-width="3"/>"#,
            (b - a).max(2)
        ));
        if cycle.broken.iter().any(|broken| broken.repeat == repeat.number) {
            svg.line((a, y + BLOCK + 6), (b, y - 6), DOUBT, 5);
        }
        if repeat.from >= from && is_home(cycle, &self.score, repeat) {
            home_sign(svg, a + 22, y + 16);
        }
    }

    fn legend(&self, svg: &mut Svg, height: i64) {
        let y = height - FOOT + 85;
        svg.line((MARGIN, y - 60), (WIDTH - MARGIN, y - 60), INK, 2);
        let mut at = y;
        for (cycle, _) in &self.figures {
            let words = format!(
                "lane: {}, {}",
                words::count(cycle.length_steps, "step"),
                words::voices(&cycle.voices)
            );
            svg.text(MARGIN, at, Type::size(COUNT), &words);
            at += 44;
        }
        let mut x = WIDTH / 2 + 100;
        for (fill, words) in [(FIGURE, "odd cycles"), (PAPER, "even")] {
            svg.put(&format!(
                r#"<rect x="{x}" y="{}" width="40" height="32" fill="{fill}" stroke="{FIGURE}" stroke-width="3"/>"#,
                y - 28
            ));
            svg.text(x + 52, y, Type::size(COUNT), words);
            x += 90 + width(words, COUNT);
        }
        svg.line((x, y + 4), (x + 34, y - 30), DOUBT, 5);
        svg.text(x + 48, y, Type::size(COUNT), "not whole");
        home_sign(svg, WIDTH / 2 + 122, y + 40);
        svg.text(
            WIDTH / 2 + 152,
            y + 52,
            Type::size(COUNT),
            "home: start and beat one meet",
        );
    }
}
