//! Drills from a study: the figure alone, the staircase, every key cell alone and against the figure at every
//! displacement, ways home, switching between cells, and all of it on the other side.
//!
//! In: a study and key cells. Out: numbered [`Drill`]s, each a pattern on the study's ruling with the length of a round,
//! and lines that say what could not be made and why. What a practice sheet holds: TRADE 8 \[C\].

mod cell;
mod figure;
mod staff;

#[cfg(test)]
mod tests;

pub use cell::Cell;

use super::PracticeError;
use super::click::Click;
use super::drums::Strike;
use super::loudness::Loudness;
use super::passage::Count;
use super::sound::{self, Counting};
use crate::charts::words::list;
use crate::charts::{Pattern, PatternNote};
use crate::names::{Layer, Limb};
use crate::options::SoundOptions;
use crate::study::Study;
use crate::units::{Bpm, Seconds};
use figure::Figure;

/// What a drill is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// The figure alone.
    Figure,
    /// The figure against the beat until it is home.
    Staircase,
    /// A cell alone.
    Cell,
    /// A cell against the figure from one displacement.
    Displaced,
    /// A phrase that ends with the figure cut or held, so that it starts anew.
    WayHome,
    /// From one cell to another over the figure.
    Switch,
    /// Figure or cell with the limbs of the other side.
    OtherSide,
}

/// One drill.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drill {
    /// Its number on the sheets, from 1.
    pub number: u32,
    /// What it is for.
    pub kind: Kind,
    /// Its name.
    pub title: String,
    /// What to do, in a sentence or two.
    pub how: String,
    /// One round of it.
    pub pattern: Pattern,
}

/// The drills of a study, and what could not be made.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Drills {
    /// By number.
    pub drills: Vec<Drill>,
    /// What is left out, why, and what to do about it.
    pub left_out: Vec<String>,
}

/// Phrases are so many bars long [C].
const PHRASES: [u32; 4] = [1, 2, 4, 8];
/// Phrases up to this long are drawn as drills.
const DRAWN: u32 = 4;
/// A round longer than this is not laid out to its end.
const LONGEST: u32 = 960;

impl Drill {
    /// How long a round lasts.
    pub fn round(&self, tempo: Bpm) -> Seconds {
        let steps = f64::from(self.pattern.steps) / f64::from(self.pattern.per_beat.max(1));
        tempo.beat() * steps
    }

    /// A round by the kit, in the study's own words of count-in, click and loop.
    pub fn sound(
        &self,
        tempo: Bpm,
        level: Loudness,
        options: &SoundOptions,
    ) -> Result<Vec<Vec<f32>>, PracticeError> {
        let step = tempo.beat() * (1.0 / f64::from(self.pattern.per_beat.max(1)));
        let at = |steps: u32| step * f64::from(steps);
        let strike = |note: &PatternNote| Strike {
            time: at(note.step),
            voice: note.voice,
            velocity: 0.75,
        };
        let strikes: Vec<Strike> = self.pattern.notes.iter().map(strike).collect();
        let beats = (0..self.pattern.steps).step_by(self.pattern.per_beat.max(1) as usize);
        let mut clicks: Vec<Click> = beats
            .map(|s| Click {
                time: at(s),
                count: if s % self.pattern.per_bar.max(1) == 0 {
                    Count::Bar
                } else {
                    Count::Beat
                },
            })
            .collect();
        clicks.extend(self.pattern.starts.iter().map(|s| Click {
            time: at(*s),
            count: Count::Cycle,
        }));
        let counting = Counting {
            clicks,
            beat: tempo.beat(),
            beats: self.pattern.per_bar / self.pattern.per_beat.max(1),
        };
        sound::render(&strikes, at(self.pattern.steps), &counting, level, options)
    }
}

/// The cells with which to begin: so many of the vocabulary that open most of the free line \[M\].
const KEY_CELLS: usize = 3;

/// The study's own key cells, those first that open most.
pub fn key_cells(study: &Study) -> Vec<Cell> {
    let known = study.stickings.vocabulary.iter().filter_map(Cell::of);
    known.take(KEY_CELLS).collect()
}

/// Every drill that the study and these cells allow.
pub fn drills(study: &Study, cells: &[Cell]) -> Result<Drills, PracticeError> {
    super::passage::per_bar(&study.grid)?;
    let figure = Figure::of(study);
    let mut all = Drills::default();
    if let Some(figure) = &figure {
        all.figure(figure);
    } else {
        all.left_out
            .push("The study has no figure that repeats: drills over it are left out.".to_owned());
    }
    if cells.is_empty() {
        all.left_out.push(
            "The study has no cell of which it is known who plays it: drills with cells are left out. Give your own, such as --cell RLRRLL.".to_owned(),
        );
    }
    let ruling = figure.clone().unwrap_or_else(|| {
        Figure::bare(
            study.grid.steps_per_beat.max(1),
            study.grid.steps_per_bar().max(1),
        )
    });
    for cell in cells {
        all.cell(&ruling, cell);
    }
    if let Some(figure) = &figure {
        let over: Vec<Over> = cells.iter().filter_map(|cell| all.over(figure, cell)).collect();
        for cell in &over {
            all.displaced(study, figure, cell);
        }
        all.ways_home(figure);
        for (a, b) in over.iter().zip(over.iter().skip(1)) {
            all.switch(figure, a, b);
        }
        all.other_side(figure, cells);
    }
    Ok(all)
}

/// A cell as one body plays it while others of its limbs keep the figure.
struct Over<'a> {
    cell: &'a Cell,
    /// The same sticking on free limbs.
    played: Cell,
    /// A sentence that says who plays what was somebody else's; empty where all is as written.
    moved: String,
}

impl Drills {
    /// A cell on the limbs that the figure leaves free, with a drill to learn it so where they are not its own.
    fn over<'a>(&mut self, figure: &Figure, cell: &'a Cell) -> Option<Over<'a>> {
        let busy = figure.limbs();
        let said = |limbs: &[Limb]| {
            let names: Vec<&str> = limbs.iter().map(|limb| limb.said()).collect();
            list(&names)
        };
        let Some(played) = cell.beside(&busy) else {
            self.left_out.push(format!(
                "{} over the figure: too few limbs are left for it, as {} keep the figure. Give a cell of fewer limbs with --cell.",
                cell.name,
                said(&busy),
            ));
            return None;
        };
        let moves = cell.moved(&played);
        let each: Vec<String> = moves
            .iter()
            .map(|(from, to)| format!("the {} plays for the {}", to.said(), from.said()))
            .collect();
        let keepers: Vec<Limb> = moves.iter().map(|(from, _)| *from).collect();
        let moved = if moves.is_empty() {
            String::new()
        } else {
            let keeps = if keepers.len() == 1 { "keeps" } else { "keep" };
            format!(
                " The {} {keeps} the figure: in the cell {}.",
                said(&keepers),
                each.join(", ")
            )
        };
        if !moves.is_empty() {
            let round = common(played.steps(), figure.per_beat);
            let mut pattern = figure.ruling(round);
            lay_cell(&mut pattern, &played, 0, round);
            let how = format!("{}, as it goes over the figure.{moved}", played.letters());
            self.push(Kind::Cell, format!("{} on free limbs", cell.name), how, pattern);
        }
        Some(Over { cell, played, moved })
    }

    fn push(&mut self, kind: Kind, title: String, how: String, mut pattern: Pattern) {
        pattern
            .notes
            .sort_by_key(|note| (note.step, note.voice, !note.figure));
        let number = self.drills.len() as u32 + 1;
        self.drills.push(Drill {
            number,
            kind,
            title,
            how,
            pattern,
        });
    }

    fn figure(&mut self, figure: &Figure) {
        let length = figure.length;
        let round = common(length, figure.per_beat);
        let mut once = figure.ruling(round);
        figure.lay(&mut once, 0, round);
        let how = format!(
            "Around and around without a gap. Count its steps aloud, 1 to {length}, not the beat. It starts on a beat again after {}, {}.",
            counted(round / length, "cycle"),
            counted(round / figure.per_beat, "beat")
        );
        self.push(Kind::Figure, "The figure alone".to_owned(), how, once);
        let (_, bars) = figure.home();
        let round = (bars * figure.per_bar).min(LONGEST);
        let mut stairs = figure.ruling(round);
        figure.lay(&mut stairs, 0, round);
        let how = format!(
            "Count the beats aloud and let the figure walk. It starts on {}.",
            starts(&stairs)
        );
        self.push(Kind::Staircase, "The staircase".to_owned(), how, stairs);
    }

    fn cell(&mut self, ruling: &Figure, cell: &Cell) {
        let round = common(cell.steps(), ruling.per_beat);
        let mut pattern = ruling.ruling(round);
        lay_cell(&mut pattern, cell, 0, round);
        let how = format!(
            "{}: {} steps, on the beat again after {}. Relaxed and even, accents where you hear them on the recording.",
            cell.letters(),
            cell.steps(),
            counted(round / ruling.per_beat, "beat")
        );
        self.push(Kind::Cell, format!("{} alone", cell.name), how, pattern);
    }

    /// A cell against the figure, first from where the solo uses it, then from every other step of the figure.
    fn displaced(&mut self, study: &Study, figure: &Figure, over: &Over) {
        let Over { cell, played, moved } = over;
        let used = used_displacements(study, figure, played);
        let rest = (0..figure.length).filter(|d| !used.contains(d));
        let all: Vec<(u32, bool)> = used
            .iter()
            .map(|d| (*d, true))
            .chain(rest.map(|d| (d, false)))
            .collect();
        let both = common(figure.length, cell.steps());
        let round = common(both, figure.per_beat).min(LONGEST);
        for (displacement, used) in all {
            let mut pattern = figure.ruling(round);
            figure.lay_from(&mut pattern, displacement, round);
            lay_cell(&mut pattern, played, 0, round);
            let from = displacement + 1;
            let solo = if used { " The solo begins it here." } else { "" };
            let how = format!(
                "Begin {} on step {from} of the figure. They meet like this again after {both} steps ({}, {}).{solo}{moved}",
                cell.letters(),
                counted(both / figure.length, "cycle"),
                counted(both / cell.steps(), "cell"),
            );
            self.push(
                Kind::Displaced,
                format!("{} from step {from} of the figure", cell.name),
                how,
                pattern,
            );
        }
    }

    /// Phrases in which the last cycle is cut, or held until the next bar.
    fn ways_home(&mut self, figure: &Figure) {
        for bars in PHRASES {
            let steps = bars * figure.per_bar;
            let (whole, rest) = (steps / figure.length, steps % figure.length);
            if rest == 0 || whole == 0 || steps > LONGEST {
                continue;
            }
            let phrase = counted(bars, "bar");
            let from = |start: u32| place(figure, start);
            let cut_at = whole * figure.length;
            if bars <= DRAWN {
                let mut cut = figure.ruling(steps);
                figure.lay(&mut cut, 0, steps);
                let how = format!(
                    "{whole} cycles, then its first {} from {}: drop the last {}, start anew on the bar.",
                    counted(rest, "step"),
                    from(cut_at),
                    counted(figure.length - rest, "step")
                );
                self.push(
                    Kind::WayHome,
                    format!("Home in {phrase}: cut the last cycle"),
                    how,
                    cut,
                );
                let mut held = figure.ruling(steps);
                figure.lay(&mut held, 0, cut_at);
                let how = format!(
                    "{whole} cycles; the last, from {}, is {} longer: {} in all, start anew on the bar.",
                    from(cut_at - figure.length),
                    counted(rest, "step"),
                    counted(figure.length + rest, "step")
                );
                self.push(
                    Kind::WayHome,
                    format!("Home in {phrase}: hold the last cycle"),
                    how,
                    held,
                );
            } else {
                self.left_out.push(format!(
                    "Home in {phrase}, in words only: {whole} cycles, then either add {} to the last, or play its first {} from {} and drop {}.",
                    counted(rest, "step"),
                    rest,
                    from(cut_at),
                    counted(figure.length - rest, "step")
                ));
            }
        }
    }

    fn switch(&mut self, figure: &Figure, a: &Over, b: &Over) {
        let half = figure.home().1 * figure.per_bar;
        let round = 2 * half;
        if round > LONGEST {
            self.left_out.push(format!(
                "Switching from {} to {}: a round would take {round} steps.",
                a.cell.name, b.cell.name
            ));
            return;
        }
        let mut pattern = figure.ruling(round);
        figure.lay(&mut pattern, 0, round);
        lay_cell(&mut pattern, &a.played, 0, half);
        lay_cell(&mut pattern, &b.played, half, round);
        let how = format!(
            "{} until the figure is home, then {} until it is home again. The figure must not notice.",
            a.played.letters(),
            b.played.letters()
        );
        self.push(
            Kind::Switch,
            format!("From {} to {} and back", a.cell.name, b.cell.name),
            how,
            pattern,
        );
    }

    fn other_side(&mut self, figure: &Figure, cells: &[Cell]) {
        let unknown = figure.without_limbs();
        if !unknown.is_empty() {
            let names: Vec<&str> = unknown.iter().map(|v| v.said()).collect();
            self.left_out.push(format!(
                "The other side: nobody says which limb plays the figure's {}. Fill in the column limb of hits.tsv.",
                names.join(" and ")
            ));
        } else {
            let other = figure.mirrored();
            let round = common(other.length, other.per_beat);
            let mut pattern = other.ruling(round);
            other.lay(&mut pattern, 0, round);
            let how = "The same figure, every limb changed with its neighbour's.".to_owned();
            self.push(
                Kind::OtherSide,
                "The figure on the other side".to_owned(),
                how,
                pattern,
            );
        }
        for cell in cells {
            let other = cell.mirrored();
            let round = common(other.steps(), figure.per_beat);
            let mut pattern = figure.ruling(round);
            lay_cell(&mut pattern, &other, 0, round);
            let how = format!("{} instead of {}.", other.letters(), cell.letters());
            self.push(
                Kind::OtherSide,
                format!("{} on the other side", cell.name),
                how,
                pattern,
            );
        }
    }
}

/// Lays a cell again and again from `from` up to `to`.
fn lay_cell(pattern: &mut Pattern, cell: &Cell, from: u32, to: u32) {
    for step in from..to {
        let at = (step - from) as usize % cell.limbs.len().max(1);
        if let Some(limb) = cell.limbs.get(at).copied().flatten() {
            pattern.notes.push(PatternNote {
                step,
                voice: cell.drum(limb),
                limb: Some(limb),
                figure: false,
            });
        }
    }
}

/// Steps of the figure on which the solo begins this cell, by the study's own limbs.
fn used_displacements(study: &Study, figure: &Figure, cell: &Cell) -> Vec<u32> {
    let Some(cycle) = study.cycles.first() else {
        return Vec::new();
    };
    let start = super::passage::step_of(&cycle.start, &study.grid);
    let solo: Vec<(i64, Limb)> = study
        .strokes
        .iter()
        .filter(|s| s.layer == Some(Layer::Solo))
        .filter_map(|s| Some((s.step?.0, s.limb?)))
        .collect();
    let has = |step: i64, limb: &Option<Limb>| match limb {
        Some(limb) => solo.contains(&(step, *limb)),
        None => true,
    };
    if !cell.used.is_empty() {
        return cell.used.iter().copied().filter(|d| *d < figure.length).collect();
    }
    let mut used: Vec<u32> = solo
        .iter()
        .map(|(step, _)| *step)
        .filter(|step| {
            cell.limbs
                .iter()
                .enumerate()
                .all(|(i, limb)| has(step + i as i64, limb))
        })
        .filter_map(|step| u32::try_from((step - start.0).rem_euclid(i64::from(figure.length))).ok())
        .collect();
    used.sort_unstable();
    used.dedup();
    used
}

/// The smallest number of steps that both lengths divide.
fn common(a: u32, b: u32) -> u32 {
    let (mut x, mut y) = (a.max(1), b.max(1));
    while y != 0 {
        (x, y) = (y, x % y);
    }
    a.max(1) / x * b.max(1)
}

/// Where a pattern's figure starts, bar by bar.
fn starts(pattern: &Pattern) -> String {
    let mut bars: Vec<(u32, Vec<String>)> = Vec::new();
    for &start in &pattern.starts {
        let (bar, inside) = (start / pattern.per_bar + 1, start % pattern.per_bar);
        let (beat, step) = (inside / pattern.per_beat + 1, inside % pattern.per_beat + 1);
        let words = if step == 1 {
            format!("beat {beat}")
        } else {
            format!("beat {beat} step {step}")
        };
        match bars.last_mut() {
            Some((last, places)) if *last == bar => places.push(words),
            _ => bars.push((bar, vec![words])),
        }
    }
    let bars: Vec<String> = bars
        .iter()
        .map(|(bar, places)| format!("bar {bar}: {}", places.join(", ")))
        .collect();
    bars.join("; ")
}

/// A step of a phrase in words.
fn place(figure: &Figure, step: u32) -> String {
    let (bar, inside) = (step / figure.per_bar + 1, step % figure.per_bar);
    format!(
        "bar {bar}, beat {}, step {}",
        inside / figure.per_beat + 1,
        inside % figure.per_beat + 1
    )
}

/// `1 step`, `5 steps`.
pub(super) fn counted(number: u32, noun: &str) -> String {
    let plural = if number == 1 { "" } else { "s" };
    format!("{number} {noun}{plural}")
}
