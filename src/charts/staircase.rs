//! How the figure comes home: where its cycles start, bar by bar, what falls on beat one, and ways to resolve it.
//!
//! In: the study's first figure. Out: one page, as high as it has bars to show. Each row is a bar with its beats; the
//! starts walk across it like stairs until one falls on beat one again.

use super::page::{Heading, Key, home_sign, legend, open, start_sign};
use super::palette::{
    COUNT, FAINT, FIGURE, FIGURE_LIGHT, FOOT, INK, MARGIN, NUMBER, QUIET, RULE, TOP, WIDTH, WORDS,
};
use super::svg::{Svg, Type, whole};
use super::{Chart, ChartKind, words};
use crate::cycles::{BeatStep, Cycle, Stair, Way};
use crate::study::Study;

/// Bars drawn at most: as many as a page of A4 holds.
const MOST: usize = 22;
/// Height of a bar's row.
const ROW: i64 = 76;
/// Left of the bars: their numbers. Right of them: what falls on beat one.
const LEFT: i64 = 270;
const RIGHT: i64 = 400;
/// Height of a line of words.
const LINE: i64 = 58;

/// Draws the staircase.
pub(super) fn draw(study: &Study) -> Chart {
    let cycle = study.cycles.first().filter(|c| !c.home.stairs.is_empty());
    let rows = cycle.map_or(0, |c| c.home.stairs.len().min(MOST)) as i64;
    let ways = cycle.map_or(0, |c| c.home.ways.len()) as i64;
    let height = TOP + 190 + ROW * rows + LINE * (ways + 3) + FOOT;
    let heading = Heading {
        chart: "Staircase",
        page: (1, 1),
        desc: cycle.map_or_else(|| "No figure was found.".to_owned(), round),
        height,
    };
    let mut svg = open(study, &heading);
    match cycle {
        Some(cycle) => {
            svg.text(MARGIN, TOP + 40, Type::size(WORDS).bold(), &round(cycle));
            stairs(&mut svg, study, cycle);
            told(&mut svg, cycle, TOP + 190 + ROW * rows);
            legend(&mut svg, height, &[Key::Start, Key::Thread, Key::Home]);
        }
        None => svg.text(
            MARGIN,
            TOP + 130,
            Type::size(WORDS),
            "No figure was found, so there is nothing to bring home.",
        ),
    }
    Chart {
        name: ChartKind::Staircase.to_string(),
        svg: svg.finish(),
    }
}

/// How long a round is, in a sentence.
fn round(cycle: &Cycle) -> String {
    if let Some(resolved) = &cycle.resolved {
        return format!("It is resolved: {}.", words::anew(resolved));
    }
    let home = &cycle.home;
    format!(
        "Home after {}, {}, {:.1} s.",
        words::count(home.bars, "bar"),
        words::count(home.cycles, "cycle"),
        home.seconds.0
    )
}

fn stairs(svg: &mut Svg, study: &Study, cycle: &Cycle) {
    let (beats, beat) = (
        i64::from(study.grid.meter.beats_per_bar()),
        i64::from(study.grid.steps_per_beat),
    );
    let left = MARGIN + LEFT;
    let wide = WIDTH - 2 * MARGIN - LEFT - RIGHT;
    let step_wide = wide as f64 / (beats * beat).max(1) as f64;
    let at = |place: &BeatStep| (place.beat - 1) * beat + place.step - 1;
    let x = |place: &BeatStep| left + whole(at(place) as f64 * step_wide);
    let top = TOP + 150;
    let shown = || cycle.home.stairs.iter().take(MOST).enumerate();
    let low = top + ROW * shown().count() as i64;
    for b in 0..beats {
        let at = x(&BeatStep { beat: b + 1, step: 1 });
        svg.line((at, top), (at, low), RULE, if b == 0 { 5 } else { 3 });
        svg.text(
            at,
            top - 24,
            Type::size(COUNT).fill(QUIET).middle(),
            &(b + 1).to_string(),
        );
        for s in 1..beat {
            let at = x(&BeatStep {
                beat: b + 1,
                step: s + 1,
            });
            svg.line((at, top), (at, low), FAINT, 1);
        }
    }
    svg.line((left + wide, top), (left + wide, low), RULE, 5);
    let look = Type::size(COUNT).fill(QUIET);
    svg.text(left + wide + 40, top - 24, look, "on beat one");
    let mut number = 0;
    let height = |row: usize| top + ROW * row as i64 + ROW / 2;
    // Threads down the stairs, under the numbers: as the starts walk from bar to bar.
    let rows: Vec<Vec<i64>> = shown()
        .map(|(_, stair)| stair.starts.iter().map(at).collect())
        .collect();
    let walk = walk(i64::from(cycle.length_steps), beats * beat);
    let place = |step: i64| left + whole(step as f64 * step_wide);
    let mut before = None;
    for (row, pair) in rows.windows(2).enumerate() {
        let [here, next] = pair else { continue };
        let outer = if walk < 0 { here.last() } else { here.first() };
        let from = before.filter(|step| here.contains(step)).or(outer.copied());
        before = from.map(|step| step + walk).filter(|step| next.contains(step));
        if let (Some(from), Some(to)) = (from, before) {
            svg.line(
                (place(from), height(row)),
                (place(to), height(row + 1)),
                FIGURE_LIGHT,
                6,
            );
        }
    }
    for (row, stair) in shown() {
        let y = height(row);
        svg.text(
            MARGIN + LEFT - 40,
            y + 16,
            Type::size(WORDS).bold().end(),
            &format!("bar {}", stair.bar),
        );
        svg.line((left, y + 20), (left + wide, y + 20), INK, 2);
        for place in &stair.starts {
            number += 1;
            start_sign(svg, x(place), y - 6, number);
        }
        svg.text(left + wide + 40, y + 16, Type::size(WORDS), &on_one(stair));
        if stair.step_on_one == Some(1) {
            home_sign(svg, MARGIN + 40, y + 4);
        }
    }
    let rest = cycle.home.stairs.len().saturating_sub(MOST) as u32;
    if rest > 0 {
        let words = format!("and so on for {}", words::count(rest, "bar"));
        svg.text(left, low + 40, Type::size(WORDS).fill(QUIET), &words);
    }
}

/// By how many steps the starts of cycles move from one bar to the next: whichever way is shorter.
fn walk(length: i64, bar: i64) -> i64 {
    let back = bar.rem_euclid(length.max(1));
    if 2 * back > length { length - back } else { -back }
}

fn on_one(stair: &Stair) -> String {
    match (stair.note_on_one, stair.step_on_one) {
        (Some(note), Some(step)) => format!("note {note}, step {step}"),
        (None, Some(step)) => format!("rest, step {step}"),
        _ => "not begun".to_owned(),
    }
}

/// Home against the phrase, and the ways to resolve.
fn told(svg: &mut Svg, cycle: &Cycle, top: i64) {
    let home = &cycle.home;
    let mut y = top + LINE;
    let phrase = format!(
        "Against phrases of {} it is home after {}. To resolve it sooner:",
        words::count(home.phrase_bars, "bar"),
        words::count(home.with_phrase_bars, "bar")
    );
    svg.text(MARGIN, y, Type::size(WORDS).bold(), &phrase);
    for way in &home.ways {
        y += LINE;
        let phrase = words::count(way.phrase_bars, "bar");
        svg.text(MARGIN, y, Type::size(NUMBER - 8).bold().fill(FIGURE), &phrase);
        svg.text(
            MARGIN + LEFT,
            y,
            Type::size(WORDS),
            &in_words(way, cycle.length_steps),
        );
    }
}

/// A way to resolve: `5+5+5+5+4: the last cycle drops one step, from bar 1, beat 4, step 3`.
fn in_words(way: &Way, length: u32) -> String {
    let row = match (way.whole_cycles, way.last_steps) {
        (whole, 0) => return format!("{whole} × {length}: home as it is"),
        (0, last) => return format!("shorter than a cycle: {last} steps of it"),
        (whole @ 1..=8, last) => format!("{}{last}", format!("{length}+").repeat(whole as usize)),
        (whole, last) => format!("{whole} × {length}, then {last}"),
    };
    let steps = words::count(way.change.unsigned_abs() as u32, "step");
    let what = if way.change < 0 { "drops" } else { "adds" };
    format!("{row}: the last cycle {what} {steps}, from {}", way.at)
}

#[cfg(test)]
mod tests {
    use super::walk;

    #[test]
    fn starts_walk_the_shorter_way() {
        // TRADE 2: five steps on sixteenth-triplets start one step later in every bar of four; ten on sixteenths four.
        assert_eq!(
            (walk(5, 24), walk(10, 16), walk(7, 16), walk(8, 16), walk(3, 16)),
            (1, 4, -2, 0, -1)
        );
    }
}
