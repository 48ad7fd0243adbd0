//! How the tempo moves and who plays early or late.
//!
//! In: the beats of the grid and the lateness of every stroke. Out: one page. Above, beats a minute over time: a bold
//! line for each bar and a thin one through the beats, with bars counted along the foot. Below, a row for each voice:
//! how its strokes spread around their steps, in ms.

use super::page::{Heading, open};
use super::palette::{COUNT, FAINT, FIGURE, FIGURE_LIGHT, INK, MARGIN, QUIET, RULE, TOP, WIDTH, WORDS};
use super::svg::{Svg, Type, whole};
use super::words;
use super::{Chart, ChartKind};
use crate::grid::{Grid, Lateness, lateness};
use crate::names::Voice;
use crate::study::Study;
use crate::units::Millis;

/// The panel of the tempo: its left and right edge, top and foot.
const LEFT: i64 = MARGIN + 130;
const RIGHT: i64 = WIDTH - MARGIN;
const HIGH: i64 = TOP + 90;
const LOW: i64 = HIGH + 560;
/// Where the rows of lateness begin, and how high each is.
const ROWS: i64 = LOW + 330;
const ROW: i64 = 92;
/// The axis of lateness: its left and right edge, and what they stand for in ms.
const EARLY: i64 = MARGIN + 330;
const LATE: i64 = RIGHT - 560;
const REACH: f64 = 50.0;
/// Width of a bin of the distribution, in ms: half of what is just noticeable (TRADE 5).
const BIN: f64 = 2.5;
/// The scale of tempo reaches at least this share of the tempo to both sides: less than is heard must not look like
/// much [M].
const LEAST: f64 = 0.03;
/// No tempo is drawn that is faster than this.
const FASTEST: f64 = 5000.0;
/// Room for the words below the last row.
const FOOT: i64 = 190;

/// Draws the tempo chart.
pub(super) fn draw(study: &Study) -> Chart {
    let ruled = words::can_rule(&study.grid);
    let strokes: Vec<(Voice, Millis)> = study
        .strokes
        .iter()
        .filter_map(|s| Some((s.hit.voice, s.late?)))
        .collect();
    let rows = if ruled { lateness(&strokes) } else { Vec::new() };
    let heading = Heading {
        chart: "Tempo",
        page: (1, 1),
        desc: words::grid_statement(&study.grid),
        height: ROWS + ROW * rows.len() as i64 + FOOT,
    };
    let mut svg = open(study, &heading);
    if ruled {
        tempo(&mut svg, &study.grid);
        late(&mut svg, &strokes, &rows);
    } else {
        svg.text(
            MARGIN,
            TOP + 60,
            Type::size(WORDS),
            "No beat was found, so there is no tempo to draw.",
        );
    }
    Chart {
        name: ChartKind::Tempo.to_string(),
        svg: svg.finish(),
    }
}

/// A stretch of time (s) and how fast it was played, in beats a minute.
#[derive(Debug, Clone, Copy)]
struct Pace {
    from: f64,
    to: f64,
    bpm: f64,
}

/// The tempo of every beat, or of every bar when `beats` is a bar's and `first` its beginning.
fn paces(grid: &Grid, beats: usize, first: usize) -> Vec<Pace> {
    let times: Vec<f64> = grid
        .beats
        .iter()
        .skip(first)
        .step_by(beats.max(1))
        .map(|b| b.0)
        .collect();
    let pace = |w: &[f64]| match w {
        &[from, to] if to > from => Some(Pace {
            from,
            to,
            bpm: (60.0 * beats as f64 / (to - from)).clamp(1.0, FASTEST),
        }),
        _ => None,
    };
    times.windows(2).filter_map(pace).collect()
}

/// Where times and tempi lie on the page.
struct Scale {
    time: (f64, f64),
    bpm: (f64, f64),
}

impl Scale {
    fn new(beats: &[Pace], bars: &[Pace], tempo: f64) -> Scale {
        let all = || beats.iter().chain(bars).map(|p| p.bpm);
        let tempo = if tempo.is_finite() {
            tempo.clamp(1.0, FASTEST)
        } else {
            120.0
        };
        let low = all().fold(tempo * (1.0 - LEAST), f64::min);
        let high = all().fold(tempo * (1.0 + LEAST), f64::max);
        let pad = 0.06 * (high - low);
        let time = beats.first().map_or(0.0, |p| p.from);
        Scale {
            time: (time, beats.last().map_or(time + 1.0, |p| p.to).max(time + 1e-3)),
            bpm: (low - pad, high + pad),
        }
    }

    fn x(&self, time: f64) -> i64 {
        let (from, to) = self.time;
        LEFT + whole(((time - from) / (to - from)).clamp(0.0, 1.0) * (RIGHT - LEFT) as f64)
    }

    fn y(&self, bpm: f64) -> i64 {
        let (low, high) = self.bpm;
        LOW - whole((bpm - low) / (high - low).max(1e-6) * (LOW - HIGH) as f64)
    }
}

fn tempo(svg: &mut Svg, grid: &Grid) {
    let bar = grid.meter.beats_per_bar().max(1) as usize;
    let (beats, bars) = (paces(grid, 1, 0), paces(grid, bar, grid.first_downbeat));
    let scale = Scale::new(&beats, &bars, grid.tempo.0);
    svg.text(
        MARGIN,
        TOP + 40,
        Type::size(WORDS).bold(),
        "Beats a minute, bar by bar",
    );
    rule_tempo(svg, &scale);
    rule_bars(svg, &scale, &bars);
    let points: Vec<String> = beats
        .iter()
        .map(|p| format!("{} {}", scale.x((p.from + p.to) / 2.0), scale.y(p.bpm)))
        .collect();
    svg.put(&format!(
        r#"<path d="M{}" fill="none" stroke="{FIGURE_LIGHT}" stroke-width="5"/>"#,
        points.join("L")
    ));
    for p in &bars {
        let y = scale.y(p.bpm);
        svg.line((scale.x(p.from) + 2, y), (scale.x(p.to) - 2, y), INK, 10);
    }
    let y = LOW + 160;
    svg.line((LEFT, y - 13), (LEFT + 50, y - 13), INK, 10);
    svg.text(LEFT + 66, y, Type::size(WORDS), "each bar");
    svg.line((LEFT + 300, y - 13), (LEFT + 350, y - 13), FIGURE_LIGHT, 5);
    svg.text(LEFT + 366, y, Type::size(WORDS), "each beat");
    svg.text(
        RIGHT,
        y,
        Type::size(WORDS).end(),
        "bars are counted along the foot",
    );
}

/// Lines at round tempi.
fn rule_tempo(svg: &mut Svg, scale: &Scale) {
    let (low, high) = scale.bpm;
    let steps = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 500.0, 2000.0];
    let step = steps
        .into_iter()
        .find(|s| (high - low) / s <= 7.0)
        .unwrap_or(5000.0);
    let mut bpm = (low / step).ceil() * step;
    while bpm <= high {
        let y = scale.y(bpm);
        svg.line((LEFT, y), (RIGHT, y), FAINT, 2);
        svg.text(LEFT - 20, y + 12, Type::size(COUNT).end(), &format!("{bpm:.0}"));
        bpm += step;
    }
    svg.line((LEFT, LOW), (RIGHT, LOW), INK, 3);
}

/// Bar lines, and the numbers of as many bars as there is room for.
fn rule_bars(svg: &mut Svg, scale: &Scale, bars: &[Pace]) {
    let wide = (RIGHT - LEFT) as f64 / bars.len().max(1) as f64;
    let counts = [1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024];
    let every = |room: f64| {
        counts
            .into_iter()
            .find(|n| wide * *n as f64 >= room)
            .unwrap_or(2048)
    };
    let (lined, numbered) = (every(18.0), every(80.0));
    for (i, bar) in bars.iter().enumerate() {
        let x = scale.x(bar.from);
        if i.is_multiple_of(lined) {
            svg.line((x, HIGH), (x, LOW), FAINT, 2);
        }
        if i.is_multiple_of(numbered) {
            svg.line((x, LOW), (x, LOW + 14), INK, 3);
            svg.text(x, LOW + 56, Type::size(COUNT), &(i + 1).to_string());
        }
    }
}

fn late(svg: &mut Svg, strokes: &[(Voice, Millis)], rows: &[Lateness]) {
    let title = "Early and late, voice by voice, in ms from the step on the fitted tempo";
    svg.text(MARGIN, ROWS - 70, Type::size(WORDS).bold(), title);
    if rows.is_empty() {
        svg.text(
            MARGIN,
            ROWS + 30,
            Type::size(WORDS),
            "No voice strikes often enough to tell.",
        );
        return;
    }
    let foot = ROWS + ROW * rows.len() as i64;
    for ms in [-40, -20, 0, 20, 40] {
        let x = ms_x(f64::from(ms));
        let (colour, width) = if ms == 0 { (INK, 4) } else { (FAINT, 2) };
        svg.line((x, ROWS - 20), (x, foot + 14), colour, width);
        let words = if ms == 0 {
            "0".to_owned()
        } else {
            format!("{ms:+}").replace('-', "−")
        };
        svg.text(x, foot + 60, Type::size(COUNT).middle(), &words);
    }
    for (i, row) in rows.iter().enumerate() {
        let base = ROWS + ROW * (i as i64 + 1) - 16;
        svg.text(MARGIN, base - 12, Type::size(WORDS), row.voice.said());
        svg.line((EARLY, base), (LATE, base), RULE, 2);
        let own: Vec<f64> = strokes
            .iter()
            .filter(|(voice, late)| *voice == row.voice && late.0.is_finite())
            .map(|(_, late)| late.0)
            .collect();
        hill(svg, &own, base);
        let x = ms_x(row.late_ms.0);
        svg.line((x, base - 66), (x, base + 6), FIGURE, 8);
        svg.text(LATE + 40, base - 12, Type::size(WORDS), &told(row));
    }
    svg.text(EARLY, foot + 118, Type::size(WORDS).fill(QUIET), "early");
    svg.text(LATE, foot + 118, Type::size(WORDS).fill(QUIET).end(), "late");
}

fn ms_x(ms: f64) -> i64 {
    let share = (ms.clamp(-REACH, REACH) + REACH) / (2.0 * REACH);
    EARLY + whole(share * (LATE - EARLY) as f64)
}

/// How strokes spread, as a hill that is as high for a rare voice as for a busy one.
fn hill(svg: &mut Svg, late: &[f64], base: i64) {
    let bins = (2.0 * REACH / BIN) as usize;
    let mut counts = vec![0.0; bins];
    for ms in late {
        let at = ((ms.clamp(-REACH, REACH - 0.01) + REACH) / BIN) as usize;
        if let Some(count) = counts.get_mut(at) {
            *count += 1.0;
        }
    }
    let most = counts.iter().copied().fold(1.0, f64::max);
    let points: Vec<String> = counts
        .iter()
        .enumerate()
        .flat_map(|(i, count)| {
            let y = base - whole(count / most * 62.0);
            let from = -REACH + BIN * i as f64;
            [format!("{} {y}", ms_x(from)), format!("{} {y}", ms_x(from + BIN))]
        })
        .collect();
    svg.put(&format!(
        r#"<path d="M{EARLY} {base}L{}L{LATE} {base}z" fill="{FAINT}" stroke="{QUIET}" stroke-width="2"/>"#,
        points.join("L")
    ));
}

/// A voice's row in words: `6 ms early, ± 4, 120 strokes`.
fn told(row: &Lateness) -> String {
    let late = row.late_ms.0.round();
    let side = match late {
        l if l > 0.0 => format!("{l:.0} ms late"),
        l if l < 0.0 => format!("{:.0} ms early", -l),
        _ => "on time".to_owned(),
    };
    format!(
        "{side}, ± {:.0}, {}",
        row.spread_ms.0,
        words::count(row.hits as u32, "stroke")
    )
}
