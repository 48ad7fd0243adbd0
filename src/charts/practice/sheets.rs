//! Sheets of drills for the music stand: A4, numbered, each with what to do, how long a round lasts, and boxes to tick.

use super::caution;
use super::pattern::{LEADING, Pattern, broken, write};
use crate::charts::Chart;
use crate::charts::page::{Heading, Key, legend, open};
use crate::charts::palette::{A4, COUNT, FOOT, INK, MARGIN, NUMBER, QUIET, TOP, WIDTH, WORDS};
use crate::charts::svg::{Svg, Type};
use crate::names::Voice;
use crate::study::Study;

/// One exercise on a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exercise {
    /// Its number.
    pub number: u32,
    /// Its name.
    pub title: String,
    /// What to do.
    pub how: String,
    /// How long a round lasts at which tempo.
    pub round: String,
    /// What is played.
    pub pattern: Pattern,
}

/// Letters on a line of words.
const LETTERS: usize = 98;
/// An exercise shows at most so many lines of its pattern.
const LINES: u32 = 6;
/// Boxes to tick.
const BOXES: i64 = 6;
/// Between two exercises.
const SPACE: i64 = 46;
/// Room for a title.
const TITLE: i64 = 70;

/// The sheets with these exercises; `notes` say what is left out.
pub fn sheets(study: &Study, exercises: &[Exercise], notes: &[String]) -> Vec<Chart> {
    let pages = pages(exercises, notes);
    let count = pages.len();
    pages
        .iter()
        .enumerate()
        .map(|(i, page)| Chart {
            name: format!("sheet-{:02}", i + 1),
            svg: draw(study, page, (i + 1, count)),
        })
        .collect()
}

/// What stands on one page.
#[derive(Default)]
struct Page<'a> {
    exercises: Vec<&'a Exercise>,
    notes: Vec<&'a str>,
}

fn height(exercise: &Exercise) -> i64 {
    let more = i64::from(exercise.pattern.drawn(LINES) < exercise.pattern.steps);
    let words = broken(&exercise.how, LETTERS).len() + broken(&exercise.round, LETTERS).len();
    TITLE + LEADING * (words as i64 + more) + exercise.pattern.height(LINES)
}

fn pages<'a>(exercises: &'a [Exercise], notes: &'a [String]) -> Vec<Page<'a>> {
    let room = A4 - TOP - FOOT;
    let mut pages = vec![Page::default()];
    // The first page begins with the cautions.
    let mut used = caution::height() + SPACE;
    let mut turn = |need: i64, after: i64, pages: &mut Vec<Page<'a>>| {
        if used + need > room && used > 0 {
            pages.push(Page::default());
            used = 0;
        }
        used += need + after;
    };
    for exercise in exercises {
        turn(height(exercise), SPACE, &mut pages);
        if let Some(page) = pages.last_mut() {
            page.exercises.push(exercise);
        }
    }
    for note in notes {
        turn(LEADING * broken(note, LETTERS).len() as i64 + 10, 0, &mut pages);
        if let Some(page) = pages.last_mut() {
            page.notes.push(note);
        }
    }
    pages
}

fn draw(study: &Study, page: &Page, number: (usize, usize)) -> String {
    let titles: Vec<&str> = page.exercises.iter().map(|e| e.title.as_str()).collect();
    let heading = Heading {
        chart: "Practice",
        page: number,
        desc: format!("Drills: {}.", titles.join("; ")),
        height: A4,
    };
    let mut svg = open(study, &heading);
    let mut y = TOP;
    if number.0 == 1 {
        caution::draw(&mut svg, y);
        y += caution::height() + SPACE;
    }
    for exercise in &page.exercises {
        draw_exercise(&mut svg, y, exercise);
        y += height(exercise) + SPACE;
    }
    for note in &page.notes {
        y = write(
            &mut svg,
            MARGIN,
            y + 40,
            Type::size(WORDS).fill(QUIET),
            note,
            LETTERS,
        ) - 30;
    }
    legend(&mut svg, A4, &keys(page));
    svg.finish()
}

fn draw_exercise(svg: &mut Svg, top: i64, exercise: &Exercise) {
    let id = svg.id(&format!("drill-{}", exercise.number));
    svg.open(&format!(r#"id="{id}" data-drill="{}""#, exercise.number));
    svg.text(
        MARGIN,
        top + 48,
        Type::size(NUMBER).bold(),
        &format!("{}  {}", exercise.number, exercise.title),
    );
    for n in 0..BOXES {
        let x = WIDTH - MARGIN - 44 - 60 * n;
        svg.put(&format!(
            r#"<rect x="{x}" y="{}" width="40" height="40" fill="none" stroke="{INK}" stroke-width="4"/>"#,
            top + 12
        ));
    }
    let y = write(
        svg,
        MARGIN,
        top + TITLE + 34,
        Type::size(WORDS),
        &exercise.how,
        LETTERS,
    );
    let y = write(
        svg,
        MARGIN,
        y,
        Type::size(WORDS).fill(QUIET),
        &exercise.round,
        LETTERS,
    ) - 34;
    exercise.pattern.draw(svg, y, LINES);
    let drawn = exercise.pattern.drawn(LINES);
    if drawn < exercise.pattern.steps {
        let words = format!("and on like this to step {}", exercise.pattern.steps);
        svg.text(
            MARGIN,
            y + exercise.pattern.height(LINES) + 34,
            Type::size(COUNT).fill(QUIET),
            &words,
        );
    }
    svg.close();
}

fn keys(page: &Page) -> Vec<Key> {
    let notes = || page.exercises.iter().flat_map(|e| e.pattern.notes.iter());
    let voice = |figure: bool| notes().find(|n| n.figure == figure).map(|n| n.voice);
    let mut keys: Vec<Key> = Vec::new();
    keys.extend(voice(true).map(Key::Figure));
    keys.extend(voice(false).map(|v: Voice| Key::Solo(v)));
    if page.exercises.iter().any(|e| !e.pattern.starts.is_empty()) {
        keys.push(Key::Start);
    }
    keys
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::charts::PatternNote;

    #[test]
    fn a_sheet_holds_two_drills_of_three_lines_and_four_voices() {
        let voices = [Voice::Kick, Voice::Snare, Voice::HatFoot, Voice::RideBell];
        let note = |(step, voice): (u32, &Voice)| PatternNote {
            step,
            voice: *voice,
            limb: Some(crate::names::Limb::LeftHand),
            figure: false,
        };
        let exercise = Exercise {
            number: 1,
            title: "A cell".to_owned(),
            how: "words ".repeat(20),
            round: "A round is 140 steps.".to_owned(),
            pattern: Pattern {
                steps: 140,
                per_beat: 4,
                per_bar: 16,
                notes: (0..).zip(&voices).map(note).collect(),
                starts: vec![0],
            },
        };
        let all = vec![exercise; 7];
        let dealt: Vec<usize> = pages(&all, &[]).iter().map(|page| page.exercises.len()).collect();
        assert_eq!(dealt, [1, 2, 2, 2]);
    }
}
