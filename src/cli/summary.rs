//! What a player asks first, in about ten lines: how many hits, what tempo and grid, what repeats, how long,
//! from where to where, how sure, when it is home, what to look at next.

use std::path::Path;

use crate::charts::words;
use crate::cycles::{Carrier, Cycle};
use crate::files::shown;
use crate::grid::subdivision;
use crate::study::Study;

/// The summary of a study that lies in `folder`; one string a line.
pub(super) fn lines(study: &Study, folder: &Path) -> Vec<String> {
    let mut lines = vec![recording(study), hits(study), grid(study)];
    match study
        .cycles
        .iter()
        .find(|c| c.crosses_bar)
        .or(study.cycles.first())
    {
        Some(cycle) => {
            lines.extend(figure(study, cycle));
            lines.extend(beside(study, cycle));
        }
        None => lines.push(row(
            "repeats",
            "nothing that would need more than the bar to explain it",
        )),
    }
    lines.extend(open(study));
    lines.extend(stickings(study));
    lines.extend(next(study, folder));
    lines.extend(study.warnings.iter().map(|warning| row("mind", warning)));
    lines
}

/// So many cells are named as those to learn first.
const LEARN: usize = 3;

pub(super) fn row(name: &str, text: &str) -> String {
    format!("{name:<10}{text}")
}

fn recording(study: &Study) -> String {
    let facts = &study.recording;
    let channels = match facts.channels {
        1 => "mono".to_owned(),
        2 => "stereo".to_owned(),
        n => format!("{n} channels"),
    };
    let rate = f64::from(facts.sample_rate) / 1000.0;
    row(
        "recording",
        &format!(
            "{}, {} long, {rate} kHz {channels}",
            facts.file,
            facts.seconds.clock()
        ),
    )
}

fn hits(study: &Study) -> String {
    let mut voices: Vec<_> = study.voices.iter().collect();
    voices.sort_by_key(|v| std::cmp::Reverse(v.hits));
    let named: Vec<String> = voices
        .iter()
        .take(6)
        .map(|v| format!("{} {}", v.voice.said(), v.hits))
        .collect();
    let rest = voices.len().saturating_sub(6);
    let more = if rest > 0 {
        format!(", and {rest} more")
    } else {
        String::new()
    };
    let detail = if named.is_empty() {
        String::new()
    } else {
        format!(": {}{more}", named.join(", "))
    };
    row("hits", &format!("{}{detail}", study.strokes.len()))
}

fn grid(study: &Study) -> String {
    let grid = &study.grid;
    let Some((slow, fast)) = grid.tempo_range() else {
        return row("grid", &grid.statement());
    };
    let drift = format!("bars from {slow:.0} to {fast:.0}");
    row(
        "grid",
        &format!("{}, {drift}; {:.0} % sure", grid.statement(), grid.sure * 100.0),
    )
}

fn figure(study: &Study, cycle: &Cycle) -> Vec<String> {
    let voices: Vec<&str> = cycle.voices.iter().map(|v| v.said()).collect();
    let steps = subdivision(study.grid.meter, study.grid.steps_per_beat);
    let over = if cycle.crosses_bar {
        "over the bar"
    } else {
        "with the bar"
    };
    let length = format!(
        "{} steps on {steps}, {} of them struck, {:.2} s, {over}",
        count(cycle.length_steps),
        count(cycle.length_notes),
        cycle.length_seconds.0
    );
    let span = format!(
        "bar {} ({}) to bar {} ({}), {} repeats, {} of them broken",
        cycle.start.bar,
        cycle.start.time.clock(),
        cycle.end.bar,
        cycle.end.time.clock(),
        cycle.repeats,
        cycle.broken.len()
    );
    let sure = format!(
        "{}: {:.0} bits better than the bar explains it, {}, {:.0} % of its notes are there",
        cycle.verdict().name(),
        cycle.bits.0,
        chance(cycle.chance),
        cycle.kept * 100.0
    );
    let mut lines = vec![
        row("repeats", &format!("{}{}", carried(cycle), voices.join(" and "))),
        row("length", &length),
        row("where", &span),
        row("sure", &sure),
        row("home", &home(cycle)),
    ];
    lines.extend(resolve(cycle));
    lines
}

/// What of its voices carries a figure, where it is not their own strokes.
fn carried(cycle: &Cycle) -> &'static str {
    match cycle.carrier {
        Carrier::Voices => "",
        Carrier::Accents => "the accents, on ",
        Carrier::Line => "the whole line, on ",
    }
}

/// The other figures that cross the bar, and when each is home with the first.
fn beside(study: &Study, first: &Cycle) -> Vec<String> {
    let others = study
        .cycles
        .iter()
        .filter(|c| c.crosses_bar && !std::ptr::eq(*c, first));
    let tell = |other: &Cycle| {
        let voices: Vec<&str> = other.voices.iter().map(|v| v.said()).collect();
        let mut text = format!(
            "{} steps in {}{}, bar {} to bar {}, {}",
            count(other.length_steps),
            carried(other),
            voices.join(" and "),
            other.start.bar,
            other.end.bar,
            other.verdict().name()
        );
        let meet = first.home.together.iter();
        if let Some(meet) = meet.clone().find(|t| t.length_steps == other.length_steps) {
            text += &format!(
                "; both start together every {} steps: {} cycles of the one, {} of the other",
                meet.steps,
                count(meet.cycles),
                count(meet.other_cycles)
            );
        }
        row("beside", &text)
    };
    others.map(tell).collect()
}

/// The figure that comes closest and is not proved.
fn open(study: &Study) -> Option<String> {
    let cycle = study.open.as_ref().filter(|cycle| cycle.bits.0 > 0.0)?;
    let voices: Vec<&str> = cycle.voices.iter().map(|v| v.said()).collect();
    Some(row(
        "open",
        &format!(
            "perhaps {} steps in {}{}, bar {} to bar {}: {:.0} bits, too few to tell it from chance",
            count(cycle.length_steps),
            carried(cycle),
            voices.join(" and "),
            cycle.start.bar,
            cycle.end.bar,
            cycle.bits.0
        ),
    ))
}

/// How to bring it home with the player's phrase.
fn resolve(cycle: &Cycle) -> Option<String> {
    let home = &cycle.home;
    let way = home.ways.iter().find(|way| way.phrase_bars == home.phrase_bars)?;
    if cycle.resolved.is_some() || way.change == 0 {
        return None;
    }
    let steps = counted(way.change.unsigned_abs() as u32, "step");
    let how = if way.change > 0 {
        format!("add {steps} to")
    } else {
        format!("drop {steps} from")
    };
    let by_itself = counted(home.with_phrase_bars, "bar");
    Some(row(
        "resolve",
        &format!(
            "in a phrase of {} {how} the last cycle, which starts at {}; by itself it is home with the phrase after {by_itself}",
            counted(way.phrase_bars, "bar"),
            way.at
        ),
    ))
}

/// Who keeps up the figure, what the free line is made of, and where nobody could play it.
fn stickings(study: &Study) -> Vec<String> {
    let found = &study.stickings;
    let mut lines = Vec::new();
    let keeps = found
        .ways
        .first()
        .map(|way| way.figure.as_slice())
        .unwrap_or_default();
    let hands: Vec<String> = keeps
        .iter()
        .map(|keeps| match keeps.limb {
            Some(limb) => format!("{} {limb}", keeps.voice.said()),
            None => format!("{} either hand", keeps.voice.said()),
        })
        .collect();
    if !hands.is_empty() {
        let next = found.ways.get(1).map_or(String::new(), |way| {
            let bits = words::count(way.more_bits.round() as u32, "bit");
            format!("; the next best way is {bits} less likely")
        });
        lines.push(row("limbs", &format!("{}{next}", hands.join(", "))));
    }
    if found.followed > 0 {
        lines.push(row(
            "follows",
            &format!("{} other strokes take the limbs you named", found.followed),
        ));
    }
    if let Some(last) = found.vocabulary.iter().take(LEARN).next_back() {
        let cells: Vec<&str> = found
            .vocabulary
            .iter()
            .take(LEARN)
            .map(|cell| cell.cell.as_str())
            .collect();
        let first = format!(
            "{}; with {} {:.0} % of the free line",
            cells.join(", "),
            if cells.len() == 1 { "it" } else { "them" },
            last.together * 100.0
        );
        lines.push(row("learn", &first));
    }
    if let Some(first) = found.impossible.first() {
        let place = first
            .place
            .map_or_else(|| first.time.clock(), |place| place.to_string());
        let more = match found.impossible.len() - 1 {
            0 => String::new(),
            more => format!("; {more} more such places in study.json"),
        };
        lines.push(row("mind", &format!("{place}: {}{more}", first.why)));
    }
    lines
}

fn home(cycle: &Cycle) -> String {
    match &cycle.resolved {
        Some(resolved) => format!("it starts anew every {}", counted(resolved.every_bars, "bar")),
        None => format!(
            "after {}, {} cycles: {:.1} s",
            counted(cycle.home_bars, "bar"),
            count(cycle.home_cycles),
            cycle.length_seconds.0 * f64::from(cycle.home_cycles)
        ),
    }
}

pub(super) fn chance(chance: f64) -> String {
    if chance <= 0.0 {
        return "shuffled music never does as well".to_owned();
    }
    let of = (1.0 / chance).round();
    format!("shuffled music does as well once in {of:.0}")
}

fn next(study: &Study, folder: &Path) -> Vec<String> {
    let unsure: Vec<_> = study.strokes.iter().filter(|s| s.hit.sure < 0.5).collect();
    let chart = if study.cycles.is_empty() {
        "grid-01.svg"
    } else {
        "stack.svg"
    };
    let mut look = shown(&folder.join("charts").join(chart));
    if let Some(first) = unsure.first() {
        let place = first
            .place
            .map_or_else(|| first.hit.time.clock(), |place| place.to_string());
        let hits = if unsure.len() == 1 { "hit" } else { "hits" };
        look += &format!(
            "; {} unsure {hits} in hits.tsv, the first at {place}",
            unsure.len()
        );
    }
    vec![row("look at", &look)]
}

/// Small numbers as words.
fn count(number: u32) -> String {
    const WORDS: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
        "twelve",
    ];
    WORDS
        .get(number as usize)
        .map_or_else(|| number.to_string(), |word| (*word).to_owned())
}

fn counted(number: u32, thing: &str) -> String {
    let plural = if number == 1 { "" } else { "s" };
    format!("{} {thing}{plural}", count(number))
}
