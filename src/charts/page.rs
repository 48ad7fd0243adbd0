//! What every page bears: title, source and clock times, grid statement, figure, and the legend at the foot.
//!
//! In: the study and what the page shows. Out: a page with its heading, ready to be drawn on.

use super::ChartKind;
use super::palette::{A4, COUNT, FIGURE, FOOT, INK, MARGIN, NUMBER, PHONE, QUIET, TITLE, TOP, WIDTH, WORDS};
use super::shapes::{self, Weight};
use super::svg::{Svg, Type, shorten, width, wrap};
use super::words;
use crate::names::{Mark, Voice};
use crate::options::Paper;
use crate::study::Study;

/// What a page is as wide as: A4, or a phone's column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Sheet {
    /// Whether it is a phone's.
    pub(super) phone: bool,
    /// Its width.
    pub(super) width: i64,
    /// Its margin on the left and right.
    pub(super) margin: i64,
}

impl Sheet {
    /// That of this paper.
    pub(super) fn of(paper: Paper) -> Sheet {
        let phone = paper == Paper::Phone;
        let (width, margin) = if phone {
            (PHONE.0, PHONE.1)
        } else {
            (WIDTH, MARGIN)
        };
        Sheet { phone, width, margin }
    }

    /// Its right margin.
    pub(super) fn right(self) -> i64 {
        self.width - self.margin
    }

    /// Between its margins.
    pub(super) fn room(self) -> i64 {
        self.width - 2 * self.margin
    }

    /// The name of a chart's pages.
    pub(super) fn name(self, kind: ChartKind) -> String {
        if self.phone {
            format!("{kind}-phone")
        } else {
            kind.to_string()
        }
    }

    /// How high a page of it is that has so much on it.
    pub(super) fn height(self, used: i64) -> i64 {
        if self.phone { used } else { A4 }
    }

    /// The most that a page of it holds.
    pub(super) fn most(self) -> i64 {
        if self.phone { PHONE.2 } else { A4 }
    }

    /// Below its heading.
    pub(super) fn top(self, study: &Study) -> i64 {
        if self.phone {
            FIRST + LINE * narrow(study, "").len() as i64 + 60
        } else {
            TOP
        }
    }
}

/// Where a phone's title stands, and from line to line under it.
const FIRST: i64 = 100;
const LINE: i64 = 54;

/// The lines under a phone's title.
fn narrow(study: &Study, chart: &str) -> Vec<(String, Type)> {
    let source = words::source(study, usize::MAX);
    let room = Sheet::of(Paper::Phone).room();
    let statements = [
        (chart.to_owned(), Type::size(WORDS)),
        (source, Type::size(WORDS).fill(QUIET)),
        (words::grid_statement(&study.grid), Type::size(WORDS)),
        (words::figure(study.cycles.first()), Type::size(WORDS).bold()),
    ];
    let lines = |(words, look): (String, Type)| {
        wrap(&words, WORDS, room)
            .into_iter()
            .map(move |line| (line, look))
    };
    statements.into_iter().flat_map(lines).collect()
}

/// A page of this width with its heading.
pub(super) fn open_on(study: &Study, heading: &Heading, sheet: Sheet) -> Svg {
    if !sheet.phone {
        return open(study, heading);
    }
    let (title, chart, id) = named(study, heading);
    let size = (sheet.width, heading.height);
    let mut svg = Svg::new(
        &format!("{id}-phone"),
        size,
        &format!("{title}: {chart}"),
        &heading.desc,
    );
    svg.text(
        sheet.margin,
        FIRST,
        Type::size(NUMBER).bold(),
        &shorten(&title, 30),
    );
    let lines = narrow(study, &chart);
    let rule = FIRST + LINE * lines.len() as i64 + 24;
    for (row, (words, look)) in lines.into_iter().enumerate() {
        svg.text(sheet.margin, FIRST + LINE * (row as i64 + 1), look, &words);
    }
    svg.line((sheet.margin, rule), (sheet.right(), rule), INK, 4);
    svg
}

/// The title, which chart and page it is, and the name by which its parts are known.
fn named(study: &Study, heading: &Heading) -> (String, String, String) {
    let (page, pages) = heading.page;
    let chart = if pages > 1 {
        format!("{}, page {page} of {pages}", heading.chart)
    } else {
        heading.chart.to_owned()
    };
    let id = match heading.chart.to_lowercase().replace(' ', "-") {
        name if pages > 1 => format!("{name}-{page}"),
        name => name,
    };
    (words::title(study), chart, id)
}

/// What one page shows.
#[derive(Debug, Clone)]
pub(super) struct Heading {
    /// Which chart, as the page's right corner names it: `Grid`.
    pub(super) chart: &'static str,
    /// Page number and how many there are.
    pub(super) page: (usize, usize),
    /// The picture in a sentence, for readers who listen.
    pub(super) desc: String,
    /// Height of the page.
    pub(super) height: i64,
}

/// A page with its heading.
pub(super) fn open(study: &Study, heading: &Heading) -> Svg {
    let (title, chart, id) = named(study, heading);
    let size = (WIDTH, heading.height);
    let mut svg = Svg::new(&id, size, &format!("{title}: {chart}"), &heading.desc);
    let right = WIDTH - MARGIN;
    svg.text(MARGIN, 135, Type::size(TITLE).bold(), &shorten(&title, 36));
    svg.text(right, 135, Type::size(WORDS).end(), &chart);
    let source = words::source(study, 50);
    svg.text(MARGIN, 200, Type::size(WORDS).fill(QUIET), &source);
    svg.text(
        MARGIN,
        256,
        Type::size(WORDS),
        &words::grid_statement(&study.grid),
    );
    let figure = words::figure(study.cycles.first());
    svg.text(MARGIN, 312, Type::size(WORDS).bold(), &shorten(&figure, 92));
    svg.line((MARGIN, 342), (right, 342), INK, 4);
    svg
}

/// One entry of a legend.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Key {
    /// A stroke of the figure, shown by this voice.
    Figure(Voice),
    /// A stroke of the free line.
    Solo(Voice),
    /// A voice by its name.
    Voice(Voice, Weight),
    /// Size is level.
    Level(Voice, Weight),
    /// A mark beside a stroke.
    Mark(Mark),
    /// An unsure stroke.
    Doubt,
    /// Where the figure starts, with the number of the repeat.
    Start,
    /// Where its start and beat one meet again.
    Home,
    /// A note that was not struck.
    Missing(Voice),
    /// A stroke that the figure does not have.
    Added(Voice),
    /// A note that is struck beside its place.
    Moved(Voice),
    /// The line from start to start.
    Thread,
}

impl Key {
    fn words(self) -> &'static str {
        match self {
            Key::Figure(_) => "figure",
            Key::Solo(_) => "solo",
            Key::Voice(voice, _) => voice.said(),
            Key::Level(..) => "soft to loud",
            Key::Mark(Mark::Accent) => "accent",
            Key::Mark(Mark::Ghost) => "ghost",
            Key::Mark(Mark::Flam) => "flam",
            Key::Mark(Mark::Drag) => "drag",
            Key::Doubt => "unsure",
            Key::Start => "repeat 7 of the figure starts",
            Key::Home => "home: start and beat one meet",
            Key::Missing(_) => "missing",
            Key::Added(_) => "added",
            Key::Moved(_) => "a step away",
            Key::Thread => "from start to start",
        }
    }

    /// Room the sign takes before its words.
    fn room(self) -> i64 {
        match self {
            Key::Level(..) => 120,
            Key::Moved(_) => 90,
            Key::Start => 80,
            _ => 62,
        }
    }

    fn draw(self, svg: &mut Svg, x: i64, y: i64) {
        let at = (x + 22, y - 13);
        match self {
            Key::Figure(voice) => shapes::example(svg, at, 18, voice, Weight::Figure),
            Key::Solo(voice) => shapes::example(svg, at, 18, voice, Weight::Solo),
            Key::Voice(voice, weight) => shapes::example(svg, at, 18, voice, weight),
            Key::Level(voice, weight) => {
                for (i, r) in [9, 14, 19].into_iter().enumerate() {
                    shapes::example(svg, (x + 14 + 36 * i as i64, y - 13), r, voice, weight);
                }
            }
            Key::Mark(mark) => {
                shapes::example(svg, at, 12, Voice::Snare, Weight::Solo);
                shapes::sign(svg, at, 12, mark);
            }
            Key::Doubt => {
                shapes::example(svg, at, 14, Voice::Snare, Weight::Solo);
                shapes::doubt(svg, at, 14);
            }
            Key::Start => start_sign(svg, x + 16, y - 26, 7),
            Key::Home => home_sign(svg, x + 22, y - 13),
            Key::Missing(voice) => shapes::missing(svg, at, 18, voice, "missing"),
            Key::Added(voice) => shapes::added(svg, at, 16, voice, "added"),
            Key::Moved(voice) => shapes::moved(svg, at, x + 70, 14, voice, "a step away"),
            Key::Thread => svg.line((x + 4, y - 34), (x + 40, y + 6), super::palette::FIGURE_LIGHT, 6),
        }
    }
}

/// The sign for the start of a repeat: a mark that points down at it, with the repeat's number.
pub(super) fn start_sign(svg: &mut Svg, x: i64, y: i64, number: u32) {
    svg.put(&format!(
        r#"<path d="M{} {y}h24l-12 22z" fill="{FIGURE}"/>"#,
        x - 12
    ));
    svg.text(
        x + 17,
        y + 22,
        Type::size(COUNT).bold().fill(FIGURE),
        &number.to_string(),
    );
}

/// The sign for home: a small house.
pub(crate) fn home_sign(svg: &mut Svg, x: i64, y: i64) {
    svg.put(&format!(
        r#"<path d="M{} {y}l22 -20l22 20h-7v18h-30v-18z" fill="{INK}"/>"#,
        x - 22
    ));
}

/// The legend at the foot of a page of this height.
pub(super) fn legend(svg: &mut Svg, height: i64, keys: &[Key]) {
    let (mut x, mut y) = (MARGIN, height - FOOT + 85);
    svg.line((MARGIN, y - 60), (WIDTH - MARGIN, y - 60), INK, 2);
    for &key in keys {
        let wide = key.room() + width(key.words(), WORDS);
        if x + wide > WIDTH - MARGIN {
            (x, y) = (MARGIN, y + 62);
        }
        key.draw(svg, x, y);
        svg.text(x + key.room(), y, Type::size(WORDS), key.words());
        x += wide + 44;
    }
}
