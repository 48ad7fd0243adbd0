//! What every page explains at its foot: the place and head of each voice, the signs, how it is counted.

use super::count;
use super::ink::{Ink, SPACE};
use super::notes::head_width;
use crate::charts::palette::{COUNT, DOUBT, FIGURE, INK, SURE};
use crate::charts::svg::{Svg, Type};
use crate::names::{Layer, Mark, Voice};
use crate::notation::letters;
use crate::notation::score::Score;
use crate::options::ScoreOptions;
use crate::study::{Stroke, Study};

/// Height of the key's staff with what reaches over it, and of a line of words.
const OVER: f64 = 58.0;
const STAFF: f64 = 4.0 * SPACE;
const LINE: f64 = 52.0;
/// Between two voices of the key, and two signs.
const APART: f64 = 30.0;

/// The legend of a study, and how high it is.
pub(super) struct Legend {
    ink: Ink,
    pub(super) height: f64,
}

impl Legend {
    pub(super) fn of(
        study: &Study,
        score: &Score,
        options: &ScoreOptions,
        (left, right): (f64, f64),
    ) -> Legend {
        let mut ink = Ink::default();
        ink.line((left, 0.0), (right, 0.0), INK, 2);
        let mut y = OVER;
        let mut row: Vec<(Voice, f64)> = Vec::new();
        let mut x = left + 20.0;
        let used = |voice: &&Voice| study.strokes.iter().any(|s| s.hit.voice == **voice);
        for voice in Voice::ALL.iter().filter(used) {
            let wide = letters::width(voice.said(), COUNT as f64, false).max(head_width());
            if x + wide > right && !row.is_empty() {
                y = key(&mut ink, &row, (left, x), y);
                row.clear();
                x = left + 20.0;
            }
            row.push((*voice, x + 0.5 * wide));
            x += wide + APART;
        }
        if !row.is_empty() {
            y = key(&mut ink, &row, (left, x), y);
        }
        let y = signs(&mut ink, study, score, options, (left, right), y - 10.0);
        Legend { ink, height: y }
    }

    pub(super) fn put(&self, svg: &mut Svg, y: f64) {
        self.ink.put(svg, y);
    }

    pub(super) fn glyphs(&self) -> impl Iterator<Item = (&'static str, bool)> {
        self.ink.glyphs()
    }
}

/// A staff with one note for every voice and its name below; gives where the next thing begins.
fn key(ink: &mut Ink, voices: &[(Voice, f64)], (left, right): (f64, f64), top: f64) -> f64 {
    for number in 0..5 {
        let y = top + f64::from(number) * SPACE;
        ink.line((left, y), (right - APART + 10.0, y), INK, 2);
    }
    for (voice, x) in voices {
        super::notes::example(ink, *voice, *x, top);
        ink.text(
            (*x, top + STAFF + 54.0),
            Type::size(COUNT).middle(),
            COUNT,
            voice.said(),
        );
    }
    top + STAFF + 54.0 + OVER
}

/// The signs that this study has, in words.
fn signs(
    ink: &mut Ink,
    study: &Study,
    score: &Score,
    options: &ScoreOptions,
    (left, right): (f64, f64),
    top: f64,
) -> f64 {
    let strokes = &study.strokes;
    let marked = |mark| strokes.iter().any(|s: &Stroke| s.hit.mark == Some(mark));
    let any = |is: fn(&Stroke) -> bool| strokes.iter().any(is);
    let mut entries: Vec<(Sign, String)> = Vec::new();
    let mut add = |is: bool, sign, words: &str| {
        if is {
            entries.push((sign, words.to_owned()));
        }
    };
    add(any(|s| s.layer == Some(Layer::Ostinato)), Sign::Figure, "figure");
    add(marked(Mark::Accent), Sign::Glyph("accent"), "accent");
    add(marked(Mark::Ghost), Sign::Ghost, "ghost");
    add(marked(Mark::Flam), Sign::Grace(1), "flam");
    add(marked(Mark::Drag), Sign::Grace(2), "drag");
    add(any(|s| s.hit.voice == Voice::HatOpen), Sign::Words("o"), "open");
    add(any(|s| s.hit.sure < SURE), Sign::Doubt, "unsure");
    add(!score.figures.is_empty(), Sign::Bracket, "repeat 7 of the figure");
    let home = score
        .figures
        .iter()
        .flat_map(|figure| &figure.repeats)
        .any(|repeat| repeat.home);
    add(home, Sign::House, "home: start and beat one meet");
    add(any(|s| s.limb.is_some()), Sign::Words("R L"), "hands");
    let dotted = score.beat.value.dots > 0;
    if let Some(words) = count::example(options.count, score.grid.steps_per_beat, dotted) {
        add(true, Sign::Words(""), &words);
    }
    if let Some(swing) = score.swing {
        add(
            true,
            Sign::Words(""),
            &format!("swing {:.2} : 1, written straight", swing.ratio),
        );
    }
    if score.left_out > 0 {
        add(
            true,
            Sign::Words(""),
            &format!("{} strokes are off the grid", score.left_out),
        );
    }
    let (mut x, mut y) = (left, top);
    for (sign, words) in entries {
        let wide = sign.width() + letters::width(&words, COUNT as f64, false);
        if x + wide > right && x > left {
            (x, y) = (left, y + LINE);
        }
        sign.draw(ink, x, y);
        ink.text((x + sign.width(), y), Type::size(COUNT), COUNT, words);
        x += wide + APART;
    }
    y + 30.0
}

/// A sign of the legend.
enum Sign {
    Figure,
    Glyph(&'static str),
    Ghost,
    Grace(usize),
    Words(&'static str),
    Doubt,
    Bracket,
    House,
}

impl Sign {
    /// Room before its words.
    fn width(&self) -> f64 {
        match self {
            Sign::Words("") => 0.0,
            Sign::Words(words) => letters::width(words, COUNT as f64, true) + 12.0,
            Sign::Grace(count) => 34.0 + 17.0 * *count as f64,
            Sign::Bracket => 66.0,
            Sign::House => 58.0,
            Sign::Doubt => 54.0,
            _ => 40.0,
        }
    }

    fn draw(&self, ink: &mut Ink, x: f64, y: f64) {
        let middle = y - 12.0;
        match self {
            Sign::Figure => ink.glyph("head", (x + 4.0, middle), false, format!(r#" fill="{FIGURE}""#)),
            Sign::Glyph(name) => ink.glyph(name, (x + 2.0, y - 3.0), false, String::new()),
            Sign::Ghost => {
                ink.glyph("paren_left", (x, middle), false, String::new());
                ink.glyph("head", (x + 8.0, middle), false, String::new());
                ink.glyph(
                    "paren_right",
                    (x + 8.0 + head_width() + 3.0, middle),
                    false,
                    String::new(),
                );
            }
            Sign::Grace(count) => super::notes::example_grace(ink, *count, (x, middle)),
            Sign::Words(words) => ink.text((x, y), Type::size(COUNT).bold(), COUNT, *words),
            Sign::Doubt => {
                ink.glyph("head", (x, middle), false, format!(r#" fill="{DOUBT}""#));
                ink.text(
                    (x + 24.0, y - 8.0),
                    Type::size(COUNT).bold().fill(DOUBT),
                    COUNT,
                    "?",
                );
            }
            Sign::Bracket => {
                ink.line((x, y - 8.0), (x + 54.0, y - 8.0), FIGURE, 4);
                ink.line((x, y - 10.0), (x, y + 6.0), FIGURE, 4);
                ink.text((x, y - 14.0), Type::size(COUNT).bold().fill(FIGURE), COUNT, "7");
            }
            Sign::House => ink.house((x + 22.0, y - 13.0)),
        }
    }
}
