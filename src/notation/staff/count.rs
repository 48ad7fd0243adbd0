//! What players say while they count: a syllable for every step \[C\].

use crate::options::CountHabit;

/// The syllable of a step in a beat of so many; the first is the beat's number. None where the habit has no words for
/// such a beat: then steps are numbered.
pub(super) fn syllable(habit: CountHabit, beat: i64, step: u32, steps: u32, dotted: bool) -> String {
    if step == 0 && habit != CountHabit::Numbers {
        return beat.to_string();
    }
    let words: &[&str] = match (habit, steps, dotted) {
        (CountHabit::Syllables, 2, false) => &["&"],
        (CountHabit::Syllables, 4, false) => &["e", "&", "a"],
        (CountHabit::Syllables, 8, false) => &["·", "e", "·", "&", "·", "a", "·"],
        (CountHabit::Syllables, 3, _) => &["trip", "let"],
        (CountHabit::Syllables, 6, false) => &["la", "li", "&", "la", "li"],
        (CountHabit::Lalis, 2, false) => &["&"],
        (CountHabit::Lalis, 4, false) => &["ta", "&", "ta"],
        (CountHabit::Lalis, 8, false) => &["·", "ta", "·", "&", "·", "ta", "·"],
        (CountHabit::Lalis, 3, _) => &["la", "li"],
        (CountHabit::Lalis, 6, false) => &["ta", "la", "ta", "li", "ta"],
        (CountHabit::Lalis, 6, true) => &["ta", "la", "ta", "li", "ta"],
        _ => &[],
    };
    match (step as usize).checked_sub(1).and_then(|i| words.get(i)) {
        Some(word) => (*word).to_owned(),
        None => (step + 1).to_string(),
    }
}

/// The habit in a few words, for the legend.
pub(super) fn example(habit: CountHabit, steps: u32, dotted: bool) -> Option<String> {
    match habit {
        CountHabit::None => None,
        CountHabit::Figure => Some("count: the step of the figure".to_owned()),
        _ => {
            let words: Vec<String> = (0..steps.min(8))
                .map(|step| syllable(habit, 1, step, steps.min(8), dotted))
                .collect();
            Some(format!("count: {}", words.join(" ")))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sixteenths_triplets_and_fives_are_counted_as_players_do() {
        let count = |habit, steps| example(habit, steps, false).unwrap();
        assert_eq!(count(CountHabit::Syllables, 4), "count: 1 e & a");
        assert_eq!(count(CountHabit::Syllables, 3), "count: 1 trip let");
        assert_eq!(count(CountHabit::Lalis, 3), "count: 1 la li");
        assert_eq!(count(CountHabit::Syllables, 5), "count: 1 2 3 4 5");
        assert_eq!(syllable(CountHabit::Syllables, 3, 0, 5, false), "3");
        assert_eq!(syllable(CountHabit::Numbers, 3, 0, 5, false), "1");
    }
}
