//! Strokes on their spots -> bars of notes and rests.

use std::collections::BTreeMap;

use super::beat::{Piece, beam, breaks, coarser, fill};
use super::spot::{Ruling, Spot};
use super::value::{Ticks, Value};
use super::{Bar, DRAG, Edge, Event, FLAM, Grace, Head, Score, line_of};
use crate::names::Mark;
use crate::options::ScoreLayout;
use crate::study::{Stroke, Study};
use crate::units::Millis;

/// What is struck at each spot of a line.
type Struck<'a> = BTreeMap<Spot, Vec<Head<'a>>>;

/// Writes the bars of a study that has a grid.
pub(super) fn bars<'a>(study: &'a Study, layout: ScoreLayout, score: &mut Score<'a>) {
    let ruling = Ruling::of(&study.grid);
    let mut struck: Vec<Struck> = score.lines.iter().map(|_| Struck::new()).collect();
    score.left_out = 0;
    for (row, stroke) in study.strokes.iter().enumerate() {
        let line = score
            .lines
            .iter()
            .position(|line| *line == line_of(stroke, layout));
        let heads = line.and_then(|line| struck.get_mut(line));
        match (ruling.spot(stroke), heads) {
            (Some(spot), Some(heads)) => put(heads.entry(spot).or_default(), row, stroke),
            _ => score.left_out += 1,
        }
    }
    let beats = struck.iter().flat_map(|line| line.keys()).map(|spot| spot.beat);
    let (Some(first), Some(last)) = (beats.clone().min(), beats.max()) else {
        return;
    };
    let per_bar = i64::from(ruling.beat.per_bar);
    let mut beat = first.min(0);
    while beat <= last {
        let next = (beat.div_euclid(per_bar) + 1) * per_bar;
        let lines = struck
            .iter()
            .map(|line| fill_bar(line, &ruling, beat, next))
            .collect();
        score.bars.push(Bar {
            number: beat.div_euclid(per_bar) + 1,
            beat,
            beats: (next - beat) as u32,
            time: study.grid.time_at(beat as f64).unwrap_or_default(),
            lines,
        });
        beat = next;
    }
}

/// Adds a stroke to what is struck at its spot. A stroke of a voice that is there already follows it: the earlier one
/// then is its grace stroke, as where strokes are put on their steps.
fn put<'a>(heads: &mut Vec<Head<'a>>, row: usize, stroke: &'a Stroke) {
    let own = graces(stroke);
    let mut graces: Vec<Grace> = own
        .into_iter()
        .map(|before| Grace { before, row: None })
        .collect();
    if let Some(at) = heads.iter().position(|head| head.voice() == stroke.hit.voice) {
        let earlier = heads.remove(at);
        let gap = (stroke.hit.time - earlier.stroke.hit.time).to_millis();
        let mut own: Vec<Grace> = earlier
            .graces
            .iter()
            .filter(|grace| grace.row.is_some())
            .map(|grace| Grace {
                before: grace.before + gap,
                row: grace.row,
            })
            .collect();
        own.push(Grace {
            before: gap,
            row: Some(earlier.row),
        });
        graces = own;
    }
    heads.push(Head { row, stroke, graces });
    heads.sort_by_key(|head| head.voice());
}

/// How long before a stroke its grace strokes come, as its mark tells; those of a drag halve the way \[M\].
pub fn graces(stroke: &Stroke) -> Vec<Millis> {
    let measured = |usual| stroke.hit.grace.unwrap_or(usual);
    match stroke.hit.mark {
        Some(Mark::Flam) => vec![measured(FLAM)],
        Some(Mark::Drag) => {
            let first = measured(DRAG);
            vec![first, Millis(first.0 / 2.0)]
        }
        _ => Vec::new(),
    }
}

/// Fills a line of one bar, from one beat up to another.
fn fill_bar<'a>(struck: &Struck<'a>, ruling: &Ruling, from: i64, to: i64) -> Vec<Event<'a>> {
    let inside = |beat: i64| {
        struck.range(
            Spot { beat, step: 0 }..Spot {
                beat: beat + 1,
                step: 0,
            },
        )
    };
    let beat_ticks = ruling.beat.ticks().0;
    let length = Ticks(beat_ticks * (to - from));
    let whole = to - from == i64::from(ruling.beat.per_bar);
    if whole && (from..to).all(|beat| inside(beat).next().is_none()) {
        return vec![Event {
            whole_bar: true,
            ..rest(Ticks(0), length, Value { power: 0, dots: 0 })
        }];
    }
    let mut events = Vec::new();
    let mut beat = from;
    while beat < to {
        let at = Ticks(beat_ticks * (beat - from));
        let empty = |beat: i64| beat < to && inside(beat).next().is_none();
        if !empty(beat) {
            let heads: Vec<_> = inside(beat)
                .map(|(spot, heads)| (spot.step, heads.clone()))
                .collect();
            events.extend(fill_beat(ruling, ruling.steps(beat), at, heads));
            beat += 1;
            continue;
        }
        // Two empty beats make one rest where the first of them is an odd one of an even bar, as the bar's halves show.
        let value = ruling.beat.value;
        let pair = ruling.beat.per_bar.is_multiple_of(2)
            && beat.rem_euclid(2) == 0
            && empty(beat + 1)
            && value.power > 0
            && !ruling.beat.is_dotted();
        let (beats, value) = if pair {
            (
                2,
                Value {
                    power: value.power - 1,
                    dots: 0,
                },
            )
        } else {
            (1, value)
        };
        events.push(rest(at, Ticks(beat_ticks * beats), value));
        beat += beats;
    }
    beam_eighths(&mut events, ruling, from);
    events
}

fn rest<'a>(at: Ticks, length: Ticks, value: Value) -> Event<'a> {
    Event {
        at,
        length,
        value,
        tuplet: None,
        heads: Vec::new(),
        beams: Vec::new(),
        whole_bar: false,
    }
}

/// Fills one beat and beams it, unless beams go over several beats.
fn fill_beat<'a>(
    ruling: &Ruling,
    steps: u32,
    at: Ticks,
    mut heads: Vec<(u32, Vec<Head<'a>>)>,
) -> Vec<Event<'a>> {
    let struck: Vec<u32> = heads.iter().map(|(step, _)| *step).collect();
    let by = coarser(steps, &struck);
    let mut count = steps / by;
    // Heads are black: where the beat is longer than a quarter, it is written in quarters at least.
    let mut times = 1;
    while ruling.beat.divided(count).power < 2 && count < 64 {
        count *= 2;
        times *= 2;
    }
    let division = ruling.beat.divided(count);
    let struck: Vec<u32> = struck.iter().map(|step| step / by * times).collect();
    let pieces = fill(division, &struck);
    let ends = (pieces.first().map(|p| p.at), pieces.last().map(|p| p.at));
    let accents: Vec<u32> = heads
        .iter()
        .filter(|(_, heads)| heads.iter().any(|head| head.is(Mark::Accent)))
        .map(|(step, _)| step / by * times)
        .collect();
    let step = ruling.beat.ticks().0 / i64::from(division.steps);
    let event = |piece: &Piece| Event {
        at: at + Ticks(step * i64::from(piece.at)),
        length: Ticks(step * i64::from(piece.steps)),
        value: piece.value,
        tuplet: division.ratio.map(|ratio| (ratio, edge(piece.at, ends))),
        heads: take(&mut heads, piece, by, times),
        beams: Vec::new(),
        whole_bar: false,
    };
    let mut events: Vec<Event> = pieces.iter().map(event).collect();
    if !is_short(ruling) {
        let breaks: Vec<bool> = pieces
            .iter()
            .map(|piece| breaks(division, ruling.beat.is_dotted(), &accents, piece.at))
            .collect();
        beam(&mut events, &breaks);
    }
    events
}

/// The heads that stand at a piece, taken out.
fn take<'a>(heads: &mut [(u32, Vec<Head<'a>>)], piece: &Piece, by: u32, times: u32) -> Vec<Head<'a>> {
    if !piece.struck {
        return Vec::new();
    }
    let here = heads.iter_mut().find(|(step, _)| step / by * times == piece.at);
    here.map(|(_, heads)| std::mem::take(heads)).unwrap_or_default()
}

fn edge(at: u32, ends: (Option<u32>, Option<u32>)) -> Edge {
    if Some(at) == ends.0 {
        Edge::First
    } else if Some(at) == ends.1 {
        Edge::Last
    } else {
        Edge::Inner
    }
}

/// Whether beats are so short that beams go over several: those of 5/8 or 7/8.
fn is_short(ruling: &Ruling) -> bool {
    ruling.beat.value.power > 2
}

/// Beams over short beats: in twos, the last three together where they are odd in number (7/8 as 2+2+3) \[C\].
fn beam_eighths(events: &mut [Event], ruling: &Ruling, from: i64) {
    if !is_short(ruling) {
        return;
    }
    let per_bar = i64::from(ruling.beat.per_bar);
    let groups = (per_bar / 2).max(1);
    let group = |event: &Event| {
        let beat = from.rem_euclid(per_bar) + event.at.0 / ruling.beat.ticks().0;
        (beat / 2).min(groups - 1)
    };
    for group in events.chunk_by_mut(|a, b| group(a) == group(b)) {
        let breaks = vec![false; group.len()];
        beam(group, &breaks);
    }
}
