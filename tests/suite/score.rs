//! How close estimated times come to true ones: one-to-one matching within a window in seconds.
//!
//! In: two rising lists of times and a window, in seconds. Out: precision, recall and F-measure, 0 to 1.
//! The definitions are those of mir_eval [P: Raffel et al., "mir_eval: a transparent implementation of common
//! MIR metrics", ISMIR 2014]: `onset.f_measure`, `beat.f_measure`, `beat.trim_beats`. Its own figures for the
//! same lists are recorded in `tests/fixtures/mir_eval-cases.json`, and these tests hold ours against them.

use overbar::units::Seconds;
use serde::{Deserialize, Serialize};

/// Half-width of the window for beats [P: mir_eval.beat.f_measure, after Davies et al., 2009].
pub(crate) const BEAT_WINDOW: Seconds = Seconds(0.07);

/// Beats before this time are not judged when a whole track is scored [P: mir_eval.beat.trim_beats].
pub(crate) const TRIM: Seconds = Seconds(5.0);

/// What came out of a comparison.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Score {
    /// Harmonic mean of precision and recall; 0 when both are.
    pub(crate) f: f64,
    /// Share of the estimates that are right.
    pub(crate) precision: f64,
    /// Share of the truth that was found.
    pub(crate) recall: f64,
}

/// Pairs (index of truth, index of estimate), as many as can be made when each time is used at most once and
/// pairs lie at most `window` apart.
///
/// All windows have one width, so the windows of later estimates begin and end later: the earliest truth that an
/// estimate can still take is of no better use to any other estimate, and one pass finds a largest matching.
pub(crate) fn matches(truth: &[Seconds], estimate: &[Seconds], window: Seconds) -> Vec<(usize, usize)> {
    let (mut t, mut e) = (0, 0);
    let mut pairs = Vec::new();
    while let (Some(&true_time), Some(&time)) = (truth.get(t), estimate.get(e)) {
        if true_time < time - window {
            t += 1;
        } else if true_time > time + window {
            e += 1;
        } else {
            pairs.push((t, e));
            t += 1;
            e += 1;
        }
    }
    pairs
}

/// F-measure of onsets.
pub(crate) fn onsets(truth: &[Seconds], estimate: &[Seconds], window: Seconds) -> Score {
    let share = |of: &[Seconds]| match of.len() {
        0 => 0.0,
        n => matches(truth, estimate, window).len() as f64 / n as f64,
    };
    let (precision, recall) = (share(estimate), share(truth));
    let f = match precision + recall {
        0.0 => 0.0,
        sum => 2.0 * precision * recall / sum,
    };
    Score { f, precision, recall }
}

/// F-measure of beats, both lists as they are.
pub(crate) fn beats(truth: &[Seconds], estimate: &[Seconds]) -> Score {
    onsets(truth, estimate, BEAT_WINDOW)
}

/// The times that are judged when the first five seconds are not.
pub(crate) fn trimmed(times: &[Seconds]) -> &[Seconds] {
    &times[times.partition_point(|t| *t < TRIM)..]
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// One comparison and mir_eval's figures for it.
    #[derive(Deserialize)]
    struct Case {
        truth: Vec<Seconds>,
        estimate: Vec<Seconds>,
        window: Seconds,
        onset: [f64; 3],
        beat: f64,
        beat_trimmed: f64,
    }

    fn seconds(times: &[f64]) -> Vec<Seconds> {
        times.iter().copied().map(Seconds).collect()
    }

    /// The slow obvious way: give each estimate a truth, moving earlier ones along where that makes room.
    fn largest_matching(truth: &[Seconds], estimate: &[Seconds], window: Seconds) -> usize {
        fn place(e: usize, near: &[Vec<usize>], tried: &mut [bool], taken_by: &mut [Option<usize>]) -> bool {
            near[e].iter().any(|&t| {
                let free = !std::mem::replace(&mut tried[t], true)
                    && taken_by[t].is_none_or(|other| place(other, near, tried, taken_by));
                if free {
                    taken_by[t] = Some(e);
                }
                free
            })
        }
        let close = |e: Seconds, t: Seconds| t >= e - window && t <= e + window;
        let near: Vec<Vec<usize>> = estimate
            .iter()
            .map(|e| (0..truth.len()).filter(|&t| close(*e, truth[t])).collect())
            .collect();
        let mut taken_by = vec![None; truth.len()];
        (0..estimate.len())
            .filter(|&e| place(e, &near, &mut vec![false; truth.len()], &mut taken_by))
            .count()
    }

    #[test]
    fn one_estimate_is_not_counted_for_two_true_hits() {
        let score = onsets(&seconds(&[1.0, 1.02]), &seconds(&[1.01]), Seconds(0.05));
        assert_eq!((score.precision, score.recall), (1.0, 0.5));
    }

    #[test]
    fn nothing_found_or_nothing_there_scores_nothing() {
        let some = seconds(&[1.0]);
        for (truth, estimate) in [(&some[..], &[][..]), (&[], &some), (&[], &[])] {
            assert_eq!(onsets(truth, estimate, Seconds(0.05)).f, 0.0);
        }
    }

    #[test]
    fn a_beat_seventy_milliseconds_off_is_right_and_one_further_off_is_wrong() {
        let truth = seconds(&[0.0]);
        assert_eq!(beats(&truth, &seconds(&[0.07])).f, 1.0);
        assert_eq!(beats(&truth, &seconds(&[0.0701])).f, 0.0);
    }

    #[test]
    fn the_first_five_seconds_are_trimmed_and_the_fifth_is_kept() {
        assert_eq!(trimmed(&seconds(&[1.0, 4.999, 5.0, 6.0])), seconds(&[5.0, 6.0]));
    }

    #[test]
    fn one_pass_pairs_as_many_as_the_slow_way_does() {
        for seed in 0..400 {
            let mut rng = ChaCha8Rng::seed_from_u64(seed);
            let mut times = |n: usize| {
                let mut list: Vec<f64> = (0..n).map(|_| rng.random_range(0.0..1.0)).collect();
                list.sort_by(f64::total_cmp);
                seconds(&list)
            };
            let (truth, estimate) = (times(seed as usize % 23), times(seed as usize % 19));
            for window in [0.0, 0.02, 0.05, 0.3] {
                let pairs = matches(&truth, &estimate, Seconds(window)).len();
                let most = largest_matching(&truth, &estimate, Seconds(window));
                assert_eq!(pairs, most, "seed {seed}, window {window}");
            }
        }
    }

    #[test]
    fn every_figure_equals_the_one_that_mir_eval_gave() {
        let cases: Vec<Case> = serde_json::from_str(include_str!("../fixtures/mir_eval-cases.json")).unwrap();
        assert!(cases.len() >= 100, "only {} cases", cases.len());
        for (i, case) in cases.iter().enumerate() {
            let onset = onsets(&case.truth, &case.estimate, case.window);
            let pairs = [
                (onset.f, case.onset[0]),
                (onset.precision, case.onset[1]),
                (onset.recall, case.onset[2]),
                (beats(&case.truth, &case.estimate).f, case.beat),
                (
                    beats(trimmed(&case.truth), trimmed(&case.estimate)).f,
                    case.beat_trimmed,
                ),
            ];
            for (ours, theirs) in pairs {
                assert!(
                    (ours - theirs).abs() < 1e-9,
                    "case {i}: {ours} is not mir_eval's {theirs}"
                );
            }
        }
    }
}
