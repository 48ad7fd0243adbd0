//! What the stages have found -> a [`Study`].

use super::{RecordingFacts, Stroke, Study, VoiceCount};
use crate::audio::Source;
use crate::cycles::{Cycle, Cycles};
use crate::grid::{Grid, Placed};
use crate::names::{Layer, Limb, Voice};
use crate::options::Options;
use crate::stickings::Stickings;
use crate::units::{Seconds, Steps};
use crate::voices::Hit;

/// Example times of a voice.
const EXAMPLES: usize = 5;

/// Strokes on other drums within this time make an example harder to hear [M].
const COVERED: Seconds = Seconds(0.05);

impl From<&Source> for RecordingFacts {
    fn from(source: &Source) -> Self {
        RecordingFacts {
            file: source.file.clone(),
            sha256: source.sha256.clone(),
            seconds: source.seconds,
            sample_rate: source.sample_rate,
            channels: source.channels,
        }
    }
}

impl Study {
    /// Puts together what the stages have found. `hits` are sorted by time; `placed` are the same hits on their
    /// steps, in the same order (none without a grid), and `cycles.layer` goes with them. The grid's warnings come
    /// before `warnings`.
    pub fn new(
        recording: RecordingFacts,
        options: Options,
        hits: &[Hit],
        grid: Grid,
        placed: &[Placed],
        cycles: Cycles,
        warnings: Vec<String>,
    ) -> Study {
        let mut places = placed.iter().enumerate().peekable();
        let mut strokes: Vec<Stroke> = Vec::with_capacity(hits.len());
        for hit in hits {
            let place = places.next_if(|(_, placed)| placed.hit == *hit);
            strokes.push(match place {
                Some((at, placed)) => stroke_on(
                    placed,
                    cycles.layer.get(at).copied().flatten(),
                    &grid,
                    &cycles.found,
                ),
                None => stroke_off(hit, &cycles.found),
            });
        }
        strokes.sort_by(|a, b| a.hit.time.0.total_cmp(&b.hit.time.0));
        let mut all_warnings = grid.warnings.clone();
        all_warnings.extend(warnings);
        Study {
            recording,
            options,
            voices: count_voices(&strokes),
            groups: Vec::new(),
            strokes,
            grid,
            cycles: cycles.found,
            open: cycles.open,
            lengths: cycles.lengths,
            stickings: Stickings::default(),
            warnings: all_warnings,
        }
    }
}

fn stroke_on(placed: &Placed, figure: Option<usize>, grid: &Grid, cycles: &[Cycle]) -> Stroke {
    let cycle = figure.and_then(|at| cycles.get(at));
    Stroke {
        step: Some(placed.step),
        place: Some(grid.place_of(placed.step)),
        late: Some(placed.late),
        limb: cycle.and_then(|cycle| limb_in(cycle, placed, grid)),
        layer: match cycle {
            Some(_) => Some(Layer::Ostinato),
            None => free_layer(cycles),
        },
        hit: placed.hit,
    }
}

fn stroke_off(hit: &Hit, cycles: &[Cycle]) -> Stroke {
    Stroke {
        hit: *hit,
        step: None,
        place: None,
        late: None,
        limb: None,
        layer: free_layer(cycles),
    }
}

/// Where there is a figure, what is not in it is the free line; where there is none, there are no layers.
fn free_layer(cycles: &[Cycle]) -> Option<Layer> {
    (!cycles.is_empty()).then_some(Layer::Solo)
}

/// The limb that the figure gives to a stroke of its own.
fn limb_in(cycle: &Cycle, placed: &Placed, grid: &Grid) -> Option<Limb> {
    let (per_beat, per_bar) = (i64::from(grid.steps_per_beat), i64::from(grid.steps_per_bar()));
    let start =
        Steps((cycle.start.bar - 1) * per_bar + (cycle.start.beat - 1) * per_beat + cycle.start.step - 1);
    let mut since = (placed.step - start).0;
    if let Some(resolved) = &cycle.resolved {
        since = since.checked_rem_euclid(i64::from(resolved.every_bars) * per_bar)?;
    }
    let step = since.checked_rem_euclid(i64::from(cycle.length_steps))? + 1;
    let here = |note: &&crate::cycles::FigureNote| {
        i64::from(note.step) == step && note.voices.contains(&placed.hit.voice)
    };
    cycle.figure.iter().find(here)?.limb
}

pub(super) fn count_voices(strokes: &[Stroke]) -> Vec<VoiceCount> {
    let count = |voice: &Voice| {
        let own: Vec<usize> = (0..strokes.len())
            .filter(|at| strokes[*at].hit.voice == *voice)
            .collect();
        VoiceCount {
            voice: *voice,
            hits: own.len(),
            example_times: examples(&own, strokes),
        }
    };
    Voice::ALL
        .iter()
        .map(count)
        .filter(|count| count.hits > 0)
        .collect()
}

/// Up to five times at which some of the strokes are heard well, from all over the recording: the clearest of each of
/// equal shares.
pub(super) fn examples(own: &[usize], strokes: &[Stroke]) -> Vec<Seconds> {
    let shares = own.len().min(EXAMPLES);
    let share = |n: usize| {
        own.get(n * own.len() / shares..(n + 1) * own.len() / shares)
            .unwrap_or_default()
    };
    (0..shares).filter_map(|n| clearest(share(n), strokes)).collect()
}

/// The time of the stroke that is easiest to hear: alone if one is, then the surest, then the loudest, then the first.
fn clearest(share: &[usize], strokes: &[Stroke]) -> Option<Seconds> {
    let alone = |at: usize| {
        let near = |other: &Stroke| (other.hit.time - strokes[at].hit.time).0.abs() < COVERED.0;
        let before = at.checked_sub(1).and_then(|before| strokes.get(before));
        !before.is_some_and(near) && !strokes.get(at + 1).is_some_and(near)
    };
    let clearer = |a: &usize, b: &usize| {
        let (x, y) = (&strokes[*a].hit, &strokes[*b].hit);
        let by_sound = x.sure.total_cmp(&y.sure).then(x.level.0.total_cmp(&y.level.0));
        alone(*a).cmp(&alone(*b)).then(by_sound).then(b.cmp(a))
    };
    share
        .iter()
        .copied()
        .max_by(|a, b| clearer(a, b))
        .map(|at| strokes[at].hit.time)
}

#[cfg(test)]
mod tests {
    use super::super::examples::{END, facts, five, grid, hit, place};
    use super::*;

    fn build(times: &[(f64, Voice)], layer: Vec<Option<usize>>, found: Vec<Cycle>) -> Study {
        let hits: Vec<Hit> = times.iter().map(|(time, voice)| hit(*time, *voice)).collect();
        let placed = place(&hits, &grid());
        let cycles = Cycles {
            found,
            layer,
            ..Cycles::default()
        };
        Study::new(
            facts(),
            Options::default(),
            &hits,
            grid(),
            &placed,
            cycles,
            vec!["later".into()],
        )
    }

    #[test]
    fn strokes_of_a_figure_are_its_layer_and_the_rest_is_the_solo() {
        let times = [(0.75, Voice::KickLeft), (1.0, Voice::Snare)];
        let layers = |study: &Study| study.strokes.iter().map(|s| s.layer).collect::<Vec<_>>();
        let study = build(&times, vec![Some(0), None], vec![five()]);
        assert_eq!(layers(&study), [Some(Layer::Ostinato), Some(Layer::Solo)]);
        let study = build(&times, vec![None, None], vec![]);
        assert_eq!(
            layers(&study),
            [None, None],
            "without a figure there are no layers"
        );
    }

    #[test]
    fn a_figure_gives_its_limbs_to_its_strokes_also_after_it_has_begun_anew() {
        // Steps 0, 3, 5 of the figure's first two bars, and step 0 of the next two.
        let times = [
            (0.75, Voice::KickLeft),
            (1.125, Voice::Kick),
            (1.375, Voice::KickLeft),
            (4.75, Voice::KickLeft),
        ];
        let study = build(&times, vec![Some(0); 4], vec![five()]);
        let limbs: Vec<Option<Limb>> = study.strokes.iter().map(|s| s.limb).collect();
        let (left, right) = (Some(Limb::LeftFoot), Some(Limb::RightFoot));
        assert_eq!(limbs, [left, right, left, left]);
    }

    #[test]
    fn a_figure_of_no_length_gives_no_limb() {
        let mut cycle = five();
        cycle.length_steps = 0;
        cycle.resolved = None;
        let study = build(&[(0.75, Voice::KickLeft)], vec![Some(0)], vec![cycle]);
        assert_eq!(study.strokes[0].limb, None);
    }

    #[test]
    fn hits_without_a_place_are_strokes_all_the_same() {
        let hits = [
            hit(1.0, Voice::Kick),
            hit(1.01, Voice::Snare),
            hit(2.0, Voice::Kick),
        ];
        let placed: Vec<Placed> = place(&hits, &grid()).into_iter().skip(1).collect();
        let study = Study::new(
            facts(),
            Options::default(),
            &hits,
            grid(),
            &placed,
            Cycles::default(),
            vec![],
        );
        let steps: Vec<bool> = study.strokes.iter().map(|s| s.step.is_some()).collect();
        assert_eq!(steps, [false, true, true]);
    }

    #[test]
    fn warnings_of_the_grid_come_first() {
        assert_eq!(
            build(&[], vec![], vec![]).warnings,
            ["the tempo is far from steady", "later"]
        );
    }

    #[test]
    fn examples_are_clear_strokes_from_all_over_the_recording() {
        let mut hits: Vec<Hit> = (0..50).map(|n| hit(0.5 * f64::from(n), Voice::Snare)).collect();
        for (at, time) in [(3, 1.5), (14, 7.0), (25, 12.5), (36, 18.0), (47, 23.5)] {
            hits[at].sure = 0.9;
            assert_eq!(hits[at].time, Seconds(time));
        }
        // As sure, but a kick covers it.
        hits[5].sure = 0.95;
        hits.insert(6, hit(2.51, Voice::Kick));
        let study = Study::new(
            facts(),
            Options::default(),
            &hits,
            Grid::none(),
            &[],
            Cycles::default(),
            vec![],
        );
        let counts: Vec<(Voice, usize)> = study.voices.iter().map(|v| (v.voice, v.hits)).collect();
        assert_eq!(counts, [(Voice::Kick, 1), (Voice::Snare, 50)]);
        let times: Vec<f64> = study.voices[1].example_times.iter().map(|t| t.0).collect();
        assert_eq!(times, [1.5, 7.0, 12.5, 18.0, 23.5]);
        assert!(study.recording.seconds == END);
    }

    #[test]
    fn few_strokes_are_all_examples() {
        for count in 0..12 {
            let times: Vec<(f64, Voice)> = (0..count).map(|n| (f64::from(n), Voice::Ride)).collect();
            let study = build(&times, vec![None; count as usize], vec![]);
            let examples = study.voices.first().map_or(0, |v| v.example_times.len());
            assert_eq!(examples, count.min(5) as usize);
        }
    }
}
